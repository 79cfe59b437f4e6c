//! The engine thread: owns the source and the pipeline, publishes snapshots, takes commands.
//!
//! Latest wins: a face that stalls loses no sound and no measurement, it only sees fewer snapshots. The
//! face is woken through a callback that it gave, at most thirty times a second. A lost device ends in a
//! state with words, not in a frozen picture.

use std::sync::mpsc::{self, Receiver, SyncSender, TrySendError};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::hall::{Overheard, Overhearing, overhear};
use super::pipeline::Pipeline;
use super::snapshot::Snapshot;
use super::stagehand::{Skill, Stagehand};
use crate::block::{BlockBuf, Format};
use crate::coach::{Advice, Answer, Connection, Input};
pub use crate::source::live::InputDevice;
use crate::source::live::{self, InputState, LiveConfig, LiveError, LiveSource};
use crate::source::stage::{Mood, Stage, StageConfig};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Db, SampleRate, Seconds, SourceKind};

/// What is listened to.
#[derive(Clone, Debug)]
pub enum Hearing {
    Stage {
        seed: u64,
        mood: Mood,
        pace: Pace,
    },
    /// A device by name; `None`: the system's usual input.
    Live {
        device: Option<String>,
    },
}

/// How time goes by on the simulated stage.
#[derive(Clone, Copy, Debug)]
pub enum Pace {
    /// As on a stage: the person turns the knobs.
    RealTime,
    /// As fast as can be, with a helper who follows the advice.
    Helped(Skill),
}

/// What a face asks of the engine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Command {
    Answer(Answer),
    /// On the simulated stage: pass the request on to the performer.
    AskLoudest(ChannelId),
    /// On the simulated stage: turn a knob.
    TurnTrim(ChannelId, Db),
    Stop,
}

/// How the source is.
#[derive(Clone, Debug, PartialEq)]
pub enum Status {
    Running,
    /// The device gives nothing at all.
    Quiet,
    /// Exact zeros on every line: often a missing permission.
    AllZero,
    /// The device is gone; what happened and what to do.
    Lost(String),
    Ended,
}

