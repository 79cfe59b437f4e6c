//! Two sweeps held against each other: does the room stand still?
//!
//! In: two loop gains of the same place. Out: the greatest difference in dB at the five highest peaks of either. One decibel
//! there is what two sweeps of a still room keep within (practice). Gains of other rates or bands are compared
//! where both are known; nothing in common gives no agreement.

use crate::measure::margin::LoopGain;
use crate::units::{Db, Hertz};

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// Greatest difference at a peak.
    pub worst: Db,
    pub at: Hertz,
}

/// Two sweeps of a still room agree within this at their peaks.
const STILL: f64 = 1.0;

impl Agreement {
    /// Whether neither a door nor a person has moved.
    pub fn holds(&self) -> bool {
        self.worst.get() <= STILL
    }
}

/// `None` if there is no peak that both know.
pub fn agreement(first: &LoopGain, second: &LoopGain) -> Option<Agreement> {
    let peaks = [first, second].map(|gain| gain.margin().peaks);
    let difference = |frequency: Hertz| Some((first.at(frequency)? - second.at(frequency)?).abs());
    let found =
        peaks.iter().flatten().filter_map(|peak| difference(peak.frequency).map(|worst| (worst, peak.frequency)));
    let (worst, at) = found.max_by(|a, b| a.0.get().total_cmp(&b.0.get()))?;
    Some(Agreement { worst, at })
}
