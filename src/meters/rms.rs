//! True RMS and DC of one channel.
//!
//! Root of the mean of squares and mean of the samples, full scale = 1, summed in `f64`: a full-scale
//! sine has a mean square of ½ (−3.01 dBFS), a full-scale square of 1. Invalid samples count as 0 and
//! are counted. No samples: silence, no DC.

use crate::dsp::lanes;

/// Sums since a point in time.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    pub samples: u64,
    pub sum: f64,
    pub energy: f64,
}

impl Moments {
    pub fn of(samples: &[f32]) -> Self {
        let (sum, energy) = lanes::moments(samples);
        Self { samples: samples.len() as u64, sum, energy }
    }

    pub fn add(&mut self, other: Self) {
        self.samples += other.samples;
        self.sum += other.sum;
        self.energy += other.energy;
    }

    /// Mean of the squares.
    pub fn power(&self) -> f64 {
        self.energy / self.samples.max(1) as f64
    }

    pub fn mean(&self) -> f64 {
        self.sum / self.samples.max(1) as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Dbfs;

    fn rms(shape: impl Fn(f64) -> f64) -> f64 {
        let samples: Vec<f32> = (0..4800).map(|i| shape((f64::from(i) + 0.5) / 480.0 % 1.0) as f32).collect();
        Dbfs::from_power(Moments::of(&samples).power()).get()
    }

    /// Crest factors of textbook waves: sine 3.01 dB, square 0 dB, triangle 4.77 dB.
    #[test]
    fn textbook_waves() {
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-4, "{a} is not {b}");
        close(rms(|t| (std::f64::consts::TAU * t).sin()), -3.0103);
        close(rms(|t| if t < 0.5 { 1.0 } else { -1.0 }), 0.0);
        close(rms(|t| 1.0 - 4.0 * (t - 0.5).abs()), -4.7712);
    }

    #[test]
    fn offset_and_nothing() {
        assert!((Moments::of(&[0.25; 1000]).mean() - 0.25).abs() < 1e-12);
        assert_eq!((Moments::of(&[]).power(), Moments::of(&[]).mean()), (0.0, 0.0));
    }
}
