//! A yardstick for ringing out: what a few cuts of an equaliser can buy at best on the true loop.
//!
//! L is proportional to the response of its output's equaliser, so that cuts are tried on L as it is. First on
//! the strongest in-phase place of each 1/48 octave, the phases of the cuts left aside: cuts are added one by one, each
//! the best with those before, then each is chosen anew with the others held, for a soft maximum that
//! hardens step by step (a hard one sees no gain in the first of two cuts that are needed together). Then
//! exactly, phases and all, on the whole grid: depths, places and widths one step aside are tried as long as that helps.
//! It is a search, not a proof: the best may be a little better. Gains in whole dB, as on a desk.

use rustfft::num_complex::Complex;

use super::truth::Truth;
use crate::dsp::biquad::EqBand;
use crate::dsp::equaliser::{Curve, Graphic};
use crate::units::{Db, Hertz, SampleRate};

/// What the desk has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Choice {
    Graphic(Graphic),
    /// Any frequency, and a Q of these.
    Parametric(&'static [f64]),
}

impl Choice {
    /// 1/3, 1/6 and 1/8 octave.
    pub const PARAMETRIC: Self = Self::Parametric(&[4.318, 8.65, 11.5]);
}

/// The best cuts that were found.
#[derive(Clone, Debug, PartialEq)]
pub struct Yardstick {
    pub bands: Vec<EqBand>,
    /// By how much they raise the margin.
    pub bought: Db,
}

/// Places that a parametric band is tried at, at most.
const PLACES: usize = 60;
/// Softness of the maximum in dB, step by step.
const SOFT: [f64; 4] = [2.0, 1.0, 0.5, 0.2];

impl Truth {
    /// At most `most` cuts of at most `deepest` dB (a positive number) each, at one output.
    pub fn best_cuts(&self, output: usize, choice: Choice, most: usize, deepest: Db) -> Yardstick {
        let depths = deepest.abs().get().clamp(0.0, 18.0) as usize;
        let coarse = Coarse::new(self, output, choice, depths);
        let mut chosen = Vec::new();
        if depths > 0 {
            while chosen.len() < most && coarse.improve(&mut chosen, None, SOFT[0]) {}
            for soft in SOFT {
                for _ in 0..4 {
                    let changed = (0..chosen.len()).filter(|&at| coarse.improve(&mut chosen, Some(at), soft)).count();
                    if changed == 0 {
                        break;
                    }
                }
            }
        }
        let mut bands: Vec<EqBand> = chosen.iter().map(|cut| coarse.band(*cut)).collect();
        let fine = Fine::new(self, output, depths as f64 + 3.0);
        let before = fine.margin(&[]);
        let mut margin = fine.margin(&bands);
        for _ in 0..6 {
            let mut better = false;
            for at in 0..bands.len() {
                for band in asides(bands[at], choice, depths as f64) {
                    let old = std::mem::replace(&mut bands[at], band);
                    let found = fine.margin(&bands);
                    if found > margin + 1e-6 && distinct(&bands) {
                        (margin, better) = (found, true);
                    } else {
                        bands[at] = old;
                    }
                }
            }
            if !better {
                break;
            }
        }
        Yardstick { bands, bought: Db::new(if before.is_finite() { (margin - before).max(0.0) } else { 0.0 }) }
    }
}

/// One step away in depth, place and width.
fn asides(band: EqBand, choice: Choice, depths: f64) -> Vec<EqBand> {
    let deeper = |by: f64| EqBand { gain: Db::new((band.gain.get() + by).clamp(-depths, 0.0)), ..band };
    let moved = |octaves: f64| Hertz::new(band.frequency.get() * 2f64.powf(octaves));
    let mut bands = vec![deeper(-1.0), deeper(1.0), deeper(-2.0), deeper(2.0)];
    match choice {
        Choice::Graphic(kind) => {
            let mut lowest = kind.frequencies().map(Hertz::get);
            let step = match (lowest.next(), lowest.next()) {
                (Some(first), Some(second)) => (second / first).log2(),
                _ => 1.0,
            };
            bands.extend([-step, step].map(|by| kind.band(moved(by), band.gain)));
        }
        Choice::Parametric(widths) => {
            bands.extend([-1.0 / 24.0, 1.0 / 24.0, -0.01, 0.01].map(|by| EqBand { frequency: moved(by), ..band }));
            bands.extend(widths.iter().map(|&q| EqBand { q, ..band }));
        }
    }
    bands
}

/// A graphic equaliser has every band once.
fn distinct(bands: &[EqBand]) -> bool {
    bands.iter().enumerate().all(|(at, band)| bands[..at].iter().all(|other| other.frequency != band.frequency))
}

/// A cut among those on offer: its place and its depth in dB.
#[derive(Clone, Copy, PartialEq)]
struct Cut {
    slot: usize,
    depth: usize,
}

/// In-phase gains at few places, and what each cut does to them, all in dB.
struct Coarse {
    gains: Vec<f32>,
    slots: Vec<EqBand>,
    depths: usize,
    /// `[slot][depth − 1][place]`.
    effects: Vec<Vec<f32>>,
}