/// Why a session can't begin.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    #[error(transparent)]
    Live(#[from] LiveError),
    #[error("the engine could not be started: {0}. Close other programs and try again")]
    Thread(#[from] std::io::Error),
}

/// What a face has of an engine: its newest picture, and a way to tell it what the person said.
pub trait Link {
    fn snapshot(&self) -> Snapshot;
    fn status(&self) -> Status;
    fn send(&self, command: Command) -> bool;
    fn names(&self) -> &[Name];
    fn format(&self) -> Format;
    /// A second listener on the same sound; `None` where there is no device to be shared.
    fn overhear(&self) -> Option<Overheard>;
}

/// Told of every snapshot that is published, from the engine's own thread.
pub type Waker = Box<dyn FnMut(&Snapshot, &Status) + Send>;

/// An input's name on the simulated stage or on a device without an input list.
pub type Name = String;

/// The input devices of this machine.
pub fn devices() -> Result<Vec<InputDevice>, LiveError> {
    live::devices()
}

/// A running engine.
pub struct Session {
    shared: Arc<Shared>,
    commands: SyncSender<Command>,
    changes: Receiver<(Seconds, Advice)>,
    names: Vec<Name>,
    format: Format,
    live: bool,
    thread: Option<JoinHandle<()>>,
}

struct Shared {
    snapshot: Mutex<Snapshot>,
    status: Mutex<Status>,
    /// The newest second listener.
    overhearing: Mutex<Option<Overhearing>>,
}

const COMMANDS: usize = 64;
const CHANGES: usize = 1024;
const PUBLISH_EVERY: Duration = Duration::from_millis(33);
const BLOCK: Seconds = Seconds::new(0.02);
const LIVE_BLOCK: Seconds = Seconds::new(0.5);
const STAGE_RATE: u32 = 48_000;

impl Session {
    /// `inputs`: the input list; `None` takes the stage's own, or one "other" for each line of the device.
    pub fn start(
        hearing: Hearing,
        inputs: Option<Vec<Input>>,
        connection: Connection,
        wake: Option<Waker>,
    ) -> Result<Self, SessionError> {
        let ears = Ears::open(&hearing)?;
        let format = ears.format();
        let names = ears.names();
        let inputs = inputs.unwrap_or_else(|| ears.inputs());
        let pipeline = Pipeline::new(format, &inputs, connection);
        let shared = Arc::new(Shared {
            snapshot: Mutex::new(pipeline.snapshot().clone()),
            status: Mutex::new(Status::Running),
            overhearing: Mutex::new(None),
        });
        let live = matches!(ears, Ears::Live { .. });
        let (commands, inbox) = mpsc::sync_channel(COMMANDS);
        let (outbox, changes) = mpsc::sync_channel(CHANGES);
        let engine = Engine { ears, pipeline, shared: Arc::clone(&shared), inbox, outbox, wake, last: None };
        let thread = std::thread::Builder::new().name("engine".into()).spawn(move || engine.run())?;
        Ok(Self { shared, commands, changes, names, format, live, thread: Some(thread) })
    }

    /// Every change of the next step, in order, with its time on the audio clock.
    pub fn changes(&self) -> &Receiver<(Seconds, Advice)> {
        &self.changes
    }
}

impl Link for Session {
    /// The newest snapshot.
    fn snapshot(&self) -> Snapshot {
        lock(&self.shared.snapshot).clone()
    }

    fn status(&self) -> Status {
        if self.thread.as_ref().is_some_and(|thread| thread.is_finished()) {
            let status = lock(&self.shared.status).clone();
            return match status {
                Status::Ended | Status::Lost(_) => status,
                _ => Status::Lost("the engine stopped unexpectedly. Start again; nothing stored is lost".into()),
            };
        }
        lock(&self.shared.status).clone()
    }

    /// Does not wait: with sixty-four commands waiting, a further one is dropped and `false` comes back.
    fn send(&self, command: Command) -> bool {
        self.commands.try_send(command).is_ok()
    }

    /// The names of the source's own lines.
    fn names(&self) -> &[Name] {
        &self.names
    }

    fn format(&self) -> Format {
        self.format
    }

    fn overhear(&self) -> Option<Overheard> {
        self.live.then(|| {
            let (overhearing, overheard) = overhear(self.format);
            *lock(&self.shared.overhearing) = Some(overhearing);
            overheard
        })
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        let _ = self.commands.try_send(Command::Stop);
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

/// The source at hand.
enum Ears {
    Stage { stage: Box<Stage>, hand: Option<Stagehand>, began: Instant },
    Live { source: LiveSource, name: String },
}

impl Ears {
    fn open(hearing: &Hearing) -> Result<Self, SessionError> {
        match hearing {
            Hearing::Stage { seed, mood, pace } => {
                let rate = SampleRate::new(STAGE_RATE).expect("a rate within the meters' range");
                let stage = Box::new(Stage::new(StageConfig::new(*seed, *mood, rate)));
                let hand = match pace {
                    Pace::RealTime => None,
                    Pace::Helped(skill) => Some(Stagehand::new(*seed, *skill)),
                };
                Ok(Self::Stage { stage, hand, began: Instant::now() })
            }
            Hearing::Live { device } => {
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

    fn inputs(&self) -> Vec<Input> {
        match self {
            Self::Stage { stage, .. } => stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect(),
            Self::Live { source, .. } => {
                vec![Input::new(SourceKind::Other, None); source.format().channels]
            }
        }
    }

    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, LiveError> {
        match self {
            Self::Stage { stage, .. } => Ok(match stage.read(block) {
                Ok(flow) => flow,
                Err(never) => match never {},
            }),
            Self::Live { source, .. } => source.read(block),
        }
    }

    /// On the stage in real time: waits until the audience's clock has come as far as the audio clock.
    fn keep_pace(&self, at: Seconds) {
        if let Self::Stage { hand: None, began, .. } = self
            && let Some(ahead) = Duration::from_secs_f64(at.get()).checked_sub(began.elapsed())
        {
            std::thread::sleep(ahead);
        }
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

    fn is_helped(&self) -> bool {
        matches!(self, Self::Stage { hand: Some(_), .. })
    }
}

/// What the thread owns.
struct Engine {
    ears: Ears,
    pipeline: Pipeline,
    shared: Arc<Shared>,
    inbox: Receiver<Command>,
    outbox: SyncSender<(Seconds, Advice)>,
    wake: Option<Waker>,
    last: Option<Advice>,
}

impl Engine {
    fn run(mut self) {
        let format = self.pipeline.format();
        // A live source gives whatever has come: room for a late engine's half second.
        let span = if matches!(self.ears, Ears::Live { .. }) { LIVE_BLOCK } else { BLOCK };
        let mut block = BlockBuf::new(format.channels, format.rate.frames(span).get() as usize);
        let mut published = Instant::now();
        let end = loop {
            match self.carry_out_commands() {
                std::ops::ControlFlow::Break(()) => break Status::Ended,
                std::ops::ControlFlow::Continue(()) => {}
            }
            match self.ears.read(&mut block) {
                Ok(flow) => {
                    self.pipeline.push(&block.as_block());
                    let mut overhearing = lock(&self.shared.overhearing);
                    if overhearing.as_ref().is_some_and(|second| !second.hand_on(&block)) {
                        *overhearing = None;
                    }
                    drop(overhearing);
                    if flow == Flow::End {
                        break Status::Ended;
                    }
                }
                Err(error) => break Status::Lost(error.to_string()),
            }
            self.look_after_the_stage();
            self.tell_changes();
            if self.ears.is_helped() && self.pipeline.coach().is_over() {
                break Status::Ended;
            }
            if published.elapsed() >= PUBLISH_EVERY {
                self.publish(self.ears.status());
                published = Instant::now();
            }
            self.ears.keep_pace(self.pipeline.snapshot().at);
        };
        self.pipeline.finish();
        *lock(&self.shared.overhearing) = None;
        self.publish(end);
    }

    fn carry_out_commands(&mut self) -> std::ops::ControlFlow<()> {
        while let Ok(command) = self.inbox.try_recv() {
            match (command, &mut self.ears) {
                (Command::Stop, _) => return std::ops::ControlFlow::Break(()),
                (Command::Answer(answer), _) => self.pipeline.answer(answer),
                (Command::AskLoudest(channel), Ears::Stage { stage, .. }) => stage.ask_loudest(channel),
                (Command::TurnTrim(channel, by), Ears::Stage { stage, .. }) => {
                    stage.turn_trim(channel, by);
                }
                (Command::AskLoudest(_) | Command::TurnTrim(..), Ears::Live { .. }) => {}
            }
        }
        std::ops::ControlFlow::Continue(())
    }

    fn look_after_the_stage(&mut self) {
        if let Ears::Stage { stage, hand: Some(hand), .. } = &mut self.ears
            && let Some(answer) = hand.look(self.pipeline.snapshot(), stage)
        {
            self.pipeline.answer(answer);
        }
    }

    fn tell_changes(&mut self) {
        let Snapshot { advice, at, .. } = *self.pipeline.snapshot();
        let same = |last: &Advice| (last.step, last.channel) == (advice.step, advice.channel);
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

/// The system's usual input, or the first that it offers.
pub(super) fn usual_device() -> Result<InputDevice, LiveError> {
    let devices = live::devices()?;
    devices.iter().find(|device| device.is_default).or(devices.first()).cloned().ok_or(LiveError::NoDevice)
}

/// A panic elsewhere must not take the readings away.
pub(super) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
