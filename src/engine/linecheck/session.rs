//! The line check's thread: owns the source, the pipeline, the simulated helper and the loudspeakers' test sound.
//!
//! A face has a link: the newest picture, and a way to tell what the person said. The test sound is armed by the
//! person's yes to the question for it, and by nothing else; it needs an output with two channels. On the simulated
//! stage no device is used and nothing sounds.

use std::sync::mpsc::{self, Receiver, SyncSender, TrySendError};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::hand::{LineHand, LineSkill};
use super::pipeline::LinePipeline;
use super::{LineSnapshot, RigFault};
use crate::block::{BlockBuf, Format};
use crate::coach::linecheck::{LineAdvice, LineAnswer, LineInput, LinePlan, LineStep, TestSound};
use crate::engine::session::{Name, SessionError, Status, lock, usual_device};
use crate::sink::{self, SideOutput, Sides};
use crate::source::live::{self, InputState, LiveConfig, LiveSource};
use crate::source::stage::{Mood, Stage, StageConfig};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Db, Hertz, SampleRate, Seconds};

/// What is listened to.
#[derive(Clone, Debug)]
pub enum LineHearing {
    Stage {
        seed: u64,
        faults: Vec<RigFault>,
        pace: LinePace,
    },
    /// A device by name; `None`: the system's usual input.
    Live {
        device: Option<String>,
    },
}

/// How time goes by on the simulated stage.
#[derive(Clone, Copy, Debug)]
pub enum LinePace {
    /// A helper taps; the person reads, answers and says what is done.
    RealTime,
    /// As fast as can be, with a helper who does it all.
    Helped(LineSkill),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineCommand {
    Answer(LineAnswer),
    Stop,
}

/// What a face has of a line check.
pub trait LineLink {
    fn snapshot(&self) -> LineSnapshot;
    fn status(&self) -> Status;
    fn send(&self, command: LineCommand) -> bool;
    /// By line of the source.
    fn names(&self) -> &[Name];
    fn format(&self) -> Format;
}

/// Told of every picture that is published, from the engine's own thread.
pub type LineWaker = Box<dyn FnMut(&LineSnapshot, &Status) + Send>;

/// A running line check.
pub struct LineSession {
    shared: Arc<Shared>,
    commands: SyncSender<LineCommand>,
    changes: Receiver<(Seconds, LineAdvice)>,
    names: Vec<Name>,
    format: Format,
    thread: Option<JoinHandle<()>>,
}

struct Shared {
    snapshot: Mutex<LineSnapshot>,
    status: Mutex<Status>,
}

const COMMANDS: usize = 64;
const CHANGES: usize = 1024;
const PUBLISH_EVERY: Duration = Duration::from_millis(33);
const BLOCK: Seconds = Seconds::new(0.02);
const LIVE_BLOCK: Seconds = Seconds::new(0.5);
const STAGE_RATE: u32 = 48_000;

/// The simulated stage's inputs, as a plan.
pub fn stage_plan() -> LinePlan {
    let stage = quiet_stage(1, &[]);
    let inputs = stage.inputs().iter().enumerate().map(|(index, input)| {
        let wire = LineInput::usual_wire(input.kind);
        LineInput::new(ChannelId::from_index(index), input.kind, wire, input.phantom)
    });
    let plan = LinePlan::new(inputs.collect(), stage.inputs().len());
    LinePlan { pairs: stage.pairs(), loudspeakers: true, ..plan }
}

/// What is wrong on the stage of a seed: two plugs in each other's sockets, hum on a line, and now and then more.
pub fn drawn_faults(seed: u64) -> Vec<RigFault> {
    let mut random = Pcg64Mcg::seed_from_u64(seed ^ 0x22);
    let microphones = [0, 1, 2, 3, 4, 7, 8, 9, 10].map(ChannelId::new);
    let first = random.random_range(0..microphones.len());
    let second = (first + random.random_range(1..microphones.len())) % microphones.len();
    let mains = Hertz::new(if random.random_bool(0.5) { 50.0 } else { 60.0 } + random.random_range(-0.05..=0.05));
    let hum = RigFault::Hum {
        channel: ChannelId::new(if random.random_bool(0.5) { 5 } else { 6 }),
        mains,
        over: Db::new(random.random_range(10.0..=20.0)),
        comb: random.random_bool(0.3),
    };
    let swapped = RigFault::Swapped(microphones[first], microphones[second]);
    let more = match random.random_range(0..5) {
        0 => Some(RigFault::NoPhantom(ChannelId::new(9))),
        1 => Some(RigFault::LegReversed(ChannelId::new(4))),
        2 => Some(RigFault::SpeakerReversed),
        _ => None,
    };
    [Some(swapped), Some(hum), more].into_iter().flatten().collect()
}

fn quiet_stage(seed: u64, faults: &[RigFault]) -> Stage {
    let rate = SampleRate::new(STAGE_RATE).expect("a rate within the meters' range");
    let config = StageConfig { playing: false, ..StageConfig::new(seed, Mood::Normal, rate) };
    faults.iter().fold(Stage::new(config), |stage, fault| stage.with_fault(*fault))
}

impl LineSession {
    /// `plan`: makes the plan for so many lines; `None` is the assembly.
    pub fn start(
        hearing: LineHearing,
        plan: Option<&dyn Fn(usize) -> LinePlan>,
        wake: Option<LineWaker>,
    ) -> Result<Self, SessionError> {
        let ears = Ears::open(&hearing)?;
        let format = ears.format();
        let names = ears.names();
        let pipeline = match plan {
            Some(plan) => LinePipeline::new(format, plan(format.channels)),
            None => LinePipeline::assembly(format),
        };
        let shared =
            Arc::new(Shared { snapshot: Mutex::new(pipeline.snapshot().clone()), status: Mutex::new(Status::Running) });
        let (commands, inbox) = mpsc::sync_channel(COMMANDS);
        let (outbox, changes) = mpsc::sync_channel(CHANGES);
        let engine =
            Engine { ears, pipeline, shared: Arc::clone(&shared), inbox, outbox, wake, last: None, output: None };
        let thread = std::thread::Builder::new().name("line check".into()).spawn(move || engine.run())?;
        Ok(Self { shared, commands, changes, names, format, thread: Some(thread) })
    }

