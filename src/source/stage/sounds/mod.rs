//! What the performers sound like: each renders its passages once, before the stage opens.
//!
//! Samples are in no unit yet: the stage scales them by the true peak of the loudest passage.
//! Pitched sounds stay above 0 Hz and under half the sample rate; 16 kHz is the lowest useful rate.

mod choir;
mod drums;
mod filters;
mod freaks;
mod instruments;
mod playback;
mod tones;
mod voice;

use std::ops::Range;

use super::cast::Player;
use super::dice::Dice;

pub use drums::BEAT;
pub use freaks::{bump, cough};

/// What is played: the material of most of the evening, or the loudest of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Passage {
    Ordinary,
    Loudest,
}

/// Rendered sound and the phrases in it; silence between them is the performer's.
#[derive(Clone, Debug, Default)]
pub struct Track {
    pub samples: Vec<f32>,
    pub phrases: Vec<Range<usize>>,
}

impl Track {
    fn silent(seconds: f64, rate: f64) -> Self {
        Self { samples: vec![0.0; (seconds * rate) as usize], phrases: Vec::new() }
    }

    /// Lengthens it with silence.
    fn extend(&mut self, frames: usize) {
        self.samples.resize(frames.max(self.samples.len()), 0.0);
        self.single_phrase();
    }

    /// All of it is one phrase.
    fn single_phrase(&mut self) {
        self.phrases = std::iter::once(0..self.samples.len()).collect();
    }
}

/// A passage of `player` as each of its microphones hears it: one track, two for the choir. The tracks
/// have the same phrases.
pub fn perform(player: Player, passage: Passage, dice: &mut Dice, rate: f64) -> Vec<Track> {
    match player {
        Player::Speaker => vec![voice::speech(&voice::Person::SPEAKER, passage, dice, rate)],
        Player::Narrator => vec![voice::speech(&voice::Person::NARRATOR, passage, dice, rate)],
        Player::Soloist => vec![voice::song(passage, dice, rate)],
        Player::Choir => choir::choir(passage, dice, rate),
        Player::Keys => vec![instruments::keys(passage, dice, rate)],
        Player::Bass => vec![instruments::bass(passage, dice, rate)],
        Player::Kick => vec![drums::kick(passage, dice, rate)],
        Player::Snare => vec![drums::snare(passage, dice, rate)],
        Player::Overhead => vec![drums::overhead(passage, dice, rate)],
        Player::Triangle => vec![drums::triangle(passage, dice, rate)],
        Player::Playback => vec![playback::playback(passage, dice, rate)],
    }
}

/// One hit of a drum; of everyone else the loudest passage.
pub fn hit(player: Player, dice: &mut Dice, rate: f64) -> Vec<Track> {
    match player {
        Player::Kick => vec![drums::single(drums::add_kick, 0.6, dice, rate)],
        Player::Snare => vec![drums::single(drums::add_snare, 0.4, dice, rate)],
        Player::Triangle => vec![drums::single(drums::add_triangle, 3.0, dice, rate)],
        _ => perform(player, Passage::Loudest, dice, rate),
    }
}
