//! Levels (points on a scale) and their differences.
//!
//! Silence is −∞, never NaN: `from_amplitude` and `from_power` map 0, negatives and NaN to it.

use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};

/// A difference of two levels, in dB.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Db(f64);

impl Db {
    pub const ZERO: Self = Self(0.0);

    pub const fn new(db: f64) -> Self {
        Self(db)
    }

    pub const fn get(self) -> f64 {
        self.0
    }

    /// The factor on an amplitude: +20 dB is 10.
    pub fn ratio(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }

    pub fn from_ratio(ratio: f64) -> Self {
        Self(20.0 * ratio.log10())
    }

    pub fn abs(self) -> Self {
        Self(self.0.abs())
    }

    pub fn min(self, other: Self) -> Self {
        Self(self.0.min(other.0))
    }

    pub fn max(self, other: Self) -> Self {
        Self(self.0.max(other.0))
    }
}

impl Add for Db {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl AddAssign for Db {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl Sub for Db {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl SubAssign for Db {
    fn sub_assign(&mut self, other: Self) {
        self.0 -= other.0;
    }
}

impl Neg for Db {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

/// A scale of levels: construction, reading, and its arithmetic with differences.
macro_rules! level {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// Nothing at all: −∞.
            pub const SILENCE: Self = Self(f64::NEG_INFINITY);

            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            pub const fn get(self) -> f64 {
                self.0
            }

            pub fn is_silence(self) -> bool {
                self.0 == f64::NEG_INFINITY
            }

            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }

            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::SILENCE
            }
        }

        impl Add<Db> for $name {
            type Output = Self;
            fn add(self, change: Db) -> Self {
                Self(self.0 + change.0)
            }
        }

        impl Sub<Db> for $name {
            type Output = Self;
            fn sub(self, change: Db) -> Self {
                Self(self.0 - change.0)
            }
        }

        impl Sub for $name {
            type Output = Db;
            /// Silence minus silence is no difference.
            fn sub(self, other: Self) -> Db {
                Db(if self.0 == other.0 { 0.0 } else { self.0 - other.0 })
            }
        }
    };
}

level! {
    /// dB re full scale, where an amplitude of 1.0 is 0 dBFS. An RMS value on this scale is the plain
    /// root mean square: a full-scale sine reads −3.01 (the AES17 reading is 3.01 dB higher).
    Dbfs
}
level! {
    /// dB re 0.7746 V (√0.6 V).
    Dbu
}
level! {
    /// dB re 1 V.
    Dbv
}
level! {
    /// Loudness re full scale, K-weighted (ITU-R BS.1770-5).
    Lufs
}

level! {
    /// Sound pressure level, dB re 20 µPa (ISO 1683). Which weighting it has is said where it stands.
    Spl
}

impl Dbfs {
    /// What an RMS reading of the AES17 convention lies above the plain one: 20 lg √2.
    pub const AES17_OFFSET: Db = Db(3.010_299_956_639_812);

    pub fn from_amplitude(amplitude: f64) -> Self {
        if amplitude > 0.0 { Self(20.0 * amplitude.log10()) } else { Self::SILENCE }
    }

    /// From a mean square.
    pub fn from_power(power: f64) -> Self {
        if power > 0.0 { Self(10.0 * power.log10()) } else { Self::SILENCE }
    }

    pub fn amplitude(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }

    pub fn power(self) -> f64 {
        10f64.powf(self.0 / 10.0)
    }
}

impl Dbu {
    /// √(1 mW × 600 Ω), the reference of dBu.
    pub const REFERENCE_VOLTS: f64 = 0.774_596_669_241_483_4;

    pub fn from_volts(volts: f64) -> Self {
        Self(20.0 * (volts / Self::REFERENCE_VOLTS).log10())
    }

    pub fn volts(self) -> f64 {
        Self::REFERENCE_VOLTS * 10f64.powf(self.0 / 20.0)
    }
}

impl Dbv {
    pub fn from_volts(volts: f64) -> Self {
        Self(20.0 * volts.log10())
    }

    pub fn volts(self) -> f64 {
        10f64.powf(self.0 / 20.0)
    }
}

impl From<Dbv> for Dbu {
    fn from(level: Dbv) -> Self {
        Self::from_volts(level.volts())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64, tolerance: f64) {
        assert!((a - b).abs() <= tolerance, "{a} is not {b} ± {tolerance}");
    }

    /// 0 dBu = √0.6 V (the 0.775 V of alignment-level articles); +4 dBu = 1.228 V in print.
    #[test]
    fn volts_and_dbu() {
        close(Dbu::new(0.0).volts(), 0.774597, 1e-6);
        close(Dbu::new(4.0).volts(), 1.22765, 1e-5);
        close(Dbu::new(24.0).volts(), 12.2765, 1e-4);
    }

    /// Common practice: consumer line (−10 dBV) lies 11.8 dB under professional line (+4 dBu);
    /// 11.782 exactly (11.79 in print comes from rounding 0 dBu to 0.775 V).
    #[test]
    fn consumer_and_professional_line() {
        close((Dbu::new(4.0) - Dbu::from(Dbv::new(-10.0))).get(), 11.782, 1e-3);
        close(Dbu::from(Dbv::new(0.0)).get(), 2.2185, 1e-4);
    }

    /// Common practice: a microphone at −64 dB wants 46 dB of gain to stand at −18 dB; 0 dBFS is the top.
    #[test]
    fn gain_is_a_difference() {
        close((Dbfs::new(-18.0) - Dbfs::new(-64.0)).get(), 46.0, 1e-12);
        close(Dbfs::from_amplitude(1.0).get(), 0.0, 1e-12);
        close(Dbfs::new(-18.0).amplitude(), 0.125_892_5, 1e-7);
    }

    #[test]
    fn silence_is_never_nan() {
        for level in [Dbfs::from_amplitude(0.0), Dbfs::from_power(f64::NAN), Dbfs::from_power(-1.0)] {
            assert!(level.is_silence());
        }
        assert_eq!((Dbfs::SILENCE - Dbfs::SILENCE).get(), 0.0);
    }
}
