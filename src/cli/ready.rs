//! The last look before doors at the terminal: 20 s of quiet against the stored soundcheck, then one thing to do, or Ready.
//!
//! Typed lines: `done` (it was put right; on the simulated stage somebody does that), `leave`, `again`, `quit`. What was
//! put right is also heard by itself. Where nobody types, it ends with what the first look found. Exit codes: 0 ready,
//! 1 something is left to do, 2 nothing is stored, or nothing was heard.

use std::path::Path;
use std::sync::mpsc::TryRecvError;
use std::time::{Duration, Instant};

use anyhow::bail;

use super::args::ShowArgs;
use super::end::EndRequest;
use super::linecheck::faults;
use super::out::{self, typed_lines};
use super::{Exit, setup};
use crate::engine::hall::{Hall, LiveHall, StageHall};
use crate::engine::record::room;
use crate::engine::show::{Folder, Laptop, ReadyAdvice, ReadyStep, ShowDesk, stage_name};
use crate::event::{Checked, clock};
use crate::units::{SampleRate, Seconds};
use crate::view::ready::{self, Look, ready_record, ready_step};
use crate::view::{Setup, numbers, words};

const FRAME: Duration = Duration::from_millis(100);
/// A device that gives less than a look within this gives nothing.
const PATIENCE: Duration = Duration::from_secs(60);
/// It is held on for so long at most.
const LONGEST: Duration = Duration::from_secs(900);

pub fn run(args: &ShowArgs) -> anyhow::Result<Exit> {
    let mut setup = setup::read(args.event.as_deref())?;
    if setup.event.is_none() {
        bail!(ready::NO_EVENT);
    }
    let staged = args.device.is_none();
    let Some(before) = setup.stored_soundcheck(staged)? else {
        out::note(&format!("beforedoors: {}", ready::NO_SOUNDCHECK));
        return Ok(Exit::CannotTell);
    };
    match &args.device {
        Some(device) => {
            let hall = LiveHall::open(device)?;
            let (name, record) = (hall.name().to_owned(), args.record.as_deref());
            let tracks = hall.channels();
            let mut desk = ShowDesk::new(hall, args.eq.equaliser(), tracks, false).on_a_laptop();
            let laptop = move |desk: &ShowDesk<LiveHall>, setup: &Setup| Laptop {
                folder: record.map(|folder| folder_of(folder, desk, tracks)),
                may_sleep: desk.hall().may_sleep(),
                odd_clock: setup.odd_clock(),
                battery: None,
            };
            desk.look(setup.look_for(&before, &name, laptop(&desk, &setup)));
            Asking { before, device: name, setup, json: args.json, told: None }.go_on(desk, laptop)
        }
        None => {
            let seed = args.seed.unwrap_or(1);
            let knobs = before.left.lines.iter().map(|line| line.knob).collect();
            let broken = if args.fault.is_empty() { Vec::new() } else { faults::chosen(&args.fault, seed) };
            let Some(hall) = StageHall::before_doors(seed, knobs, &broken) else { return Ok(Exit::CannotTell) };
            if !args.json {
                out::line(words::SIMULATED)?;
            }
            setup.names = hall.names();
            let name = stage_name(seed);
            let laptop =
                |_: &ShowDesk<StageHall>, setup: &Setup| Laptop { odd_clock: setup.odd_clock(), ..Laptop::default() };
            let mut desk = ShowDesk::new(hall, args.eq.equaliser(), setup.names.len(), false);
            desk.look(setup.look_for(&before, &name, laptop(&desk, &setup)));
            Asking { before, device: name, setup, json: args.json, told: None }.go_on(desk, laptop)
        }
    }
}

/// What a recording would find there.
fn folder_of(folder: &Path, desk: &ShowDesk<LiveHall>, tracks: usize) -> Folder {
    let rate: SampleRate = desk.hall().rate();
    room(folder, rate, tracks).map_or(Folder::Shut, |left| Folder::Open { left })
}

struct Asking {
    before: Checked,
    device: String,
    setup: Setup,
    json: bool,
    /// The sentence that was told last.
    told: Option<String>,
}

