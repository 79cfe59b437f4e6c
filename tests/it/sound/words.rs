//! What is said of the level in the room, word for word; every cause, every refusal, every key.

use beforedoors::coach::ringout::Urgency;
use beforedoors::coach::sound::{
    Calibration, Cause, Exposure, Limits, Microphone, Refusal, SoundAction, SoundAdvice, Standard,
};
use beforedoors::units::{Db, Dbfs, FrameCount, Seconds, Spl};
use beforedoors::view::sound::{
    NO_METER, SOUND_KEYS, calibration_line, calibration_record, dose_record, exposure_lines, left_line, refusal_words,
    sound_headline, sound_lines, sound_record, sound_step, sound_step_record, worth,
};
use beforedoors::view::words::problem_and_fix;

use super::{after, close, meter};
use crate::support::signals::stepped_sine;

const CALIBRATION: Calibration = Calibration {
    full_scale: Spl::new(120.0),
    with: Standard::MeterOfClass2,
    microphone: Microphone::Ordinary,
    spread: Db::new(0.8),
};

/// 2, 0.5, 0.4 and 3 dB come to 3.66.
const WORTH: &str = "± 3.7 dB (class 2 meter 2 dB, reading it off 0.5 dB, wandering 0.4 dB, ordinary microphone 3 dB)";

fn advice(cause: Option<Cause>, level: f64, limit: f64) -> SoundAdvice {
    let (action, urgency) = match cause {
        None => (SoundAction::Nothing, Urgency::Later),
        Some(Cause::Instant | Cause::Minute) => (SoundAction::MainsDown { by: 3 }, Urgency::Now),
        Some(Cause::Quarter) => (SoundAction::MainsDown { by: 3 }, Urgency::Soon),
        Some(Cause::Note | Cause::Trend) => (SoundAction::Watch, Urgency::Later),
    };
    SoundAdvice { action, urgency, cause, level: Spl::new(level), limit: Spl::new(limit) }
}

#[test]
fn every_step_has_its_sentence_and_its_proof() {
    let said = |advice: SoundAdvice| {
        let next = sound_step(&advice, Some(&CALIBRATION));
        [sound_headline(&advice), next.sentence, next.then, next.proof]
    };
    let rows = [
        (
            advice(Some(Cause::Instant), 106.23, 105.0),
            "Mains DOWN 3 now",
            "Mains fader DOWN 3 now",
            "too loud at this moment",
            "now 106.2 dB(A), allowed 105.0 dB(A) · ± 3.7 dB",
        ),
        (
            advice(Some(Cause::Minute), 97.2, 96.0),
            "Mains DOWN 3 now",
            "Mains fader DOWN 3 now",
            "the last minute was too loud",
            "last minute 97.2 dB(A), allowed 96.0 dB(A) · ± 3.7 dB",
        ),
        (
            advice(Some(Cause::Quarter), 93.4, 93.0),
            "Mains DOWN 3 at the pause",
            "Mains fader DOWN 3, at the next pause",
            "the last 15 min were too loud, and it goes on",
            "15 min 93.4 dB(A), acted on from 93.0 dB(A) · ± 3.7 dB",
        ),
        (
            advice(Some(Cause::Note), 88.5, 88.0),
            "It is loud in the hall",
            "It is loud in the hall",
            "nothing to turn; keep an eye on it",
            "15 min 88.5 dB(A), noted from 88.0 dB(A) · ± 3.7 dB",
        ),
        (
            advice(Some(Cause::Trend), 91.0, 93.0),
            "It grows louder in the hall",
            "It grows louder in the hall",
            "on for 93.0 dB(A) over 15 min in 5 min; don’t let it grow",
            "15 min 91.0 dB(A), acted on from 93.0 dB(A) · ± 3.7 dB",
        ),
    ];
    for (advice, headline, sentence, then, proof) in rows {
        assert_eq!(said(advice), [headline, sentence, then, proof]);
        assert!(sentence.split_whitespace().count() <= 12);
    }
    let [_, sentence, then, proof] = said(advice(None, 0.0, 0.0));
    assert_eq!([sentence.as_str(), then.as_str()], ["The level is fine", "nothing to turn"]);
    assert_eq!(proof, format!("{WORTH}. {NO_METER}"));
}

