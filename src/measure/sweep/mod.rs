//! Exponential sine sweeps: made, recognised, undone.
//!
//! x(t) = sin(2π·f₁·L·(e^(t/L) − 1)) with L = T / ln(f₂/f₁), raised-cosine fades at both ends. Frequencies in hertz,
//! times in seconds, peak in dBFS. Undoing it puts what is linear at t ≥ 0, and the k-th harmonic's image L·ln k
//! before it (A. Farina, AES 108, 2000). [`Taken`] holds one sent and one captured signal against each other;
//! [`Refusal`] says why there is no result. Silence, NaN and other signals than a sweep are refused, never measured.

mod agreement;
mod deconvolve;
mod drift;
mod gate;
mod pair;
mod quality;
mod recognise;
mod take;
#[cfg(test)]
mod tests;

pub use agreement::{Agreement, agreement};
use drift::{WIDEST, later, later_by_octave};
pub use pair::{Pair, drift};
pub use quality::{BandNoise, Refusal};
pub use recognise::Placed;
pub use take::{Clocks, Inverse, Taken};

use std::f64::consts::{PI, TAU};

use crate::units::{Dbfs, Hertz, SampleRate, Seconds};

/// How a sweep is made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sweep {
    low: Hertz,
    high: Hertz,
    length: Seconds,
    fade: Seconds,
    peak: Dbfs,
}

impl Sweep {
    /// 80 Hz to 12 kHz in 5 s, with fades of 10 ms: what a hall's loudspeakers carry.
    pub fn usual(peak: Dbfs) -> Option<Self> {
        Self::new(Hertz::new(80.0), Hertz::new(12_000.0), Seconds::new(5.0), Seconds::new(0.01), peak)
    }

    /// `None` unless it rises from at least 10 Hz, takes 0.1 s to 60 s, and its peak is at most full scale.
    pub fn new(low: Hertz, high: Hertz, length: Seconds, fade: Seconds, peak: Dbfs) -> Option<Self> {
        let rises = low.get() >= 10.0 && high.get() >= 1.1 * low.get() && high.get().is_finite();
        let lasts = (0.1..=60.0).contains(&length.get()) && fade.get() >= 0.0 && 2.0 * fade.get() <= length.get();
        (rises && lasts && peak.get() <= 0.0).then_some(Self { low, high, length, fade, peak })
    }

    pub fn low(&self) -> Hertz {
        self.low
    }

    pub fn high(&self) -> Hertz {
        self.high
    }

    pub fn length(&self) -> Seconds {
        self.length
    }

    /// Empty where the rate cannot carry it.
    pub fn samples(&self, rate: SampleRate) -> Vec<f32> {
        let rate = f64::from(rate.get());
        if self.high.get() >= 0.5 * rate {
            return Vec::new();
        }
        let (slope, length) = (self.slope(), self.length.get());
        let amplitude = (self.peak - Dbfs::new(0.0)).ratio();
        let count = (length * rate).round() as usize;
        let sample = |frame: usize| {
            let at = frame as f64 / rate;
            let ends = at.min((count - 1 - frame) as f64 / rate);
            let fade = if ends < self.fade.get() { 0.5 - 0.5 * (PI * ends / self.fade.get()).cos() } else { 1.0 };
            (amplitude * fade * (TAU * self.low.get() * slope * ((at / slope).exp() - 1.0)).sin()) as f32
        };
        (0..count).map(sample).collect()
    }

    /// When it passes a frequency, from its start.
    pub fn passes(&self, frequency: Hertz) -> Seconds {
        Seconds::new(self.slope() * (frequency.get() / self.low.get()).ln())
    }

    /// How long before the response the image of the k-th harmonic lies.
    pub fn lead(&self, harmonic: u32) -> Seconds {
        Seconds::new(self.slope() * f64::from(harmonic.max(1)).ln())
    }

