//! `soundcheck`: on a device, on the simulated stage, or from a recording; on a screen, as lines, as JSON.
//!
//! Told to end (Ctrl-C in a pipe, a closing terminal), it stops listening, tells how every input stands, and its exit
//! code says so too.

use std::io::{self, BufRead, IsTerminal, Write};
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::mpsc::RecvTimeoutError;
use std::time::Duration;

use anyhow::{bail, ensure};

use super::args::{MoodArg, SoundcheckArgs};
use super::end::EndRequest;
use super::evening;
use super::setup;
use super::{Exit, desk, lines, out, recordings, screen};
use crate::engine::session::{Hearing, Link, Pace, Session, Status};
use crate::engine::{self, ChannelState, Connection, Mood, Skill, Snapshot, Step};
use crate::view::evening::{Evening, plan};
use crate::view::words::{self, plain};
use crate::view::{DeskWords, Setup, choice, multitrack, records};

const PUBLISHED: Duration = Duration::from_millis(100);

/// Runs it and says how it ended: 0 all set, 1 something is left to do, 2 nothing could be told.
pub fn run(args: &SoundcheckArgs) -> anyhow::Result<Exit> {
    if let Some(path) = &args.tone_file {
        return desk::write_tone(path);
    }
    let mut setup = setup::read(args.event.as_deref())?;
    let on_terminal = !args.json && is_screen();
    if let (Some(line), Some(device)) = (args.desk_zero, &args.device) {
        return desk::measure(device, line, args.tone, &mut setup);
    }
    if let Some(path) = &args.file {
        return from_recording(path, args, &setup);
    }
    let hearing = hearing(args, &setup, on_terminal);
    let connection = args.connection.map(Connection::from).or(setup.connection).unwrap_or(Connection::Usb);
    let staged = matches!(hearing, Hearing::Stage { .. });
    if staged && connection != Connection::Usb {
        bail!("the simulated stage is heard by USB only. Leave --connection away, or name a --device");
    }
    let inputs = if staged { None } else { setup.inputs.clone() };
    if connection != Connection::Usb && inputs.is_none() {
        bail!("one channel at a time, or a room microphone, needs an input list. Name the event with --event FOLDER");
    }
    // The simulated stage has no desk of its own.
    if on_terminal && setup.desk_is_unknown() && (!staged || setup.event.is_some()) {
        ask_desk_words(&mut setup)?;
    }
    let listed = inputs.as_ref().filter(|_| connection == Connection::Usb).map_or(0, Vec::len);
    ensure!(!staged || args.record.is_none(), multitrack::OF_THE_STAGE);
    let consent = args.record.as_ref().map(|_| evening::consent(&mut setup)).transpose()?;
    let session = Session::start(hearing, inputs, connection, None)?;
    let end = EndRequest::watch()?;
    let unnamed = (staged && !args.stage && setup.event.is_some()).then(|| words::NO_DEVICE_NAMED.to_owned());
    let doubt = unnamed.or_else(|| words::too_few_channels(session.format().channels, listed));
    if staged || setup.names.is_empty() {
        setup.names = session.names().iter().map(|name| plain(name)).collect();
    }
    let mut evening = if staged { Evening::default() } else { Evening::of(&setup)? };
    if let (Some(folder), Some(consent)) = (&args.record, &consent) {
        let recording = session.record(plan(folder, multitrack::SOUNDCHECK, consent))?;
        evening::tell(&evening.keep(recording, consent), args.json)?;
    }
    if on_terminal {
        let mut doubt = doubt;
        screen::show(&session, &end, |snapshot, status| {
            let alert = evening.hear(snapshot, status).into_iter().rfind(|news| news.is_alert);
            doubt = alert.map(|news| news.text).or(doubt.take());
            screen::Around { setup: &setup, connection, staged, doubt: doubt.clone() }
        })?;
    } else {
        match (&doubt, &setup.event) {
            (Some(doubt), Some(event)) if args.json => {
                out::json(&records::warning(&event.folder().display().to_string(), doubt))?;
            }
            _ => doubt.iter().for_each(|doubt| out::note(doubt)),
        }
        if staged && !args.json {
            out::line(&format!("{}; {}", words::SIMULATED, words::HELPED))?;
            out::line(words::TO_YOUR_DESK)?;
            out::line("")?;
        }
        follow(&session, &mut evening, &setup, args.json, &end)?;
    }
    evening.end().iter().try_for_each(|news| evening::tell(news, args.json))?;
    let snapshot = session.snapshot();
    match setup.keep_soundcheck(&snapshot, session.source(), staged) {
        Ok(kept) => kept.iter().for_each(|kept| out::note(kept)),
        Err(error) => out::note(&format!("{}: {error}", words::SOUNDCHECK_NOT_KEPT)),
    }
    if let Status::Lost(why) = session.status() {
        out::note(&format!("beforedoors: {why}"));
    }
    lines::table(&snapshot, &setup.names, &setup.desk, args.json)?;
    let all = |wanted: ChannelState| snapshot.inputs.iter().all(|input| input.state == wanted);
    Ok(if all(ChannelState::NotHeard) {
        Exit::CannotTell
    } else if all(ChannelState::Set) {
        Exit::Fine
    } else {
        Exit::Findings
    })
}

