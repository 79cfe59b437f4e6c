//! A stretch of samples at another rate, all at once: for short excerpts on their way to an output.
//!
//! In and out: amplitudes at rates in Hz. A sinc, cut by a Hann window of 32 zero crossings a side, at 0.95 of the lower
//! rate's half (J. O. Smith, "Digital Audio Resampling", 2002: band-limited interpolation). Each output sample is
//! divided by the sum of its own weights, so that a constant stays one. Equal rates give the samples themselves; none
//! give none; NaN spreads over its neighbourhood, so it is taken out before.

use std::f64::consts::PI;

use crate::units::SampleRate;

const CROSSINGS: f64 = 32.0;
const PASSED: f64 = 0.95;

pub fn resample(samples: &[f32], from: SampleRate, to: SampleRate) -> Vec<f32> {
    if from == to || samples.is_empty() {
        return samples.to_vec();
    }
    let step = f64::from(from.get()) / f64::from(to.get());
    // In turns of the input's own rate.
    let cut = PASSED * (1.0 / step).min(1.0);
    let reach = CROSSINGS / cut;
    let frames = (samples.len() as u64 * u64::from(to.get()) / u64::from(from.get())) as usize;
    (0..frames).map(|frame| at(samples, frame as f64 * step, cut, reach)).collect()
}

/// As a clock takes it that runs fast by this share: so much longer.
pub fn stretched(samples: &[f32], by: f64) -> Vec<f32> {
    if by == 0.0 || !by.is_finite() || samples.is_empty() {
        return samples.to_vec();
    }
    let frames = (samples.len() as f64 * (1.0 + by)) as usize;
    let reach = CROSSINGS / PASSED;
    (0..frames).map(|frame| at(samples, frame as f64 / (1.0 + by), PASSED, reach)).collect()
}

/// The value between samples.
fn at(samples: &[f32], place: f64, cut: f64, reach: f64) -> f32 {
    let first = (place - reach).ceil().max(0.0) as usize;
    let last = ((place + reach).floor() as usize).min(samples.len() - 1);
    let (mut sum, mut weights) = (0.0, 0.0);
    for (index, sample) in samples.iter().enumerate().take(last + 1).skip(first) {
        let away = index as f64 - place;
        let x = PI * cut * away;
        let sinc = if x.abs() < 1e-9 { 1.0 } else { x.sin() / x };
        let weight = sinc * 0.5 * (1.0 + (PI * away / reach).cos());
        sum += weight * f64::from(*sample);
        weights += weight;
    }
    if weights.abs() < 1e-9 { 0.0 } else { (sum / weights) as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn rate(hz: u32) -> SampleRate {
        SampleRate::new(hz).unwrap()
    }

    /// Against the sine itself: at the new rate it is the same wave.
    #[test]
    fn a_sine_stays_the_same_wave() {
        for (from, to) in [(44_100, 48_000), (48_000, 44_100), (8_000, 48_000), (96_000, 44_100)] {
            let wave = |hz: u32| move |frame: usize| (TAU * 997.0 * frame as f64 / f64::from(hz)).sin();
            let samples: Vec<f32> = (0..from as usize).map(wave(from)).map(|x| x as f32).collect();
            let out = resample(&samples, rate(from), rate(to));
            assert_eq!(out.len(), to as usize);
            let inside = to as usize / 10..to as usize * 9 / 10;
            let worst = inside.map(|n| (f64::from(out[n]) - wave(to)(n)).abs()).fold(0.0, f64::max);
            assert!(worst < 0.002, "{from} to {to}: {worst}");
        }
    }

    /// Above the new rate's half there is nothing left that could fold down: 15 kHz at 16 kHz.
    #[test]
    fn what_the_new_rate_cannot_hold_is_gone() {
        let samples: Vec<f32> = (0..48_000).map(|n| (TAU * 15_000.0 * f64::from(n) / 48_000.0).sin() as f32).collect();
        let out = resample(&samples, rate(48_000), rate(16_000));
        let loudest = out[1_600..14_400].iter().fold(0.0, |most: f32, x| most.max(x.abs()));
        assert!(loudest < 0.001, "{loudest}");
    }

    #[test]
    fn nothing_is_nothing_and_a_constant_is_one() {
        assert!(resample(&[], rate(44_100), rate(48_000)).is_empty());
        assert!(resample(&[0.5; 3], rate(44_100), rate(8_000)).is_empty());
        let out = resample(&[0.5; 100], rate(44_100), rate(48_000));
        assert!(out.iter().all(|x| (x - 0.5).abs() < 1e-6));
    }
}
