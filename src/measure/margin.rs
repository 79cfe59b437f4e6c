//! How far a loop is from ringing, from its response around once.
//!
//! In: captured over sent with the loop open; out: decibels of gain left, and the frequencies that would ring. A loop
//! rings where its gain is at least 1 and its phase a whole number of turns (Nyquist's condition; T. van Waterschoot,
//! M. Moonen, Proc. IEEE 99(2), 2011, eq. 11–16). *Phase-aware* asks where the phase passes 0, between bins by a straight
//! line on the complex response. *Safe* asks where it could pass 0 if the way were up to 3 cm longer or shorter: a hand
//! at the microphone, or 5 °C, which shift all resonances by a per cent against 10 ms of converters and buffers. It holds
//! both where they are, so it is never above the truth; from 5.7 kHz on it counts any phase. At most 1.8 dB are allowed for
//! it: a narrow peak out of phase that would cost more is the spare's matter. *At any phase* is the greatest gain of all, for
//! a way that is not known at all.
//! Nothing is smoothed: narrow peaks stand 6 to 10 dB over the mean and are what rings. Ring candidates lie at least a
//! 24th of an octave apart. A loop that is in phase nowhere has no phase-aware margin; silence has an infinite one.

use rustfft::num_complex::Complex;

use super::fourier::spectrum;
use super::impulse::Impulse;
use super::sweep::BandNoise;
use crate::dsp::equaliser::Curve;
use crate::units::{Db, Hertz, SampleRate, Seconds};

/// The complex gain around once, bin by bin.
#[derive(Clone, Debug)]
pub struct LoopGain {
    pub rate: SampleRate,
    bins: Vec<Complex<f64>>,
    /// Hertz between two bins.
    step: f64,
    /// The bins within the sweep's band.
    first: usize,
    last: usize,
}

/// A frequency at which the loop would ring, and its gain there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    pub frequency: Hertz,
    pub gain: Db,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Margin {
    /// With a way that is a little longer or shorter.
    pub safe: Db,
    /// Where that would ring.
    pub safe_at: Hertz,
    /// From the magnitude alone.
    pub at_any_phase: Db,
    /// By Nyquist's condition.
    pub phase_aware: Option<Db>,
    /// The five that would ring first, the first one first.
    pub next: Vec<Ring>,
    /// The five highest of the magnitude.
    pub peaks: Vec<Ring>,
}

/// Candidates given out.
const CANDIDATES: usize = 5;
/// They are this far apart, in octaves.
const APART: f64 = 1.0 / 24.0;
/// How much longer or shorter the way may become, in seconds: 3 cm.
const LEEWAY: f64 = 0.03 / 343.0;
const LEEWAY_MOST: Db = Db::new(1.8);
/// What loudspeakers that bend a little, gates and edges may cost.
const READING: Db = Db::new(0.1);
/// Bins lie at least this close, in hertz: resonances of a long reverberation are a hertz wide.
const FINE: f64 = 0.1;

impl Margin {
    /// The safe numbers lowered by what the reading itself may be off, and by what the noise could have hidden: three
    /// standard deviations where they were found.
    pub fn allowing(mut self, noise: &[BandNoise]) -> Self {
        let hidden = |at: Hertz, margin: Db| {
            let away = |band: &BandNoise| (band.frequency.get() / at.get()).log2().abs();
            let band = noise.iter().min_by(|a, b| away(a).total_cmp(&away(b)));
            let share = band.map_or(0.0, |band| (band.noise_gain + margin).ratio());
            READING + if share.is_finite() { Db::from_ratio(1.0 + 3.0 * share) } else { Db::ZERO }
        };
        self.safe -= hidden(self.safe_at, self.safe);
        if let Some(peak) = self.peaks.first() {
            self.at_any_phase -= hidden(peak.frequency, self.at_any_phase);
        }
        self
    }
}

