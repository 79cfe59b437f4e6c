//! The spectrum meter: the tones that stand out of one channel's sound, every 20 ms.
//!
//! In: amplitudes, the newest 171 ms of a channel at each second hop. Out: the peaks of the short-time spectrum
//! (Hann window, one real transform) that stand at least 9 dB over the median of their surroundings, each with
//! frequency, level, width, that median, and the strongest line where its harmonics would be. Levels are mean squares
//! in dB re full scale: a full-scale sine reads −3.01 dBFS.
//!
//! Frequency comes from the advance of the bin's phase between two spectra (Flanagan and Golden, *Phase vocoder*,
//! 1966), far below the bin width of 5.9 Hz; in the first spectrum of a stretch from the parabola through the three
//! highest bins in dB. The level is the energy of the five bins around the peak, so it does not depend on where
//! between two bins the tone lies. The median is taken over third octaves on either side, in sixths of an octave.
//!
//! Edge cases: no spectrum in the first 171 ms of a stretch, the start and the end of a gap included; silence has no
//! peaks; two tones less than three bins (18 Hz) apart are one peak. Nothing is allocated after construction.

use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::readings::{Peak, Spectrum};
use crate::dsp::bins;
use crate::units::{Dbfs, Hertz, SampleRate, Seconds};

/// Peaks that a spectrum holds at most; the lowest over their surroundings are left out.
pub(super) const MOST_PEAKS: usize = 48;
/// From the lowest to the highest, eight octaves.
pub(super) const MOST_COLUMNS: usize = 8 * Spectrum::PER_OCTAVE;

const WINDOW: Seconds = Seconds::new(0.17);
/// Hops from one spectrum to the next.
pub(super) const HOPS: u64 = 2;
const LOWEST: f64 = Spectrum::LOWEST.get();
const HIGHEST: f64 = 16_000.0;
/// Over the median of the surroundings, as a factor on power: 9 dB.
const STANDS_OUT: f32 = 7.943;
/// Sixths of an octave that make up the third on either side.
const REACH: usize = 2;
/// Powers below this are silence: −160 dBFS.
const NOTHING: f32 = 1e-16;
/// What a transform in `f32` leaves of everything in every bin: −130 dB.
const ROUNDING: f32 = 1e-13;

/// Window, plan and bands: the same for all channels.
pub(super) struct SpectrumPlan {
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    rate: f64,
    /// First and last bin at which a peak may stand.
    bins: (usize, usize),
    /// Sixths of an octave: the first bin of each, and one past the last.
    bands: Vec<usize>,
    /// In which of them each bin lies, the nearest for those outside.
    band_of: Vec<u8>,
    /// The bins of each column for the eye; low ones share a bin.
    columns: Vec<Range<usize>>,
}

/// Working memory of one thread.
pub(super) struct SpectrumScratch {
    windowed: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    fft: Vec<Complex<f32>>,
    power: Vec<f32>,
    /// Powers as the bits that order alike, which sorts faster.
    sorted: Vec<u32>,
    medians: Vec<f32>,
    floors: Vec<f32>,
    tops: Vec<(f32, usize)>,
}

/// What one channel keeps from spectrum to spectrum.
pub(super) struct SpectrumMeter {
    before: Vec<Complex<f32>>,
    fresh: bool,
}

impl SpectrumPlan {
    pub fn new(rate: SampleRate) -> Self {
        let length = window(rate);
        let fft = RealFftPlanner::new().plan_fft_forward(length);
        let hz = f64::from(rate.get());
        let bin = |frequency: f64| (frequency * length as f64 / hz).round() as usize;
        let last = bin(HIGHEST).min(length / 2 - 4);
        let first = bin(LOWEST).max(4);
        let mut bands = vec![first];
        while let Some(&edge) = bands.last().filter(|&&edge| edge < last) {
            // At least eight bins, so that a median is one.
            bands.push(((edge as f64 * 2f64.powf(1.0 / 6.0)).round() as usize).max(edge + 8).min(last + 1));
            if bands.last() == Some(&(last + 1)) {
                break;
            }
        }
        let band_of = |bin: usize| bands.partition_point(|&edge| edge <= bin).clamp(1, bands.len() - 1) - 1;
        let band_of = (0..=length / 2).map(|bin| band_of(bin) as u8).collect();
        let edge = |column: usize| LOWEST * 2f64.powf((column as f64 - 0.5) / Spectrum::PER_OCTAVE as f64);
        let columns = (0..)
            .map(|column| {
                let from = (edge(column) * length as f64 / hz).round() as usize;
                from..((edge(column + 1) * length as f64 / hz).round() as usize).max(from + 1)
            })
            .take_while(|bins| bins.end <= last + 1)
            .collect();
        let step = TAU / length as f64;
        let shape: Vec<f64> = (0..length).map(|i| 0.5 - 0.5 * (step * (i as f64 + 0.5)).cos()).collect();
        let energy: f64 = shape.iter().map(|weight| weight * weight).sum();
        let scale = (2.0 / (energy * length as f64)).sqrt();
        let window = shape.iter().map(|weight| (weight * scale) as f32).collect();
        Self { fft, window, rate: hz, bins: (first, last), bands, band_of, columns }
    }

