//! What seats hear, measured now: on the simulated stage against its truth, refused, stopped, and from the terminal.
//!
//! Truth is the very response that is played, judged without sweep and noise, and half a minute of the hall's own noise.

use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};

use beforedoors::block::Format;
use beforedoors::engine::hall::StageHall;
use beforedoors::engine::quiet::{
    NoSweep, Opened, Place, PlaceError, QuietAnswer, QuietStep, QuietWish, StagePlace, TAP,
};
use beforedoors::engine::seat::{Talk, USUAL_SPEECH};
use beforedoors::engine::seats::{RoundStep, SeatWalk, SeatWish};
use beforedoors::event::rig::write_example;
use beforedoors::event::{Note, NotedSeat, VenueNotes};
use beforedoors::measure::background::{background, gains};
use beforedoors::measure::decay::Room;
use beforedoors::measure::impulse::Impulse;
use beforedoors::measure::speech::{Transfer, spoken};
use beforedoors::report;
use beforedoors::sink::Armed;
use beforedoors::units::{ChannelId, Db, Hertz};
use beforedoors::view::plan::{Plan, Seating};

const SEED: u64 = 3;
/// The stage has twelve inputs.
const MEASURING: ChannelId = ChannelId::from_index(12);

fn seats() -> Vec<SeatWish> {
    StageHall::seats(SEED).into_iter().map(|(name, at)| SeatWish { name, at: Some(at) }).collect()
}

fn on_the_stage(seats: Vec<SeatWish>, microphones: usize) -> SeatWalk<StagePlace> {
    let at = seats.iter().filter_map(|seat| seat.at).take(microphones).collect();
    let place = StagePlace::in_seats(SEED, at).expect("a hall");
    let wish = QuietWish::usual(Opened::AtReturn).or_for(&place.measuring());
    SeatWalk::new(place, wish, seats, Talk::default()).expect("a wish that can be met")
}

/// Up to the first step of this kind, with yes to all that is asked, once a tap was heard.
fn go_to<P: Place>(walk: &mut SeatWalk<P>, end: impl Fn(&RoundStep) -> bool) -> RoundStep {
    for _ in 0..12_000 {
        let step = walk.step();
        if end(&step) {
            return step;
        }
        match step {
            RoundStep::Prepare | RoundStep::Sweep(QuietStep::Cautions) => walk.answer(QuietAnswer::Yes),
            RoundStep::Sweep(QuietStep::Tap { rise }) if rise >= TAP => walk.answer(QuietAnswer::Yes),
            _ => {}
        }
        if !walk.go_on() {
            return walk.step();
        }
    }
    panic!("it never ends: {:?}", walk.step());
}

#[test]
fn every_seat_against_the_truth() {
    let wished: Vec<SeatWish> = seats().into_iter().rev().take(2).collect();
    let mut walk = on_the_stage(wished, 1);
    assert_eq!(go_to(&mut walk, |_| false), RoundStep::Done);
    for found in walk.found() {
        let Some(Ok(seat)) = &found.heard else { panic!("{found:?}") };
        let mut truth = StagePlace::in_seats(SEED, vec![found.seat.at.expect("a place")]).expect("the same hall");
        let rate = truth.format().rate;
        let samples = truth.stage().true_response(0, MEASURING).expect("a response");
        let response = Impulse::new(rate, samples, 0, Hertz::new(80.0), Hertz::new(12_000.0)).expect("a response");
        let transfer = Transfer::new(&response);
        let alone = transfer.intelligibility().sti;
        assert!((seat.alone().sti - alone).abs() < 0.03, "{}: {} {alone}", found.seat.name, seat.alone().sti);
        let (room, true_room) = (seat.room.overall, Room::new(&response).expect("a room").overall);
        let c50 = |of: &beforedoors::measure::decay::Decay| of.c50.expect("clarity").get();
        assert!((c50(&room) - c50(&true_room)).abs() < 1.0, "{room:?} {true_room:?}");
        let mut quiet = vec![Vec::new(); truth.format().channels];
        while quiet[0].len() < rate.get() as usize * 30 {
            truth.hear(&mut quiet).expect("the stage");
        }
        let quiet: Vec<f64> = quiet[MEASURING.index()].iter().map(|sample| f64::from(*sample)).collect();
        let noise = background(&quiet, &[], rate).expect("half a minute");
        let (gains, said) = (gains(&response), spoken(USUAL_SPEECH.get()));
        let over: [Db; 7] = std::array::from_fn(|octave| {
            Db::new(said[octave] + gains[octave].expect("reached").get() - noise[octave].get())
        });
        let measured = seat.over.expect("pauses around the sweep");
        for (octave, (measured, truth)) in measured.octaves.iter().zip(over).enumerate() {
            let measured = measured.expect("reached, and not silent");
            // A second of noise an octave wide wanders by 10 lg(1 + 1/√(B·T)): 0.5 dB at 125 Hz; three times that.
            let apart = if octave == 0 { 2.0 } else { 1.0 };
            assert!((measured - truth).abs() < Db::new(apart), "{}: {octave} {measured:?} {truth:?}", found.seat.name);
        }
        let heard = transfer.in_noise(over).intelligibility().sti;
        assert!((seat.heard().sti - heard).abs() < 0.03, "{}: {} {heard}", found.seat.name, seat.heard().sti);
    }
}

