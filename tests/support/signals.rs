//! Signals with known values: sines in steps, seeded noise, something like music, the EBU's test signals.
//!
//! Levels are of a sine's peak, in dBFS; samples are amplitudes re full scale.

use std::f64::consts::TAU;

/// 20 dB are a factor of 10.
pub fn amplitude(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// A sine, its phase running on through steps of (seconds, level in dBFS); −∞ is silence.
pub fn stepped_sine(rate: u32, frequency: f64, steps: &[(f64, f64)]) -> Vec<f32> {
    let rate = f64::from(rate);
    let mut out = Vec::new();
    for &(seconds, level) in steps {
        let end = out.len() + (seconds * rate).round() as usize;
        let level = amplitude(level);
        out.extend((out.len()..end).map(|i| (level * (TAU * frequency * i as f64 / rate).sin()) as f32));
    }
    out
}

/// A sine by its angular step per sample and phase, with linear fades at both ends.
pub fn faded_sine(samples: usize, step: f64, phase: f64, level: f64, fade: usize) -> Vec<f32> {
    let shape = |i: usize| ((i + 1).min(samples - i) as f64 / fade as f64).min(1.0);
    (0..samples).map(|i| (level * shape(i) * (step * i as f64 + phase).sin()) as f32).collect()
}

/// Even noise between −1 and 1, the same for a seed everywhere.
pub struct Noise(u64);

impl Noise {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }
}

impl Iterator for Noise {
    type Item = f64;

    /// Marsaglia's xorshift with a final multiplication.
    fn next(&mut self) -> Option<f64> {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        let bits = self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11;
        Some(bits as f64 / (1u64 << 52) as f64 - 1.0)
    }
}

/// Notes with attacks and decays over a little noise, rests between phrases: music enough for a meter.
pub fn music(rate: u32, seconds: f64, seed: u64) -> Vec<f32> {
    let mut dice = Noise::new(seed);
    let mut hiss = Noise::new(seed + 1000);
    let length = (f64::from(rate) * seconds) as usize;
    let mut out: Vec<f64> = (0..length).map(|_| 0.0003 * hiss.next().unwrap()).collect();
    let mut start = 0.0;
    while start < seconds {
        let roll = dice.next().unwrap();
        let frequency = 110.0 * 2f64.powf(((roll + 1.0) * 18.0).floor() / 12.0);
        let level = 0.05 + 0.2 * (dice.next().unwrap() + 1.0);
        let first = (start * f64::from(rate)) as usize;
        let note = length.min(first + rate as usize) - first;
        for i in 0..note {
            let t = i as f64 / f64::from(rate);
            let tone = (1..=6).map(|n| (TAU * frequency * f64::from(n) * t).sin() / f64::from(n * n)).sum::<f64>();
            out[first + i] += level * tone * (t / 0.005).min((1.0 - t) / 0.02).min(1.0) * (-4.0 * t).exp();
        }
        start += if roll > 0.7 { 1.5 } else { 0.1 + 0.2 * (dice.next().unwrap() + 1.0) };
    }
    out.into_iter().map(|x| x.clamp(-1.0, 1.0) as f32).collect()
}

/// EBU Tech 3341 cases 20–23: a sine of fs/6 at half scale, one period of fs/4 at full scale spliced in
/// at a zero crossing, built at four times the rate, low-passed at 0.9 of the final Nyquist frequency by
/// 1023 taps (Blackman), every fourth sample taken from `offset` on. The text leaves filter and splice open.
pub fn spliced_burst(offset: usize) -> Vec<f32> {
    const PERIOD: usize = 24;
    const BURST: usize = 16;
    const BEFORE: usize = 100 * PERIOD;
    let length = 2 * BEFORE + BURST;
    let fade = |i: usize| ((i.min(length - i)) as f64 / 480.0).min(1.0);
    let wave: Vec<f64> = (0..length)
        .map(|i| match i {
            _ if i < BEFORE => 0.5 * fade(i) * (TAU * i as f64 / PERIOD as f64).sin(),
            _ if i < BEFORE + BURST => (TAU * (i - BEFORE) as f64 / BURST as f64).sin(),
            _ => 0.5 * fade(i) * (TAU * (i - BEFORE - BURST) as f64 / PERIOD as f64).sin(),
        })
        .collect();
    let taps = low_pass(1023, 0.9 / 8.0);
    let at = |centre: usize| -> f64 {
        let product = |(tap, weight): (usize, &f64)| {
            (centre + 511).checked_sub(tap).and_then(|i| wave.get(i)).map_or(0.0, |x| x * weight)
        };
        taps.iter().enumerate().map(product).sum()
    };
    (offset..length).step_by(4).map(|i| at(i) as f32).collect()
}

/// A windowed sinc, cut-off in cycles per sample, gain 1 at 0 Hz.
fn low_pass(length: usize, cutoff: f64) -> Vec<f64> {
    let middle = (length - 1) as f64 / 2.0;
    let taps: Vec<f64> = (0..length)
        .map(|i| {
            let x = i as f64 - middle;
            let sinc = if x == 0.0 { 2.0 * cutoff } else { (TAU * cutoff * x).sin() / (TAU * x / 2.0) };
            let angle = TAU * i as f64 / (length - 1) as f64;
            sinc * (0.42 - 0.5 * angle.cos() + 0.08 * (2.0 * angle).cos())
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter().map(|tap| tap / sum).collect()
}
