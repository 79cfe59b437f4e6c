//! The level in the room, from one microphone: what a sound-level meter would show, re full scale.
//!
//! In: amplitudes of one channel, 1.0 = full scale, in pieces of any length, and the gaps between them. Out:
//! [`SoundReadings`] after each stretch of 100 ms of which something was heard: LAF, LAS, LCF, LZF, LAFmax, LCpeak, LAeq
//! over the last second, minute, quarter of an hour and all, L10 / L50 / L90 of LAF, octave and third-octave bands.
//! Sources: IEC 61672-1:2013 (weightings, LAeq, LCpeak), IEC 61260-1:2014 (bands). Peaks are looked for between samples
//! as in ITU-R BS.1770-5, annex 2.
//!
//! Time is the frame count: stretch k ends floor((k + 1) · rate / 10) frames after the beginning, lost frames included.
//! The same samples give the same readings, bit for bit, however they are cut. A gap is a hole: means go on over what was
//! heard, and tell how much is missing; filters start anew. NaN and ±∞ count as 0 and are counted. All memory is taken in
//! [`SoundMeter::new`], about 0.3 MB at 48 kHz; [`SoundMeter::push`] takes none.

mod energy;
pub(super) mod readings;
mod tone;

pub use energy::Tally;

use readings::{BandLevels, Leq, OCTAVE_BANDS, Percentiles, SoundReadings, Tone};

use super::BANDS;
use crate::dsp::fractional_octave::{FilterBank, Fraction};
use crate::dsp::histogram::{LevelHistogram, rank};
use crate::dsp::time_weighting::{FAST, SLOW, TimeWeighting};
use crate::dsp::weighting::{Weighting, WeightingFilter};
use crate::dsp::{lanes, oversample};
use crate::units::{Dbfs, FrameCount, SampleRate, Seconds};
use energy::{PER_SECOND, Recent};
use tone::Crossings;

/// 31.5 Hz and 25 Hz, from 1 kHz.
const LOWEST_OCTAVE: i32 = -5;
const LOWEST_THIRD: i32 = -16;
const THIRD_AT_1_KHZ: usize = 16;
/// The highest power that is silence: means below are tails.
const SILENCE: f64 = 1e-30;

pub struct SoundMeter {
    rate: SampleRate,
    /// Frames since the beginning, lost ones included, and whole stretches of them.
    frames: u64,
    stretches: u64,
    filters: Filters,
    weighted: Weighted,
    banks: Banks,
    stretch: Stretch,
    recent: Recent,
    whole: Tally,
    histogram: LevelHistogram,
    readings: SoundReadings,
}

struct Filters {
    a: WeightingFilter,
    c: WeightingFilter,
    z: WeightingFilter,
}

/// The means with a memory.
struct Weighted {
    laf: TimeWeighting,
    las: TimeWeighting,
    lcf: TimeWeighting,
    lzf: TimeWeighting,
}

struct Banks {
    octaves: FilterBank<OCTAVE_BANDS>,
    thirds: FilterBank<BANDS>,
    /// Sums of squares of all that was heard before this stretch.
    octave_sums: [f64; OCTAVE_BANDS],
    third_sums: [f64; BANDS],
}

/// The 100 ms in progress.
struct Stretch {
    heard: u32,
    energy: f64,
    energy_z: f64,
    highest_laf: f64,
    octaves: [f64; OCTAVE_BANDS],
    thirds: [f64; BANDS],
    crossings: Crossings,
    sample_peak: f32,
    /// C-weighted since the last gap, with what the interpolator looks back on before it.
    c: Vec<f32>,
    /// The highest between samples before a gap in this stretch.
    c_peak: f32,
    cleaned: Vec<f32>,
    wide: Vec<f64>,
    tap: Vec<f64>,
}

impl SoundMeter {
    pub fn new(rate: SampleRate) -> Self {
        let longest = rate.get() as usize / PER_SECOND as usize + 1;
        let filter = |weighting| WeightingFilter::new(weighting, rate);
        let mean = |constant| TimeWeighting::new(constant, rate);
        let mut c = Vec::with_capacity(oversample::HISTORY + longest);
        c.resize(oversample::HISTORY, 0.0);
        Self {
            rate,
            frames: 0,
            stretches: 0,
            filters: Filters { a: filter(Weighting::A), c: filter(Weighting::C), z: filter(Weighting::Z) },
            weighted: Weighted { laf: mean(FAST), las: mean(SLOW), lcf: mean(FAST), lzf: mean(FAST) },
            banks: Banks {
                octaves: FilterBank::new(Fraction::Octave, LOWEST_OCTAVE, rate),
                thirds: FilterBank::new(Fraction::Third, LOWEST_THIRD, rate),
                octave_sums: [0.0; OCTAVE_BANDS],
                third_sums: [0.0; BANDS],
            },
            stretch: Stretch {
                heard: 0,
                energy: 0.0,
                energy_z: 0.0,
                highest_laf: 0.0,
                octaves: [0.0; OCTAVE_BANDS],
                thirds: [0.0; BANDS],
                crossings: Crossings::default(),
                sample_peak: 0.0,
                c,
                c_peak: 0.0,
                cleaned: vec![0.0; longest],
                wide: vec![0.0; longest],
                tap: vec![0.0; longest],
            },
            recent: Recent::new(),
            whole: Tally::default(),
            histogram: LevelHistogram::new(-160.0, 20.0, 0.05),
            readings: SoundReadings::new(rate),
        }
    }

