//! Hum and buzz in a recording: whether the mains is there, 50 or 60 Hz, how loud, what kind of source it tells of.
//!
//! In: blocks of amplitudes, brought to about 2.4 kHz by a low-pass of 161 taps (at 48 kHz). Of stretches of eight
//! seconds, four apart, the eight with the quietest pauses are kept. When the take is over each is weighted by one over its
//! power of every 50 ms (the weights of least squares in noise that comes and goes: what always sounds counts where the
//! programme pauses), transformed in a Hann window, and divided by the median of 1 to 5 Hz beside each line; of each
//! frequency the middle stretch counts, since a note is not in all of them.
//!
//! A line stands 10 dB over its surroundings. A family wants lines at exact multiples (within 0.03 Hz and 0.004 Hz a
//! multiple) of one frequency within 0.32 % of 50 or 60 Hz: three of its own, two of them among the first three, or four
//! that are even, the second among them, or four with one of the first three; two of them 14 dB or more. The first line
//! alone will do where it stands 17 dB over its surroundings in three windows or more (22 dB where it is less than 30 dB
//! under the programme): the notes beside it are 2 and 3 % off. Where no line tells, their number may ([`comb`]). The
//! frequency is the mean of the lines' own (parabola through three bins in dB), the higher ones weighing more.
//!
//! A recording whose header tells the wrong rate shows the family where none belongs: 54.4 instead of 50 Hz. That wants
//! five lines, the first three or even ones, within 0.11 % of that and 30 dB under the programme, or eight and one of the
//! two: C2 lies 0.15 % over 60 · 48 / 44.1, A1 0.23 % under 60 · 44.1 / 48. A take under eight seconds, silence, and less
//! than −60 dB re the programme are no hum. A phone and what lies under 40 Hz: [`short`]; stretches with a phone in them
//! don't count, for it leaves one frame of 26 out: every 120 ms, of which 50 Hz is the sixth multiple. Sources: mains
//! families and what they tell, common practice; EN 50160 lets a grid off by 1 %, the large ones keep within 50 mHz nearly
//! always and within 150 mHz but for a fault.

mod comb;
mod short;

use std::f64::consts::{PI, TAU};

use realfft::RealFftPlanner;

use super::View;
use crate::detectors::finding::{Evidence, HumForm};
use crate::dsp::lanes;
use crate::units::{Db, Dbfs, FrameCount, Hertz, SampleRate};
use comb::Comb;
use short::ShortLooks;

const LOW_RATE: f64 = 2400.0;
/// Of the decimated rate, where the low-pass has lost half.
const CUT: f64 = 0.42;
const TAPS_A_PHASE: usize = 8;
const WINDOW: f64 = 8.0;
const KEPT: usize = 8;
/// Parts of a window that are weighted alike.
const PARTS: usize = 160;
/// Of the mean that is taken off: under 1 Hz.
const MEAN_STEP: f32 = 0.002;
/// Mean square of a window that holds nothing.
const NOTHING: f64 = 1e-11;
const HIGHEST: f64 = 900.0;
/// Eight multiples of 65 Hz and their surroundings.
const COMB_HIGHEST: f64 = 540.0;
const REACH: f64 = 0.0032;
const BESIDE: (f64, f64) = (1.0, 5.0);
const STANDS_OUT: f64 = 10.0;
/// Two lines must stand out this clearly.
const CLEAR: f64 = 14.0;
/// The first line alone, in so many windows.
const ALONE: f64 = 17.0;
const FEWEST_ALONE: usize = 3;
/// The same where it could be a note.
const VERY_ALONE: f64 = 22.0;
/// One line can't carry more than this of the score, in dB.
const MOST_SCORE: f64 = 25.0;
const EXACT: (f64, f64) = (0.03, 0.004);
/// What is louder than this re the programme could be a note: two lines must stand out as clearly as this.
const NEAR_PROGRAMME: Db = Db::new(-30.0);
const VERY_CLEAR: f64 = 17.5;
/// As it is called: 216.67 Hz.
const PHONE: u16 = 217;
const UNDER_PROGRAMME: Db = Db::new(-60.0);
/// Rates that recorders have.
const RATES: [u32; 3] = [32_000, 44_100, 48_000];
/// A lie wants so many lines where the grid runs as it should and no note is that soft, so many where one of the two holds.
const LINES_OF_A_LIE: (usize, usize) = (5, 8);
/// A grid in order: 50 mHz.
const IN_ORDER: f64 = 0.0011;

