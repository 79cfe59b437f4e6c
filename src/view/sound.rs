//! How loud it is in the room, in words and as records: levels with what they are worth, doses, what to turn, refusals.
//!
//! Levels in dB(A) and peaks in dB(C) re 20 µPa once they were compared with a real meter, each time with ± and its
//! parts; else in dB re full scale, and said to be only relative. Sound that was missed is told. Never blames.

use serde_json::{Value, json};

use super::hall::urgency_word;
use super::numbers::{clock, length, level as relative, span, spl, thousandths};
use super::sentence::{Arrow, NextStep, Reply};
use super::words::problem_and_fix;
use crate::coach::sound::{
    ActionValue, Calibration, Cause, Exposure, Limits, Microphone, Refusal, SoundAction, SoundAdvice, Standard,
};
use crate::meters::{BandLevels, Leq, Percentiles, SoundReadings};
use crate::units::{Db, Dbfs, Seconds, Spl};

/// Stands beside every level.
pub const NO_METER: &str =
    "This is no sound-level meter of any class and no legal measurement. Local rules come first.";

pub const SOUND_KEYS: &str = "\
One JSON object a line, each with a `type`:

sound, every second: time_s, scale (spl: dB re 20 uPa; relative: dB re full scale, compared with nothing), \
plus_minus_db, laf_db, las_db, lcf_db, lzf_db, laf_max_db, lc_peak_db, lc_peak_max_db, laeq_1s_db, laeq_1min_db, \
laeq_15min_db, laeq_db (all of it), l10_db, l50_db, l90_db, heard_s and missing (share, 0 to 1) of all, heard_15min_s, \
missing_15min, octaves_db (31.5 Hz to 16 kHz), thirds_db (25 Hz to 20 kHz; null: the rate is too low), invalid_samples

sound_step, whenever what is asked for changes: time_s, urgency (now, soon, later; null: nothing is), step, then, proof, \
cause (instant, minute, quarter, note, trend), level_db, limit_db

dose: heard_s, missing, niosh_percent, niosh_average_dba, osha_conservation_percent, osha_permissible_percent, \
osha_average_dba, lex_8h_dba, peak_dbc, action_value (lower, upper, limit; null: none)

calibration: full_scale_db, compared_with, microphone, spread_db, plus_minus_db, parts_db (standard, rounding, spread, \
microphone); or refused (true) with kind, reason and fix

No sound-level meter of any class, no legal measurement; local rules come first. Silence, and what is not known, is null.";

/// "± 3.7 dB (class 2 meter 2 dB, reading it off 0.5 dB, wandering 0.4 dB, ordinary microphone 3 dB)".
pub fn plus_minus(calibration: &Calibration) -> String {
    let parts = calibration.uncertainty();
    let mut named = vec![(calibration.with.word(), parts.standard), ("reading it off", parts.rounding)];
    named.push(("wandering", parts.spread));
    named.push((microphone(calibration.microphone), parts.microphone));
    let told: Vec<String> = named
        .into_iter()
        .filter(|(_, part)| part.get() >= 0.05)
        .map(|(name, part)| format!("{name} {}", span(part)))
        .collect();
    format!("{} ({})", short_plus_minus(calibration), told.join(", "))
}

fn short_plus_minus(calibration: &Calibration) -> String {
    format!("± {}", span(calibration.uncertainty().total()))
}

const fn microphone(microphone: Microphone) -> &'static str {
    match microphone {
        Microphone::Measuring => "measuring microphone",
        Microphone::Ordinary => "ordinary microphone",
    }
}

/// What the levels are worth: one line beside them.
pub fn worth(calibration: Option<&Calibration>) -> String {
    match calibration {
        Some(calibration) => format!("{}. {NO_METER}", plus_minus(calibration)),
        None => format!("Only relative: never compared with a real meter. {NO_METER}"),
    }
}

/// "91.2 dB(A)", or "−31.0 dB re full scale (A)".
fn a_weighted(reading: Dbfs, calibration: Option<&Calibration>) -> String {
    calibration.map_or_else(
        || format!("{} dB re full scale (A)", relative(reading)),
        |calibration| dba(calibration.level(reading)),
    )
}

fn dba(level: Spl) -> String {
    format!("{} dB(A)", spl(level))
}

