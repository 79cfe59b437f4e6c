//! Where a take sounds, where it is quiet, where people clap: its cue list.
//!
//! In: readings every 100 ms, each clapping or not (`detectors::Clapping`). Out: *quiet* for 2 s and more below what lies 35 dB under the loud parts (and no
//! more than 10 dB over the floor), *applause* for 2 s and more of clapping that is not quiet, and *sound* between.
//! Own working values. Tracks of one take are laid over each other, the loudest at each time telling. Edge cases: silence
//! has no cues; a steady hiss under everything is quiet; noise that is played loud for seconds counts as applause.

use crate::detectors::Clapping;
use crate::meters::Readings;
use crate::units::Seconds;

const FRAME: f64 = 0.1;
/// Eight hours.
const MOST_FRAMES: usize = 288_000;
/// Frames after which clapping is told.
const LOOK: usize = Clapping::LOOK;
const UNDER_LOUD: f64 = 35.0;
const OVER_FLOOR: f64 = 10.0;
const SHORTEST: usize = 20;
/// Sound that is shorter belongs to what lies around it.
const SHORTEST_SOUND: usize = 15;
/// A shout inside applause.
const BRIDGED: usize = 8;
const LOWEST: f64 = -100.0;

/// What a take is at a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CueKind {
    Sound,
    Applause,
    Quiet,
}

/// One entry of a cue list.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cue {
    pub kind: CueKind,
    pub start: Seconds,
    pub end: Seconds,
}

/// Level and character of every 100 ms.
#[derive(Clone, Debug, Default)]
pub struct Timeline {
    moments: Vec<Moment>,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Moment {
    /// Half decibels over −100 dBFS.
    level: u8,
    clapping: bool,
}

/// Fills a timeline while a recording is measured.
#[derive(Debug, Default)]
pub struct TimelineEar {
    timeline: Timeline,
    clapping: Clapping,
}

impl TimelineEar {
    pub fn observe(&mut self, readings: &Readings) {
        if !readings.frame_complete || self.timeline.moments.len() >= MOST_FRAMES {
            return;
        }
        let clapping = self.clapping.observe(readings);
        let level = readings.channels.iter().map(|channel| channel.frame.rms.get()).fold(f64::NEG_INFINITY, f64::max);
        let level = ((level - LOWEST) * 2.0).round().clamp(0.0, 255.0) as u8;
        self.timeline.moments.push(Moment { level, clapping });
    }

    pub fn take(&mut self) -> Timeline {
        std::mem::take(&mut self.timeline)
    }
}

impl Timeline {
    /// Another track of the same take: the louder of the two tells.
    pub fn lay_over(&mut self, other: &Self) {
        if self.moments.len() < other.moments.len() {
            self.moments.resize(other.moments.len(), Moment::default());
        }
        for (ours, theirs) in self.moments.iter_mut().zip(&other.moments) {
            if theirs.level > ours.level {
                *ours = *theirs;
            }
        }
    }

