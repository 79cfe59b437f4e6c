//! What seats hear, in words and as records, and the steps from seat to seat.
//!
//! Levels in dB, times in seconds; numbers in records are rounded to 0.001, what is not known is null. Speech in words after
//! the rating of IEC 60268-16.

use serde_json::{Value, json};

use super::numbers::{self, span, thousandths};
use super::quiet::{between_record, quiet_record, quiet_step};
use super::ringout::frequency;
use super::safe_sweep::{no_sweep, no_sweep_kind};
use super::sentence::{Arrow, NextStep, Reply};
use super::sweeps::quality;
use crate::engine::quiet::{NoSweep, Opened, QuietStep, QuietWish};
use crate::engine::seat::{Rating, Seat};
use crate::engine::seats::{RoundStep, SeatFound};
use crate::units::{Db, Hertz, Seconds};

pub const SEAT_KEYS: &str = "\
One JSON object a line, each with a `type`:

seat: seat (its name), channel (from 1), t20_s, t30_s, edt_s, c50_db (means of 500 Hz and 1 kHz), \
direct_to_reverberant_db, sti (0 to 1, of room and loudspeakers alone), sti_in_noise (over the background, as measured \
in the pauses or by --over-noise), speech_over_background_db (125 Hz to 8 kHz, seven numbers), \
speech_over_background_overall_db (as the ear weighs it, A), by_ear (true: threshold and masking are in sti_in_noise), \
rating, words, fix, octaves (frequency_hz, t20_s, t30_s, edt_s, c50_db), drift_ppm, signal_to_noise_db; or refused (true) \
with kind and reason

sweep_step (measured now): time_s, step (put, again, seats_done, or what `margin` tells), seats (names), level_dbfs, \
sentence, then

What is not known is null.";

/// "Row 12: most words, not names".
pub fn seat_lines(who: &str, seat: &Seat) -> Vec<String> {
    let heard = seat.heard();
    let noise =
        seat.over.and_then(|over| over.whole).map_or_else(String::new, |over| format!(", {}", over_words(over)));
    let decay = seat.room.overall;
    let seconds = |what: &str, value: Option<Seconds>| {
        value.map_or_else(|| format!("{what} can’t be told"), |s| format!("{what} {:.2} s", s.get()))
    };
    let level = |what: &str, value: Option<Db>| {
        value.map_or_else(|| format!("{what} can’t be told"), |db| format!("{what} {}", numbers::change(db)))
    };
    let mut lines = vec![format!(
        "{who}: {} (speech transmission {:.2}, {}{noise})",
        words(heard.rating()),
        heard.sti,
        rating(heard.rating())
    )];
    lines.extend(fix(seat).map(|fix| format!("  → {fix}")));
    lines.extend(seat.over.map_or(Some(NO_PAUSE.to_owned()), |over| by_octave(&over.octaves)));
    let times = [seconds("T20", decay.t20), seconds("T30", decay.t30), seconds("early decay", decay.edt)];
    lines.push(format!("  {}", times.join(", ")));
    let direct = level("direct over reverberant", seat.room.direct_to_reverberant);
    lines.push(format!("  {}, {direct}", level("clarity of speech (C50)", decay.c50)));
    lines.push(quality(seat.signal_to_noise, seat.drift_ppm));
    lines
}

const NO_PAUSE: &str = "  the background is not known: it wants half a second of silence before the sweep";

/// "speech 12 dB over the background".
pub fn over_words(over: Db) -> String {
    let way = if over < Db::ZERO { "under" } else { "over" };
    format!("speech {} {way} the background", span(over))
}

/// Nothing where all octaves are alike or silent.
fn by_octave(octaves: &[Option<Db>; 7]) -> Option<String> {
    if octaves.iter().all(|octave| *octave == octaves[0]) {
        return None;
    }
    let each = octaves.iter().zip(0..).filter_map(|(over, doubled)| {
        let centre = Hertz::new(125.0 * f64::from(1 << doubled));
        Some(format!("{} {}", frequency(centre), numbers::change((*over)?)))
    });
    Some(format!("  over the background: {}", each.collect::<Vec<_>>().join(", ")))
}

/// Said once: what the levels are relative to.
pub fn talk_words(level: crate::units::Dbfs, by_ear: bool) -> String {
    let ear = if by_ear {
        "the ear’s threshold and masking count, by the comparison with a meter"
    } else {
        "no compared microphone: the ear’s threshold and masking are left out"
    };
    format!("Speech as it leaves the desk: {} RMS while somebody speaks (--speech); {ear}", numbers::dbfs(level))
}

/// What a teacher would say of it.
pub const fn words(rating: Rating) -> &'static str {
    match rating {
        Rating::Excellent => "every word",
        Rating::Good => "nearly every word, names too",
        Rating::Fair => "most words, not names",
        Rating::Poor => "some words, with effort",
        Rating::Bad => "hardly a word",
    }
}

const fn rating(rating: Rating) -> &'static str {
    match rating {
        Rating::Excellent => "excellent",
        Rating::Good => "good",
        Rating::Fair => "fair",
        Rating::Poor => "poor",
        Rating::Bad => "bad",
    }
}

/// Half a step of the rating that the background alone takes.
const BY_NOISE: f64 = 0.08;
/// Under it the hall is louder than the loudspeaker.
const CLEAR: Db = Db::new(0.0);

