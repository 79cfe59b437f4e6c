//! Tones that stand for seconds at one pitch and one level, and end: what somebody left on, or rang without growing.
//!
//! In: one spectrum a second (mean squares of bins). A tone is a highest bin from 1.5 kHz up that stands 15 dB over the mean
//! of 300 Hz on each side, has no companion at a half, a third, two thirds, three halves, twice or three times its
//! frequency (a note has partials), and comes again in the next look, or the one
//! after it, within a bin and 3 dB. Six looks in a row are *held*.
//! Nobody holds a note like that; an organ's softest stop may. Own working values. The state has a fixed size.

use super::looks::FAINTEST;
use crate::detectors::finding::Evidence;
use crate::units::{Dbfs, FrameCount, Hertz};

const FROM: f64 = 1_500.0;
const BESIDE: f64 = 300.0;
const OVER: f64 = 30.0;
const STEADY: f32 = 2.0;
const LOOKS: u32 = 6;
const AT_ONCE: usize = 6;
const MOST: usize = 16;
/// A partial is no weaker than this re the tone.
const COMPANION: f32 = 0.02;
const RATIOS: [f64; 6] = [0.5, 1.0 / 3.0, 2.0 / 3.0, 1.5, 2.0, 3.0];

#[derive(Clone, Copy, Debug)]
pub(super) struct Held {
    bin: usize,
    looks: u32,
    pub start: FrameCount,
    pub end: FrameCount,
    low: f32,
    high: f32,
    missed: bool,
}

/// The tones of one channel.
#[derive(Debug)]
pub(super) struct HeldTones {
    /// Hz from bin to bin.
    step: f64,
    sums: Vec<f64>,
    open: Vec<Held>,
    found: Vec<Held>,
}

impl HeldTones {
    pub fn new(step: f64, bins: usize) -> Self {
        Self { step, sums: vec![0.0; bins + 1], open: Vec::with_capacity(2 * AT_ONCE), found: Vec::with_capacity(MOST) }
    }

    /// The newest look, from frame `at` to frame `end`.
    pub fn look(&mut self, powers: impl Iterator<Item = f32>, spectrum: &mut [f32], at: u64, end: u64) {
        for (index, (slot, power)) in spectrum.iter_mut().zip(powers).enumerate() {
            *slot = power;
            self.sums[index + 1] = self.sums[index] + f64::from(power);
        }
        let (tones, count) = self.tones(spectrum);
        let mut used = [false; AT_ONCE];
        let (open, found) = (&mut self.open, &mut self.found);
        open.retain_mut(|held| {
            let again = (0..count).find(|&place| {
                let bin = tones[place];
                let (low, high) = (held.low.min(spectrum[bin]), held.high.max(spectrum[bin]));
                !used[place] && bin.abs_diff(held.bin) <= 1 && high < STEADY * low
            });
            let Some(place) = again else {
                // Something may cover it for a moment.
                if !std::mem::replace(&mut held.missed, true) {
                    return true;
                }
                if held.looks >= LOOKS && found.len() < MOST {
                    found.push(*held);
                }
                return false;
            };
            used[place] = true;
            held.bin = tones[place];
            held.looks += 1;
            held.missed = false;
            held.end = FrameCount::new(end);
            held.low = held.low.min(spectrum[held.bin]);
            held.high = held.high.max(spectrum[held.bin]);
            true
        });
        for (&bin, _) in tones.iter().zip(used).take(count).filter(|(_, used)| !used) {
            if self.open.len() < 2 * AT_ONCE {
                let (start, end) = (FrameCount::new(at), FrameCount::new(end));
                self.open.push(Held {
                    bin,
                    looks: 1,
                    start,
                    end,
                    low: spectrum[bin],
                    high: spectrum[bin],
                    missed: false,
                });
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        self.open.clear();
    }

    /// Those that were held, but not from the first look to the last of `looks`.
    pub fn found(&self, looks: u32) -> impl Iterator<Item = (FrameCount, FrameCount, Evidence)> + '_ {
        let open = self.open.iter().filter(|held| held.looks >= LOOKS);
        let passing = move |held: &&Held| held.looks + 2 < looks;
        self.found.iter().chain(open).filter(passing).map(|held| {
            let evidence = Evidence::Whine {
                frequency: Hertz::new(held.bin as f64 * self.step),
                level: Dbfs::from_power(f64::from(held.high)),
            };
            (held.start, held.end, evidence)
        })
    }

    /// The bins of the loudest tones, and how many there are.
    fn tones(&self, spectrum: &[f32]) -> ([usize; AT_ONCE], usize) {
        let bin = |hertz: f64| (hertz / self.step) as usize;
        let reach = bin(BESIDE).max(8);
        let mut tones = [0; AT_ONCE];
        let mut count = 0;
        for at in bin(FROM).max(reach + 1)..spectrum.len().saturating_sub(reach + 1) {
            let here = spectrum[at];
            let is_top = here > FAINTEST && here >= spectrum[at - 1] && here > spectrum[at + 1];
            if !is_top || !self.stands_out(spectrum, at, reach) || self.has_company(spectrum, at) {
                continue;
            }
            if count < AT_ONCE {
                (tones[count], count) = (at, count + 1);
            } else if let Some(weakest) = tones.iter_mut().min_by(|a, b| spectrum[**a].total_cmp(&spectrum[**b]))
                && spectrum[*weakest] < here
            {
                *weakest = at;
            }
        }
        (tones, count)
    }

    /// Over the mean of what lies beside it, its own three bins each way left out.
    fn stands_out(&self, spectrum: &[f32], at: usize, reach: usize) -> bool {
        let sum = |from: usize, to: usize| self.sums[to] - self.sums[from];
        let beside = sum(at - reach, at - 3) + sum(at + 4, at + reach + 1);
        f64::from(spectrum[at]) > OVER * beside / (2 * reach - 6) as f64
    }

    fn has_company(&self, spectrum: &[f32], at: usize) -> bool {
        RATIOS.iter().any(|ratio| {
            let place = (at as f64 * ratio).round() as usize;
            let reach = 12;
            if place < reach + 4 || place + reach + 1 >= spectrum.len() {
                return false;
            }
            let top = (place - 2..=place + 2).max_by(|&a, &b| spectrum[a].total_cmp(&spectrum[b])).unwrap_or(place);
            spectrum[top] > COMPANION * spectrum[at] && self.stands_out(spectrum, top, reach)
        })
    }
}
