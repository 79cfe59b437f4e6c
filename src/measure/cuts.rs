//! The fewest and shallowest cuts that give a loop the wanted margin, computed on its measured gain.
//!
//! In: the loop gain, the desk's kind of equaliser, the margin wanted in dB. Out: equaliser settings in the order of what
//! each buys, with the margin after each. The margin is Nyquist's (phase counts: a filter turns it), read off the
//! complex response times the filters' own (Audio EQ Cookbook), at every bin that could matter. Search: several best
//! settings are carried on; each step takes the frequency that would ring first and deepens, by a decibel or by what
//! is missing, one band that reaches it; at the end each cut is made shallower or dropped while the margin holds. Cuts
//! go to −12 dB, to six bands (shelves: two). A loop in phase nowhere wants no cut.

use rustfft::num_complex::Complex;

use super::margin::{LoopGain, crossing};
use crate::dsp::biquad::{Coefficients, EqBand};
use crate::dsp::equaliser::Graphic;
use crate::units::{Db, Hertz};

/// What the desk has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Desk {
    Graphic(Graphic),
    /// Bands of free frequency and width.
    Parametric {
        bands: usize,
    },
    /// One band whose frequency turns between two ends; its width is fixed.
    SweepableMid {
        low: Hertz,
        high: Hertz,
        q: f64,
    },
    /// Low and high knobs of fixed frequency.
    Shelves {
        low: Hertz,
        high: Hertz,
    },
}

/// A setting, and the margin once it and all before it are made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cut {
    pub band: EqBand,
    pub margin: Db,
}

#[derive(Clone, Debug, PartialEq)]
pub enum Cuts {
    /// The margin is there already.
    NoneNeeded {
        margin: Option<Db>,
    },
    Enough {
        before: Db,
        cuts: Vec<Cut>,
    },
    /// All that cuts can do is `buys`: the microphone or the loudspeaker has to move.
    Move {
        before: Db,
        buys: Db,
        cuts: Vec<Cut>,
    },
}

const DEEPEST: f64 = -12.0;
const MOST_BANDS: usize = 6;
/// Settings carried on from step to step.
const CARRIED: usize = 16;
const STEPS: usize = 40;
/// A band costs as much as so many decibels of depth.
const BAND_COST: f64 = 3.0;
/// Octave and half, third, sixth of an octave.
const WIDTHS: [f64; 4] = [1.0, 1.414, 4.318, 8.651];
/// Reached within this, dB.
const NEAR: f64 = 0.01;

impl Cuts {
    /// `None` where the wanted margin is no number, or the desk's bands make no sense.
    pub fn new(gain: &LoopGain, desk: Desk, wanted: Db) -> Option<Self> {
        if !(wanted.get().is_finite() && desk.makes_sense()) {
            return None;
        }
        // Filters only take away: what is this much lower cannot become the worst.
        let loud = Loud::new(gain, Db::new(-wanted.get() - 1.0));
        let worst = loud.worst(&[]);
        let Some((_, top)) = worst.filter(|(_, top)| *top > -wanted.get() + NEAR) else {
            return Some(Self::NoneNeeded { margin: gain.margin().phase_aware });
        };
        let before = Db::new(-top);
        let best = search(&loud, desk, wanted.get());
        let best = shallower(best, &loud, wanted.get());
        let cuts = in_order(&best.bands, &loud, before);
        let reached = -best.top >= wanted.get() - NEAR;
        Some(if reached {
            Self::Enough { before, cuts }
        } else {
            Self::Move { before, buys: Db::new(-best.top) - before, cuts }
        })
    }
}

impl Desk {
    fn makes_sense(self) -> bool {
        match self {
            Self::Graphic(_) => true,
            Self::Parametric { bands } => bands > 0,
            Self::SweepableMid { low, high, q } => low.get() > 0.0 && low.get() <= high.get() && q > 0.0,
            Self::Shelves { low, high } => low.get() > 0.0 && low.get() < high.get(),
        }
    }

    fn most_bands(self) -> usize {
        match self {
            Self::Graphic(_) => MOST_BANDS,
            Self::Parametric { bands } => bands.min(MOST_BANDS),
            Self::SweepableMid { .. } => 1,
            Self::Shelves { .. } => 2,
        }
    }

