//! Tones that were tested: proved to be of this loop, or set aside as somebody's note.
//!
//! Frequencies in hertz, levels in dBFS. Edge cases: a full list of proved tones takes no more and says so; a full list
//! of tones set aside forgets the oldest; one that has grown since counts again. Allocates nothing after construction.

use super::cuts::same_tone;
use crate::detectors::Ring;
use crate::units::{Db, Dbfs, Hertz};

const ASIDE: usize = 16;
const PROVED: usize = 48;
/// A tone that was set aside counts again when it is so much louder: something may have begun to ring there.
const GROWN: Db = Db::new(6.0);

#[derive(Clone, Debug)]
pub struct Tones {
    /// They did not follow the fader; as loud as they were then.
    aside: Vec<(Hertz, Dbfs)>,
    /// They died with the fader: of this loop, but not ringing yet.
    proved: Vec<Hertz>,
}

impl Tones {
    pub fn new() -> Self {
        Self { aside: Vec::with_capacity(ASIDE), proved: Vec::with_capacity(PROVED) }
    }

    pub fn set_aside(&mut self, ring: &Ring) {
        if self.aside.len() == ASIDE {
            self.aside.remove(0);
        }
        self.aside.push((ring.frequency, ring.level));
    }

    pub fn is_aside(&self, ring: &Ring) -> bool {
        self.aside.iter().any(|&(tone, level)| same_tone(tone, ring.frequency) && ring.level <= level + GROWN)
    }

    pub fn prove(&mut self, frequency: Hertz) {
        if self.proved.len() < PROVED && !self.is_proved(frequency) {
            self.proved.push(frequency);
        }
    }

    pub fn is_proved(&self, frequency: Hertz) -> bool {
        self.proved.iter().any(|&tone| same_tone(tone, frequency))
    }

    /// Whether a further test could be remembered.
    pub fn has_room(&self) -> bool {
        self.proved.len() < PROVED
    }

    pub fn forget(&mut self) {
        self.aside.clear();
        self.proved.clear();
    }
}
