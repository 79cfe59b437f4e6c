//! Tops that were cut off before a codec or a converter ruffled them: no longer flat, still plateaus.
//!
//! In: blocks of amplitudes. Each crest that stands over 0.4 of the recent peak is looked at: its plateau is what lies
//! within 10 % of its highest sample; the flanks beside it, as far as they fall and at most half a plateau long, belong to
//! a parabola that rises D · (s1 + s2) / 8 over their middles (slopes s1 and s2, a distance D apart) and says how much
//! higher the crest should have been. It is *cut* where that is 0.5 dB or more. Crests are counted by height. A take was
//! *clipped, then coded* where of a decibel at the top, over which hardly a crest reaches, six or more are cut, and so many
//! more than in the 3 dB below that chance would have to be four standard deviations wide (binomial, at one and a half
//! times the share below, 2 % at least): a limiter rounds its crests, and music has its plateaus at any height. Where the
//! other side of a stereo recording was, four crests and 3 σ are enough. Own rule, held against coded masters.

use super::View;
use crate::detectors::finding::Evidence;
use crate::dsp::lanes;
use crate::units::{Db, Dbfs, FrameCount, SampleRate};

/// Re the recent peak, which falls by half in about 7 s.
const STANDS: f32 = 0.4;
const DECAY: f32 = 0.99;
const PLATEAU: f32 = 0.9;
/// A flank ends here, re the crest.
const FOOT: f32 = 0.4;
const FLANK: (usize, usize) = (2, 12);
const OVERSHOOT: f64 = 0.5;
const MORE: f64 = 1.5;
const BY_CHANCE: f64 = 0.02;
/// Crests over the decibel in question, at most, re those in it.
const ABOVE: f64 = 0.1;
const LOWEST: f64 = -40.0;
const STEP: f64 = 0.25;
const BINS: usize = 180;
/// Bins of 1 dB, of the 3 dB below it, and how far under the highest crest the limit may lie.
const NEAR: usize = 4;
const BELOW: usize = 12;
const DOWN: usize = 3;

/// What is asked: cut crests, and standard deviations.
#[derive(Clone, Copy)]
pub(super) struct Proof(f64, f64);

/// Of a channel by itself.
pub(super) const ALONE: Proof = Proof(6.0, 4.0);
/// Where the other side was clipped.
pub(super) const CONFIRMED: Proof = Proof(4.0, 3.0);

/// The crests of one channel, by height.
pub(super) struct Plateaus {
    stride: usize,
    recent: f32,
    bins: Vec<Crests>,
}

#[derive(Clone, Copy, Default)]
struct Crests {
    all: u32,
    cut: u32,
    worst: f64,
    first: u64,
    last: u64,
}

impl Crests {
    fn add(&mut self, overshoot: f64, at: u64) {
        self.all += 1;
        if overshoot >= OVERSHOOT {
            self.first = if self.cut == 0 { at } else { self.first };
            self.last = at;
            self.cut += 1;
            self.worst = self.worst.max(overshoot);
        }
    }
}

impl Plateaus {
    pub fn new(rate: SampleRate) -> Self {
        Self { stride: (rate.get() / 1000).max(1) as usize, recent: 0.0, bins: vec![Crests::default(); BINS] }
    }

    pub fn look(&mut self, view: &View) {
        self.recent = lanes::larger(self.recent * DECAY, lanes::peak(view.block()));
        let least = self.recent * STANDS;
        if Dbfs::from_amplitude(f64::from(least)).get() < LOWEST {
            return;
        }
        let mut from = view.from;
        while from < view.to {
            let to = (from + self.stride).min(view.to);
            if lanes::peak(&view.samples[from..to]) > least {
                self.crests(view, least, from, to);
            }
            from = to;
        }
    }

