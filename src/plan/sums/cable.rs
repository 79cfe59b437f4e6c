//! Copper: its resistance, what a loudspeaker lead loses, what is left of the damping.
//!
//! R = 2 · ρ · length / area with ρ = 0.0175 Ω·mm²/m; wire gauges: d = 0.127 mm · 92^((36 − n) / 39) (ASTM B258) with
//! ρ = 1.7241e-8 Ω·m (annealed copper, 20 °C, IEC 60028). loss = 20 lg(Z / (Z + R));
//! damping = Z / (Zout + R). Edge cases: a load or area of 0 gives ∞ or NaN.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::{Area, Metres, Ohms};
use crate::units::Db;

/// Ω·mm²/m, a round figure for warm stranded copper.
const PRACTICAL: f64 = 0.0175;
/// Ω·m.
const ANNEALED: f64 = 1.7241e-8;

/// There and back.
pub fn loop_resistance(length: Metres, area: Area) -> Ohms {
    Ohms::new(2.0 * PRACTICAL * length.get() / area.get())
}

/// There and back, by the resistance of one conductor in Ω/km.
pub fn loop_of(length: Metres, ohms_a_kilometre: f64) -> Ohms {
    Ohms::new(2.0 * length.get() / 1000.0 * ohms_a_kilometre)
}

/// Cross-section of an American wire gauge.
pub fn gauge_area(gauge: f64) -> Area {
    let diameter = 0.127 * 92f64.powf((36.0 - gauge) / 39.0);
    Area::new(std::f64::consts::PI / 4.0 * diameter * diameter)
}

/// One solid conductor of that gauge at 20 °C, Ω/km.
pub fn gauge_ohms_a_kilometre(gauge: f64) -> f64 {
    ANNEALED / (gauge_area(gauge).get() * 1e-6) * 1000.0
}

/// What the lead takes, as a positive number.
pub fn loss(load: Ohms, loop_resistance: Ohms) -> Db {
    Db::from_ratio((load.get() + loop_resistance.get()) / load.get())
}

/// The longest lead of this cross-section that stays under a loss.
pub fn longest(load: Ohms, area: Area, most: Db) -> Metres {
    Metres::new(load.get() * (most.ratio() - 1.0) * area.get() / (2.0 * PRACTICAL))
}

/// How well the amplifier still holds the cone.
pub fn damping(load: Ohms, output: Ohms, loop_resistance: Ohms) -> f64 {
    load.get() / (output.get() + loop_resistance.get())
}

/// The same, to be shown.
pub fn speaker_lead(length: Metres, area: Area, load: Ohms) -> Worked {
    let resistance = loop_resistance(length, area);
    Worked::new(
        Sum::CableLoss,
        &[
            (Q::Length, length.get()),
            (Q::ConductorArea, area.get()),
            (Q::Load, load.get()),
            (Q::LoopResistance, resistance.get()),
        ],
        (Q::Loss, loss(load, resistance).get()),
        &[Assumption::CopperAt20, Assumption::NominalImpedance],
    )
}

pub fn damping_shown(length: Metres, area: Area, load: Ohms, output: Ohms) -> Worked {
    let resistance = loop_resistance(length, area);
    Worked::new(
        Sum::Damping,
        &[(Q::Load, load.get()), (Q::OutputImpedance, output.get()), (Q::LoopResistance, resistance.get())],
        (Q::DampingFactor, damping(load, output, resistance)),
        &[Assumption::CopperAt20, Assumption::NominalImpedance],
    )
}