    pub fn cues(&self) -> Vec<Cue> {
        let mut levels: Vec<u8> = self.moments.iter().map(|moment| moment.level).collect();
        levels.sort_unstable();
        let ranked =
            |share: f64| levels.get((levels.len() as f64 * share) as usize).map_or(0.0, |&level| f64::from(level));
        let (floor, loud) = (ranked(0.10), ranked(0.95));
        if loud == 0.0 {
            return Vec::new();
        }
        // Half decibels, as the levels are.
        let threshold = (loud - 2.0 * UNDER_LOUD).max((floor + 2.0 * OVER_FLOOR).min(loud - 30.0));
        let mut kinds: Vec<CueKind> = self
            .moments
            .iter()
            .map(|moment| match moment {
                moment if f64::from(moment.level) < threshold => CueKind::Quiet,
                Moment { clapping: true, .. } => CueKind::Applause,
                _ => CueKind::Sound,
            })
            .collect();
        // A frame is told to be clapping when a second of it has been heard.
        for at in 0..kinds.len() {
            if kinds[at] == CueKind::Applause && at > 0 && kinds[at - 1] == CueKind::Sound {
                let from = at.saturating_sub(LOOK - 1);
                kinds[from..at]
                    .iter_mut()
                    .filter(|kind| **kind == CueKind::Sound)
                    .for_each(|kind| *kind = CueKind::Applause);
            }
        }
        close(&mut kinds, CueKind::Applause, BRIDGED);
        drop_short(&mut kinds, CueKind::Applause, SHORTEST);
        drop_short(&mut kinds, CueKind::Quiet, SHORTEST);
        join_short_sounds(&mut kinds);
        runs(&kinds)
            .into_iter()
            .map(|(kind, from, to)| Cue {
                kind,
                start: Seconds::new(from as f64 * FRAME),
                end: Seconds::new(to as f64 * FRAME),
            })
            .collect()
    }
}

fn runs(kinds: &[CueKind]) -> Vec<(CueKind, usize, usize)> {
    let mut at = 0;
    let run = |part: &[CueKind]| {
        at += part.len();
        (part[0], at - part.len(), at)
    };
    kinds.chunk_by(|a, b| a == b).map(run).collect()
}

/// Short stretches of anything else between two of a kind become of that kind.
fn close(kinds: &mut [CueKind], kind: CueKind, most: usize) {
    for three in runs(kinds).windows(3) {
        let [(before, ..), (_, from, to), (after, ..)] = [three[0], three[1], three[2]];
        if before == kind && after == kind && to - from <= most {
            kinds[from..to].fill(kind);
        }
    }
}

/// Too short to be one.
fn drop_short(kinds: &mut [CueKind], kind: CueKind, least: usize) {
    for (this, from, to) in runs(kinds) {
        if this == kind && to - from < least {
            kinds[from..to].fill(CueKind::Sound);
        }
    }
}

fn join_short_sounds(kinds: &mut [CueKind]) {
    for (this, from, to) in runs(kinds) {
        if this == CueKind::Sound && to - from < SHORTEST_SOUND && from > 0 {
            let before = kinds[from - 1];
            kinds[from..to].fill(before);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn timeline(parts: &[(usize, f64, bool)]) -> Timeline {
        let moment = |&(frames, level, clapping): &(usize, f64, bool)| {
            vec![Moment { level: ((level - LOWEST) * 2.0) as u8, clapping }; frames]
        };
        Timeline { moments: parts.iter().flat_map(moment).collect() }
    }

    fn told(timeline: &Timeline) -> Vec<(CueKind, f64, f64)> {
        timeline.cues().iter().map(|cue| (cue.kind, cue.start.get(), cue.end.get())).collect()
    }

    #[test]
    fn songs_stand_between_silence_and_applause() {
        use CueKind::{Applause, Quiet, Sound};
        let take = timeline(&[
            (50, -70.0, true),
            (600, -20.0, false),
            (60, -25.0, true),
            (5, -20.0, false),
            (20, -25.0, true),
            (40, -70.0, true),
            (8, -30.0, false),
            (30, -70.0, true),
            (300, -18.0, false),
        ]);
        let near = |a: f64, b: f64| (a - b).abs() < 1.0;
        let expected =
            [(Quiet, 0.0, 5.0), (Sound, 5.0, 65.0), (Applause, 65.0, 73.5), (Quiet, 73.5, 81.3), (Sound, 81.3, 111.3)];
        let told = told(&take);
        assert_eq!(told.len(), expected.len(), "{told:?}");
        for (told, expected) in told.iter().zip(expected) {
            assert!(
                told.0 == expected.0 && near(told.1, expected.1) && near(told.2, expected.2),
                "{told:?} {expected:?}"
            );
        }
    }

    #[test]
    fn silence_has_no_cues_and_a_breath_is_none() {
        assert_eq!(told(&timeline(&[(100, -100.0, false)])), []);
        assert_eq!(told(&Timeline::default()), []);
        let breath = timeline(&[(100, -20.0, false), (15, -80.0, false), (100, -20.0, false)]);
        assert_eq!(told(&breath), [(CueKind::Sound, 0.0, 21.5)]);
    }

    #[test]
    fn the_louder_track_tells() {
        let mut all = timeline(&[(100, -20.0, false), (100, -80.0, false)]);
        all.lay_over(&timeline(&[(50, -60.0, false), (250, -25.0, true)]));
        assert_eq!(all.moments.len(), 300);
        assert!(all.moments[20] == Moment { level: 160, clapping: false } && all.moments[150].clapping);
    }
}
