//! Two recordings of one event lined up: where the second one began, how much faster or slower its clock ran, and whether
//! its header tells another rate than it was made at.
//!
//! In: the levels of both, one each 10 ms (see [`Outline`]), and their files. First the rises of the outlines are held
//! against each other at every offset, as they are and stretched by the ratios of the rates that recorders have: a room and
//! a level that is ridden draw out what falls, and leave what rises where it is. Then a second of both
//! is compared, sample by sample, at up to 24 places: cross-correlation with the magnitudes taken out of the spectrum from
//! 150 Hz to 5 kHz (generalised cross-correlation, Knapp & Carter 1976), its highest tops by a parabola, since an echo may
//! stand over what is direct. The line that most places agree with within 0.5 ms (its slope then is the median of all slopes
//! between two of them, Theil 1950; Sen 1968) gives offset and drift.
//!
//! Out: what lies at t in the first lies at offset + t · ratio in the second. Two that have less than 20 s in common, or
//! fewer than five places that agree, are no pair: `None`. Files that can't be read any more are none either.

use std::path::Path;

use realfft::RealFftPlanner;
use realfft::num_complex::Complex;

use crate::block::BlockBuf;
use crate::dsp::resample::resample;
use crate::source::file::FileSource;
use crate::source::{Flow, Source};
use crate::units::{Dbfs, SampleRate, Seconds};

const HOPS_A_SECOND: f64 = 100.0;
/// 20 minutes of outline tell where to begin.
const MOST_HOPS: usize = 120_000;
const LOWEST: f64 = -90.0;
/// A rise is that over so many levels, each the mean of three.
const RISE: usize = 2;
const COMMON: f64 = 20.0;
/// Correlation of the rises that is worth a look at the samples: in three minutes of sound that is not the same it strays by
/// 0.02, a phone far back in a reverberant hall comes to 0.27 (measured).
const ALIKE: f64 = 0.2;
const PLACES: usize = 24;
const FEWEST: usize = 5;
/// After so many places at least so many must have told something, else the two are no pair.
const TRIED: usize = 6;
const FEWEST_TRIED: usize = 2;
const LOOK: f64 = 1.0;
/// How far the outlines may be off.
pub(super) const REACH: f64 = 0.06;
const BAND: (f64, f64) = (150.0, 5_000.0);
/// A top this much over the root mean square of the correlation is one by itself.
pub(super) const STANDS_OUT: f32 = 7.0;
/// In a reverberant room the direct sound may be one of so many tops, each so much over it, this far from the others.
const TOPS: usize = 3;
const MAY_BE: f32 = 4.5;
const OWN_TOP: f64 = 0.001;
const AGREE: f64 = 0.0005;
/// Of the places that told something at least this share agree: by chance one in forty does.
const SHARE: f64 = 0.33;
/// Clocks differ by no more.
const FARTHEST: f64 = 400e-6;
const RATIOS: [(u32, u32); 7] =
    [(1, 1), (44_100, 48_000), (48_000, 44_100), (32_000, 48_000), (48_000, 32_000), (1, 2), (2, 1)];

/// A recording's level over time, coarsely.
#[derive(Clone, Debug, Default)]
pub struct Outline {
    levels: Vec<u8>,
}

impl Outline {
    /// The next 10 ms.
    pub fn push(&mut self, level: Dbfs) {
        if self.levels.len() < MOST_HOPS {
            self.levels.push(((level.get() - LOWEST) * 2.0).clamp(0.0, 255.0) as u8);
        }
    }

    /// Its rises, stretched by `ratio`, less their mean.
    fn rises(&self, ratio: f64) -> Vec<f32> {
        let at = |index: usize| {
            let place = index as f64 / ratio;
            let here = (place as usize).min(self.levels.len() - 1);
            let next = (here + 1).min(self.levels.len() - 1);
            let (a, b) = (f64::from(self.levels[here]), f64::from(self.levels[next]));
            a + (b - a) * place.fract()
        };
        let stretched: Vec<f64> = (0..(self.levels.len() as f64 * ratio) as usize).map(at).collect();
        let smooth: Vec<f64> = stretched.windows(3).map(|three| three.iter().sum::<f64>() / 3.0).collect();
        let rises: Vec<f64> = smooth.windows(RISE + 1).map(|levels| (levels[RISE] - levels[0]).max(0.0)).collect();
        let mean = rises.iter().sum::<f64>() / rises.len().max(1) as f64;
        rises.into_iter().map(|rise| (rise - mean) as f32).collect()
    }
}