    /// What stands in the decibel that shows it best, from the first cut crest to the last.
    pub fn evidence(&self, Proof(fewest, sigmas): Proof) -> Option<(FrameCount, FrameCount, Evidence)> {
        let highest = self.bins.iter().rposition(|bin| bin.all > 0)? + 1;
        let (top, _) = (highest.saturating_sub(DOWN).max(NEAR + BELOW)..=highest)
            .filter_map(|top| Some((top, self.sigmas(top, fewest)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|found| found.1 >= sigmas)?;
        let cut = || self.bins[top - NEAR..].iter().filter(|bin| bin.cut > 0);
        let (first, last) = (cut().map(|bin| bin.first).min()?, cut().map(|bin| bin.last).max()?);
        let evidence = Evidence::CodedClip {
            places: cut().map(|bin| bin.cut).sum(),
            level: Dbfs::new(LOWEST + (top as f64 - NEAR as f64 / 2.0) * STEP),
            overshoot: Db::new(cut().map(|bin| bin.worst).fold(0.0, f64::max)),
        };
        Some((FrameCount::new(first), FrameCount::new(last + 1), evidence))
    }

    /// By how many standard deviations the cut crests of the decibel under `top` are more than chance.
    fn sigmas(&self, top: usize, fewest: f64) -> Option<f64> {
        let count = |bins: &[Crests], of: fn(&Crests) -> u32| bins.iter().map(|bin| f64::from(of(bin))).sum::<f64>();
        let (near, below) = (&self.bins[top - NEAR..top], &self.bins[top - NEAR - BELOW..top - NEAR]);
        let (all, cut) = (count(near, |bin| bin.all), count(near, |bin| bin.cut));
        let share_below = count(below, |bin| bin.cut) / count(below, |bin| bin.all).max(1.0);
        let share = (MORE * share_below).clamp(BY_CHANCE, 0.9);
        let few_above = count(&self.bins[top..], |bin| bin.all) <= ABOVE * all;
        (cut >= fewest && few_above).then(|| (cut - all * share) / (all * share * (1.0 - share)).sqrt())
    }

    /// Those that begin in `samples[from..to]`.
    fn crests(&mut self, view: &View, least: f32, from: usize, to: usize) {
        let samples = view.samples;
        for start in from..to {
            let sign = samples[start].signum();
            if samples[start] * sign <= least || samples[start - 1] * sign > least {
                continue;
            }
            let length = samples[start..].iter().take_while(|&&sample| sample * sign > least).count();
            let highest = |best: usize, at: usize| if samples[at] * sign > samples[best] * sign { at } else { best };
            let top = (start..start + length).fold(start, highest);
            let Some(over) = overshoot(samples, top, sign) else { continue };
            let level = Dbfs::from_amplitude(f64::from(samples[top].abs())).get();
            let bin = (((level - LOWEST) / STEP).max(0.0) as usize).min(BINS - 1);
            self.bins[bin].add(over, view.frame(top));
        }
    }
}

/// How far over the crest at `top` the flanks beside its plateau would have carried the wave, in dB.
fn overshoot(samples: &[f32], top: usize, sign: f32) -> Option<f64> {
    let value = |index: usize| samples.get(index).map(|sample| sample * sign);
    let height = samples[top] * sign;
    let on = |sample: &&f32| **sample * sign >= height * PLATEAU;
    let left = top + 1 - samples[..=top].iter().rev().take_while(on).count();
    let right = top + samples[top..].iter().take_while(on).count() - 1;
    let longest = ((right + 1 - left) / 2).clamp(FLANK.0, FLANK.1);
    let falls = |inner: f32, outer: f32| outer < inner && outer > height * FOOT;
    let mut before = 0;
    while before < longest && falls(value(left - before)?, value(left.checked_sub(before + 1)?)?) {
        before += 1;
    }
    let mut after = 0;
    while after < longest && falls(value(right + after)?, value(right + after + 1)?) {
        after += 1;
    }
    if before == 0 || after == 0 {
        return None;
    }
    let (l1, l0) = (f64::from(value(left)?), f64::from(value(left - before)?));
    let (r1, r0) = (f64::from(value(right)?), f64::from(value(right + after)?));
    let slopes = (l1 - l0) / before as f64 + (r1 - r0) / after as f64;
    let distance = (right - left) as f64 + (before + after) as f64 / 2.0;
    let crest = (l0 + l1 + r0 + r1) / 4.0 + slopes * distance / 8.0;
    Some(20.0 * (crest / f64::from(height)).max(1e-3).log10())
}
