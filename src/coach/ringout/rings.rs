//! What the rings of a frame mean to the procedure: which is the loudest, is it alive, is it fast, is it shared.
//!
//! Levels in dBFS, growth in dB/s. Edge cases: no rings; rings with a growth or level that is no number are never alive.

use super::cuts::same_tone;
use crate::detectors::{Certainty, Ring};
use crate::units::Dbfs;

/// "Down now" from here on.
const FAST: f64 = 6.0;
const LOUD: Dbfs = Dbfs::new(-20.0);
/// A ring whose fader came down dies faster than this, dB/s.
const DYING: f64 = -1.0;
/// A tone that neither grows nor dies, for so many seconds.
const STEADY: f64 = -0.5;
const STANDS: f64 = 2.0;

/// Growing or standing.
pub fn alive(ring: &Ring) -> bool {
    ring.end.is_none() && ring.growth > DYING
}

pub fn is_fast(ring: &Ring) -> bool {
    ring.growth > FAST || is_loud(ring)
}

pub fn is_loud(ring: &Ring) -> bool {
    ring.level > LOUD
}

/// Possible, and it does not die away by itself.
pub fn settled(ring: &Ring) -> bool {
    let possible = ring.certainty == Certainty::Possible && ring.end.is_none();
    possible && ring.growth > STEADY && ring.signs.stood.get() >= STANDS
}

/// The loudest of those.
pub fn loudest(rings: &[Ring], of: impl Fn(&Ring) -> bool) -> Option<Ring> {
    let of_these = rings.iter().filter(|ring| of(ring));
    of_these.copied().reduce(|best, ring| if ring.level > best.level { ring } else { best })
}

/// Whether another microphone hears the same ring.
pub fn shares(ring: &Ring, rings: &[Ring]) -> bool {
    rings
        .iter()
        .any(|other| other.channel != ring.channel && other.end.is_none() && same_tone(other.frequency, ring.frequency))
}

#[cfg(test)]
pub mod tests {
    use super::*;
    use crate::detectors::Signs;
    use crate::units::{ChannelId, Hertz, Seconds};

    /// A ring that grows calmly.
    pub fn heard(hz: f64) -> Ring {
        Ring {
            id: 0,
            channel: ChannelId::new(0),
            certainty: Certainty::Ringing,
            frequency: Hertz::new(hz),
            level: Dbfs::new(-40.0),
            growth: 6.0,
            excess: None,
            clips_in: None,
            start: Seconds::ZERO,
            reported: Seconds::ZERO,
            end: None,
            signs: Signs::default(),
        }
    }
}