    /// Flat bands that reach a frequency.
    fn reaching(self, frequency: Hertz) -> Vec<EqBand> {
        let hz = frequency.get();
        match self {
            Self::Graphic(kind) => {
                let own = kind.band(frequency, Db::ZERO);
                let distance = (own.frequency.get() / hz).log2().abs();
                let mut near: Vec<Hertz> = kind.frequencies().collect();
                near.retain(|centre| (centre.get() / hz).log2().abs() <= distance + 1.5 * spacing(kind));
                near.into_iter().map(|centre| kind.band(centre, Db::ZERO)).collect()
            }
            Self::Parametric { .. } => WIDTHS.map(|q| EqBand::peak(frequency, q, Db::ZERO)).into(),
            Self::SweepableMid { low, high, q } => {
                let centre = hz.clamp(low.get(), high.get());
                vec![EqBand::peak(Hertz::new(centre), q, Db::ZERO)]
            }
            Self::Shelves { low, high } => {
                vec![EqBand::low_shelf(low, Db::ZERO), EqBand::high_shelf(high, Db::ZERO)]
            }
        }
    }
}

/// Octaves between two bands.
fn spacing(kind: Graphic) -> f64 {
    let mut two = kind.frequencies();
    match (two.next(), two.next()) {
        (Some(a), Some(b)) => (b.get() / a.get()).log2(),
        _ => 1.0,
    }
}

/// The bins that could ring, and how filters turn them.
struct Loud<'a> {
    gain: &'a LoopGain,
    bins: Vec<(Complex<f64>, Complex<f64>, usize)>,
}

impl<'a> Loud<'a> {
    fn new(gain: &'a LoopGain, least: Db) -> Self {
        Self { gain, bins: gain.above(least) }
    }

    /// Frequency and gain in dB of what would ring first behind these bands.
    fn worst(&self, bands: &[EqBand]) -> Option<(Hertz, f64)> {
        let filters: Vec<Coefficients> = bands.iter().map(|band| band.coefficients(self.gain.rate)).collect();
        let mut worst: Option<(f64, f64)> = None;
        let mut before: Option<(Complex<f64>, usize)> = None;
        for (bin, late, k) in &self.bins {
            let now = filters.iter().fold(*bin, |product, filter| product * filter.response(*late));
            if let Some((last, at)) = before.filter(|(_, at)| at + 1 == *k)
                && let Some((part, gain)) = crossing(last, now)
                && worst.is_none_or(|(_, most)| gain > most)
            {
                worst = Some((at as f64 + part, gain));
            }
            before = Some((now, *k));
        }
        worst.map(|(bin, gain)| (self.gain.frequency(bin), 20.0 * gain.log10()))
    }
}

#[derive(Clone, Debug)]
struct Setting {
    bands: Vec<EqBand>,
    /// What would ring first behind it.
    frequency: Hertz,
    top: f64,
}

impl Setting {
    fn new(bands: Vec<EqBand>, loud: &Loud) -> Self {
        let (frequency, top) = loud.worst(&bands).unwrap_or((Hertz::new(0.0), f64::NEG_INFINITY));
        Self { bands, frequency, top }
    }

    fn cost(&self) -> f64 {
        self.bands.iter().map(|band| BAND_COST - band.gain.get()).sum()
    }
}

fn search(loud: &Loud, desk: Desk, wanted: f64) -> Setting {
    let start = Setting::new(Vec::new(), loud);
    let mut best = start.clone();
    let mut carried = vec![start];
    for _ in 0..STEPS {
        let mut next: Vec<Setting> = Vec::new();
        for setting in &carried {
            let missing = (setting.top + wanted).ceil().clamp(1.0, 6.0);
            for band in desk.reaching(setting.frequency) {
                for depth in [1.0, missing] {
                    let Some(bands) = deepened(&setting.bands, band, depth, desk) else { continue };
                    if next.iter().all(|other| other.bands != bands) {
                        next.push(Setting::new(bands, loud));
                    }
                }
            }
        }
        // What is still missing weighs as the depth it would at least take.
        let merit = |setting: &Setting| setting.cost() + 3.0 * (setting.top + wanted).max(0.0);
        next.sort_by(|a, b| merit(a).total_cmp(&merit(b)));
        let done = |setting: &Setting| -setting.top >= wanted - NEAR;
        for setting in &next {
            let better = match (done(&best), done(setting)) {
                (true, true) => setting.cost() < best.cost(),
                (a, b) if a != b => b,
                _ => setting.top < best.top - NEAR,
            };
            if better {
                best = setting.clone();
            }
        }
        next.retain(|setting| !done(setting) && (!done(&best) || setting.cost() < best.cost()));
        next.truncate(CARRIED);
        if next.is_empty() {
            break;
        }
        carried = next;
    }
    best
}

