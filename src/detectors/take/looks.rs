//! One spectrum a second: where the sound ends, hiss, and a whine that never ends.
//!
//! In: blocks of amplitudes. Out, when the take is over: *lossy*, where the mean spectrum falls by 25 dB or more within
//! 700 Hz somewhere between 9 and 20.5 kHz and stays down to the end (a codec's low-pass; no microphone does that);
//! *whine*, a line over 2 kHz that stands 20 dB over its surroundings (300 Hz each way, median) and keeps its level
//! within 3 dB in the eight quietest looks; *hiss* within 50 dB of the programme in them ([`hiss`]). Beside that, whether a
//! *lone tone* carried most of the sound over 150 Hz for four looks in a row: no fault by itself, but what may have rung.
//! Windows are Hann, the longest power of two within 175 ms. Silence and less than five looks give nothing. Working
//! values, common practice.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::held::HeldTones;
use super::{View, hiss};
use crate::detectors::finding::Evidence;
use crate::units::{Db, Dbfs, FrameCount, Hertz, SampleRate};

const LONGEST: f64 = 0.175;
const KEPT: usize = 8;
const FEWEST: u32 = 5;
const FALL: f64 = 25.0;
const EDGE: (f64, f64) = (9_000.0, 20_500.0);
const WHINE_FROM: f64 = 2_000.0;
const WHINE_OVER: f32 = 100.0;
const WHINE_STEADY: f32 = 2.0;
const HISS: Db = Db::new(-50.0);
/// Mean square of a look that holds nothing: −93 dBFS, what a converter of 16 bits leaves.
const NOTHING: f32 = 5e-10;
/// Mean square of a line under which nobody hears it: −85 dBFS.
pub(super) const FAINTEST: f32 = 3e-9;

/// A bin that carries this share of the power over 150 Hz is a tone that stands alone: a Hann window spreads it over three,
/// the highest with half of it at least.
const LONE_SHARE: f32 = 0.3;
const LONE_FROM: f64 = 150.0;
const LONE_LOOKS: u32 = 4;

/// The looks at one channel.
pub(super) struct Looks {
    rate: f64,
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    mean: Vec<f64>,
    looks: u32,
    next: u64,
    quiet: Vec<(f32, Vec<f32>)>,
    /// The bin of the tone that carries most of the newest looks, and how many in a row.
    lone: Option<(usize, u32)>,
    /// The highest bin of the newest look, and whether anything sounded in it.
    top: (usize, bool),
    longest_lone: u32,
    held: HeldTones,
    powers: Vec<f32>,
}

impl Looks {
    pub fn new(rate: SampleRate) -> Self {
        let most = (f64::from(rate.get()) * LONGEST) as usize;
        let length = 1 << most.ilog2();
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(length);
        let bins = length / 2 + 1;
        let hann = |i: usize| (0.5 - 0.5 * (TAU * i as f64 / length as f64).cos()) as f32;
        Self {
            rate: f64::from(rate.get()),
            window: (0..length).map(hann).collect(),
            input: fft.make_input_vec(),
            output: fft.make_output_vec(),
            scratch: fft.make_scratch_vec(),
            fft,
            mean: vec![0.0; bins],
            looks: 0,
            next: 0,
            lone: None,
            top: (0, false),
            longest_lone: 0,
            held: HeldTones::new(f64::from(rate.get()) / length as f64, bins),
            powers: vec![0.0; bins],
            quiet: (0..KEPT).map(|_| (f32::INFINITY, vec![0.0; bins])).collect(),
        }
    }

    pub fn look(&mut self, view: &View) {
        if view.start < self.next || view.samples.len() < self.window.len() {
            return;
        }
        self.next = view.start + self.rate as u64;
        for ((out, sample), weight) in self.input.iter_mut().zip(view.samples).zip(&self.window) {
            *out = sample * weight;
        }
        if self.fft.process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch).is_err() {
            return;
        }
        self.looks += 1;
        let scale = 2.0 / (self.window.len() as f32 / 2.0).powi(2);
        let (mut high, mut all, mut top) = (0.0, 0.0, (0, 0.0));
        let (from, lowest) = (self.bin(WHINE_FROM), self.bin(LONE_FROM));
        for (index, (mean, bin)) in self.mean.iter_mut().zip(&self.output).enumerate() {
            let power = bin.norm_sqr() * scale;
            *mean += f64::from(power);
            high += if index >= from { power } else { 0.0 };
            if index >= lowest {
                all += power;
                top = if power > top.1 { (index, power) } else { top };
            }
        }
        self.follow(top, all);
        let end = view.start + self.window.len() as u64;
        let powers = self.output.iter().map(|bin| bin.norm_sqr() * scale);
        self.held.look(powers, &mut self.powers, view.start, end);
        let loudest = self.quiet.iter_mut().max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some(loudest) = loudest.filter(|loudest| high > NOTHING && high < loudest.0) {
            loudest.0 = high;
            for (out, bin) in loudest.1.iter_mut().zip(&self.output) {
                *out = bin.norm_sqr() * scale;
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        (self.next, self.lone, self.top) = (0, None, (0, false));
        self.held.restart();
    }

    /// A tone carried most of what sounds for seconds.
    pub fn has_lone_tone(&self) -> bool {
        self.longest_lone >= LONE_LOOKS
    }

    /// Tones that stood for a while.
    pub fn held(&self) -> impl Iterator<Item = (FrameCount, FrameCount, Evidence)> + '_ {
        self.held.found(self.looks)
    }