/// Listens for the mains on one channel.
pub(super) struct HumEar {
    rate: f64,
    factor: usize,
    taps: Vec<f32>,
    /// The decimated samples of the window in progress.
    ring: Vec<f32>,
    filled: usize,
    /// Over about a fifth of a second; NaN before anything was heard.
    mean: f32,
    quiet: Vec<Quiet>,
    short: ShortLooks,
}

struct Quiet {
    /// Harmonic mean of the parts' mean squares: that of its pauses.
    power: f64,
    samples: Vec<f32>,
}

/// A family of mains lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MainsHum {
    /// 50 or 60, as it is called.
    pub family: u16,
    /// As measured by the header's clock.
    pub frequency: Hertz,
    /// All lines together.
    pub level: Dbfs,
    /// Re the programme.
    pub below: Db,
    pub form: HumForm,
    pub lines: u32,
    /// What the rate must be for the family to stand where it belongs; `None` where it does.
    pub true_rate: Option<u32>,
}

impl MainsHum {
    /// What is to be said of it.
    pub fn evidence(&self, header: SampleRate) -> impl Iterator<Item = Evidence> + use<> {
        let &Self { family, frequency, level, below, form, true_rate, .. } = self;
        let lie = true_rate.map(|true_rate| Evidence::Rate { header: header.get(), true_rate, line: Some(frequency) });
        let frequency = match true_rate {
            Some(rate) => Hertz::new(frequency.get() * f64::from(rate) / f64::from(header.get())),
            None => frequency,
        };
        [lie, Some(Evidence::Hum { family, frequency, level, below, form })].into_iter().flatten()
    }
}

impl HumEar {
    pub fn new(rate: SampleRate) -> Self {
        let factor = ((f64::from(rate.get()) / LOW_RATE).round() as usize).max(1);
        let low = f64::from(rate.get()) / factor as f64;
        let window = (low * WINDOW) as usize;
        let quiet = |_| Quiet { power: f64::INFINITY, samples: vec![0.0; window] };
        Self {
            rate: low,
            factor,
            taps: low_pass(factor),
            ring: vec![0.0; window],
            filled: 0,
            mean: f32::NAN,
            quiet: (0..KEPT).map(quiet).collect(),
            short: ShortLooks::new(low, factor),
        }
    }

