//! Active level and noise floor of the last 60 s, renewed with each 100 ms frame.
//!
//! In: mean square and 400 ms true peak of each frame. The floor is the 10th, the loud level the 95th
//! percentile of the frames' RMS (nearest rank). Frames above max(floor + 12 dB, loud level − 30 dB) are
//! active; a floor less than 12 dB under the median is unknown and does not count, unless most of the time
//! is pause: then the median stands within 3 dB of it, far under the loud level or below −50 dBFS (own
//! addition, so that long silences and lone hits keep their floor). A is the root of the
//! mean power of the active frames, P95 the 95th percentile of the 400 ms windows that end with one.
//! Frames of digital silence are frames like others, at −∞; a channel that knows nothing else has none active.

use crate::dsp::histogram::rank;
use crate::dsp::lanes;
use crate::units::{Db, Dbfs, Seconds};

use super::readings::Activity;

/// Frames in 60 s.
const FRAMES: usize = 600;
pub(super) const FRAME_SECONDS: f64 = 0.1;
/// Frames in the 400 ms over which a peak is taken.
const PEAK_FRAMES: usize = 4;
const FLOOR: f64 = 0.10;
const MEDIAN: f64 = 0.50;
const LOUD: f64 = 0.95;
const ABOVE_FLOOR: Db = Db::new(12.0);
/// A median this near to the 10th percentile is the same stationary sound: a room, or a held note.
const STATIONARY: Db = Db::new(3.0);
/// Under this a stationary sound alone is taken for the room.
const ROOM_BELOW: Dbfs = Dbfs::new(-50.0);
const UNDER_LOUD: Db = Db::new(-30.0);

/// The frames of the last minute, by age and by level.
pub(super) struct Recent {
    ring: Vec<Entry>,
    /// Where in the ring the next frame goes, once it is full.
    next: usize,
    /// The ring's powers in rising order, and each one's peak.
    powers: Vec<f64>,
    peaks: Vec<f32>,
    scratch: Vec<f32>,
}

#[derive(Clone, Copy)]
struct Entry {
    power: f64,
    peak: f32,
}

impl Recent {
    pub fn new() -> Self {
        Self {
            ring: Vec::with_capacity(FRAMES),
            next: 0,
            powers: Vec::with_capacity(FRAMES),
            peaks: Vec::with_capacity(FRAMES),
            scratch: Vec::with_capacity(FRAMES),
        }
    }

    pub fn clear(&mut self) {
        self.ring.clear();
        self.next = 0;
        self.powers.clear();
        self.peaks.clear();
    }

    /// Adds a frame and answers for the minute that ends with it.
    pub fn push(&mut self, power: f64, window_peak: f32) -> Activity {
        let entry = Entry { power, peak: window_peak };
        if self.ring.len() < FRAMES {
            self.ring.push(entry);
        } else {
            let old = std::mem::replace(&mut self.ring[self.next], entry);
            self.next = (self.next + 1) % FRAMES;
            self.remove(old);
        }
        let place = self.powers.partition_point(|&other| other < power);
        self.powers.insert(place, power);
        self.peaks.insert(place, window_peak);
        self.activity(power)
    }

    fn remove(&mut self, old: Entry) {
        let mut place = self.powers.partition_point(|&other| other < old.power);
        // Frames of equal power are told apart by their peaks; equal in both, either may go.
        while self.peaks[place] != old.peak && self.powers.get(place + 1) == Some(&old.power) {
            place += 1;
        }
        self.powers.remove(place);
        self.peaks.remove(place);
    }

    fn activity(&mut self, newest: f64) -> Activity {
        let at = |fraction| self.powers[rank(self.powers.len() as u64, fraction) as usize];
        let levels = Levels::new(at(FLOOR), at(MEDIAN), at(LOUD));
        let first = self.powers.partition_point(|&power| !levels.is_active(power));
        let active = &self.powers[first..];
        let mean = lanes::sum(active) / active.len().max(1) as f64;
        self.scratch.clear();
        self.scratch.extend_from_slice(&self.peaks[first..]);
        let place = rank(self.scratch.len() as u64, LOUD) as usize;
        let peak =
            if self.scratch.is_empty() { 0.0 } else { *self.scratch.select_nth_unstable_by(place, f32::total_cmp).1 };
        levels.activity(active.len() as f64, mean, f64::from(peak), newest)
    }
}

