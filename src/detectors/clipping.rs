//! Clipping at this meter's full scale, and flat tops below it (overload before this meter).
//!
//! Input: the flat runs of one channel (see `meters::FlatRun`). *Clipped*: a run of three or more samples
//! at full scale. *Flat top*: runs at a repeated value below full scale, at five or more places (long runs count for more), where the
//! slopes of the neighbours would have carried the wave 0.5 dB further; a smooth or limited maximum does
//! not count, nor does one sample of a loop that comes round again: the places (both half-waves together, where their
//! values agree) must be of two forms or forty, and the wave must not go beyond them. Runs closer than a second are one passage. Working values, common practice.

use super::finding::{Evidence, Finding, Outbox};
use crate::meters::FlatRun;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};

/// Samples this near to 1.0 are at full scale: the top code of 16 bits is 0.99997.
const FULL_SCALE: f32 = 0.9999;
/// Flat tops from here on count as this meter's own overload.
const NEAR_FULL_SCALE: Dbfs = Dbfs::new(-0.3);
const OVERSHOOT: Db = Db::new(0.5);
const PLACES: u32 = 5;
/// Samples of a run that tells as much as one place more: no smooth crest stays within 0.3 % so long and is steep beside it.
const LONG: u32 = 12;
const PLACES_NEAR_FULL_SCALE: u32 = 2;
/// A value that the wave went this far beyond (0.35 dB) within so long is no limit: one drum in a mix was flat.
const BEYOND: f32 = 1.04;
const PEAK_LASTS: Seconds = Seconds::new(10.0);
/// A loop brings the same few runs again and again: forms (length, overshoot) that differ, or so many places.
const FORMS: usize = 2;
const MANY_PLACES: u32 = 40;
const SAME_FORM: Db = Db::new(0.3);
/// Two runs within this of each other have the same value: 0.026 dB, a noise floor's worth.
const SAME_VALUE: f32 = 0.003;
const PASSAGE: Seconds = Seconds::new(1.0);
/// A repeated value not met for this long is forgotten: the gain may have changed.
const FORGET: Seconds = Seconds::new(60.0);

/// What has been seen on a channel since it was last reset.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Tops {
    /// Runs at full scale.
    pub clipped: u32,
    /// Flat tops that count as this meter's overload: −0.3 dBFS and up, two places or more.
    pub near_full_scale: bool,
    /// Places of flat tops below; 0 until there are five.
    pub flat: u32,
    pub flat_level: Dbfs,
}

/// Watches one channel.
#[derive(Clone, Debug)]
pub struct Clipping {
    channel: ChannelId,
    passage_gap: FrameCount,
    forget: FrameCount,
    clipped: Option<Passage>,
    flat: [Repeated; 2],
    /// The highest sample of the last ten seconds or so, and when it was.
    highest: (f32, FrameCount),
    peak_lasts: FrameCount,
    tops: Tops,
}

#[derive(Clone, Copy, Debug)]
struct Passage {
    start: FrameCount,
    end: FrameCount,
    runs: u32,
    samples: u32,
    longest: u32,
    overshoot: Db,
}

impl Passage {
    fn new(run: &FlatRun) -> Self {
        let end = run.start + FrameCount::new(u64::from(run.samples));
        Self { start: run.start, end, runs: 1, samples: run.samples, longest: run.samples, overshoot: run.overshoot }
    }

    fn extend(&mut self, run: &FlatRun) {
        self.end = run.start + FrameCount::new(u64::from(run.samples));
        self.runs += 1;
        self.samples += run.samples;
        self.longest = self.longest.max(run.samples);
        self.overshoot = self.overshoot.max(run.overshoot);
    }
}

/// A value at which the tops of one half-wave keep ending.
#[derive(Clone, Copy, Debug, Default)]
struct Repeated {
    value: f32,
    places: u32,
    /// Places, long runs counted for more.
    weight: u32,
    /// Samples and overshoot of the first runs that differ.
    forms: [(u32, Db); FORMS],
    known_forms: usize,
    passage: Option<Passage>,
}

impl Repeated {
    fn begin(run: &FlatRun) -> Self {
        let mut repeated = Self { value: run.value.abs(), passage: Some(Passage::new(run)), ..Self::default() };
        repeated.count(run);
        repeated
    }

