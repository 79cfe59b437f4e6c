//! The soundcheck's engine: the pipeline on the stage or a device, and the commands that a face may send.

use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::Receiver;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use super::ears::Ears;
pub use super::ears::{Name, Status};
use super::hall::{Overheard, Overhearing, overhear};
use super::pipeline::Pipeline;
use super::running::{Running, WakeOn, Work, lock};
use super::snapshot::Snapshot;
use super::stagehand::{Skill, Stagehand};
use crate::block::{BlockBuf, Format};
use crate::coach::{Advice, Answer, Connection, Input};
use crate::sink::record::{self, RecordError, RecordPlan, Recorder, Recording};
pub use crate::source::live::InputDevice;
use crate::source::live::{self, Intake, LiveError};
use crate::source::stage::{Mood, Stage, StageConfig};
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
    /// What is heard, by name.
    fn source(&self) -> &str {
        ""
    }
    /// Whether the system may fall asleep meanwhile, as far as is known yet.
    fn may_sleep(&self) -> bool {
        false
    }
    fn format(&self) -> Format;
    /// A second listener on the same sound; `None` where there is no device to be shared.
    fn overhear(&self) -> Option<Overheard>;
    /// Records what is heard from now on, until the recording or the hearing ends; the one before this ends.
    fn record(&self, plan: RecordPlan) -> Result<Recording, RecordError>;
}

/// Told of every snapshot that is published, from the engine's own thread.
pub type Waker = WakeOn<Snapshot>;

/// The input devices of this machine.
pub fn devices() -> Result<Vec<InputDevice>, LiveError> {
    live::devices()
}

/// A running engine.
pub struct Session {
    running: Running<Snapshot, Advice, Command>,
    /// The newest second listener; none where there is no device.
    overhearing: Option<Shared<Overhearing>>,
    recorder: Shared<Recorder>,
    names: Vec<Name>,
    source: String,
    format: Format,
    may_sleep: Arc<AtomicBool>,
}

type Shared<T> = Arc<Mutex<Option<T>>>;

const STAGE_RATE: u32 = 48_000;
/// At the end of a soundcheck with a helper.
const QUIET: Seconds = Seconds::new(12.0);
/// For the last picture.
const PATIENCE: Duration = Duration::from_secs(3);

impl Session {
    /// `inputs`: the input list; `None` takes the stage's own, or one "other" for each line of the device.
    pub fn start(
        hearing: Hearing,
        inputs: Option<Vec<Input>>,
        connection: Connection,
        wake: Option<Waker>,
    ) -> Result<Self, SessionError> {
        let (ears, hand) = open(&hearing)?;
        Self::on(ears, hand, inputs, connection, wake)
    }

    /// Without a device: what the caller gives to the `Intake`, as a callback would, is heard.
    pub fn fed(
        format: Format,
        inputs: Option<Vec<Input>>,
        connection: Connection,
        wake: Option<Waker>,
    ) -> Result<(Intake, Self), SessionError> {
        let (intake, ears) = Ears::fed(format);
        Ok((intake, Self::on(ears, None, inputs, connection, wake)?))
    }

    fn on(
        mut ears: Ears,
        hand: Option<Stagehand>,
        inputs: Option<Vec<Input>>,
        connection: Connection,
        wake: Option<Waker>,
    ) -> Result<Self, SessionError> {
        let (format, names, source, may_sleep) = (ears.format(), ears.names(), ears.source(), ears.may_sleep());
        let inputs = inputs.unwrap_or_else(|| usual_inputs(&mut ears));
        let pipeline = Pipeline::new(format, &inputs, connection);
        let overhearing = ears.is_live().then(Shared::default);
        let recorder = Shared::default();
        let work = Soundchecking {
            pipeline,
            inputs,
            connection,
            hand,
            quiet_since: None,
            overhearing: overhearing.clone(),
            recorder: Arc::clone(&recorder),
        };
        let running = Running::start("engine", work, ears, wake)?;
        Ok(Self { running, overhearing, recorder, names, source, format, may_sleep })
    }

    /// Every change of the next step, in order, with its time on the audio clock.
    pub fn changes(&self) -> &Receiver<(Seconds, Advice)> {
        self.running.changes()
    }

    /// Asks the engine to end, and waits for its last picture.
    pub fn end(&self) {
        self.running.end(PATIENCE);
    }
}

impl Link for Session {
    fn snapshot(&self) -> Snapshot {
        self.running.picture()
    }

    fn status(&self) -> Status {
        self.running.status()
    }

    fn send(&self, command: Command) -> bool {
        self.running.send(command)
    }

    fn names(&self) -> &[Name] {
        &self.names
    }

    fn source(&self) -> &str {
        &self.source
    }

