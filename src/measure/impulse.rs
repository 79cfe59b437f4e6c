//! An impulse response and where in it time begins.
//!
//! Samples are the response's amplitudes (captured over sent), `zero` is the sample at which what was sent left;
//! what lies before it is pre-ringing of the band. The band in hertz is where the response is known. Source of the
//! start: ISO 3382-1:2009, A.2: the direct sound begins where the response first comes within 20 dB of its
//! maximum. A response with nothing in it has no start.

use crate::units::{Hertz, SampleRate, Seconds};

#[derive(Clone, Debug)]
pub struct Impulse {
    pub rate: SampleRate,
    samples: Vec<f64>,
    zero: usize,
    pub low: Hertz,
    pub high: Hertz,
}

impl Impulse {
    /// `None`: no samples, a value that is not finite, `zero` beyond them, or a band upside down.
    pub fn new(rate: SampleRate, samples: Vec<f64>, zero: usize, low: Hertz, high: Hertz) -> Option<Self> {
        let sound = zero < samples.len() && samples.iter().all(|sample| sample.is_finite());
        let band = low.get() >= 0.0 && low.get() < high.get();
        (sound && band).then_some(Self { rate, samples, zero, low, high })
    }

    pub fn samples(&self) -> &[f64] {
        &self.samples
    }

    pub fn zero(&self) -> usize {
        self.zero
    }

    /// The sample at which the direct sound begins.
    pub fn start(&self) -> Option<usize> {
        start(&self.samples)
    }

    /// Whether the octave around a midband frequency lies within the band, but for a hair.
    pub(super) fn reaches(&self, centre: f64) -> bool {
        centre / 2f64.sqrt() >= 0.8 * self.low.get() && centre * 2f64.sqrt() <= 1.05 * self.high.get()
    }

    /// From what was sent to the direct sound.
    pub fn delay(&self) -> Option<Seconds> {
        let start = self.start()? as f64 - self.zero as f64;
        Some(Seconds::new(start / f64::from(self.rate.get())))
    }
}

/// The first sample within 20 dB of the greatest.
pub(super) fn start(samples: &[f64]) -> Option<usize> {
    let most = samples.iter().fold(0.0, |most: f64, sample| most.max(sample.abs()));
    if most > 0.0 { samples.iter().position(|sample| sample.abs() >= 0.1 * most) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn impulse(samples: Vec<f64>, zero: usize) -> Option<Impulse> {
        Impulse::new(SampleRate::new(48_000)?, samples, zero, Hertz::new(100.0), Hertz::new(12_000.0))
    }

    #[test]
    fn the_direct_sound_begins_twenty_decibels_under_the_maximum() {
        let heard = impulse([vec![0.0; 100], vec![0.09, 0.11, -1.0, 0.5]].concat(), 53).unwrap();
        assert_eq!(heard.start(), Some(101));
        assert!((heard.delay().unwrap().get() - 0.001).abs() < 1e-12);
        assert_eq!(impulse(vec![0.0; 9], 0).unwrap().start(), None);
    }

    #[test]
    fn nonsense_is_none() {
        assert!(impulse(vec![], 0).is_none());
        assert!(impulse(vec![f64::NAN], 0).is_none());
        assert!(impulse(vec![1.0], 1).is_none());
        let rate = SampleRate::new(48_000).unwrap();
        assert!(Impulse::new(rate, vec![1.0], 0, Hertz::new(9.0), Hertz::new(f64::NAN)).is_none());
    }
}
