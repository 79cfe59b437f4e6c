//! The line check on the simulated stage, whose wires' truth is known: what is wrong is named, in time, and nothing else is.
//!
//! A plain run takes 10 stages of each kind, `BEFOREDOORS_FULL=1` a hundred. Time is the audio clock.

mod bad_input;
mod faults;
mod promises;
mod swaps;
mod terminal;
mod words;

use beforedoors::block::BlockBuf;
use beforedoors::engine::linecheck::{
    Call, LineAdvice, LineHand, LineInput, LineOutcome, LinePipeline, LinePlan, LineSkill, LineStep, RigFault,
};
use beforedoors::source::Source;
use beforedoors::source::stage::{Mood, Stage, StageConfig};
use beforedoors::units::{ChannelId, SampleRate, Seconds};

const BLOCK: usize = 960;
/// A line check that is not over by then never will be.
const LONGEST: f64 = 900.0;

const fn at(index: u16) -> ChannelId {
    ChannelId::new(index)
}

fn seeds() -> std::ops::RangeInclusive<u64> {
    1..=if std::env::var_os("BEFOREDOORS_FULL").is_some() { 100 } else { 10 }
}

/// Numbers of a seed, for what is drawn in a test.
fn drawn(seed: u64, stream: u64, below: u64) -> u64 {
    let mut x = (seed << 8 ^ stream).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    x ^= x >> 29;
    x = x.wrapping_mul(0xBF58_476D_1CE4_E5B9);
    (x >> 33) % below
}

/// A stage, its line check, and who helps.
struct Evening {
    seed: u64,
    stage: Stage,
    pipeline: LinePipeline,
    hand: LineHand,
    /// Who talks into their microphones now and then.
    talkers: Vec<ChannelId>,
    block: BlockBuf,
    /// Every step with the time at which it came up.
    steps: Vec<(f64, LineAdvice)>,
}

impl Evening {
    fn new(seed: u64, faults: &[RigFault]) -> Self {
        let rate = SampleRate::new(48_000).expect("a rate");
        let config = StageConfig { playing: false, ..StageConfig::new(seed, Mood::Normal, rate) };
        let stage = faults.iter().fold(Stage::new(config), |stage, fault| stage.with_fault(*fault));
        let inputs = stage.inputs().iter().enumerate().map(|(index, input)| {
            LineInput::new(ChannelId::from_index(index), input.kind, LineInput::usual_wire(input.kind), input.phantom)
        });
        let plan = LinePlan::new(inputs.collect(), stage.inputs().len());
        let plan = LinePlan { pairs: stage.pairs(), loudspeakers: true, ..plan };
        Self {
            seed,
            pipeline: LinePipeline::new(stage.format(), plan),
            hand: LineHand::new(seed, LineSkill::CAREFUL),
            talkers: Vec::new(),
            block: BlockBuf::new(stage.format().channels, BLOCK),
            steps: Vec::new(),
            stage,
        }
    }

    /// All who speak on this stage, but for these.
    fn with_talkers_but(mut self, others: &[ChannelId]) -> Self {
        self.talkers = [at(0), at(1), at(2)].into_iter().filter(|talker| !others.contains(talker)).collect();
        self
    }

    fn with_skill(mut self, skill: LineSkill) -> Self {
        self.hand = LineHand::new(self.seed, skill);
        self
    }

    fn go_on(&mut self) {
        let now = self.pipeline.snapshot().at.get();
        // Every seven seconds someone begins to talk, or stops.
        if !self.talkers.is_empty() && ((now * 50.0).round() as u64).is_multiple_of(350) {
            let who = self.talkers[drawn(self.seed, now as u64, self.talkers.len() as u64) as usize];
            if drawn(self.seed, now as u64 + 1000, 2) == 0 {
                self.stage.ask_play(who);
            } else {
                self.stage.ask_quiet(who);
            }
        }
        let Ok(_) = self.stage.read(&mut self.block);
        self.pipeline.push(&self.block.as_block());
        let snapshot = self.pipeline.snapshot();
        let advice = snapshot.advice;
        let new = self.steps.last().is_none_or(|(_, last)| (last.step, last.channel) != (advice.step, advice.channel));
        if new {
            self.steps.push((snapshot.at.get(), advice));
        }
        if let Some(answer) = self.hand.look(snapshot, &mut self.stage) {
            self.pipeline.answer(answer);
        }
    }

