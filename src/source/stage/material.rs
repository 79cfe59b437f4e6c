//! A performer's rendered passages, scaled so that their levels are known.
//!
//! On each track the highest true peak of the loudest passage is 1.0, that of the ordinary material
//! 4 to 8 dB less. True peak: four times oversampled by a Kaiser-windowed sinc (ITU-R
//! BS.1770-5 Annex 2 asks for at least that rate), looked for only where a sample comes near the highest.

use std::ops::Range;

use super::cast::Player;
use super::dice::Dice;
use super::sounds::{self, Passage, Track};
use crate::units::{Db, Dbfs};

pub struct Material {
    /// One per microphone, ordinary phrases first.
    pub tracks: Vec<Vec<f32>>,
    pub ordinary: Vec<Range<usize>>,
    pub loudest: Vec<Range<usize>>,
}

impl Material {
    pub fn new(player: Player, dice: &mut Dice, rate: f64) -> Self {
        let ordinary = typical(player, dice, rate);
        let loudest = sounds::perform(player, Passage::Loudest, dice, rate);
        let step = 10f64.powf(-dice.between(4.3, 6.9) / 20.0);
        Self::joined(ordinary, step, loudest)
    }

    /// Nothing but one hit of a drum, or of others the loudest passage.
    pub fn hits(player: Player, dice: &mut Dice, rate: f64) -> Self {
        Self::joined(Vec::new(), 1.0, sounds::hit(player, dice, rate))
    }

    /// Nothing but the loudest passage.
    pub fn steady(player: Player, dice: &mut Dice, rate: f64) -> Self {
        Self::joined(Vec::new(), 1.0, sounds::perform(player, Passage::Loudest, dice, rate))
    }

    fn joined(mut ordinary: Vec<Track>, step: f64, mut loudest: Vec<Track>) -> Self {
        let split = ordinary.first().map_or(0, |track| track.samples.len());
        let moved = |phrase: &Range<usize>| phrase.start + split..phrase.end + split;
        let loud_phrases = loudest.first().map_or(Vec::new(), |track| track.phrases.iter().map(moved).collect());
        let phrases = ordinary.first().map_or(Vec::new(), |track| track.phrases.clone());
        ordinary.iter_mut().for_each(|track| scale_to(track, step));
        loudest.iter_mut().for_each(|track| scale_to(track, 1.0));
        let mut before = ordinary.into_iter().map(|track| track.samples);
        let tracks = loudest
            .into_iter()
            .map(|track| {
                let mut samples = before.next().unwrap_or_default();
                samples.reserve_exact(track.samples.len());
                samples.extend(track.samples);
                samples.shrink_to_fit();
                samples
            })
            .collect();
        Self { tracks, ordinary: phrases, loudest: loud_phrases }
    }
}

/// A take that is not like its kind is played again, a few times at most.
fn typical(player: Player, dice: &mut Dice, rate: f64) -> Vec<Track> {
    let (least, most) = player.crest();
    let mut tracks = Vec::new();
    for _ in 0..6 {
        tracks = sounds::perform(player, Passage::Ordinary, dice, rate);
        let crests = tracks.iter().map(|track| active_crest(&track.samples, rate));
        if crests.into_iter().all(|crest| least + CREST_MARGIN <= crest && crest <= most - CREST_MARGIN) {
            break;
        }
    }
    tracks
}

/// Within the range of a kind: what the choice of phrases and the noise of a channel may add.
const CREST_MARGIN: Db = Db::new(0.8);

/// Peak (95th percentile of 400 ms windows) over RMS, in the frames of 100 ms within 30 dB of the loud ones
/// (95th percentile).
fn active_crest(samples: &[f32], rate: f64) -> Db {
    let frames = samples.chunks_exact((0.1 * rate) as usize);
    let frames: Vec<(f64, f64)> = frames
        .map(|frame| {
            let power = frame.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / frame.len() as f64;
            (power, f64::from(frame.iter().fold(0f32, |peak, x| peak.max(x.abs()))))
        })
        .collect();
    let loud = percentile_95(frames.iter().map(|frame| frame.0).collect());
    let active: Vec<usize> = (0..frames.len()).filter(|&index| frames[index].0 > loud / 1000.0).collect();
    let level = active.iter().map(|&index| frames[index].0).sum::<f64>() / active.len().max(1) as f64;
    let window = |&index: &usize| frames[index.saturating_sub(3)..=index].iter().fold(0.0, |a: f64, b| a.max(b.1));
    Dbfs::from_amplitude(percentile_95(active.iter().map(window).collect())) - Dbfs::from_power(level)
}

fn percentile_95(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 95 / 100).copied().unwrap_or(0.0)
}

fn scale_to(track: &mut Track, peak: f64) {
    let factor = (peak / true_peak(&track.samples)) as f32;
    track.samples.iter_mut().for_each(|sample| *sample *= factor);
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
        let sine: Vec<f32> =
            (0..400).map(|n| (std::f64::consts::FRAC_PI_2 * (f64::from(n) + 0.5)).sin() as f32).collect();
        // A sudden start rings, as it must; only the inside is a sine.
        let faded: Vec<f32> =
            sine.iter().enumerate().map(|(n, x)| x * (n.min(399 - n) as f32 / 100.0).min(1.0)).collect();
        assert!((20.0 * true_peak(&faded).log10()).abs() < 0.05, "{}", true_peak(&faded));
        assert!(true_peak(&[]) > 0.0);
    }
}