/// A tap that came out of the loudspeakers: nothing sounds, and the person chooses between again and the next seat.
#[test]
fn a_seat_that_is_refused_is_asked_for_again_or_left() {
    let mut walk = on_the_stage(seats(), 1);
    let tapped = |step: &RoundStep| matches!(step, RoundStep::Sweep(QuietStep::Tap { rise }) if *rise >= TAP);
    go_to(&mut walk, tapped);
    walk.answer(QuietAnswer::No);
    let refused = |step: &RoundStep| matches!(step, RoundStep::Again(_));
    assert!(matches!(go_to(&mut walk, refused), RoundStep::Again(NoSweep::LoopNotOpen(_))));
    // Once more begins with the cautions.
    walk.answer(QuietAnswer::Yes);
    assert_eq!(walk.step(), RoundStep::Sweep(QuietStep::Cautions));
    go_to(&mut walk, tapped);
    walk.answer(QuietAnswer::No);
    go_to(&mut walk, refused);
    walk.answer(QuietAnswer::No);
    assert_eq!(walk.step(), RoundStep::Prepare);
    assert_eq!(walk.round()[0].seat, seats()[1]);
    walk.answer(QuietAnswer::Stop);
    assert!(!walk.go_on());
    assert_eq!(walk.step(), RoundStep::Sweep(QuietStep::Refused(NoSweep::Stopped)));
    assert!(matches!(walk.found()[0].heard, Some(Err(NoSweep::LoopNotOpen(_)))) && walk.found()[1].heard.is_none());
}

/// Two microphones take two seats at once; the last seat has one.
#[test]
fn several_microphones() {
    let mut walk = on_the_stage(seats()[..3].to_vec(), 2);
    let names = |walk: &SeatWalk<StagePlace>| -> Vec<(String, u16)> {
        walk.round().iter().map(|found| (found.seat.name.clone(), found.channel.number())).collect()
    };
    let expected = |seat: usize, channel: u16| (seats()[seat].name.clone(), channel);
    assert_eq!(names(&walk), [expected(0, 13), expected(1, 14)]);
    walk.answer(QuietAnswer::No);
    assert_eq!(names(&walk), [expected(2, 13)]);
    walk.answer(QuietAnswer::No);
    assert_eq!(walk.step(), RoundStep::Done);
    assert!(!walk.go_on());
}

/// Plays nothing, or fails once it is played into.
struct Failing {
    stage: StagePlace,
    with: Option<PlaceError>,
    playing: bool,
}

impl Place for Failing {
    fn format(&self) -> Format {
        self.stage.format()
    }

    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError> {
        match &self.with {
            Some(why) if self.playing => Err(why.clone()),
            _ => self.stage.hear(into),
        }
    }

    fn play(&mut self, _: Armed, _: Vec<f32>) -> Result<(), PlaceError> {
        self.playing = true;
        Ok(())
    }

    fn stop(&mut self) {}

    fn ask_for_a_tap(&mut self, microphone: ChannelId) {
        self.stage.ask_for_a_tap(microphone);
    }
}

#[test]
fn nothing_arrives_and_a_device_that_goes() {
    let gone = PlaceError::Input("it was unplugged. Plug it in".into());
    for with in [None, Some(gone.clone())] {
        let stage = StagePlace::in_seats(SEED, vec![(0.0, -3.0)]).expect("a hall");
        let wish = QuietWish::usual(Opened::AtReturn).or_for(&[MEASURING]);
        let place = Failing { stage, with: with.clone(), playing: false };
        let mut walk = SeatWalk::new(place, wish, seats(), Talk::default()).expect("a wish that can be met");
        let end = go_to(&mut walk, |step| matches!(step, RoundStep::Again(_)));
        match with {
            Some(why) => assert_eq!(end, RoundStep::Sweep(QuietStep::Failed(why))),
            None => {
                let silent = matches!(end, RoundStep::Again(NoSweep::NotConnected { .. } | NoSweep::TooSoft { .. }));
                assert!(silent, "{end:?}");
            }
        }
        assert!(walk.found().iter().all(|found| !matches!(found.heard, Some(Ok(_)))));
    }
}

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_beforedoors"))
}

