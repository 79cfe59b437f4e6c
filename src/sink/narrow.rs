//! Amplitudes to stored integers, with dither.
//!
//! In: amplitudes, 1.0 = full scale. Out: little-endian integers of 16 or 24 bits. Before rounding, noise of triangular
//! density, two steps wide from end to end, is added: the error is then independent of the sound in mean and power
//! (Lipshitz, Wannamaker & Vanderkooy 1992). The same seed gives the same noise. Edge cases: NaN and ±∞ are silence; what
//! lies beyond full scale is held at it.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg32;

/// The width of stored integers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Width {
    Bits16,
    Bits24,
}

impl Width {
    pub const fn bits(self) -> u16 {
        match self {
            Self::Bits16 => 16,
            Self::Bits24 => 24,
        }
    }
}

pub struct Narrow {
    width: Width,
    /// `None`: rounded only.
    dice: Option<Pcg32>,
}

impl Narrow {
    pub fn new(width: Width, dithered: bool) -> Self {
        Self { width, dice: dithered.then(|| Pcg32::seed_from_u64(1)) }
    }

    pub const fn width(&self) -> Width {
        self.width
    }

    /// Appends one sample to `bytes`.
    pub fn push(&mut self, sample: f64, bytes: &mut Vec<u8>) {
        let full = f64::from(1_u32 << (self.width.bits() - 1));
        let noise = self.dice.as_mut().map_or(0.0, |dice| dice.random::<f64>() - dice.random::<f64>());
        let scaled = if sample.is_finite() { sample * full + noise } else { 0.0 };
        let code = scaled.round().clamp(-full, full - 1.0) as i32;
        bytes.extend_from_slice(&code.to_le_bytes()[..usize::from(self.width.bits() / 8)]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn codes(samples: &[f64], width: Width, dithered: bool) -> Vec<i32> {
        let mut narrow = Narrow::new(width, dithered);
        let mut bytes = Vec::new();
        samples.iter().for_each(|&sample| narrow.push(sample, &mut bytes));
        let widen = |part: &[u8]| part.iter().rev().fold(0i32, |code, &byte| code << 8 | i32::from(byte));
        let shift = 32 - u32::from(width.bits());
        bytes.chunks(usize::from(width.bits() / 8)).map(|part| widen(part) << shift >> shift).collect()
    }

    #[test]
    fn ends_of_the_scale_and_what_is_no_number() {
        let wild = [1.0, -1.0, 3.0, f64::NAN, f64::INFINITY, 0.5];
        assert_eq!(codes(&wild, Width::Bits16, false), [32_767, -32_768, 32_767, 0, 0, 16_384]);
        assert_eq!(codes(&[-0.5], Width::Bits24, false), [-4_194_304]);
    }

    /// Triangular dither: mean of the error 0, its mean square 1/4 of a step squared (1/12 of rounding, 2/12 of the noise),
    /// for sound far under a step; undithered, all of it is lost.
    #[test]
    fn what_lies_under_a_step_is_kept() {
        let step = 1.0 / 32_768.0;
        let quiet = vec![0.3 * step; 200_000];
        assert!(codes(&quiet, Width::Bits16, false).iter().all(|&code| code == 0));
        let told = codes(&quiet, Width::Bits16, true);
        let mean = told.iter().map(|&code| f64::from(code)).sum::<f64>() / told.len() as f64;
        let square = told.iter().map(|&code| (f64::from(code) - 0.3).powi(2)).sum::<f64>() / told.len() as f64;
        assert!((mean - 0.3).abs() < 0.005 && (square - 0.25).abs() < 0.005, "{mean} {square}");
    }
}