/// Now, the means, the highest, and what was missed.
pub fn sound_lines(readings: &SoundReadings, calibration: Option<&Calibration>) -> Vec<String> {
    let told = |reading| a_weighted(reading, calibration);
    let mean = |name: &str, leq: &Leq, whole: f64| {
        let so_far = if leq.span.get() < whole { format!(" over {} so far", length(leq.span)) } else { String::new() };
        let missed =
            if leq.missing() >= 0.005 { format!(", {:.0} % missed", 100.0 * leq.missing()) } else { String::new() };
        format!("{name} {}{so_far}{missed}", told(leq.level))
    };
    let mut lines = vec![
        format!("now {} · highest {}", told(readings.laf), told(readings.laf_max)),
        format!("{} · {}", mean("last minute", &readings.minute, 60.0), mean("15 min", &readings.quarter, 900.0)),
    ];
    if let Some(Percentiles { l10, l50, l90 }) = readings.percentiles {
        let [l10, l50, l90] = [l10, l50, l90].map(told);
        lines.push(format!("a tenth of the time over {l10} · half over {l50} · nine tenths over {l90}"));
    }
    lines.push(match calibration {
        Some(calibration) => format!("highest peak {} dB(C)", spl(calibration.level(readings.lc_peak_max))),
        None => format!("highest peak {} dB re full scale (C)", relative(readings.lc_peak_max)),
    });
    lines.push(worth(calibration));
    lines
}

/// What is asked for, in the words of the show.
pub fn sound_step(advice: &SoundAdvice, calibration: Option<&Calibration>) -> NextStep {
    let Some(calibration) = calibration else {
        return NextStep {
            arrow: Arrow::None,
            sentence: "How loud it is can’t be told".into(),
            then: "compare it once with a real meter, or a calibrator".into(),
            proof: worth(None),
            reply: Reply::Wait,
        };
    };
    let (arrow, reply) = match advice.action {
        SoundAction::MainsDown { .. } => (Arrow::Down, Reply::Done),
        SoundAction::Nothing | SoundAction::Watch => (Arrow::None, Reply::Wait),
    };
    let limit = dba(advice.limit);
    let then = match advice.cause {
        None => "nothing to turn".into(),
        Some(Cause::Instant) => "too loud at this moment".into(),
        Some(Cause::Minute) => "the last minute was too loud".into(),
        Some(Cause::Quarter) => "the last 15 min were too loud, and it goes on".into(),
        Some(Cause::Note) => "nothing to turn; keep an eye on it".into(),
        Some(Cause::Trend) => format!("on for {limit} over 15 min in 5 min; don’t let it grow"),
    };
    let stands = |name: &str, held: &str| {
        format!("{name} {}, {held} {limit} · {}", dba(advice.level), short_plus_minus(calibration))
    };
    let proof = match advice.cause {
        None => worth(Some(calibration)),
        Some(Cause::Instant) => stands("now", "allowed"),
        Some(Cause::Minute) => stands("last minute", "allowed"),
        Some(Cause::Quarter | Cause::Trend) => stands("15 min", "acted on from"),
        Some(Cause::Note) => stands("15 min", "noted from"),
    };
    NextStep { arrow, sentence: sentence(advice), then, proof, reply }
}

fn sentence(advice: &SoundAdvice) -> String {
    match (advice.action, advice.cause) {
        (SoundAction::MainsDown { by }, Some(Cause::Quarter)) => format!("Mains fader DOWN {by}, at the next pause"),
        (SoundAction::MainsDown { by }, _) => format!("Mains fader DOWN {by} now"),
        (SoundAction::Watch, Some(Cause::Trend)) => "It grows louder in the hall".into(),
        (SoundAction::Watch, _) => "It is loud in the hall".into(),
        (SoundAction::Nothing, _) => "The level is fine".into(),
    }
}

/// The same, for the large line.
pub fn sound_headline(advice: &SoundAdvice) -> String {
    match (advice.action, advice.cause) {
        (SoundAction::MainsDown { by }, Some(Cause::Quarter)) => format!("Mains DOWN {by} at the pause"),
        (SoundAction::MainsDown { by }, _) => format!("Mains DOWN {by} now"),
        _ => sentence(advice),
    }
}

