//! Every step of the line check has its exact sentence, and none breaks the rules for sentences.

use beforedoors::coach::linecheck::{
    Call, HumCure, LineAdvice, LineOutcome, LineResult, LineStep, LineWhy, Side, SpeakerResult, Way,
};
use beforedoors::detectors::{Hum, HumPattern, Mains};
use beforedoors::units::{ChannelId, Db, Dbfs, Hertz, Seconds};
use beforedoors::view::linecheck::{
    LINE_CAUTIONS, hum_words, line_result, line_step, line_step_record, speaker_result,
};
use beforedoors::view::lines::step_headline;

const FOUR: ChannelId = ChannelId::new(3);
const FIVE: ChannelId = ChannelId::new(4);
const SIX: ChannelId = ChannelId::new(5);

fn hum() -> Hum {
    Hum {
        mains: Mains::Fifty,
        frequency: Some(Hertz::new(49.974)),
        strongest: Hertz::new(100.0),
        level: Dbfs::new(-52.12),
        over_rest: Db::new(15.3),
        pattern: HumPattern::Smooth,
    }
}

fn why() -> LineWhy {
    LineWhy {
        heard_on: Some(FIVE),
        heard_at: Some(Seconds::new(4.21)),
        rise: Some(Db::new(34.0)),
        floor: Some(Dbfs::new(-71.2)),
        hum: Some(hum()),
        alike: None,
        checked: 3,
        inputs: 12,
    }
}

fn names() -> Vec<String> {
    ["Lectern", "", "", "Choir left", "Choir right", "Keys"].map(str::to_owned).to_vec()
}

fn advice(step: LineStep) -> LineAdvice {
    let on_nobody = matches!(
        step,
        LineStep::Quiet
            | LineStep::AskSound
            | LineStep::WhichSide { .. }
            | LineStep::SwapSpeakers
            | LineStep::SpeakerSilent { .. }
            | LineStep::Fuller
            | LineStep::RoomListens
            | LineStep::SpeakersReversed
            | LineStep::AnyTap
            | LineStep::AnyPlay
            | LineStep::AskHall
            | LineStep::Over
    );
    LineAdvice { step, channel: (!on_nobody).then_some(FOUR), why: why() }
}

fn call(way: Way, why: Call) -> LineStep {
    LineStep::Call { way, why }
}