    /// Hears `samples` after `gap` lost frames.
    pub fn push(&mut self, gap: FrameCount, samples: &[f32], on_stretch: &mut dyn FnMut(&SoundReadings)) {
        self.skip(gap.get(), on_stretch);
        let mut rest = samples;
        while !rest.is_empty() {
            let (part, later) = rest.split_at(self.missing().min(rest.len()));
            self.hear(part);
            self.advance(part.len() as u64, on_stretch);
            rest = later;
        }
    }

    /// The newest readings.
    pub fn readings(&self) -> &SoundReadings {
        &self.readings
    }

    /// LAeq over the last `span`, in steps of 100 ms, up to a quarter of an hour.
    pub fn leq(&self, span: Seconds) -> Leq {
        self.recent.leq((span.get() * PER_SECOND as f64).round().max(0.0) as usize, self.rate)
    }

    /// All the A-weighted energy up to the newest readings.
    pub fn tally(&self) -> Tally {
        self.whole
    }

    /// The end of stretch `number`.
    fn end(&self, number: u64) -> u64 {
        (number + 1) * u64::from(self.rate.get()) / PER_SECOND
    }

    /// Frames to the end of the stretch in progress.
    fn missing(&self) -> usize {
        (self.end(self.stretches) - self.frames) as usize
    }

    fn skip(&mut self, gap: u64, on_stretch: &mut dyn FnMut(&SoundReadings)) {
        if gap == 0 {
            return;
        }
        self.stretch.end_peak();
        self.stretch.crossings = Crossings::default();
        self.filters.reset();
        self.banks.octaves.reset();
        self.banks.thirds.reset();
        let mut rest = gap;
        while rest > 0 {
            let part = rest.min(self.missing() as u64);
            self.advance(part, on_stretch);
            rest -= part;
        }
    }

    fn hear(&mut self, samples: &[f32]) {
        let Self { stretch, filters, weighted, banks, .. } = self;
        let count = samples.len();
        let (cleaned, wide, tap) =
            (&mut stretch.cleaned[..count], &mut stretch.wide[..count], &mut stretch.tap[..count]);
        self.readings.invalid_samples += u64::from(lanes::clean(samples, cleaned));
        stretch.sample_peak = stretch.sample_peak.max(lanes::peak(cleaned));
        for (wide, &sample) in wide.iter_mut().zip(cleaned.iter()) {
            *wide = f64::from(sample);
        }
        banks.octaves.filter(wide, &mut stretch.octaves, 0, tap);
        banks.thirds.filter(wide, &mut stretch.thirds, THIRD_AT_1_KHZ, tap);
        stretch.crossings.add(tap);
        for &sample in wide.iter() {
            let [a, c, z] = filters.next(sample);
            stretch.energy += a * a;
            stretch.energy_z += z * z;
            stretch.highest_laf = stretch.highest_laf.max(weighted.laf.next(a * a));
            weighted.las.next(a * a);
            weighted.lcf.next(c * c);
            weighted.lzf.next(z * z);
            stretch.c.push(c as f32);
        }
        stretch.heard += count as u32;
    }

    /// Time goes on, up to the end of the stretch at most.
    fn advance(&mut self, frames: u64, on_stretch: &mut dyn FnMut(&SoundReadings)) {
        self.frames += frames;
        if self.missing() > 0 {
            return;
        }
        let length = self.end(self.stretches) - if self.stretches > 0 { self.end(self.stretches - 1) } else { 0 };
        self.stretches += 1;
        let energy = audible(self.stretch.energy, self.stretch.heard);
        self.recent.push(energy, self.stretch.heard, length as u32);
        self.whole.energy += energy;
        self.whole.heard += u64::from(self.stretch.heard);
        self.whole.frames = self.frames;
        if self.stretch.heard > 0 {
            self.tell(energy, length);
            on_stretch(&self.readings);
        }
    }