    pub fn leave_out_columns(&mut self) {
        self.columns.clear();
    }

    pub fn length(&self) -> usize {
        self.window.len()
    }

    pub fn scratch(&self) -> SpectrumScratch {
        let bins = self.length() / 2 + 1;
        SpectrumScratch {
            windowed: self.fft.make_input_vec(),
            spectrum: self.fft.make_output_vec(),
            fft: self.fft.make_scratch_vec(),
            power: vec![0.0; bins],
            sorted: vec![0; bins],
            medians: vec![0.0; self.bands.len()],
            floors: vec![0.0; self.bands.len()],
            tops: Vec::with_capacity(bins),
        }
    }

    pub fn meter(&self) -> SpectrumMeter {
        SpectrumMeter { before: self.fft.make_output_vec(), fresh: true }
    }

    fn hertz(&self, bins: f64) -> Hertz {
        Hertz::new(bins * self.rate / self.length() as f64)
    }
}

impl SpectrumMeter {
    /// A new stretch begins.
    pub fn reset(&mut self) {
        self.fresh = true;
    }

    /// The spectrum of `samples`, `advance` samples after the one before it.
    pub fn look(
        &mut self,
        plan: &SpectrumPlan,
        scratch: &mut SpectrumScratch,
        samples: &[f32],
        advance: usize,
        out: &mut Spectrum,
    ) {
        debug_assert_eq!(samples.len(), plan.length());
        bins::weigh(&mut scratch.windowed, samples, &plan.window);
        let done = plan.fft.process_with_scratch(&mut scratch.windowed, &mut scratch.spectrum, &mut scratch.fft);
        debug_assert!(done.is_ok(), "the buffers were made for this plan");
        let all = bins::powers(&mut scratch.power, &scratch.spectrum);
        scratch.take_floors(plan, all);
        scratch.find_tops(plan);
        out.count += 1;
        out.fresh = self.fresh;
        out.level = Dbfs::from_power(f64::from(all));
        out.columns.clear();
        let highest = |bins: &Range<usize>| scratch.power[bins.clone()].iter().copied().fold(0.0, f32::max);
        out.columns.extend(plan.columns.iter().map(highest));
        out.peaks.clear();
        let advance = (!self.fresh).then_some(advance as f64);
        for &(_, bin) in &scratch.tops {
            out.peaks.push(scratch.peak(plan, &self.before, bin, advance));
        }
        std::mem::swap(&mut self.before, &mut scratch.spectrum);
        self.fresh = false;
    }
}

impl SpectrumScratch {
    /// The median power of each sixth of an octave, then of a third on either side of it.
    fn take_floors(&mut self, plan: &SpectrumPlan, all: f32) {
        let least = (ROUNDING * all).max(NOTHING);
        let bands = plan.bands.len() - 1;
        for band in 0..bands {
            let (from, to) = (plan.bands[band], plan.bands[band + 1]);
            let sorted = &mut self.sorted[..to - from];
            sorted.iter_mut().zip(&self.power[from..to]).for_each(|(bits, power)| *bits = power.to_bits());
            let middle = sorted.len() / 2;
            self.medians[band] = f32::from_bits(*sorted.select_nth_unstable(middle).1);
        }
        for band in 0..bands {
            let (from, to) = (band.saturating_sub(REACH), (band + REACH + 1).min(bands));
            let sorted = &mut self.sorted[..to - from];
            sorted.iter_mut().zip(&self.medians[from..to]).for_each(|(bits, power)| *bits = power.to_bits());
            sorted.sort_unstable();
            self.floors[band] = f32::from_bits(sorted[sorted.len() / 2]).max(least);
        }
    }

    fn floor(&self, plan: &SpectrumPlan, bin: usize) -> f32 {
        self.floors[usize::from(plan.band_of[bin])]
    }

