//! Two clocks that do not run alike, told by one sweep, and a capture put back on the clock that sent.
//!
//! Drift in parts per million: positive when the capture comes out longer. A sweep passes high frequencies later than
//! low ones, so a slow clock makes high frequencies of the direct sound late, by drift × the time of passing. The drift is
//! what has to be taken back until the direct sound, alone in its first 1.5 ms and with its minimum phase taken out,
//! stands sharpest (fourth over squared second power of the envelope) between 1 and 6 kHz, where neither end of a
//! loudspeaker's range turns the phase much. Taken back, it is looked for again, as the stretch cuts off what is late.
//! What is then no single pulse was no single sound (two loudspeakers, a wall at hand): the first 5, 10 and 30 ms together
//! tell it less exactly. A crossover that turns the phase without minimum phase looks like some drift: one sweep cannot
//! tell them apart, two can ([`later`]). Looked for within ±300 ppm; less than one sweep can tell is 0.

use std::f64::consts::{PI, TAU};

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use super::recognise::Placed;
use crate::measure::fourier::{fit, signal, spectrum};
use crate::measure::impulse::Impulse;

/// Clocks are never farther apart.
pub const WIDEST: f64 = 300e-6;
/// A second sweep is looked for so far from where it should come, in seconds.
const REACH: f64 = 0.1;
/// Of the response, before the direct sound, in seconds.
const BEFORE: f64 = 0.002;

/// A stretch after the direct sound's beginning, in seconds, and what of it is used, in hertz, as far as the sweep goes.
struct Look {
    after: f64,
    band: [f64; 2],
    /// Whether the colour is that of thirds of an octave: reflections are not the loudspeaker's.
    smooth: bool,
}

const ALONE: [Look; 1] = [Look { after: 0.0015, band: [1000.0, 6000.0], smooth: false }];
const WIDE: [f64; 2] = [400.0, 10_000.0];
const AROUND: [Look; 3] = [
    Look { after: 0.005, band: WIDE, smooth: true },
    Look { after: 0.010, band: WIDE, smooth: true },
    Look { after: 0.030, band: WIDE, smooth: true },
];
/// A single pulse is less under the sharpest of its band, as a natural logarithm; two alike are 0.7 under it.
const PURE: f64 = 0.3;
/// Less than this cannot be told from none, of a single pulse and otherwise.
const LEAST: f64 = 6e-6;
const LEAST_OTHERWISE: f64 = 20e-6;
/// Taken back and looked for again, until so little is left.
const ROUNDS: usize = 4;
const SETTLED: f64 = 0.3e-6;
const LENGTH: usize = 8192;
/// Share of the response's maximum at which the direct sound begins (ISO 3382-1, A.2).
const BEGINS: f64 = 0.1;

/// In parts of one, not of a million, from a response that holds the direct sound.
pub(super) fn estimate(response: &[f64], placed: &Placed, rate: f64) -> f64 {
    let mut planner = FftPlanner::new();
    let mut early: Vec<Complex<f64>> = response.iter().take(LENGTH).map(|x| Complex::new(*x, 0.0)).collect();
    early.resize(LENGTH, Complex::default());
    planner.plan_fft_forward(LENGTH).process(&mut early);
    let mut told = |looks: &[Look]| settled(&early, looks, placed, rate, &mut planner);
    let found = match told(&ALONE) {
        Some((drift, blunt)) if blunt < PURE => Some((drift, LEAST)),
        Some(_) => told(&AROUND).map(|(drift, _)| (drift, LEAST_OTHERWISE)),
        None => None,
    };
    found.filter(|(drift, least)| (*least..=WIDEST).contains(&drift.abs())).map_or(0.0, |(drift, _)| drift)
}

/// The drift, and how far what is then left is from a single pulse.
fn settled(
    early: &[Complex<f64>],
    looks: &[Look],
    placed: &Placed,
    rate: f64,
    planner: &mut FftPlanner<f64>,
) -> Option<(f64, f64)> {
    let (mut drift, mut blunt) = (0.0, 0.0);
    for _ in 0..ROUNDS {
        let mut taken_back = early.to_vec();
        turn(&mut taken_back, drift, placed, rate);
        planner.plan_fft_inverse(LENGTH).process(&mut taken_back);
        let time: Vec<f64> = taken_back.iter().map(|x| x.re / LENGTH as f64).collect();
        let more;
        (more, blunt) = sharpest(&time, looks, placed, rate, planner)?;
        drift += more;
        if more.abs() < SETTLED {
            break;
        }
    }
    Some((drift, blunt))
}