/// `None` when the band is at its end, or the desk has none left.
fn deepened(bands: &[EqBand], band: EqBand, by: f64, desk: Desk) -> Option<Vec<EqBand>> {
    let mut bands = bands.to_vec();
    let near = |a: Hertz, b: Hertz| (a.get() / b.get()).log2().abs() < 0.02;
    let alike = |old: &EqBand| old.shape == band.shape && near(old.frequency, band.frequency) && old.q == band.q;
    match bands.iter().position(alike) {
        Some(at) if bands[at].gain.get() - by < DEEPEST => return None,
        Some(at) => bands[at].gain -= Db::new(by),
        None if bands.len() >= desk.most_bands() => return None,
        None => bands.push(EqBand { gain: Db::new(-by), ..band }),
    }
    Some(bands)
}

/// Cuts dropped, then made shallower decibel by decibel, while what was reached is kept.
fn shallower(mut best: Setting, loud: &Loud, wanted: f64) -> Setting {
    let kept = (-best.top).min(wanted) - NEAR;
    loop {
        let mut found = false;
        for at in 0..best.bands.len() {
            let mut without = best.bands.clone();
            without.remove(at);
            let mut less = best.bands.clone();
            less[at].gain += Db::new(1.0);
            less.retain(|band| band.gain.get() < -0.5);
            let tried = [without, less].map(|bands| Setting::new(bands, loud));
            if let Some(setting) = tried.into_iter().find(|setting| -setting.top >= kept) {
                best = setting;
                found = true;
                break;
            }
        }
        if !found {
            return best;
        }
    }
}

