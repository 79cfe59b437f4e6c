//! Compared once with a real meter: what it showed, in dB(A), while the same sound was heard here.
//!
//! Fed with readings after every 100 ms; the meter stands beside the microphone and shows LAeq, or a level by eye. At
//! least 5 s, at most a minute, of sound that keeps its level within 6 dB: a choir holding a chord, music from a
//! recording, noise. Refused are clipping, holes, sound that is as soft as an input's own noise, and results that no
//! microphone has. The limits on spread, softness and plausibility are working values.

use super::calibration::{Calibration, Microphone, Standard};
use crate::meters::SoundReadings;
use crate::units::{Db, Dbfs, Seconds, Spl};

pub(super) const CLIPPED: Dbfs = Dbfs::new(-0.1);
/// Softer is the noise of an input, or a microphone that hears nothing.
pub(super) const SOFT: Dbfs = Dbfs::new(-75.0);
pub(super) const LEAST: Seconds = Seconds::new(5.0);
/// The full scale of a sensitive microphone turned up, and of a deaf one turned down.
const PLAUSIBLE: [Spl; 2] = [Spl::new(70.0), Spl::new(170.0)];
/// What a meter can show in a hall.
const SHOWN: [Spl; 2] = [Spl::new(30.0), Spl::new(130.0)];
const SECONDS: usize = 60;

/// Why there is no result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// Heard for less than is needed.
    TooShort { heard: Seconds },
    /// The input is at its limit: turn it down.
    Clipped,
    /// Samples were lost meanwhile.
    Hole,
    /// Nothing but the input's own noise.
    TooSoft { level: Dbfs },
    /// The level wandered by this.
    Unsteady { spread: Db },
    /// No meter shows that in a hall.
    NoSuchLevel { typed: Spl },
    /// No microphone has its full scale there.
    Implausible { full_scale: Spl },
    /// There is no single tone.
    NoTone { share: f64 },
    /// The tone is not 1 kHz.
    OtherTone { hertz: f64 },
    /// A result 20 dB from the one before: the calibrator's switch.
    TwentyOff { by: Db },
}

/// Seconds heard, until the person has typed.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Powers of whole seconds, the newest `SECONDS` of them.
    seconds: Vec<f64>,
    /// Powers of the second in progress.
    tenths: Vec<f64>,
    refusal: Option<Refusal>,
}

impl Comparison {
    pub fn new() -> Self {
        Self { seconds: Vec::with_capacity(SECONDS), tenths: Vec::with_capacity(TENTHS), refusal: None }
    }

    pub fn observe(&mut self, readings: &SoundReadings) {
        if readings.sample_peak >= CLIPPED {
            self.refusal = Some(Refusal::Clipped);
        } else if readings.newest.missing() > 0.0 {
            self.refusal = Some(Refusal::Hole);
        }
        self.tenths.push(readings.newest.level.power());
        if self.tenths.len() == TENTHS {
            if self.seconds.len() == SECONDS {
                self.seconds.remove(0);
            }
            self.seconds.push(mean(&self.tenths));
            self.tenths.clear();
        }
    }

    /// How long was heard, in whole seconds.
    pub fn heard(&self) -> Seconds {
        Seconds::new(self.seconds.len() as f64)
    }

    /// LAeq so far: what the meter's value will be held against.
    pub fn level(&self) -> Dbfs {
        Dbfs::from_power(mean(&self.seconds))
    }

    /// The meter showed `typed`, in dB(A).
    pub fn with(&self, typed: Spl, meter: Standard, microphone: Microphone) -> Result<Calibration, Refusal> {
        if let Some(refusal) = self.refusal {
            return Err(refusal);
        }
        if !(SHOWN[0]..=SHOWN[1]).contains(&typed) {
            return Err(Refusal::NoSuchLevel { typed });
        }
        if self.heard() < LEAST {
            return Err(Refusal::TooShort { heard: self.heard() });
        }
        if self.level() < SOFT {
            return Err(Refusal::TooSoft { level: self.level() });
        }
        let spread = spread(&self.seconds);
        if spread > Calibration::WIDEST_SPREAD {
            return Err(Refusal::Unsteady { spread });
        }
        plausible(Calibration { full_scale: full_scale(typed, self.level()), with: meter, microphone, spread })
    }
}

impl Default for Comparison {
    fn default() -> Self {
        Self::new()
    }
}

const TENTHS: usize = 10;

pub(super) fn full_scale(level: Spl, reading: Dbfs) -> Spl {
    level + (Dbfs::new(0.0) - reading)
}

pub(super) fn plausible(calibration: Calibration) -> Result<Calibration, Refusal> {
    let full_scale = calibration.full_scale;
    if (PLAUSIBLE[0]..=PLAUSIBLE[1]).contains(&full_scale) {
        Ok(calibration)
    } else {
        Err(Refusal::Implausible { full_scale })
    }
}

pub(super) fn mean(powers: &[f64]) -> f64 {
    powers.iter().sum::<f64>() / powers.len().max(1) as f64
}

pub(super) fn spread(powers: &[f64]) -> Db {
    let most = powers.iter().copied().fold(0.0, f64::max);
    let least = powers.iter().copied().fold(f64::INFINITY, f64::min);
    Dbfs::from_power(most) - Dbfs::from_power(least)
}
