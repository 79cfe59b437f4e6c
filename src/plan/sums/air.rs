//! Air takes the highs: pure-tone attenuation in dB/km.
//!
//! ISO 9613-1:1993, equations 3 to 5 and annex B, at one atmosphere (101.325 kPa). °C, % relative humidity, Hz. Edge
//! cases: the standard covers −20 to +50 °C; dry air (0 %) is computed as it stands.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::Metres;

/// Where the air takes the most of what is still missed.
const HIGHS: f64 = 8_000.0;

/// What the highs lose on their way to a seat.
pub fn on_the_way(distance: Metres, celsius: f64, humidity: f64) -> Worked {
    Worked::new(
        Sum::AirLoss,
        &[(Q::Distance, distance.get()), (Q::Frequency, HIGHS), (Q::Temperature, celsius), (Q::Humidity, humidity)],
        (Q::AirLoss, attenuation(HIGHS, celsius, humidity) * distance.get() / 1000.0),
        &[Assumption::StillAir],
    )
}

/// dB/km of a tone.
pub fn attenuation(hz: f64, celsius: f64, humidity: f64) -> f64 {
    const REFERENCE: f64 = 293.15;
    const TRIPLE_POINT: f64 = 273.16;
    let kelvin = celsius + 273.15;
    let ratio = kelvin / REFERENCE;
    // Molar concentration of water vapour, %.
    let saturation = 10f64.powf(-6.8346 * (TRIPLE_POINT / kelvin).powf(1.261) + 4.6151);
    let vapour = humidity * saturation;
    let oxygen = 24.0 + 4.04e4 * vapour * (0.02 + vapour) / (0.391 + vapour);
    let nitrogen = ratio.powf(-0.5) * (9.0 + 280.0 * vapour * (-4.170 * (ratio.powf(-1.0 / 3.0) - 1.0)).exp());
    let square = hz * hz;
    let relaxation = 0.01275 * (-2239.1 / kelvin).exp() / (oxygen + square / oxygen)
        + 0.1068 * (-3352.0 / kelvin).exp() / (nitrogen + square / nitrogen);
    8.686 * square * (1.84e-11 * ratio.sqrt() + ratio.powf(-2.5) * relaxation) * 1000.0
}