impl Asking {
    fn go_on<H: Hall>(
        mut self,
        mut desk: ShowDesk<H>,
        laptop: impl Fn(&ShowDesk<H>, &Setup) -> Laptop,
    ) -> anyhow::Result<Exit> {
        let (lines, end) = (typed_lines()?, EndRequest::watch()?);
        if !self.json {
            out::line(&format!("{}\n", ready::READY_HELP))?;
        }
        let mut losses = out::Losses::default();
        let (mut types, mut typed) = (true, None::<String>);
        let began = Instant::now();
        let mut facts_at = Seconds::ZERO;
        while !end.came() && began.elapsed() < LONGEST {
            let at = Instant::now();
            if !desk.go_on() {
                break;
            }
            losses.look(desk.hall().lost());
            if desk.now() - facts_at >= Seconds::new(5.0) {
                facts_at = desk.now();
                desk.tell_laptop(laptop(&desk, &self.setup));
            }
            let advice = self.tell(&desk)?;
            match advice.step {
                ReadyStep::Ready => return Ok(self.exit(&advice)),
                ReadyStep::Do(_) if !types => return Ok(self.exit(&advice)),
                ReadyStep::Listen if began.elapsed() > PATIENCE && advice.judged == 0 => break,
                ReadyStep::Do(_) | ReadyStep::Listen => {}
            }
            if typed.is_none() {
                match lines.try_recv() {
                    Ok(line) => typed = Some(line.trim().to_lowercase()),
                    Err(TryRecvError::Empty) => {}
                    Err(TryRecvError::Disconnected) => types = false,
                }
            }
            // What is typed too early waits for what it answers.
            if let Some(line) = typed.take_if(|line| advice.step != ReadyStep::Listen || is_quit(line)) {
                if is_quit(&line) {
                    return Ok(self.exit(&advice));
                }
                hear(&mut desk, &line);
            }
            if let Some(ahead) = FRAME.checked_sub(at.elapsed()).filter(|_| types || !desk.hall().has_a_desk()) {
                std::thread::sleep(ahead);
            }
        }
        let advice = desk.ready().copied();
        match advice.filter(|advice| advice.step != ReadyStep::Listen) {
            Some(advice) => Ok(self.exit(&advice)),
            None => {
                out::note(&format!("beforedoors: {}", ready::NOTHING_HEARD));
                Ok(Exit::CannotTell)
            }
        }
    }

    /// What is asked for, where it is another thing.
    fn tell<H: Hall>(&mut self, desk: &ShowDesk<H>) -> anyhow::Result<ReadyAdvice> {
        let Some(advice) = desk.ready().copied() else { bail!(ready::NOTHING_HEARD) };
        let look = Look {
            names: &self.setup.names,
            setup: &self.setup,
            before: &self.before,
            device: &self.device,
            clock: &clock(),
        };
        let next = ready_step(&advice, &look);
        if self.told.as_ref() == Some(&next.sentence) {
            return Ok(advice);
        }
        if self.json {
            out::json(&ready_record(desk.now(), &advice, &next, self.setup.minutes_left()))?;
        } else {
            out::line(&format!("{:>7}  {} {}", numbers::clock(desk.now()), next.arrow.sign(), next.sentence))?;
            let parts = [next.then.as_str(), &next.proof].map(str::trim);
            let parts: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
            out::line(&format!("           {}", parts.join(" · ")))?;
        }
        self.told = Some(next.sentence);
        Ok(advice)
    }

    const fn exit(&self, advice: &ReadyAdvice) -> Exit {
        match advice.step {
            ReadyStep::Listen => Exit::CannotTell,
            ReadyStep::Do(_) => Exit::Findings,
            ReadyStep::Ready if advice.left > 0 => Exit::Findings,
            ReadyStep::Ready if advice.judged == 0 => Exit::CannotTell,
            ReadyStep::Ready => Exit::Fine,
        }
    }
}

fn is_quit(line: &str) -> bool {
    matches!(line, "quit" | "q")
}

fn hear<H: Hall>(desk: &mut ShowDesk<H>, line: &str) {
    match line {
        "done" | "d" | "yes" | "" => desk.answer_look(true),
        "leave" | "l" | "no" => desk.answer_look(false),
        "again" | "a" => desk.look_again(),
        _ => out::note(ready::READY_HELP),
    }
}
