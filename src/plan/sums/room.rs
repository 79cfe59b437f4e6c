//! The hall: reverberation time, mean free path, the distance where the room takes over.
//!
//! T = 0.161 V / A (W. C. Sabine), T = 0.161 V / (−S ln(1 − α)) (C. F. Eyring, 1930), mean free path 4V / S,
//! room constant R = S α / (1 − α), critical distance √(Q R / 16π) or 0.057 √(Q V / T). Metres, seconds, m²
//! sabine; Q is the loudspeaker's directivity factor. Edge cases: α of 1 gives no reverberation (T = 0), no
//! absorption at all gives ∞.

use std::f64::consts::PI;

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::Metres;
use crate::units::Seconds;

const SABINE: f64 = 0.161;

/// Volume in m³, absorption in m².
pub fn sabine(volume: f64, absorption: f64) -> Seconds {
    Seconds::new(SABINE * volume / absorption)
}

/// Volume in m³, surface in m², mean absorption coefficient.
pub fn eyring(volume: f64, surface: f64, absorption: f64) -> Seconds {
    Seconds::new(SABINE * volume / (-surface * (1.0 - absorption).ln()))
}

/// The reverberation of a hall that nobody measured.
pub fn reverb_shown(volume: f64, surface: f64, absorption: f64) -> Worked {
    Worked::new(
        Sum::Eyring,
        &[(Q::Volume, volume), (Q::Surface, surface), (Q::Absorption, absorption)],
        (Q::ReverbTime, eyring(volume, surface, absorption).get()),
        &[Assumption::BoxOfABox, Assumption::DiffuseRoom],
    )
}

pub fn mean_free_path(volume: f64, surface: f64) -> Metres {
    Metres::new(4.0 * volume / surface)
}

/// Surface in m², mean absorption coefficient; gives m².
pub fn room_constant(surface: f64, absorption: f64) -> f64 {
    surface * absorption / (1.0 - absorption)
}

/// From the room constant.
pub fn critical_distance_in(directivity: f64, room_constant: f64) -> Metres {
    Metres::new((directivity * room_constant / (16.0 * PI)).sqrt())
}

/// From volume (m³) and reverberation time.
pub fn critical_distance(directivity: f64, volume: f64, reverb: Seconds) -> Metres {
    Metres::new(0.057 * (directivity * volume / reverb.get()).sqrt())
}

/// How far the loudspeaker itself is heard before the room takes over.
pub fn critical_distance_shown(directivity: f64, volume: f64, reverb: Seconds) -> Worked {
    Worked::new(
        Sum::CriticalDistance,
        &[(Q::Directivity, directivity), (Q::Volume, volume), (Q::ReverbTime, reverb.get())],
        (Q::CriticalDistance, critical_distance(directivity, volume, reverb).get()),
        &[Assumption::DiffuseRoom, Assumption::HallOfPeopleAbsorbsMore],
    )
}
