//! Tops that were cut off before a codec or a converter ruffled them: no longer flat, still plateaus.
//!
//! In: blocks of amplitudes. Of each 10 ms the highest sample is looked at. Around it the wave stays within 10 % of it
//! for some samples; the slopes just outside belong to a parabola (see the flat runs' meter), which says how much
//! higher the crest should have been. A take is *clipped, then coded* where of its highest crests (from the eighth down to
//! 1 dB under it) at least one in seven was cut by 0.5 dB or more, and that is much rarer in the 3 dB below: a limiter
//! rounds its crests, and music has its plateaus at any height. Own rule, fitted on coded takes and held against masters.

use super::View;
use crate::detectors::finding::Evidence;
use crate::dsp::lanes;
use crate::units::{Db, Dbfs, SampleRate};

const HOP: f64 = 0.01;
const NEAR_TOP: f32 = 0.90;
const OVERSHOOT: f64 = 0.5;
const FEWEST: u32 = 12;
const SHARE: f64 = 0.14;
/// Times as large as the share of the crests below.
const CONTRAST: f64 = 2.5;
const LOWEST: f64 = -30.0;
const STEP: f64 = 0.25;
const BINS: usize = 140;
/// Which crest is the top: a few lone ones stand over it.
const TOP: u32 = 8;
/// Bins in 1 dB, and in the 3 dB below that.
const NEAR: usize = 4;
const BELOW: usize = 12;

/// The crests of one channel, by height.
pub(super) struct Plateaus {
    hop: usize,
    all: Vec<u32>,
    cut: Vec<u32>,
    worst: f64,
}

impl Plateaus {
    pub fn new(rate: SampleRate) -> Self {
        let hop = (f64::from(rate.get()) * HOP) as usize;
        Self { hop: hop.max(1), all: vec![0; BINS], cut: vec![0; BINS], worst: 0.0 }
    }

    pub fn look(&mut self, view: &View) {
        for (index, hop) in view.block().chunks_exact(self.hop).enumerate() {
            let height = lanes::peak(hop);
            let level = Dbfs::from_amplitude(f64::from(height)).get();
            if level < LOWEST {
                continue;
            }
            let Some(place) = hop.iter().position(|sample| sample.abs() == height) else { continue };
            let bin = (((level - LOWEST) / STEP) as usize).min(BINS - 1);
            let Some(over) = overshoot(view.samples, view.from + index * self.hop + place) else { continue };
            self.all[bin] += 1;
            if over >= OVERSHOOT {
                self.cut[bin] += 1;
                self.worst = self.worst.max(over);
            }
        }
    }

    pub fn evidence(&self) -> Option<Evidence> {
        let sum = |bins: &[u32], from: usize, to: usize| f64::from(bins[from..to.min(BINS)].iter().sum::<u32>());
        let top = (0..BINS).rev().find(|&bin| sum(&self.all, bin, BINS) >= f64::from(TOP))?;
        let (near, below) = (top.saturating_sub(NEAR), top.saturating_sub(NEAR + BELOW));
        let cut = sum(&self.cut, near, BINS);
        let share = cut / sum(&self.all, near, BINS);
        let share_below = sum(&self.cut, below, near) / sum(&self.all, below, near).max(1.0);
        // The very highest are plateaus too.
        let highest = sum(&self.cut, top.saturating_sub(1), BINS) >= 2.0;
        let stands = highest && cut >= f64::from(FEWEST) && share >= SHARE && share >= CONTRAST * share_below;
        stands.then(|| Evidence::CodedClip {
            places: cut as u32,
            level: Dbfs::new(LOWEST + (top as f64 + 0.5) * STEP),
            overshoot: Db::new(self.worst),
        })
    }
}

/// How far over the crest at `top` the slopes beside its plateau would have carried the wave, in dB.
fn overshoot(samples: &[f32], top: usize) -> Option<f64> {
    let sign = samples[top].signum();
    let near = samples[top].abs() * NEAR_TOP;
    let within = |sample: &&f32| **sample * sign >= near;
    let left = top - samples[..top].iter().rev().take_while(within).count();
    let right = top + samples[top..].iter().take_while(within).count();
    let value = |index: usize| samples.get(index).map(|sample| f64::from(sample * sign));
    let (l0, l1, l2) = (value(left)?, value(left.checked_sub(1)?)?, value(left.checked_sub(2)?)?);
    let (r0, r1, r2) = (value(right - 1)?, value(right)?, value(right + 1)?);
    let slopes = ((l0 - l2) + (r0 - r2)) / 2.0;
    let distance = (right - left) as f64 + 1.0;
    let crest = (l1 + r1) / 2.0 + slopes * distance / 8.0;
    let height = f64::from(samples[top].abs());
    Some(20.0 * (crest / height).max(1e-3).log10())
}
