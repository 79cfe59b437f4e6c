//! Findings in words: what it is, and what to do about it.

use super::numbers::{dbfs, seconds, span};
use crate::detectors::{Evidence, Finding, FreakReason};

/// What was found.
pub fn finding_words(finding: &Finding) -> String {
    match finding.evidence {
        Evidence::Clipped { runs, longest, .. } => {
            format!("clipped: flat at full scale {} times, longest {longest} samples", runs)
        }
        Evidence::FlatTop { places, level, overshoot, .. } => format!(
            "flat tops at {} in {places} places, cut by at least {}: overloaded before this meter",
            dbfs(level),
            span(overshoot)
        ),
        Evidence::NotHeard { quiet, .. } => format!("only the room for {}", seconds(quiet)),
        Evidence::Freak { peak, above_the_rest, reason } => match reason {
            FreakReason::FarAbove => {
                format!("one burst of {}, {} over the rest: set aside", dbfs(peak), span(above_the_rest))
            }
            FreakReason::Thump => format!("one thump of {}: set aside", dbfs(peak)),
        },
        Evidence::Spill { from, lag, below } => {
            format!("spill from channel {}, {} down, {:.0} ms late", from.number(), span(below), lag.get() * 1000.0)
        }
        Evidence::Invalid { samples } => format!("{samples} samples are no numbers: read as silence"),
        Evidence::Gap { frames } => format!("gap: {frames} frames were lost"),
    }
}

/// What to do about it.
pub const fn finding_advice(evidence: &Evidence) -> &'static str {
    match evidence {
        Evidence::Clipped { .. } => "Turn the input down 10 dB next time; use another take of this passage",
        Evidence::FlatTop { .. } => "Turn down at the source (pack, DI, instrument); this meter’s knob can’t mend it",
        Evidence::NotHeard { .. } => "Check that it is switched on, plugged in and played",
        Evidence::Freak { .. } => "Nothing to do; it does not count",
        Evidence::Spill { .. } => "Nothing to turn; ask this channel’s own performer to play",
        Evidence::Invalid { .. } => "Copy the file again, or export it anew",
        Evidence::Gap { .. } => "Try another port or cable, close other programs, keep the laptop awake",
    }
}
