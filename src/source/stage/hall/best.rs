//! A yardstick for ringing out: what a few cuts of an equaliser can buy at best on the true loop.
//!
//! L is proportional to the response of its output's equaliser, so that cuts are tried on L as it is. First on
//! the strongest in-phase place of each 1/24 octave, the phases of the cuts left aside: cuts are added one by
//! one, each the best with those before, then each is chosen anew with the others held, for a soft maximum
//! that hardens step by step (a hard one sees no gain in the first of two cuts that are needed together), and
//! each pair of cuts is taken out and put in again as long as that helps. Then exactly, phases and all, on the
//! whole grid: each cut one step aside, or moved to where it would ring next. This from three starts; the best
//! counts. It is a search, not a proof: the best may be a little better (tenths of a dB). Gains in whole dB, as
//! on a desk; at most 18.

use std::collections::HashSet;
use std::f64::consts::TAU;

use rustfft::num_complex::Complex;

use super::truth::Truth;
use crate::dsp::biquad::EqBand;
use crate::dsp::equaliser::{Curve, Graphic};
use crate::units::{Db, Hertz, SampleRate};

type C = Complex<f64>;

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

    /// Bands to choose from, without a gain; the strongest places first in `places`.
    fn slots(self, places: &[(f64, f64)]) -> Vec<EqBand> {
        match self {
            Self::Graphic(kind) => kind.frequencies().map(|frequency| kind.band(frequency, Db::ZERO)).collect(),
            Self::Parametric(widths) => (0..96)
                .map(|twelfth| 70.0 * 2f64.powf(f64::from(twelfth) / 12.0))
                .chain(places.iter().take(40).map(|&(hz, _)| hz))
                .flat_map(|hz| widths.iter().map(move |&q| EqBand::peak(Hertz::new(hz), q, Db::ZERO)))
                .collect(),
        }
    }

    /// What a cut may become: other depths, one step aside, or over to `top`.
    fn asides(self, band: EqBand, deepest: f64, top: f64) -> Vec<EqBand> {
        let deeper = |by: f64| EqBand { gain: Db::new((band.gain.get() + by).clamp(-deepest, 0.0)), ..band };
        let moved = |octaves: f64| Hertz::new(band.frequency.get() * 2f64.powf(octaves));
        let mut bands: Vec<EqBand> = [-1.0, 1.0, -2.0, 2.0].map(deeper).to_vec();
        let depths = [deepest, (deepest / 2.0).ceil()].map(|depth| Db::new(-depth));
        match self {
            Self::Graphic(kind) => {
                // A band is 1/Q of its frequency wide; the nearest one that far away is the neighbour.
                let step = 2.0 / std::f64::consts::LN_2 * (0.5 / kind.q()).asinh();
                bands.extend([-step, step].map(|by| kind.band(moved(by), band.gain)));
                bands.extend(depths.map(|gain| kind.band(Hertz::new(top), gain)));
            }
            Self::Parametric(widths) => {
                bands.extend([-1.0 / 24.0, 1.0 / 24.0, -0.01, 0.01].map(|by| EqBand { frequency: moved(by), ..band }));
                bands.extend(widths.iter().map(|&q| EqBand { q, ..band }));
                bands.extend(depths.map(|gain| EqBand { frequency: Hertz::new(top), gain, ..band }));
            }
        }
        bands
    }
}

/// The best cuts that were found.
#[derive(Clone, Debug, PartialEq)]
pub struct Yardstick {
    pub bands: Vec<EqBand>,
    /// By how much they raise the margin.
    pub bought: Db,
}

/// Softness of the maximum in dB, step by step; a search may begin with any of the first three.
const SOFT: [f64; 5] = [4.0, 2.0, 1.0, 0.5, 0.2];

impl Truth {
    /// At most `most` cuts of at most `deepest` dB (a positive number) each, at one output.
    pub fn best_cuts(&self, output: usize, choice: Choice, most: usize, deepest: Db) -> Yardstick {
        self.best_cuts_without_holes(output, choice, most, deepest, Db::new(f64::INFINITY))
    }

    /// The same where no two neighbouring bands of a graphic equaliser may both be cut by `hole` dB or more.
    pub fn best_cuts_without_holes(
        &self,
        output: usize,
        choice: Choice,
        most: usize,
        deepest: Db,
        hole: Db,
    ) -> Yardstick {
        let depths = deepest.abs().get().clamp(0.0, 18.0) as usize;
        let coarse = Coarse::new(self, output, choice, depths, hole);
        let fine = Fine::new(self, output, depths as f64 + 3.0);
        let before = fine.margin(&[]).0;
        if depths == 0 || !before.is_finite() {
            return Yardstick { bands: Vec::new(), bought: Db::ZERO };
        }
        let mut best = (before, Vec::new());
        for first in 0..3 {
            let mut bands = coarse.search(most, &SOFT[first..]);
            let after = fine.refine(&mut bands, choice, depths as f64, hole);
            if after > best.0 {
                best = (after, bands);
            }
        }
        let (after, mut bands) = best;
        bands.retain(|band| !band.is_flat());
        Yardstick { bands, bought: Db::new(after - before) }
    }
}

