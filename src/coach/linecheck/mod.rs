//! The line check: does each wire arrive, alone and clean, where it should?
//!
//! In: what the line ears hear, frame by frame (100 ms), and the person's answers. Out: one step at a time. A quiet
//! stage first, for floors and hum; then each input is called in the order of the list, and what is wrong with it is put
//! right before the next is called; then pairs, +48, loudspeakers. Patience: an input is called twice at most, each cure
//! is asked for once, plugs are moved twice; what is still wrong then stays as a finding. Every step can be skipped.
//!
//! +48 is asked about, never claimed to be missing; nothing asks for it to be switched before everything is muted and
//! nobody is at the plugs. Hum is cured at the signal's wires only, never at a mains earth. No sound is made before
//! somebody said yes. Times are counted in frames; nothing is allocated after construction.

mod advice;
mod answers;
mod arrivals;
mod assembly;
mod calls;
mod faults;
mod rings;
mod setup;
mod speakers;

pub use advice::{
    Call, HumCure, LineAdvice, LineAnswer, LineOutcome, LineRequest, LineResult, LineStep, LineWhy, Side,
    SpeakerResult, TestSound,
};
pub use assembly::Assembly;
pub use setup::{LineInput, LinePlan, Way, Wire};

use crate::detectors::{Hum, LineEars};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};
use arrivals::Arrivals;
use rings::Chain;
use speakers::Speakers;

/// How long the quiet is listened to.
const QUIET: Seconds = Seconds::new(3.0);
const QUIET_HOPS: usize = 300;
/// What stands so far over the floor is no hiss.
const UNSTEADY: Db = Db::new(6.0);

/// The line check of one stage.
#[derive(Clone, Debug)]
pub struct LineCheck {
    plan: LinePlan,
    rate: SampleRate,
    checks: Vec<Check>,
    current: Current,
    arrivals: Arrivals,
    chain: Chain,
    /// What is to be called next, out of turn, and why.
    recall: Option<(usize, Call)>,
    /// By line: what the last quiet told.
    stock: Vec<Stock>,
    speakers: Speakers,
    heard: LineWhy,
    requests: Vec<LineRequest>,
    advice: LineAdvice,
}

/// One input and what was done about it.
#[derive(Clone, Copy, Debug, Default)]
struct Check {
    result: LineResult,
    /// How far its own call rose over the floor.
    rise: Db,
    /// Plugs moved for it.
    moves: u8,
    /// The cure that was asked for last, counted.
    cures: u8,
    cable_asked: bool,
    /// How often quiet was asked for it.
    hushes: u8,
    phantom: Phantom,
    noise_asked: bool,
    copy_asked: bool,
    hum_left: bool,
    /// Middle sounds asked for.
    middles: u8,
    middle_over: bool,
    turned_over: bool,
}

/// What the person said about +48.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Phantom {
    #[default]
    Unasked,
    On,
    /// Off: it waits for the end of the patching.
    Off,
    /// Switched on since.
    Switched,
}

/// What a line is like when nothing sounds.
#[derive(Clone, Copy, Debug, Default)]
struct Stock {
    floor: Option<Dbfs>,
    hum: Option<Hum>,
    /// It hardly moved.
    steady: bool,
}

#[derive(Clone, Copy, Debug)]
struct Current {
    step: LineStep,
    /// The input it is about.
    input: Option<usize>,
    since: FrameCount,
}

impl LineCheck {
    pub fn new(plan: LinePlan, rate: SampleRate) -> Self {
        let inputs = plan.inputs.len();
        let first = Current { step: LineStep::Quiet, input: None, since: FrameCount::ZERO };
        let heard = LineWhy { inputs, ..LineWhy::default() };
        Self {
            rate,
            checks: vec![Check::default(); inputs],
            current: first,
            arrivals: Arrivals::new(plan.channels, rate),
            chain: Chain::new(inputs),
            recall: None,
            stock: vec![Stock::default(); plan.channels],
            speakers: Speakers::default(),
            heard,
            requests: Vec::with_capacity(16),
            advice: LineAdvice { step: first.step, channel: None, why: heard },
            plan,
        }
    }

    pub fn advice(&self) -> &LineAdvice {
        &self.advice
    }

    pub fn plan(&self) -> &LinePlan {
        &self.plan
    }

    pub fn is_over(&self) -> bool {
        self.current.step == LineStep::Over
    }

