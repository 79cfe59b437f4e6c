//! Drums and small percussion: decaying modes and bursts of noise, hit by hit.

use std::f64::consts::TAU;

use super::filters::{Decay, Diffuser, HighPass, LowPass};
use super::{Passage, Track};
use crate::source::stage::dice::Dice;

/// Beats per minute that all who play in time share.
pub const BEATS_PER_MINUTE: f64 = 100.0;
pub const BEAT: f64 = 60.0 / BEATS_PER_MINUTE;

type Hit = fn(&mut [f32], f64, &mut Dice, f64);

/// Four beats of kick again and again; the loud passage has a hit on every beat and more.
pub fn kick(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let pattern: &[f64] = match passage {
        Passage::Ordinary => &[0.0, 1.5, 2.0, 4.0, 6.0, 6.5, 8.0, 9.5, 10.0, 12.0, 14.0, 15.0],
        Passage::Loudest => &[0.0, 1.0, 2.0, 2.5, 4.0, 5.0, 6.0, 6.5, 7.0],
    };
    groove(pattern, passage, dice, rate, add_kick)
}

/// The backbeat; in the loud passage a roll of single strokes.
pub fn snare(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let pattern: &[f64] = match passage {
        Passage::Ordinary => &[1.0, 3.0, 5.0, 7.0, 7.5, 9.0, 11.0, 13.0, 14.5, 15.0],
        Passage::Loudest => &[0.0, 1.0, 1.5, 3.0, 3.5, 4.0, 5.0, 6.0, 6.5, 7.0],
    };
    groove(pattern, passage, dice, rate, add_snare)
}

/// A triangle: a few strokes and let ring.
pub fn triangle(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let pattern: &[f64] = match passage {
        Passage::Ordinary => &[0.0, 4.0, 8.0, 10.0],
        Passage::Loudest => &[0.0, 2.0, 4.0, 6.0, 7.0, 8.0, 10.0, 11.0, 12.0],
    };
    let mut track = groove(pattern, passage, dice, rate, add_triangle);
    let ring = track.samples.len() + (1.6 * rate) as usize;
    track.extend(ring);
    track
}

/// The whole kit from above, in its room.
pub fn overhead(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let (bars, drums, crash) = if passage == Passage::Ordinary { (4, 0.4, 0.3) } else { (3, 0.5, 0.6) };
    let mut track = Track::silent(f64::from(bars) * 4.0 * BEAT, rate);
    for half_beat in 0..bars as usize * 8 {
        let at = beat_frame(half_beat as f64 / 2.0, dice, rate);
        match half_beat % 8 {
            0 | 3 | 4 => add_kick(&mut track.samples[at..], rate, dice, 0.4 * drums),
            2 | 6 => add_snare(&mut track.samples[at..], rate, dice, drums * accent(half_beat)),
            _ => {}
        }
        let hat = dice.between(0.3, 0.38) * if half_beat % 2 == 0 { 1.2 } else { 1.0 };
        add_hat(&mut track.samples[at..], rate, dice, hat);
        if half_beat % 16 == 0 {
            add_crash(&mut track.samples[at..], rate, dice, crash);
        }
    }
    let mut room = Diffuser::new(rate);
    for sample in &mut track.samples {
        *sample = room.next(f64::from(*sample)) as f32;
    }
    track.single_phrase();
    track
}

/// The first backbeat of two bars is the strongest.
fn accent(half_beat: usize) -> f64 {
    if half_beat % 16 == 2 { 1.0 } else { 0.85 }
}

/// One hit alone, about 1.0 at its top.
pub fn single(hit: Hit, seconds: f64, dice: &mut Dice, rate: f64) -> Track {
    let mut track = Track::silent(seconds, rate);
    hit(&mut track.samples, rate, dice, 1.0);
    track.single_phrase();
    track
}

/// Hits on the given beats: alike in the loud passage, the first of a bar accented in the ordinary one.
fn groove(beats: &[f64], passage: Passage, dice: &mut Dice, rate: f64, hit: Hit) -> Track {
    let bars = (beats.last().copied().unwrap_or(0.0) / 4.0).floor() + 1.0;
    let mut track = Track::silent(bars * 4.0 * BEAT, rate);
    for &beat in beats {
        let at = beat_frame(beat, dice, rate);
        let level = match passage {
            Passage::Ordinary => dice.between(0.72, 1.0),
            Passage::Loudest => dice.between(0.86, 1.0),
        };
        hit(&mut track.samples[at..], rate, dice, level);
    }
    track.single_phrase();
    track
}