/// Whether two bands of a graphic equaliser are neighbours and both that deep.
fn is_hole(a: &EqBand, b: &EqBand, choice: Choice, hole: Db) -> bool {
    let Choice::Graphic(kind) = choice else { return false };
    let step = 2.0 / std::f64::consts::LN_2 * (0.5 / kind.q()).asinh();
    let apart = (a.frequency.get() / b.frequency.get()).log2().abs();
    a.gain <= -hole && b.gain <= -hole && apart > 0.5 * step && apart < 1.5 * step
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
    choice: Choice,
    hole: Db,
    /// `[slot × depths + depth − 1][place]`.
    effects: Vec<Vec<f32>>,
}

impl Coarse {
    fn new(truth: &Truth, output: usize, choice: Choice, depths: usize, hole: Db) -> Self {
        let all = truth.in_phase(output);
        let top = all.first().map_or(0.0, |place| place.gain.get());
        let mut taken = HashSet::new();
        let place = |hz: f64| (24.0 * hz.log2()).floor() as i64;
        let places: Vec<(f64, f64)> = all
            .iter()
            .take_while(|place| place.gain.get() > top - depths as f64 - 6.0)
            .filter(|found| taken.insert(place(found.frequency.get())))
            .map(|found| (found.frequency.get(), found.gain.get()))
            .collect();
        let slots = choice.slots(&places);
        let turn = -TAU / f64::from(truth.rate().get());
        let lates: Vec<C> = places.iter().map(|&(hz, _)| C::cis(turn * hz)).collect();
        let effect = |slot: &EqBand, depth: usize| -> Vec<f32> {
            let filter = EqBand { gain: Db::new(-(depth as f64)), ..*slot }.coefficients(truth.rate());
            lates.iter().map(|&late| (10.0 * filter.response(late).norm_sqr().log10()) as f32).collect()
        };
        let effects = slots.iter().flat_map(|slot| (1..=depths).map(|depth| effect(slot, depth)).collect::<Vec<_>>());
        Self {
            effects: effects.collect(),
            gains: places.iter().map(|&(_, gain)| (gain - top) as f32).collect(),
            slots,
            depths,
            choice,
            hole,
        }
    }

    fn search(&self, most: usize, softness: &[f64]) -> Vec<EqBand> {
        let mut chosen = Vec::new();
        self.settle(&mut chosen, most, softness);
        // A pair that was chosen early may stand in the way of two better ones.
        let last = SOFT[SOFT.len() - 1];
        let mut height = self.height(&chosen, last);
        let mut pairs: Vec<(usize, usize)> = (0..most).flat_map(|b| (0..b).map(move |a| (a, b))).collect();
        while let Some((a, b)) = pairs.pop() {
            let mut other = chosen.clone();
            if b >= other.len() {
                continue;
            }
            other.remove(b);
            other.remove(a);
            self.settle(&mut other, most, &SOFT[2..]);
            let found = self.height(&other, last);
            if found < height - 0.02 {
                (chosen, height) = (other, found);
                pairs = (0..most).flat_map(|b| (0..b).map(move |a| (a, b))).collect();
            }
        }
        chosen.iter().map(|cut| self.band(cut)).collect()
    }

    fn band(&self, cut: &Cut) -> EqBand {
        EqBand { gain: Db::new(-(cut.depth as f64)), ..self.slots[cut.slot] }
    }

    /// Adds cuts up to `most` and chooses each anew, with ever harder maxima.
    fn settle(&self, chosen: &mut Vec<Cut>, most: usize, softness: &[f64]) {
        while chosen.len() < most && self.improve(chosen, None, softness[0]) {}
        for &soft in softness {
            for _ in 0..4 {
                let changed = (0..chosen.len()).filter(|&at| self.improve(chosen, Some(at), soft)).count();
                if changed == 0 {
                    break;
                }
            }
        }
    }