/// A recording that may be lined up.
#[derive(Clone, Copy)]
pub struct Side<'a> {
    pub path: &'a Path,
    pub outline: &'a Outline,
}

/// How the second lies on the first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alignment {
    pub offset: Seconds,
    /// Beyond `ratio`.
    pub ppm: f64,
    /// True rate and header's rate of the second, where it is no drift but a lie.
    pub lie: Option<(u32, u32)>,
}

pub fn align(first: Side, second: Side) -> Option<Alignment> {
    let good = |found: &(f64, f64, (u32, u32))| found.0 >= ALIKE;
    let coarse = |&(up, down): &(u32, u32)| {
        let ratio = f64::from(up) / f64::from(down);
        let (offset, alike) = offset_of(&first.outline.rises(ratio), &second.outline.rises(1.0))?;
        Some((alike, offset, (up, down)))
    };
    let exact = |(_, offset, (up, down)): (f64, f64, (u32, u32))| {
        let ratio = f64::from(up) / f64::from(down);
        // Music in time with itself lines up at many speeds, weakly: a header is called a liar only by what is plain.
        let least = if up == down { MAY_BE } else { STANDS_OUT };
        let (offset, slope) = line(&places(first, second, offset, ratio, least)?, ratio)?;
        Some((offset, slope, (up, down)))
    };
    let (straight, lies) = RATIOS.split_at(1);
    let lied = || {
        let mut found: Vec<_> = lies.iter().filter_map(coarse).filter(good).collect();
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.into_iter().take(2).find_map(exact)
    };
    let (offset, slope, (up, down)) = straight.iter().filter_map(coarse).filter(good).find_map(exact).or_else(lied)?;
    let ratio = f64::from(up) / f64::from(down);
    let ppm = (slope / ratio - 1.0) * 1e6;
    let header = FileSource::open(second.path).ok()?.format().rate.get();
    let lie = (up != down).then(|| ((f64::from(header) * ratio).round() as u32, header));
    Some(Alignment { offset: Seconds::new(offset), ppm, lie })
}

/// By how many seconds `b` holds later what `a` holds, and how alike they are there.
fn offset_of(a: &[f32], b: &[f32]) -> Option<(f64, f64)> {
    let least = (COMMON * HOPS_A_SECOND) as usize;
    if a.len() < least || b.len() < least {
        return None;
    }
    let size = (a.len() + b.len()).next_power_of_two();
    let correlation = correlate(a, b, size, |_, product| product)?;
    let energies = |samples: &[f32]| {
        let mut sums = vec![0.0f64];
        samples.iter().for_each(|x| sums.push(sums[sums.len() - 1] + f64::from(x * x)));
        sums
    };
    let (ea, eb) = (energies(a), energies(b));
    let normal = |lag: isize| {
        let (from, to) = ((-lag).max(0) as usize, (a.len() as isize).min(b.len() as isize - lag));
        if to < 0 || (to as usize) < from + least {
            return 0.0;
        }
        let to = to as usize;
        let shift = |index: usize| (index as isize + lag) as usize;
        let energy = (ea[to] - ea[from]) * (eb[shift(to)] - eb[shift(from)]);
        let value = f64::from(correlation[lag.rem_euclid(size as isize) as usize]);
        if energy > 0.0 { value / energy.sqrt() } else { 0.0 }
    };
    let lags = -(a.len() as isize)..=b.len() as isize;
    let best = lags.map(|lag| (normal(lag), lag)).max_by(|x, y| x.0.total_cmp(&y.0))?;
    Some((best.1 as f64 / HOPS_A_SECOND, best.0))
}

