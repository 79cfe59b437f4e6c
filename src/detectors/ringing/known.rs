//! Steady tones that belong to the room: hum, a projector's whine, a test tone. Learned while nothing is played,
//! then set aside: within 0.3 % of the frequency and no more than 6 dB above what they were.
//!
//! A tone is learned once it has stood for a second within 2 dB a second. At most 32 a channel; the first stay.

use super::track::Track;

const MOST: usize = 32;
const SAME: f64 = 0.003;
const LOUDER: f64 = 6.0;
/// Spectra.
const STOOD: u64 = 50;
const STEADY: f64 = 2.0;

#[derive(Clone, Debug)]
pub(super) struct Known {
    tones: Vec<Tone>,
}

#[derive(Clone, Copy, Debug)]
struct Tone {
    frequency: f64,
    level: f64,
}

impl Known {
    pub fn new() -> Self {
        Self { tones: Vec::with_capacity(MOST) }
    }

    pub fn forget(&mut self) {
        self.tones.clear();
    }

    /// Takes note of a tone of the empty room.
    pub fn learn(&mut self, track: &Track) {
        if track.age < STOOD || track.missing > 0 || track.pace.abs() > STEADY {
            return;
        }
        let (frequency, level) = (track.peak.frequency.get(), track.peak.level.get());
        if let Some(tone) = self.tones.iter_mut().find(|tone| is_same(tone.frequency, frequency)) {
            tone.level = tone.level.max(level);
        } else if self.tones.len() < MOST {
            self.tones.push(Tone { frequency, level });
        }
    }

    pub fn holds(&self, track: &Track) -> bool {
        let (frequency, level) = (track.peak.frequency.get(), track.peak.level.get());
        self.tones.iter().any(|tone| is_same(tone.frequency, frequency) && level <= tone.level + LOUDER)
    }
}

pub(super) fn is_same(a: f64, b: f64) -> bool {
    (a / b - 1.0).abs() < SAME
}
