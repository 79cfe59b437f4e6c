//! Compared with a calibrator: 94 or 114 dB of 1 kHz, held over the microphone.
//!
//! Fed with readings after every 100 ms. The result is there once the last 5 s are one steady tone; until then
//! [`ToneCalibration::doubt`] says what is wrong with them. At 1 kHz A takes nothing off. A tone is steady within 0.2 dB
//! and 1 kHz within 2 %, as a calibrator of class 2 keeps them (IEC 60942:2003); all but 2 % of the energy must be the
//! tone, or what sounds beside it adds 0.1 dB.

use super::calibration::{Calibration, Microphone, Standard};
use super::compare::{CLIPPED, LEAST, Refusal, SOFT, full_scale, mean, plausible, spread};
use crate::meters::{SoundReadings, Tone};
use crate::units::{Db, Dbfs, Seconds, Spl};

const STEADY: Db = Db::new(0.2);
const HERTZ: f64 = 1000.0;
const OFF: f64 = 0.02;
const SHARE: f64 = 0.98;
const STRETCHES: usize = 50;
/// Another result than before by as much as the calibrator's two levels are apart, give or take.
const SWITCH: Db = Db::new(20.0);
const SWITCH_LEEWAY: Db = Db::new(2.0);

/// What stands on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CalibratorLevel {
    Db94,
    Db114,
}

impl CalibratorLevel {
    pub const fn level(self) -> Spl {
        Spl::new(match self {
            Self::Db94 => 94.0,
            Self::Db114 => 114.0,
        })
    }
}

#[derive(Clone, Debug)]
pub struct ToneCalibration {
    level: CalibratorLevel,
    with: Standard,
    microphone: Microphone,
    before: Option<Calibration>,
    powers: Vec<f64>,
    doubt: Option<Refusal>,
    result: Option<Calibration>,
}

impl ToneCalibration {
    /// `before`: what was found earlier with this microphone, if anything.
    pub fn new(level: CalibratorLevel, with: Standard, microphone: Microphone, before: Option<Calibration>) -> Self {
        Self {
            level,
            with,
            microphone,
            before,
            powers: Vec::with_capacity(STRETCHES + 1),
            doubt: Some(Refusal::TooShort { heard: Seconds::ZERO }),
            result: None,
        }
    }

    pub fn result(&self) -> Option<Calibration> {
        self.result
    }

    /// What keeps the newest sound from being a result.
    pub fn doubt(&self) -> Option<Refusal> {
        self.doubt
    }

    pub fn observe(&mut self, readings: &SoundReadings) {
        if self.result.is_some() {
            return;
        }
        if let Some(wrong) = wrong_with(readings) {
            self.powers.clear();
            self.doubt = Some(wrong);
            return;
        }
        if self.powers.len() == STRETCHES {
            self.powers.remove(0);
        }
        self.powers.push(readings.newest.level.power());
        self.doubt = match self.judge() {
            Ok(calibration) => {
                self.result = Some(calibration);
                None
            }
            Err(refusal) => Some(refusal),
        };
    }

    fn judge(&self) -> Result<Calibration, Refusal> {
        if self.powers.len() < STRETCHES {
            let heard = Seconds::new(LEAST.get() * self.powers.len() as f64 / STRETCHES as f64);
            return Err(Refusal::TooShort { heard });
        }
        let spread = spread(&self.powers);
        if spread > STEADY {
            return Err(Refusal::Unsteady { spread });
        }
        let full_scale = full_scale(self.level.level(), Dbfs::from_power(mean(&self.powers)));
        if let Some(before) = self.before {
            let by = full_scale - before.full_scale;
            if (by.abs() - SWITCH).abs() < SWITCH_LEEWAY {
                return Err(Refusal::TwentyOff { by });
            }
        }
        plausible(Calibration { full_scale, with: self.with, microphone: self.microphone, spread })
    }
}

/// What is wrong with the newest 100 ms, whatever came before.
fn wrong_with(readings: &SoundReadings) -> Option<Refusal> {
    let Tone { frequency, share } = readings.tone.unwrap_or(Tone { frequency: Default::default(), share: 0.0 });
    let hertz = frequency.get();
    if readings.sample_peak >= CLIPPED {
        Some(Refusal::Clipped)
    } else if readings.newest.missing() > 0.0 {
        Some(Refusal::Hole)
    } else if readings.newest.level < SOFT {
        Some(Refusal::TooSoft { level: readings.newest.level })
    } else if share < SHARE {
        Some(Refusal::NoTone { share })
    } else if (hertz / HERTZ - 1.0).abs() > OFF {
        Some(Refusal::OtherTone { hertz })
    } else {
        None
    }
}