    pub fn evidence(&self, programme: Dbfs) -> Vec<Evidence> {
        if self.looks < FEWEST {
            return Vec::new();
        }
        let lossy = self.ends_at().map(|from| Evidence::Lossy { nothing_above: from });
        [lossy, self.hiss(programme), self.whine()].into_iter().flatten().collect()
    }

    fn hiss(&self, programme: Dbfs) -> Option<Evidence> {
        let quiet = self.quiet.iter().filter(|(power, _)| power.is_finite()).map(|(_, spectrum)| spectrum.as_slice());
        let floor = hiss::floor(quiet, (self.bin(LONE_FROM), self.bin(WHINE_FROM)), programme)?;
        let below = floor - programme;
        (below > HISS).then_some(Evidence::Hiss { floor, below })
    }

    /// `top`: the highest bin and its power; `all`: the power of everything.
    fn follow(&mut self, top: (usize, f32), all: f32) {
        let near = |bin: usize| bin.abs_diff(top.0) <= 1;
        let (before, sounded) = std::mem::replace(&mut self.top, (top.0, top.1 > FAINTEST));
        if top.1 <= FAINTEST || top.1 <= LONE_SHARE * all {
            self.lone = None;
        } else if let Some((_, looks)) = self.lone.filter(|lone| near(lone.0)) {
            self.lone = Some((top.0, looks + 1));
            self.longest_lone = self.longest_lone.max(looks + 1);
        } else {
            // A test tone begins the take, or comes back; what rings comes up while something else sounds.
            self.lone = (sounded && !near(before)).then_some((top.0, 1));
        }
    }

    /// Where the mean spectrum falls off a cliff.
    fn ends_at(&self) -> Option<Hertz> {
        let width = self.bin(250.0).max(1);
        let groups: Vec<f64> = self.mean.chunks_exact(width).map(|group| group.iter().sum::<f64>()).collect();
        let level = |group: usize| 10.0 * (groups[group] / f64::from(self.looks)).max(1e-20).log10();
        let hertz = |group: usize| (group * width) as f64 * self.rate / self.window.len() as f64;
        let last = groups.len() - 1;
        let ends = |&group: &usize| {
            let (before, after) = (level(group - 1), level(group + 2));
            before - after >= FALL && before > -100.0 && (group + 2..last).all(|above| level(above) <= after + 6.0)
        };
        let first = (1..last.saturating_sub(3)).find(|&group| hertz(group) >= EDGE.0)?;
        (first..last - 3).filter(|&group| hertz(group) <= EDGE.1).find(ends).map(|group| Hertz::new(hertz(group + 1)))
    }

    fn whine(&self) -> Option<Evidence> {
        if self.quiet.iter().any(|(power, _)| power.is_infinite()) {
            return None;
        }
        let sorted = |bin: usize| {
            let mut all: Vec<f32> = self.quiet.iter().map(|(_, spectrum)| spectrum[bin]).collect();
            all.sort_unstable_by(f32::total_cmp);
            all
        };
        let reach = self.bin(300.0);
        let bins = self.bin(WHINE_FROM)..self.mean.len().saturating_sub(reach + 1);
        let middle: Vec<f32> = (0..self.mean.len()).map(|bin| sorted(bin)[KEPT / 2]).collect();
        let line = |bin: &usize| {
            let bin = *bin;
            if middle[bin] < FAINTEST || middle[bin] < middle[bin - 1] || middle[bin] < middle[bin + 1] {
                return false;
            }
            let mut around = middle[bin - reach..=bin + reach].to_vec();
            around.sort_unstable_by(f32::total_cmp);
            let all = sorted(bin);
            middle[bin] > WHINE_OVER * around[reach] && all[KEPT - 1] < WHINE_STEADY * all[0]
        };
        let bin = bins.filter(line).max_by(|&a, &b| middle[a].total_cmp(&middle[b]))?;
        Some(Evidence::Whine {
            frequency: Hertz::new(bin as f64 * self.rate / self.window.len() as f64),
            level: Dbfs::from_power(f64::from(middle[bin])),
        })
    }

    fn bin(&self, hertz: f64) -> usize {
        (hertz / self.rate * self.window.len() as f64) as usize
    }
}
