//! The show at the terminal: one calm line, and a step where something rings.
//!
//! Typed lines: `done`, `leave`, `quit`; on the simulated stage also `mains +3`. Exit codes: 0 nothing rang, 1 something
//! did, 2 nothing was heard.

use std::io::{self, Write};
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

use super::Exit;
use super::args::ShowArgs;
use super::end::EndRequest;
use super::evening::{self, Evening};
use super::out::{self, typed_lines};
use super::setup;
use crate::engine::hall::{Hall, LiveHall, StageHall};
use crate::engine::show::{ShowAdvice, ShowDesk};
use crate::units::{Db, Seconds};
use crate::view::hall::{SHOW_HELP, show_so_far};
use crate::view::ringout::{show_record, show_step};
use crate::view::{labels, multitrack, numbers, words};

const FRAME: Duration = Duration::from_millis(100);

pub fn run(args: &ShowArgs) -> anyhow::Result<Exit> {
    let equaliser = args.eq.equaliser();
    match &args.device {
        Some(device) => {
            let mut setup = setup::read(args.event.as_deref())?;
            let consent = args.record.as_ref().map(|_| evening::consent(&mut setup)).transpose()?;
            let mut hall = LiveHall::open(device)?;
            let mut evening = Evening::of(&setup)?;
            if let (Some(folder), Some(consent)) = (&args.record, &consent) {
                let recording = hall.record(evening::plan(folder, multitrack::SHOW, consent))?;
                evening.keep(recording, consent).tell(args.json)?;
            }
            let channels = hall.channels();
            let taps = !setup.microphones().is_empty();
            watch(ShowDesk::new(hall, equaliser, channels, taps), evening, &setup.names, args.json)
        }
        None => {
            let Some(hall) = StageHall::on_show_night(args.seed.unwrap_or(1)) else { return Ok(Exit::CannotTell) };
            if !args.json {
                out::line(words::SIMULATED)?;
            }
            let names = hall.names();
            watch(ShowDesk::new(hall, equaliser, names.len(), true), Evening::default(), &names, args.json)
        }
    }
}

fn watch<H: Hall>(mut desk: ShowDesk<H>, mut evening: Evening, names: &[String], json: bool) -> anyhow::Result<Exit> {
    let (lines, end) = (typed_lines()?, EndRequest::watch()?);
    let mut out = io::stdout().lock();
    let exit = follow(&mut desk, &mut evening, &lines, &end, &mut out, names, json)?;
    let lost = desk.hall().lost();
    // What it holds of the recording is handed on.
    drop(desk);
    evening.end().iter().try_for_each(|news| news.tell(json))?;
    match lost {
        Some(error) => Err(anyhow::anyhow!(error)),
        None => Ok(exit),
    }
}

/// Until it is left, or the sound is over.
fn follow<H: Hall>(
    desk: &mut ShowDesk<H>,
    evening: &mut Evening,
    lines: &Receiver<String>,
    end: &EndRequest,
    out: &mut impl Write,
    names: &[String],
    json: bool,
) -> io::Result<Exit> {
    if !json {
        writeln!(out, "{SHOW_HELP}\n")?;
    }
    let mut shown: Option<ShowAdvice> = None;
    let mut losses = out::Losses::default();
    while !end.came() {
        let began = Instant::now();
        if !desk.go_on() {
            break;
        }
        let lost = desk.hall().lost();
        let news = evening.follow(desk.now(), desk.hall().missed(), lost.as_deref());
        news.iter().try_for_each(|news| news.tell(json))?;
        evening.watch(desk.watch());
        losses.look(lost);
        let advice = *desk.watch().advice();
        if shown.is_none_or(|shown| shown.action != advice.action) {
            shown = Some(advice);
            tell(desk.now(), &advice, out, names, json)?;
        }
        match lines.try_recv() {
            Ok(line) => match line.trim().to_lowercase().as_str() {
                "quit" | "q" => break,
                "done" | "d" | "yes" | "" => {
                    evening.answer(desk.watch(), true);
                    desk.answer(true);
                }
                "leave" | "l" | "no" => {
                    evening.answer(desk.watch(), false);
                    desk.answer(false);
                }
                mark if evening.has_log() && mark.split_whitespace().next() == Some("mark") => {
                    evening.mark(line.trim().trim_start_matches(|c: char| !c.is_whitespace()).trim());
                    out::note(labels::MARKED);
                }
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