/// Σ a(n) b(n + lag), at `lag` modulo `size`, each bin of the product as `weigh` makes it.
fn correlate(
    a: &[f32],
    b: &[f32],
    size: usize,
    weigh: impl Fn(usize, Complex<f32>) -> Complex<f32>,
) -> Option<Vec<f32>> {
    let mut planner = RealFftPlanner::<f32>::new();
    let (forward, inverse) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let transform = |samples: &[f32]| {
        let mut input = forward.make_input_vec();
        input[..samples.len()].copy_from_slice(samples);
        let mut output = forward.make_output_vec();
        forward.process(&mut input, &mut output).ok().map(|()| output)
    };
    let (sa, mut sb) = (transform(a)?, transform(b)?);
    for (bin, (a, b)) in sa.iter().zip(&mut sb).enumerate() {
        *b = weigh(bin, a.conj() * *b);
    }
    let last = sb.len() - 1;
    (sb[0].im, sb[last].im) = (0.0, 0.0);
    let mut out = inverse.make_output_vec();
    inverse.process(&mut sb, &mut out).ok()?;
    let scale = 1.0 / size as f32;
    out.iter_mut().for_each(|value| *value *= scale);
    Some(out)
}

/// A time in the first, and those in the second at which the same may stand, the surest first.
type Place = (f64, Vec<f64>);

/// Places all along the two, with what stands out by `least`.
fn places(first: Side, second: Side, offset: f64, ratio: f64, least: f32) -> Option<Vec<Place>> {
    let length = |path: &Path| {
        let source = FileSource::open(path).ok()?;
        Some(source.info().frames? as f64 / f64::from(source.format().rate.get()))
    };
    let (la, lb) = (length(first.path)?, length(second.path)?);
    let from = (-offset / ratio).max(0.0) + REACH / ratio;
    let to = la.min((lb - offset) / ratio) - LOOK - 2.0 * REACH / ratio;
    if to - from < COMMON / 2.0 {
        return None;
    }
    let at = |place: usize| from + (to - from) * place as f64 / (PLACES - 1) as f64;
    let (mut a, mut b) = (Reader::open(first.path)?, Reader::open(second.path)?);
    let mut found = Vec::new();
    // What the clocks have drifted apart so far is followed.
    let mut late = 0.0;
    for place in 0..PLACES {
        if place == TRIED && found.len() < FEWEST_TRIED {
            return None;
        }
        let ta = at(place);
        let tb = offset + ta * ratio + late - REACH;
        let (Some(sa), Some(sb)) = (a.stretch(ta, LOOK), b.stretch(tb.max(0.0), LOOK * ratio + 2.0 * REACH)) else {
            break;
        };
        let rate = b.rate;
        // Stretched like the second: the same samples at another rate.
        let sa = resample(&sa, a.rate, SampleRate::new((f64::from(rate.get()) * ratio).round() as u32)?);
        let tops = tops_of(&sa, &sb, f64::from(rate.get()), least);
        if tops.is_empty() {
            continue;
        }
        let begins = tb.max(0.0);
        if let Some((lag, _)) = tops.first().filter(|(_, height)| *height >= STANDS_OUT) {
            late += 0.5 * (begins + lag - (offset + ta * ratio + late));
        }
        found.push((ta, tops.into_iter().map(|(lag, _)| begins + lag).collect()));
    }
    Some(found)
}

/// How many seconds into `b` may begin what `a` holds, the surest first, and how far each stands out.
pub(super) fn tops_of(a: &[f32], b: &[f32], rate: f64, least: f32) -> Vec<(f64, f32)> {
    let size = (a.len() + b.len()).next_power_of_two();
    let bin = |hertz: f64| (hertz / rate * size as f64) as usize;
    let (low, high) = (bin(BAND.0), bin(BAND.1));
    let whiten = |index: usize, product: Complex<f32>| {
        let size = product.norm();
        if index < low || index > high || size < 1e-20 { Complex::default() } else { product / size.powf(0.8) }
    };
    let Some(correlation) = correlate(a, b, size, whiten) else { return Vec::new() };
    let lags = &correlation[..b.len().saturating_sub(a.len()).max(3)];
    let rms = (lags.iter().map(|x| x * x).sum::<f32>() / lags.len() as f32).sqrt();
    let is_top = |&at: &usize| lags[at] > least * rms && lags[at] > lags[at - 1] && lags[at] >= lags[at + 1];
    let mut high: Vec<usize> = (1..lags.len() - 1).filter(is_top).collect();
    high.sort_by(|&x, &y| lags[y].total_cmp(&lags[x]));
    let mut tops: Vec<(f64, f32)> = Vec::with_capacity(TOPS);
    for at in high {
        let (left, here, right) = (lags[at - 1], lags[at], lags[at + 1]);
        let bend = left - 2.0 * here + right;
        let part = if bend < 0.0 { 0.5 * (left - right) / bend } else { 0.0 };
        let lag = (at as f64 + f64::from(part.clamp(-0.5, 0.5))) / rate;
        if tops.iter().all(|top| (top.0 - lag).abs() > OWN_TOP) {
            tops.push((lag, here / rms));
        }
        if tops.len() == TOPS {
            break;
        }
    }
    tops
}

