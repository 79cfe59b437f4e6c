//! What a quiet sweep is told on the way, and whoever answers: keys on a terminal, else typed lines.
//!
//! Typed lines: `yes`, `no`, `stop`; while it sounds, any line stops it. On a terminal any key does, unseen.

use std::io::{self, Write};
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

use crossterm::event::KeyCode;
use serde_json::Value;

use super::end::EndRequest;
use super::keys::Keys;
use super::out;
use crate::engine::quiet::{QuietAnswer, QuietStep, TAP};
use crate::units::Seconds;
use crate::view::safe_sweep::SWEEP_CAUTIONS;
use crate::view::{NextStep, numbers};

/// A step on the simulated stage, where somebody watches it, and where lines are typed by a program.
const STAGE_STEP: Duration = Duration::from_millis(100);
const UNSEEN_STEP: Duration = Duration::from_millis(2);

/// Work that sounds, and asks before it does.
pub trait Asking {
    fn now(&self) -> Seconds;

    /// What is asked; whatever is no sweep's own counts as its cautions.
    fn asks(&self) -> QuietStep;

    fn next(&self) -> NextStep;

    fn record(&self) -> Value;

    fn go_on(&mut self) -> bool;

    fn answer(&mut self, answer: QuietAnswer);
}

/// Until it is over; `simulated`: the sound itself takes no time.
pub fn follow(work: &mut impl Asking, simulated: bool, json: bool) -> io::Result<()> {
    let end = EndRequest::watch()?;
    let mut hands = Hands::new(simulated)?;
    if !json {
        SWEEP_CAUTIONS.iter().try_for_each(|caution| hands.line(caution))?;
        hands.line("")?;
        hands.line(hands.help())?;
    }
    let mut shown: Option<String> = None;
    loop {
        let began = Instant::now();
        let step = work.asks();
        tell(&hands, work, json, &mut shown)?;
        if !work.go_on() {
            break;
        }
        let told_to_end = end.came().then_some(QuietAnswer::Stop);
        if let Some(answer) = told_to_end.or_else(|| hands.answer(&step)) {
            work.answer(answer);
        }
        let pace = if hands.keys.are_there() { STAGE_STEP } else { UNSEEN_STEP };
        if let Some(ahead) = pace.checked_sub(began.elapsed()).filter(|_| simulated) {
            std::thread::sleep(ahead);
        }
    }
    tell(&hands, work, json, &mut shown)
}

/// The step, where it is another.
fn tell(hands: &Hands, work: &impl Asking, json: bool, shown: &mut Option<String>) -> io::Result<()> {
    let next = work.next();
    if shown.as_ref() == Some(&next.sentence) {
        return Ok(());
    }
    if json {
        out::json(&work.record())?;
    } else {
        hands.line(&format!("{:>7}    {}", numbers::clock(work.now()), next.sentence))?;
        hands.line(&format!("           {}", next.then))?;
    }
    *shown = Some(next.sentence);
    Ok(())
}

/// Where answers come from.
struct Hands {
    keys: Keys,
    lines: Option<Receiver<String>>,
    simulated: bool,
    /// A yes that was said before the tap came.
    early: bool,
}

impl Hands {
    fn new(simulated: bool) -> io::Result<Self> {
        let keys = Keys::new();
        let lines = if keys.are_there() { None } else { Some(out::typed_lines()?) };
        Ok(Self { keys, lines, simulated, early: false })
    }

    const fn help(&self) -> &'static str {
        match self.lines {
            None => "Y yes, N no; while it sounds, any key stops it.",
            Some(_) => "Type yes, no or stop; while it sounds, any line stops it.",
        }
    }

    fn line(&self, text: &str) -> io::Result<()> {
        if !self.keys.are_there() {
            return out::line(text);
        }
        let mut out = io::stdout().lock();
        write!(out, "{text}\r\n")?;
        out.flush()
    }

    fn answer(&mut self, step: &QuietStep) -> Option<QuietAnswer> {
        let no_tap = matches!(step, QuietStep::Tap { rise } if *rise < TAP);
        let said = match &self.lines {
            None => key(self.keys.pressed()?, step),
            Some(_) if self.early && !no_tap => QuietAnswer::Yes,
            Some(lines) => match lines.try_recv() {
                Ok(line) => typed(&line, step),
                Err(TryRecvError::Empty) => return None,
                // Nobody is there who could stop it.
                Err(TryRecvError::Disconnected) if self.simulated && (self.early || sounds(step)) => return None,
                Err(TryRecvError::Disconnected) => QuietAnswer::Stop,
            },
        };
        self.early = said == QuietAnswer::Yes && no_tap;
        (!self.early).then_some(said)
    }
}

fn typed(line: &str, step: &QuietStep) -> QuietAnswer {
    match line.trim().to_lowercase().as_str() {
        _ if sounds(step) => QuietAnswer::Stop,
        "yes" | "y" | "done" | "" => QuietAnswer::Yes,
        "no" | "n" => QuietAnswer::No,
        _ => QuietAnswer::Stop,
    }
}

fn key(key: KeyCode, step: &QuietStep) -> QuietAnswer {
    match key {
        _ if sounds(step) => QuietAnswer::Stop,
        KeyCode::Char('y' | 'Y' | ' ') | KeyCode::Enter => QuietAnswer::Yes,
        KeyCode::Char('n' | 'N') => QuietAnswer::No,
        _ => QuietAnswer::Stop,
    }
}

const fn sounds(step: &QuietStep) -> bool {
    matches!(step, QuietStep::Countdown { .. } | QuietStep::Sounding { .. })
}