    /// The inverse filter in time: the sweep backwards, its level falling by 6 dB an octave, so that both in a row
    /// make a band-limited pulse of height one. Source: Farina, as above.
    pub fn inverse(&self, rate: SampleRate) -> Vec<f64> {
        let samples = self.samples(rate);
        let hz = f64::from(rate.get());
        let slope = self.slope();
        let weight = |frame: usize| f64::from(samples[frame]) * (frame as f64 / hz / slope).exp();
        let power: f64 = (0..samples.len()).map(|frame| f64::from(samples[frame]) * weight(frame)).sum();
        // The pulse's height at its middle is what both add up to there.
        (0..samples.len()).rev().map(|frame| weight(frame) / power).collect()
    }

    /// Seconds in which its frequency grows by e.
    fn slope(&self) -> f64 {
        self.length.get() / (self.high.get() / self.low.get()).ln()
    }
}

#[cfg(test)]
mod making {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn usual() -> Sweep {
        Sweep::usual(Dbfs::new(-12.0)).unwrap()
    }

    /// Farina: frequency f₁·e^(t/L), from its own phase; 80 Hz to 12 kHz in 5 s passes 1 kHz at 2.52 s.
    #[test]
    fn the_sweep_rises_as_it_says() {
        let sweep = usual();
        let slope = 5.0 / 150f64.ln();
        assert!((sweep.passes(Hertz::new(1000.0)).get() - slope * 12.5f64.ln()).abs() < 1e-12);
        assert!((sweep.lead(2).get() - slope * 2f64.ln()).abs() < 1e-12);
        let samples = sweep.samples(rate());
        assert_eq!(samples.len(), 240_000);
        let peak = samples.iter().fold(0.0, |most: f32, sample| most.max(sample.abs()));
        assert!((20.0 * peak.log10() + 12.0).abs() < 0.01 && samples[0] == 0.0, "{peak}");
        let at = (sweep.passes(Hertz::new(1000.0)).get() * 48_000.0) as usize;
        let crossings = samples[at - 2400..at + 2400].windows(2).filter(|two| two[0] < 0.0 && two[1] >= 0.0).count();
        assert!((99..=101).contains(&crossings), "{crossings}");
    }

    /// Sweep and inverse in a row are one short pulse: height one, nothing else above −30 dB a millisecond away.
    #[test]
    fn sweep_and_inverse_make_a_pulse() {
        let sweep = usual();
        let samples: Vec<f64> = sweep.samples(rate()).iter().map(|sample| f64::from(*sample)).collect();
        let length = 1 << 19;
        let mut bins = crate::measure::fourier::spectrum(&samples, length);
        let inverse = crate::measure::fourier::spectrum(&sweep.inverse(rate()), length);
        bins.iter_mut().zip(&inverse).for_each(|(bin, inverse)| *bin *= inverse);
        let pulse = crate::measure::fourier::signal(bins, length);
        let top = samples.len() - 1;
        assert!((pulse[top] - 1.0).abs() < 1e-6, "{}", pulse[top]);
        let away = pulse.iter().enumerate().filter(|(n, _)| n.abs_diff(top) > 48);
        let most = away.map(|(_, sample)| sample.abs()).fold(0.0, f64::max);
        assert!(20.0 * most.log10() < -30.0, "{most}");
    }

    #[test]
    fn nonsense_is_none() {
        let (hz, s, db) = (Hertz::new, Seconds::new, Dbfs::new);
        assert!(Sweep::new(hz(f64::NAN), hz(1e4), s(5.0), s(0.01), db(-12.0)).is_none());
        assert!(Sweep::new(hz(1e4), hz(80.0), s(5.0), s(0.01), db(-12.0)).is_none());
        assert!(Sweep::new(hz(80.0), hz(1e4), s(1e9), s(0.01), db(-12.0)).is_none());
        assert!(Sweep::new(hz(80.0), hz(1e4), s(5.0), s(3.0), db(-12.0)).is_none());
        assert!(Sweep::new(hz(80.0), hz(1e4), s(5.0), s(0.01), db(1.0)).is_none());
        assert!(usual().samples(SampleRate::new(16_000).unwrap()).is_empty());
    }
}