fn every_step() -> Vec<(LineStep, &'static str, &'static str)> {
    use Way::{Play, Tap};
    vec![
        (LineStep::Quiet, "Quiet on stage, please", "hands off for 3 s: I hear every line’s floor and hum"),
        (call(Tap, Call::First), "Tap mic 4 Choir left", "three light taps with a finger"),
        (call(Play, Call::First), "Play 4 Choir left", "a few loud notes"),
        (call(Tap, Call::Again), "Tap mic 4 Choir left again", "nothing heard yet; is it the one with that number?"),
        (call(Tap, Call::Recheck), "Tap mic 4 Choir left again", "to hear whether it is right now"),
        (
            call(Tap, Call::Follow { from: SIX }),
            "6 came in on 4. Tap mic 4 Choir left",
            "where does 4 come in? three light taps with a finger",
        ),
        (
            call(Tap, Call::Instead { on: FIVE }),
            "4 came in on 5. Tap mic 4 Choir left once more",
            "5 Choir right works: was that one tapped?",
        ),
        (call(Tap, Call::TalkOver), "Quiet at 4 Choir left, please", "something sounds there; then it is called again"),
        (call(Tap, Call::Compare { with: FIVE }), "Tap mic 4 Choir left once more", "5 seems to hear the same"),
        (
            LineStep::Swap { with: FIVE },
            "Swap 4 and 5 at the box",
            "4 Choir left and 5 Choir right sit in each other’s sockets",
        ),
        (
            LineStep::Rotate { second: FIVE, third: SIX },
            "Move three plugs at the box: 4 is in 5, 5 in 6, 6 in 4",
            "each plug into the socket with its own number",
        ),
        (
            LineStep::Move { on: SIX },
            "Move the plug of 4 Choir left from 6 to 4",
            "at the box; then it is called again",
        ),
        (LineStep::BothOn { on: FIVE }, "4 and 5 both come in on 5", "look at the plug of 4 and at the desk’s routing"),
        (
            LineStep::AskPhantom,
            "4 Choir left is silent: is +48 on for 4?",
            "only look; no: it waits until the plugging is over",
        ),
        (
            LineStep::MuteForPhantom,
            "Before +48 for 4 Choir left: mute every channel and the mains",
            "hands off the plugs; ribbon microphones and adapters unplugged first",
        ),
        (LineStep::PhantomOn, "Switch +48 for 4 Choir left ON", "only while everything is still muted"),
        (LineStep::PhantomWait, "Wait ten seconds", "+48 needs them; everything stays muted"),
        (
            LineStep::NotHeard,
            "Nothing from 4 Choir left: try another cable",
            "or its switch, its battery; then it is called again",
        ),
        (LineStep::Copied { to: SIX }, "4 Choir left also comes in on 6", "give 6 its own input in the desk’s routing"),
        (
            LineStep::HumCure(HumCure::Lift),
            "4 Choir left hums at 100 Hz: press the DI’s lift",
            "the audio lift on the DI box; never a mains earth",
        ),
        (
            LineStep::HumCure(HumCure::Charger),
            "4 Choir left hums at 100 Hz: take the laptop off its charger",
            "on its battery for a moment, to compare",
        ),
        (
            LineStep::HumCure(HumCure::LeadAway),
            "4 Choir left hums at 100 Hz: move its lead away from mains leads",
            "cross them at a right angle",
        ),
        (
            LineStep::HumCure(HumCure::OtherLead),
            "4 Choir left hums at 100 Hz: try another lead",
            "pushed in until it clicks",
        ),
        (
            LineStep::Noisy,
            "4 Choir left hisses: look at how it is plugged in",
            "a microphone on a line input, or a broken lead?",
        ),
        (
            LineStep::Middle { with: FIVE, way: Tap, again: false },
            "Clap midway between 5 and 4",
            "three claps, as far from one as from the other",
        ),
        (
            LineStep::Middle { with: FIVE, way: Play, again: true },
            "Play low notes on 5 and 4, once more",
            "the same on both, in the middle",
        ),
        (
            LineStep::Reversed { with: FIVE },
            "4 pulls against 5: press the polarity switch of 4",
            "no such switch? Another lead",
        ),
        (
            LineStep::AskSound,
            "May a quiet noise come from the loudspeakers?",
            "turn the volume down first; nobody near a loudspeaker",
        ),
        (
            LineStep::WhichSide { side: Side::Left },
            "It plays on the LEFT: where do you hear it?",
            "left, right, both or nowhere, as the audience sees it",
        ),
        (
            LineStep::SwapSpeakers,
            "Swap left and right at the desk’s outputs",
            "mains muted while you plug; then both play again",
        ),
        (
            LineStep::SpeakerSilent { side: Side::Right },
            "The right loudspeaker is silent",
            "look at its power, volume, input switch and lead",
        ),
        (LineStep::Fuller, "Which has more body: the first sound or the second?", "stand in the middle of the hall"),
        (LineStep::RoomListens, "The hall’s microphone listens", "two sounds; quiet, please"),
        (
            LineStep::SpeakersReversed,
            "The loudspeakers pull against each other: change one lead",
            "mains muted while you plug; then they play again",
        ),
        (LineStep::AnyTap, "Tap the microphone", "three light taps with a finger"),
        (LineStep::AnyPlay, "Play the video’s loudest part", "for a few seconds"),
        (
            LineStep::AskHall,
            "Speak from the stage: where do you hear it?",
            "left, right, both or nowhere, as the audience sees it",
        ),
        (LineStep::Over, "Line check done", "leave the plugs alone"),
    ]
}

#[test]
fn every_step_has_its_sentence() {
    for (step, sentence, then) in every_step() {
        let next = line_step(&advice(step), &names());
        assert_eq!((next.sentence.as_str(), next.then.as_str()), (sentence, then), "{step:?}");
        let words = then.split_whitespace().count();
        assert!(words <= 12, "{words} words: {then}");
    }
}

/// The list above names each step; a new one fails to compile here.
#[test]
fn no_step_is_left_out() {
    let place = |step: &LineStep| match step {
        LineStep::Quiet => 0,
        LineStep::Call { .. } => 1,
        LineStep::Swap { .. } => 2,
        LineStep::Rotate { .. } => 3,
        LineStep::Move { .. } => 4,
        LineStep::BothOn { .. } => 5,
        LineStep::AskPhantom => 6,
        LineStep::MuteForPhantom => 7,
        LineStep::PhantomOn => 8,
        LineStep::PhantomWait => 9,
        LineStep::NotHeard => 10,
        LineStep::Copied { .. } => 11,
        LineStep::HumCure(_) => 12,
        LineStep::Noisy => 13,
        LineStep::Middle { .. } => 14,
        LineStep::Reversed { .. } => 15,
        LineStep::AskSound => 16,
        LineStep::WhichSide { .. } => 17,
        LineStep::SwapSpeakers => 18,
        LineStep::SpeakerSilent { .. } => 19,
        LineStep::Fuller => 20,
        LineStep::RoomListens => 21,
        LineStep::SpeakersReversed => 22,
        LineStep::AnyTap => 23,
        LineStep::AnyPlay => 24,
        LineStep::AskHall => 25,
        LineStep::Over => 26,
    };
    let mut places: Vec<usize> = every_step().iter().map(|(step, ..)| place(step)).collect();
    places.dedup();
    assert_eq!(places, (0..=26).collect::<Vec<_>>());
}