    /// The bins that are peaks, in order of frequency.
    fn find_tops(&mut self, plan: &SpectrumPlan) {
        self.tops.clear();
        let power = &self.power;
        for band in 0..plan.bands.len() - 1 {
            let least = self.floors[band] * STANDS_OUT;
            for bin in plan.bands[band]..plan.bands[band + 1] {
                let here = power[bin];
                let is_top = here > least
                    && here > power[bin - 1]
                    && here >= power[bin + 1]
                    && here > power[bin - 2]
                    && here >= power[bin + 2];
                if is_top && bin <= plan.bins.1 {
                    self.tops.push((here / self.floors[band], bin));
                }
            }
        }
        if self.tops.len() > MOST_PEAKS {
            self.tops.select_nth_unstable_by(MOST_PEAKS, |a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
            self.tops.truncate(MOST_PEAKS);
            self.tops.sort_unstable_by_key(|&(_, bin)| bin);
        }
    }

    fn peak(&self, plan: &SpectrumPlan, before: &[Complex<f32>], bin: usize, advance: Option<f64>) -> Peak {
        let at = |bin: usize| f64::from(self.power[bin]);
        let parabola = self.summit(bin);
        let exact = advance.map_or(parabola, |advance| {
            let turned = f64::from((self.spectrum[bin] * before[bin].conj()).arg());
            let length = plan.length() as f64;
            let expected = TAU * parabola * advance / length;
            let off = turned - expected;
            let off = off - TAU * (off / TAU).round();
            // A phase that disagrees by more than a bin belongs to another sound.
            let found = parabola + off * length / (TAU * advance);
            if (found - parabola).abs() < 1.0 { found } else { parabola }
        });
        let energy: f64 = (bin - 2..=bin + 2).map(at).sum();
        let floor = self.floor(plan, bin);
        Peak {
            frequency: plan.hertz(exact),
            level: Dbfs::from_power(energy),
            width: plan.hertz(self.width(bin)),
            // What the window lets through of noise, in bins.
            surroundings: Dbfs::from_power(1.5 * f64::from(floor)),
            over: self.related(plan, exact, &[2.0, 3.0]),
            under: self.related(plan, exact, &[0.5, 2.0 / 3.0, 1.5, 1.0 / 3.0]),
        }
    }

    /// The top of the parabola through three bins in dB, counted in bins.
    fn summit(&self, bin: usize) -> f64 {
        let log = |bin: usize| f64::from(self.power[bin].max(NOTHING)).ln();
        let (left, here, right) = (log(bin - 1), log(bin), log(bin + 1));
        let bend = left - 2.0 * here + right;
        let off = if bend < 0.0 { 0.5 * (left - right) / bend } else { 0.0 };
        bin as f64 + off.clamp(-0.5, 0.5)
    }

    /// Bins between the points 10 dB below the top.
    fn width(&self, bin: usize) -> f64 {
        let least = self.power[bin] * 0.1;
        let side = |step: isize| {
            let mut inner = bin;
            for count in 1..40usize {
                let Some(outer) = bin.checked_add_signed(step * count as isize).filter(|&bin| bin < self.power.len())
                else {
                    return count as f64;
                };
                if self.power[outer] <= least {
                    let (high, low) = (self.power[inner].max(NOTHING).ln(), self.power[outer].max(NOTHING).ln());
                    let share = f64::from((high - least.max(NOTHING).ln()) / (high - low).max(1e-6));
                    return count as f64 - 1.0 + share.clamp(0.0, 1.0);
                }
                inner = outer;
            }
            40.0
        };
        side(-1) + side(1)
    }

    /// The strongest line at one of these multiples of a tone, silence if none stands out there.
    fn related(&self, plan: &SpectrumPlan, exact: f64, multiples: &[f64]) -> Dbfs {
        let (first, last) = plan.bins;
        let mut strongest = 0f64;
        for multiple in multiples {
            let bin = (exact * multiple).round() as usize;
            if bin < first || bin + 3 > last || (bin as f64 - exact).abs() < 5.0 {
                continue;
            }
            let Some(top) = (bin - 1..=bin + 1).max_by(|&a, &b| self.power[a].total_cmp(&self.power[b])) else {
                continue;
            };
            let is_top = self.power[top] > self.power[top - 1] && self.power[top] >= self.power[top + 1];
            if is_top && self.power[top] > self.floor(plan, top) * STANDS_OUT {
                strongest = strongest.max((top - 2..=top + 2).map(|bin| f64::from(self.power[bin])).sum());
            }
        }
        Dbfs::from_power(strongest)
    }
}

/// Samples of one spectrum.
pub(super) fn window(rate: SampleRate) -> usize {
    let smooth = |mut length: usize| {
        for factor in [2, 3, 5] {
            while length.is_multiple_of(factor) {
                length /= factor;
            }
        }
        length == 1
    };
    let mut length = (rate.frames(WINDOW).get() as usize).next_multiple_of(64);
    while !smooth(length) {
        length += 64;
    }
    length
}