/// What to listen to: what was named; else the event's device; else the stage.
fn hearing(args: &SoundcheckArgs, setup: &Setup, on_terminal: bool) -> Hearing {
    let device = args.device.clone().or_else(|| setup.device.clone()).filter(|_| !args.stage);
    if device.is_some() {
        return Hearing::Live { device };
    }
    let mood = match args.mood.unwrap_or(MoodArg::Normal) {
        MoodArg::Shy => Mood::Shy,
        MoodArg::Normal => Mood::Normal,
        MoodArg::Show => Mood::ShowNight,
    };
    let pace = if on_terminal { Pace::RealTime } else { Pace::Helped(Skill::CAREFUL) };
    Hearing::Stage { seed: args.seed.unwrap_or(1), mood, pace }
}

/// Tells each change of the next step until the session ends, is told to, or whoever reads has had enough.
fn follow(session: &Session, evening: &mut Evening, setup: &Setup, json: bool, end: &EndRequest) -> io::Result<()> {
    let mut losses = out::Losses::default();
    let mut sleep_told = false;
    while !end.came() {
        let status = session.status();
        if session.may_sleep() && !std::mem::replace(&mut sleep_told, true) {
            out::note(words::MAY_SLEEP);
        }
        evening.hear(&session.snapshot(), &status).iter().try_for_each(|news| evening::tell(news, json))?;
        losses.look_at(status);
        let (at, advice) = match session.changes().recv_timeout(PUBLISHED) {
            Ok(change) => change,
            Err(RecvTimeoutError::Timeout) => continue,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
        };
        if advice.step == Step::AllSet {
            // The picture that goes with it is published a moment later.
            std::thread::sleep(PUBLISHED);
        }
        lines::step(at, &advice, states(&session.snapshot()), setup, json)?;
    }
    session.end();
    Ok(())
}

/// A recording of the soundcheck: what would have been said while it was played, then the verdict on the whole.
fn from_recording(path: &Path, args: &SoundcheckArgs, setup: &Setup) -> anyhow::Result<Exit> {
    let name = path.display();
    ensure!(!path.is_dir(), "{name}: this is a folder. Name one recording, or use: beforedoors recordings {name}");
    let mut begun = false;
    let played = engine::replay(path, setup.inputs.as_deref(), &mut |snapshot| {
        let told = || {
            if !begun && !args.json {
                setup.inputs.is_none().then(|| out::note(words::WITHOUT_A_LIST));
                out::line(words::REPLAYED)?;
            }
            lines::step(snapshot.at, &snapshot.advice, states(snapshot), setup, args.json)
        };
        let told = told();
        begun = true;
        told.map_or_else(ControlFlow::Break, ControlFlow::Continue)
    });
    // A recording that can't be read is told of by the report.
    if let Ok(ControlFlow::Break(error)) = played {
        return Err(error.into());
    }
    if begun && !args.json {
        out::line(words::WHOLE_TAKE)?;
    }
    recordings::measure_as_soundcheck(path, args.json, setup)
}

fn states(snapshot: &Snapshot) -> impl Iterator<Item = ChannelState> + Clone {
    snapshot.inputs.iter().map(|input| input.state)
}

/// Whether there is a terminal to draw on.
pub(super) fn is_screen() -> bool {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    io::stdout().is_terminal() && io::stdin().is_terminal() && !dumb
}

/// Asked once an event: the words on this desk.
fn ask_desk_words(setup: &mut Setup) -> anyhow::Result<()> {
    out::line(words::QUESTIONS)?;
    let usual = &setup.desk;
    let knob = choice::desk_word(&ask(words::KNOB_QUESTION, &usual.knob)?, &usual.knob);
    let lamp = choice::desk_word(&ask(words::LAMP_QUESTION, &usual.lamp)?, &usual.lamp);
    let marks = !ask(words::MARKS_QUESTION, "yes")?.to_lowercase().starts_with('n');
    let zero = usual.zero;
    Ok(setup.keep_desk(DeskWords { knob, lamp, marks, zero })?)
}

/// One line from the person.
pub(super) fn ask(question: &str, usual: &str) -> io::Result<String> {
    let mut out = io::stdout().lock();
    write!(out, "{question} [{usual}] ")?;
    out.flush()?;
    drop(out);
    let mut answer = String::new();
    io::stdin().lock().read_line(&mut answer)?;
    let answer = answer.trim();
    Ok(if answer.is_empty() { usual.to_owned() } else { answer.to_owned() })
}