/// Without a comparison no level is claimed, and what would help is said.
#[test]
fn relative_levels_say_so() {
    let next = sound_step(&advice(None, 0.0, 0.0), None);
    assert_eq!(next.sentence, "How loud it is can’t be told");
    assert_eq!(next.then, "compare it once with a real meter, or a calibrator");
    assert_eq!(worth(None), format!("Only relative: never compared with a real meter. {NO_METER}"));
    let lines = sound_lines(&after(8000, &stepped_sine(8000, 1000.0, &[(5.0, -20.0)])), None).join("\n");
    assert!(lines.contains("now −23.0 dB re full scale (A)") && !lines.contains("dB(A)"), "{lines}");
    for word in ["no sound-level meter", "class", "no legal measurement", "Local rules come first"] {
        assert!(NO_METER.contains(word));
    }
}

#[test]
fn levels_means_and_what_was_missed() {
    let tone = stepped_sine(8000, 1000.0, &[(60.0, -20.0)]);
    let mut meter = meter(8000);
    meter.push(FrameCount::ZERO, &tone, &mut |_| {});
    meter.push(FrameCount::new(240_000), &tone, &mut |_| {});
    assert_eq!(
        sound_lines(meter.readings(), Some(&CALIBRATION)),
        [
            "now 97.0 dB(A) · highest 97.0 dB(A)",
            "last minute 97.0 dB(A) · 15 min 97.0 dB(A) over 2:30 so far, 20 % missed",
            "a tenth of the time over 97.0 dB(A) · half over 97.0 dB(A) · nine tenths over 97.0 dB(A)",
            "highest peak 100.3 dB(C)",
            &format!("{WORTH}. {NO_METER}"),
        ]
    );
}

#[test]
fn doses_and_duties() {
    let mut exposure = Exposure::new(CALIBRATION);
    let limits = Limits::default();
    assert_eq!(exposure_lines(&exposure, &limits).len(), 3);
    (exposure.daily, exposure.peak) = (Spl::new(81.04), Spl::new(119.0));
    (exposure.heard, exposure.missing) = (Seconds::new(5400.0), 0.1);
    exposure.niosh.add(Spl::new(94.0), Seconds::new(1800.0));
    exposure.osha_conservation.add(Spl::new(90.0), Seconds::new(7200.0));
    assert_eq!(
        exposure_lines(&exposure, &limits),
        [
            "heard 1:30:00, 10 % missed; what came before and after counts too",
            "of a day’s dose: NIOSH 50 % · OSHA 25 % (hearing conservation), 0 % (permissible)",
            "over 8 h 81.0 dB(A) · highest peak 119.0 dB(C)",
            "the lower action value for staff is reached: offer hearing protection",
        ]
    );
    let left = |level: f64| left_line(&exposure, Spl::new(level));
    assert_eq!(left(94.0).as_deref(), Some("At 94.0 dB(A) a day’s dose by NIOSH is full in 30 min"));
    assert_eq!(left(85.0).as_deref(), Some("At 85.0 dB(A) a day’s dose by NIOSH is full in 4.0 h"));
    assert_eq!(left(60.0), None);
    for (daily, word, begins) in
        [(85.0, "upper", "the upper"), (87.0, "limit", "the limit"), (80.0, "lower", "the lower")]
    {
        exposure.daily = Spl::new(daily);
        assert!(exposure_lines(&exposure, &limits)[3].starts_with(begins));
        assert_eq!(dose_record(&exposure, &limits)["action_value"], word);
    }
    exposure.niosh.add(Spl::new(100.0), Seconds::new(900.0));
    assert_eq!(left_line(&exposure, Spl::new(94.0)).as_deref(), Some("A day’s dose by NIOSH is full"));
}

