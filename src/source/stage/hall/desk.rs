//! What a desk does with the channels: equaliser, fader and mute of each, and the outputs they go to.
//!
//! In and out: amplitudes. A moved fader glides for 50 ms, a mute for 10 ms, evenly in amplitude, counted in
//! samples. Faders end at +10 dB; −∞ is off; NaN moves nothing.

use crate::dsp::biquad::EqBand;
use crate::dsp::equaliser::Equaliser;
use crate::units::{Db, SampleRate};

/// The upper end of a fader.
pub const TOP: Db = Db::new(10.0);
const FADER_SECONDS: f64 = 0.05;
const MUTE_SECONDS: f64 = 0.01;

/// A gain that glides.
pub struct Fader {
    at: Db,
    gain: f64,
    step: f64,
    left: u32,
    frames: u32,
}

impl Fader {
    fn new(at: Db, seconds: f64, rate: SampleRate) -> Self {
        let frames = ((seconds * f64::from(rate.get())) as u32).max(1);
        Self { at, gain: at.ratio(), step: 0.0, left: 0, frames }
    }

    pub fn at(&self) -> Db {
        self.at
    }

    pub fn set(&mut self, at: Db) {
        if !at.get().is_nan() {
            self.at = at.min(TOP);
            self.left = self.frames;
            self.step = (self.at.ratio() - self.gain) / f64::from(self.frames);
        }
    }

    fn next(&mut self) -> f64 {
        if self.left > 0 {
            self.left -= 1;
            self.gain = if self.left == 0 { self.at.ratio() } else { self.gain + self.step };
        }
        self.gain
    }
}

/// The way of a channel through the desk.
pub struct Strip {
    pub eq: Equaliser,
    pub fader: Fader,
    mute: Fader,
    /// After the equaliser and the mute: before and after the fader.
    pub before: Vec<f32>,
    pub after: Vec<f32>,
}

impl Strip {
    pub fn new(rate: SampleRate, hop: usize) -> Self {
        Self {
            eq: Equaliser::flat(rate),
            fader: Fader::new(Db::ZERO, FADER_SECONDS, rate),
            mute: Fader::new(Db::ZERO, MUTE_SECONDS, rate),
            before: vec![0.0; hop],
            after: vec![0.0; hop],
        }
    }

    pub fn set_open(&mut self, open: bool) {
        self.mute.set(if open { Db::ZERO } else { OFF });
    }

    pub fn is_open(&self) -> bool {
        self.mute.at == Db::ZERO
    }

    pub fn process(&mut self, sound: &[f32]) {
        let (before, after) = (&mut self.before[..sound.len()], &mut self.after[..sound.len()]);
        before.copy_from_slice(sound);
        self.eq.process(before);
        for (before, after) in before.iter_mut().zip(after) {
            *before *= self.mute.next() as f32;
            *after = *before * self.fader.next() as f32;
        }
    }
}

/// Nothing at all.
pub const OFF: Db = Db::new(f64::NEG_INFINITY);

/// An output: its mix, equaliser and fader, and the loudspeaker's end.
pub struct Bus {
    pub name: &'static str,
    pub eq: Equaliser,
    pub fader: Fader,
    /// What each channel gives: after its fader, or before it with this gain.
    pub feed: Vec<Share>,
    /// Where the loudspeaker bends, as an amplitude.
    pub limit: f32,
}

/// What a channel gives to an output.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Share {
    AfterFader,
    BeforeFader(f32),
}

impl Bus {
    pub fn new(name: &'static str, feed: Vec<Share>, fader: Db, limit: f64, rate: SampleRate) -> Self {
        let fader = Fader::new(fader.min(TOP), FADER_SECONDS, rate);
        Self { name, eq: Equaliser::flat(rate), fader, feed, limit: limit as f32 }
    }

    /// From the strips to what the loudspeaker sends.
    pub fn process(&mut self, strips: &[Strip], out: &mut [f32]) {
        self.mix(strips, out);
        self.shape(out);
        self.bend(out);
    }

    /// All channels that go here.
    pub fn mix(&self, strips: &[Strip], out: &mut [f32]) {
        out.fill(0.0);
        for (strip, share) in strips.iter().zip(&self.feed) {
            let (sound, gain) = match share {
                Share::AfterFader => (&strip.after, 1.0),
                Share::BeforeFader(gain) => (&strip.before, *gain),
            };
            for (out, sample) in out.iter_mut().zip(sound) {
                *out += gain * sample;
            }
        }
    }

    /// Equaliser and fader.
    pub fn shape(&mut self, out: &mut [f32]) {
        self.eq.process(out);
        out.iter_mut().for_each(|sample| *sample *= self.fader.next() as f32);
    }

    /// The loudspeaker bends softly: limit × tanh(x / limit).
    pub fn bend(&self, out: &mut [f32]) {
        out.iter_mut().for_each(|sample| *sample = self.limit * (*sample / self.limit).tanh());
    }

    pub fn bands(&self) -> impl Iterator<Item = EqBand> {
        self.eq.bands()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// −6 dB is a factor of 0.501; up to +10 dB; the glide ends exactly there.
    #[test]
    fn faders_stop_where_they_should() {
        let rate = SampleRate::new(48_000).unwrap();
        let mut fader = Fader::new(Db::ZERO, FADER_SECONDS, rate);
        for (to, gain) in [(-6.0, 0.501_187), (99.0, 3.162_278), (f64::NEG_INFINITY, 0.0), (-20.0, 0.1)] {
            fader.set(Db::new(to));
            fader.set(Db::new(f64::NAN));
            let end = (0..2400).map(|_| fader.next()).last().unwrap();
            assert!((end - gain).abs() < 1e-6, "{to}: {end}");
        }
    }

    /// Softly: small sounds go through as they are, none comes over the limit.
    #[test]
    fn a_loudspeaker_bends() {
        let rate = SampleRate::new(48_000).unwrap();
        let mut strip = Strip::new(rate, 4);
        let mut bus = Bus::new("Mains", vec![Share::AfterFader], Db::ZERO, 0.5, rate);
        strip.process(&[0.001, 0.5, 9.0, -9.0]);
        let mut out = [0.0; 4];
        bus.process(&[strip], &mut out);
        assert!((out[0] - 0.001).abs() < 1e-8 && (out[1] - 0.5 * 1f32.tanh()).abs() < 1e-6, "{out:?}");
        assert!(out[2] <= 0.5 && out[2] > 0.499 && out[3] == -out[2]);
    }
}
