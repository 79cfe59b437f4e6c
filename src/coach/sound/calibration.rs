//! What 0 dBFS is in the room, and how sure that is.
//!
//! Levels in dB re 20 µPa. The parts of the uncertainty are half widths in dB, taken as independent: together they are
//! the root of the sum of their squares (JCGM 100:2008, 5.1). A meter's part is the widest acceptance limit of its class
//! between 250 Hz and 2 kHz (IEC 61672-1:2013, Table 3), a calibrator's the limit of its class on the level (IEC
//! 60942:2003); those of an unmarked meter or an app, and of microphones, are working values. Whoever turns the input's
//! gain afterwards makes it void, which nobody can hear: tape the knob.

use crate::units::{Db, Dbfs, Spl};

/// What it was compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standard {
    MeterOfClass1,
    MeterOfClass2,
    /// An app, or a meter without a class.
    OtherMeter,
    CalibratorOfClass1,
    CalibratorOfClass2,
}

impl Standard {
    pub const ALL: [Self; 5] = [
        Self::MeterOfClass1,
        Self::MeterOfClass2,
        Self::OtherMeter,
        Self::CalibratorOfClass1,
        Self::CalibratorOfClass2,
    ];

    /// The word in `event.toml`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::MeterOfClass1 => "class 1 meter",
            Self::MeterOfClass2 => "class 2 meter",
            Self::OtherMeter => "other meter",
            Self::CalibratorOfClass1 => "class 1 calibrator",
            Self::CalibratorOfClass2 => "class 2 calibrator",
        }
    }

    /// How far it may be off.
    pub const fn tolerance(self) -> Db {
        Db::new(match self {
            Self::MeterOfClass1 => 1.0,
            Self::MeterOfClass2 => 2.0,
            Self::OtherMeter => 4.0,
            Self::CalibratorOfClass1 => 0.4,
            Self::CalibratorOfClass2 => 0.75,
        })
    }

    /// How exactly its value is known: a display is read to a decibel.
    const fn rounding(self) -> Db {
        match self {
            Self::MeterOfClass1 | Self::MeterOfClass2 | Self::OtherMeter => Db::new(0.5),
            Self::CalibratorOfClass1 | Self::CalibratorOfClass2 => Db::ZERO,
        }
    }
}

/// How evenly the microphone in the room hears.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Microphone {
    /// Made for measuring: even from 50 Hz to 10 kHz.
    Measuring,
    /// Any other.
    Ordinary,
}

impl Microphone {
    pub const ALL: [Self; 2] = [Self::Measuring, Self::Ordinary];

    /// The word in `event.toml`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Measuring => "measuring",
            Self::Ordinary => "ordinary",
        }
    }

    pub const fn tolerance(self) -> Db {
        Db::new(match self {
            Self::Measuring => 1.0,
            Self::Ordinary => 3.0,
        })
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// The level in the room that reads 0 dBFS.
    pub full_scale: Spl,
    pub with: Standard,
    pub microphone: Microphone,
    /// Between the softest and the loudest reading while it was compared.
    pub spread: Db,
}

/// Half widths in dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertainty {
    pub standard: Db,
    /// Of the value that was read off.
    pub rounding: Db,
    /// Of the readings here meanwhile.
    pub spread: Db,
    pub microphone: Db,
}

impl Uncertainty {
    pub fn parts(&self) -> [Db; 4] {
        [self.standard, self.rounding, self.spread, self.microphone]
    }

    /// All of them together.
    pub fn total(&self) -> Db {
        Db::new(self.parts().iter().map(|part| part.get() * part.get()).sum::<f64>().sqrt())
    }
}

impl Calibration {
    /// Sound that wanders more can't be compared.
    pub const WIDEST_SPREAD: Db = Db::new(6.0);

    pub fn level(&self, reading: Dbfs) -> Spl {
        self.full_scale + (reading - Dbfs::new(0.0))
    }

    pub fn uncertainty(&self) -> Uncertainty {
        Uncertainty {
            standard: self.with.tolerance(),
            rounding: self.with.rounding(),
            spread: Db::new(self.spread.get() / 2.0),
            microphone: self.microphone.tolerance(),
        }
    }
}
