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

#[cfg(test)]
mod tests {
    use super::super::track::Tracks;
    use super::*;
    use crate::meters::{Peak, Spectrum};
    use crate::units::{Dbfs, Hertz, Seconds};

    fn stood(hz: f64, frames: u32, level: impl Fn(u32) -> f64) -> Tracks {
        let mut tracks = Tracks::new();
        for frame in 0..frames {
            let peak = Peak {
                frequency: Hertz::new(hz),
                level: Dbfs::new(level(frame)),
                width: Hertz::new(15.0),
                surroundings: Dbfs::new(-90.0),
                over: Dbfs::SILENCE,
                under: Dbfs::SILENCE,
            };
            let spectrum = Spectrum {
                count: frame.into(),
                fresh: false,
                level: Dbfs::new(-20.0),
                peaks: vec![peak],
                ..Spectrum::default()
            };
            tracks.follow(&spectrum, Seconds::ZERO);
        }
        tracks
    }

    #[test]
    fn steady_tones_are_learned_and_louder_ones_are_not_set_aside() {
        let mut known = Known::new();
        let learn = |known: &mut Known, tracks: &Tracks| tracks.iter().for_each(|track| known.learn(track));
        learn(&mut known, &stood(400.0, 20, |_| -60.0));
        learn(&mut known, &stood(700.0, 80, |frame| -60.0 + f64::from(frame)));
        learn(&mut known, &stood(1000.0, 80, |_| -60.0));
        let holds = |hz, level| known.holds(stood(hz, 10, |_| level).iter().next().unwrap());
        assert!(holds(1001.0, -56.0) && holds(999.0, -80.0));
        assert!(!holds(1001.0, -50.0) && !holds(1010.0, -60.0) && !holds(400.0, -60.0) && !holds(700.0, -60.0));
    }

    #[test]
    fn a_full_memory_keeps_the_first() {
        let mut known = Known::new();
        for tone in 0..40 {
            let tracks = stood(200.0 + 30.0 * f64::from(tone), 60, |_| -60.0);
            known.learn(tracks.iter().next().unwrap());
        }
        assert_eq!(known.tones.len(), MOST);
        known.forget();
        assert!(known.tones.is_empty());
    }
}
