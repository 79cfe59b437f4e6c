//! Findings in words: what it is, and what to do about it.

use super::numbers::{counted, dbfs, seconds, span, times};
use crate::detectors::{Evidence, Finding, FreakReason};

/// What was found, as a mark on a picture: a word, and a shape of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FaultKind {
    Clipped,
    FlatTop,
    NotHeard,
    SetAside,
    Spill,
    Invalid,
    Gap,
}

impl FaultKind {
    pub const fn of(evidence: &Evidence) -> Self {
        match evidence {
            Evidence::Clipped { .. } => Self::Clipped,
            Evidence::FlatTop { .. } => Self::FlatTop,
            Evidence::NotHeard { .. } => Self::NotHeard,
            Evidence::Freak { .. } => Self::SetAside,
            Evidence::Spill { .. } => Self::Spill,
            Evidence::Invalid { .. } => Self::Invalid,
            Evidence::Gap { .. } => Self::Gap,
        }
    }

    pub const fn word(self) -> &'static str {
        match self {
            Self::Clipped => "clipped",
            Self::FlatTop => "flat top",
            Self::NotHeard => "not heard",
            Self::SetAside => "set aside",
            Self::Spill => "spill",
            Self::Invalid => "no number",
            Self::Gap => "gap",
        }
    }
}

/// What was found.
pub fn finding_words(finding: &Finding) -> String {
    match finding.evidence {
        Evidence::Clipped { runs, longest, .. } => {
            format!(
                "clipped: flat at full scale {}, longest {}",
                times(runs),
                counted(longest.into(), "sample", "samples")
            )
        }
        Evidence::FlatTop { places, level, overshoot, .. } => format!(
            "flat tops at {} in {}, cut by at least {}: overloaded before this meter",
            dbfs(level),
            counted(places.into(), "place", "places"),
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
            let late = lag.get() * 1000.0;
            let when = if late < 0.0 { "early" } else { "late" };
            format!("spill from channel {}, {} down, {:.0} ms {when}", from.number(), span(below), late.abs())
        }
        Evidence::Invalid { samples } => {
            let verb = if samples == 1 { "is no number" } else { "are no numbers" };
            format!("{} {verb}: read as silence", counted(samples, "sample", "samples"))
        }
        Evidence::Gap { frames } => {
            let verb = if frames == 1 { "was" } else { "were" };
            format!("gap: {} {verb} lost", counted(frames, "frame", "frames"))
        }
    }
}

/// What to do about it.
pub const fn finding_advice(evidence: &Evidence) -> &'static str {
    match evidence {
        Evidence::Clipped { .. } => "Next time DOWN 10 dB at the input; here, use another take",
        Evidence::FlatTop { .. } => "Turn DOWN at the source: pack, DI or instrument",
        Evidence::NotHeard { .. } => "Is it switched on, plugged in and played?",
        Evidence::Freak { .. } => "Nothing to do; it does not count",
        Evidence::Spill { .. } => "Nothing to turn; ask this channel’s own performer to play",
        Evidence::Invalid { .. } => "Copy the file again, or export it anew",
        Evidence::Gap { .. } => "Try another port or cable, close other programs, keep the laptop awake",
    }
}