    fn count(&mut self, run: &FlatRun) {
        self.places += 1;
        self.weight += 1 + run.samples / LONG;
        let same = |&(samples, overshoot): &(u32, Db)| {
            samples.abs_diff(run.samples) <= 1 && (overshoot - run.overshoot).abs() <= SAME_FORM
        };
        if self.known_forms < FORMS && !self.forms[..self.known_forms].iter().any(same) {
            self.forms[self.known_forms] = (run.samples, run.overshoot);
            self.known_forms += 1;
        }
    }
}

impl Clipping {
    pub fn new(channel: ChannelId, rate: SampleRate) -> Self {
        Self {
            channel,
            passage_gap: rate.frames(PASSAGE),
            forget: rate.frames(FORGET),
            clipped: None,
            flat: [Repeated::default(); 2],
            highest: (0.0, FrameCount::ZERO),
            peak_lasts: rate.frames(PEAK_LASTS),
            tops: Tops::default(),
        }
    }

    /// The runs that ended in the newest hop, which ended at `now`, and its highest sample.
    pub fn observe(&mut self, runs: &[FlatRun], peak: Dbfs, now: FrameCount, out: &mut Outbox) {
        self.note_peak(peak.amplitude() as f32, now);
        for run in runs {
            self.close(run.start, self.passage_gap, out);
            if run.value.abs() >= FULL_SCALE {
                self.tops.clipped += 1;
                match &mut self.clipped {
                    Some(passage) => passage.extend(run),
                    none => *none = Some(Passage::new(run)),
                }
            } else if run.overshoot >= OVERSHOOT && self.highest.0 <= run.value.abs() * BEYOND {
                self.flat_run(run, out);
            }
        }
        self.close(now, self.passage_gap, out);
    }

    /// Reports what is still open.
    pub fn finish(&mut self, now: FrameCount, out: &mut Outbox) {
        self.close(now, FrameCount::ZERO, out);
    }

    pub fn tops(&self) -> Tops {
        self.tops
    }

    /// Forgets what was counted; the knob was turned.
    pub fn reset(&mut self) {
        self.tops = Tops::default();
        self.flat = [Repeated::default(); 2];
        self.highest.0 = 0.0;
    }

    /// What went beyond a value shows that it is no limit.
    fn note_peak(&mut self, peak: f32, now: FrameCount) {
        if peak >= self.highest.0 || now - self.highest.1 > self.peak_lasts {
            self.highest = (peak, now);
        }
        for repeated in &mut self.flat {
            if repeated.places > 0 && self.highest.0 > repeated.value * BEYOND {
                *repeated = Repeated::default();
            }
        }
    }

    fn flat_run(&mut self, run: &FlatRun, out: &mut Outbox) {
        let value = run.value.abs();
        let side = usize::from(run.value < 0.0);
        let known = self.flat[side];
        let stale = known.passage.is_some_and(|passage| run.start - passage.end > self.forget);
        if known.places == 0 || stale || value > known.value * (1.0 + SAME_VALUE) {
            self.report_flat(side, out);
            self.flat[side] = Repeated::begin(run);
        } else if value >= known.value * (1.0 - SAME_VALUE) {
            let repeated = &mut self.flat[side];
            repeated.count(run);
            match &mut repeated.passage {
                Some(passage) => passage.extend(run),
                none => *none = Some(Passage::new(run)),
            }
            let (level, places) = (Dbfs::from_amplitude(f64::from(repeated.value)), repeated.places);
            if level >= NEAR_FULL_SCALE {
                self.tops.near_full_scale |= places >= PLACES_NEAR_FULL_SCALE;
            } else if self.is_limit(side) {
                self.tops.flat = places;
                self.tops.flat_level = level;
            }
        }
    }

    fn close(&mut self, now: FrameCount, gap: FrameCount, out: &mut Outbox) {
        let over = |passage: &Passage| now - passage.end >= gap;
        if let Some(passage) = self.clipped.take_if(|passage| over(passage)) {
            let evidence = Evidence::Clipped { runs: passage.runs, samples: passage.samples, longest: passage.longest };
            out.push(Finding { channel: self.channel, start: passage.start, end: passage.end, evidence });
        }
        for side in 0..2 {
            if self.flat[side].passage.is_some_and(|passage| over(&passage)) && self.is_limit(side) {
                self.report_flat(side, out);
            }
        }
    }

