//! One feed, one channel at a time: the whole list is walked, and each channel ends where it belongs.
//!
//! A plain run takes 4 evenings of each mood, `BEFOREDOORS_FULL=1` forty.

use super::desk::{Desk, Tap, rate};
use beforedoors::coach::{Answer, Connection, Input, Step};
use beforedoors::engine::{Pipeline, Skill, Snapshot, Stagehand};
use beforedoors::source::stage::{Mood, Stage, StageConfig};
use beforedoors::units::{ChannelId, Dbfs, Seconds};
use rayon::prelude::*;

const LONGEST: Seconds = Seconds::new(5400.0);

/// How the solo buttons are looked after.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Habit {
    /// Presses, says so, releases, says so.
    Says,
    /// Says nothing: the feed itself has to tell.
    Silent,
    /// Says that it is released, and forgets to.
    Forgets,
}

struct Evening {
    desk: Desk,
    pipeline: Pipeline,
    hand: Stagehand,
    habit: Habit,
    last: Option<(Step, Option<ChannelId>)>,
    wrong: Vec<String>,
}

impl Evening {
    fn new(seed: u64, mood: Mood, lines: usize, habit: Habit) -> Self {
        let stage = Stage::new(StageConfig::new(seed, mood, rate()));
        let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
        let format = beforedoors::block::Format { rate: rate(), channels: lines };
        let skill = Skill { says_done: habit == Habit::Says, ..Skill::CAREFUL };
        Self {
            desk: Desk::new(stage, Tap::Solo, lines),
            pipeline: Pipeline::new(format, &inputs, Connection::Feed),
            hand: Stagehand::new(seed ^ 0xfeed, skill),
            habit,
            last: None,
            wrong: Vec::new(),
        }
    }

    /// Until the screen shows a step that is looked for, or for `longest`.
    fn run_until(&mut self, found: impl Fn(&Step) -> bool, longest: Seconds) {
        let end = self.pipeline.snapshot().at + longest;
        while !found(&self.pipeline.snapshot().advice.step) && self.pipeline.snapshot().at < end {
            self.pipeline.push(&self.desk.read());
            self.check_the_screen();
            if let Some(answer) = self.act() {
                self.pipeline.answer(answer);
            }
        }
    }

    /// Whatever is said of a channel is said of the one that is pressed, and of nothing else.
    fn check_the_screen(&mut self) {
        let Snapshot { advice, at, .. } = *self.pipeline.snapshot();
        if self.last.replace((advice.step, advice.channel)) == Some((advice.step, advice.channel)) {
            return;
        }
        let soloed = self.desk.soloed();
        let fits = match (advice.step, advice.channel) {
            (Step::PressSolo, _) => soloed.is_empty(),
            (_, Some(channel)) => soloed == [channel],
            (_, None) => true,
        };
        // Before the first frame the screen already names the first channel.
        if !fits && at > Seconds::new(1.0) {
            self.wrong.push(format!(
                "{:.1} s: {:?} of {:?} with {soloed:?} pressed",
                at.get(),
                advice.step,
                advice.channel
            ));
        }
    }

    fn act(&mut self) -> Option<Answer> {
        let answer = self.hand.look(self.pipeline.snapshot(), &mut self.desk.stage);
        let advice = self.pipeline.snapshot().advice;
        let (Some(input), Some(answer)) = (advice.channel, answer) else { return answer };
        match advice.step {
            Step::PressSolo => self.desk.solo(input, true),
            Step::ReleaseSolo => self.desk.solo(input, self.habit == Habit::Forgets),
            _ => return Some(answer),
        }
        (self.habit != Habit::Silent).then_some(answer)
    }
}

#[derive(Default)]
struct Outcome {
    wrong: Vec<String>,
    channels: usize,
    inside: usize,
    trims: usize,
    minutes: f64,
}

