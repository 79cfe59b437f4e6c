//! A sine that starts softly, changes its level softly, and stops within 50 ms.
//!
//! Input: rate in Hz, pitch in Hz, levels as sine peaks in dBFS. Output: mono `f32`, 1.0 = full scale. Every
//! change of level, in, out or between, follows a raised cosine of 50 ms, so the envelope never leaves the
//! span between the two levels. The first level is −30 dBFS always; none is above −10 dBFS. After `stop`
//! and its ramp every sample is exactly zero, for good. Pure arithmetic: no clock, no allocation.

use std::f64::consts::{PI, TAU};

use crate::units::{Dbfs, Hertz, SampleRate, Seconds};

/// Where every tone begins.
pub const TONE_START: Dbfs = Dbfs::new(-30.0);
/// The second level of the test for an input that rides its own level: 10 dB up.
pub const TONE_STEP: Dbfs = Dbfs::new(-20.0);
/// No tone is ever louder.
pub const TONE_HIGHEST: Dbfs = Dbfs::new(-10.0);
pub const TONE_PITCH: Hertz = Hertz::new(1_000.0);
/// How long every change of level takes.
pub const RAMP: Seconds = Seconds::new(0.05);

const LOWEST_PITCH: f64 = 20.0;
/// Of the sample rate: clear of the converter's own filter.
const HIGHEST_PITCH: f64 = 0.45;

pub struct ToneGenerator {
    /// In turns, 0 to 1.
    phase: f64,
    step: f64,
    ramp: Ramp,
    stopping: bool,
}

impl ToneGenerator {
    /// `None` for a pitch below 20 Hz, above 0.45 of the rate, or NaN.
    pub fn new(rate: SampleRate, pitch: Hertz) -> Option<Self> {
        let highest = Self::highest_pitch(rate);
        if !(LOWEST_PITCH..=highest.get()).contains(&pitch.get()) {
            return None;
        }
        let frames = (RAMP.get() * f64::from(rate.get())) as u32;
        let mut ramp = Ramp { from: 0.0, to: 0.0, at: frames, frames };
        ramp.aim(TONE_START.amplitude());
        Some(Self { phase: 0.0, step: pitch.get() / f64::from(rate.get()), ramp, stopping: false })
    }

    pub fn highest_pitch(rate: SampleRate) -> Hertz {
        Hertz::new(HIGHEST_PITCH * f64::from(rate.get()))
    }

    /// Glides to `level`, at most `TONE_HIGHEST`; a level that is no number and one after `stop` do nothing.
    pub fn set_level(&mut self, level: Dbfs) {
        if !self.stopping && !level.get().is_nan() {
            self.ramp.aim(level.min(TONE_HIGHEST).amplitude());
        }
    }

    pub fn stop(&mut self) {
        if !self.stopping {
            self.stopping = true;
            self.ramp.aim(0.0);
        }
    }

    /// Nothing but zeros from now on.
    pub fn is_over(&self) -> bool {
        self.stopping && self.ramp.is_done()
    }

    pub fn fill(&mut self, out: &mut [f32]) {
        for sample in out {
            *sample = (self.ramp.next() * (TAU * self.phase).sin()) as f32;
            self.phase = (self.phase + self.step).fract();
        }
    }
}

/// A raised cosine from one amplitude to another.
struct Ramp {
    from: f64,
    to: f64,
    at: u32,
    frames: u32,
}

impl Ramp {
    fn aim(&mut self, to: f64) {
        self.from = self.now();
        self.to = to;
        self.at = 0;
    }

    fn is_done(&self) -> bool {
        self.at >= self.frames
    }

    fn now(&self) -> f64 {
        if self.is_done() {
            return self.to;
        }
        let part = f64::from(self.at) / f64::from(self.frames);
        self.from + (self.to - self.from) * 0.5 * (1.0 - (PI * part).cos())
    }

