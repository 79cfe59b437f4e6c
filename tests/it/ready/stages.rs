//! Stages whose soundcheck a helper made: nothing false while nothing changed, and what has gone wrong since is found.
//!
//! A plain run takes 4 stages, `BEFOREDOORS_FULL=1` 40. Truth is the stage's own: which line was broken, and how.

use beforedoors::block::BlockBuf;
use beforedoors::coach::linecheck::LineInput;
use beforedoors::coach::ready::{Baseline, Laptop, LastLook, LookFor, ReadyAdvice, ReadyStep, Trouble};
use beforedoors::coach::{Connection, Input};
use beforedoors::engine::{Pipeline, Skill, Stagehand};
use beforedoors::meters::Meters;
use beforedoors::source::Source;
use beforedoors::source::stage::{Mood, RigFault, Stage, StageConfig};
use beforedoors::units::{ChannelId, Db, Hertz, SampleRate, Seconds};
use rayon::prelude::*;

const RATE: u32 = 16_000;
const LONGEST: Seconds = Seconds::new(2400.0);
const FIRST_LOOK: f64 = 20.1;

struct Evening {
    stage: Stage,
    left: Baseline,
    inputs: Vec<LineInput>,
    meters: Meters,
}

impl Evening {
    /// After the soundcheck; everybody has left the stage.
    fn new(seed: u64) -> Self {
        let rate = SampleRate::new(RATE).unwrap();
        let mood = if seed.is_multiple_of(2) { Mood::Normal } else { Mood::Shy };
        let mut stage = Stage::new(StageConfig::new(seed, mood, rate));
        let list: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
        let mut pipeline = Pipeline::new(stage.format(), &list, Connection::Usb);
        let skill = if seed.is_multiple_of(3) { Skill::CLUMSY } else { Skill::CAREFUL };
        let mut hand = Stagehand::new(seed, skill);
        let mut block = BlockBuf::new(list.len(), RATE as usize / 10);
        while pipeline.snapshot().at < LONGEST && !pipeline.coach().is_over() {
            stage.read(&mut block).unwrap();
            pipeline.push(&block.as_block());
            if let Some(answer) = hand.look(pipeline.snapshot(), &mut stage) {
                pipeline.answer(answer);
            }
        }
        (0..list.len()).for_each(|line| stage.ask_quiet(ChannelId::from_index(line)));
        for _ in 0..120 {
            stage.read(&mut block).unwrap();
            pipeline.push(&block.as_block());
        }
        let left = Baseline { device: "Desk".into(), rate, lines: pipeline.snapshot().lines.clone() };
        let inputs = stage.inputs().iter().enumerate().map(|(index, input)| {
            let wire = LineInput::usual_wire(input.kind);
            LineInput::new(ChannelId::from_index(index), input.kind, wire, input.phantom)
        });
        let inputs: Vec<LineInput> = inputs.collect();
        let meters = Meters::new(stage.format(), &vec![1.0; list.len()]);
        let mut evening = Self { stage, left, inputs, meters };
        evening.hear(&mut evening.look(), 3.0);
        evening
    }

    fn look(&self) -> LastLook {
        let (before, inputs) = (self.left.clone(), self.inputs.clone());
        let to = LookFor { before, device: "Desk".into(), inputs, laptop: Laptop::default() };
        LastLook::new(to, self.left.rate, self.inputs.len())
    }

    /// A hop at a time, as an engine does.
    fn hear(&mut self, look: &mut LastLook, seconds: f64) {
        let mut block = BlockBuf::new(self.inputs.len(), RATE as usize / 100);
        for _ in 0..(seconds * 100.0) as usize {
            self.stage.read(&mut block).unwrap();
            self.meters.push(&block.as_block(), &mut |readings| look.observe(readings));
            if look.takes_restart() {
                self.inputs.iter().for_each(|input| self.meters.restart_activity(input.channel));
            }
        }
    }

    fn looked(&mut self) -> ReadyAdvice {
        let mut look = self.look();
        self.hear(&mut look, FIRST_LOOK);
        *look.advice()
    }

    fn turn(&mut self, channel: ChannelId, by: f64) {
        self.stage.turn_trim(channel, Db::new(by));
        self.hear(&mut self.look(), 0.5);
    }
}

/// What is wrong with one stage's looks.
fn evening(seed: u64) -> Vec<String> {
    let mut evening = Evening::new(seed);
    let channel = ChannelId::from_index((seed as usize * 7) % evening.inputs.len());
    let mut wrong = Vec::new();
    let mut expect = |what: &str, advice: &ReadyAdvice, is_right: &dyn Fn(ReadyStep) -> bool, at: Option<ChannelId>| {
        if !is_right(advice.step) || advice.channel != at {
            wrong.push(format!("stage {seed}, {channel:?}, {what}: {advice:?}"));
        }
    };
    let ready = |step| step == ReadyStep::Ready;
    let clean = evening.looked();
    expect("as it was left", &clean, &ready, None);
    let floor = |louder: bool| move |step| matches!(step, ReadyStep::Do(Trouble::Floor { by }) if (by.get() > 0.0) == louder && by.abs() < Db::new(11.0));
    evening.turn(channel, 8.0);
    expect("8 dB up", &evening.looked(), &floor(true), Some(channel));
    evening.turn(channel, -16.0);
    let down = evening.looked();
    // The converter's own noise may be all that is left of a line.
    if evening.stage.true_floor(channel).get() > -108.0 {
        expect("8 dB down", &down, &floor(false), Some(channel));
    }
    evening.turn(channel, 8.0);
    let hum = RigFault::Hum { channel, mains: Hertz::new(49.98), over: Db::new(16.0), comb: false };
    evening.stage = std::mem::replace(&mut evening.stage, empty()).with_fault(hum);
    expect("hum", &evening.looked(), &|step| matches!(step, ReadyStep::Do(Trouble::Floor { .. })), Some(channel));
    evening.stage.rig().lift(channel);
    evening.stage = std::mem::replace(&mut evening.stage, empty()).with_fault(RigFault::DeadCable(channel));
    let mut look = evening.look();
    evening.hear(&mut look, FIRST_LOOK);
    expect("dead", look.advice(), &|step| step == ReadyStep::Do(Trouble::Dead), Some(channel));
    // It is heard by itself that it was put right.
    evening.stage.rig().new_cable(channel);
    evening.hear(&mut look, 10.2);
    expect("another cable", look.advice(), &ready, None);
    wrong
}

fn empty() -> Stage {
    Stage::scripted(SampleRate::new(RATE).unwrap(), 1, &[])
}

#[test]
fn what_has_gone_wrong_since_the_soundcheck_is_found_and_nothing_else() {
    let stages = if std::env::var_os("BEFOREDOORS_FULL").is_some() { 40 } else { 4 };
    let wrong: Vec<String> = (1..=stages).into_par_iter().flat_map_iter(evening).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
