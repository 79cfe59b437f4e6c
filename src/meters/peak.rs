//! Sample peak and true peak of one channel, in full-scale amplitudes: over hop, frame and whole take.
//!
//! Sample peak is the largest magnitude. True peak is the largest of it and of the interpolated values
//! between the samples (ITU-R BS.1770-5 Annex 2, [`crate::dsp::oversample`]), so it never lies under it.
//! The interpolator looks 11 samples back: a hop's true peak covers the half sample grid up to 5.5
//! samples before the hop's end. After a gap the values that would span it are left out. Silence is 0.

use crate::dsp::lanes;
use crate::dsp::oversample;

/// Highest values since a point in time.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Peaks {
    pub sample: f32,
    pub true_peak: f32,
}

impl Peaks {
    /// Of `samples[start..]`; the samples before it are history, unless `fresh` after a gap.
    pub fn of(samples: &[f32], start: usize, fresh: bool) -> Self {
        let sample = lanes::peak(&samples[start..]);
        let history = if fresh { 0 } else { oversample::HISTORY };
        let between = oversample::interpolated_peak(&samples[start - history..]);
        Self { sample, true_peak: between.max(sample) }
    }

    /// What the interpolator still holds when nothing follows: the values between the last samples.
    pub fn after(samples: &[f32]) -> Self {
        const HISTORY: usize = oversample::HISTORY;
        let mut tail = [0f32; 2 * HISTORY];
        let kept = samples.len().min(HISTORY);
        tail[HISTORY - kept..HISTORY].copy_from_slice(&samples[samples.len() - kept..]);
        Self { sample: 0.0, true_peak: oversample::interpolated_peak(&tail) }
    }

    pub fn raise(&mut self, other: Self) {
        self.sample = self.sample.max(other.sample);
        self.true_peak = self.true_peak.max(other.true_peak);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sine at a quarter of the sample rate with phase 45° has its crests half-way between the samples,
    /// 3.01 dB above them (BS.1770-5 Annex 2 names this as the worst case of a sample peak meter).
    #[test]
    fn crests_between_samples() {
        let sine: Vec<f32> =
            (0..400).map(|i| (std::f64::consts::FRAC_PI_2 * (f64::from(i) + 0.5)).sin() as f32).collect();
        let peaks = Peaks::of(&sine, 100, false);
        assert!((20.0 * peaks.sample.log10() + 3.0103).abs() < 1e-3);
        assert!(20.0 * peaks.true_peak.log10() < 0.2 && 20.0 * peaks.true_peak.log10() > -0.4);
    }

    #[test]
    fn history_tail_and_fresh_start() {
        let mut samples = [0f32; 60];
        samples[29] = 1.0;
        assert_eq!(Peaks::of(&samples, 30, true).true_peak, 0.0);
        assert!(Peaks::of(&samples, 30, false).true_peak > 0.9);
        assert!(Peaks::after(&samples[..30]).true_peak > 0.9);
        assert_eq!(Peaks::after(&samples).true_peak, 0.0);
        assert_eq!(Peaks::after(&[]).true_peak, 0.0);
    }
}