    fn run(mut self) -> Self {
        while !self.pipeline.snapshot().is_over() {
            assert!(self.pipeline.snapshot().at.get() < LONGEST, "no end in {LONGEST} s:\n{}", self.tell());
            self.go_on();
        }
        self
    }

    fn all_right(&self) -> bool {
        let snapshot = self.pipeline.snapshot();
        snapshot.inputs.iter().all(|input| input.result.is_right()) && !snapshot.speakers.has_fault()
    }

    /// Steps that say that something is wrong.
    fn accusations(&self) -> Vec<LineAdvice> {
        self.steps.iter().map(|(_, advice)| *advice).filter(|advice| is_accusation(&advice.step)).collect()
    }

    fn has(&self, wanted: impl Fn(&LineAdvice) -> bool) -> bool {
        self.steps.iter().any(|(_, advice)| wanted(advice))
    }

    /// When an input was first tapped or played after `since`.
    fn knocked_since(&self, channel: ChannelId, since: f64) -> Option<Seconds> {
        self.hand.knocked().iter().find(|it| it.channel == channel && it.at.get() >= since).map(|it| it.at)
    }

    fn tell(&self) -> String {
        let step = |(at, advice): &(f64, LineAdvice)| {
            let number = advice.channel.map_or(0, ChannelId::number);
            format!("{at:7.1} {number:>3} {:?}\n", advice.step)
        };
        format!("seed {}\n{}", self.seed, self.steps.iter().rev().take(60).rev().map(step).collect::<String>())
    }
}

fn is_accusation(step: &LineStep) -> bool {
    !matches!(
        step,
        LineStep::Quiet
            | LineStep::Call {
                why: Call::First | Call::Again | Call::Recheck | Call::TalkOver | Call::Compare { .. },
                ..
            }
            | LineStep::Middle { .. }
            | LineStep::AskSound
            | LineStep::WhichSide { .. }
            | LineStep::Fuller
            | LineStep::RoomListens
            | LineStep::Over
    )
}

/// A rig without faults: nothing is claimed, everything is ticked.
#[test]
fn a_good_rig_is_ticked_and_nothing_is_claimed() {
    for seed in seeds() {
        let evening = Evening::new(seed, &[]).run();
        assert!(evening.accusations().is_empty() && evening.all_right(), "{}", evening.tell());
        let took = evening.pipeline.snapshot().at.get();
        assert!(took < 75.0, "{took} s for 12 inputs:\n{}", evening.tell());
    }
}

/// People talk into their microphones while others are called: no swap, nothing else either.
#[test]
fn talk_and_spill_are_no_taps() {
    for seed in seeds() {
        let evening = Evening::new(seed, &[]).with_talkers_but(&[]).run();
        let claims = evening.accusations();
        assert!(claims.is_empty(), "{claims:?}\n{}", evening.tell());
        let arrived = |outcome| outcome == LineOutcome::Arrived;
        let snapshot = evening.pipeline.snapshot();
        assert!(snapshot.inputs.iter().all(|input| arrived(input.result.outcome)), "{}", evening.tell());
    }
}

/// A helper who now and then taps another microphone than the one called: it is asked about, and no plug is moved.
#[test]
fn a_tap_on_the_wrong_microphone_is_no_swap() {
    let mut strays = 0;
    for seed in seeds() {
        let evening = Evening::new(seed, &[]).with_skill(LineSkill::HASTY).run();
        let moved = |advice: &LineAdvice| {
            matches!(
                advice.step,
                LineStep::Swap { .. } | LineStep::Rotate { .. } | LineStep::Move { .. } | LineStep::BothOn { .. }
            )
        };
        assert!(!evening.has(moved) && evening.all_right(), "{}", evening.tell());
        strays += evening.accusations().len();
    }
    assert!(strays > 0, "no tap went astray: nothing was tested");
}