    /// Whether the places of this side, and of the other at the same height, are those of a limit, not of a sound that
    /// comes again.
    fn is_limit(&self, side: usize) -> bool {
        let (this, other) = (&self.flat[side], &self.flat[1 - side]);
        let agree = (this.value - other.value).abs() <= this.value * SAME_VALUE;
        let pooled = |count: fn(&Repeated) -> u32| count(this) + if agree { count(other) } else { 0 };
        let weight = pooled(|repeated| repeated.weight);
        weight >= PLACES
            && (pooled(|repeated| repeated.places) >= MANY_PLACES
                || pooled(|repeated| repeated.known_forms as u32) >= FORMS as u32)
    }

    /// Reports the open passage of flat tops on this side, if it stood at enough places.
    fn report_flat(&mut self, side: usize, out: &mut Outbox) {
        if !self.is_limit(side) {
            return;
        }
        let repeated = &mut self.flat[side];
        if let Some(passage) = repeated.passage.take() {
            let evidence = Evidence::FlatTop {
                places: passage.runs,
                longest: passage.longest,
                level: Dbfs::from_amplitude(f64::from(repeated.value)),
                overshoot: passage.overshoot,
            };
            out.push(Finding { channel: self.channel, start: passage.start, end: passage.end, evidence });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(start: u64, value: f32, overshoot: f64) -> FlatRun {
        FlatRun { start: FrameCount::new(start), samples: 4, value, overshoot: Db::new(overshoot) }
    }

    fn observe(runs: &[FlatRun], end: u64) -> (Tops, Vec<Finding>) {
        let mut clipping = Clipping::new(ChannelId::new(0), SampleRate::new(48_000).unwrap());
        let mut out = Outbox::new();
        for run in runs {
            let peak = Dbfs::from_amplitude(f64::from(run.value.abs()));
            clipping.observe(std::slice::from_ref(run), peak, run.start + FrameCount::new(480), &mut out);
        }
        clipping.finish(FrameCount::new(end), &mut out);
        (clipping.tops(), out.drain().collect())
    }

    #[test]
    fn runs_at_full_scale_make_passages() {
        let (tops, found) = observe(&[run(0, 1.0, 2.0), run(9_600, -1.0, 2.0), run(96_000, 1.0, 2.0)], 200_000);
        assert_eq!(tops.clipped, 3);
        assert_eq!(found.len(), 2);
        assert_eq!(found[0].evidence, Evidence::Clipped { runs: 2, samples: 8, longest: 4 });
        assert_eq!((found[0].start.get(), found[0].end.get()), (0, 9_604));
    }

    #[test]
    fn flat_tops_need_five_places_at_one_value_and_an_overshoot() {
        let at =
            |count: u64, value: f32, over: f64| (0..count).map(|k| run(k * 5_000, value, over)).collect::<Vec<_>>();
        assert_eq!(observe(&at(4, 0.25, 1.0), 90_000), (Tops::default(), vec![]));
        assert_eq!(observe(&at(9, 0.25, 0.1), 90_000), (Tops::default(), vec![]));
        // One sample of a loop, coming round again.
        assert_eq!(observe(&at(39, 0.25, 1.0), 900_000), (Tops::default(), vec![]));
        assert_eq!(observe(&at(40, 0.25, 1.0), 900_000).0.flat, 40);
        let of_forms: Vec<_> = (0..5).map(|k| run(k * 5_000, 0.25, 1.0 + 0.5 * k as f64)).collect();
        let (tops, found) = observe(&of_forms, 90_000);
        assert_eq!(tops.flat, 5);
        assert_eq!(found.len(), 1);
        // The wave goes beyond the value: a flat sound in a mix.
        let beyond: Vec<_> =
            (0..9).map(|k| run(k * 5_000, [0.25, 0.3][k as usize % 2], 1.0 + 0.5 * k as f64)).collect();
        assert!(
            observe(&beyond, 90_000)
                .1
                .iter()
                .all(|found| matches!(found.evidence, Evidence::FlatTop { level, .. } if level > Dbfs::new(-11.0)))
        );
        let scattered: Vec<_> = (0..9).map(|k| run(k * 5_000, 0.9 - 0.05 * k as f32, 1.0)).collect();
        assert_eq!(observe(&scattered, 90_000).1, vec![]);
    }

    #[test]
    fn two_flat_tops_just_under_full_scale_are_this_meters_own() {
        assert!(observe(&[run(0, 0.98, 1.0), run(5_000, 0.98, 1.0)], 90_000).0.near_full_scale);
        assert!(!observe(&[run(0, 0.98, 1.0)], 90_000).0.near_full_scale);
    }
}
