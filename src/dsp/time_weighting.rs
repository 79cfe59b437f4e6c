//! Exponential means of a square: the time weightings F and S of IEC 61672-1:2013, 5.7.
//!
//! In: squares, one a sample. Out: their mean with the time constant 125 ms (F) or 1 s (S). The step of one sample is
//! 1 − e^(−1/(rate · τ)), which is exact for a square that is constant between samples. It begins at 0; means under
//! −300 dB re full scale are silence.

use crate::units::{SampleRate, Seconds};

pub const FAST: Seconds = Seconds::new(0.125);
pub const SLOW: Seconds = Seconds::new(1.0);

const SILENCE: f64 = 1e-30;

#[derive(Clone, Copy, Debug)]
pub struct TimeWeighting {
    step: f64,
    mean: f64,
}

impl TimeWeighting {
    pub fn new(constant: Seconds, rate: SampleRate) -> Self {
        Self { step: -(-1.0 / (f64::from(rate.get()) * constant.get())).exp_m1(), mean: 0.0 }
    }

    pub fn next(&mut self, square: f64) -> f64 {
        self.mean += self.step * (square - self.mean);
        self.mean
    }

    pub fn mean(&self) -> f64 {
        if self.mean < SILENCE { 0.0 } else { self.mean }
    }

    /// Ends a tail, which would end in subnormal numbers; where it is called decides the last bits: at fixed times.
    pub fn settle(&mut self) {
        self.mean = self.mean();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IEC 61672-1:2013, 5.8.2 and equation 7: after the sound stops F falls by 34.7 dB/s and S by 4.3 dB/s; a burst of
    /// length T reads 10 lg(1 − e^(−T/τ)).
    #[test]
    fn rise_and_fall() {
        let rate = SampleRate::new(48_000).unwrap();
        for (constant, fall) in [(FAST, 34.74), (SLOW, 4.343)] {
            let mut mean = TimeWeighting::new(constant, rate);
            for _ in 0..9600 {
                mean.next(1.0);
            }
            let risen = 10.0 * mean.mean().log10();
            let expected = 10.0 * (-(-0.2 / constant.get()).exp_m1()).log10();
            assert!((risen - expected).abs() < 1e-9, "{risen} is not {expected}");
            for _ in 0..48_000 {
                mean.next(0.0);
            }
            assert!((risen - 10.0 * mean.mean().log10() - fall).abs() < 0.005);
        }
    }
}