/// Offset and slope of the line that most places agree with; `ratio` is about its slope.
fn line(places: &[Place], ratio: f64) -> Option<(f64, f64)> {
    let on = |offset: f64, slope: f64| -> Vec<(f64, f64)> {
        let off = |place: &Place, at: f64| (at - offset - slope * place.0).abs();
        let near = |place: &Place| {
            let nearest = place.1.iter().copied().min_by(|&a, &b| off(place, a).total_cmp(&off(place, b)))?;
            (off(place, nearest) < AGREE).then_some((place.0, nearest))
        };
        places.iter().filter_map(near).collect()
    };
    let mut best: Vec<(f64, f64)> = Vec::new();
    for (index, first) in places.iter().enumerate() {
        for second in places[index + 1..].iter().filter(|second| second.0 - first.0 >= 2.0) {
            for (a, b) in first.1.iter().flat_map(|a| second.1.iter().map(move |b| (a, b))) {
                let slope = (b - a) / (second.0 - first.0);
                if (slope / ratio - 1.0).abs() < FARTHEST + AGREE / (second.0 - first.0) {
                    let agreed = on(a - slope * first.0, slope);
                    if agreed.len() > best.len() {
                        best = agreed;
                    }
                }
            }
        }
    }
    if best.len() < FEWEST || (best.len() as f64) < SHARE * places.len() as f64 {
        return None;
    }
    let slopes = best.iter().enumerate().flat_map(|(index, a)| {
        best[index + 1..].iter().filter(|b| b.0 - a.0 >= 2.0).map(|b| (b.1 - a.1) / (b.0 - a.0))
    });
    let slope = median(slopes.collect())?;
    let offset = median(best.iter().map(|point| point.1 - slope * point.0).collect())?;
    Some((offset, slope))
}

pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Reads stretches of one recording, each later than the one before or overlapping it, all channels together.
pub(super) struct Reader {
    source: FileSource,
    pub rate: SampleRate,
    block: BlockBuf,
    /// What was read last, and the frame that it begins at.
    held: Vec<f32>,
    start: u64,
    at: u64,
}

impl Reader {
    pub fn open(path: &Path) -> Option<Self> {
        let source = FileSource::open(path).ok()?;
        let format = source.format();
        let block = BlockBuf::new(format.channels, format.rate.get() as usize / 4);
        Some(Self { source, rate: format.rate, block, held: Vec::new(), start: 0, at: 0 })
    }

    pub fn stretch(&mut self, from: f64, length: f64) -> Option<Vec<f32>> {
        let rate = f64::from(self.rate.get());
        let (from, length) = ((from * rate).round() as u64, (length * rate).round() as usize);
        if from > self.at {
            self.source.skip(from - self.at).ok()?;
            self.held.clear();
        }
        while self.held.is_empty() || self.start + (self.held.len() as u64) < from + length as u64 {
            if self.source.read(&mut self.block).ok()? == Flow::End {
                return None;
            }
            let block = self.block.as_block();
            if self.held.is_empty() || block.start().get() != self.start + self.held.len() as u64 {
                (self.start, self.held) = (block.start().get(), Vec::new());
            }
            let mix = |frame: usize| (0..block.channels()).map(|channel| block.channel(channel)[frame]).sum::<f32>();
            self.held.extend((0..block.frames()).map(mix).map(|x| if x.is_finite() { x } else { 0.0 }));
            self.at = self.start + self.held.len() as u64;
            if self.start > from {
                return None;
            }
            // What lies before is not asked for again.
            let old = (from - self.start).min(self.held.len() as u64);
            if old as usize > 2 * length {
                self.held.drain(..old as usize);
                self.start += old;
            }
        }
        let first = (from - self.start) as usize;
        self.held.get(first..first + length).map(<[f32]>::to_vec)
    }
}