/// Floor, loud level and threshold by the rules above.
pub(super) struct Levels {
    floor: Option<Dbfs>,
    loud: Dbfs,
    threshold: Dbfs,
    threshold_power: f64,
}

impl Levels {
    /// From percentiles of the frames' powers.
    pub fn new(floor: f64, median: f64, loud: f64) -> Self {
        let (floor, median, loud) = (Dbfs::from_power(floor), Dbfs::from_power(median), Dbfs::from_power(loud));
        let mostly_pause =
            !floor.is_silence() && median - floor <= STATIONARY && (floor < ROOM_BELOW || loud - floor >= ABOVE_FLOOR);
        let floor = (median - floor >= ABOVE_FLOOR || mostly_pause).then_some(floor);
        let threshold = floor.map_or(Dbfs::SILENCE, |floor| floor + ABOVE_FLOOR).max(loud + UNDER_LOUD);
        Self { floor, loud, threshold, threshold_power: threshold.power() }
    }

    pub fn from_histogram(ranked: impl Fn(f64) -> f64) -> Self {
        Self::new(ranked(FLOOR), ranked(MEDIAN), ranked(LOUD))
    }

    pub fn is_active(&self, power: f64) -> bool {
        power > self.threshold_power
    }

    pub fn threshold_power(&self) -> f64 {
        self.threshold_power
    }

    pub fn activity(&self, active_frames: f64, mean_power: f64, peak_95: f64, newest: f64) -> Activity {
        Activity {
            floor: self.floor,
            loud: self.loud,
            threshold: self.threshold,
            active_level: Dbfs::from_power(mean_power),
            peak_95: Dbfs::from_amplitude(peak_95),
            active_time: Seconds::new(active_frames * FRAME_SECONDS),
            active_now: self.is_active(newest),
        }
    }
}

/// The true peak of the last 400 ms, from those of frames.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct WindowPeak {
    frames: [f32; PEAK_FRAMES],
}

impl WindowPeak {
    pub fn push(&mut self, frame: f32) -> f32 {
        self.frames.rotate_left(1);
        self.frames[PEAK_FRAMES - 1] = frame;
        self.frames.into_iter().fold(0.0, f32::max)
    }

    pub fn clear(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(level: Dbfs, expected: f64) {
        assert!((level.get() - expected).abs() < 1e-6, "{level:?} is not {expected}");
    }

    fn push(recent: &mut Recent, db: f64, frames: usize) -> Activity {
        let level = Dbfs::new(db);
        (0..frames).map(|_| recent.push(level.power(), (level + Db::new(15.0)).amplitude() as f32)).last().unwrap()
    }

    /// Talk at −25 with pauses at −70, two parts to one.
    #[test]
    fn talk_with_pauses() {
        let mut recent = Recent::new();
        push(&mut recent, -70.0, 100);
        let activity = push(&mut recent, -25.0, 200);
        close(activity.floor.unwrap(), -70.0);
        close(activity.loud, -25.0);
        close(activity.threshold, -55.0);
        close(activity.active_level, -25.0);
        assert!((activity.peak_95.get() + 10.0).abs() < 1e-5);
        assert!((activity.crest().unwrap().get() - 15.0).abs() < 1e-5);
        assert!((activity.active_time.get() - 20.0).abs() < 1e-9 && activity.active_now);
        assert!(!push(&mut recent, -70.0, 1).active_now);
    }

    /// Without a pause the floor is unknown; after 60 s old frames are gone.
    #[test]
    fn no_pause_and_forgetting() {
        let mut recent = Recent::new();
        push(&mut recent, -70.0, 300);
        let activity = push(&mut recent, -20.0, 600);
        assert_eq!(activity.floor, None);
        close(activity.threshold, -50.0);
        assert!((activity.active_time.get() - 60.0).abs() < 1e-9);
        recent.clear();
        close(push(&mut recent, -40.0, 1).active_level, -40.0);
    }

    #[test]
    fn silence() {
        let mut recent = Recent::new();
        let activity = (0..700).map(|_| recent.push(0.0, 0.0)).last().unwrap();
        assert_eq!(activity.floor, None);
        assert!(activity.active_level.is_silence() && activity.threshold.is_silence() && !activity.active_now);
        assert_eq!(activity.crest(), None);
        let activity = push(&mut recent, -20.0, 400);
        assert!(activity.floor.unwrap().is_silence());
        close(activity.active_level, -20.0);
    }
}
