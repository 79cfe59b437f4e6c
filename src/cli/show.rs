//! The show at the terminal: one calm line, and a step where something rings.
//!
//! Typed lines: `done`, `leave`, `quit`; on the simulated stage also `mains +3`. Exit codes: 0 nothing rang, 1 something
//! did, 2 nothing was heard.

use std::io::{self, Write};
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

use super::Exit;
use super::args::ShowArgs;
use super::out::{self, typed_lines};
use super::setup;
use crate::engine::hall::{Hall, LiveHall, StageHall};
use crate::engine::show::{ShowAdvice, ShowDesk};
use crate::units::{Db, Seconds};
use crate::view::hall::{SHOW_HELP, show_so_far};
use crate::view::ringout::{show_record, show_step};
use crate::view::{numbers, words};

const FRAME: Duration = Duration::from_millis(100);

pub fn run(args: &ShowArgs) -> anyhow::Result<Exit> {
    let equaliser = args.eq.equaliser();
    match &args.device {
        Some(device) => {
            let setup = setup::read(args.event.as_deref())?;
            let hall = LiveHall::open(device)?;
            let channels = hall.channels();
            let taps = !setup.microphones().is_empty();
            watch(ShowDesk::new(hall, equaliser, channels, taps), &setup.names, args.json)
        }
        None => {
            let Some(hall) = StageHall::on_show_night(args.seed.unwrap_or(1)) else { return Ok(Exit::CannotTell) };
            if !args.json {
                out::line(words::SIMULATED)?;
            }
            let names = hall.names();
            watch(ShowDesk::new(hall, equaliser, names.len(), true), &names, args.json)
        }
    }
}

fn watch<H: Hall>(mut desk: ShowDesk<H>, names: &[String], json: bool) -> anyhow::Result<Exit> {
    let lines = typed_lines()?;
    let exit = follow(&mut desk, &lines, &mut io::stdout().lock(), names, json)?;
    match desk.hall().lost() {
        Some(error) => Err(anyhow::anyhow!(error)),
        None => Ok(exit),
    }
}

/// Until it is left, or the sound is over.
pub fn follow<H: Hall>(
    desk: &mut ShowDesk<H>,
    lines: &Receiver<String>,
    out: &mut impl Write,
    names: &[String],
    json: bool,
) -> io::Result<Exit> {
    if !json {
        writeln!(out, "{SHOW_HELP}\n")?;
    }
    let mut shown: Option<ShowAdvice> = None;
    let mut losses = out::Losses::default();
    loop {
        let began = Instant::now();
        if !desk.go_on() {
            break;
        }
        losses.look(desk.hall().lost());
        let advice = *desk.watch().advice();
        if shown.is_none_or(|shown| shown.action != advice.action) {
            shown = Some(advice);
            tell(desk.now(), &advice, out, names, json)?;
        }
        match lines.try_recv() {
            Ok(line) => match line.trim().to_lowercase().as_str() {
                "quit" | "q" => break,
                "done" | "d" | "yes" | "" => desk.answer(true),
                "leave" | "l" | "no" => desk.answer(false),
                other => match other.strip_prefix("mains").map(|by| by.trim().parse::<f64>()) {
                    Some(Ok(by)) if desk.hall().has_a_desk() && by.abs() <= 24.0 => desk.move_mains(Db::new(by)),
                    _ => writeln!(out, "           {SHOW_HELP}")?,
                },
            },
            Err(TryRecvError::Empty) => {}
            // Nobody types: it goes on until the sound is over. On the stage it would never be.
            Err(TryRecvError::Disconnected) if desk.hall().has_a_desk() => break,
            Err(TryRecvError::Disconnected) => {}
        }
        if let Some(ahead) = FRAME.checked_sub(began.elapsed()) {
            std::thread::sleep(ahead);
        }
    }
    let alerts = desk.watch().log().len();
    if !json {
        writeln!(out, "\n{}", show_so_far(alerts))?;
    }
    Ok(match (desk.now() > Seconds::ZERO, alerts) {
        (false, _) => Exit::CannotTell,
        (true, 0) => Exit::Fine,
        (true, _) => Exit::Findings,
    })
}

fn tell(at: Seconds, advice: &ShowAdvice, out: &mut impl Write, names: &[String], json: bool) -> io::Result<()> {
    let next = show_step(advice, names);
    if json {
        return writeln!(out, "{}", show_record(at, advice, &next));
    }
    writeln!(out, "{:>7}  {} {}", numbers::clock(at), next.arrow.sign(), next.sentence)?;
    let parts: Vec<&str> =
        [next.then.as_str(), next.proof.as_str()].into_iter().filter(|part| !part.is_empty()).collect();
    writeln!(out, "           {}", parts.join(" · "))?;
    out.flush()
}
