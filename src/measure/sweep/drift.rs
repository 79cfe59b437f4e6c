//! Two clocks that do not run alike, told by one sweep, and a capture put back on the clock that sent.
//!
//! Drift in parts per million: positive when the capture comes out longer. A sweep passes high frequencies later than
//! low ones, so a slow clock makes high frequencies of the direct sound and of each early reflection late, by drift ×
//! the time of passing. The drift is what has to be taken back until the first 10 and 30 ms of it, with the part of
//! its colour that has minimum phase taken out, stand sharpest (fourth over squared second power of the envelope).
//! A loudspeaker whose crossover turns the phase without minimum phase looks like some drift: one sweep cannot tell
//! them apart, two can ([`between`]). Looked for within ±300 ppm; less than one sweep can tell is 0.

use std::f64::consts::{PI, TAU};

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use super::recognise::Placed;

const WIDEST: f64 = 300e-6;
/// Looked at from the direct sound on, in seconds.
const STRETCHES: [f64; 2] = [0.01, 0.03];
/// Share of the early response within half a millisecond of its top that makes a direct sound clear.
const CLEAR: f64 = 0.5;
/// Less than this cannot be told from none: where the direct sound is clear and both stretches agree, and otherwise.
const LEAST_CLEAR: f64 = 6e-6;
const LEAST_OTHERWISE: f64 = 20e-6;
const LENGTH: usize = 8192;
/// Used for it, in hertz, as far as the sweep goes.
const BAND: [f64; 2] = [400.0, 10_000.0];

/// In parts of one, not of a million, from a response that holds the direct sound.
pub(super) fn estimate(response: &[f64], placed: &Placed, rate: f64) -> f64 {
    let [Some(short), Some(long)] = STRETCHES.map(|stretch| sharpest(response, placed, rate, stretch)) else {
        return 0.0;
    };
    let drift = 0.5 * (short.drift + long.drift);
    let clear = long.direct > CLEAR && (short.drift - long.drift).abs() < LEAST_CLEAR;
    if drift.abs() < if clear { LEAST_CLEAR } else { LEAST_OTHERWISE } { 0.0 } else { drift }
}

/// What a stretch of the response tells.
struct Sharpest {
    drift: f64,
    /// Share of its energy within half a millisecond of its top.
    direct: f64,
}

fn sharpest(response: &[f64], placed: &Placed, rate: f64, stretch: f64) -> Option<Sharpest> {
    let bins = sharp(response, placed, rate, stretch)?;
    let mut planner = FftPlanner::new();
    let back = planner.plan_fft_inverse(LENGTH);
    let step = rate / LENGTH as f64;
    // Late by drift × time of passing; the delay common to all is left out.
    let late = |hz: f64| TAU * placed.slope * (hz * (hz / 3000.0).ln() - hz);
    let mut work = vec![Complex::default(); LENGTH];
    let mut sharpness = |drift: f64| {
        work.fill(Complex::default());
        for (k, bin) in bins.iter().enumerate().filter(|(_, bin)| **bin != Complex::default()) {
            work[k] = bin * Complex::from_polar(1.0, drift * late(k as f64 * step));
        }
        back.process(&mut work);
        let (second, fourth) = work.iter().map(Complex::norm_sqr).fold((0.0, 0.0), |(s, f), x| (s + x, f + x * x));
        fourth / (second * second)
    };
    let steps = 60;
    let drift = |n: i32| f64::from(n) * WIDEST / f64::from(steps);
    let values: Vec<f64> = (-steps..=steps).map(|n| sharpness(drift(n))).collect();
    let best = (0..values.len()).max_by(|a, b| values[*a].total_cmp(&values[*b]))?;
    // Golden section around the best step.
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    let (mut low, mut high) = (drift(best as i32 - steps - 1), drift(best as i32 - steps + 1));
    for _ in 0..24 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if sharpness(a) > sharpness(b) { high = b } else { low = a }
    }
    let drift = 0.5 * (low + high);
    sharpness(drift);
    let power: Vec<f64> = work.iter().map(Complex::norm_sqr).collect();
    let top = (0..LENGTH).max_by(|a, b| power[*a].total_cmp(&power[*b])).unwrap_or(0);
    let near = (0.0005 * rate) as usize;
    let direct: f64 = (0..=2 * near).map(|n| power[(top + LENGTH + n - near) % LENGTH]).sum();
    Some(Sharpest { drift, direct: direct / power.iter().sum::<f64>() })
}

