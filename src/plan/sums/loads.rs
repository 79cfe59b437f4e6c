//! Loudspeakers on an amplifier: parallel and series loads, power, constant-voltage lines.
//!
//! 1/Z = Σ 1/Zi in parallel, Z = Σ Zi in series; P = V² / Z; a line of voltage V carries Z = V² / P (Ohm's law;
//! 70.7 V and 100 V lines: EIA and IEC 60268-15 practice). Nominal impedances, ohms. Edge cases: nothing connected
//! is an infinite load; an impedance of 0 is a short.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::{Ohms, Volts, Watts};
use crate::units::Db;

pub fn parallel(loads: impl IntoIterator<Item = Ohms>) -> Ohms {
    // A fold from +0: the sum of nothing is −0, and the load would be −∞.
    Ohms::new(1.0 / loads.into_iter().fold(0.0, |sum, load| sum + 1.0 / load.get()))
}

pub fn series(loads: impl IntoIterator<Item = Ohms>) -> Ohms {
    Ohms::new(loads.into_iter().map(Ohms::get).sum())
}

pub fn power(volts: Volts, load: Ohms) -> Watts {
    Watts::new(volts.get().powi(2) / load.get())
}

/// The load that a tap of this power is on a constant-voltage line.
pub fn line_load(line: Volts, tap: Watts) -> Ohms {
    Ohms::new(line.get().powi(2) / tap.get())
}

/// What reaches the taps through the cable: the voltage divider's share, squared.
pub fn line_power(line: Volts, taps: Watts, loop_resistance: Ohms) -> Watts {
    let load = line_load(line, taps);
    let across = line.get() * load.get() / (load.get() + loop_resistance.get());
    power(Volts::new(across), load)
}

/// A loudspeaker's figure for 2.83 V at 1 m, told for 1 W: 2.83 V into 4 Ω are 2 W.
pub fn one_watt_figure(two_volts_eight: Db, load: Ohms) -> Db {
    two_volts_eight - Db::new(10.0 * (8.0 / load.get()).log10())
}

/// All loudspeakers on one output against the least that the amplifier bears.
pub fn on_amplifier(loads: &[Ohms], least: Ohms) -> Worked {
    let numbered = loads.iter().enumerate().map(|(index, load)| (Q::LoadOf(index as u8 + 1), load.get()));
    let given: Vec<_> = numbered.chain([(Q::LeastLoad, least.get())]).collect();
    Worked::new(
        Sum::Parallel,
        &given,
        (Q::TotalLoad, parallel(loads.iter().copied()).get()),
        &[Assumption::NominalImpedance],
    )
}

/// All taps on a line; wattages simply add.
pub fn on_line(line: Volts, taps: &[Watts]) -> Worked {
    let total: f64 = taps.iter().map(|tap| tap.get()).sum();
    Worked::new(
        Sum::LineLoad,
        &[(Q::LineVoltage, line.get()), (Q::TotalPower, total)],
        (Q::TotalLoad, line_load(line, Watts::new(total)).get()),
        &[Assumption::NominalImpedance],
    )
}