/// The one that buys most first; while something louder stands in the way, the deepest.
fn in_order(bands: &[EqBand], loud: &Loud, before: Db) -> Vec<Cut> {
    let mut left = bands.to_vec();
    let mut made: Vec<EqBand> = Vec::new();
    let mut cuts = Vec::new();
    let mut margin = before;
    while !left.is_empty() {
        let with = |band: &EqBand| {
            let all: Vec<EqBand> = made.iter().chain([band]).copied().collect();
            loud.worst(&all).map(|(_, top)| Db::new(-top))
        };
        let tried: Vec<Option<Db>> = left.iter().map(with).collect();
        let value = |at: usize| tried[at].map_or(f64::INFINITY, Db::get);
        let better = |a: &usize, b: &usize| {
            value(*a).total_cmp(&value(*b)).then(left[*b].gain.get().total_cmp(&left[*a].gain.get()))
        };
        let Some(at) = (0..left.len()).max_by(better) else { break };
        margin = tried[at].unwrap_or(margin);
        let band = left.remove(at);
        made.push(band);
        cuts.push(Cut { band, margin });
    }
    cuts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::equaliser::Curve;
    use crate::measure::impulse::Impulse;
    use crate::units::SampleRate;

    /// A late echo behind narrow resonances of known gains: their peaks ring first.
    fn gain(peaks: &[(f64, f64, f64)], level: f64) -> LoopGain {
        let rate = SampleRate::new(48_000).unwrap();
        let mut samples = vec![0.0; 48_000];
        samples[960] = level;
        let flat = Impulse::new(rate, samples, 0, Hertz::new(100.0), Hertz::new(12_000.0)).unwrap();
        let bands = peaks.iter().map(|(hz, q, db)| EqBand::peak(Hertz::new(*hz), *q, Db::new(*db)));
        LoopGain::new(&flat).through(&Curve::new(bands, rate))
    }

    /// What was promised, read off the whole loop behind the whole equaliser.
    fn really(gain: &LoopGain, cuts: &[Cut]) -> f64 {
        let curve = Curve::new(cuts.iter().map(|cut| cut.band), gain.rate);
        gain.clone().through(&curve).margin().phase_aware.unwrap().get()
    }

    #[test]
    fn none_are_needed() {
        let found = Cuts::new(&gain(&[], 0.1), Desk::Graphic(Graphic::ThirdOctave), Db::new(6.0)).unwrap();
        assert!(matches!(found, Cuts::NoneNeeded { margin: Some(margin) } if (margin.get() - 20.0).abs() < 0.01));
    }

    /// One resonance of 6 dB at 2.5 kHz over a loop of −8 dB: one band reaches 6 dB, four decibels and no more.
    #[test]
    fn one_resonance_takes_one_cut() {
        let gain = gain(&[(2511.9, 4.318, 6.0)], 0.4);
        for desk in [Desk::Graphic(Graphic::ThirdOctave), Desk::Parametric { bands: 4 }] {
            let Some(Cuts::Enough { before, cuts }) = Cuts::new(&gain, desk, Db::new(6.0)) else {
                panic!("{desk:?} does not reach it")
            };
            assert!((before.get() - 1.96).abs() < 0.1, "{before:?}");
            assert_eq!(cuts.len(), 1, "{cuts:?}");
            assert!((cuts[0].band.frequency.get() - 2511.9).abs() < 60.0, "{cuts:?}");
            assert!((-6.0..=-4.0).contains(&cuts[0].band.gain.get()), "{cuts:?}");
            assert!((really(&gain, &cuts) - cuts[0].margin.get()).abs() < 0.05 && really(&gain, &cuts) >= 5.98);
        }
    }

    /// Every desk keeps what it promises, within half a decibel, and takes at most its own bands.
    #[test]
    fn promises_are_kept() {
        let gain = gain(&[(315.0, 6.0, 5.0), (1900.0, 8.0, 7.0), (5200.0, 5.0, 4.0)], 0.4);
        let mid = Desk::SweepableMid { low: Hertz::new(200.0), high: Hertz::new(5000.0), q: 1.0 };
        let shelves = Desk::Shelves { low: Hertz::new(80.0), high: Hertz::new(12_000.0) };
        let graphics = Graphic::ALL.map(Desk::Graphic);
        for desk in graphics.into_iter().chain([Desk::Parametric { bands: 3 }, mid, shelves]) {
            let found = Cuts::new(&gain, desk, Db::new(5.0)).unwrap();
            let (cuts, promised) = match &found {
                Cuts::NoneNeeded { .. } => panic!("{desk:?}: 0.9 dB are not enough"),
                Cuts::Enough { cuts, .. } => (cuts, 5.0),
                Cuts::Move { before, buys, cuts } => (cuts, (*before + *buys).get()),
            };
            let kept = if cuts.is_empty() { promised } else { really(&gain, cuts) };
            assert!(kept >= promised - 0.5, "{desk:?}: {kept} of {promised}, {found:?}");
            assert!(cuts.len() <= desk.most_bands(), "{found:?}");
            assert!(cuts.last().is_none_or(|cut| (cut.margin.get() - kept).abs() < 0.05), "{found:?}");
        }
    }

    /// A loop that is too loud at every frequency is nothing for an equaliser's six bands.
    #[test]
    fn where_cuts_buy_little() {
        let found = Cuts::new(&gain(&[], 0.9), Desk::Graphic(Graphic::ThirdOctave), Db::new(6.0)).unwrap();
        assert!(matches!(&found, Cuts::Move { buys, .. } if buys.get() < 1.0), "{found:?}");
    }

    #[test]
    fn nonsense_is_none() {
        let gain = gain(&[], 0.9);
        assert!(Cuts::new(&gain, Desk::Parametric { bands: 0 }, Db::new(6.0)).is_none());
        assert!(Cuts::new(&gain, Desk::Graphic(Graphic::Octave), Db::new(f64::NAN)).is_none());
    }
}
