//! A ring-out at the terminal: the step, what is typed, the results.
//!
//! Plain lines in and out, so that a person, a pipe and a test do the same. On a terminal time goes by as it does in a
//! hall; with typed lines from elsewhere it waits for each line, and each costs the 0.7 s that a hand needs.

use std::io::{self, Write};
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

use super::commands::{self, HELP, Typed};
use crate::cli::Exit;
use crate::cli::out::Losses;
use crate::engine::hall::Hall;
use crate::engine::ringout::{RingAdvice, RingOutDesk, RingStep};
use crate::units::Seconds;
use crate::view::numbers;
use crate::view::ringout::{
    RING_CAUTIONS, cut_label, output_record, result_lines, ring_step, ring_step_record, typed_error_record,
};

/// How time goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// As in a hall.
    RealTime,
    /// It waits for each typed line.
    ByTurns,
}

/// How it is told.
#[derive(Clone, Copy, Debug)]
pub struct Telling<'a> {
    /// The channels' names.
    pub names: &'a [String],
    pub json: bool,
    pub pace: Pace,
}

/// What a typed line costs in time.
const HAND: Seconds = Seconds::new(0.7);
const FRAME: Duration = Duration::from_millis(100);
/// Frames of listening after which nothing more is to be expected.
const PATIENCE: u32 = 36_000;

/// Runs it with typed `lines` until it is over, they end, or someone leaves.
pub fn run<H: Hall>(
    desk: &mut RingOutDesk<H>,
    lines: &Receiver<String>,
    out: &mut impl Write,
    telling: Telling,
) -> io::Result<Exit> {
    if !telling.json {
        for caution in RING_CAUTIONS {
            writeln!(out, "{caution}")?;
        }
        writeln!(out, "Type help for what can be typed.\n")?;
    }
    let mut shown: Option<RingAdvice> = None;
    let mut losses = Losses::default();
    while !desk.coach().is_over() {
        tell(desk, &mut shown, out, telling)?;
        let listening = desk.coach().advice().step == RingStep::Wait;
        let typed = match telling.pace {
            Pace::ByTurns if listening => {
                if !listen(desk) {
                    break;
                }
                continue;
            }
            Pace::ByTurns => lines.recv().map_err(|_| TryRecvError::Disconnected),
            Pace::RealTime => {
                let began = Instant::now();
                if !desk.go_on() {
                    break;
                }
                losses.look(desk.hall().lost());
                let typed = lines.try_recv();
                if let (Err(TryRecvError::Empty), Some(ahead)) = (&typed, FRAME.checked_sub(began.elapsed())) {
                    std::thread::sleep(ahead);
                }
                typed
            }
        };
        match typed {
            Ok(line) => {
                if telling.pace == Pace::ByTurns && !pass(desk, HAND) {
                    break;
                }
                if !carry_out(desk, &line, out, telling)? {
                    break;
                }
            }
            Err(TryRecvError::Empty) => {}
            Err(TryRecvError::Disconnected) => break,
        }
    }
    tell(desk, &mut shown, out, telling)?;
    results(desk, out, telling)
}

/// One typed line; `false`: someone leaves.
fn carry_out<H: Hall>(
    desk: &mut RingOutDesk<H>,
    line: &str,
    out: &mut impl Write,
    telling: Telling,
) -> io::Result<bool> {
    let problem = match commands::read(line) {
        Ok(Typed::Leave) => return Ok(false),
        Ok(Typed::Help) => {
            HELP.iter().try_for_each(|line| writeln!(out, "{line}"))?;
            return Ok(true);
        }
        Ok(Typed::Answer(answer)) => {
            desk.answer(answer);
            None
        }
        Ok(Typed::Order(order)) => desk.obey(order).err().map(|error| error.to_string()),
        Err(error) => Some(error.to_string()),
    };
    if let Some(problem) = problem {
        if telling.json {
            writeln!(out, "{}", typed_error_record(&problem))?;
        } else {
            writeln!(out, "           {problem}")?;
        }
    }
    Ok(true)
}

/// Until the step is another; `false`: the sound is over.
fn listen<H: Hall>(desk: &mut RingOutDesk<H>) -> bool {
    for _ in 0..PATIENCE {
        if !desk.go_on() {
            return false;
        }
        if desk.coach().advice().step != RingStep::Wait {
            return true;
        }
    }
    false
}

fn pass<H: Hall>(desk: &mut RingOutDesk<H>, span: Seconds) -> bool {
    let end = desk.now() + span;
    while desk.now() < end {
        if !desk.go_on() {
            return false;
        }
    }
    true
}

/// The step, where it is another.
fn tell<H: Hall>(
    desk: &RingOutDesk<H>,
    shown: &mut Option<RingAdvice>,
    out: &mut impl Write,
    telling: Telling,
) -> io::Result<()> {
    let advice = *desk.coach().advice();
    if shown.is_some_and(|shown| (shown.step, shown.output) == (advice.step, advice.output)) {
        return Ok(());
    }
    *shown = Some(advice);
    let next = ring_step(&advice, telling.names);
    if telling.json {
        return writeln!(out, "{}", ring_step_record(desk.now(), &advice, &next));
    }
    if advice.step == RingStep::Wait {
        return Ok(());
    }
    writeln!(out, "{:>7}  {} {}", numbers::clock(desk.now()), next.arrow.sign(), next.sentence)?;
    writeln!(out, "           {} · {}", next.then, next.proof)?;
    if matches!(advice.step, RingStep::Prepare { .. }) {
        let plan = desk.coach().plan().outputs.iter().find(|it| Some(it.output) == advice.output);
        for cut in plan.map_or(&[][..], |plan| &plan.noted) {
            writeln!(out, "           noted: {}", cut_label(cut, telling.names))?;
        }
    }
    out.flush()
}

/// How each output ended: 0 all have what was wanted, 1 one has not, 2 nothing was rung out.
fn results<H: Hall>(desk: &RingOutDesk<H>, out: &mut impl Write, telling: Telling) -> io::Result<Exit> {
    if !telling.json {
        writeln!(out)?;
    }
    for ended in desk.ended() {
        if telling.json {
            writeln!(out, "{}", output_record(&ended))?;
        } else {
            result_lines(&ended, telling.names).iter().try_for_each(|line| writeln!(out, "{line}"))?;
        }
    }
    out.flush()?;
    let results = || desk.coach().results();
    Ok(if results().all(|result| result.end.is_none() && result.held.is_none()) {
        Exit::CannotTell
    } else if results().all(|result| result.end.is_some_and(|end| end.is_target())) {
        Exit::Fine
    } else {
        Exit::Findings
    })
}
