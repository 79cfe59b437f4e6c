//! `carry`: the program and all it needs into one folder, for a laptop where nothing may be installed.

use std::path::Path;

use anyhow::{Context, ensure};

use super::{Exit, out};
use crate::event::carried::{self, Part};
use crate::view::carry::{self, KEPT_HERE, PAGE, PROGRAM, SCRIPT};

pub fn run(folder: &Path) -> anyhow::Result<Exit> {
    ensure!(cfg!(target_os = "linux"), carry::ELSEWHERE);
    let program = std::env::current_exe().and_then(std::fs::read);
    let program = program.context("the running program can't be read. Start it from where it is installed")?;
    let (page, script) = (carry::page(), carry::script());
    let kept = format!("{}/{}", carried::SETTINGS, KEPT_HERE.0);
    let text = |name, text| Part { name, bytes: str::as_bytes(text), starts: false };
    let made = carried::carry(
        folder,
        &[
            Part { name: PROGRAM, bytes: &program, starts: true },
            Part { starts: true, ..text(SCRIPT, &script) },
            text(PAGE, &page),
            text(&kept, KEPT_HERE.1),
        ],
    )?;
    out::line(&carry::carried(folder, made.len()))?;
    Ok(Exit::Fine)
}