/// The change to make; none where it is good.
pub fn fix(seat: &Seat) -> Option<&'static str> {
    let heard = seat.heard();
    if heard.rating() >= Rating::Good {
        return None;
    }
    let clear = seat.room.overall.c50.is_some_and(|c50| c50 > CLEAR);
    let direct = seat.room.direct_to_reverberant.is_some_and(|ratio| ratio > CLEAR);
    Some(if seat.alone().sti - heard.sti > BY_NOISE {
        "Less background: close doors and windows, hush, stop fans; then a little louder"
    } else if !clear && !direct {
        "More direct sound: a loudspeaker closer to this seat, aimed at it, and the others no louder than needed"
    } else if !clear {
        "Less echo: turn down what plays towards bare walls, draw curtains; a full hall helps by itself"
    } else {
        "Speak slower and closer to the microphone; the loudspeaker nearer to this seat"
    })
}

/// `name`: of the seat, if it has one.
pub fn seat_record(name: Option<&str>, channel: usize, seat: &Seat) -> Value {
    let seconds = |value: Option<Seconds>| value.map(|s| thousandths(s.get()));
    let level = |value: Option<Db>| value.map(|db| thousandths(db.get()));
    let heard = seat.heard();
    let decay = seat.room.overall;
    let octaves: Vec<Value> = seat
        .room
        .octaves
        .iter()
        .map(|(centre, decay)| {
            json!({
                "frequency_hz": centre.get(), "t20_s": seconds(decay.t20), "t30_s": seconds(decay.t30),
                "edt_s": seconds(decay.edt), "c50_db": level(decay.c50),
            })
        })
        .collect();
    json!({
        "type": "seat", "seat": name, "channel": channel, "t20_s": seconds(decay.t20), "t30_s": seconds(decay.t30),
        "edt_s": seconds(decay.edt), "c50_db": level(decay.c50),
        "direct_to_reverberant_db": level(seat.room.direct_to_reverberant),
        "sti": thousandths(seat.alone().sti), "sti_in_noise": seat.over.map(|_| thousandths(heard.sti)),
        "speech_over_background_db": seat.over.map(|over| over.octaves.map(level)),
        "speech_over_background_overall_db": seat.over.and_then(|over| level(over.whole)), "by_ear": seat.by_ear,
        "rating": rating(heard.rating()), "words": words(heard.rating()), "fix": fix(seat),
        "octaves": octaves, "drift_ppm": thousandths(seat.drift_ppm),
        "signal_to_noise_db": thousandths(seat.signal_to_noise.get()),
    })
}

/// A seat that was not measured; `round`: the names of those that were measured with it.
pub fn no_seat_record(found: &SeatFound, why: NoSweep, round: &[String]) -> Value {
    json!({
        "type": "seat", "seat": found.seat.name, "channel": found.channel.number(), "refused": true,
        "kind": no_sweep_kind(why), "reason": no_seat(why, round),
    })
}

/// Why nothing was measured at a seat.
pub fn no_seat(why: NoSweep, round: &[String]) -> String {
    let who = |at: usize| round.get(at).cloned().unwrap_or_else(|| "The seat".into());
    no_sweep(why, Opened::AtReturn, &who)
}

/// The next step.
pub fn seat_step(step: &RoundStep, round: &[SeatFound]) -> NextStep {
    let names: Vec<String> = round.iter().map(|found| found.seat.name.clone()).collect();
    let asked = |sentence: String, then: String, reply| NextStep {
        arrow: Arrow::None,
        sentence,
        then,
        proof: String::new(),
        reply,
    };
    match step {
        RoundStep::Prepare => {
            let put = match round {
                [one] => format!("Put the microphone at {}", one.seat.name),
                many => {
                    let each = many.iter().map(|found| format!("{} at {}", found.channel.number(), found.seat.name));
                    format!("Put microphone {}", each.collect::<Vec<_>>().join(", "))
                }
            };
            asked(put, "at the ear height of who sits there; no goes on to the next seat".into(), Reply::YesNo)
        }
        RoundStep::Sweep(step) => {
            let mut next = quiet_step(step, &QuietWish::usual(Opened::AtReturn));
            match step {
                QuietStep::Tap { .. } => {
                    let which = if round.len() == 1 { "the" } else { "each" };
                    next.sentence = format!("Tap {which} measuring microphone: do the loudspeakers stay silent?");
                }
                // Another seat may follow.
                QuietStep::Done => next.then = "plugs and knobs stay as they are".into(),
                _ => {}
            }
            next
        }
        RoundStep::Again(why) => {
            let told = no_seat(*why, &names);
            let (what, mend) = told.split_once(". ").unwrap_or((told.as_str(), ""));
            asked(what.into(), format!("{mend}. Yes: once more, no: the next seat"), Reply::YesNo)
        }
        RoundStep::Done => asked(
            "Every seat was asked for".into(),
            "microphones and plugs back, faders down first".into(),
            Reply::Over,
        ),
    }
}

/// A step as a record.
pub fn seat_step_record(at: Seconds, step: &RoundStep, round: &[SeatFound]) -> Value {
    let next = seat_step(step, round);
    let named = |word| between_record(at, word, &next);
    let mut record = match step {
        RoundStep::Prepare => named("put"),
        RoundStep::Sweep(step) => quiet_record(at, step, &next),
        RoundStep::Again(why) => {
            let mut record = named("again");
            record["kind"] = no_sweep_kind(*why).into();
            record
        }
        RoundStep::Done => named("seats_done"),
    };
    record["seats"] = round.iter().map(|found| found.seat.name.as_str()).collect();
    record
}