    /// By input, in the order of the plan.
    pub fn results(&self) -> impl Iterator<Item = (LineInput, LineResult)> + '_ {
        self.plan.inputs.iter().copied().zip(self.checks.iter().map(|check| check.result))
    }

    pub fn speakers(&self) -> SpeakerResult {
        self.speakers.result
    }

    /// What the loudspeakers are to play now.
    pub fn sound(&self) -> TestSound {
        self.speakers.sound
    }

    pub fn take_requests(&mut self) -> impl Iterator<Item = LineRequest> + '_ {
        self.requests.drain(..)
    }

    /// A complete frame that ended at `now`.
    pub fn observe(&mut self, ears: &LineEars, now: FrameCount) {
        let waited = self.waited(now);
        match self.current.step {
            LineStep::Quiet if waited >= QUIET => {
                self.take_stock(ears);
                self.go_on(now);
            }
            LineStep::Call { way, why } => self.follow_call(way, why, ears, now),
            LineStep::PhantomWait => self.follow_phantom(now),
            LineStep::Middle { with, way, again } => self.follow_middle(with, way, again, ears, now),
            LineStep::WhichSide { .. } | LineStep::Fuller | LineStep::RoomListens => {
                self.follow_speakers(ears, now);
            }
            _ => {}
        }
        // A call that has just come up begins with what is heard from here on.
        if let Current { step: LineStep::Call { .. }, since, .. } = self.current
            && since == now
        {
            self.arrivals.begin(ears, now);
        }
        self.explain();
    }

    fn waited(&self, now: FrameCount) -> Seconds {
        (now - self.current.since).at(self.rate)
    }

    fn forget_heard(&mut self) {
        (self.heard.heard_on, self.heard.heard_at, self.heard.rise, self.heard.alike) = (None, None, None, None);
    }

    fn show(&mut self, step: LineStep, input: Option<usize>, now: FrameCount) {
        if input.is_none() {
            self.forget_heard();
        }
        self.current = Current { step, input, since: now };
    }

    /// What comes next.
    fn go_on(&mut self, now: FrameCount) {
        self.speakers.sound = TestSound::Silent;
        if let Some((input, why)) = self.recall.take() {
            return self.call(input, why, now);
        }
        if let Some((step, input)) = self.due_fault() {
            // The tap before was on another line.
            if self.heard.heard_on != Some(self.channel(input)) {
                self.forget_heard();
            }
            return self.show(step, Some(input), now);
        }
        if let Some((first, second)) = self.due_pair() {
            return self.begin_middle(first, second, now);
        }
        let open = |check: &Check| check.result.outcome == LineOutcome::Open && check.phantom != Phantom::Off;
        if let Some(input) = self.checks.iter().position(open) {
            return self.call(input, Call::First, now);
        }
        if let Some(input) = self.checks.iter().position(|check| check.phantom == Phantom::Off) {
            return self.show(LineStep::MuteForPhantom, Some(input), now);
        }
        match self.next_speaker_step() {
            Some(step) => self.show_speaker_step(step, now),
            None => self.show(LineStep::Over, None, now),
        }
    }

    /// Hands off, and everything is heard anew; then `recall`.
    fn quiet(&mut self, now: FrameCount) {
        self.requests.push(LineRequest::RestartAll);
        self.show(LineStep::Quiet, None, now);
    }

    fn take_stock(&mut self, ears: &LineEars) {
        for (index, stock) in self.stock.iter_mut().enumerate() {
            let channel = ChannelId::from_index(index);
            let floor = ears.floor(channel);
            let over = floor.map_or(0.0, |floor| ears.share_over(channel, floor + UNSTEADY, QUIET_HOPS));
            *stock = Stock { floor, hum: ears.hum(channel), steady: over <= 0.02 };
        }
        for (check, input) in self.checks.iter_mut().zip(&self.plan.inputs) {
            let stock = self.stock.get(input.channel.index()).copied().unwrap_or_default();
            check.result.put_right |= check.result.hum.is_some() && stock.hum.is_none();
            check.result.hum = stock.hum;
            faults::note_noise(check, stock.floor, stock.steady);
        }
    }

    fn input_of(&self, channel: ChannelId) -> Option<usize> {
        self.plan.inputs.iter().position(|input| input.channel == channel)
    }

    fn channel(&self, input: usize) -> ChannelId {
        self.plan.inputs.get(input).map_or(ChannelId::new(0), |input| input.channel)
    }

    fn explain(&mut self) {
        let channel = self.current.input.map(|input| self.channel(input));
        let stock = channel.and_then(|channel| self.stock.get(channel.index()).copied()).unwrap_or_default();
        let decided = |check: &&Check| check.result.outcome != LineOutcome::Open;
        let why = LineWhy {
            floor: stock.floor,
            hum: self.current.input.and_then(|input| self.checks[input].result.hum),
            checked: self.checks.iter().filter(decided).count(),
            ..self.heard
        };
        self.advice = LineAdvice { step: self.current.step, channel, why };
    }
}
