//! Hum and buzz of the mains in a recording: whether it is there, 50 or 60 Hz, how loud, what kind of source it tells of.
//!
//! In: blocks of amplitudes, brought to about 2.4 kHz by a low-pass of 161 taps (at 48 kHz). Of the windows of four
//! seconds, two apart, the eight quietest are kept: what always sounds stands out best where the programme pauses.
//! When the take is over each is transformed (Hann window, twice its length), and of each frequency the second-smallest
//! power counts: a note is not in all of them, the mains is. A line stands 10 dB over the median of 1.2 to 5 Hz beside it.
//! A family wants two lines or more within 0.4 % of multiples of one frequency, one of them among the first three; its
//! frequency is the mean of the lines' own (parabola through three bins in dB), the higher ones weighing more.
//!
//! A recording whose header tells the wrong rate shows the family where none belongs: 54.4 instead of 50 Hz. That
//! wants four lines. A take under six seconds, silence, and less than −60 dB re the programme are no hum.
//! Sources: mains families and what they tell, common practice; grids keep within 0.4 % (EN 50160: ±1 %).

use std::f64::consts::{PI, TAU};

use realfft::RealFftPlanner;

use super::View;
use crate::detectors::finding::{Evidence, HumForm};
use crate::dsp::lanes;
use crate::units::{Db, Dbfs, Hertz, SampleRate};

const LOW_RATE: f64 = 2400.0;
/// Of the decimated rate, where the low-pass has lost half.
const CUT: f64 = 0.42;
const TAPS_A_PHASE: usize = 8;
const WINDOW: f64 = 4.0;
const KEPT: usize = 8;
const FEWEST: usize = 2;
/// Mean square of a window that holds nothing.
const NOTHING: f64 = 1e-11;
const HIGHEST: f64 = 900.0;
const REACH: f64 = 0.004;
const BESIDE: (f64, f64) = (1.2, 5.0);
const STANDS_OUT: f64 = 10.0;
/// One line can't carry more than this of the score, in dB.
const MOST_SCORE: f64 = 25.0;
const UNDER_PROGRAMME: Db = Db::new(-60.0);
/// Rates that recorders have.
const RATES: [u32; 7] = [32_000, 44_100, 48_000, 88_200, 96_000, 22_050, 16_000];
const LINES_OF_A_LIE: usize = 4;

/// Listens for the mains on one channel.
pub(super) struct HumEar {
    rate: f64,
    factor: usize,
    taps: Vec<f32>,
    /// The decimated samples of the window in progress.
    ring: Vec<f32>,
    filled: usize,
    quiet: Vec<Quiet>,
}

