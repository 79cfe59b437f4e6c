//! `linecheck`: on a device or on the simulated stage; on a screen, as lines, as JSON.
//!
//! What a question wants is typed (or pressed, on the screen); where nobody can type, questions are skipped. Ticks go
//! into the event folder as they come. Exit codes: 0 every line is right, 1 something is left, 2 nothing could be told,
//! or something was skipped, 3 bad input.

pub mod faults;
mod screen;
mod typed;

use std::io;
use std::path::Path;
use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError};
use std::time::Duration;

use super::args::LinecheckArgs;
use super::end::EndRequest;
use super::{Exit, out, setup};
use crate::engine::linecheck::{
    LineAnswer, LineHearing, LineLink, LineOutcome, LinePace, LinePlan, LineSession, LineSkill, LineSnapshot,
    LineStatus, stage_plan,
};
use crate::engine::session::Status;
use crate::event::{Tick, write_ticks};
use crate::units::ChannelId;
use crate::view::linecheck::{
    LINE_CAUTIONS, LineNext, LineReply, assembly_lines, assembly_record, line_end, line_record, line_result, line_step,
    line_step_record, speaker_result, speakers_record,
};
use crate::view::lines::ticks;
use crate::view::words::{self, plain};
use crate::view::{Setup, numbers};
pub use faults::{Fault, fault};
use typed::Typed;

const PUBLISHED: Duration = Duration::from_millis(100);

pub fn run(args: &LinecheckArgs) -> anyhow::Result<Exit> {
    let setup = setup::read(args.event.as_deref())?;
    let on_terminal = !args.json && super::soundcheck::is_screen();
    let device = args.device.clone().or_else(|| setup.device.clone()).filter(|_| !args.stage);
    let staged = device.is_none();
    let hearing = match device {
        Some(device) => LineHearing::Live { device: Some(device) },
        None => {
            let pace = if on_terminal { LinePace::RealTime } else { LinePace::Helped(LineSkill::CAREFUL) };
            let seed = args.seed.unwrap_or(1);
            LineHearing::Stage { seed, faults: faults::chosen(&args.fault, seed), pace }
        }
    };
    let named = args.room_mic.and_then(|number| number.checked_sub(1)).map(ChannelId::new);
    let room = named.or_else(|| setup.room());
    let make = |channels: usize| {
        let plan = if staged { stage_plan() } else { setup.line_plan(channels).with_room(room) };
        LinePlan { loudspeakers: true, ..plan }
    };
    let plan: Option<&dyn Fn(usize) -> LinePlan> = if args.assembly { None } else { Some(&make) };
    let session = LineSession::start(hearing, plan, None)?;
    let end = EndRequest::watch()?;
    let names: Vec<String> = if staged || setup.names.is_empty() {
        session.names().iter().map(|name| plain(name)).collect()
    } else {
        setup.names.clone()
    };
    let listed = setup.inputs.as_ref().filter(|_| !staged && !args.assembly).map_or(0, Vec::len);
    if let Some(doubt) = words::too_few_channels(session.format().channels, listed) {
        out::note(&doubt);
    }
    let folder = setup.event.as_ref().filter(|_| !staged && !args.assembly).map(|event| event.folder());
    let mut ticks = Ticks { folder, written: Vec::new() };
    if on_terminal {
        screen::show(&session, &names, staged, &mut ticks, &end)?;
    } else {
        greet(staged, &setup, args.json)?;
        let typed = if staged { None } else { Some(typed_lines()?) };
        follow(&session, &names, args.json, typed.as_ref(), &mut ticks, &end)?;
    }
    let snapshot = session.snapshot();
    if let Status::Lost(why) = session.status() {
        out::note(&format!("beforedoors: {why}"));
    }
    ticks.keep(&snapshot)?;
    table(&snapshot, &names, args.json)?;
    Ok(exit_of(&snapshot))
}

fn greet(staged: bool, setup: &Setup, json: bool) -> io::Result<()> {
    if json {
        return Ok(());
    }
    if staged {
        out::line("Simulated stage: no device is used; a simulated helper taps, plays and moves the plugs.")?;
        out::line("Your desk: beforedoors devices, then beforedoors linecheck --device NAME")?;
        if setup.event.is_some() {
            out::line(words::NO_DEVICE_NAMED)?;
        }
    } else {
        LINE_CAUTIONS.iter().try_for_each(|caution| out::line(caution))?;
        out::line(typed::HELP)?;
    }
    out::line("")
}

