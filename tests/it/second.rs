//! A second loudspeaker's delay, measured now: on the simulated stage against its own distances, with a device whose sounds
//! begin whenever they like, refused, and from the terminal.

use std::collections::VecDeque;
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};

use beforedoors::block::Format;
use beforedoors::engine::hall::StageHall;
use beforedoors::engine::quiet::{
    Alone, NoSweep, Opened, Place, PlaceError, QuietAnswer, QuietStep, QuietWish, StagePlace, TAP,
};
use beforedoors::engine::second::{RoundStep, SecondWalk};
use beforedoors::measure::delay::Apart;
use beforedoors::sink::Armed;
use beforedoors::source::stage::{Hall, MicrophonePlace};
use beforedoors::units::ChannelId;
use beforedoors::view::second::second_step;

const SEED: u64 = 3;

/// The last row's middle.
fn seat() -> (f64, f64) {
    StageHall::seats(SEED).into_iter().map(|(_, at)| at).rfind(|at| at.0 == 0.0).expect("a row")
}

fn place() -> StagePlace {
    StagePlace::with_second(SEED, vec![seat()], Alone::Mains).expect("a hall")
}

/// How much farther away the mains are, in seconds: from the hall's own plan.
fn truth() -> f64 {
    let (x, y) = seat();
    let measuring = MicrophonePlace { channel: ChannelId::new(0), place: (x, y, 1.2), measures: true };
    let hall = Hall::with_second(SEED, vec![measuring]);
    let [far, near] = [0, 1].map(|output| hall.distance(output, 0).expect("a box"));
    (far - near) / 343.0
}

/// Yes to all that is asked, once a tap was heard; `false`: it ended without both.
fn answered<P: Place>(walk: &mut SecondWalk<P>) -> Option<Apart> {
    for _ in 0..12_000 {
        match walk.step() {
            RoundStep::Prepare | RoundStep::Sweep(QuietStep::Cautions) => walk.answer(QuietAnswer::Yes),
            RoundStep::Sweep(QuietStep::Tap { rise }) if rise >= TAP => walk.answer(QuietAnswer::Yes),
            RoundStep::Again(_) => return None,
            _ => {}
        }
        if !walk.go_on() {
            let found = walk.found()?;
            return found[0].1.ok();
        }
    }
    panic!("it never ends: {:?}", walk.step());
}

#[test]
fn a_second_loudspeaker_against_the_halls_own_distances() {
    let place = place();
    let wish = QuietWish::usual(Opened::AtReturn).or_for(&place.measuring());
    let mut walk = SecondWalk::new(place, wish.clone()).expect("a wish");
    assert_eq!((walk.step(), walk.alone()), (RoundStep::Prepare, Alone::Mains));
    let apart = answered(&mut walk).expect("both were measured");
    assert_eq!((walk.step(), walk.alone()), (RoundStep::Done, Alone::Second));
    println!("{:+.3} ms of {:.2}", 1e3 * (apart.seconds.get() - truth()), 1e3 * truth());
    assert!((apart.seconds.get() - truth()).abs() < 1e-4, "{apart:?} is not {}", truth());
    assert!(second_step(&RoundStep::Prepare, Alone::Second, &wish).sentence.contains("only the second loudspeaker"));
}

/// Its sounds come later by another while each time; a channel more brings them as they went out.
struct Late {
    stage: StagePlace,
    playing: VecDeque<f32>,
    late: usize,
    /// The reference's plug is out.
    unplugged: bool,
}

impl Place for Late {
    fn format(&self) -> Format {
        let Format { rate, channels } = self.stage.format();
        Format { rate, channels: channels + 1 }
    }

    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError> {
        let (reference, stage) = into.split_last_mut().expect("a reference");
        let before = stage[0].len();
        self.stage.hear(stage)?;
        let came = stage[0].len() - before;
        let unplugged = self.unplugged;
        let played = (0..came).map(|_| self.playing.pop_front().filter(|_| !unplugged).unwrap_or(0.0));
        reference.extend(played);
        Ok(())
    }