/// Where a beat falls: up to 6 ms late, as hands are.
fn beat_frame(beat: f64, dice: &mut Dice, rate: f64) -> usize {
    ((beat * BEAT + dice.between(0.0, 0.006)) * rate) as usize
}

pub fn add_kick(track: &mut [f32], rate: f64, dice: &mut Dice, level: f64) {
    let low = dice.between(50.0, 56.0);
    let (mut body, mut fall) = (Decay::new(level, 0.42, rate), Decay::new(95.0, 0.11, rate));
    let mut click = Decay::new(0.7 * level, 0.018, rate);
    let (mut soften, mut phase) = (LowPass::new(3500.0, rate), 0.0f64);
    for sample in track.iter_mut().take((0.6 * rate) as usize) {
        phase += (low + fall.next()) / rate;
        *sample += (body.next() * (TAU * phase).sin() + soften.next(click.next() * dice.noise())) as f32;
    }
}

pub fn add_snare(track: &mut [f32], rate: f64, dice: &mut Dice, level: f64) {
    let modes = [(dice.between(182.0, 192.0), 0.5, 0.26), (dice.between(325.0, 340.0), 0.33, 0.18)];
    add_modes(track, rate, &modes, level);
    let (mut wires, mut stroke) = (Decay::new(0.5 * level, 0.38, rate), Decay::new(0.45 * level, 0.022, rate));
    let (mut thin, mut soften) = (HighPass::new(900.0, rate), LowPass::new(7000.0, rate));
    for sample in track.iter_mut().take((0.4 * rate) as usize) {
        let noise = dice.noise() * (wires.next() + stroke.next());
        *sample += soften.next(thin.next(noise)) as f32;
    }
}

pub fn add_hat(track: &mut [f32], rate: f64, dice: &mut Dice, level: f64) {
    let mut burst = Decay::new(level, dice.between(0.12, 0.2), rate);
    let (mut thin, mut soften) = (HighPass::new(4500.0, rate), LowPass::new(10_000.0, rate));
    for sample in track.iter_mut().take((0.24 * rate) as usize) {
        *sample += soften.next(thin.next(dice.noise() * burst.next())) as f32;
    }
}

fn add_crash(track: &mut [f32], rate: f64, dice: &mut Dice, level: f64) {
    let mut wash = Decay::new(level, 3.2, rate);
    let (mut thin, mut soften) = (HighPass::new(1800.0, rate), LowPass::new(9000.0, rate));
    for sample in track.iter_mut().take((2.4 * rate) as usize) {
        *sample += soften.next(thin.next(dice.noise() * wash.next())) as f32;
    }
}

pub fn add_triangle(track: &mut [f32], rate: f64, dice: &mut Dice, level: f64) {
    let bend = dice.between(0.995, 1.005);
    let modes = [1620.0, 2390.0, 3140.0, 4420.0, 5230.0, 6480.0].map(|hz| {
        let ring = 2.6 * 1620.0 / (0.6 * 1620.0 + 0.4 * hz);
        (hz * bend, 0.16, ring * dice.between(0.8, 1.1))
    });
    add_modes(track, rate, &modes, level);
    let (mut strike, mut soften) = (Decay::new(0.6 * level, 0.012, rate), LowPass::new(6500.0, rate));
    for sample in track.iter_mut().take((0.02 * rate) as usize) {
        *sample += soften.next(strike.next() * dice.noise()) as f32;
    }
}

/// Adds decaying sines: frequency, share of `level`, seconds to −60 dB. Each turns as a rotating pair.
fn add_modes(track: &mut [f32], rate: f64, modes: &[(f64, f64, f64)], level: f64) {
    for &(hz, share, seconds) in modes.iter().filter(|mode| mode.0 < 0.45 * rate) {
        let shrink = 10f64.powf(-3.0 / (seconds * rate));
        let (sin, cos) = (TAU * hz / rate).sin_cos();
        let (cos, sin) = (cos * shrink, sin * shrink);
        let (mut x, mut y) = (share * level, 0.0);
        for sample in track.iter_mut().take((1.2 * seconds * rate) as usize) {
            (x, y) = (x * cos - y * sin, x * sin + y * cos);
            *sample += y as f32;
        }
    }
}