    /// Every change of the next step, in order, with its time on the audio clock.
    pub fn changes(&self) -> &Receiver<(Seconds, LineAdvice)> {
        &self.changes
    }
}

impl LineLink for LineSession {
    fn snapshot(&self) -> LineSnapshot {
        lock(&self.shared.snapshot).clone()
    }

    fn status(&self) -> Status {
        let status = lock(&self.shared.status).clone();
        match status {
            Status::Ended | Status::Lost(_) => status,
            _ if self.thread.as_ref().is_some_and(JoinHandle::is_finished) => {
                Status::Lost("the engine stopped unexpectedly. Start again; nothing stored is lost".into())
            }
            status => status,
        }
    }

    /// Does not wait: with sixty-four commands waiting, a further one is dropped and `false` comes back.
    fn send(&self, command: LineCommand) -> bool {
        self.commands.try_send(command).is_ok()
    }

    fn names(&self) -> &[Name] {
        &self.names
    }

    fn format(&self) -> Format {
        self.format
    }
}

impl Drop for LineSession {
    fn drop(&mut self) {
        let _ = self.commands.try_send(LineCommand::Stop);
        // Unblocks an engine that waits to tell of a change.
        while self.thread.as_ref().is_some_and(|thread| !thread.is_finished()) {
            while self.changes.try_recv().is_ok() {}
            std::thread::sleep(Duration::from_millis(1));
        }
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

enum Ears {
    Stage { stage: Box<Stage>, hand: LineHand, helped: bool, began: Instant },
    Live { source: LiveSource, name: String },
}

impl Ears {
    fn open(hearing: &LineHearing) -> Result<Self, SessionError> {
        match hearing {
            LineHearing::Stage { seed, faults, pace } => {
                let stage = Box::new(quiet_stage(*seed, faults));
                let (skill, helped) = match pace {
                    LinePace::RealTime => (LineSkill::TAPS_ONLY, false),
                    LinePace::Helped(skill) => (*skill, true),
                };
                Ok(Self::Stage { stage, hand: LineHand::new(*seed, skill), helped, began: Instant::now() })
            }
            LineHearing::Live { device } => {
                let device = match device {
                    Some(name) => live::find(name)?,
                    None => usual_device()?,
                };
                let name = device.name.clone();
                Ok(Self::Live { source: LiveSource::open(&device, LiveConfig::default())?, name })
            }
        }
    }

    fn format(&self) -> Format {
        match self {
            Self::Stage { stage, .. } => stage.format(),
            Self::Live { source, .. } => source.format(),
        }
    }

    fn names(&self) -> Vec<Name> {
        match self {
            Self::Stage { stage, .. } => stage.inputs().iter().map(|input| input.name.to_owned()).collect(),
            Self::Live { source, name } => {
                (1..=source.format().channels).map(|line| format!("{name} {line}")).collect()
            }
        }
    }

    fn is_helped(&self) -> bool {
        matches!(self, Self::Stage { helped: true, .. })
    }

    fn status(&self) -> Status {
        match self {
            Self::Stage { .. } => Status::Running,
            Self::Live { source, .. } => match source.health().state {
                InputState::Starved => Status::Quiet,
                InputState::OnlyZeros => Status::AllZero,
                InputState::Running | InputState::Lost => Status::Running,
            },
        }
    }

    /// On the stage in real time: waits until the audience's clock has come as far as the audio clock.
    fn keep_pace(&self, at: Seconds) {
        if let Self::Stage { helped: false, began, .. } = self
            && let Some(ahead) = Duration::from_secs_f64(at.get()).checked_sub(began.elapsed())
        {
            std::thread::sleep(ahead);
        }
    }
}

/// What the thread owns.
struct Engine {
    ears: Ears,
    pipeline: LinePipeline,
    shared: Arc<Shared>,
    inbox: Receiver<LineCommand>,
    outbox: SyncSender<(Seconds, LineAdvice)>,
    wake: Option<LineWaker>,
    last: Option<LineAdvice>,
    output: Option<SideOutput>,
}

impl Engine {
    fn run(mut self) {
        let format = self.pipeline.format();
        // A live source gives whatever has come: room for a late engine's half second.
        let span = if matches!(self.ears, Ears::Live { .. }) { LIVE_BLOCK } else { BLOCK };
        let mut block = BlockBuf::new(format.channels, format.rate.frames(span).get() as usize);
        let mut published = Instant::now();
        let end = loop {
            if self.carry_out_commands().is_break() {
                break Status::Ended;
            }
            let read = match &mut self.ears {
                Ears::Stage { stage, .. } => match stage.read(&mut block) {
                    Ok(flow) => Ok(flow),
                    Err(never) => match never {},
                },
                Ears::Live { source, .. } => source.read(&mut block),
            };
            match read {
                Ok(Flow::More) => self.pipeline.push(&block.as_block()),
                Ok(Flow::End) => break Status::Ended,
                Err(error) => break Status::Lost(error.to_string()),
            }
            self.look_after_the_stage();
            self.sound();
            self.tell_changes();
            if self.ears.is_helped() && self.pipeline.snapshot().is_over() {
                break Status::Ended;
            }
            if published.elapsed() >= PUBLISH_EVERY {
                self.publish(self.ears.status());
                published = Instant::now();
            }
            self.ears.keep_pace(self.pipeline.snapshot().at);
        };
        self.publish(end);
    }

    fn carry_out_commands(&mut self) -> std::ops::ControlFlow<()> {
        while let Ok(command) = self.inbox.try_recv() {
            match command {
                LineCommand::Stop => return std::ops::ControlFlow::Break(()),
                LineCommand::Answer(answer) => self.answer(answer),
            }
        }
        std::ops::ControlFlow::Continue(())
    }

    fn answer(&mut self, answer: LineAnswer) {
        let advice = self.pipeline.snapshot().advice;
        match &mut self.ears {
            // What the person says is done is done on the stage's wires.
            Ears::Stage { stage, hand, .. } if answer == LineAnswer::Done => {
                hand.mend(&advice, stage);
            }
            Ears::Live { .. } if advice.step == LineStep::AskSound => {
                let started = sink::arm(answer == LineAnswer::Done).and_then(|leave| SideOutput::start(leave, None));
                match started {
                    Ok(output) => self.output = Some(output),
                    Err(error) => {
                        if answer == LineAnswer::Done {
                            self.pipeline.note_trouble(error.to_string());
                        }
                        return self.pipeline.answer(LineAnswer::No);
                    }
                }
            }
            _ => {}
        }
        self.pipeline.answer(answer);
    }

    fn look_after_the_stage(&mut self) {
        if let Ears::Stage { stage, hand, .. } = &mut self.ears
            && let Some(answer) = hand.look(self.pipeline.snapshot(), stage)
        {
            self.pipeline.answer(answer);
        }
    }

    /// The loudspeakers play what the coach wants to be heard.
    fn sound(&mut self) {
        let Some(output) = &self.output else { return };
        if let Some(failure) = output.failure() {
            self.pipeline.note_trouble(failure.to_string());
            self.output = None;
            return;
        }
        output.play(match self.pipeline.snapshot().sound {
            TestSound::Silent => Sides::Neither,
            TestSound::Left => Sides::Left,
            TestSound::Right => Sides::Right,
            TestSound::Same => Sides::Same,
            TestSound::Reversed => Sides::Reversed,
        });
    }

    fn tell_changes(&mut self) {
        let LineSnapshot { advice, at, .. } = *self.pipeline.snapshot();
        let same = |last: &LineAdvice| (last.step, last.channel) == (advice.step, advice.channel);
        if self.last.as_ref().is_some_and(same) {
            return;
        }
        self.last = Some(advice);
        if self.ears.is_helped() {
            // Nobody waits for this sound: the face may take its time.
            let _ = self.outbox.send((at, advice));
        } else if let Err(TrySendError::Full(_)) = self.outbox.try_send((at, advice)) {
            self.last = None;
        }
    }

    fn publish(&mut self, status: Status) {
        lock(&self.shared.snapshot).clone_from(self.pipeline.snapshot());
        *lock(&self.shared.status) = status.clone();
        if let Some(wake) = &mut self.wake {
            wake(self.pipeline.snapshot(), &status);
        }
    }
}
