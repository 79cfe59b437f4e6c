//! Level riding: a recorder that turns its own gain, as phones do.
//!
//! In: levels of frames of 100 ms beside the active level of the last minute. After a loud passage such a recorder's gain is
//! low and comes up again while nobody plays: the room's own noise rises in the pause, where in a real room a pause falls
//! as the hall dies away. A *rise* is a pause (15 dB and more under the active level) of 1.5 s or longer whose last half
//! second stands 4 dB and more over the half second that begins 0.3 s after the sound ended; a pause that the next sound
//! ends with less than 6 dB is a note that swells, and none. Three rises, in more than half of all such pauses, are riding;
//! told is the median rise. Working values, common practice.

use crate::units::{Db, Dbfs};

const PAUSE: Db = Db::new(-15.0);
const SHORTEST: usize = 15;
const SKIPPED: usize = 3;
const HALF_SECOND: usize = 5;
const LONGEST: usize = 100;
const RISE: f64 = 4.0;
/// A pause that ends with less is a note that swells.
const ATTACK: f64 = 6.0;
const FEWEST: usize = 3;
const MOST: usize = 500;

/// The pauses of one channel.
pub(super) struct Riding {
    levels: Vec<f64>,
    rises: Vec<f64>,
}

impl Riding {
    pub fn new() -> Self {
        Self { levels: Vec::with_capacity(LONGEST), rises: Vec::with_capacity(MOST) }
    }

    /// The next frame, and the active level around it.
    pub fn push(&mut self, level: Dbfs, active: Dbfs) {
        let pauses = !active.is_silence() && !level.is_silence() && level - active < PAUSE;
        if pauses && self.levels.len() < LONGEST {
            self.levels.push(level.get());
        } else {
            if self.levels.len() >= SHORTEST && self.rises.len() < MOST {
                let mean = |levels: &[f64]| levels.iter().sum::<f64>() / levels.len() as f64;
                // The last frame may hold the next sound's beginning.
                let end = self.levels.len() - 1;
                let late = mean(&self.levels[end - HALF_SECOND..end]);
                let swells = !pauses && level.get() - late < ATTACK;
                if !swells {
                    self.rises.push(late - mean(&self.levels[SKIPPED..SKIPPED + HALF_SECOND]));
                }
            }
            self.levels.clear();
        }
    }

    pub fn rise(&self) -> Option<Db> {
        let mut rises: Vec<f64> = self.rises.iter().copied().filter(|&rise| rise >= RISE).collect();
        rises.sort_by(f64::total_cmp);
        (rises.len() >= FEWEST && 2 * rises.len() > self.rises.len()).then(|| Db::new(rises[rises.len() / 2]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Talk at −20 dBFS with pauses of 2.5 s, in which the level goes from one value to another.
    fn rise(from: f64, to: f64) -> Option<Db> {
        let mut riding = Riding::new();
        for _ in 0..6 {
            (0..30).for_each(|_| riding.push(Dbfs::new(-20.0), Dbfs::new(-20.0)));
            (0..25).for_each(|i| riding.push(Dbfs::new(from + (to - from) * f64::from(i) / 24.0), Dbfs::new(-20.0)));
        }
        riding.push(Dbfs::new(-20.0), Dbfs::new(-20.0));
        riding.rise()
    }

    /// From frames 3…7 to frames 19…23 a straight line covers 16 of 24 steps: 10 dB of 15.
    #[test]
    fn a_floor_that_comes_up_is_riding() {
        assert!((rise(-60.0, -45.0).unwrap().get() - 10.0).abs() < 1e-9);
        assert_eq!(rise(-60.0, -60.0), None);
        assert_eq!(rise(-45.0, -70.0), None);
    }

    /// From −60 to −36 dBFS, where the pause ends under −35: the next frame goes on as the note began.
    #[test]
    fn a_note_that_swells_is_no_riding() {
        assert!(rise(-60.0, -36.0).is_some());
        let mut riding = Riding::new();
        for _ in 0..6 {
            let levels = (0..50).map(|i| -60.0 + f64::from(i));
            levels.chain([-20.0; 10]).for_each(|level| riding.push(Dbfs::new(level), Dbfs::new(-20.0)));
        }
        assert_eq!(riding.rise(), None);
    }

    #[test]
    fn silence_is_no_pause() {
        let mut riding = Riding::new();
        (0..300).for_each(|_| riding.push(Dbfs::SILENCE, Dbfs::SILENCE));
        assert_eq!(riding.rise(), None);
    }
}
