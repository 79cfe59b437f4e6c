//! Time of flight: speed of sound, delays, combs, microphone spacing.
//!
//! c = 331.3 √(1 + t / 273.15) m/s in dry air; second loudspeakers get the time of the way plus 10 to 15 ms, so that
//! the ear places the sound at the stage (H. Haas). A copy that comes t later makes notches at (2n + 1) / (2t); with
//! microphones three times as far from each other as from their sources the spill stands 20 lg 3 = 9.54 dB down and
//! still ripples by 6 dB (the "1 dB" of some prints is wrong). Metres, °C, ms. Edge cases: no delay, no notch (∞).

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::Metres;
use crate::units::{Db, Hertz, Seconds};

const KELVIN: f64 = 273.15;
/// Added so that the stage is heard first.
const PRECEDENCE: Seconds = Seconds::new(0.012);

/// In m/s.
pub fn speed_of_sound(celsius: f64) -> f64 {
    331.3 * (1.0 + celsius / KELVIN).sqrt()
}

pub fn flight(distance: Metres, celsius: f64) -> Seconds {
    Seconds::new(distance.get() / speed_of_sound(celsius))
}

/// For a second loudspeaker: `farther` is how much longer the way from the stage is than its own.
pub fn delay(farther: Metres, celsius: f64) -> Worked {
    let whole = flight(farther, celsius).get() + PRECEDENCE.get();
    Worked::new(
        Sum::Delay,
        &[
            (Q::Distance, farther.get()),
            (Q::Temperature, celsius),
            (Q::SpeedOfSound, speed_of_sound(celsius)),
            (Q::PrecedenceDelay, PRECEDENCE.get() * 1000.0),
        ],
        (Q::Delay, whole * 1000.0),
        &[Assumption::StillAir, Assumption::ThenByEar],
    )
}

/// Where a copy this much later cancels first.
pub fn first_notch(later: Seconds) -> Hertz {
    Hertz::new(1.0 / (2.0 * later.get()))
}

/// Highest and lowest of a sound and its copy at this ratio of amplitudes.
pub fn ripple(copy: f64) -> (Db, Db) {
    (Db::from_ratio(1.0 + copy), Db::from_ratio(1.0 - copy))
}

/// Near enough for a comb.
const ROOM_CELSIUS: f64 = 20.0;

/// Two microphones: their distance to each other against the one to the source.
pub fn spacing(apart: Metres, to_source: Metres) -> Worked {
    let ratio = apart.get() / to_source.get();
    let (peak, dip) = ripple(1.0 / ratio);
    let later = Metres::new((apart.get() - to_source.get()).abs());
    Worked::new(
        Sum::ThreeToOne,
        &[
            (Q::Distance, apart.get()),
            (Q::SourceToMic, to_source.get()),
            (Q::SpacingRatio, ratio),
            (Q::Ripple, (peak - dip).get()),
            (Q::FirstNotch, first_notch(flight(later, ROOM_CELSIUS)).get()),
        ],
        (Q::Spill, -20.0 * ratio.log10()),
        &[Assumption::NothingInTheWay],
    )
}