/// Takes a drift back: late by drift × time of passing; the delay common to all is left out.
fn turn(bins: &mut [Complex<f64>], drift: f64, placed: &Placed, rate: f64) {
    let count = bins.len();
    let late = |hz: f64| TAU * placed.slope * (hz * (hz / 3000.0).ln() - hz);
    for k in 1..count.div_ceil(2) {
        let by = Complex::from_polar(1.0, drift * late(k as f64 * rate / count as f64));
        bins[k] *= by;
        bins[count - k] *= by.conj();
    }
}

/// The drift that is left in a response, and how much blunter than a pulse it is without.
fn sharpest(
    response: &[f64],
    looks: &[Look],
    placed: &Placed,
    rate: f64,
    planner: &mut FftPlanner<f64>,
) -> Option<(f64, f64)> {
    let bins: Option<Vec<Vec<Complex<f64>>>> =
        looks.iter().map(|look| sharp(response, look, placed, rate, planner)).collect();
    let bins = bins?;
    let back = planner.plan_fft_inverse(LENGTH);
    let mut work = vec![Complex::default(); LENGTH];
    let mut sharpness_of = |bins: &[Complex<f64>], drift: f64| {
        work.copy_from_slice(bins);
        turn(&mut work, drift, placed, rate);
        back.process(&mut work);
        let (second, fourth) = work.iter().map(Complex::norm_sqr).fold((0.0, 0.0), |(s, f), x| (s + x, f + x * x));
        (fourth / (second * second)).ln()
    };
    let pulse =
        |look: &Look| -> Vec<Complex<f64>> { (0..LENGTH).map(|k| Complex::from(look.edge(k, placed, rate))).collect() };
    let most: f64 = looks.iter().map(|look| sharpness_of(&pulse(look), 0.0)).sum();
    let mut sharpness = |drift: f64| bins.iter().map(|bins| sharpness_of(bins, drift)).sum::<f64>();
    let steps = 60;
    let drift = |n: i32| f64::from(n) * WIDEST / f64::from(steps);
    let values: Vec<f64> = (-steps..=steps).map(|n| sharpness(drift(n))).collect();
    let best = (0..values.len()).max_by(|a, b| values[*a].total_cmp(&values[*b]))?;
    // Golden section around the best step.
    let golden = 0.5 * (5f64.sqrt() - 1.0);
    let (mut low, mut high) = (drift(best as i32 - steps - 1), drift(best as i32 - steps + 1));
    for _ in 0..20 {
        let (a, b) = (high - golden * (high - low), low + golden * (high - low));
        if sharpness(a) > sharpness(b) { high = b } else { low = a }
    }
    let drift = 0.5 * (low + high);
    Some((drift, most - sharpness(drift)))
}

impl Look {
    /// 1 within the band, falling to 0 at its edges.
    fn edge(&self, k: usize, placed: &Placed, rate: f64) -> f64 {
        let [low, high] = [self.band[0].max(1.1 * placed.low), self.band[1].min(0.95 * placed.high)];
        let hz = k as f64 * rate / LENGTH as f64;
        if hz <= low || hz >= high {
            return 0.0;
        }
        let octaves = (hz / low).log2().min((high / hz).log2());
        0.5 - 0.5 * (PI * (2.0 * octaves).min(1.0)).cos()
    }
}

/// The direct sound's positive frequencies within the band, white and without the phase that goes with its colour.
fn sharp(
    response: &[f64],
    look: &Look,
    placed: &Placed,
    rate: f64,
    planner: &mut FftPlanner<f64>,
) -> Option<Vec<Complex<f64>>> {
    let most = response.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
    let first = response.iter().position(|x| x.abs() >= BEGINS * most).filter(|_| most > 0.0)?;
    let from = first.saturating_sub((BEFORE * rate) as usize);
    let count = ((BEFORE + look.after) * rate) as usize;
    let mut time = vec![Complex::default(); LENGTH];
    for (n, sample) in response[from..].iter().take(count).enumerate() {
        let fade = 0.5 + 0.5 * (PI * (n as f64 / count as f64 * 2.0 - 1.0).max(0.0)).cos();
        time[n] = Complex::new(sample * fade, 0.0);
    }
    let (there, back) = (planner.plan_fft_forward(LENGTH), planner.plan_fft_inverse(LENGTH));
    there.process(&mut time);
    let step = rate / LENGTH as f64;
    let colour = colour(&time, look.smooth, placed, step);
    let mut cepstrum: Vec<Complex<f64>> = (0..LENGTH).map(|k| Complex::new(colour[k.min(LENGTH - k)], 0.0)).collect();
    back.process(&mut cepstrum);
    // Causal part of the cepstrum: the minimum phase (A. V. Oppenheim, R. W. Schafer, ch. 12).
    let scale = 1.0 / LENGTH as f64;
    for (n, value) in cepstrum.iter_mut().enumerate() {
        let weight = if n == 0 || n == LENGTH / 2 {
            1.0
        } else if n < LENGTH / 2 {
            2.0
        } else {
            0.0
        };
        *value *= weight * scale;
    }
    there.process(&mut cepstrum);
    let white = |k: usize| time[k] / cepstrum[k].exp() * look.edge(k, placed, rate);
    Some((0..LENGTH).map(white).collect())
}

