//! One tone followed through time, and the tones of a channel followed side by side.
//!
//! Input: the peaks of successive spectra, 20 ms apart. A tone goes on as the nearest peak within 4 Hz + 0.1 % of it
//! and may be missing from four spectra in a row, or, the longer it has stood, from up to 25. Memory is fixed: 64 tones of a channel, 5 s of each. The first
//! spectrum after the start or a gap tells nothing of how its tones began.

use crate::meters::{Peak, Spectrum};
use crate::units::Seconds;

/// Seconds from one spectrum to the next.
pub(super) const STEP: f64 = 0.02;
/// Spectra that a tone remembers.
pub(super) const MEMORY: usize = 256;
/// Tones of a channel that are followed at once.
pub(super) const MOST: usize = 64;
/// Spectra from which a tone may be missing: more, the longer it has stood, for what covers it passes.
const PATIENCE: u64 = 4;
const MOST_PATIENCE: u64 = 25;
/// What a tone whose birth was not seen is taken to have leapt, dB: as far as notes and rings both may.
const UNSEEN_LEAP: f64 = 8.0;

/// What a tone was in one spectrum.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    /// NaN: it was not there.
    pub level: f32,
    /// Over its surroundings.
    pub height: f32,
    /// How much the surroundings shake its level, dB.
    pub shake: f32,
    /// Mean square re full scale.
    pub power: f32,
    /// Hz from the frequency at which it began.
    pub off: f32,
    /// All other sound, dBFS.
    pub rest: f32,
}

const ABSENT: Point = Point { level: f32::NAN, height: 0.0, shake: 0.0, power: 0.0, off: 0.0, rest: 0.0 };

/// A tone.
#[derive(Clone, Debug)]
pub(super) struct Track {
    pub id: u32,
    /// Its newest peak.
    pub peak: Peak,
    /// What points are relative to.
    pub base: f64,
    /// Where the next peak is expected.
    expected: f64,
    /// When it was first seen.
    pub start: Seconds,
    /// It may have begun before it was seen.
    pub unborn: bool,
    pub missing: u32,
    /// Spectra since it began.
    pub age: u64,
    /// dB a second over the last fifth of a second.
    pub pace: f64,
    /// Largest rise within three spectra so far.
    pub leap: f64,
    /// Its level at the end of that rise.
    pub leapt_to: f64,
    /// Its level when it was first seen.
    pub first: f64,
    /// A ring already said: no longer part of what other tones are held against.
    pub said: bool,
    points: Vec<Point>,
    alive: bool,
}

impl Track {
    fn vacant() -> Self {
        let peak = Peak {
            frequency: Default::default(),
            level: Default::default(),
            width: Default::default(),
            surroundings: Default::default(),
            over: Default::default(),
            under: Default::default(),
        };
        let points = vec![ABSENT; MEMORY];
        Self {
            id: 0,
            peak,
            base: 0.0,
            expected: 0.0,
            start: Seconds::ZERO,
            unborn: false,
            missing: 0,
            age: 0,
            pace: 0.0,
            leap: 0.0,
            leapt_to: 0.0,
            first: 0.0,
            said: false,
            points,
            alive: false,
        }
    }

    fn begin(&mut self, id: u32, frequency: f64, start: Seconds, unborn: bool) {
        (self.id, self.base, self.expected, self.start, self.alive) = (id, frequency, frequency, start, true);
        self.said = false;
        self.restart(unborn);
    }

    /// Its history starts anew.
    fn restart(&mut self, unborn: bool) {
        self.unborn = unborn;
        (self.age, self.missing) = (0, 0);
        self.leap = if unborn { UNSEEN_LEAP } else { 0.0 };
    }

    /// The point `back` spectra ago; `None` beyond its memory or its birth.
    pub fn point(&self, back: usize) -> Option<&Point> {
        (back < self.len()).then(|| &self.points[(self.age as usize - 1 - back) % MEMORY])
    }

    /// Points within memory.
    pub fn len(&self) -> usize {
        (self.age as usize).min(MEMORY)
    }

    /// `all`: the power of all sound but the rings said.
    fn see(&mut self, peak: &Peak, all: f64) {
        let level = peak.level.get();
        let power = peak.level.power();
        let rest = if self.said { all } else { all - power };
        let height = level - peak.surroundings.get();
        self.push(Point {
            level: level as f32,
            height: height as f32,
            shake: 6.0 * 10f32.powf(-height as f32 / 20.0),
            power: power as f32,
            off: (peak.frequency.get() - self.base) as f32,
            rest: 10.0 * rest.max(1e-20).log10() as f32,
        });
        if self.age == 1 {
            (self.first, self.leapt_to) = (level, level);
        }
        self.peak = *peak;
        self.expected += 0.4 * (peak.frequency.get() - self.expected);
        self.missing = 0;
        self.pace = self.slope(10);
        if let Some(earlier) = self.point(3).filter(|point| !point.level.is_nan()) {
            let rise = level - f64::from(earlier.level);
            if rise > self.leap {
                (self.leap, self.leapt_to) = (rise, level);
            }
        }
    }