    pub fn look(&mut self, view: &View) {
        let factor = self.factor as u64;
        let first = view.frame(view.from).next_multiple_of(factor) - view.start;
        for at in (first as usize..view.to).step_by(self.factor) {
            let sample = lanes::dot(&self.taps, &view.samples[at + 1 - self.taps.len()..=at]);
            // An offset would sound in every pause, and weigh there.
            self.mean = if self.mean.is_nan() { sample } else { self.mean + MEAN_STEP * (sample - self.mean) };
            let sample = sample - self.mean;
            self.short.push(sample, view.frame(at));
            self.ring[self.filled] = sample;
            self.filled += 1;
            if self.filled == self.ring.len() {
                self.end_window(view.frame(at));
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        (self.filled, self.mean) = (0, f32::NAN);
        self.short.restart();
    }

    /// Mean square of what lies under 40 Hz.
    pub fn low(&self) -> f64 {
        self.short.low()
    }

    /// Where a phone was heard, no more than 60 dB under `programme`.
    pub fn phones(&self, programme: Dbfs) -> impl Iterator<Item = (FrameCount, FrameCount, Evidence)> + '_ {
        self.short.bursts().iter().filter_map(move |burst| {
            let level = Dbfs::from_power(burst.power);
            let (frequency, below) = (Hertz::new(burst.hertz()), level - programme);
            let evidence = Evidence::Hum { family: PHONE, frequency, level, below, form: HumForm::Phone };
            let (start, end) = (FrameCount::new(burst.start), FrameCount::new(burst.end));
            (below >= UNDER_PROGRAMME).then_some((start, end, evidence))
        })
    }

    /// Hum in what was heard, if it stands no more than 60 dB under `programme`.
    pub fn measure(&self, programme: Dbfs) -> Option<MainsHum> {
        let spectrum = Steady::of(&self.quiet, self.rate)?;
        let header = (self.rate * self.factor as f64).round() as u32;
        let (family, true_rate, found) = best(&spectrum, header, header)
            .or_else(|| {
                let lies = RATES.iter().filter(|&&rate| rate != header);
                lies.filter_map(|&rate| best(&spectrum, header, rate)).max_by(clearer)
            })
            .map(|(family, rate, found)| (family, (rate != header).then_some(rate), found))?;
        let level = Dbfs::from_power(found.power);
        let below = level - programme;
        let clear = below < NEAR_PROGRAMME || found.clear_lines >= 2 || found.first >= VERY_ALONE;
        let is_no_note = true_rate.is_none_or(|rate| {
            let (few, many) = LINES_OF_A_LIE;
            let off = (found.frequency / stands(family, header, rate) - 1.0).abs();
            match (off < IN_ORDER, below < NEAR_PROGRAMME) {
                (true, true) => found.lines >= few,
                (true, false) | (false, true) => found.lines >= many,
                (false, false) => false,
            }
        });
        (below >= UNDER_PROGRAMME && clear && is_no_note).then(|| MainsHum {
            family,
            frequency: Hertz::new(found.frequency),
            level,
            below,
            form: found.form,
            lines: found.lines as u32,
            true_rate,
        })
    }

    /// Keeps the window if it is among the quietest and holds no phone; the next one begins in its middle.
    fn end_window(&mut self, end: u64) {
        let all = lanes::moments(&self.ring).1 / self.ring.len() as f64;
        let power = PARTS as f64 / parts(&self.ring).iter().map(|part| 1.0 / part).sum::<f64>();
        let loudest = self.quiet.iter_mut().max_by(|a, b| a.power.total_cmp(&b.power));
        let counts =
            all > NOTHING && !self.short.heard_since(end.saturating_sub((self.ring.len() * self.factor) as u64));
        if let Some(loudest) = loudest.filter(|loudest| counts && power < loudest.power) {
            loudest.power = power;
            loudest.samples.copy_from_slice(&self.ring);
        }
        let half = self.ring.len() / 2;
        self.ring.copy_within(half.., 0);
        self.filled = self.ring.len() - half;
    }
}

/// Mean squares of the parts of a window, each with its neighbours; none is far below the loudest.
fn parts(samples: &[f32]) -> [f64; PARTS] {
    let mut own = [0.0; PARTS];
    for (part, samples) in own.iter_mut().zip(samples.chunks(samples.len().div_ceil(PARTS))) {
        *part = lanes::moments(samples).1 / samples.len() as f64;
    }
    let mut sorted = own;
    sorted.sort_unstable_by(f64::total_cmp);
    // The quietest tenth weighs alike: a few bursts of weight would spread every line over its neighbours.
    let least = (sorted[PARTS - 1] * 1e-8 + 1e-13).max(sorted[PARTS / 10]);
    std::array::from_fn(|at| {
        let (before, after) = (own[at.saturating_sub(1)], own[(at + 1).min(PARTS - 1)]);
        (0.25 * before + 0.5 * own[at] + 0.25 * after).max(least)
    })
}

/// Where a family stands by a header that lies.
fn stands(family: u16, header: u32, rate: u32) -> f64 {
    f64::from(family) * f64::from(header) / f64::from(rate)
}

/// The clearer of the two families, if the sound was recorded at `rate` and is labelled `header`.
fn best(spectrum: &Steady, header: u32, rate: u32) -> Option<(u16, u32, Family)> {
    let turned = |family: u16| {
        let found = spectrum.family(stands(family, header, rate))?;
        let shown = found.low == 3 || found.even >= LINES_OF_A_LIE.0;
        (rate == header || shown).then_some((family, rate, found))
    };
    [50, 60].into_iter().filter_map(turned).max_by(clearer)
}

fn clearer(a: &(u16, u32, Family), b: &(u16, u32, Family)) -> std::cmp::Ordering {
    a.2.score.total_cmp(&b.2.score)
}

/// The weighted spectra of the quiet windows: a line of amplitude 1 reads 1/2.
struct Steady {
    spectra: Vec<Vec<f32>>,
    comb: Comb,
    /// Hz from bin to bin.
    step: f64,
}

struct Family {
    score: f64,
    frequency: f64,
    lines: usize,
    /// Of the first three.
    low: usize,
    even: usize,
    clear_lines: usize,
    /// How far the first line stands over its surroundings, in dB.
    first: f64,
    power: f64,
    form: HumForm,
}

#[derive(Clone, Copy)]
struct Line {
    order: usize,
    hertz: f64,
    power: f64,
    /// dB over its surroundings.
    over: f64,
}

impl Steady {
    fn of(quiet: &[Quiet], rate: f64) -> Option<Self> {
        let windows: Vec<&Quiet> = quiet.iter().filter(|window| window.power.is_finite()).collect();
        let length = windows.first()?.samples.len();
        let size = (2 * length).next_power_of_two();
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
        let bins = ((HIGHEST + 10.0) / rate * size as f64) as usize;
        let mut spectra = Vec::new();
        for window in &windows {
            let parts = parts(&window.samples);
            let mut sum = 0.0;
            input.fill(0.0);
            for (index, (out, sample)) in input.iter_mut().zip(&window.samples).enumerate() {
                let hann = 0.5 - 0.5 * (TAU * (index as f64 + 0.5) / length as f64).cos();
                let weight = hann * window.power * between(&parts, index as f64 / length as f64);
                sum += weight;
                *out = *sample * weight as f32;
            }
            fft.process(&mut input, &mut output).ok()?;
            let scale = (2.0 / (sum * sum)) as f32;
            spectra.push(output[..bins].iter().map(|bin| bin.norm_sqr() * scale).collect::<Vec<f32>>());
        }
        let step = rate / size as f64;
        let comb = Comb::of(&spectra, step, BESIDE, COMB_HIGHEST);
        Some(Self { spectra, comb, step })
    }