/// Doses and the level of the day, for staff and students.
pub fn exposure_lines(exposure: &Exposure, limits: &Limits) -> Vec<String> {
    let missed =
        if exposure.missing >= 0.005 { format!(", {:.0} % missed", 100.0 * exposure.missing) } else { String::new() };
    let mut lines = vec![
        format!("heard {}{missed}; what came before and after counts too", clock(exposure.heard)),
        format!(
            "of a day’s dose: NIOSH {:.0} % · OSHA {:.0} % (hearing conservation), {:.0} % (permissible)",
            exposure.niosh.percent(),
            exposure.osha_conservation.percent(),
            exposure.osha_permissible.percent()
        ),
        format!("over 8 h {} · highest peak {} dB(C)", dba(exposure.daily), spl(exposure.peak)),
    ];
    lines.extend(duty(exposure, limits).map(|(_, words)| words.to_owned()));
    lines
}

/// The action value that was reached, and what it asks for.
fn duty(exposure: &Exposure, limits: &Limits) -> Option<(&'static str, &'static str)> {
    let reached: ActionValue = limits.duty.reached(exposure.daily, exposure.peak)?;
    Some(if reached == limits.duty.limit {
        ("limit", "the limit for staff is passed: stop, and find out why")
    } else if reached == limits.duty.upper {
        ("upper", "the upper action value for staff is reached: hearing protection on")
    } else {
        ("lower", "the lower action value for staff is reached: offer hearing protection")
    })
}

/// "At 94.0 dB(A) a day’s dose by NIOSH is full in 38 min".
pub fn left_line(exposure: &Exposure, level: Spl) -> Option<String> {
    let left = exposure.niosh.left(level)?;
    let minutes = left.get() / 60.0;
    Some(if minutes < 1.0 {
        "A day’s dose by NIOSH is full".into()
    } else if minutes < 90.0 {
        format!("At {} a day’s dose by NIOSH is full in {minutes:.0} min", dba(level))
    } else {
        format!("At {} a day’s dose by NIOSH is full in {:.1} h", dba(level), minutes / 60.0)
    })
}

/// "0 dBFS is 118.4 dB in the room, ± …".
pub fn calibration_line(calibration: &Calibration) -> String {
    format!(
        "0 dBFS is {} dB in the room, {}. Tape the input’s knob",
        spl(calibration.full_scale),
        plus_minus(calibration)
    )
}

/// What is wrong. How to mend it.
pub fn refusal_words(refusal: &Refusal) -> String {
    match *refusal {
        Refusal::TooShort { heard } => {
            format!("Heard {} of 5.0 s. Let it sound on", length(heard))
        }
        Refusal::Clipped => "The input is at its limit. Turn its gain down and begin again".into(),
        Refusal::Hole => "Samples were lost meanwhile. Begin again".into(),
        Refusal::TooSoft { level } => format!(
            "Only {} dB re full scale arrives. Check the microphone, or turn the input’s gain up",
            relative(level)
        ),
        Refusal::Unsteady { spread } => {
            format!(
                "The level wandered by {}. Hold it steady: one chord, noise, or a calibrator that sits tight",
                span(spread)
            )
        }
        Refusal::NoSuchLevel { typed } => {
            format!("{} is no level of a hall. Type what the meter shows, 30 to 130", spl(typed))
        }
        Refusal::Implausible { full_scale } => format!(
            "0 dBFS would be {} dB in the room, which no microphone has. Check what was typed, and which input is heard",
            spl(full_scale)
        ),
        Refusal::NoTone { share } => {
            format!(
                "Only {:.0} % of it is a tone near 1 kHz. Seat the calibrator on the microphone, switch it on",
                100.0 * share
            )
        }
        Refusal::OtherTone { hertz } => format!("The tone is {hertz:.0} Hz. A calibrator of 1 kHz is needed"),
        Refusal::TwentyOff { by } => {
            format!("That is {} from the last time. Look at the calibrator’s switch: 94 or 114 dB", span(by))
        }
    }
}

const fn refusal_kind(refusal: &Refusal) -> &'static str {
    match refusal {
        Refusal::TooShort { .. } => "too_short",
        Refusal::Clipped => "clipped",
        Refusal::Hole => "hole",
        Refusal::TooSoft { .. } => "too_soft",
        Refusal::Unsteady { .. } => "unsteady",
        Refusal::NoSuchLevel { .. } => "no_such_level",
        Refusal::Implausible { .. } => "implausible",
        Refusal::NoTone { .. } => "no_tone",
        Refusal::OtherTone { .. } => "other_tone",
        Refusal::TwentyOff { .. } => "twenty_off",
    }
}