/// Nothing tells anyone to lift a mains earth, open a box, or that +48 is off.
#[test]
fn no_sentence_breaks_a_caution() {
    for (step, ..) in every_step() {
        let next = line_step(&advice(step), &names());
        let all = format!("{} {}", next.sentence, next.then).to_lowercase();
        for word in ["remove the earth", "lift the earth", "open the", "ground pin", "+48 is off", "blame", "wrong"] {
            assert!(!all.contains(word), "“{word}” in {all}");
        }
        assert!(!all.contains("earth") || all.contains("never a mains earth"), "{all}");
        assert!(step != LineStep::AskPhantom || next.sentence.ends_with('?'));
    }
    assert!(LINE_CAUTIONS.iter().any(|caution| caution.contains("A mains earth stays where it is")));
}

#[test]
fn proofs_results_and_hum() {
    assert_eq!(
        line_step(&advice(call(Way::Tap, Call::First)), &names()).proof,
        "heard on 5, 34 dB over its floor · 3 of 12 inputs checked"
    );
    let told = line_step(&advice(LineStep::HumCure(HumCure::Lift)), &names()).proof;
    assert!(told.contains("50 Hz mains (49.97 Hz), −52.1 dBFS, smooth"), "{told}");
    let comb = Hum { frequency: None, pattern: HumPattern::Comb, mains: Mains::Sixty, ..hum() };
    assert_eq!(hum_words(&comb), "60 Hz mains, −52.1 dBFS, a buzz: a power supply or dimmers");
    let result = |outcome| LineResult { outcome, ..LineResult::default() };
    assert_eq!(line_result(&result(LineOutcome::Arrived)), "arrived");
    assert_eq!(line_result(&LineResult { put_right: true, ..result(LineOutcome::Arrived) }), "arrived, put right");
    assert_eq!(line_result(&result(LineOutcome::Elsewhere(FIVE))), "came in on 5");
    assert_eq!(line_result(&LineResult { phantom_off: true, ..result(LineOutcome::Silent) }), "silent; +48 was off");
    let worst = LineResult {
        noisy: Some(Dbfs::new(-30.0)),
        copied_to: Some(SIX),
        reversed: Some(true),
        ..result(LineOutcome::Arrived)
    };
    let told = "arrived; hisses: floor −30.0 dBFS; also on 6; pulls against its partner";
    assert_eq!(line_result(&worst), told);
    assert_eq!(speaker_result(&SpeakerResult::default()), "not checked");
    let swapped = SpeakerResult { checked: true, swapped: true, reversed: Some(false), ..SpeakerResult::default() };
    assert_eq!(speaker_result(&swapped), "left and right swapped; pull together");
}

#[test]
fn the_record_has_its_keys() {
    let advice = advice(LineStep::Swap { with: FIVE });
    let record = line_step_record(Seconds::new(4.3), &advice, &line_step(&advice, &names()));
    for (key, value) in [
        ("type", serde_json::json!("line_step")),
        ("kind", "swap".into()),
        ("time_s", 4.3.into()),
        ("channel", 4.into()),
        ("step", "Swap 4 and 5 at the box".into()),
        ("heard_on", 5.into()),
        ("heard_at_s", 4.21.into()),
        ("checked", 3.into()),
    ] {
        assert_eq!(record[key], value, "{key}");
    }
    assert_eq!(record["hum"]["mains_hz"], 50);
    assert_eq!(record["hum"]["frequency_hz"], 49.974);
}

/// Read from two metres: two lines of letters eight hundredths of the window high hold no more.
#[test]
fn every_step_has_a_headline_that_two_lines_hold() {
    for (step, ..) in every_step() {
        let headline = step_headline(&advice(step), &names());
        let letters = headline.chars().count();
        assert!((4..=26).contains(&letters), "{headline}: {letters}");
    }
    assert_eq!(step_headline(&advice(call(Way::Tap, Call::First)), &names()), "Tap 4: Choir left");
    assert_eq!(step_headline(&advice(LineStep::Swap { with: FIVE }), &names()), "Swap 4 and 5");
}
