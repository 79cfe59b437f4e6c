//! The soundcheck on the simulated stage, whose true levels are known: does following the advice bring every channel into its window?

use beforedoors::block::{BlockBuf, Format};
use beforedoors::coach::{Connection, Input};
use beforedoors::engine::{Pipeline, Skill, Stagehand};
use beforedoors::source::Source;
use beforedoors::source::stage::{Mood, Stage, StageConfig};
use beforedoors::units::{ChannelId, Db, Dbfs, SampleRate, Seconds};

/// The full counts take minutes; a plain run takes a tenth of them.
fn full() -> bool {
    std::env::var_os("BEFOREDOORS_FULL").is_some()
}

/// Low enough to be quick, high enough for every kind's spectrum.
const RATE: u32 = 16_000;

struct Evening {
    stage: Stage,
    pipeline: Pipeline,
    hand: Stagehand,
    block: BlockBuf,
}

impl Evening {
    fn new(seed: u64, mood: Mood, skill: Skill) -> Self {
        let rate = SampleRate::new(RATE).unwrap();
        let stage = Stage::new(StageConfig::new(seed, mood, rate));
        let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
        let format: Format = stage.format();
        let pipeline = Pipeline::new(format, &inputs, Connection::Usb);
        let block = BlockBuf::new(format.channels, RATE as usize / 10);
        Self { stage, pipeline, hand: Stagehand::new(seed ^ 0x5eed, skill), block }
    }

    /// Runs until `until` on the audio clock, or until every channel is set.
    fn run(&mut self, until: Seconds, log: bool) {
        let mut last = None;
        while self.pipeline.snapshot().at < until && !self.pipeline.coach().is_over() {
            self.stage.read(&mut self.block).unwrap();
            self.pipeline.push(&self.block.as_block());
            let snapshot = self.pipeline.snapshot();
            let now = (snapshot.advice.step, snapshot.advice.channel);
            if log && last != Some(now) {
                let channel =
                    now.1.map_or("-".into(), |c| format!("{} {}", c.number(), self.stage.inputs()[c.index()].name));
                println!(
                    "{:7.1} {channel:20} {:?} peak {:.1} heard {:.1}/{} floor {:?}",
                    snapshot.at.get(),
                    now.0,
                    snapshot.advice.why.peak.get(),
                    snapshot.advice.why.active.get(),
                    snapshot.advice.why.hits,
                    snapshot.advice.why.floor.map(|f| f.get().round())
                );
            }
            last = Some(now);
            if let Some(answer) = self.hand.look(snapshot, &mut self.stage) {
                self.pipeline.answer(answer);
            }
        }
    }
}

#[test]
fn look() {
    let seed = std::env::var("SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(1);
    let mood = match std::env::var("MOOD").as_deref() {
        Ok("shy") => Mood::Shy,
        Ok("show") => Mood::ShowNight,
        _ => Mood::Normal,
    };
    let mut evening = Evening::new(seed, mood, Skill::CLUMSY);
    for (i, input) in evening.stage.inputs().iter().enumerate() {
        let ch = ChannelId::from_index(i);
        println!(
            "{:2} {:16} {:?} true {:.1} show {:.1} floor {:.1} trim {:.1}",
            i + 1,
            input.name,
            input.kind,
            evening.stage.true_peak_of_loudest(ch).get(),
            evening.stage.true_show_peak(ch).get(),
            evening.stage.true_floor(ch).get(),
            evening.stage.trim(ch).get()
        );
    }
    evening.run(Seconds::new(1500.0), true);
    for i in 0..evening.stage.inputs().len() {
        let ch = ChannelId::from_index(i);
        let targets = *evening.pipeline.coach().targets(ch);
        let (lo, hi) = targets.window();
        let s = &evening.pipeline.snapshot().inputs[i];
        println!(
            "{:2} {:16} true {:.1} show {:.1} window {:.0}..{:.0} trims {} {:?}",
            i + 1,
            evening.stage.inputs()[i].name,
            evening.stage.true_peak_of_loudest(ch).get(),
            evening.stage.true_show_peak(ch).get(),
            lo.get(),
            hi.get(),
            s.trims,
            s.state
        );
    }
    let _ = (full(), Db::ZERO, Dbfs::SILENCE);
}

/// How one evening went.
struct Outcome {
    label: String,
    over: bool,
    minutes: f64,
    /// Channels that ended outside, with what is wrong.
    wrong: Vec<String>,
    strict: usize,
    channels: usize,
    trims: u8,
}

fn evening(seed: u64, mood: Mood, says_done: bool) -> Outcome {
    let mut evening = Evening::new(seed, mood, Skill { says_done, ..Skill::CLUMSY });
    evening.run(Seconds::new(1800.0), false);
    let over = evening.pipeline.coach().is_over();
    let minutes = evening.pipeline.snapshot().at.get() / 60.0;
    let mut outcome = Outcome {
        label: format!("{seed} {mood:?} done:{says_done}"),
        over,
        minutes,
        wrong: vec![],
        strict: 0,
        channels: 0,
        trims: 0,
    };
    for (index, input) in evening.stage.inputs().iter().enumerate() {
        let channel = ChannelId::from_index(index);
        let targets = *evening.pipeline.coach().targets(channel);
        let peak = evening.stage.true_peak_of_loudest(channel);
        let show = evening.stage.true_show_peak(channel);
        let trims = evening.pipeline.coach().trims(channel);
        let (low, high) = targets.window();
        outcome.channels += 1;
        outcome.strict += usize::from(peak >= low && peak <= high);
        outcome.trims = outcome.trims.max(trims);
        if peak < targets.too_low() || peak > targets.too_high() || show >= Dbfs::new(0.0) || trims > 3 {
            outcome.wrong.push(format!(
                "{} true {:.1} show {:.1} window {:.0}..{:.0} trims {trims} {:?}",
                input.name,
                peak.get(),
                show.get(),
                low.get(),
                high.get(),
                evening.pipeline.snapshot().inputs[index].state
            ));
        }
    }
    outcome
}

#[test]
fn evenings() {
    use rayon::prelude::*;
    let seeds: u64 = if full() { 100 } else { 6 };
    let cases: Vec<_> = (0..seeds)
        .flat_map(|seed| [Mood::Shy, Mood::Normal, Mood::ShowNight].map(|mood| (seed, mood, seed % 2 == 0)))
        .collect();
    let outcomes: Vec<Outcome> = cases.par_iter().map(|&(seed, mood, done)| evening(seed, mood, done)).collect();
    for outcome in &outcomes {
        println!(
            "{} over {} {:.1} min strict {}/{} trims {} wrong {:#?}",
            outcome.label,
            outcome.over,
            outcome.minutes,
            outcome.strict,
            outcome.channels,
            outcome.trims,
            outcome.wrong
        );
    }
    let strict: usize = outcomes.iter().map(|o| o.strict).sum();
    let channels: usize = outcomes.iter().map(|o| o.channels).sum();
    let wrong: usize = outcomes.iter().map(|o| o.wrong.len()).sum();
    println!("strict {strict} of {channels}, wrong {wrong}");
}