/// What is heard now.
pub fn sound_record(readings: &SoundReadings, calibration: Option<&Calibration>) -> Value {
    let level = |reading: Dbfs| thousandths(calibration.map_or(reading.get(), |it| it.level(reading).get()));
    let Percentiles { l10, l50, l90 } = readings.percentiles.unwrap_or(NOTHING);
    let BandLevels { octaves, thirds } = &readings.bands;
    let bands =
        |levels: &[Option<Dbfs>]| -> Vec<Value> { levels.iter().map(|it| it.map_or(Value::Null, level)).collect() };
    json!({
        "type": "sound", "time_s": thousandths(readings.time().get()),
        "scale": if calibration.is_some() { "spl" } else { "relative" },
        "plus_minus_db": calibration.map_or(Value::Null, |it| thousandths(it.uncertainty().total().get())),
        "laf_db": level(readings.laf), "las_db": level(readings.las), "lcf_db": level(readings.lcf),
        "lzf_db": level(readings.lzf), "laf_max_db": level(readings.laf_max),
        "lc_peak_db": level(readings.lc_peak), "lc_peak_max_db": level(readings.lc_peak_max),
        "laeq_1s_db": level(readings.second.level), "laeq_1min_db": level(readings.minute.level),
        "laeq_15min_db": level(readings.quarter.level), "laeq_db": level(readings.whole.level),
        "l10_db": level(l10), "l50_db": level(l50), "l90_db": level(l90),
        "heard_s": thousandths(readings.whole.heard.get()), "missing": thousandths(readings.whole.missing()),
        "heard_15min_s": thousandths(readings.quarter.heard.get()),
        "missing_15min": thousandths(readings.quarter.missing()),
        "octaves_db": bands(octaves), "thirds_db": bands(thirds), "invalid_samples": readings.invalid_samples,
    })
}

const NOTHING: Percentiles = Percentiles { l10: Dbfs::SILENCE, l50: Dbfs::SILENCE, l90: Dbfs::SILENCE };

pub fn sound_step_record(at: Seconds, advice: &SoundAdvice, next: &NextStep) -> Value {
    let plain = |text: &str| text.replace('−', "-");
    let cause = advice.cause.map(|cause| match cause {
        Cause::Instant => "instant",
        Cause::Minute => "minute",
        Cause::Quarter => "quarter",
        Cause::Note => "note",
        Cause::Trend => "trend",
    });
    json!({
        "type": "sound_step", "time_s": thousandths(at.get()), "urgency": cause.map(|_| urgency_word(advice.urgency)),
        "step": plain(&next.sentence), "then": plain(&next.then), "proof": plain(&next.proof), "cause": cause,
        "level_db": thousandths(advice.level.get()), "limit_db": thousandths(advice.limit.get()),
    })
}

pub fn dose_record(exposure: &Exposure, limits: &Limits) -> Value {
    json!({
        "type": "dose", "heard_s": thousandths(exposure.heard.get()), "missing": thousandths(exposure.missing),
        "niosh_percent": thousandths(exposure.niosh.percent()),
        "niosh_average_dba": thousandths(exposure.niosh.average().get()),
        "osha_conservation_percent": thousandths(exposure.osha_conservation.percent()),
        "osha_permissible_percent": thousandths(exposure.osha_permissible.percent()),
        "osha_average_dba": thousandths(exposure.osha_conservation.average().get()),
        "lex_8h_dba": thousandths(exposure.daily.get()), "peak_dbc": thousandths(exposure.peak.get()),
        "action_value": duty(exposure, limits).map(|(word, _)| word),
    })
}

pub fn calibration_record(result: Result<&Calibration, &Refusal>) -> Value {
    match result {
        Ok(calibration) => {
            let Calibration { full_scale, with, microphone, spread } = calibration;
            let parts = calibration.uncertainty();
            let decibels = |db: Db| thousandths(db.get());
            json!({
                "type": "calibration", "full_scale_db": thousandths(full_scale.get()),
                "compared_with": Standard::word(*with), "microphone": microphone.word(), "spread_db": decibels(*spread),
                "plus_minus_db": decibels(parts.total()),
                "parts_db": {
                    "standard": decibels(parts.standard), "rounding": decibels(parts.rounding),
                    "spread": decibels(parts.spread), "microphone": decibels(parts.microphone),
                },
            })
        }
        Err(refusal) => {
            let words = refusal_words(refusal).replace('−', "-");
            let (reason, fix) = problem_and_fix(&words);
            json!({
                "type": "calibration", "refused": true, "kind": refusal_kind(refusal), "reason": reason, "fix": fix,
            })
        }
    }
}
