//! Loudness of all channels together: momentary, short-term, integrated, range.
//!
//! ITU-R BS.1770-5 Annex 1, EBU Tech 3341 (v4) and 3342. In: K-weighted energies of each hop, summed over
//! the channels by weight. Unit: LUFS, L = −0.691 + 10 lg(mean square). Momentary covers 400 ms and
//! short-term 3 s, moved on by 10 ms; while less has been heard, the rest counts as silence. Integrated
//! loudness takes complete 400 ms blocks every 100 ms, first those above −70 LUFS, then those less than
//! 10 LU under the mean of these. Range takes complete short-term values every 100 ms, above −70 LUFS
//! and less than 20 LU under their mean, from the 10th to the 95th percentile.
//! Memory is fixed: values are kept in bins of 0.01 LU with their powers. A gap empties the windows.

use crate::dsp::histogram::{LevelHistogram, rank};
use crate::dsp::lanes;
use crate::units::{Db, Lufs, SampleRate};

use super::clock::HOPS_PER_FRAME;
use super::readings::Programme;

const MOMENTARY_HOPS: usize = 40;
const SHORT_TERM_HOPS: usize = 300;
const MOMENTARY_SECONDS: f64 = 0.4;
const SHORT_TERM_SECONDS: f64 = 3.0;
const OFFSET: f64 = -0.691;
const ABSOLUTE_GATE: f64 = -70.0;
const HIGHEST: f64 = 20.0;
const STEP: f64 = 0.01;
/// 10 LU and 20 LU as ratios of power.
const INTEGRATED_GATE: f64 = 0.1;
const RANGE_GATE: f64 = 0.01;
const RANGE_LOW: f64 = 0.10;
const RANGE_HIGH: f64 = 0.95;

/// The meter of the programme.
pub(super) struct Loudness {
    rate: f64,
    /// The energies of the last 3 s twice over, so that every window is one slice.
    hops: Vec<f64>,
    next: usize,
    /// Complete hops since the start or the last gap.
    heard: u64,
    blocks: Gated,
    short_terms: Gated,
}

/// Values above the absolute gate.
struct Gated {
    histogram: LevelHistogram,
    gate: f64,
}

impl Loudness {
    pub fn new(rate: SampleRate) -> Self {
        Self {
            rate: f64::from(rate.get()),
            hops: vec![0.0; 2 * SHORT_TERM_HOPS],
            next: 0,
            heard: 0,
            blocks: Gated::new(),
            short_terms: Gated::new(),
        }
    }

    /// Adds a hop of this weighted energy and renews `programme`.
    pub fn push(&mut self, energy: f64, programme: &mut Programme) {
        self.hops[self.next] = energy;
        self.hops[self.next + SHORT_TERM_HOPS] = energy;
        self.next = (self.next + 1) % SHORT_TERM_HOPS;
        self.heard += 1;
        let momentary = self.mean(MOMENTARY_HOPS, MOMENTARY_SECONDS);
        let short_term = self.mean(SHORT_TERM_HOPS, SHORT_TERM_SECONDS);
        programme.momentary = lufs(momentary);
        programme.momentary_max = programme.momentary_max.max(programme.momentary);
        programme.short_term = lufs(short_term);
        programme.short_term_max = programme.short_term_max.max(programme.short_term);
        if self.heard.is_multiple_of(HOPS_PER_FRAME) {
            if self.heard >= MOMENTARY_HOPS as u64 && self.blocks.push(momentary) {
                programme.integrated = lufs(self.blocks.mean(INTEGRATED_GATE));
            }
            if self.heard >= SHORT_TERM_HOPS as u64 && self.short_terms.push(short_term) {
                programme.range = self.short_terms.range();
            }
        }
    }

    /// Empties the windows after a gap; what is gated stays.
    pub fn restart(&mut self) {
        self.hops.fill(0.0);
        self.heard = 0;
    }

    fn mean(&self, hops: usize, seconds: f64) -> f64 {
        let end = self.next + SHORT_TERM_HOPS;
        lanes::sum(&self.hops[end - hops..end]) / (seconds * self.rate)
    }
}

impl Gated {
    fn new() -> Self {
        let gate = 10f64.powf((ABSOLUTE_GATE - OFFSET) / 10.0);
        Self { histogram: LevelHistogram::new(ABSOLUTE_GATE - OFFSET, HIGHEST - OFFSET, STEP), gate }
    }