    fn next(&mut self) -> f64 {
        let now = self.now();
        self.at = self.at.saturating_add(1).min(self.frames);
        now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATES: [u32; 6] = [8_000, 11_025, 44_100, 48_000, 96_000, 192_000];

    fn generator(rate: u32, pitch: f64) -> ToneGenerator {
        let rate = SampleRate::new(rate).expect("a rate");
        ToneGenerator::new(rate, Hertz::new(pitch)).expect("a pitch")
    }

    fn play(tone: &mut ToneGenerator, frames: usize) -> Vec<f32> {
        let mut out = vec![f32::NAN; frames];
        tone.fill(&mut out);
        out
    }

    fn peak(samples: &[f32]) -> f64 {
        samples.iter().fold(0.0, |peak, sample| f64::max(peak, f64::from(sample.abs())))
    }

    fn peak_dbfs(samples: &[f32]) -> f64 {
        Dbfs::from_amplitude(peak(samples)).get()
    }

    /// The first level is −30 dBFS, from zero, with an envelope that only rises for 50 ms.
    #[test]
    fn starts_at_minus_30() {
        let mut tone = generator(48_000, 1_000.0);
        let start = play(&mut tone, 2_400);
        assert_eq!(start[0], 0.0);
        let periods: Vec<f64> = start.chunks(48).map(peak).collect();
        assert!(periods.windows(2).all(|pair| pair[0] < pair[1]), "{periods:?}");
        // A raised cosine stands at half way after half its time.
        let half = peak(&start[1_176..1_224]) / TONE_START.amplitude();
        assert!((half - 0.5).abs() < 0.02, "{half}");
        let steady = peak_dbfs(&play(&mut tone, 48_000));
        assert!((steady + 30.0).abs() < 1e-5, "{steady}");
    }

    /// The step that shows an input riding its own level is 10 dB.
    #[test]
    fn steps_by_10_db() {
        let mut tone = generator(48_000, 1_000.0);
        play(&mut tone, 4_800);
        let before = peak_dbfs(&play(&mut tone, 4_800));
        tone.set_level(TONE_STEP);
        play(&mut tone, 2_400);
        let after = peak_dbfs(&play(&mut tone, 4_800));
        assert!((after - before - 10.0).abs() < 1e-5, "{before} to {after}");
    }

    /// 50 ms on the audio clock at every rate, wherever in its course the tone is stopped.
    #[test]
    fn stops_within_50_ms() {
        for rate in RATES {
            for before in [1, rate as usize / 100, rate as usize / 2] {
                let mut tone = generator(rate, 1_000.0);
                play(&mut tone, before);
                tone.stop();
                tone.set_level(TONE_STEP);
                let allowed = (f64::from(rate) * 0.05).floor() as usize;
                let end = play(&mut tone, allowed);
                assert!(peak(&end) <= TONE_START.amplitude());
                assert!(tone.is_over(), "{rate} Hz after {before} frames");
                assert_eq!(peak(&play(&mut tone, 1_000)), 0.0, "{rate} Hz after {before} frames");
            }
        }
    }

    /// Never above the higher of two levels, however often they change and wherever the glide is broken off.
    #[test]
    fn never_exceeds_its_level() {
        let mut tone = generator(44_100, 997.0);
        for (level, frames) in [(-20.0, 500), (-40.0, 300), (-20.0, 2_205), (-25.0, 1), (-20.0, 44_100)] {
            tone.set_level(Dbfs::new(level));
            assert!(peak(&play(&mut tone, frames)) <= f64::from(TONE_STEP.amplitude() as f32));
        }
        tone.set_level(Dbfs::new(0.0));
        let loudest = peak_dbfs(&play(&mut tone, 44_100));
        assert!((loudest + 10.0).abs() < 1e-3, "{loudest}");
        tone.set_level(Dbfs::new(f64::NAN));
        tone.set_level(Dbfs::new(f64::INFINITY));
        assert!(peak_dbfs(&play(&mut tone, 44_100)) < -9.999);
    }

    /// The best-fitting sine of the wanted pitch is taken away: what is left is rounding to `f32`, whose
    /// steps of 2^−24 of the value leave less than −140 dB. A pitch of 1 kHz that is off by 1 µHz leaves −115.
    #[test]
    fn pitch() {
        for (rate, pitch) in [(48_000, 1_000.0), (44_100, 1_000.0), (8_000, 3_600.0), (192_000, 20.0)] {
            let mut tone = generator(rate, pitch);
            play(&mut tone, rate as usize);
            let second: Vec<f64> = play(&mut tone, rate as usize).into_iter().map(f64::from).collect();
            let turn = |index: usize| (TAU * pitch * index as f64 / f64::from(rate)).sin_cos();
            let (mut cos, mut sin) = (0.0, 0.0);
            for (index, sample) in second.iter().enumerate() {
                sin += sample * turn(index).0 * 2.0 / f64::from(rate);
                cos += sample * turn(index).1 * 2.0 / f64::from(rate);
            }
            let rest = |(index, sample): (usize, &f64)| (sample - sin * turn(index).0 - cos * turn(index).1).powi(2);
            let left: f64 = second.iter().enumerate().map(rest).sum();
            let all: f64 = second.iter().map(|sample| sample * sample).sum();
            let beside = 10.0 * (left / all).log10();
            assert!(beside < -140.0, "{rate} Hz, {pitch} Hz: {beside} dB beside the tone");
        }
    }

    #[test]
    fn impossible_pitches() {
        let rate = SampleRate::new(8_000).expect("a rate");
        for pitch in [0.0, 19.9, 3_601.0, -1_000.0, f64::NAN, f64::INFINITY] {
            assert!(ToneGenerator::new(rate, Hertz::new(pitch)).is_none(), "{pitch}");
        }
    }

    /// The chunks that the sound system asks for do not matter.
    #[test]
    fn any_chunks_give_the_same() {
        let whole = play(&mut generator(48_000, 440.0), 5_000);
        let mut tone = generator(48_000, 440.0);
        let pieces: Vec<f32> = [1, 479, 0, 2_000, 2_520].iter().flat_map(|frames| play(&mut tone, *frames)).collect();
        assert_eq!(whole, pieces);
    }
}
