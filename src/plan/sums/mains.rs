//! Current on a circuit: what is plugged in against what its breaker carries all evening.
//!
//! I = Σ P / (V · pf); at most 80 % of the breaker for hours (common code practice; the local code decides). Watts,
//! volts, amperes. Amplifiers take an eighth to a third of their rated power on music. Edge cases: a circuit whose
//! breaker nobody knows is not judged.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::{Amperes, Volts, Watts};

/// Of the breaker, for hours.
pub const CONTINUOUS: f64 = 0.8;
/// Of switch-mode supplies and transformers, where nobody knows it.
pub const POWER_FACTOR: f64 = 0.9;

/// The most power that a circuit carries for hours.
pub fn most_power(volts: Volts, breaker: Amperes) -> Watts {
    Watts::new(volts.get() * breaker.get() * CONTINUOUS)
}

pub fn current(total: Watts, volts: Volts, power_factor: f64, breaker: Amperes) -> Worked {
    Worked::new(
        Sum::Current,
        &[
            (Q::TotalPower, total.get()),
            (Q::Voltage, volts.get()),
            (Q::PowerFactor, power_factor),
            (Q::Breaker, breaker.get()),
        ],
        (Q::Current, total.get() / (volts.get() * power_factor)),
        &[Assumption::AverageThirdOfRated, Assumption::NoOtherLoad],
    )
}