/// Tells each change of the next step, and passes on what is typed; the simulated helper needs no answers.
fn follow(
    session: &LineSession,
    names: &[String],
    json: bool,
    typed: Option<&Receiver<String>>,
    ticks: &mut Ticks,
    end: &EndRequest,
) -> anyhow::Result<()> {
    let mut nobody = false;
    let mut reply = LineReply::Wait;
    let mut losses = out::Losses::default();
    while !end.came() {
        losses.look_at(session.status());
        match session.changes().recv_timeout(PUBLISHED) {
            Ok((at, advice)) => {
                let snapshot = session.snapshot();
                let next = line_step(&advice, names);
                let next = if next.reply == LineReply::Over { last_words(session) } else { next };
                reply = next.reply;
                if json {
                    out::json(&line_step_record(at, &advice, &next))?;
                } else {
                    out::line(&format!("{:>7}  → {}", numbers::clock(at), next.sentence))?;
                    out::line(&format!("           {}", next.then))?;
                    out::line(&format!("           {}", next.proof))?;
                }
                ticks.keep(&snapshot)?;
                if reply == LineReply::Over {
                    break;
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        }
        while let Some(lines) = typed {
            match lines.try_recv() {
                Ok(line) => match typed::read(&line) {
                    Some(Typed::Leave) => {
                        session.end();
                        return Ok(());
                    }
                    Some(Typed::Answer(answer)) => _ = session.send(answer),
                    None => out::note(typed::HELP),
                },
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    nobody = true;
                    break;
                }
            }
        }
        // Nobody can answer: the question is passed over.
        if nobody && !matches!(reply, LineReply::Wait | LineReply::Over) {
            session.send(LineAnswer::Skip);
            reply = LineReply::Wait;
        }
    }
    session.end();
    Ok(())
}

/// The end's words, once its picture is there.
fn last_words(session: &LineSession) -> LineNext {
    std::thread::sleep(PUBLISHED);
    line_end(&session.snapshot())
}

/// What is typed, as it comes; a terminal that shows lines only can be typed at too.
fn typed_lines() -> io::Result<Receiver<String>> {
    let (send, lines) = std::sync::mpsc::channel();
    std::thread::Builder::new().name("typed".into()).spawn(move || {
        for line in io::stdin().lines() {
            if line.is_err() || line.is_ok_and(|line| send.send(line).is_err()) {
                break;
            }
        }
    })?;
    Ok(lines)
}

/// Every input, as it stands; then the loudspeakers.
fn table(snapshot: &LineSnapshot, names: &[String], json: bool) -> io::Result<()> {
    if let Some(found) = &snapshot.assembly {
        return if json {
            out::json(&assembly_record(found))
        } else {
            assembly_lines(found).iter().try_for_each(|line| out::line(line))
        };
    }
    let width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).max(4);
    for status in &snapshot.inputs {
        let name = names.get(status.input.channel.index()).map_or("", String::as_str);
        if json {
            out::json(&line_record(status, name))?;
        } else {
            out::line(&row(status, name, width))?;
        }
    }
    if json {
        return out::json(&speakers_record(&snapshot.speakers));
    }
    out::line(&format!("Loudspeakers: {}", speaker_result(&snapshot.speakers)))?;
    match &snapshot.trouble {
        Some(trouble) => out::line(&format!("No sound: {trouble}")),
        None => Ok(()),
    }
}

/// "  4  Choir left   ✓  arrived": the mark, and the words beside it.
fn row(status: &LineStatus, name: &str, width: usize) -> String {
    let result = &status.result;
    format!("{:>3}  {name:width$}  {}  {}", status.input.channel.number(), mark(status), line_result(result))
}

fn mark(status: &LineStatus) -> &'static str {
    match status.result.outcome {
        _ if status.result.is_right() => "✓",
        LineOutcome::Open | LineOutcome::Skipped => "–",
        _ => "!",
    }
}

/// 0 every line is right, 1 something is left, 2 nothing could be told or something was passed over.
fn exit_of(snapshot: &LineSnapshot) -> Exit {
    if let Some(found) = &snapshot.assembly {
        return match found.hall {
            None => Exit::CannotTell,
            Some(LineAnswer::Both) if found.microphone.is_some() && found.video[0].is_some() => Exit::Fine,
            Some(_) => Exit::Findings,
        };
    }
    let any = |wanted: fn(&LineStatus) -> bool| snapshot.inputs.iter().any(wanted);
    let heard = any(|status| matches!(status.result.outcome, LineOutcome::Arrived | LineOutcome::Elsewhere(_)));
    if !heard {
        Exit::CannotTell
    } else if any(|status| status.result.has_fault()) || snapshot.speakers.has_fault() {
        Exit::Findings
    } else if any(|status| !status.result.is_right()) {
        Exit::CannotTell
    } else {
        Exit::Fine
    }
}

/// The ticks in the event folder, written anew when they change.
struct Ticks<'a> {
    folder: Option<&'a Path>,
    written: Vec<Tick>,
}

impl Ticks<'_> {
    fn keep(&mut self, snapshot: &LineSnapshot) -> anyhow::Result<()> {
        let Some(folder) = self.folder else { return Ok(()) };
        let ticks = ticks(snapshot);
        if !ticks.is_empty() && ticks != self.written {
            write_ticks(folder, &ticks)?;
            self.written = ticks;
        }
        Ok(())
    }
}
