//! How long a level is safe: permitted times, dose, time-weighted average.
//!
//! NIOSH 98-126: T = 8 h / 2^((L − 85) / 3), TWA = 10 lg(D / 100) + 85. OSHA 29 CFR 1910.95, appendix A:
//! T = 8 h / 2^((L − 90) / 5), TWA = 16.61 lg(D / 100) + 90. D = 100 Σ C / T, in percent. Levels in dBA. Local law
//! comes first. Edge cases: no dose has a TWA of −∞.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::units::Spl;

/// How long a level at a seat is safe by NIOSH; dB taken as dBA.
pub fn safe_minutes(level: Spl) -> Worked {
    Worked::new(
        Sum::NioshTime,
        &[(Q::SoundLevel, level.get())],
        (Q::Exposure, 60.0 * NIOSH.hours(level.get())),
        &[Assumption::AtFullPower],
    )
}

/// A rule of exposure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    /// The level that is allowed for eight hours, dBA.
    pub criterion: f64,
    /// What halves the time, dB.
    pub exchange: f64,
}

pub const NIOSH: Rule = Rule { criterion: 85.0, exchange: 3.0 };
pub const OSHA: Rule = Rule { criterion: 90.0, exchange: 5.0 };

impl Rule {
    /// Permitted hours at a level.
    pub fn hours(self, level: f64) -> f64 {
        8.0 / 2f64.powf((level - self.criterion) / self.exchange)
    }

    /// Percent of the permitted dose, from levels and their hours.
    pub fn dose(self, parts: &[(f64, f64)]) -> f64 {
        100.0 * parts.iter().map(|&(level, hours)| hours / self.hours(level)).sum::<f64>()
    }

    /// The level whose eight hours give the same dose. OSHA prints 16.61 for 5 / lg 2.
    pub fn average(self, dose: f64) -> f64 {
        let slope = if self == OSHA { 16.61 } else { 10.0 };
        slope * (dose / 100.0).log10() + self.criterion
    }
}