impl LoopGain {
    /// From the sent signal's moment on: the phase counts the whole delay.
    pub fn new(response: &Impulse) -> Self {
        let rate = f64::from(response.rate.get());
        let length = ((rate / FINE) as usize).max(response.samples().len()).next_power_of_two();
        let step = rate / length as f64;
        let mut bins = spectrum(response.samples(), length);
        let early = std::f64::consts::TAU * response.zero() as f64 / length as f64;
        for (k, bin) in bins.iter_mut().enumerate() {
            *bin *= Complex::from_polar(1.0, early * k as f64);
        }
        let first = (response.low.get() / step).ceil() as usize;
        let last = ((response.high.get() / step).floor() as usize).min(bins.len() - 1);
        Self { rate: response.rate, bins, step, first: first.max(1), last }
    }

    /// The lowest and the highest frequency that it is told for.
    pub fn band(&self) -> (Hertz, Hertz) {
        (Hertz::new(self.first as f64 * self.step), Hertz::new(self.last as f64 * self.step))
    }

    /// The highest gain in each of so many equal parts of the band's octaves, at the frequency where it stands.
    pub fn outline(&self, parts: usize) -> Vec<(Hertz, Db)> {
        let octaves = (self.last as f64 / self.first as f64).log2();
        let edge = |part: usize| (self.first as f64 * 2f64.powf(octaves * part as f64 / parts as f64)).round() as usize;
        let highest = |part: usize| {
            let bins = edge(part)..(edge(part + 1)).max(edge(part) + 1).min(self.last + 1);
            let top = bins.max_by(|a, b| self.bins[*a].norm_sqr().total_cmp(&self.bins[*b].norm_sqr()))?;
            Some((Hertz::new(top as f64 * self.step), Db::from_ratio(self.bins[top].norm())))
        };
        (0..parts).filter_map(highest).collect()
    }

    /// Louder by `change`, as a fader does it.
    pub fn raised(mut self, change: Db) -> Self {
        let factor = change.ratio();
        self.bins.iter_mut().for_each(|bin| *bin *= factor);
        self
    }

    /// Through an equaliser.
    pub fn through(mut self, curve: &Curve) -> Self {
        if !curve.is_flat() {
            for k in self.first..=self.last {
                let late = self.late(k);
                self.bins[k] *= curve.response(late);
            }
        }
        self
    }

    /// Later by `delay`: what a longer way or a delay line does.
    pub fn delayed(mut self, delay: Seconds) -> Self {
        let turn = -std::f64::consts::TAU * delay.get() * self.step;
        for (k, bin) in self.bins.iter_mut().enumerate() {
            *bin *= Complex::from_polar(1.0, turn * k as f64);
        }
        self
    }

    /// Without the measuring computer's own output and input: `loopback` is its out straight to its in, with the same
    /// knobs. `None` unless both are of one rate and length; where the loopback has nothing, the loop is taken as silent.
    pub fn over(mut self, loopback: &Self) -> Option<Self> {
        let most = loopback.bins.iter().fold(0.0, |most: f64, bin| most.max(bin.norm_sqr()));
        self.alike(loopback).then(|| {
            for (bin, own) in self.bins.iter_mut().zip(&loopback.bins) {
                *bin = if own.norm_sqr() > 1e-8 * most { *bin / own } else { Complex::default() };
            }
            self.narrowed(loopback)
        })
    }

