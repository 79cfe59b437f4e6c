//! `--watch FOLDER`: checks takes as they land, until it is told to end.
//!
//! A file counts as landed when its size and time stamp have stayed for three seconds. One that changes later is checked
//! again. What lay there at the beginning is checked first. Edge cases: a folder that goes away for a while is looked for
//! again; a file that vanishes is told as any unreadable one.

use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant, SystemTime};

use super::check;
use super::made::Made;
use crate::cli::args::RecordingsArgs;
use crate::cli::end::EndRequest;
use crate::cli::{Exit, out};
use crate::engine::takes::Gathered;
use crate::view::words::WATCHING;
use crate::view::{Setup, made_words};

const LOOK: Duration = Duration::from_millis(500);
const SETTLED: Duration = Duration::from_secs(3);

/// What a file looked like, since when, and whether it has been checked.
struct Seen {
    size: u64,
    time: Option<SystemTime>,
    since: Instant,
    checked: bool,
}

pub fn watch(folder: &Path, args: &RecordingsArgs, setup: &Setup, made: &mut Made) -> anyhow::Result<Exit> {
    anyhow::ensure!(
        folder.is_dir(),
        "{}: there is no such folder. Name the one that recordings land in",
        folder.display()
    );
    let end = EndRequest::watch()?;
    let mut seen: HashMap<PathBuf, Seen> = HashMap::new();
    let (mut worst, mut told_of_own) = (Exit::Fine, false);
    out::note(&format!("{} {}", WATCHING, folder.display()));
    let began = Instant::now();
    while !end.came() {
        let mut found = Gathered { files: landed(folder, &mut seen, began), ..Gathered::default() };
        found.set_own_apart(0);
        if !found.own.is_empty() && !std::mem::replace(&mut told_of_own, true) {
            made_words::left_out(&found.own).into_iter().for_each(|told| out::note(&told));
        }
        found.own.clear();
        if !found.files.is_empty() {
            worst = worst.and(check(&found, args, setup, made)?);
            made.finish()?;
            std::io::stdout().flush()?;
        }
        std::thread::sleep(LOOK);
    }
    Ok(worst.and(made.ended()))
}

/// The files that have stayed as they are, and were not checked so.
fn landed(folder: &Path, seen: &mut HashMap<PathBuf, Seen>, began: Instant) -> Vec<PathBuf> {
    let found = Gathered::of_folder(folder);
    let now = Instant::now();
    let mut landed = Vec::new();
    for path in found.files {
        let Ok(about) = path.metadata() else { continue };
        let (size, time) = (about.len(), about.modified().ok());
        let new = || Seen { size, time, since: now, checked: false };
        let known = seen.entry(path.clone()).or_insert_with(new);
        if (known.size, known.time) != (size, time) {
            *known = new();
        }
        // What was there long before need not be waited for.
        let old = time.and_then(|time| time.elapsed().ok()).is_some_and(|age| age > began.elapsed() + SETTLED);
        if !known.checked && (old || now - known.since >= SETTLED) {
            known.checked = true;
            landed.push(path);
        }
    }
    landed
}