    fn miss(&mut self) {
        self.missing += 1;
        self.push(ABSENT);
        self.alive = u64::from(self.missing) <= (PATIENCE + self.age / 8).min(MOST_PATIENCE);
    }

    fn push(&mut self, point: Point) {
        self.points[self.age as usize % MEMORY] = point;
        self.age += 1;
    }

    /// Over its surroundings when it was last there.
    pub fn last_height(&self) -> f32 {
        self.point(self.missing as usize).map_or(0.0, |point| point.height)
    }

    /// What it climbed over the last `points` (at least 12), dB; `None` if it was not there then.
    pub fn climb(&self, points: usize) -> Option<f64> {
        let mean = |from: usize| {
            let levels = (from..from + 4).filter_map(|back| self.point(back)).map(|point| point.level);
            let (sum, n) = levels.filter(|level| !level.is_nan()).fold((0.0, 0.0), |(s, n), l| (s + l, n + 1.0));
            (n > 1.0).then(|| f64::from(sum / n))
        };
        Some(mean(0)? - mean(points.max(12) - 4)?)
    }

    /// Share of the last second in which it was higher than 0.1 s before.
    pub fn rising(&self) -> f64 {
        let (mut rose, mut all) = (0, 0);
        for back in 0..50 {
            let (Some(now), Some(before)) = (self.point(back), self.point(back + 5)) else { break };
            if !(now.level.is_nan() || before.level.is_nan()) {
                all += 1;
                rose += u32::from(now.level > before.level);
            }
        }
        f64::from(rose) / f64::from(all.max(1))
    }

    /// dB a second through the last `points`; 0 with fewer than five of them there.
    fn slope(&self, points: usize) -> f64 {
        let (mut n, mut t, mut tt, mut l, mut tl) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (back, point) in (0..points).filter_map(|back| Some((back, self.point(back)?))) {
            if !point.level.is_nan() {
                let (time, level) = (-(back as f64) * STEP, f64::from(point.level));
                (n, t, tt, l, tl) = (n + 1.0, t + time, tt + time * time, l + level, tl + time * level);
            }
        }
        if n >= 5.0 { (n * tl - t * l) / (n * tt - t * t) } else { 0.0 }
    }
}

/// The tones of one channel.
#[derive(Clone, Debug)]
pub(super) struct Tracks {
    tracks: Vec<Track>,
    /// For each peak, the tone that goes on with it.
    taken: Vec<Option<usize>>,
    next: u32,
}

impl Tracks {
    pub fn new() -> Self {
        Self { tracks: (0..MOST).map(|_| Track::vacant()).collect(), taken: Vec::with_capacity(MOST), next: 0 }
    }

    pub fn iter(&self) -> impl Iterator<Item = &Track> + Clone {
        self.tracks.iter().filter(|track| track.alive)
    }

    /// The tone in place `slot`, of `MOST`.
    pub fn at(&self, slot: usize) -> Option<&Track> {
        self.tracks.get(slot).filter(|track| track.alive)
    }

    /// Whether the tone in place `slot` has been said to ring.
    pub fn set_said(&mut self, slot: usize, said: bool) {
        self.tracks[slot].said = said;
    }

    /// Forgets them all.
    pub fn clear(&mut self) {
        for track in &mut self.tracks {
            track.alive = false;
        }
    }

    /// Goes on with a spectrum that ends at `at`.
    pub fn follow(&mut self, spectrum: &Spectrum, at: Seconds) {
        self.give_peaks(&spectrum.peaks);
        let taken = &self.taken;
        let is_said = |track: &Option<usize>| track.is_some_and(|track| self.tracks[track].said);
        let rings =
            spectrum.peaks.iter().zip(taken).filter(|(_, track)| is_said(track)).map(|(peak, _)| peak.level.power());
        let all = spectrum.level.power() - rings.sum::<f64>();
        for (index, track) in self.tracks.iter_mut().enumerate().filter(|(_, track)| track.alive) {
            if spectrum.fresh {
                track.restart(true);
            }
            match taken.iter().position(|taken| *taken == Some(index)) {
                Some(peak) => track.see(&spectrum.peaks[peak], all),
                None => track.miss(),
            }
        }
        let mut vacant = self.tracks.iter_mut().filter(|track| !track.alive);
        for (peak, _) in spectrum.peaks.iter().zip(taken).filter(|(_, taken)| taken.is_none()) {
            let Some(track) = vacant.next() else { break };
            track.begin(self.next, peak.frequency.get(), at, spectrum.fresh);
            track.see(peak, all);
            self.next = self.next.wrapping_add(1);
        }
    }