fn evening(seed: u64, mood: Mood, lines: usize, habit: Habit) -> Outcome {
    let mut evening = Evening::new(seed, mood, lines, habit);
    evening.run_until(|step| *step == Step::AllSet, LONGEST);
    let label = format!("seed {seed}, {mood:?}, {lines} lines, {habit:?}");
    let mut outcome = Outcome { minutes: evening.pipeline.snapshot().at.get() / 60.0, ..Outcome::default() };
    outcome.wrong.extend(evening.wrong.iter().map(|wrong| format!("{label}: {wrong}")));
    let last = evening.pipeline.snapshot().advice;
    if last.step != Step::AllSet {
        outcome.wrong.push(format!("{label}: ends with {:?} of {:?}", last.step, last.channel));
    }
    for index in 0..evening.desk.stage.inputs().len() {
        let channel = ChannelId::from_index(index);
        let targets = evening.pipeline.coach().targets(channel);
        let peak = evening.desk.stage.true_peak_of_loudest(channel);
        let show = evening.desk.stage.true_show_peak(channel);
        let trims = evening.pipeline.coach().trims(channel);
        let (low, high) = targets.window();
        outcome.channels += 1;
        outcome.inside += usize::from(peak >= low && peak <= high);
        outcome.trims += usize::from(trims);
        if peak < targets.too_low() || peak > targets.too_high() || show >= Dbfs::new(0.0) || trims > 3 {
            outcome.wrong.push(format!(
                "{label}: {}: true {:.1}, show {:.1}, window {:.0}…{:.0}, {trims} trims, {:?}",
                evening.desk.stage.inputs()[index].name,
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
fn walking_the_list_by_one_feed_sets_every_channel() {
    let seeds: u64 = if std::env::var_os("BEFOREDOORS_FULL").is_some() { 40 } else { 4 };
    let moods = [Mood::Shy, Mood::Normal, Mood::ShowNight];
    let cases: Vec<_> = (0..seeds).flat_map(|seed| moods.map(|mood| (seed, mood))).collect();
    let outcomes: Vec<Outcome> = cases
        .par_iter()
        .map(|&(seed, mood)| {
            // A mono cable, or the same on both sides of a stereo one; half of the callers say what they did.
            let habit = if seed % 2 == 0 { Habit::Says } else { Habit::Silent };
            evening(seed, mood, 1 + (seed as usize / 2) % 2, habit)
        })
        .collect();
    let channels: usize = outcomes.iter().map(|outcome| outcome.channels).sum();
    let inside: usize = outcomes.iter().map(|outcome| outcome.inside).sum();
    let trims: usize = outcomes.iter().map(|outcome| outcome.trims).sum();
    let minutes: f64 = outcomes.iter().map(|outcome| outcome.minutes).sum();
    println!(
        "{} evenings of {:.1} min: {inside} of {channels} channels in the window itself, {:.2} trims a channel",
        outcomes.len(),
        minutes / outcomes.len() as f64,
        trims as f64 / channels as f64
    );
    let wrong: Vec<&String> = outcomes.iter().flat_map(|outcome| &outcome.wrong).collect();
    assert!(wrong.is_empty(), "{} of {channels}:\n{wrong:#?}", wrong.len());
}

/// A feed that does not fall silent has a button down: whatever is said, no other channel is asked for.
#[test]
fn a_button_that_stays_down_is_asked_for_until_it_is_up() {
    for (seed, mood) in [(1, Mood::Normal), (5, Mood::ShowNight)] {
        let mut evening = Evening::new(seed, mood, 1, Habit::Forgets);
        evening.run_until(|step| *step == Step::ReleaseSolo, LONGEST);
        let first = evening.pipeline.snapshot().advice.channel;
        evening.run_until(|step| *step != Step::ReleaseSolo, Seconds::new(60.0));
        let held = evening.pipeline.snapshot().advice;
        assert_eq!((held.step, held.channel), (Step::ReleaseSolo, first), "seed {seed}");
        for input in evening.desk.soloed() {
            evening.desk.solo(input, false);
        }
        evening.run_until(|step| *step != Step::ReleaseSolo, Seconds::new(12.0));
        let next = evening.pipeline.snapshot().advice;
        assert!(next.step == Step::PressSolo && next.channel != first, "seed {seed}: {next:?}");
        assert!(evening.wrong.is_empty(), "seed {seed}: {:?}", evening.wrong);
    }
}
