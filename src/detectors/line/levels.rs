//! The last five seconds of a line in hops of 10 ms, and the floor that it has when nothing sounds.
//!
//! In: RMS of each hop, dBFS. The floor is the lowest 20th percentile that any five seconds had since the restart (own
//! choice: a talker's pauses show it, and a note that is held for long does not become it). Digital silence reads
//! −140 dBFS, so that differences stay finite. Nothing is allocated after construction.

use crate::units::{Db, Dbfs};

const HOPS: usize = 500;
const LEAST: usize = 30;
const FLOOR: f64 = 0.2;
const SILENCE: f64 = -140.0;
/// What a look of the pair meter covers.
const LOOK: usize = 17;
/// A stretch sounds if its mean power stands this far over the floor.
const SOUNDS: Db = Db::new(12.0);

#[derive(Clone, Debug)]
pub(super) struct Levels {
    ring: Vec<f32>,
    /// Hops since the restart.
    heard: usize,
    next: usize,
    floor: Option<f32>,
    scratch: Vec<f32>,
}

impl Levels {
    pub fn new() -> Self {
        Self { ring: vec![SILENCE as f32; HOPS], heard: 0, next: 0, floor: None, scratch: Vec::with_capacity(HOPS) }
    }

    pub fn restart(&mut self) {
        self.heard = 0;
        self.floor = None;
    }

    pub fn push(&mut self, level: Dbfs) {
        self.ring[self.next] = level.get().max(SILENCE) as f32;
        self.next = (self.next + 1) % HOPS;
        self.heard += 1;
    }

    /// Looks for the floor anew; after each frame.
    pub fn refresh(&mut self) {
        let known = self.heard.min(HOPS);
        if known < LEAST {
            return;
        }
        self.scratch.clear();
        for back in 0..known {
            let level = self.at(back);
            self.scratch.push(level);
        }
        let rank = (known as f64 * FLOOR) as usize;
        let (_, &mut level, _) = self.scratch.select_nth_unstable_by(rank, f32::total_cmp);
        self.floor = Some(self.floor.map_or(level, |floor| floor.min(level)));
    }

    pub fn floor(&self) -> Option<Dbfs> {
        self.floor.map(|floor| Dbfs::new(f64::from(floor)))
    }

    /// The level so many hops ago, of the last five seconds.
    pub fn at(&self, back: usize) -> f32 {
        self.ring[(self.next + 2 * HOPS - 1 - back.min(HOPS - 1)) % HOPS]
    }

    /// The highest from `last` to `first` hops ago.
    pub fn highest(&self, last: usize, first: usize) -> f32 {
        (last..=first).map(|back| self.at(back)).fold(SILENCE as f32, f32::max)
    }

    pub fn share_over(&self, level: Dbfs, hops: usize) -> f64 {
        let hops = hops.clamp(1, HOPS);
        let over = (0..hops.min(self.heard)).filter(|&back| f64::from(self.at(back)) >= level.get()).count();
        over as f64 / hops as f64
    }

    pub fn mean(&self, hops: usize) -> Dbfs {
        let hops = hops.min(self.heard).min(HOPS);
        let power: f64 = (0..hops).map(|back| Dbfs::new(f64::from(self.at(back))).power()).sum();
        Dbfs::from_power(power / hops.max(1) as f64)
    }

    /// Whether what a look of the pair meter covers is sound, not the floor.
    pub fn sounded(&self) -> bool {
        self.floor().is_some_and(|floor| self.mean(LOOK) >= floor + SOUNDS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(levels: &[(f64, usize)]) -> Levels {
        let mut line = Levels::new();
        for &(level, hops) in levels {
            for hop in 0..hops {
                line.push(Dbfs::new(level));
                if hop % 10 == 9 {
                    line.refresh();
                }
            }
        }
        line
    }

    #[test]
    fn the_floor_shows_in_the_pauses_and_stays() {
        assert_eq!(heard(&[(-70.0, 20)]).floor(), None);
        assert_eq!(heard(&[(-70.0, 100), (-20.0, 400)]).floor(), Some(Dbfs::new(-70.0)));
        // A note held for ten seconds is no floor.
        assert_eq!(heard(&[(-70.0, 300), (-20.0, 1000)]).floor(), Some(Dbfs::new(-70.0)));
        assert_eq!(heard(&[(f64::NEG_INFINITY, 100)]).floor(), Some(Dbfs::new(-140.0)));
    }

    #[test]
    fn shares_and_means_are_of_the_newest() {
        let line = heard(&[(-70.0, 300), (-20.0, 10)]);
        assert!((line.share_over(Dbfs::new(-40.0), 20) - 0.5).abs() < 1e-9);
        // Half of the power of −20 dBFS: −23.01.
        assert!((line.mean(20).get() + 23.0103).abs() < 1e-3);
        assert!(line.sounded());
        assert_eq!(line.highest(10, 30), -70.0);
    }
}