struct Quiet {
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
            quiet: (0..KEPT).map(quiet).collect(),
        }
    }

    pub fn look(&mut self, view: &View) {
        let factor = self.factor as u64;
        let first = view.frame(view.from).next_multiple_of(factor) - view.start;
        for at in (first as usize..view.to).step_by(self.factor) {
            self.ring[self.filled] = lanes::dot(&self.taps, &view.samples[at + 1 - self.taps.len()..=at]);
            self.filled += 1;
            if self.filled == self.ring.len() {
                self.end_window();
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        self.filled = 0;
    }

    /// Hum in what was heard, if it stands no more than 60 dB under `programme`.
    pub fn measure(&self, programme: Dbfs) -> Option<MainsHum> {
        let spectrum = Steady::of(&self.quiet, self.rate)?;
        let header = (self.rate * self.factor as f64).round() as u32;
        let (family, true_rate, found) = best(&spectrum, header, header, 2)
            .or_else(|| {
                let lies = RATES.iter().filter(|&&rate| rate != header);
                lies.filter_map(|&rate| best(&spectrum, header, rate, LINES_OF_A_LIE)).max_by(clearer)
            })
            .map(|(family, rate, found)| (family, (rate != header).then_some(rate), found))?;
        let level = Dbfs::from_power(found.power);
        (level - programme >= UNDER_PROGRAMME).then(|| MainsHum {
            family,
            frequency: Hertz::new(found.frequency),
            level,
            below: level - programme,
            form: found.form,
            lines: found.lines as u32,
            true_rate,
        })
    }

    /// Keeps the window if it is among the quietest; the next one begins in its middle.
    fn end_window(&mut self) {
        let power = lanes::moments(&self.ring).1 / self.ring.len() as f64;
        let loudest = self.quiet.iter_mut().max_by(|a, b| a.power.total_cmp(&b.power));
        if let Some(loudest) = loudest.filter(|loudest| power > NOTHING && power < loudest.power) {
            loudest.power = power;
            loudest.samples.copy_from_slice(&self.ring);
        }
        let half = self.ring.len() / 2;
        self.ring.copy_within(half.., 0);
        self.filled = self.ring.len() - half;
    }
}

/// The clearer of the two families, if the sound was recorded at `rate` and is labelled `header`.
fn best(spectrum: &Steady, header: u32, rate: u32, lines: usize) -> Option<(u16, u32, Family)> {
    let turned = |family: u16| {
        let found = spectrum.family(f64::from(family) * f64::from(header) / f64::from(rate))?;
        (found.lines >= lines).then_some((family, rate, found))
    };
    [50, 60].into_iter().filter_map(turned).max_by(clearer)
}

fn clearer(a: &(u16, u32, Family), b: &(u16, u32, Family)) -> std::cmp::Ordering {
    a.2.score.total_cmp(&b.2.score)
}

/// Power of what sounds all the time, by frequency: a line of amplitude 1 reads 1/2.
struct Steady {
    power: Vec<f32>,
    /// Hz from bin to bin.
    step: f64,
}

struct Family {
    score: f64,
    frequency: f64,
    lines: usize,
    power: f64,
    form: HumForm,
}

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
        if windows.len() < FEWEST {
            return None;
        }
        let length = windows[0].samples.len();
        let size = (2 * length).next_power_of_two();
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        let (mut input, mut output) = (fft.make_input_vec(), fft.make_output_vec());
        let hann: Vec<f32> = (0..length).map(|i| (0.5 - 0.5 * (TAU * i as f64 / length as f64).cos()) as f32).collect();
        let scale = 2.0 / (length as f32 / 2.0).powi(2);
        let bins = ((HIGHEST + 10.0) / rate * size as f64) as usize;
        let mut spectra = Vec::new();
        for window in &windows {
            input.fill(0.0);
            for ((out, sample), weight) in input.iter_mut().zip(&window.samples).zip(&hann) {
                *out = sample * weight;
            }
            fft.process(&mut input, &mut output).ok()?;
            spectra.push(output[..bins].iter().map(|bin| bin.norm_sqr() * scale).collect::<Vec<f32>>());
        }
        let second = usize::from(spectra.len() > 4);
        let steady = |bin: usize| {
            let mut all: Vec<f32> = spectra.iter().map(|spectrum| spectrum[bin]).collect();
            all.sort_unstable_by(f32::total_cmp);
            all[second]
        };
        Some(Self { power: (0..bins).map(steady).collect(), step: rate / size as f64 })
    }

    /// Lines at multiples of about `base` Hz.
    fn family(&self, base: f64) -> Option<Family> {
        let orders = (HIGHEST / base) as usize;
        let floors: Vec<f64> = (1..=orders).map(|order| self.beside(base * order as f64)).collect();
        let over = |order: usize, hertz: f64| 10.0 * (self.at(hertz) / floors[order - 1]).log10();
        let score = |base: f64| -> f64 {
            let line = |order| over(order, base * order as f64);
            (1..=orders).map(line).filter(|&over| over >= STANDS_OUT).map(|over| over.min(MOST_SCORE)).sum()
        };
        let steps = (base * REACH / 0.005).ceil() as i32;
        let candidates = (-steps..=steps).map(|step| base + f64::from(step) * 0.005);
        let best = candidates.map(|base| (score(base), base)).max_by(|a, b| a.0.total_cmp(&b.0))?;
        let lines: Vec<Line> = (1..=orders)
            .filter_map(|order| {
                let bin = self.top(best.1 * order as f64, 0.15 + 0.03 * order as f64)?;
                let hertz = bin * self.step;
                let power = self.at(hertz);
                let over = over(order, hertz);
                let close = (hertz / order as f64 - best.1).abs() < 0.08;
                (over >= STANDS_OUT && close).then_some(Line { order, hertz, power, over })
            })
            .collect();
        // 300 and 600 Hz belong to both.
        let own = lines.iter().filter(|line| (line.order as f64 * base).round() % 300.0 != 0.0).count();
        if own < 2 || !lines.iter().any(|line| line.order <= 3) {
            return None;
        }
        let weight = |line: &Line| (line.order * line.order) as f64 * line.over;
        let weights: f64 = lines.iter().map(weight).sum();
        let frequency = lines.iter().map(|line| weight(line) * line.hertz / line.order as f64).sum::<f64>() / weights;
        let power = lines.iter().map(|line| line.power).sum();
        let form = form(&lines, power);
        Some(Family { score: best.0, frequency, lines: lines.len(), power, form })
    }

    fn at(&self, hertz: f64) -> f64 {
        let bin = ((hertz / self.step).round() as usize).min(self.power.len() - 1);
        f64::from(self.power[bin]).max(1e-16)
    }

    /// The median on both sides of a line.
    fn beside(&self, hertz: f64) -> f64 {
        let bin = |hertz: f64| ((hertz / self.step).round().max(1.0) as usize).min(self.power.len());
        let (near, far) = BESIDE;
        let mut around = self.power[bin(hertz - far)..bin(hertz - near)].to_vec();
        around.extend(&self.power[bin(hertz + near)..bin(hertz + far)]);
        around.sort_unstable_by(f32::total_cmp);
        around.get(around.len() / 2).map_or(1e-16, |&middle| f64::from(middle).max(1e-16))
    }

    /// The highest bin within `reach` Hz, exactly: a top of its own, not a slope.
    fn top(&self, hertz: f64, reach: f64) -> Option<f64> {
        let bin = |hertz: f64| (hertz / self.step).round() as usize;
        let range = bin(hertz - reach).max(1)..=bin(hertz + reach).min(self.power.len() - 2);
        let top = range.max_by(|&a, &b| self.power[a].total_cmp(&self.power[b]))?;
        let log = |bin: usize| f64::from(self.power[bin].max(1e-30)).ln();
        let (left, here, right) = (log(top - 1), log(top), log(top + 1));
        let bend = left - 2.0 * here + right;
        (here >= left && here >= right && bend < 0.0)
            .then(|| top as f64 + (0.5 * (left - right) / bend).clamp(-0.5, 0.5))
    }
}

/// What the orders of its lines tell of its source.
fn form(lines: &[Line], all: f64) -> HumForm {
    let power = |wanted: &dyn Fn(usize) -> bool| -> f64 {
        lines.iter().filter(|line| wanted(line.order)).map(|line| line.power).sum()
    };
    if lines.len() >= 8 && power(&|order| order >= 7) > 0.1 * all {
        HumForm::Dimmer
    } else if power(&|order| order % 2 == 0) > 0.8 * all {
        HumForm::Rectifier
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