/// The natural logarithm of the magnitude up to half the rate; beyond the sweep it goes on as it fell, below it stays.
fn colour(bins: &[Complex<f64>], smooth: bool, placed: &Placed, step: f64) -> Vec<f64> {
    let half = LENGTH / 2;
    let mut powers: Vec<f64> = bins[..=half].iter().map(Complex::norm_sqr).collect();
    let most = powers.iter().copied().fold(0.0, f64::max);
    if smooth {
        powers = thirds(&powers);
    }
    let log = |power: &f64| 0.5 * (power + 1e-8 * most).max(f64::MIN_POSITIVE).ln();
    let mut colour: Vec<f64> = powers.iter().map(log).collect();
    let low = ((1.1 * placed.low / step) as usize + 1).min(half);
    let high = ((0.95 * placed.high / step) as usize).clamp(low, half);
    let at = colour[low];
    colour[..low].fill(at);
    let near = (high * 2 / 3).max(low)..high;
    let slope = (colour[high] - colour[near.start]) / (high as f64 / near.start as f64).ln().max(1e-9);
    let at = colour[high];
    for (k, colour) in colour.iter_mut().enumerate().skip(high + 1) {
        *colour = at + slope.min(0.0) * (k as f64 / high as f64).ln();
    }
    colour
}

/// The mean over a third of an octave around each bin.
fn thirds(powers: &[f64]) -> Vec<f64> {
    let mut sums = vec![0.0];
    powers.iter().for_each(|power| sums.push(sums[sums.len() - 1] + power));
    let width = 2f64.powf(1.0 / 6.0);
    let mean = |k: usize| {
        let (a, b) = ((k as f64 / width) as usize, ((k as f64 * width) as usize + 1).min(powers.len()));
        (sums[b] - sums[a.min(b - 1)]) / (b - a.min(b - 1)) as f64
    };
    (0..powers.len()).map(mean).collect()
}

/// How much later the second of two equal sweeps came back, in samples to a hundredth, from their responses: looked for up to
/// 0.1 s either way in what lies 0.1 s around the first one's direct sound. `None`: one of them holds nothing.
pub fn later(first: &Impulse, second: &Impulse) -> Option<f64> {
    Both::of(first, second)?.later(|_| 1.0)
}

/// The same of octaves alone: what was lost while a sweep sounded shifts those that it swept afterwards.
pub fn later_by_octave(first: &Impulse, second: &Impulse, centres: &[f64]) -> Option<Vec<f64>> {
    let both = Both::of(first, second)?;
    let within = |centre: f64| {
        let share = move |hz: f64| (0.5 * PI * (hz / centre).log2().clamp(-1.0, 1.0)).cos().powi(2);
        both.later(share)
    };
    centres.iter().copied().map(within).collect()
}

/// The cross-spectrum of two responses around the first one's direct sound.
struct Both {
    bins: Vec<Complex<f64>>,
    length: usize,
    /// Samples either way.
    reach: usize,
    step: f64,
}

impl Both {
    fn of(first: &Impulse, second: &Impulse) -> Option<Self> {
        let rate = f64::from(first.rate.get());
        let reach = (REACH * rate) as usize;
        let begin = first.start()? as isize - first.zero() as isize;
        let around = |response: &Impulse| -> Vec<f64> {
            let from = response.zero() as isize + begin - 2 * reach as isize;
            let at = |n: isize| usize::try_from(from + n).ok().and_then(|n| response.samples().get(n));
            (0..4 * reach as isize).map(|n| at(n).copied().unwrap_or(0.0)).collect()
        };
        let (mut first, second) = (around(first), around(second));
        // What moves past the ends of the second would count for less.
        first[..reach].fill(0.0);
        first[3 * reach..].fill(0.0);
        let length = fit(8 * reach);
        let bins = spectrum(&second, length).iter().zip(spectrum(&first, length)).map(|(b, a)| b * a.conj()).collect();
        Some(Self { bins, length, reach, step: rate / length as f64 })
    }