    /// Lines at multiples of about `base` Hz: by what each of them is, else by their number.
    fn family(&self, base: f64) -> Option<Family> {
        self.by_lines(base).or_else(|| self.by_comb(base))
    }

    fn by_comb(&self, base: f64) -> Option<Family> {
        let lines = self.comb.lines(base, REACH)?;
        let power = |hertz: f64| {
            let bin = (hertz / self.step).round() as usize;
            f64::from(middle(self.spectra.iter().map(|spectrum| spectrum.get(bin).copied().unwrap_or(0.0))))
        };
        let told = |&(order, hertz): &(usize, f64)| Line { order, hertz, power: power(hertz), over: 0.0 };
        let lines: Vec<Line> = lines.iter().map(told).collect();
        let weights: f64 = lines.iter().map(|line| (line.order * line.order) as f64).sum();
        let frequency = lines.iter().map(|line| line.order as f64 * line.hertz).sum::<f64>() / weights;
        let power = lines.iter().map(|line| line.power).sum();
        let low = lines.iter().filter(|line| line.order <= 3).count();
        let even = lines.iter().filter(|line| line.order % 2 == 0).count();
        let form = form(&lines, power);
        let count = lines.len();
        Some(Family { score: 0.0, frequency, lines: count, low, even, clear_lines: 0, first: 0.0, power, form })
    }

    fn by_lines(&self, base: f64) -> Option<Family> {
        let lines: Vec<Line> = (1..=(HIGHEST / base) as usize).flat_map(|order| self.lines(base, order)).collect();
        let found = lines.iter().filter(|line| (line.hertz / line.order as f64 / base - 1.0).abs() <= REACH);
        let with = |line: &Line| exact(&lines, line.hertz / line.order as f64);
        // Low multiples tell more: the higher ones meet a note by chance.
        let worth = |line: &Line| line.over.min(MOST_SCORE) / (line.order as f64).sqrt();
        let score = |family: &Vec<Line>| family.iter().map(worth).sum::<f64>();
        let best = found.map(with).max_by(|a, b| score(a).total_cmp(&score(b)))?;
        // 300 and 600 Hz belong to both.
        let own = |wanted: &dyn Fn(usize) -> bool| {
            let is_own = |line: &&Line| (line.order as f64 * base).round() % 300.0 != 0.0 && wanted(line.order);
            best.iter().filter(is_own).count()
        };
        let (all, low, even) = (own(&|_| true), own(&|order| order <= 3), own(&|order| order % 2 == 0));
        let clear = best.iter().filter(|line| line.over >= CLEAR).count();
        let second = own(&|order| order == 2) == 1;
        // One line alone stands so exactly where no note does.
        let first = best.iter().find(|line| line.order == 1).map_or(0.0, |line| line.over);
        let alone = first >= ALONE && self.spectra.len() >= FEWEST_ALONE;
        if !alone && (clear < 2 || !(all >= 3 && low >= 2 || even >= 4 && second || all >= 4 && low >= 1)) {
            return None;
        }
        let weight = |line: &Line| (line.order * line.order) as f64 * line.over;
        let weights: f64 = best.iter().map(weight).sum();
        let frequency = best.iter().map(|line| weight(line) * line.hertz / line.order as f64).sum::<f64>() / weights;
        let power = best.iter().map(|line| line.power).sum();
        let clear_lines = best.iter().filter(|line| line.over >= VERY_CLEAR).count();
        Some(Family {
            score: score(&best),
            frequency,
            lines: best.len(),
            low,
            even,
            clear_lines,
            first,
            power,
            form: form(&best, power),
        })
    }

