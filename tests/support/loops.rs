//! Feedback loops with known truth, and notes in which nothing rings.
//!
//! The loop: microphone x(n) = s(n) + g · band(x(n − D)), where `band` is a resonance with gain 1 and no phase at f₀
//! (constant 0 dB peak, W3C Audio EQ Cookbook) and f₀ · D is a whole number. It rings at f₀ when g > 1 (Nyquist), and
//! grows at about 20 lg g dB in D plus the resonance's group delay Q / (π f₀); exactly: the root of 1 = L(z).

use std::f64::consts::{PI, TAU};

use super::signals::{Noise, amplitude};

pub const RATE: u32 = 48_000;

/// A loop and its truth.
#[derive(Clone, Copy, Debug)]
pub struct Loop {
    pub rate: u32,
    pub delay: usize,
    pub frequency: f64,
    pub q: f64,
    /// Loop gain over the limit from `from` to `to` seconds, dB.
    pub over: f64,
    pub from: f64,
    pub to: f64,
    /// Where the loudspeaker goes flat, dBFS.
    pub limit: f64,
}

impl Loop {
    /// Rings near `near` Hz with a delay near 12 ms.
    pub fn near(near: f64, over: f64) -> Self {
        let periods = (near * 0.012).round().max(1.0);
        let delay = (periods / near * f64::from(RATE)).round() as usize;
        let frequency = periods * f64::from(RATE) / delay as f64;
        Self { rate: RATE, delay, frequency, q: (near / 80.0).max(8.0), over, from: 2.0, to: 30.0, limit: -6.0 }
    }

    /// dB per second, from the dominant root by Newton's method on the loop's own transfer function.
    pub fn growth(&self) -> f64 {
        let rate = f64::from(self.rate);
        // z = e^(σ + jω): σ found by bisection on |L| with the phase held, which it is at the resonance's centre.
        let gain = |sigma: f64| {
            let z =
                (sigma.exp() * (TAU * self.frequency / rate).cos(), sigma.exp() * (TAU * self.frequency / rate).sin());
            self.band_gain(z) * amplitude(self.over) * (-sigma * self.delay as f64).exp()
        };
        let (mut low, mut high) = (0.0, 0.01);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if gain(middle) > 1.0 { low = middle } else { high = middle }
        }
        20.0 * low * rate / std::f64::consts::LN_10
    }

    fn coefficients(&self) -> (f64, f64, f64) {
        let w = TAU * self.frequency / f64::from(self.rate);
        let alpha = w.sin() / (2.0 * self.q);
        (alpha / (1.0 + alpha), -2.0 * w.cos() / (1.0 + alpha), (1.0 - alpha) / (1.0 + alpha))
    }

    fn band_gain(&self, (re, im): (f64, f64)) -> f64 {
        let (b, a1, a2) = self.coefficients();
        let (re2, im2) = (re * re - im * im, 2.0 * re * im);
        let over = ((re2 - 1.0).powi(2) + im2 * im2).sqrt() * b;
        over / ((re2 + a1 * re + a2).powi(2) + (im2 + a1 * im).powi(2)).sqrt()
    }

    /// The microphone's signal while `source` plays.
    pub fn run(&self, source: &[f64]) -> Vec<f32> {
        let (b, a1, a2) = self.coefficients();
        let limit = amplitude(self.limit);
        let mut x = vec![0f64; source.len()];
        let (mut u1, mut u2, mut y1, mut y2) = (0.0, 0.0, 0.0, 0.0);
        for n in 0..source.len() {
            let t = n as f64 / f64::from(self.rate);
            let over = if (self.from..self.to).contains(&t) { self.over } else { -8.0 };
            let back = if n >= self.delay { x[n - self.delay] } else { 0.0 };
            let u = (amplitude(over) * back).clamp(-limit, limit);
            let y = b * (u - u2) - a1 * y1 - a2 * y2;
            (u2, u1, y2, y1) = (u1, u, y1, y);
            x[n] = source[n] + y;
        }
        x.into_iter().map(|x| x.clamp(-1.0, 1.0) as f32).collect()
    }
}

/// Even noise at `level` dBFS RMS.
pub fn hiss(seconds: f64, level: f64, seed: u64) -> Vec<f64> {
    let scale = amplitude(level) * 3f64.sqrt();
    Noise::new(seed).take((seconds * f64::from(RATE)) as usize).map(|x| scale * x).collect()
}

/// How a note sounds.
#[derive(Clone, Copy, Debug)]
pub struct Note {
    pub frequency: f64,
    pub start: f64,
    pub seconds: f64,
    /// Peak of the fundamental, dBFS, at the end of a crescendo.
    pub level: f64,
    /// Partial k has 1/k to this power; partials end at 20.
    pub roll_off: f64,
    pub partials: usize,
    pub attack: f64,
    /// Depth as a share of the frequency, 5.5 a second.
    pub vibrato: f64,
    /// dB from beginning to end, linear in amplitude.
    pub crescendo: f64,
}

impl Note {
    pub fn add(&self, to: &mut [f64]) {
        let rate = f64::from(RATE);
        let first = (self.start * rate) as usize;
        let length = ((self.seconds * rate) as usize).min(to.len().saturating_sub(first));
        let low = amplitude(-self.crescendo);
        let mut phase = 0.0;
        for n in 0..length {
            let t = n as f64 / rate;
            phase += TAU * self.frequency / rate * (1.0 + self.vibrato * (TAU * 5.5 * t).sin());
            let swell = low + (1.0 - low) * t / self.seconds;
            let ends = (t / self.attack).min(1.0) * ((self.seconds - t) / 0.05).min(1.0);
            let partial = |k: usize| (phase * k as f64 + PI * 0.3 * k as f64).sin() / (k as f64).powf(self.roll_off);
            let highest = self.partials.min((0.45 * rate / self.frequency) as usize).max(1);
            to[first + n] += amplitude(self.level) * swell * ends * (1..=highest).map(partial).sum::<f64>();
        }
    }
}

/// Held notes of several kinds, one after the other, over a little noise.
pub fn held_notes(seconds: f64, seed: u64) -> Vec<f64> {
    let mut sound = hiss(seconds, -70.0, seed);
    let mut dice = Noise::new(seed + 7).map(|x| 0.5 * (x + 1.0));
    let mut start = 0.3;
    while start < seconds - 1.0 {
        let mut roll = |low: f64, high: f64| low + (high - low) * dice.next().unwrap();
        let kind = roll(0.0, 5.0) as usize;
        // Organ, flute, string, whistle, recorder.
        let (roll_off, partials, attack, vibrato) = [
            (1.0, 12, 0.03, 0.0),
            (2.5, 4, 0.06, 0.004),
            (1.0, 16, 0.15, 0.006),
            (4.0, 2, 0.04, 0.002),
            (2.0, 6, 0.03, 0.0005),
        ][kind];
        let length = roll(0.5, 3.0).min(seconds - start);
        Note {
            frequency: 220.0 * 2f64.powf(roll(0.0, 3.0)),
            start,
            seconds: length,
            level: roll(-30.0, -14.0),
            roll_off,
            partials,
            attack,
            vibrato,
            crescendo: if roll(0.0, 1.0) > 0.5 { roll(6.0, 20.0) } else { 0.0 },
        }
        .add(&mut sound);
        start += length + roll(0.0, 0.4);
    }
    sound
}
