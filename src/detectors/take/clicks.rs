//! Clicks: crackle of a bad plug or cable, single samples gone wrong.
//!
//! In: blocks of amplitudes. The second difference lifts what is sudden out of music, whose spectrum falls; of it the
//! peak of every millisecond is kept. A click is a millisecond whose peak stands 14 dB over all of the 25 ms before it and
//! of the 25 ms that begin 3 ms after it. A struck or plucked note rings on, a voice's pulses come again within 25 ms.
//! Three or more clicks in a take are crackle; clicks less than a second apart are one passage. Edges of dropouts are
//! left out. Own working values, fitted on clicks laid into real programme.

use super::View;
use super::dropouts::Dropout;
use crate::detectors::finding::{Evidence, Finding};
use crate::units::{ChannelId, Dbfs, FrameCount, SampleRate};

/// Times as high as the surroundings.
const STANDS_OUT: f32 = 5.0;
/// −54 dBFS: below this nobody hears it.
const FAINTEST: f32 = 2e-3;
const BEFORE: usize = 25;
const AFTER: usize = 25;
/// A click may last so many ms.
const LONGEST: usize = 3;
const SPAN: usize = BEFORE + 1 + LONGEST + AFTER;
const FEWEST: usize = 3;
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
                self.end_milli(view.frame(at));
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        (self.known, self.in_milli, self.peak) = (0, 0, 0.0);
    }

    /// What counts as crackle, in passages.
    pub fn passages(&self, dropouts: &[Dropout], channel: ChannelId) -> Vec<Finding> {
        let near = NEAR * self.milli as u64;
        let edge = |at: u64| dropouts.iter().any(|gap| at.abs_diff(gap.start) < near || at.abs_diff(gap.end) < near);
        let clicks: Vec<&Click> = self.found.iter().filter(|click| !edge(click.at)).collect();
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

    fn end_milli(&mut self, end: u64) {
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
        let at = end - ((SPAN - BEFORE) * self.milli) as u64;
        let again = self.found.last().is_some_and(|last| at - last.at < (LONGEST * self.milli) as u64);
        if after * STANDS_OUT <= itself && !again {
            // The second difference of a lone sample is twice as high as the sample.
            self.found.push(Click { at, height: itself / 2.0 });
        }
    }
}

/// The largest second difference, of all but the first two samples.
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn sharpest(samples: &[f32]) -> f32 {
    let mut most = 0f32;
    for three in samples.windows(3) {
        let bend = (three[0] - 2.0 * three[1] + three[2]).abs();
        most = if bend > most { bend } else { most };
    }
    most
}