/// Each says what is wrong, then how to mend it.
#[test]
fn refusals() {
    let all = [
        (Refusal::TooShort { heard: Seconds::new(3.0) }, "too_short", "Heard 3.0 s of 5.0 s"),
        (Refusal::Clipped, "clipped", "The input is at its limit"),
        (Refusal::Hole, "hole", "Samples were lost meanwhile"),
        (Refusal::TooSoft { level: Dbfs::new(-80.0) }, "too_soft", "Only −80.0 dB re full scale arrives"),
        (Refusal::Unsteady { spread: Db::new(7.0) }, "unsteady", "The level wandered by 7 dB"),
        (Refusal::NoSuchLevel { typed: Spl::new(300.0) }, "no_such_level", "300.0 is no level of a hall"),
        (
            Refusal::Implausible { full_scale: Spl::new(190.0) },
            "implausible",
            "0 dBFS would be 190.0 dB in the room, which no microphone has",
        ),
        (Refusal::NoTone { share: 0.4 }, "no_tone", "Only 40 % of it is a tone near 1 kHz"),
        (Refusal::OtherTone { hertz: 250.2 }, "other_tone", "The tone is 250 Hz"),
        (Refusal::TwentyOff { by: Db::new(-20.0) }, "twenty_off", "That is 20 dB from the last time"),
    ];
    for (refusal, kind, problem) in all {
        let words = refusal_words(&refusal);
        let (said, fix) = problem_and_fix(&words);
        assert_eq!(said, problem);
        assert!(fix.is_some_and(|fix| fix.len() > 10), "{words}");
        let record = calibration_record(Err(&refusal));
        assert_eq!((record["kind"].as_str(), record["refused"].as_bool()), (Some(kind), Some(true)));
    }
}

#[test]
fn a_comparison_in_words() {
    assert_eq!(
        calibration_line(&CALIBRATION),
        format!("0 dBFS is 120.0 dB in the room, {WORTH}. Tape the input’s knob")
    );
    let record = calibration_record(Ok(&CALIBRATION));
    assert_eq!((record["plus_minus_db"].as_f64(), record["parts_db"]["standard"].as_f64()), (Some(3.662), Some(2.0)));
}

/// Every key of a record stands in the help, and none that is not there.
#[test]
fn the_help_names_every_key() {
    let readings = after(8000, &stepped_sine(8000, 1000.0, &[(2.0, -20.0)]));
    let step = sound_step(&advice(Some(Cause::Minute), 97.2, 96.0), Some(&CALIBRATION));
    let records = [
        sound_record(&readings, Some(&CALIBRATION)),
        sound_step_record(Seconds::new(1.0), &advice(Some(Cause::Minute), 97.2, 96.0), &step),
        dose_record(&Exposure::new(CALIBRATION), &Limits::default()),
        calibration_record(Ok(&CALIBRATION)),
        calibration_record(Err(&Refusal::Hole)),
    ];
    let named: Vec<&str> = SOUND_KEYS.split(|c: char| !c.is_alphanumeric() && c != '_').collect();
    for record in &records {
        for (key, value) in record.as_object().expect("an object") {
            assert!(named.contains(&key.as_str()), "{key}");
            let inner = value.as_object().into_iter().flatten().map(|(key, _)| key);
            inner.for_each(|key| assert!(named.contains(&key.as_str()), "{key}"));
        }
    }
    let all: String = records.iter().map(ToString::to_string).collect();
    for key in named.iter().filter(|word| word.contains('_') && !["sound_step", "no_tone"].contains(word)) {
        assert!(all.contains(&format!("\"{key}\"")), "{key} is in no record");
    }
    assert_eq!(records[0]["scale"], "spl");
    close(records[0]["laf_db"].as_f64().expect("a level"), 96.99, 0.01);
    assert_eq!((records[1]["urgency"].as_str(), records[1]["cause"].as_str()), (Some("now"), Some("minute")));
    let relative = sound_record(&after(8000, &[0.0; 8000]), None);
    assert_eq!((&relative["laf_db"], &relative["plus_minus_db"]), (&serde_json::Value::Null, &serde_json::Value::Null));
}
