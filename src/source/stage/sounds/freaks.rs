//! What nobody meant: a cough into a microphone, and a knock against its stand.

use std::f64::consts::TAU;

use super::Track;
use super::filters::{Decay, Formant, HighPass};
use crate::source::stage::dice::Dice;

/// Two bursts of air through an open throat.
pub fn cough(dice: &mut Dice, rate: f64) -> Track {
    let mut track = Track::silent(0.55, rate);
    for (start, level) in [(0.0, 1.0), (0.26, 0.6)] {
        let mut burst = Decay::new(level, 0.35, rate);
        let mut throat = [Formant::default(), Formant::default()];
        throat[0].tune(750.0, 300.0, rate);
        throat[1].tune(1500.0, 400.0, rate);
        let mut thin = HighPass::new(200.0, rate);
        for sample in track.samples.iter_mut().skip((start * rate) as usize).take((0.27 * rate) as usize) {
            let air = throat.iter_mut().fold(burst.next() * dice.noise(), |x, formant| formant.next(x));
            *sample += thin.next(air) as f32;
        }
    }
    track.single_phrase();
    track
}

/// A thump: nearly all of it below 60 Hz.
pub fn bump(rate: f64) -> Track {
    let mut track = Track::silent(0.6, rate);
    let mut fall = Decay::new(1.0, 0.5, rate);
    for (n, sample) in track.samples.iter_mut().enumerate() {
        let seconds = n as f64 / rate;
        *sample = (fall.next() * (seconds / 0.006).min(1.0) * (TAU * 28.0 * seconds).sin()) as f32;
    }
    track.single_phrase();
    track
}
