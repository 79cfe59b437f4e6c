//! Clicks: crackle of a bad plug or cable, single samples gone wrong.
//!
//! In: blocks of amplitudes. The second difference lifts what is sudden out of music, whose spectrum falls; of it the
//! peak of every millisecond is kept. A click is a millisecond whose peak stands 14 dB over all of the 25 ms before it and
//! of the 25 ms that begin 3 ms after it (a struck note rings on, a voice's pulses come again), and whose spectrum does not
//! fall: the energies of its second and first differences stand as 2.3 … 6 to 1. White noise and a lone sample
//! have 3, a step has 2, a stick's or a mouth's click less. Four or more that stand within 22 dB of the programme's active
//! level are crackle; clicks less than a second apart are one passage. Edges of dropouts are left out. Own working values,
//! fitted on clicks laid into real programme; the ratios follow from the differences' gains, |2 sin(ω/2)|² each.

use super::View;
use super::dropouts::Dropout;
use crate::detectors::finding::{Evidence, Finding};
use crate::dsp::lanes::larger;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate};

/// Times as high as the surroundings.
const STANDS_OUT: f32 = 5.0;
/// −60 dBFS: below this nobody hears it.
const FAINTEST: f32 = 1e-3;
const UNDER_PROGRAMME: Db = Db::new(-22.0);
const WHITE: std::ops::Range<f64> = 2.3..6.0;
const BEFORE: usize = 25;
const AFTER: usize = 25;
/// A click may last so many ms.
const LONGEST: usize = 3;
const SPAN: usize = BEFORE + 1 + LONGEST + AFTER;
const FEWEST: usize = 4;
const MOST: usize = 10_000;
/// Milliseconds around a dropout's edge.
const NEAR: u64 = 4;

/// The clicks of one channel.
pub(super) struct Clicks {
    rate: SampleRate,
    milli: usize,
    /// Peaks of the last milliseconds, the newest last.
    peaks: [f32; SPAN],
    known: usize,
    /// Of the millisecond in progress.
    peak: f32,
    in_milli: usize,
    found: Vec<Click>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Click {
    at: u64,
    height: f32,
}

impl Clicks {
    pub fn new(rate: SampleRate) -> Self {
        let milli = (rate.get() / 1000).max(1) as usize;
        Self { rate, milli, peaks: [0.0; SPAN], known: 0, peak: 0.0, in_milli: 0, found: Vec::with_capacity(MOST) }
    }

    pub fn look(&mut self, view: &View) {
        let mut at = view.from;
        while at < view.to {
            let to = (at + self.milli - self.in_milli).min(view.to);
            self.peak = self.peak.max(sharpest(&view.samples[at - 2..to]));
            self.in_milli += to - at;
            at = to;
            if self.in_milli == self.milli {
                self.end_milli(view, at);
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        (self.known, self.in_milli, self.peak) = (0, 0, 0.0);
    }

    /// What counts as crackle, in passages.
    pub fn passages(&self, dropouts: &[Dropout], programme: Dbfs, channel: ChannelId) -> Vec<Finding> {
        let least = (programme + UNDER_PROGRAMME).amplitude() as f32;
        let near = NEAR * self.milli as u64;
        let edge = |at: u64| dropouts.iter().any(|gap| at.abs_diff(gap.start) < near || at.abs_diff(gap.end) < near);
        let clicks: Vec<&Click> = self.found.iter().filter(|click| click.height >= least && !edge(click.at)).collect();
        if clicks.len() < FEWEST {
            return Vec::new();
        }
        let second = u64::from(self.rate.get());
        let passage = |clicks: &[&Click]| {
            let height = clicks.iter().map(|click| click.height).fold(0.0, f32::max);
            Finding {
                channel,
                start: FrameCount::new(clicks[0].at),
                end: FrameCount::new(clicks[clicks.len() - 1].at + self.milli as u64),
                evidence: Evidence::Crackle {
                    clicks: clicks.len() as u32,
                    highest: Dbfs::from_amplitude(f64::from(height)),
                },
            }
        };
        clicks.chunk_by(|a, b| b.at - a.at < second).map(passage).collect()
    }

    fn end_milli(&mut self, view: &View, end: usize) {
        self.peaks.rotate_left(1);
        self.peaks[SPAN - 1] = std::mem::take(&mut self.peak);
        self.in_milli = 0;
        self.known = (self.known + 1).min(SPAN);
        if self.known < SPAN || self.found.len() == MOST {
            return;
        }
        let here = self.peaks[BEFORE];
        let loudest = |part: &[f32]| part.iter().fold(0f32, |loudest, &peak| loudest.max(peak));
        let before = loudest(&self.peaks[..BEFORE]);
        let itself = loudest(&self.peaks[BEFORE..BEFORE + LONGEST]);
        if itself < FAINTEST || before * STANDS_OUT > itself || here * 2.0 < itself {
            return;
        }
        let after = loudest(&self.peaks[BEFORE + LONGEST..]);
        let start = end - (SPAN - BEFORE) * self.milli;
        let at = view.frame(start);
        let again = self.found.last().is_some_and(|last| at - last.at < (LONGEST * self.milli) as u64);
        if after * STANDS_OUT <= itself && !again && self.is_white(view, start) {
            // The second difference of a lone sample is twice as high as the sample.
            self.found.push(Click { at, height: itself / 2.0 });
        }
    }

    /// Whether the differences of what begins at `start` have the energies of something white, what went before taken off.
    fn is_white(&self, view: &View, start: usize) -> bool {
        let length = (LONGEST + 1) * self.milli;
        let Some(itself) = view.samples.get(start.saturating_sub(self.milli / 2)..start + length) else { return false };
        let before = &view.samples[start.saturating_sub(7 * self.milli)..start.saturating_sub(self.milli)];
        let share = itself.len() as f64 / before.len().max(1) as f64;
        let ((a1, a2), (b1, b2)) = (differences(itself), differences(before));
        let (first, second) = (a1 - b1 * share, a2 - b2 * share);
        first > 0.0 && WHITE.contains(&(second / first))
    }
}

/// Energies of the first and of the second differences.
fn differences(samples: &[f32]) -> (f64, f64) {
    let energy = |x: f32| f64::from(x) * f64::from(x);
    let first = samples.windows(2).map(|x| energy(x[1] - x[0])).sum();
    let second = samples.windows(3).map(|x| energy(x[2] - 2.0 * x[1] + x[0])).sum();
    (first, second)
}

/// The largest second difference, of all but the first two samples.
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn sharpest(samples: &[f32]) -> f32 {
    const LANES: usize = 16;
    let bend = |at: usize| (samples[at] - 2.0 * samples[at + 1] + samples[at + 2]).abs();
    let places = samples.len().saturating_sub(2);
    let mut most = [0f32; LANES];
    for start in (0..places / LANES * LANES).step_by(LANES) {
        let window: &[f32] = &samples[start..start + LANES + 2];
        for lane in 0..LANES {
            let bend = (window[lane] - 2.0 * window[lane + 1] + window[lane + 2]).abs();
            most[lane] = larger(most[lane], bend);
        }
    }
    let rest = (places / LANES * LANES..places).map(bend).fold(0f32, larger);
    most.into_iter().fold(rest, larger)
}