    /// Whether it passed the absolute gate.
    fn push(&mut self, power: f64) -> bool {
        let passed = power > self.gate;
        if passed {
            self.histogram.add(power);
        }
        passed
    }

    /// The relative gate: this share of the mean.
    fn threshold(&self, share: f64) -> f64 {
        self.histogram.total().mean().unwrap_or(0.0) * share
    }

    fn mean(&self, share: f64) -> f64 {
        self.histogram.above(self.threshold(share)).mean().unwrap_or(0.0)
    }

    fn range(&self) -> Option<Db> {
        let threshold = self.threshold(RANGE_GATE);
        let count = self.histogram.above(threshold).count;
        let low = self.histogram.ranked(threshold, rank(count, RANGE_LOW))?;
        let high = self.histogram.ranked(threshold, rank(count, RANGE_HIGH))?;
        Some(Db::new(10.0 * (high / low).log10()))
    }
}

fn lufs(power: f64) -> Lufs {
    if power > 0.0 { Lufs::new(OFFSET + 10.0 * power.log10()) } else { Lufs::SILENCE }
}

/// How much each channel weighs in the programme.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LoudnessLayout {
    /// Every channel weighs 1: mono, stereo, and the inputs of a desk.
    Equal,
    /// Left, right, centre, left and right surround.
    Surround50,
    /// Left, right, centre, low-frequency effects (left out), left and right surround.
    Surround51,
}

impl LoudnessLayout {
    /// The usual meaning of a recording's channel count, in the order of WAV.
    pub const fn of_recording(channels: usize) -> Self {
        match channels {
            5 => Self::Surround50,
            6 => Self::Surround51,
            _ => Self::Equal,
        }
    }

    /// The weight of channel `index` (BS.1770-5 Annex 1, Table 3).
    pub fn weight(self, index: usize) -> f64 {
        const SURROUND: f64 = 1.41;
        match (self, index) {
            (Self::Surround50, 3 | 4) | (Self::Surround51, 4 | 5) => SURROUND,
            (Self::Surround51, 3) => 0.0,
            _ => 1.0,
        }
    }

    /// The weights of `channels` channels.
    pub fn weights(self, channels: usize) -> Vec<f64> {
        (0..channels).map(|index| self.weight(index)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn feed(meter: &mut Loudness, programme: &mut Programme, level: f64, hops: usize) {
        let energy = 480.0 * 10f64.powf((level - OFFSET) / 10.0);
        (0..hops).for_each(|_| meter.push(energy, programme));
    }

    fn meter() -> (Loudness, Programme) {
        (Loudness::new(SampleRate::new(48_000).unwrap()), Programme::default())
    }

    /// The formula of BS.1770-5 on constant power, and the two gates: nothing at −80 or −40 counts beside −20.
    #[test]
    fn gates() {
        let (mut meter, mut programme) = meter();
        feed(&mut meter, &mut programme, -80.0, 1000);
        assert!(programme.integrated.is_silence() && programme.range.is_none());
        feed(&mut meter, &mut programme, -20.0, 30_000);
        feed(&mut meter, &mut programme, -40.0, 30_000);
        assert!((programme.integrated.get() + 20.0).abs() < 0.02, "{programme:?}");
        assert!((programme.short_term.get() + 40.0).abs() < 1e-9);
        assert!((programme.momentary_max.get() + 20.0).abs() < 1e-9);
    }

    #[test]
    fn windows_start_anew() {
        let (mut meter, mut programme) = meter();
        feed(&mut meter, &mut programme, -20.0, 20);
        assert!((programme.momentary.get() + 23.0103).abs() < 1e-3);
        assert!(programme.integrated.is_silence());
        meter.restart();
        feed(&mut meter, &mut programme, -20.0, 30);
        assert!(programme.integrated.is_silence());
        feed(&mut meter, &mut programme, -20.0, 10);
        assert!((programme.integrated.get() + 20.0).abs() < 1e-9);
    }

    #[test]
    fn weights() {
        assert_eq!(LoudnessLayout::of_recording(6).weights(6), [1.0, 1.0, 1.0, 0.0, 1.41, 1.41]);
        assert_eq!(LoudnessLayout::of_recording(5).weights(5), [1.0, 1.0, 1.0, 1.41, 1.41]);
        assert_eq!(LoudnessLayout::of_recording(8).weights(8), [1.0; 8]);
    }
}
