//! A device's own sample formats as `f32`, 1.0 = full scale.
//!
//! A signed integer of n bits is divided by 2^(n−1), an unsigned one loses 2^(n−1) first, so the most
//! negative code is −1.0 and the most positive just under +1.0 (the convention of AES17 and of WAVE).
//! Formats of more than 24 bits are rounded to the nearest `f32`. 24-bit codes come in four bytes of which
//! the highest is undefined; it is ignored. Floats pass as they are, NaN, ∞ and values beyond ±1.0 too.

use cpal::{I24, U24};

/// A sample as a device delivers it.
pub trait Amplitude: Copy {
    fn amplitude(self) -> f32;
}

macro_rules! integers {
    ($($signed:ty, $unsigned:ty;)*) => {$(
        impl Amplitude for $signed {
            fn amplitude(self) -> f32 {
                const FULL: f32 = -(<$signed>::MIN as f32);
                self as f32 / FULL
            }
        }

        /// Offset binary is two's complement with the highest bit turned over.
        impl Amplitude for $unsigned {
            fn amplitude(self) -> f32 {
                (self as $signed ^ <$signed>::MIN).amplitude()
            }
        }
    )*};
}

integers! {
    i8, u8;
    i16, u16;
    i32, u32;
    i64, u64;
}

impl Amplitude for I24 {
    fn amplitude(self) -> f32 {
        (self.inner() << 8).amplitude()
    }
}

impl Amplitude for U24 {
    fn amplitude(self) -> f32 {
        ((self.inner() << 8) ^ i32::MIN).amplitude()
    }
}

impl Amplitude for f32 {
    fn amplitude(self) -> f32 {
        self
    }
}

impl Amplitude for f64 {
    fn amplitude(self) -> f32 {
        self as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Most negative code, zero, half scale, most positive code: the definitions of two's complement and of
    /// offset binary; the last column is 1 − 2^−(n−1) where `f32` can hold it.
    #[test]
    fn every_format() {
        fn check<T: Amplitude>(codes: [T; 4], top: f32) {
            let found = codes.map(Amplitude::amplitude);
            assert_eq!(found, [-1.0, 0.0, 0.5, top], "{}", std::any::type_name::<T>());
        }
        check([i8::MIN, 0, 64, i8::MAX], 127.0 / 128.0);
        check([0_u8, 128, 192, u8::MAX], 127.0 / 128.0);
        check([i16::MIN, 0, 1 << 14, i16::MAX], 32767.0 / 32768.0);
        check([0_u16, 1 << 15, 3 << 14, u16::MAX], 32767.0 / 32768.0);
        let i24 = |code| I24::new(code).expect("within 24 bits");
        check([i24(-(1 << 23)), i24(0), i24(1 << 22), i24((1 << 23) - 1)], 8388607.0 / 8388608.0);
        let u24 = |code| U24::new(code).expect("within 24 bits");
        check([u24(0), u24(1 << 23), u24(3 << 22), u24((1 << 24) - 1)], 8388607.0 / 8388608.0);
        check([i32::MIN, 0, 1 << 30, i32::MAX], 1.0);
        check([0_u32, 1 << 31, 3 << 30, u32::MAX], 1.0);
        check([i64::MIN, 0, 1 << 62, i64::MAX], 1.0);
        check([0_u64, 1 << 63, 3 << 62, u64::MAX], 1.0);
        check([-1.0_f32, 0.0, 0.5, 1.25], 1.25);
        check([-1.0_f64, 0.0, 0.5, 1.25], 1.25);
    }

    /// `dasp_sample`, a general-purpose library of the same conversions, agrees on all 65,536 codes.
    #[test]
    fn second_opinion() {
        use cpal::FromSample;
        for code in i16::MIN..=i16::MAX {
            assert_eq!(code.amplitude(), f32::from_sample_(code));
            assert_eq!((code as u16).amplitude(), f32::from_sample_(code as u16));
        }
    }

    /// The unused byte of a 24-bit code may hold anything.
    #[test]
    fn the_fourth_byte_is_ignored() {
        assert_eq!(I24::new_unchecked(0x00FF_FFFF).amplitude(), -1.0 / 8388608.0);
        assert_eq!(U24::new_unchecked(0x5580_0001).amplitude(), 1.0 / 8388608.0);
    }

    #[test]
    fn what_is_no_number_passes() {
        assert!(f32::NAN.amplitude().is_nan());
        assert_eq!(f64::INFINITY.amplitude(), f32::INFINITY);
    }
}
