//! A second loudspeaker's delay in words: whose turn it is, what was found.
//!
//! Times in milliseconds. The lines and records of what was found are those of recordings (`sweeps`).

use serde_json::{Value, json};

use super::quiet::{between_record, quiet_record, quiet_step};
use super::safe_sweep::{no_sweep, no_sweep_kind};
use super::sentence::{Arrow, NextStep, Reply};
use crate::engine::quiet::{Alone, NoSweep, Opened, QuietStep, QuietWish};
use crate::engine::second::RoundStep;
use crate::units::Seconds;

/// Why a microphone tells nothing, and what to do; the reference counts behind the microphones.
pub fn no_delay(why: NoSweep, wish: &QuietWish) -> String {
    let who = |at: usize| match wish.channels.get(at) {
        Some(channel) => format!("Channel {}", channel.number()),
        None => "The reference".into(),
    };
    no_sweep(why, Opened::AtReturn, &who)
}

/// The next step.
pub fn second_step(step: &RoundStep, alone: Alone, wish: &QuietWish) -> NextStep {
    let asked = |sentence: &str, then: String, reply| NextStep {
        arrow: Arrow::None,
        sentence: sentence.into(),
        then,
        proof: String::new(),
        reply,
    };
    let stays = "the microphone stays where it is for both";
    match step {
        RoundStep::Prepare => match alone {
            Alone::Mains => asked("Only the mains on: is the second loudspeaker off?", stays.into(), Reply::YesNo),
            Alone::Second => {
                asked("Now only the second loudspeaker on: are the mains off?", stays.into(), Reply::YesNo)
            }
        },
        RoundStep::Sweep(step) => {
            let mut next = quiet_step(step, wish);
            match step {
                QuietStep::Tap { .. } => {
                    next.sentence = "Tap the measuring microphone: do the loudspeakers stay silent?".into();
                }
                QuietStep::Done => next.then = stays.into(),
                _ => {}
            }
            next
        }
        RoundStep::Again(why) => {
            let told = no_delay(*why, wish);
            let (what, mend) = told.split_once(". ").unwrap_or((told.as_str(), ""));
            asked(what, format!("{mend}. Yes: once more, no: leave it"), Reply::YesNo)
        }
        RoundStep::Done => {
            asked("Both were asked for", "microphones and plugs back, faders down first".into(), Reply::Over)
        }
    }
}

/// A step as a record.
pub fn second_step_record(at: Seconds, step: &RoundStep, alone: Alone, wish: &QuietWish) -> Value {
    let next = second_step(step, alone, wish);
    let named = |word| between_record(at, word, &next);
    let mut record = match step {
        RoundStep::Prepare => named("switch"),
        RoundStep::Sweep(step) => quiet_record(at, step, &next),
        RoundStep::Again(why) => {
            let mut record = named("again");
            record["kind"] = no_sweep_kind(*why).into();
            record
        }
        RoundStep::Done => named("both_done"),
    };
    record["alone"] = if alone == Alone::Mains { "mains" } else { "second" }.into();
    record
}

/// A microphone that tells nothing.
pub fn no_delay_record(channel: usize, why: NoSweep, reason: &str) -> Value {
    json!({ "type": "delay", "channel": channel, "refused": true, "kind": no_sweep_kind(why), "reason": reason })
}
