//! `soundcheck`: on a device, on the simulated stage, or from a recording; on a screen, as lines, as JSON.

use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;
use std::time::Duration;

use anyhow::bail;

use super::args::{MoodArg, RecordingsArgs, SoundcheckArgs};
use super::setup::{self, Setup};
use super::{Exit, desk, lines, out, recordings, screen};
use crate::engine::session::{Hearing, Pace, Session, Status};
use crate::engine::{ChannelState, Connection, Mood, Skill, Step};
use crate::view::DeskWords;
use crate::view::words::{self, plain};

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
        return from_recording(path, args);
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
    let session = Session::start(hearing, inputs, connection, None)?;
    let doubt = words::too_few_channels(session.format().channels, listed);
    if staged || setup.names.is_empty() {
        setup.names = session.names().iter().map(|name| plain(name)).collect();
    }
    if on_terminal {
        screen::show(&session, &screen::Around { setup: &setup, connection, staged, doubt: doubt.as_deref() })?;
    } else {
        doubt.iter().for_each(|doubt| out::note(doubt));
        if staged && !args.json {
            out::line(&format!("{}; {}", words::SIMULATED, words::HELPED))?;
            out::line(&format!("{}\n", words::TO_YOUR_DESK))?;
        }
        follow(&session, &setup, args.json)?;
    }
    let snapshot = session.snapshot();
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

/// Tells each change of the next step until the session ends, or whoever reads has had enough.
fn follow(session: &Session, setup: &Setup, json: bool) -> io::Result<()> {
    while let Ok((at, advice)) = session.changes().recv() {
        if advice.step == Step::AllSet {
            // The picture that goes with it is published a moment later.
            std::thread::sleep(PUBLISHED);
        }
        let snapshot = session.snapshot();
        lines::step(at, &advice, snapshot.inputs.iter().map(|input| input.state), setup, json)?;
    }
    Ok(())
}

/// A recording of the soundcheck: judged as a whole, since no knob can be turned any more.
fn from_recording(path: &Path, args: &SoundcheckArgs) -> anyhow::Result<Exit> {
    recordings::run(&RecordingsArgs {
        paths: vec![path.to_owned()],
        event: args.event.clone(),
        aes17: false,
        json: args.json,
    })
}

/// Whether there is a terminal to draw on.
fn is_screen() -> bool {
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    io::stdout().is_terminal() && io::stdin().is_terminal() && !dumb
}

/// Asked once an event: the words on this desk.
fn ask_desk_words(setup: &mut Setup) -> anyhow::Result<()> {
    out::line(words::QUESTIONS)?;
    let usual = &setup.desk;
    let knob = short(&ask(words::KNOB_QUESTION, &usual.knob)?, &usual.knob);
    let lamp = short(&ask(words::LAMP_QUESTION, &usual.lamp)?, &usual.lamp);
    let marks = !ask(words::MARKS_QUESTION, "yes")?.to_lowercase().starts_with('n');
    setup.desk = DeskWords { knob: knob.clone(), lamp: lamp.clone(), marks, zero: usual.zero };
    if let Some(event) = &mut setup.event {
        let desk = &mut event.settings.desk;
        (desk.knob, desk.lamp, desk.marks) = (Some(knob), Some(lamp), Some(marks));
        event.save()?;
    }
    Ok(())
}

/// What stands on a desk is short; anything else is not an answer.
fn short(answer: &str, usual: &str) -> String {
    let word: String = plain(answer).chars().filter(|&c| c != '\u{fffd}').take(20).collect();
    if word.trim().is_empty() { usual.to_owned() } else { word.trim().to_owned() }
}

/// One line from the person.
pub(super) fn ask(question: &str, usual: &str) -> io::Result<String> {
    print!("{question} [{usual}] ");
    io::stdout().flush()?;
    let mut answer = String::new();
    io::stdin().lock().read_line(&mut answer)?;
    let answer = answer.trim();
    Ok(if answer.is_empty() { usual.to_owned() } else { answer.to_owned() })
}
