//! Rings in words and as records: what it is, how sure, and the one thing to do.
//!
//! One JSON object a line for each time that a ring was said, of `type` `ring`; a ring that became surer has two.

use serde_json::{Value, json};

use super::numbers::{self, seconds};
use crate::detectors::{Certainty, Ring};
use crate::engine::ring_recording::SaidRing;
use crate::units::Hertz;

/// The keys of a ring's lines, for a help text.
pub const RING_KEYS: &str = "\
One JSON object a line, each with a `type`:

ring: file, channel (from 1), certainty (possible: to be tested; ringing: to be acted on), start_s (first seen), \
reported_s (when this was first said, by the sound up to then), end_s, frequency_hz (the last estimate before the \
ring met a limit), first_frequency_hz (the estimate when it was said), growth_db_per_s, excess_db (how far the loop \
is over its limit; right within a factor of three), level_dbfs, advice. A ring that became surer has a second line.

warning, error: file, message, fix

Times in seconds from the start, numbers rounded to 0.001. What is not known is null.";

/// "2.44 kHz", "387 Hz".
pub fn pitch(frequency: Hertz) -> String {
    let hz = frequency.get();
    if hz >= 1000.0 { format!("{:.2} kHz", hz / 1000.0) } else { format!("{hz:.0} Hz") }
}

/// What to do about it, where the moment has passed: a recording.
pub fn ring_advice(ring: &Ring) -> String {
    let (pitch, channel) = (pitch(ring.frequency), ring.channel.number());
    match ring.certainty {
        Certainty::Possible => format!("Possible ring at {pitch}: drop channel {channel} by 3 dB to test"),
        Certainty::Ringing => format!("Ring at {pitch}: channel {channel} fader DOWN 3 dB, then cut {pitch} by 3 dB"),
    }
}

/// What was heard of it.
pub fn ring_words(ring: &Ring) -> String {
    let sure = match ring.certainty {
        Certainty::Possible => "possible ring",
        Certainty::Ringing => "ringing",
    };
    let growth = format!("grew {:.0} dB a second", ring.growth.max(0.0));
    let stood = ring.end.map_or(String::new(), |end| format!(", stood {}", seconds(end - ring.start)));
    format!("{sure} at {}, {growth}{stood}", pitch(ring.frequency))
}

/// One time that a ring was said in `file`.
pub fn ring_record(file: &str, said: &SaidRing) -> Value {
    let ring = &said.ring;
    let certainty = match ring.certainty {
        Certainty::Possible => "possible",
        Certainty::Ringing => "ringing",
    };
    json!({
        "type": "ring", "file": file, "channel": ring.channel.number(), "certainty": certainty,
        "start_s": numbers::thousandths(ring.start.get()), "reported_s": numbers::thousandths(ring.reported.get()),
        "end_s": ring.end.map_or(Value::Null, |end| numbers::thousandths(end.get())),
        "frequency_hz": numbers::thousandths(ring.frequency.get()),
        "first_frequency_hz": numbers::thousandths(said.first_frequency.get()),
        "growth_db_per_s": numbers::thousandths(ring.growth),
        "excess_db": ring.excess.map_or(Value::Null, |excess| numbers::thousandths(excess.get())),
        "level_dbfs": numbers::thousandths(ring.level.get()),
        "advice": ring_advice(ring).replace('−', "-"),
    })
}