    fn may_sleep(&self) -> bool {
        self.may_sleep.load(Relaxed)
    }

    fn format(&self) -> Format {
        self.format
    }

    fn overhear(&self) -> Option<Overheard> {
        let shared = self.overhearing.as_ref()?;
        let (overhearing, overheard) = overhear(self.format);
        *lock(shared) = Some(overhearing);
        Some(overheard)
    }

    fn record(&self, plan: RecordPlan) -> Result<Recording, RecordError> {
        let (recorder, recording) = record::start(self.format, plan)?;
        let before = lock(&self.recorder).replace(recorder);
        drop(before);
        Ok(recording)
    }
}

fn open(hearing: &Hearing) -> Result<(Ears, Option<Stagehand>), SessionError> {
    Ok(match hearing {
        Hearing::Stage { seed, mood, pace } => {
            let rate = SampleRate::new(STAGE_RATE).expect("a rate within the meters' range");
            let hand = match pace {
                Pace::RealTime => None,
                Pace::Helped(skill) => Some(Stagehand::new(*seed, *skill)),
            };
            (Ears::on_the_stage(Stage::new(StageConfig::new(*seed, *mood, rate)), *seed, hand.is_some()), hand)
        }
        Hearing::Live { device } => (Ears::on_a_device(device.as_deref())?, None),
    })
}

fn usual_inputs(ears: &mut Ears) -> Vec<Input> {
    let channels = ears.format().channels;
    match ears.stage() {
        Some(stage) => stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect(),
        None => vec![Input::new(SourceKind::Other, None); channels],
    }
}

/// What the thread does.
struct Soundchecking {
    pipeline: Pipeline,
    inputs: Vec<Input>,
    connection: Connection,
    hand: Option<Stagehand>,
    /// When the helper asked everybody to be quiet, all being set.
    quiet_since: Option<Seconds>,
    overhearing: Option<Shared<Overhearing>>,
    recorder: Shared<Recorder>,
}

impl Work for Soundchecking {
    type Picture = Snapshot;
    type Advice = Advice;
    type Command = Command;

    fn hear(&mut self, block: &BlockBuf) {
        if let Some(recorder) = lock(&self.recorder).as_mut() {
            recorder.take(&block.as_block());
        }
        self.pipeline.push(&block.as_block());
        let Some(shared) = &self.overhearing else { return };
        let mut overhearing = lock(shared);
        if overhearing.as_ref().is_some_and(|second| !second.hand_on(block)) {
            *overhearing = None;
        }
    }

    fn obey(&mut self, command: Command, ears: &mut Ears) {
        match (command, ears.stage()) {
            (Command::Answer(answer), _) => self.pipeline.answer(answer),
            (Command::AskLoudest(channel), Some(stage)) => stage.ask_loudest(channel),
            (Command::TurnTrim(channel, by), Some(stage)) => {
                stage.turn_trim(channel, by);
            }
            (Command::AskLoudest(_) | Command::TurnTrim(..), None) => {}
        }
    }

    fn look_after(&mut self, ears: &mut Ears) {
        if let Some(stage) = ears.stage() {
            let knobs = (0..stage.inputs().len()).map(|input| stage.trim(ChannelId::from_index(input)));
            self.pipeline.tell_knobs(knobs);
        }
        if let (Some(hand), Some(stage)) = (&mut self.hand, ears.stage())
            && let Some(answer) = hand.look(self.pipeline.snapshot(), stage)
        {
            self.pipeline.answer(answer);
        }
        if self.hand.is_some()
            && self.pipeline.coach().is_over()
            && self.quiet_since.is_none()
            && let Some(stage) = ears.stage()
        {
            (0..stage.inputs().len()).for_each(|input| stage.ask_quiet(ChannelId::from_index(input)));
            self.quiet_since = Some(self.at());
        }
    }

    /// A quiet stage tells every line's floor.
    fn is_over(&self) -> bool {
        self.pipeline.coach().is_over() && self.quiet_since.is_some_and(|since| self.at() - since >= QUIET)
    }

    fn finish(&mut self) {
        self.pipeline.finish();
        *lock(&self.recorder) = None;
        // The second listener's sound is over as well.
        if let Some(shared) = &self.overhearing {
            *lock(shared) = None;
        }
    }

    fn begin_anew(&mut self) {
        self.pipeline = self.pipeline.anew(&self.inputs, self.connection);
    }

    fn picture(&self) -> &Snapshot {
        self.pipeline.snapshot()
    }

    fn at(&self) -> Seconds {
        self.pipeline.snapshot().at
    }

    fn advice(&self) -> Advice {
        self.pipeline.snapshot().advice
    }

    fn same(a: &Advice, b: &Advice) -> bool {
        (a.step, a.channel) == (b.step, b.channel)
    }
}