    fn height(&self, chosen: &[Cut], soft: f64) -> f32 {
        let mut effects = vec![0.0; self.gains.len()];
        for cut in chosen {
            effects.iter_mut().zip(self.effect(*cut)).for_each(|(sum, effect)| *sum += effect);
        }
        soft_maximum(&self.gains, &effects, soft as f32)
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
        let taken = |slot: usize| {
            let same = |cut: &Cut| self.slots[cut.slot].frequency == self.slots[slot].frequency;
            chosen.iter().enumerate().any(|(at, cut)| Some(at) != anew && same(cut))
        };
        let free = (0..self.slots.len()).filter(|&slot| !taken(slot));
        let cuts = free.flat_map(|slot| (1..=self.depths).map(move |depth| Cut { slot, depth }));
        let others = || chosen.iter().enumerate().filter(|(at, _)| Some(*at) != anew);
        let no_hole = |cut: &Cut| {
            let band = self.band(cut);
            !others().any(|(_, other)| is_hole(&band, &self.band(other), self.choice, self.hole))
        };
        let cuts = cuts.filter(no_hole);
        let height = |cut: Cut| soft_maximum(&rest, self.effect(cut), soft as f32);
        let best = cuts.map(|cut| (cut, height(cut))).min_by(|a, b| a.1.total_cmp(&b.1));
        let before = match anew {
            Some(at) => height(chosen[at]),
            None => soft_maximum(&rest, &vec![0.0; rest.len()], soft as f32),
        };
        match (best, anew) {
            (Some((cut, after)), Some(at)) if after < before - 1e-4 => chosen[at] = cut,
            (Some((cut, after)), None) if after < before - 1e-4 => chosen.push(cut),
            _ => return false,
        }
        true
    }
}

/// soft × ln Σ exp((gain + effect) / soft).
fn soft_maximum(gains: &[f32], effects: &[f32], soft: f32) -> f32 {
    let terms = || gains.iter().zip(effects).map(|(gain, effect)| gain + effect);
    let top = terms().fold(f32::NEG_INFINITY, f32::max);
    // What lies further below adds nothing that counts.
    let near = terms().filter(|term| top - term < 9.0 * soft);
    top + soft * near.map(|term| ((term - top) / soft).exp()).sum::<f32>().ln()
}

/// L on the grid wherever it is strong enough to matter.
struct Fine {
    rate: SampleRate,
    places: Vec<Strong>,
}

#[derive(Clone, Copy)]
struct Strong {
    hz: f64,
    late: C,
    gain: C,
    /// Whether the grid's neighbour before it is the one before it here.
    joined: bool,
}

impl Fine {
    fn new(truth: &Truth, output: usize, below: f64) -> Self {
        let rate = truth.rate();
        let all: Vec<(f64, C)> = truth.scan(output).collect();
        let top = all.iter().map(|(_, gain)| gain.norm_sqr()).fold(0.0, f64::max);
        let least = top * 10f64.powf(-below / 10.0);
        let mut places = Vec::new();
        let mut joined = false;
        for (hz, gain) in all {
            let strong = gain.norm_sqr() >= least;
            if strong {
                places.push(Strong { hz, late: C::cis(-TAU * hz / f64::from(rate.get())), gain, joined });
            }
            joined = strong;
        }
        Self { rate, places }
    }

    /// The margin with these cuts, dB, and the frequency at which it ends; +∞ where nothing is in phase.
    fn margin(&self, bands: &[EqBand]) -> (f64, f64) {
        let curve = Curve::new(bands.iter().copied(), self.rate);
        self.highest(|_, place| place.gain * curve.response(place.late))
    }

    fn highest(&self, gain: impl Fn(usize, &Strong) -> C) -> (f64, f64) {
        let (mut highest, mut hz) = (0.0, 0.0);
        let mut before = C::default();
        for (at, place) in self.places.iter().enumerate() {
            let now = gain(at, place);
            if place.joined && before.im * now.im <= 0.0 && before.re > 0.0 && now.re > 0.0 && before.im != now.im {
                let here = before.re + before.im / (before.im - now.im) * (now.re - before.re);
                if here > highest {
                    (highest, hz) = (here, place.hz);
                }
            }
            before = now;
        }
        (-20.0 * highest.log10(), hz)
    }

    /// Betters the cuts one by one; the margin at the end.
    fn refine(&self, bands: &mut [EqBand], choice: Choice, deepest: f64, hole: Db) -> f64 {
        let (mut margin, mut top) = self.margin(bands);
        for _ in 0..8 {
            let begin = margin;
            for at in 0..bands.len() {
                let others = bands.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, band)| *band);
                let curve = Curve::new(others, self.rate);
                let rest: Vec<C> = self.places.iter().map(|place| place.gain * curve.response(place.late)).collect();
                for band in choice.asides(bands[at], deepest, top) {
                    // A graphic equaliser has every band once.
                    let barred = |old: &EqBand| old.frequency == band.frequency || is_hole(old, &band, choice, hole);
                    if bands.iter().enumerate().any(|(other, old)| other != at && barred(old)) {
                        continue;
                    }
                    let filter = band.coefficients(self.rate);
                    let found = self.highest(|at, place| rest[at] * filter.response(place.late));
                    if found.0 > margin + 1e-6 {
                        (margin, top) = found;
                        bands[at] = band;
                    }
                }
            }
            if margin < begin + 0.01 {
                break;
            }
        }
        margin
    }
}
