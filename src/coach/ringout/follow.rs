//! Was the fader moved? Told from the level of a steady sound that comes through it.
//!
//! Fed with the level of each 100 ms frame, dBFS, of a line behind the fader (a mains feed, a room microphone while
//! something steady plays). A move is a step of at least 1 dB between two steady stretches of half a second: what
//! wobbles by more than 1 dB is no measure of a fader. Edge cases: silence and what is no number begin a new stretch.

use crate::units::{Db, Dbfs};

/// Frames of a stretch: half a second.
const STRETCH: usize = 5;
const STEADY: Db = Db::new(1.0);
const LEAST: Db = Db::new(1.0);

/// Follows one line.
#[derive(Clone, Copy, Debug, Default)]
pub struct RoomTone {
    recent: [f64; STRETCH],
    heard: usize,
    stands: Option<Dbfs>,
}

impl RoomTone {
    /// A frame's level; the move, once it is sure.
    pub fn hear(&mut self, level: Dbfs) -> Option<Db> {
        if !level.get().is_finite() {
            self.heard = 0;
            return None;
        }
        self.recent.rotate_left(1);
        self.recent[STRETCH - 1] = level.get();
        self.heard = (self.heard + 1).min(STRETCH);
        if self.heard < STRETCH {
            return None;
        }
        let (low, high) = self
            .recent
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &level| (low.min(level), high.max(level)));
        if high - low > STEADY.get() {
            return None;
        }
        let now = Dbfs::new(self.recent.iter().sum::<f64>() / STRETCH as f64);
        let by = self.stands.map(|stands| now - stands);
        match by {
            Some(by) if by.abs() < LEAST => None,
            _ => {
                self.stands = Some(now);
                by
            }
        }
    }

    /// From here on another sound plays.
    pub fn begin_anew(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hear(tone: &mut RoomTone, level: f64, frames: usize) -> Option<f64> {
        (0..frames).filter_map(|_| tone.hear(Dbfs::new(level))).map(Db::get).reduce(|a, b| a + b)
    }

    #[test]
    fn a_step_is_told_once() {
        let mut tone = RoomTone::default();
        assert_eq!(hear(&mut tone, -40.0, 20), None);
        assert_eq!(hear(&mut tone, -37.0, 4), None);
        assert!((hear(&mut tone, -37.0, 1).unwrap() - 3.0).abs() < 1e-9);
        assert_eq!(hear(&mut tone, -37.0, 50), None);
        assert_eq!(hear(&mut tone, -37.9, 50), None);
        assert!((hear(&mut tone, -43.0, 20).unwrap() + 6.0).abs() < 1e-9);
    }

    #[test]
    fn speech_and_silence_move_no_fader() {
        let mut tone = RoomTone::default();
        for frame in 0..200 {
            let level = -40.0 + 6.0 * f64::from(frame % 3);
            assert_eq!(tone.hear(Dbfs::new(level)), None);
        }
        for level in [f64::NEG_INFINITY, f64::NAN, f64::INFINITY] {
            assert_eq!(tone.hear(Dbfs::new(level)), None);
        }
    }
}
