//! The line check's engine: its pipeline, the simulated helper, and the loudspeakers' test sound.
//!
//! The test sound is armed by the person's yes to the question for it, and by nothing else; it needs an output with two
//! channels. On the simulated stage no device is used and nothing sounds.

use std::sync::mpsc::Receiver;
use std::time::Duration;

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::hand::{LineHand, LineSkill};
use super::pipeline::LinePipeline;
use super::{LineSnapshot, RigFault};
use crate::block::{BlockBuf, Format};
use crate::coach::linecheck::{LineAdvice, LineAnswer, LineInput, LinePlan, LineStep, TestSound};
use crate::engine::ears::{Ears, Name, Status};
use crate::engine::hall::Overheard;
use crate::engine::running::{Running, WakeOn, Work};
use crate::engine::session::SessionError;
use crate::sink::{self, SideOutput, Sides};
use crate::source::stage::{Mood, Stage, StageConfig};
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

/// What a face has of a line check.
pub trait LineLink {
    fn snapshot(&self) -> LineSnapshot;
    fn status(&self) -> Status;
    fn send(&self, answer: LineAnswer) -> bool;
    /// By line of the source.
    fn names(&self) -> &[Name];
    fn format(&self) -> Format;
}

/// Told of every picture that is published, from the engine's own thread.
pub type LineWaker = WakeOn<LineSnapshot>;

/// A running line check.
pub struct LineSession {
    running: Running<LineSnapshot, LineAdvice, LineAnswer>,
    names: Vec<Name>,
    format: Format,
}

const STAGE_RATE: u32 = 48_000;
/// For the last picture.
const PATIENCE: Duration = Duration::from_secs(3);

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
        let (ears, hand) = open(&hearing)?;
        Self::on(ears, hand, plan, wake)
    }

    /// On what another engine hears: a device can't always be opened twice.
    pub fn overhear(
        sound: Overheard,
        names: Vec<Name>,
        plan: Option<&dyn Fn(usize) -> LinePlan>,
        wake: Option<LineWaker>,
    ) -> Result<Self, SessionError> {
        Self::on(Ears::overheard(sound, names), None, plan, wake)
    }

    fn on(
        ears: Ears,
        hand: Option<LineHand>,
        plan: Option<&dyn Fn(usize) -> LinePlan>,
        wake: Option<LineWaker>,
    ) -> Result<Self, SessionError> {
        let (format, names) = (ears.format(), ears.names());
        let plan = plan.map(|plan| plan(format.channels));
        let pipeline = pipeline(format, plan.as_ref());
        let running =
            Running::start("line check", Checking { pipeline, format, plan, hand, output: None }, ears, wake)?;
        Ok(Self { running, names, format })
    }

    /// Every change of the next step, in order, with its time on the audio clock.
    pub fn changes(&self) -> &Receiver<(Seconds, LineAdvice)> {
        self.running.changes()
    }

    /// Asks the engine to end, and waits for its last picture.
    pub fn end(&self) {
        self.running.end(PATIENCE);
    }
}

impl LineLink for LineSession {
    fn snapshot(&self) -> LineSnapshot {
        self.running.picture()
    }

    fn status(&self) -> Status {
        self.running.status()
    }

    fn send(&self, answer: LineAnswer) -> bool {
        self.running.send(answer)
    }

    fn names(&self) -> &[Name] {
        &self.names
    }

    fn format(&self) -> Format {
        self.format
    }
}

fn open(hearing: &LineHearing) -> Result<(Ears, Option<LineHand>), SessionError> {
    Ok(match hearing {
        LineHearing::Stage { seed, faults, pace } => {
            let (skill, helped) = match pace {
                LinePace::RealTime => (LineSkill::TAPS_ONLY, false),
                LinePace::Helped(skill) => (*skill, true),
            };
            (Ears::on_the_stage(quiet_stage(*seed, faults), *seed, helped), Some(LineHand::new(*seed, skill)))
        }
        LineHearing::Live { device } => (Ears::on_a_device(device.as_deref())?, None),
    })
}

fn pipeline(format: Format, plan: Option<&LinePlan>) -> LinePipeline {
    match plan {
        Some(plan) => LinePipeline::new(format, plan.clone()),
        None => LinePipeline::assembly(format),
    }
}

/// What the thread does.
struct Checking {
    pipeline: LinePipeline,
    format: Format,
    /// `None` is the assembly.
    plan: Option<LinePlan>,
    /// On the stage.
    hand: Option<LineHand>,
    output: Option<SideOutput>,
}

impl Checking {
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
}

impl Work for Checking {
    type Picture = LineSnapshot;
    type Advice = LineAdvice;
    type Command = LineAnswer;

    fn hear(&mut self, block: &BlockBuf) {
        self.pipeline.push(&block.as_block());
    }

    fn obey(&mut self, answer: LineAnswer, ears: &mut Ears) {
        let advice = self.pipeline.snapshot().advice;
        match (&mut self.hand, ears.stage()) {
            // What the person says is done is done on the stage's wires.
            (Some(hand), Some(stage)) if answer == LineAnswer::Done => {
                hand.mend(&advice, stage);
            }
            (None, None) if advice.step == LineStep::AskSound => {
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

    fn look_after(&mut self, ears: &mut Ears) {
        if let (Some(hand), Some(stage)) = (&mut self.hand, ears.stage())
            && let Some(answer) = hand.look(self.pipeline.snapshot(), stage)
        {
            self.pipeline.answer(answer);
        }
        self.sound();
    }

    fn is_over(&self) -> bool {
        self.pipeline.snapshot().is_over()
    }

    fn finish(&mut self) {}

    fn begin_anew(&mut self) {
        self.output = None;
        self.pipeline = pipeline(self.format, self.plan.as_ref());
    }

    fn picture(&self) -> &LineSnapshot {
        self.pipeline.snapshot()
    }

    fn at(&self) -> Seconds {
        self.pipeline.snapshot().at
    }

    fn advice(&self) -> LineAdvice {
        self.pipeline.snapshot().advice
    }

    fn same(a: &LineAdvice, b: &LineAdvice) -> bool {
        (a.step, a.channel) == (b.step, b.channel)
    }
}