    /// Where both are most alike, of so much of each frequency.
    fn later(&self, share: impl Fn(f64) -> f64) -> Option<f64> {
        let bins = self.bins.iter().enumerate().map(|(k, bin)| bin * share(k.max(1) as f64 * self.step)).collect();
        let alike = signal(bins, self.length);
        let at = |lag: isize| alike[lag.rem_euclid(self.length as isize) as usize];
        let reach = self.reach as isize;
        let most = (-reach..=reach).max_by(|a, b| at(*a).total_cmp(&at(*b)))?;
        let (before, here, after) = (at(most - 1), at(most), at(most + 1));
        let bend = before - 2.0 * here + after;
        (here > 0.0 && bend < 0.0).then(|| most as f64 + 0.5 * (before - after) / bend)
    }
}

/// The capture as the sending clock would have taken it.
pub(super) fn corrected(captured: &[f64], drift: f64) -> Vec<f64> {
    let table = Kernel::new();
    let count = (captured.len() as f64 / (1.0 + drift)) as usize;
    (0..count).map(|n| table.at(captured, n as f64 * (1.0 + drift))).collect()
}

/// A windowed sinc in steps fine enough to be read off straight lines (J. O. Smith, 2002).
struct Kernel(Vec<f64>);

const CROSSINGS: usize = 24;
const FINE: usize = 512;

impl Kernel {
    fn new() -> Self {
        let value = |n: usize| {
            let x = n as f64 / FINE as f64;
            let sinc = if n == 0 { 1.0 } else { (PI * x).sin() / (PI * x) };
            sinc * (0.5 * PI * x / CROSSINGS as f64).cos().powi(2)
        };
        Self((0..=CROSSINGS * FINE + 1).map(value).collect())
    }

    fn at(&self, samples: &[f64], place: f64) -> f64 {
        let first = (place as usize).saturating_sub(CROSSINGS - 1);
        let last = (place as usize + CROSSINGS).min(samples.len().saturating_sub(1));
        let one = |n: usize| {
            let x = (n as f64 - place).abs() * FINE as f64;
            let (k, part) = (x as usize, x.fract());
            let (a, b) = (self.0[k.min(CROSSINGS * FINE)], self.0[(k + 1).min(CROSSINGS * FINE + 1)]);
            samples[n] * (a + part * (b - a))
        };
        (first..=last).map(one).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Hertz, SampleRate};

    /// Against the sine itself.
    #[test]
    fn a_slow_clock_is_put_right() {
        for drift in [-200e-6, 100e-6] {
            let wave = |place: f64| (TAU * 9000.0 * place / 48_000.0).sin();
            let captured: Vec<f64> = (0..96_000).map(|n| wave(f64::from(n) / (1.0 + drift))).collect();
            let right = corrected(&captured, drift);
            let worst = (1000..90_000).map(|n| (right[n] - wave(n as f64)).abs()).fold(0.0, f64::max);
            assert!(worst < 1e-3, "{worst}");
        }
    }

    /// A band-limited pulse 43.25 samples later, as 100 ppm make it over 9 s at 48 kHz, and one a whole buffer away.
    #[test]
    fn two_sweeps_tell_it() {
        let rate = SampleRate::new(48_000).unwrap();
        let pulse = |place: f64| {
            let sinc = |n: usize| {
                let x = 0.4 * PI * (n as f64 - place);
                if x == 0.0 { 1.0 } else { x.sin() / x }
            };
            let samples = (0..48_000).map(sinc).collect();
            Impulse::new(rate, samples, 1000, Hertz::new(80.0), Hertz::new(9_600.0)).unwrap()
        };
        let first = pulse(7_000.0);
        for apart in [43.25, -43.25, 0.0, 1008.0, -4000.5] {
            let found = later(&first, &pulse(7_000.0 + apart)).unwrap();
            assert!((found - apart).abs() < 0.02, "{found} for {apart}");
        }
        let nothing = Impulse::new(rate, vec![0.0; 9], 0, Hertz::new(80.0), Hertz::new(9_600.0)).unwrap();
        assert!(later(&nothing, &first).is_none() && later(&first, &nothing).is_none());
    }
}
