//! A performer's rendered passages, scaled so that their levels are known.
//!
//! The highest true peak of the loudest passage on the first track is 1.0, that of the ordinary
//! material 4 to 8 dB less. True peak: four times oversampled by a Kaiser-windowed sinc (ITU-R
//! BS.1770-5 Annex 2 asks for at least that rate), looked for only where a sample comes near the highest.

use std::ops::Range;

use super::cast::Player;
use super::dice::Dice;
use super::sounds::{self, Passage, Track};

pub struct Material {
    /// One per microphone, ordinary phrases first.
    pub tracks: Vec<Vec<f32>>,
    pub ordinary: Vec<Range<usize>>,
    pub loudest: Vec<Range<usize>>,
    /// The highest true peak of the loudest passage on each track.
    pub peaks: Vec<f64>,
}

impl Material {
    pub fn new(player: Player, dice: &mut Dice, rate: f64) -> Self {
        let mut ordinary = sounds::perform(player, Passage::Ordinary, dice, rate);
        let loudest = sounds::perform(player, Passage::Loudest, dice, rate);
        let step = dice.between(4.3, 6.9);
        let full = highest(&ordinary);
        scale(&mut ordinary, 10f64.powf(-step / 20.0) / full);
        Self::joined(ordinary, loudest)
    }

    /// Nothing but the loudest: one hit, or the loudest passage.
    pub fn hits(player: Player, dice: &mut Dice, rate: f64) -> Self {
        Self::joined(Vec::new(), sounds::hit(player, dice, rate))
    }

    pub fn steady(player: Player, dice: &mut Dice, rate: f64) -> Self {
        Self::joined(Vec::new(), sounds::perform(player, Passage::Loudest, dice, rate))
    }

    fn joined(ordinary: Vec<Track>, mut loudest: Vec<Track>) -> Self {
        let full = loudest.first().map_or(1.0, |track| true_peak(&track.samples));
        scale(&mut loudest, 1.0 / full);
        let peaks = loudest.iter().map(|track| true_peak(&track.samples)).collect();
        let offset = ordinary.first().map_or(0, |track| track.samples.len());
        let moved = |phrase: &Range<usize>| phrase.start + offset..phrase.end + offset;
        let loud_phrases = loudest.first().map_or(Vec::new(), |track| track.phrases.iter().map(moved).collect());
        let phrases = ordinary.first().map_or(Vec::new(), |track| track.phrases.clone());
        let mut before = ordinary.into_iter().map(|track| track.samples);
        let tracks = loudest
            .into_iter()
            .map(|track| {
                let mut samples = before.next().unwrap_or_default();
                samples.reserve_exact(track.samples.len());
                samples.extend(track.samples);
                samples
            })
            .collect();
        Self { tracks, ordinary: phrases, loudest: loud_phrases, peaks }
    }
}

fn scale(tracks: &mut [Track], factor: f64) {
    for sample in tracks.iter_mut().flat_map(|track| &mut track.samples) {
        *sample *= factor as f32;
    }
}

fn highest(tracks: &[Track]) -> f64 {
    tracks.iter().map(|track| true_peak(&track.samples)).fold(1e-9, f64::max)
}

const PHASES: usize = 4;
/// Samples to each side that the interpolation looks at.
const SPAN: usize = 16;

/// The highest absolute value of `samples`, also between them; at least 10⁻⁹.
pub fn true_peak(samples: &[f32]) -> f64 {
    let sample_peak = samples.iter().fold(1e-9f32, |peak, sample| peak.max(sample.abs()));
    let taps: Vec<[f64; 2 * SPAN]> = (1..PHASES).map(|phase| interpolator(phase as f64 / PHASES as f64)).collect();
    let mut peak = f64::from(sample_peak);
    for at in 0..samples.len() {
        // Between band-limited samples a peak rises above the greater neighbour by 3 dB at half the
        // Nyquist frequency; more only next to it, where these sounds have nothing.
        if samples[at].abs() < 0.6 * sample_peak {
            continue;
        }
        for gap in [at.wrapping_sub(1), at] {
            for taps in &taps {
                let sum: f64 = taps
                    .iter()
                    .enumerate()
                    .map(|(tap, weight)| {
                        let index = gap.wrapping_add(tap + 1).wrapping_sub(SPAN);
                        weight * samples.get(index).map_or(0.0, |&sample| f64::from(sample))
                    })
                    .sum();
                peak = peak.max(sum.abs());
            }
        }
    }
    peak
}

/// Weights of the samples 1 − SPAN … SPAN for the value at `fraction` of the way from sample 0 to 1.
fn interpolator(fraction: f64) -> [f64; 2 * SPAN] {
    std::array::from_fn(|tap| {
        let x = fraction + SPAN as f64 - 1.0 - tap as f64;
        let along = x / SPAN as f64;
        let window = bessel(8.0 * (1.0 - along * along).max(0.0).sqrt()) / bessel(8.0);
        let angle = std::f64::consts::PI * x;
        if angle == 0.0 { 1.0 } else { window * angle.sin() / angle }
    })
}

/// The modified Bessel function I₀ by its power series.
fn bessel(x: f64) -> f64 {
    let mut term = 1.0;
    let mut sum = 1.0;
    for n in 1..40 {
        term *= (x / (2.0 * f64::from(n))).powi(2);
        sum += term;
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sine of a quarter of the sample rate at 45° has samples of 0.707 and the true peak 1
    /// (EBU Tech 3341, case 16).
    #[test]
    fn a_peak_between_samples_is_found() {
        let sine: Vec<f32> = (0..400)
            .map(|n| (std::f64::consts::FRAC_PI_2 * f64::from(n) + std::f64::consts::FRAC_PI_4).sin() as f32)
            .collect();
        // A sudden start rings, as it must; only the inside is a sine.
        let faded: Vec<f32> =
            sine.iter().enumerate().map(|(n, x)| x * (n.min(399 - n) as f32 / 100.0).min(1.0)).collect();
        assert!((20.0 * true_peak(&faded).log10()).abs() < 0.05, "{}", true_peak(&faded));
        assert!(true_peak(&[]) > 0.0);
    }
}
