//! A few seconds of a recording, made safe to hear.
//!
//! In: mono amplitudes, 1.0 = full scale. Out: the same, turned down as a whole until no 50 ms of it has an RMS above
//! −20 dBFS and no sample stands above −10 dBFS; never turned up. It begins and ends in raised cosines of 10 ms, and so
//! does a stop: 10 ms after it every sample is exactly zero, for good. NaN and ±∞ are silence. Pure arithmetic: no
//! clock, and no allocation once it is made.

use super::once::{EDGE, Once, rise};
use crate::units::{Dbfs, SampleRate, Seconds};

/// The highest RMS of any 50 ms: where the tone's second level stands.
pub const EXCERPT_RMS: Dbfs = Dbfs::new(-20.0);
pub const EXCERPT_PEAK: Dbfs = Dbfs::new(-10.0);
const WINDOW: Seconds = Seconds::new(0.05);

pub struct Excerpt(Once);

impl Excerpt {
    pub fn new(mut samples: Vec<f32>, rate: SampleRate) -> Self {
        for sample in samples.iter_mut().filter(|sample| !sample.is_finite()) {
            *sample = 0.0;
        }
        let gain = gain(&samples, rate.frames(WINDOW).get() as usize);
        let edge = (rate.frames(EDGE).get() as usize).max(1);
        let frames = samples.len();
        for (index, sample) in samples.iter_mut().enumerate() {
            let near = index.min(frames - 1 - index);
            *sample = (f64::from(*sample) * gain * rise(near, edge)) as f32;
        }
        Self(Once::new(samples, rate))
    }

    pub(super) fn into_once(self) -> Once {
        self.0
    }

    pub fn stop(&mut self) {
        self.0.stop();
    }

    /// Nothing but zeros from now on.
    pub fn is_over(&self) -> bool {
        self.0.is_over()
    }

    pub fn fill(&mut self, out: &mut [f32]) {
        self.0.fill(out);
    }
}

/// What keeps every window and every sample within the limits; at most 1.
fn gain(samples: &[f32], window: usize) -> f64 {
    let peak = samples.iter().fold(0.0, |peak: f64, sample| peak.max(f64::from(*sample).abs()));
    let window = window.clamp(1, samples.len().max(1));
    let square = |sample: &f32| f64::from(*sample).powi(2);
    let mut sum: f64 = samples.iter().take(window).map(square).sum();
    let mut most = sum;
    for (gone, come) in samples.iter().zip(samples.iter().skip(window)) {
        sum += square(come) - square(gone);
        most = most.max(sum);
    }
    let rms = (most / window as f64).sqrt();
    let within = |limit: Dbfs, found: f64| if found > 0.0 { limit.amplitude() / found } else { 1.0 };
    within(EXCERPT_RMS, rms).min(within(EXCERPT_PEAK, peak)).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn sine(peak: f64, frames: usize) -> Vec<f32> {
        (0..frames).map(|n| (peak * (n as f64 * 0.13).sin()) as f32).collect()
    }

    fn played(excerpt: &mut Excerpt, frames: usize) -> Vec<f32> {
        let mut out = vec![f32::NAN; frames];
        excerpt.fill(&mut out);
        out
    }

    fn loudest(samples: &[f32], window: usize) -> f64 {
        let rms = |part: &[f32]| (part.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / part.len() as f64).sqrt();
        Dbfs::from_amplitude(samples.windows(window).step_by(97).map(rms).fold(0.0, f64::max)).get()
    }

    #[test]
    fn loud_ones_come_down_to_the_limit_and_quiet_ones_stay() {
        let out = played(&mut Excerpt::new(sine(1.0, 48_000), rate()), 48_000);
        assert!((loudest(&out, 2_400) + 20.0).abs() < 0.05, "{}", loudest(&out, 2_400));
        let quiet = sine(0.01, 48_000);
        let out = played(&mut Excerpt::new(quiet.clone(), rate()), 48_000);
        assert_eq!(out[1_000..47_000], quiet[1_000..47_000]);
        // A file of floating point may hold anything.
        let mut wild = sine(1e6, 48_000);
        (wild[100], wild[200], wild[300]) = (f32::NAN, f32::INFINITY, 1e30);
        let out = played(&mut Excerpt::new(wild, rate()), 48_000);
        assert!(out.iter().all(|x| x.is_finite() && f64::from(x.abs()) <= EXCERPT_PEAK.amplitude() + 1e-6));
        assert!(loudest(&out, 2_400) <= -19.99);
    }

    /// A click is short enough for the RMS; its peak is what is held down.
    #[test]
    fn a_click_is_held_by_its_peak() {
        let mut click = vec![0.0; 48_000];
        click[24_000] = 1.0;
        let out = played(&mut Excerpt::new(click, rate()), 48_000);
        assert!((Dbfs::from_amplitude(f64::from(out[24_000])).get() + 10.0).abs() < 1e-3);
    }

    #[test]
    fn it_begins_and_ends_in_ten_milliseconds() {
        let mut excerpt = Excerpt::new(vec![0.1; 48_000], rate());
        let out = played(&mut excerpt, 48_000);
        assert_eq!((out[0], out[47_999]), (0.0, 0.0));
        assert!((out[240] / 0.1 - 0.5).abs() < 0.01 && (out[47_999 - 240] / 0.1 - 0.5).abs() < 0.01);
        assert!((out[480] - 0.1).abs() < 1e-6);
        assert!(excerpt.is_over());
        assert!(played(&mut excerpt, 100).iter().all(|x| *x == 0.0));
    }

    /// 10 ms on the audio clock, wherever it is stopped, without a step.
    #[test]
    fn a_stop_is_silent_after_ten_milliseconds() {
        for before in [0, 1, 700, 20_000] {
            let mut excerpt = Excerpt::new(vec![0.1; 48_000], rate());
            let sounding = played(&mut excerpt, before);
            excerpt.stop();
            let mut fading = sounding.last().map_or(vec![0.0], |last| vec![*last]);
            fading.extend(played(&mut excerpt, 480));
            assert!(excerpt.is_over());
            let step = fading.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
            assert!(step < 0.001, "{before}: a step of {step}");
            assert!(played(&mut excerpt, 1_000).iter().all(|x| *x == 0.0));
        }
    }

    #[test]
    fn none_is_over_at_once() {
        let mut excerpt = Excerpt::new(Vec::new(), rate());
        assert!(excerpt.is_over());
        assert_eq!(played(&mut excerpt, 3), [0.0; 3]);
        assert_eq!(played(&mut Excerpt::new(vec![1.0], rate()), 2), [0.0; 2]);
    }
}