    /// Each tone takes its nearest peak; of two that want the same one, the nearer.
    fn give_peaks(&mut self, peaks: &[Peak]) {
        self.taken.clear();
        self.taken.resize(peaks.len().min(MOST), None);
        for (index, track) in self.tracks.iter().enumerate().filter(|(_, track)| track.alive) {
            let near = peaks.partition_point(|peak| peak.frequency.get() < track.expected);
            let distance = |track: &Track, peak: usize| (peaks[peak].frequency.get() - track.expected).abs();
            let nearest = (near.saturating_sub(1)..(near + 1).min(self.taken.len()))
                .min_by(|&a, &b| distance(track, a).total_cmp(&distance(track, b)));
            let reach = 4.0 + 0.001 * track.expected;
            if let Some(peak) = nearest.filter(|&peak| distance(track, peak) <= reach) {
                let rival = self.taken[peak].map(|rival| &self.tracks[rival]);
                if rival.is_none_or(|rival| distance(track, peak) < distance(rival, peak)) {
                    self.taken[peak] = Some(index);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Dbfs, Hertz};

    pub fn peak(hz: f64, level: f64) -> Peak {
        Peak {
            frequency: Hertz::new(hz),
            level: Dbfs::new(level),
            width: Hertz::new(15.0),
            surroundings: Dbfs::new(-80.0),
            over: Dbfs::SILENCE,
            under: Dbfs::SILENCE,
        }
    }

    fn spectrum(count: u64, fresh: bool, peaks: &[Peak]) -> Spectrum {
        Spectrum { count, fresh, level: Dbfs::new(-30.0), peaks: peaks.to_vec(), ..Spectrum::default() }
    }

    #[test]
    fn a_tone_goes_on_through_a_short_absence_and_ends_after_a_long_one() {
        let mut tracks = Tracks::new();
        for frame in 0..10 {
            tracks.follow(&spectrum(frame, false, &[peak(1000.0, -50.0 + frame as f64)]), Seconds::ZERO);
        }
        let first = tracks.iter().next().unwrap().clone();
        assert_eq!((first.age, first.leap.round()), (10, 3.0));
        assert!((first.pace - 50.0).abs() < 1e-3, "{}", first.pace);
        for frame in 0..4 {
            tracks.follow(&spectrum(10 + frame, false, &[]), Seconds::ZERO);
        }
        tracks.follow(&spectrum(14, false, &[peak(1001.0, -40.0)]), Seconds::ZERO);
        assert_eq!(tracks.iter().map(|track| track.id).collect::<Vec<_>>(), [first.id]);
        // What has stood for 20 spectra is waited for through 4 + 20 / 8 of them.
        for frame in 0..7 {
            assert_eq!(tracks.iter().count(), 1, "{frame}");
            tracks.follow(&spectrum(15 + frame, false, &[]), Seconds::ZERO);
        }
        assert_eq!(tracks.iter().count(), 0);
    }

    #[test]
    fn two_tones_keep_apart_and_the_nearer_takes_the_peak() {
        let mut tracks = Tracks::new();
        tracks.follow(&spectrum(1, false, &[peak(1000.0, -50.0), peak(1006.0, -50.0)]), Seconds::ZERO);
        tracks.follow(&spectrum(2, false, &[peak(1005.0, -50.0)]), Seconds::ZERO);
        let seen: Vec<f64> = tracks.iter().filter(|t| t.missing == 0).map(|t| t.peak.frequency.get()).collect();
        assert_eq!((seen, tracks.iter().count()), (vec![1005.0], 2));
    }

    #[test]
    fn more_tones_than_places_and_a_restart() {
        let mut tracks = Tracks::new();
        let crowd: Vec<Peak> = (0..100).map(|k| peak(100.0 + 50.0 * f64::from(k), -50.0)).collect();
        tracks.follow(&spectrum(1, false, &crowd), Seconds::ZERO);
        tracks.follow(&spectrum(2, false, &crowd), Seconds::ZERO);
        assert_eq!(tracks.iter().count(), MOST);
        tracks.follow(&spectrum(3, true, &crowd[..5]), Seconds::ZERO);
        assert!(tracks.iter().take(5).all(|track| track.age == 1 && track.unborn));
        tracks.clear();
        assert_eq!(tracks.iter().count(), 0);
    }
}