    /// All that stands out near a multiple.
    fn lines(&self, base: f64, order: usize) -> Vec<Line> {
        let centre = base * order as f64;
        let bin = |hertz: f64| (hertz / self.step).round() as usize;
        let (first, last) = (bin(centre * (1.0 - REACH) - 0.03), bin(centre * (1.0 + REACH) + 0.03));
        let floors: Vec<f32> = self.spectra.iter().map(|spectrum| self.beside(spectrum, centre)).collect();
        let over = |bin: usize| middle(self.spectra.iter().zip(&floors).map(|(spectrum, floor)| spectrum[bin] / floor));
        let over: Vec<f64> = (first - 1..=last + 1).map(|bin| f64::from(over(bin)).max(1e-9)).collect();
        let top = |&index: &usize| {
            over[index] >= over[index - 1]
                && over[index] > over[index + 1]
                && over[index] > 10f64.powf(STANDS_OUT / 10.0)
        };
        let line = |index: usize| {
            let (left, here, right) = (over[index - 1].ln(), over[index].ln(), over[index + 1].ln());
            let part = (0.5 * (left - right) / (left - 2.0 * here + right)).clamp(-0.5, 0.5);
            let bin = first - 1 + index;
            let power = f64::from(middle(self.spectra.iter().map(|spectrum| spectrum[bin])));
            Line { order, hertz: (bin as f64 + part) * self.step, power, over: 10.0 * over[index].log10() }
        };
        (1..over.len() - 1).filter(top).map(line).collect()
    }

    /// The median on both sides of a line.
    fn beside(&self, spectrum: &[f32], hertz: f64) -> f32 {
        let bin = |hertz: f64| ((hertz / self.step).round().max(1.0) as usize).min(spectrum.len());
        let (near, far) = BESIDE;
        let mut around = spectrum[bin(hertz - far)..bin(hertz - near)].to_vec();
        around.extend(&spectrum[bin(hertz + near)..bin(hertz + far)]);
        around.sort_unstable_by(f32::total_cmp);
        around.get(around.len() / 2).map_or(1e-30, |&middle| middle.max(1e-30))
    }
}

/// One over the power at a place of the window (0 to 1), without steps between the parts.
fn between(parts: &[f64; PARTS], place: f64) -> f64 {
    let at = (place * PARTS as f64 - 0.5).max(0.0);
    let (here, next) = ((at as usize).min(PARTS - 1), (at as usize + 1).min(PARTS - 1));
    let share = at.fract();
    (1.0 - share) / parts[here] + share / parts[next]
}

/// The clearest line of each order that stands at a multiple of `base`.
fn exact(lines: &[Line], base: f64) -> Vec<Line> {
    let mut family: Vec<Line> = Vec::new();
    for line in lines {
        let off = (line.hertz - line.order as f64 * base).abs();
        if off > EXACT.0 + EXACT.1 * line.order as f64 {
            continue;
        }
        match family.last_mut().filter(|last| last.order == line.order) {
            Some(last) if last.over < line.over => *last = *line,
            Some(_) => {}
            None => family.push(*line),
        }
    }
    family
}

fn middle(values: impl Iterator<Item = f32>) -> f32 {
    let mut all: Vec<f32> = values.collect();
    all.sort_unstable_by(f32::total_cmp);
    if all.len() < 3 { all.first().copied().unwrap_or(0.0) } else { all[(all.len() - 1) / 2] }
}

/// What the orders of its lines tell of its source.
fn form(lines: &[Line], all: f64) -> HumForm {
    let power = |wanted: &dyn Fn(usize) -> bool| -> f64 {
        lines.iter().filter(|line| wanted(line.order)).map(|line| line.power).sum()
    };
    if power(&|order| order % 2 == 0) > 0.8 * all {
        HumForm::Rectifier
    } else if lines.len() >= 8 && power(&|order| order >= 7) > 0.1 * all {
        HumForm::Dimmer
    } else {
        HumForm::Magnetic
    }
}

/// A sinc in a Hann window, its sum 1.
fn low_pass(factor: usize) -> Vec<f32> {
    let length = TAPS_A_PHASE * factor + 1;
    let middle = (length - 1) as f64 / 2.0;
    let cut = CUT / factor as f64;
    let tap = |i: usize| {
        let x = i as f64 - middle;
        let sinc = if x == 0.0 { 2.0 * cut } else { (TAU * cut * x).sin() / (PI * x) };
        sinc * (0.5 - 0.5 * (TAU * (i as f64 + 1.0) / (length as f64 + 1.0)).cos())
    };
    let taps: Vec<f64> = (0..length).map(tap).collect();
    let sum: f64 = taps.iter().sum();
    taps.iter().map(|tap| (tap / sum) as f32).collect()
}