    /// Several open microphones on one output: what they bring adds up. `None` for none, or of different kinds.
    pub fn sum<'a>(gains: impl IntoIterator<Item = &'a Self>) -> Option<Self> {
        let mut gains = gains.into_iter();
        let first = gains.next()?.clone();
        gains.try_fold(first, |mut sum, gain| {
            sum.alike(gain).then(|| {
                sum.bins.iter_mut().zip(&gain.bins).for_each(|(bin, other)| *bin += other);
                sum.narrowed(gain)
            })
        })
    }

    pub fn margin(&self) -> Margin {
        let next = apart(self.crossings());
        let peaks = apart(self.peaks());
        let most = peaks.first().map_or(f64::NEG_INFINITY, |ring| ring.gain.get());
        let power = |k: &usize| self.bins[*k].norm_sqr();
        let nearly = (self.first..=self.last).filter(|k| self.nearly_in_phase(*k));
        let nearly = nearly
            .max_by(|a, b| power(a).total_cmp(&power(b)))
            .map(|k| Ring { frequency: Hertz::new(k as f64 * self.step), gain: Db::from_ratio(self.bins[k].norm()) });
        let highest =
            next.first().copied().into_iter().chain(nearly).max_by(|a, b| a.gain.get().total_cmp(&b.gain.get()));
        let phase_aware = next.first().map(|ring| -ring.gain);
        let least = phase_aware.map_or(Db::new(f64::NEG_INFINITY), |exact| exact - LEEWAY_MOST);
        Margin {
            safe: highest.map_or(Db::new(f64::INFINITY), |ring| (-ring.gain).max(least)),
            safe_at: highest.map_or(Hertz::new(0.0), |ring| ring.frequency),
            at_any_phase: Db::new(-most),
            phase_aware,
            next,
            peaks,
        }
    }

    /// Whether it would be in phase on a way that is a little longer or shorter.
    fn nearly_in_phase(&self, k: usize) -> bool {
        self.bins[k].arg().abs() <= std::f64::consts::TAU * LEEWAY * k as f64 * self.step
    }

    /// The gain at a frequency; `None` outside the band.
    pub fn at(&self, frequency: Hertz) -> Option<Db> {
        let k = (frequency.get() / self.step).round();
        ((self.first as f64..=self.last as f64).contains(&k)).then(|| Db::from_ratio(self.bins[k as usize].norm()))
    }

    /// Every frequency whose phase is 0, upwards.
    fn crossings(&self) -> Vec<Ring> {
        let pairs = (self.first..self.last).filter_map(|k| {
            let (a, b) = (self.bins[k], self.bins[k + 1]);
            crossing(a, b).map(|(part, gain)| Ring {
                frequency: Hertz::new((k as f64 + part) * self.step),
                gain: Db::from_ratio(gain),
            })
        });
        pairs.collect()
    }

    /// Every local maximum of the magnitude, and the band's edges, upwards.
    fn peaks(&self) -> Vec<Ring> {
        let size = |k: usize| if (self.first..=self.last).contains(&k) { self.bins[k].norm() } else { 0.0 };
        let top = |k: &usize| size(*k) > size(*k - 1) && size(*k) >= size(*k + 1);
        let ring = |k: usize| Ring { frequency: Hertz::new(k as f64 * self.step), gain: Db::from_ratio(size(k)) };
        (self.first..=self.last).filter(top).map(ring).collect()
    }

    fn alike(&self, other: &Self) -> bool {
        self.rate == other.rate && self.bins.len() == other.bins.len()
    }

    fn narrowed(mut self, other: &Self) -> Self {
        self.first = self.first.max(other.first);
        self.last = self.last.min(other.last);
        self
    }

    /// Turns of a bin as a filter's response wants them.
    fn late(&self, k: usize) -> Complex<f64> {
        Complex::from_polar(1.0, -std::f64::consts::TAU * k as f64 * self.step / f64::from(self.rate.get()))
    }

    /// What cuts have to be judged at: bins louder than `least`, with one neighbour on each side, upwards.
    pub(super) fn above(&self, least: Db) -> Vec<(Complex<f64>, Complex<f64>, usize)> {
        let least = least.ratio();
        let loud = |k: usize| self.bins[k].norm() > least;
        (self.first..=self.last)
            .filter(|k| loud(*k) || (*k > self.first && loud(*k - 1)) || (*k < self.last && loud(*k + 1)))
            .map(|k| (self.bins[k], self.late(k), k))
            .collect()
    }

    pub(super) fn frequency(&self, bin: f64) -> Hertz {
        Hertz::new(bin * self.step)
    }
}

/// Where between two bins the phase is 0, and the gain there.
pub(super) fn crossing(a: Complex<f64>, b: Complex<f64>) -> Option<(f64, f64)> {
    let passes = (a.im < 0.0) != (b.im < 0.0) && a.re > 0.0 && b.re > 0.0;
    passes.then(|| {
        let part = a.im / (a.im - b.im);
        (part, a.re + part * (b.re - a.re))
    })
}

