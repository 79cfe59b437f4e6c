//! A quiet sweep carried out: on the simulated stage against its truth, stopped, and in places that fail.

use beforedoors::block::Format;
use beforedoors::engine::hall::{Hall, StageHall};
use beforedoors::engine::quiet::{
    NoSweep, Opened, Place, PlaceError, QuietAnswer, QuietStep, QuietSweep, QuietWish, StagePlace, TAP, Which,
};
use beforedoors::engine::ringout::Output;
use beforedoors::engine::sweep::Refusal;
use beforedoors::sink::Armed;
use beforedoors::units::{Db, SampleRate};

const SEED: u64 = 3;

fn on_the_stage() -> QuietSweep<StagePlace> {
    let place = StagePlace::new(SEED, 0, Output::Mains).expect("a hall");
    let wish = QuietWish::usual(Opened::AtReturn).or_for(&place.microphones());
    QuietSweep::new(place, wish).expect("a wish that can be met")
}

/// Up to the first step of this kind, with yes to all that is asked, once a tap was heard.
fn go_to<P: Place>(sweep: &mut QuietSweep<P>, end: impl Fn(&QuietStep) -> bool) -> QuietStep {
    for _ in 0..6_000 {
        let step = sweep.step();
        if end(&step) {
            return step;
        }
        match step {
            QuietStep::Cautions | QuietStep::Loopback => sweep.answer(QuietAnswer::Yes),
            QuietStep::Tap { rise } if rise >= TAP => sweep.answer(QuietAnswer::Yes),
            _ => {}
        }
        if !sweep.go_on() {
            return sweep.step();
        }
    }
    panic!("it never ends: {:?}", sweep.step());
}

/// Each microphone of the first stage against what its loop truly does: the safe number never over the truth.
#[test]
fn every_microphone_against_the_truth() {
    let mut sweep = on_the_stage();
    assert_eq!(go_to(&mut sweep, |_| false), QuietStep::Done);
    let result = sweep.result().expect("a result");
    let mut measured = 0;
    for (channel, found) in result.each() {
        // One that hears it too softly at this limit is refused, not guessed.
        let found = match found {
            Ok(found) => found,
            Err(Refusal::TooNoisy { .. } | Refusal::NoSignal { .. }) => continue,
            Err(why) => panic!("{channel:?}: {why:?}"),
        };
        measured += 1;
        let mut hall = StageHall::new(SEED, 0).expect("the same hall");
        hall.set_output(Output::Mains, Db::ZERO);
        hall.set_open(channel, true);
        let truth = hall.stage().truth().expect("loudspeakers").margin_of(0);
        let margin = &found.margin;
        let phase_aware = margin.phase_aware.expect("it would ring somewhere");
        assert!((phase_aware - truth).abs() < Db::new(1.0), "{channel:?}: {phase_aware:?}, truly {truth:?}");
        assert!(margin.safe <= truth, "{channel:?}: {:?}, truly {truth:?}", margin.safe);
    }
    assert!(measured >= 4 && result.loops.together.is_some(), "{measured}");
    let weakest = result.weakest().expect("one of them").1.margin.safe;
    assert!(result.least().expect("all together") <= weakest);
}

/// A stop while it sounds: silence at once, no result, and nothing begins anew.
#[test]
fn a_stop_ends_it() {
    let mut sweep = on_the_stage();
    go_to(&mut sweep, |step| matches!(step, QuietStep::Sounding { which: Which::Chirp, .. }));
    sweep.answer(QuietAnswer::Stop);
    assert_eq!(sweep.step(), QuietStep::Refused(NoSweep::Stopped));
    sweep.answer(QuietAnswer::Yes);
    assert!(!sweep.go_on() && sweep.result().is_none());
}

/// Three seconds before the first sound, one before each later one.
#[test]
fn it_counts_down_before_it_sounds() {
    let mut sweep = on_the_stage();
    let step = go_to(&mut sweep, |step| matches!(step, QuietStep::Countdown { .. }));
    assert!(matches!(step, QuietStep::Countdown { seconds: 3, .. }), "{step:?}");
    let counted = sweep.now();
    go_to(&mut sweep, |step| matches!(step, QuietStep::Sounding { .. }));
    assert!(((sweep.now() - counted).get() - 3.0).abs() < 0.11);
}

/// A yes before any tap was heard proves nothing; a no means that the tap came out of the loudspeakers.
#[test]
fn the_loop_must_be_proven_open() {
    for (answer, at_once) in [(QuietAnswer::Yes, true), (QuietAnswer::No, false)] {
        let mut sweep = on_the_stage();
        let tapped = |step: &QuietStep| matches!(step, QuietStep::Tap { rise } if at_once || *rise >= TAP);
        go_to(&mut sweep, tapped);
        sweep.answer(answer);
        let step = sweep.step();
        let right = match answer {
            QuietAnswer::Yes => matches!(step, QuietStep::Refused(NoSweep::NoTap(_))),
            _ => matches!(step, QuietStep::Refused(NoSweep::LoopNotOpen(_))),
        };
        assert!(right, "{step:?}");
    }
}

/// Fails in one way once it is played into.
struct Failing {
    stage: StagePlace,
    with: Option<PlaceError>,
    playing: bool,
    stopped: bool,
}

impl Place for Failing {
    fn format(&self) -> Format {
        self.stage.format()
    }

    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError> {
        match (&self.with, self.playing) {
            (Some(why), true) => Err(why.clone()),
            (None, true) => Ok(()),
            (_, false) => self.stage.hear(into),
        }
    }

    fn play(&mut self, _: Armed, _: Vec<f32>) -> Result<(), PlaceError> {
        self.playing = true;
        Ok(())
    }

    fn stop(&mut self) {
        self.stopped = true;
    }

    fn ask_for_a_tap(&mut self, microphone: beforedoors::units::ChannelId) {
        self.stage.ask_for_a_tap(microphone);
    }
}

/// Lost frames, a lost device, and callbacks that just stop: the sound is stopped, the reason stands.
#[test]
fn a_place_that_fails() {
    let gone = PlaceError::Input("it was unplugged. Plug it in".into());
    for with in [Some(PlaceError::Gap), Some(gone.clone()), None] {
        let stage = StagePlace::new(SEED, 0, Output::Mains).expect("a hall");
        let wish = QuietWish::usual(Opened::AtReturn).or_for(&stage.microphones());
        let place = Failing { stage, with: with.clone(), playing: false, stopped: false };
        let mut sweep = QuietSweep::new(place, wish).expect("a wish that can be met");
        let end = go_to(&mut sweep, |_| false);
        let expected = match with {
            Some(PlaceError::Gap) | None => QuietStep::Refused(NoSweep::DeviceLost),
            Some(why) => QuietStep::Failed(why),
        };
        assert_eq!(end, expected);
        assert!(sweep.place().stopped && sweep.result().is_none());
    }
}

/// No channel, a channel that is not there, and a limit that no sweep can have.
#[test]
fn wishes_that_can_not_be_met() {
    let usual = QuietWish::usual(Opened::AtReturn);
    let rate = SampleRate::new(48_000).expect("a rate");
    let place = || StagePlace::new(SEED, 0, Output::Mains).expect("a hall");
    assert_eq!(place().format().rate, rate);
    let far = usual.clone().or_for(&[beforedoors::units::ChannelId::new(63)]);
    let loud = QuietWish { most: beforedoors::units::Dbfs::new(3.0), ..usual.clone().or_for(&place().microphones()) };
    for wish in [usual, far, loud] {
        assert!(QuietSweep::new(place(), wish.clone()).is_none(), "{wish:?}");
    }
}