/// The stage from the terminal, each question answered as it comes.
#[test]
fn one_seat_by_typed_lines() {
    let name = &seats()[0].name;
    let mut command = program();
    command.args(["seats", "--stage", "--json", "--seed", "3", "--seat", name]);
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("the program");
    let mut typed = child.stdin.take().expect("a pipe");
    let (mut steps, mut heard) = (Vec::new(), None);
    for line in BufReader::new(child.stdout.take().expect("a pipe")).lines() {
        let record: serde_json::Value = serde_json::from_str(&line.expect("a line")).expect("JSON");
        if record["type"] == "seat" {
            heard = Some(record);
            continue;
        }
        let step = record["step"].as_str().expect("a step").to_owned();
        if ["put", "cautions", "tap"].contains(&step.as_str()) {
            writeln!(typed, "yes").expect("it listens");
        }
        assert!(steps.is_empty() || record["seats"].is_array(), "{record}");
        steps.push(step);
    }
    let code = child.wait().expect("it ends").code();
    assert_eq!(steps[..4], ["put", "cautions", "tap", "countdown"], "{steps:?}");
    assert_eq!(steps.last().map(String::as_str), Some("seats_done"));
    let heard = heard.expect("a result");
    assert_eq!((&heard["seat"], &heard["channel"]), (&name.as_str().into(), &13.into()));
    assert_eq!(heard["speech_over_background_db"].as_array().map(Vec::len), Some(7), "{heard}");
    assert!(heard["speech_over_background_overall_db"].is_number() && heard["sti_in_noise"].is_number(), "{heard}");
    assert_eq!(code, Some(i32::from(!heard["fix"].is_null())));
}

/// What is wrong, and how to mend it.
#[test]
fn wishes_that_can_not_be_met() {
    let event = tempfile::tempdir().expect("a folder");
    write_example(event.path()).expect("the example");
    let venue = event.path().join("venue.toml");
    let text = std::fs::read_to_string(&venue).expect("a venue");
    let without: String = text.split_inclusive("\n\n").filter(|part| !part.contains("[[seat]]")).collect();
    std::fs::write(&venue, without).expect("written");
    let event = event.path().to_str().expect("a name");
    let cases: [(&[&str], &str, &str); 5] = [
        (&["--stage", "--seat", "balcony"], "has no seat “balcony”", "It has: \"row 1\""),
        (&["--stage", "--channels", "13,14", "--seat", "row 1"], "2 microphones, but only 1 seat", "fewer --channels"),
        (&["--stage", "--channels", "4"], "channel 4 of the stage is no measuring microphone", "--channels 13"),
        (&["--device", "Desk", "--event", event], "no seat is named", "[[seat]] into the venue.toml"),
        (
            &["--device", "Desk", "--event", event, "--seat", "row 1", "--compared"],
            "no microphone was compared",
            "--compare",
        ),
    ];
    for (args, wrong, mend) in cases {
        let output = program().arg("seats").args(args).stdin(Stdio::null()).output().expect("the program");
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{args:?}: {told}");
        assert!(told.contains(wrong) && told.contains(mend), "{args:?}: {told}");
    }
}

/// A card for each seat of the hall: strokes and words where it was measured, the later result counts, an empty outline else.
#[test]
fn the_plan_draws_what_was_found() {
    let event = tempfile::tempdir().expect("a folder");
    write_example(event.path()).expect("the example");
    let plan = Plan::open(event.path()).expect("the example");
    let kept = |seat: &str, sti: f64, place| {
        Note::Seat(NotedSeat {
            date: None,
            seat: seat.into(),
            place,
            sti,
            over_background: Some(Db::new(12.0)),
            t20: None,
            t30: None,
            edt: None,
            c50: None,
        })
    };
    let drawn = |plan: &Plan| {
        let files = report::files(plan, false);
        let of = |name: &str| files.iter().find(|(own, _)| own == name).map(|(_, text)| text.clone()).expect(name);
        let svg = of("hall.svg");
        (svg.matches("stroke-dasharray").count(), svg.matches("stroke-width=\"0.8\"").count(), svg, of("hall.csv"))
    };
    let (empty, strokes, ..) = drawn(&plan);
    assert_eq!((empty, strokes), (2, 0), "both seats of the example");
    assert_eq!(Seating::of(&plan).step().0, "No seat measured");
    let notes =
        [kept("last row", 0.8, None), kept("Last row", 0.5, None), kept("balcony <left>", 0.2, Some((-4.0, -16.0)))];
    VenueNotes::add(event.path(), &notes).expect("kept");
    let plan = Plan::open(event.path()).expect("the example");
    let (empty, strokes, svg, csv) = drawn(&plan);
    // 0.5 is fair: three strokes; 0.2 is bad: one (IEC 60268-16, Annex E).
    assert_eq!((empty, strokes), (1, 4), "{svg}");
    assert!(svg.contains("balcony &lt;left&gt;") && svg.contains("most words, not names"), "{svg}");
    let rows: Vec<&str> = csv.lines().collect();
    let at = |words: &str| rows.iter().position(|row| row.contains(words)).unwrap_or_else(|| panic!("{words}: {csv}"));
    assert!(at("balcony") < at("last row") && at("last row") < at("not measured"), "{csv}");
    assert_eq!(Seating::of(&plan).step().0, "balcony <left> hears least");
}