/// The early response's positive frequencies, white and without the phase that goes with its colour.
fn sharp(response: &[f64], placed: &Placed, rate: f64, stretch: f64) -> Option<Vec<Complex<f64>>> {
    let top = (0..response.len()).max_by(|a, b| response[*a].abs().total_cmp(&response[*b].abs()))?;
    let (before, after) = ((0.002 * rate) as usize, ((stretch * rate) as usize).min(LENGTH / 2));
    let from = top.saturating_sub(before);
    let mut time = vec![Complex::default(); LENGTH];
    for (n, sample) in response[from..].iter().take(before + after).enumerate() {
        let fade = 0.5 + 0.5 * (PI * (n as f64 / (before + after) as f64 * 2.0 - 1.0).max(0.0)).cos();
        time[n] = Complex::new(sample * fade, 0.0);
    }
    let mut planner = FftPlanner::new();
    let (there, back) = (planner.plan_fft_forward(LENGTH), planner.plan_fft_inverse(LENGTH));
    there.process(&mut time);
    let step = rate / LENGTH as f64;
    let powers: Vec<f64> = time.iter().map(Complex::norm_sqr).collect();
    let most = powers.iter().fold(0.0, |most: f64, power| most.max(*power));
    if most.is_nan() || most <= 0.0 {
        return None;
    }
    // Colour: power in a third of an octave around, on both halves alike.
    let sums: Vec<f64> = std::iter::once(0.0)
        .chain(powers.iter().scan(0.0, |sum, power| {
            *sum += power;
            Some(*sum)
        }))
        .collect();
    let width = 2f64.powf(1.0 / 6.0);
    let colour = |k: usize| {
        let k = k.clamp((0.8 * placed.low / step) as usize + 1, (placed.high / step) as usize);
        let (a, b) = ((k as f64 / width) as usize, (k as f64 * width) as usize + 1);
        ((sums[b.min(LENGTH / 2)] - sums[a]) / (b.min(LENGTH / 2) - a) as f64 + 1e-8 * most).ln() * 0.5
    };
    let half: Vec<f64> = (0..=LENGTH / 2).map(colour).collect();
    let mut cepstrum: Vec<Complex<f64>> = (0..LENGTH).map(|k| Complex::new(half[k.min(LENGTH - k)], 0.0)).collect();
    back.process(&mut cepstrum);
    // Causal part of the cepstrum: the minimum phase (A. V. Oppenheim, R. W. Schafer, ch. 12).
    let scale = 1.0 / LENGTH as f64;
    for (n, value) in cepstrum.iter_mut().enumerate() {
        let weight = if n == 0 || n == LENGTH / 2 {
            1.0
        } else if n < LENGTH / 2 {
            2.0
        } else {
            0.0
        };
        *value *= weight * scale;
    }
    there.process(&mut cepstrum);
    let [low, high] = [BAND[0].max(1.1 * placed.low), BAND[1].min(0.95 * placed.high)];
    let edge = |hz: f64| {
        if hz <= low || hz >= high {
            return 0.0;
        }
        let octaves = (hz / low).log2().min((high / hz).log2());
        0.5 - 0.5 * (PI * (2.0 * octaves).min(1.0)).cos()
    };
    let white = |k: usize| time[k] / cepstrum[k].exp() * edge(k as f64 * step);
    Some((0..=LENGTH / 2).map(white).collect())
}

/// Drift from the delays, in samples, of two equal sweeps sent `apart` samples one after the other.
pub fn between(first: f64, second: f64, apart: f64) -> Option<f64> {
    let drift = 1e6 * (second - first) / apart;
    (apart > 0.0 && drift.abs() <= 1e6 * WIDEST).then_some(drift)
}

/// The capture as the sending clock would have taken it.
pub(super) fn corrected(captured: &[f64], drift: f64) -> Vec<f64> {
    let table = Kernel::new();
    let count = (captured.len() as f64 / (1.0 + drift)) as usize;
    (0..count).map(|n| table.at(captured, n as f64 * (1.0 + drift))).collect()
}

/// A windowed sinc in steps fine enough to be read off straight lines (J. O. Smith, 2002).
struct Kernel(Vec<f64>);

const CROSSINGS: usize = 24;
const FINE: usize = 512;

impl Kernel {
    fn new() -> Self {
        let value = |n: usize| {
            let x = n as f64 / FINE as f64;
            let sinc = if n == 0 { 1.0 } else { (PI * x).sin() / (PI * x) };
            sinc * (0.5 * PI * x / CROSSINGS as f64).cos().powi(2)
        };
        Self((0..=CROSSINGS * FINE + 1).map(value).collect())
    }

    fn at(&self, samples: &[f64], place: f64) -> f64 {
        let first = (place as usize).saturating_sub(CROSSINGS - 1);
        let last = (place as usize + CROSSINGS).min(samples.len().saturating_sub(1));
        let one = |n: usize| {
            let x = (n as f64 - place).abs() * FINE as f64;
            let (k, part) = (x as usize, x.fract());
            let (a, b) = (self.0[k.min(CROSSINGS * FINE)], self.0[(k + 1).min(CROSSINGS * FINE + 1)]);
            samples[n] * (a + part * (b - a))
        };
        (first..=last).map(one).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the sine itself.
    #[test]
    fn a_slow_clock_is_put_right() {
        for drift in [-200e-6, 100e-6] {
            let wave = |place: f64| (TAU * 9000.0 * place / 48_000.0).sin();
            let captured: Vec<f64> = (0..96_000).map(|n| wave(f64::from(n) / (1.0 + drift))).collect();
            let right = corrected(&captured, drift);
            let worst = (1000..90_000).map(|n| (right[n] - wave(n as f64)).abs()).fold(0.0, f64::max);
            assert!(worst < 1e-3, "{worst}");
        }
    }

    #[test]
    fn two_sweeps_tell_it() {
        assert_eq!(between(100.0, 148.0, 480_000.0), Some(100.0));
        assert_eq!(between(100.0, 900.0, 480_000.0), None);
        assert_eq!(between(1.0, 1.0, 0.0), None);
    }
}