    /// Fills the readings from a stretch of which something was heard, and begins the next.
    fn tell(&mut self, energy: f64, length: u64) {
        let Self { stretch, weighted, banks, readings, rate, .. } = self;
        let heard = stretch.heard;
        readings.at = FrameCount::new(self.frames);
        let level = |mean: &TimeWeighting| Dbfs::from_power(mean.mean());
        readings.laf = level(&weighted.laf);
        readings.las = level(&weighted.las);
        readings.lcf = level(&weighted.lcf);
        readings.lzf = level(&weighted.lzf);
        readings.laf_highest = Dbfs::from_power(audible(stretch.highest_laf, 1));
        readings.laf_max = readings.laf_max.max(readings.laf_highest);
        stretch.end_peak_to_go_on();
        readings.lc_peak = Dbfs::from_power(audible(f64::from(stretch.c_peak).powi(2), 1));
        readings.lc_peak_max = readings.lc_peak_max.max(readings.lc_peak);
        readings.sample_peak = Dbfs::from_amplitude(f64::from(stretch.sample_peak));
        let newest = Tally { energy, heard: u64::from(heard), frames: length };
        readings.newest = newest.all(*rate);
        readings.second = self.recent.leq(PER_SECOND as usize, *rate);
        readings.minute = self.recent.leq(60 * PER_SECOND as usize, *rate);
        readings.quarter = self.recent.leq(900 * PER_SECOND as usize, *rate);
        readings.whole = self.whole.all(*rate);
        self.histogram.add(weighted.laf.mean());
        readings.percentiles = percentiles(&self.histogram);
        readings.tone = stretch
            .crossings
            .take(*rate)
            .filter(|_| stretch.energy_z > 0.0)
            .map(|frequency| Tone { frequency, share: (stretch.thirds[THIRD_AT_1_KHZ] / stretch.energy_z).min(1.0) });
        for (sum, new) in banks.octave_sums.iter_mut().zip(stretch.octaves) {
            *sum += audible(new, heard);
        }
        for (sum, new) in banks.third_sums.iter_mut().zip(stretch.thirds) {
            *sum += audible(new, heard);
        }
        readings.bands = banks.levels(&stretch.octaves, &stretch.thirds, u64::from(heard));
        readings.whole_bands = banks.levels(&banks.octave_sums, &banks.third_sums, self.whole.heard);
        stretch.begin();
        weighted.settle();
        self.filters.settle();
        banks.octaves.settle();
        banks.thirds.settle();
    }
}

/// A sum of squares, unless it is a mere tail.
fn audible(energy: f64, heard: u32) -> f64 {
    if energy > SILENCE * f64::from(heard) { energy } else { 0.0 }
}

fn percentiles(histogram: &LevelHistogram) -> Option<Percentiles> {
    let count = histogram.total().count;
    let exceeded = |share: f64| histogram.ranked(0.0, rank(count, 1.0 - share)).map(Dbfs::from_power);
    Some(Percentiles { l10: exceeded(0.1)?, l50: exceeded(0.5)?, l90: exceeded(0.9)? })
}

impl Filters {
    fn next(&mut self, sample: f64) -> [f64; 3] {
        [self.a.next(sample), self.c.next(sample), self.z.next(sample)]
    }

    fn settle(&mut self) {
        [&mut self.a, &mut self.c, &mut self.z].into_iter().for_each(WeightingFilter::settle);
    }

    fn reset(&mut self) {
        [&mut self.a, &mut self.c, &mut self.z].into_iter().for_each(WeightingFilter::reset);
    }
}

impl Weighted {
    fn settle(&mut self) {
        [&mut self.laf, &mut self.las, &mut self.lcf, &mut self.lzf].into_iter().for_each(TimeWeighting::settle);
    }
}

impl Banks {
    fn levels(&self, octaves: &[f64; OCTAVE_BANDS], thirds: &[f64; BANDS], heard: u64) -> BandLevels {
        let level = |sum: f64| Dbfs::from_power(audible(sum, 1) / heard.max(1) as f64);
        BandLevels {
            octaves: std::array::from_fn(|band| self.octaves.shows(band).then(|| level(octaves[band]))),
            thirds: std::array::from_fn(|band| self.thirds.shows(band).then(|| level(thirds[band]))),
        }
    }
}

impl Stretch {
    /// Before a gap: what comes after it follows on silence.
    fn end_peak(&mut self) {
        self.end_peak_to_go_on();
        self.c[..oversample::HISTORY].fill(0.0);
    }

    /// Looks for the peak in what was gathered, and keeps as much as the interpolator looks back on.
    fn end_peak_to_go_on(&mut self) {
        let gathered = lanes::peak(&self.c[oversample::HISTORY..]);
        self.c_peak = self.c_peak.max(gathered).max(oversample::interpolated_peak(&self.c));
        let kept = self.c.len() - oversample::HISTORY;
        self.c.copy_within(kept.., 0);
        self.c.truncate(oversample::HISTORY);
    }

    fn begin(&mut self) {
        self.heard = 0;
        (self.energy, self.energy_z, self.highest_laf) = (0.0, 0.0, 0.0);
        (self.octaves, self.thirds) = ([0.0; OCTAVE_BANDS], [0.0; BANDS]);
        (self.sample_peak, self.c_peak) = (0.0, 0.0);
    }
}