/// The loudest few, none next to another.
fn apart(mut rings: Vec<Ring>) -> Vec<Ring> {
    rings.sort_by(|a, b| b.gain.get().total_cmp(&a.gain.get()));
    let mut chosen: Vec<Ring> = Vec::with_capacity(CANDIDATES);
    for ring in rings {
        if chosen.len() == CANDIDATES {
            break;
        }
        let far = |other: &Ring| (ring.frequency.get() / other.frequency.get()).log2().abs() >= APART;
        if chosen.iter().all(far) {
            chosen.push(ring);
        }
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::biquad::EqBand;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn of(ways: &[(usize, f64)]) -> LoopGain {
        let mut samples = vec![0.0; 9600];
        for (late, gain) in ways {
            samples[*late] += gain;
        }
        LoopGain::new(&Impulse::new(rate(), samples, 0, Hertz::new(100.0), Hertz::new(12_000.0)).unwrap())
    }

    /// A pure delay of 10 ms at −6 dB: in phase at every 100 Hz, gain −6 dB everywhere; both margins are 6 dB.
    #[test]
    fn a_pure_delay() {
        let gain = of(&[(480, 0.5)]);
        let margin = gain.margin();
        assert!((margin.safe.get() - 6.0206).abs() < 1e-6 && (margin.phase_aware.unwrap().get() - 6.0206).abs() < 1e-6);
        for ring in &margin.next {
            let turns = ring.frequency.get() / 100.0;
            assert!((turns - turns.round()).abs() < 1e-6, "{ring:?}");
        }
        assert!((gain.clone().raised(Db::new(4.0)).margin().safe.get() - 2.0206).abs() < 1e-6);
        // Upside down: in phase half a turn away.
        let ring = of(&[(480, -0.5)]).margin().next[0].frequency.get() / 50.0;
        assert!((ring - ring.round()).abs() < 1e-6 && ring.round() as i64 % 2 == 1);
        // 5 ms later: every 66.7 Hz.
        let later = gain.delayed(Seconds::new(0.005)).margin().next[0].frequency.get() * 0.015;
        assert!((later - later.round()).abs() < 1e-6, "{later}");
    }

    /// Two ways of 1 and 1/3: +2.50 dB at most (comb filter), where both are in phase with what was sent.
    #[test]
    fn a_comb() {
        let margin = of(&[(480, 0.1), (960, 0.1 / 3.0)]).margin();
        assert!((margin.safe.get() - (20.0 - 2.4988)).abs() < 1e-3, "{margin:?}");
        assert!((margin.phase_aware.unwrap().get() - (20.0 - 2.4988)).abs() < 1e-3);
    }

    /// Equal microphones at equal distance: 6.02 dB each doubling; a loopback of half is 6.02 dB that the loop has more.
    #[test]
    fn several_microphones_and_a_loopback() {
        let one = of(&[(480, 0.1)]);
        let two = LoopGain::sum([&one, &one]).unwrap().margin();
        assert!((two.safe.get() - (20.0 - 6.0206)).abs() < 1e-6);
        assert!(LoopGain::sum([]).is_none());
        let over = one.clone().over(&of(&[(48, 0.5)])).unwrap().margin();
        assert!((over.safe.get() - (20.0 - 6.0206)).abs() < 1e-6);
        // The loopback's own delay is taken away: 9 ms are left.
        let turns = over.next[0].frequency.get() * 0.009;
        assert!((turns - turns.round()).abs() < 1e-6, "{turns}");
    }

    #[test]
    fn an_equaliser_and_silence() {
        let cut = Curve::new([EqBand::peak(Hertz::new(1000.0), 1.414, Db::new(-6.0))], rate());
        let gain = of(&[(480, 0.5)]).through(&cut);
        assert!((gain.at(Hertz::new(1000.0)).unwrap().get() + 12.0206).abs() < 0.001);
        assert_eq!(gain.at(Hertz::new(99_000.0)), None);
        let silent = of(&[]).margin();
        assert_eq!((silent.safe.get(), silent.phase_aware, silent.next.len()), (f64::INFINITY, None, 0));
    }
}