    fn play(&mut self, leave: Armed, samples: Vec<f32>) -> Result<(), PlaceError> {
        self.late = (self.late + 1777) % 4800;
        let later = [vec![0.0; self.late], samples].concat();
        self.playing = later.iter().copied().collect();
        self.stage.play(leave, later)
    }

    fn stop(&mut self) {
        self.playing.clear();
        self.stage.stop();
    }

    fn ask_for_a_tap(&mut self, microphone: ChannelId) {
        self.stage.ask_for_a_tap(microphone);
    }

    fn ask_for_alone(&mut self, loudspeakers: Alone) {
        self.stage.ask_for_alone(loudspeakers);
    }
}

fn late(referenced: bool, unplugged: bool) -> SecondWalk<Late> {
    let stage = place();
    let reference = ChannelId::from_index(stage.format().channels);
    let wish = QuietWish::usual(Opened::AtReturn).or_for(&stage.measuring());
    let wish = QuietWish { reference: referenced.then_some(reference), ..wish };
    SecondWalk::new(Late { stage, playing: VecDeque::new(), late: 0, unplugged }, wish).expect("a wish")
}

/// Two sounds of a device have no common beginning: without a reference it is as far off as they are.
#[test]
fn the_reference_makes_two_sounds_one() {
    let with = answered(&mut late(true, false)).expect("both were measured").seconds.get();
    assert!((with - truth()).abs() < 1e-4, "{with} is not {}", truth());
    let without = answered(&mut late(false, false)).expect("both were measured").seconds.get();
    assert!((without - truth()).abs() > 1e-3, "{without}");
}

/// Without its reference there is no number, and the round may be had again; "no" leaves it.
#[test]
fn a_reference_that_brings_nothing_is_named() {
    let mut walk = late(true, true);
    assert!(answered(&mut walk).is_none());
    let RoundStep::Again(why) = walk.step() else { panic!("{:?}", walk.step()) };
    assert!(matches!(why, NoSweep::Unfit { channel: 1, .. }), "{why:?}");
    let next = second_step(&walk.step(), walk.alone(), walk.wish());
    assert!(next.sentence.starts_with("The reference: nothing of the sweep arrived"), "{next:?}");
    walk.answer(QuietAnswer::No);
    assert_eq!(walk.step(), RoundStep::Done);
    assert!(!walk.go_on() && walk.found().is_none());
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_beforedoors"))
}

#[test]
fn from_the_terminal() {
    let mut command = program();
    command.args(["delay", "--stage", "--json", "--seed", "3"]);
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program");
    let mut typed = child.stdin.take().expect("a pipe");
    let (mut steps, mut found) = (Vec::new(), None);
    for line in BufReader::new(child.stdout.take().expect("a pipe")).lines() {
        let record: serde_json::Value = serde_json::from_str(&line.expect("a line")).expect("JSON");
        if record["type"] == "delay" {
            found = Some(record);
            continue;
        }
        let step = record["step"].as_str().expect("a step").to_owned();
        if ["switch", "cautions", "tap"].contains(&step.as_str()) {
            writeln!(typed, "yes").expect("it listens");
        }
        steps.push(format!("{step} {}", record["alone"].as_str().expect("whose turn it is")));
    }
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
    assert_eq!(
        steps.iter().filter(|step| step.starts_with("switch")).collect::<Vec<_>>(),
        ["switch mains", "switch second"]
    );
    assert_eq!(steps.last().map(String::as_str), Some("both_done second"));
    let found = found.expect("a result");
    assert!((found["mains_later_ms"].as_f64().expect("a number") - 1e3 * truth()).abs() < 0.1, "{found}");
    let without = program().args(["delay", "--device", "Desk", "--channels", "5"]).output().expect("it runs");
    let told = String::from_utf8_lossy(&without.stderr).into_owned();
    assert!(!without.status.success() && told.contains("--reference"), "{told}");
}