impl Coarse {
    fn new(truth: &Truth, output: usize, choice: Choice, depths: usize) -> Self {
        let all = truth.in_phase(output);
        let top = all.first().map_or(0.0, |place| place.gain.get());
        let mut taken = std::collections::HashSet::new();
        let place = |hz: f64| (48.0 * hz.log2()).floor() as i64;
        let strong = all.iter().take_while(|place| place.gain.get() > top - depths as f64 - 6.0);
        let places: Vec<(f64, f64)> = strong
            .filter(|found| taken.insert(place(found.frequency.get())))
            .map(|found| (found.frequency.get(), found.gain.get()))
            .collect();
        let slots: Vec<EqBand> = match choice {
            Choice::Graphic(kind) => kind.frequencies().map(|frequency| kind.band(frequency, Db::ZERO)).collect(),
            Choice::Parametric(widths) => places
                .iter()
                .take(PLACES)
                .flat_map(|&(hz, _)| widths.iter().map(move |&q| EqBand::peak(Hertz::new(hz), q, Db::ZERO)))
                .collect(),
        };
        let rate = truth.rate();
        let late = |hz: f64| Complex::cis(-std::f64::consts::TAU * hz / f64::from(rate.get()));
        let lates: Vec<Complex<f64>> = places.iter().map(|&(hz, _)| late(hz)).collect();
        let effect = |slot: &EqBand, depth: usize| -> Vec<f32> {
            let filter = EqBand { gain: Db::new(-(depth as f64)), ..*slot }.coefficients(rate);
            lates.iter().map(|&late| (10.0 * filter.response(late).norm_sqr().log10()) as f32).collect()
        };
        let effects = slots.iter().flat_map(|slot| (1..=depths).map(|depth| effect(slot, depth)).collect::<Vec<_>>());
        Self {
            effects: effects.collect(),
            gains: places.iter().map(|&(_, gain)| (gain - top) as f32).collect(),
            slots,
            depths,
        }
    }

    fn band(&self, cut: Cut) -> EqBand {
        EqBand { gain: Db::new(-(cut.depth as f64)), ..self.slots[cut.slot] }
    }

    fn effect(&self, cut: Cut) -> &[f32] {
        &self.effects[cut.slot * self.depths + cut.depth - 1]
    }

    /// Adds the best cut, or chooses the one at `anew` again; whether that changed anything.
    fn improve(&self, chosen: &mut Vec<Cut>, anew: Option<usize>, soft: f64) -> bool {
        let mut rest = self.gains.clone();
        for (_, cut) in chosen.iter().enumerate().filter(|(at, _)| Some(*at) != anew) {
            rest.iter_mut().zip(self.effect(*cut)).for_each(|(gain, effect)| *gain += effect);
        }
        let soft = soft as f32;
        let height = |effect: Option<&[f32]>| -> f32 {
            let term = |at: usize| rest[at] + effect.map_or(0.0, |effect| effect[at]);
            let top = (0..rest.len()).map(term).fold(f32::NEG_INFINITY, f32::max);
            top + soft * (0..rest.len()).map(|at| ((term(at) - top) / soft).exp()).sum::<f32>().ln()
        };
        let taken = |slot: usize| {
            let same = |cut: &Cut| self.slots[cut.slot].frequency == self.slots[slot].frequency;
            chosen.iter().enumerate().any(|(at, cut)| Some(at) != anew && same(cut))
        };
        let free = (0..self.slots.len()).filter(|&slot| !taken(slot));
        let cuts = free.flat_map(|slot| (1..=self.depths).map(move |depth| Cut { slot, depth }));
        let best = cuts.map(|cut| (cut, height(Some(self.effect(cut))))).min_by(|a, b| a.1.total_cmp(&b.1));
        let before = match anew {
            Some(at) => height(Some(self.effect(chosen[at]))),
            None => height(None),
        };
        match (best, anew) {
            (Some((cut, after)), Some(at)) if after < before - 1e-4 => chosen[at] = cut,
            (Some((cut, after)), None) if after < before - 1e-4 => chosen.push(cut),
            _ => return false,
        }
        true
    }
}

/// L on the grid wherever it is strong enough to matter.
struct Fine {
    /// z⁻¹, L, and whether the grid's neighbour before it is the one before it here.
    places: Vec<(Complex<f64>, Complex<f64>, bool)>,
    rate: SampleRate,
}

impl Fine {
    fn new(truth: &Truth, output: usize, below: f64) -> Self {
        let top = truth.scan(output).map(|(_, gain)| gain.norm_sqr()).fold(0.0, f64::max);
        let least = top * 10f64.powf(-below / 10.0);
        let turn = -std::f64::consts::TAU / f64::from(truth.rate().get());
        let mut places = Vec::new();
        let mut joined = false;
        for (hz, gain) in truth.scan(output) {
            let strong = gain.norm_sqr() >= least;
            if strong {
                places.push((Complex::cis(turn * hz), gain, joined));
            }
            joined = strong;
        }
        Self { places, rate: truth.rate() }
    }

    /// dB; +∞ where nothing is in phase.
    fn margin(&self, bands: &[EqBand]) -> f64 {
        let curve = Curve::new(bands.iter().copied(), self.rate);
        let mut highest = 0.0;
        let mut before = Complex::default();
        for &(late, gain, joined) in &self.places {
            let now: Complex<f64> = gain * curve.response(late);
            if joined && before.im * now.im <= 0.0 && before.re > 0.0 && now.re > 0.0 && before.im != now.im {
                let part = before.im / (before.im - now.im);
                highest = f64::max(highest, before.re + part * (now.re - before.re));
            }
            before = now;
        }
        -20.0 * highest.log10()
    }
}
