//! A microphone in the room: it sees no input, so it may warn and ask, and never advises UP.

use super::desk::{Desk, Tap, rate};
use beforedoors::block::Format;
use beforedoors::coach::{Answer, Connection, Flashes, Input, Step, Turn};
use beforedoors::engine::{Pipeline, Skill, Stagehand};
use beforedoors::source::stage::{Mood, Stage, StageConfig};
use beforedoors::units::{ChannelId, Dbfs, Seconds};

const LONGEST: Seconds = Seconds::new(3600.0);
/// A desk's top lamp lights this far below its end, and stays lit when it is passed.
const LAMP: Dbfs = Dbfs::new(-1.0);
const LAMP_STAYS: Dbfs = Dbfs::new(3.0);
const LOOKS_FOR: Seconds = Seconds::new(8.0);

struct Evening {
    desk: Desk,
    pipeline: Pipeline,
    hand: Stagehand,
    /// Since when the desk's lamp has been watched.
    watching: Option<Seconds>,
    steps: Vec<(Seconds, Step, Option<ChannelId>)>,
}

impl Evening {
    fn new(seed: u64, mood: Mood, lines: usize, says_done: bool) -> Self {
        let stage = Stage::new(StageConfig::new(seed, mood, rate()));
        let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
        Self {
            desk: Desk::new(stage, Tap::Room, lines),
            pipeline: Pipeline::new(Format { rate: rate(), channels: lines }, &inputs, Connection::Room),
            hand: Stagehand::new(seed ^ 0x700d, Skill { says_done, ..Skill::CAREFUL }),
            watching: None,
            steps: Vec::new(),
        }
    }

    fn run(&mut self) {
        while !self.pipeline.coach().is_over() && self.pipeline.snapshot().at < LONGEST {
            self.go_on();
        }
        self.go_on();
    }

    fn go_on(&mut self) {
        self.pipeline.push(&self.desk.read());
        let (advice, at) = (self.pipeline.snapshot().advice, self.pipeline.snapshot().at);
        if self.steps.last().is_none_or(|&(_, step, channel)| (step, channel) != (advice.step, advice.channel)) {
            self.steps.push((at, advice.step, advice.channel));
        }
        let answer = match (advice.step, advice.channel) {
            (Step::AskLamp, Some(input)) => self.watch_the_lamp(input, at),
            _ => self.hand.look(self.pipeline.snapshot(), &mut self.desk.stage),
        };
        if let Some(answer) = answer {
            self.pipeline.answer(answer);
        }
    }

    /// The person looks at the lamp for a while and tells what a lamp there shows.
    fn watch_the_lamp(&mut self, input: ChannelId, at: Seconds) -> Option<Answer> {
        let since = *self.watching.get_or_insert(at);
        (at - since >= LOOKS_FOR).then(|| {
            self.watching = None;
            Answer::Lamp(lamp(self.desk.stage.true_peak_of_loudest(input)))
        })
    }
}

fn lamp(peak: Dbfs) -> Flashes {
    match peak {
        peak if peak >= LAMP_STAYS => Flashes::Often,
        peak if peak >= LAMP => Flashes::Sometimes,
        _ => Flashes::Never,
    }
}

/// However the evening goes: questions about the lamp, turns down, and an end. What flashed was turned down.
#[test]
fn a_room_microphone_never_advises_up_and_comes_to_an_end() {
    let (mut turns, mut lit) = (0, 0);
    for seed in 0..8 {
        let mood = [Mood::Shy, Mood::Normal, Mood::ShowNight][seed as usize % 3];
        let mut evening = Evening::new(seed, mood, 1 + seed as usize / 2 % 2, seed % 2 == 0);
        let channels = evening.desk.stage.inputs().len();
        let before: Vec<Flashes> = (0..channels)
            .map(|index| lamp(evening.desk.stage.true_peak_of_loudest(ChannelId::from_index(index))))
            .collect();
        evening.run();
        let label = format!("seed {seed}, {mood:?}");
        assert_eq!(evening.steps.last().map(|step| step.1), Some(Step::AllSet), "{label}: {:?}", evening.steps);
        for &(at, step, channel) in &evening.steps {
            let allowed = matches!(step, Step::AskLamp | Step::NoMovement { turn: Turn::Down } | Step::AllSet)
                || matches!(step, Step::Trim { turn: Turn::Down, .. });
            assert!(allowed || at < Seconds::new(1.0), "{label}: {step:?} of {channel:?} at {:.0} s", at.get());
        }
        for (index, &before) in before.iter().enumerate() {
            let channel = ChannelId::from_index(index);
            let (trims, peak) =
                (evening.pipeline.coach().trims(channel), evening.desk.stage.true_peak_of_loudest(channel));
            let name = evening.desk.stage.inputs()[index].name;
            assert_eq!(trims > 0, before != Flashes::Never, "{label}: {name}, {before:?}, {trims} trims");
            assert!(peak < LAMP && trims <= 3, "{label}: {name} stands at {:.1} after {trims}", peak.get());
            (turns, lit) = (turns + usize::from(trims), lit + usize::from(before != Flashes::Never));
        }
    }
    println!("{lit} lamps flashed, {turns} turns put them out");
    assert!(lit > 0, "no evening had anything to turn down");
}
