//! How a room's sound dies away: early decay, T20, T30, clarity, direct over reverberant, octave by octave.
//!
//! In: an impulse response, with its noise. Schroeder's backward integration, noise energy taken away and the tail
//! beyond the knee added as a straight decay (ISO 3382-1:2009, 5.3.3; W. T. Chu, J. Acoust. Soc. Am. 63, 1978). Straight
//! lines of least squares through 0…−10 dB (EDT), −5…−25 (T20), −5…−35 (T30), each told as the time for 60 dB, in
//! seconds. T20 wants the peak of its band 35 dB over the noise, T30 45 (ISO 3382-2:2008, 4.3.3), else `None`. C50 and
//! direct over reverberant in dB: energy of the first 50 ms, of the first 2.5 ms (P. Zahorik, J. Acoust. Soc. Am. 112,
//! 2002), over the rest. Overall values are the means of 500 Hz and 1 kHz (ISO 3382-1, A.4).

use super::impulse::Impulse;
use super::knee::{Knee, knee, noise, regression};
use super::octave::{OCTAVES, Octave};
use crate::units::{Db, Hertz, Seconds};

#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Decay {
    pub edt: Option<Seconds>,
    pub t20: Option<Seconds>,
    pub t30: Option<Seconds>,
    pub c50: Option<Db>,
}

#[derive(Clone, Debug, PartialEq)]
pub struct Room {
    /// Of 500 Hz and 1 kHz.
    pub overall: Decay,
    /// 125 Hz to 8 kHz, as far as the sweep reaches.
    pub octaves: Vec<(Hertz, Decay)>,
    pub direct_to_reverberant: Option<Db>,
}

/// Steps of the decay curve in seconds: fine enough for the shortest early decay.
const STEP_SECONDS: f64 = 0.0005;
const CLARITY_SECONDS: f64 = 0.05;
const DIRECT_SECONDS: f64 = 0.0025;
/// Peak over noise that the standard asks for, in dB.
const RANGE: [f64; 3] = [20.0, 35.0, 45.0];

impl Room {
    /// `None` for a response with nothing in it.
    pub fn new(response: &Impulse) -> Option<Self> {
        let start = response.start()?;
        let rate = f64::from(response.rate.get());
        let mut octaves = Vec::new();
        for centre in OCTAVES {
            if let Some(octave) = Octave::new(centre, response.rate).filter(|_| response.reaches(centre)) {
                octaves.push((Hertz::new(centre), of_band(response.samples(), start, &octave, rate)));
            }
        }
        let of = |hz: f64| octaves.iter().find(|(centre, _)| centre.get() == hz).map(|(_, decay)| *decay);
        let (a, b) = (of(500.0).unwrap_or_default(), of(1000.0).unwrap_or_default());
        let seconds = |a: Option<Seconds>, b: Option<Seconds>| Some(Seconds::new(0.5 * (a?.get() + b?.get())));
        let overall = Decay {
            edt: seconds(a.edt, b.edt),
            t20: seconds(a.t20, b.t20),
            t30: seconds(a.t30, b.t30),
            c50: a.c50.zip(b.c50).map(|(a, b)| Db::new(0.5 * (a.get() + b.get()))),
        };
        Some(Self { overall, octaves, direct_to_reverberant: direct(response.samples(), start, rate) })
    }
}

fn of_band(samples: &[f64], start: usize, octave: &Octave, rate: f64) -> Decay {
    // A millisecond early: the direct sound's own rise belongs to it.
    let begin = start.saturating_sub((0.001 * rate) as usize);
    let squares: Vec<f64> = octave.filter(samples).iter().map(|sample| sample * sample).collect();
    let floor = noise(&squares, begin, rate);
    let Some(knee) = knee(&squares, begin, floor, rate) else { return Decay::default() };
    let curve = backward(&squares, begin, floor, &knee);
    let over = range(&squares[begin..knee.at], floor, rate);
    let fit = |from: f64, to: f64, least: f64| if over >= least { line(&curve, from, to, rate) } else { None };
    Decay {
        edt: fit(0.0, -10.0, RANGE[0]),
        t20: fit(-5.0, -25.0, RANGE[1]),
        t30: fit(-5.0, -35.0, RANGE[2]),
        c50: clarity(&octave.filter(&samples[start..]), floor, start, &knee, rate),
    }
}

/// Energy that is still to come, sample by sample from `begin` to the knee, noise taken away.
fn backward(squares: &[f64], begin: usize, floor: f64, knee: &Knee) -> Vec<f64> {
    let mut left = beyond(knee);
    let mut curve: Vec<f64> = squares[begin..knee.at]
        .iter()
        .rev()
        .map(|square| {
            left += square - floor;
            left
        })
        .collect();
    curve.reverse();
    curve
}

/// Energy of the straight decay after its knee.
fn beyond(knee: &Knee) -> f64 {
    if knee.open { 0.0 } else { knee.energy / -knee.slope }
}

/// The highest 10 ms over the noise, in dB.
fn range(squares: &[f64], floor: f64, rate: f64) -> f64 {
    let step = (0.01 * rate) as usize;
    let most = squares.chunks(step).map(|part| part.iter().sum::<f64>() / step as f64).fold(0.0, f64::max);
    10.0 * (most / floor.max(1e-300)).log10()
}

/// Time for 60 dB of the straight line through a part of the curve.
fn line(curve: &[f64], from: f64, to: f64, rate: f64) -> Option<Seconds> {
    let whole = *curve.first()?;
    let step = ((STEP_SECONDS * rate) as usize).max(1);
    let levels: Vec<f64> = curve.iter().step_by(step).map(|left| 10.0 * (left / whole).max(1e-30).log10()).collect();
    let first = levels.iter().position(|level| *level <= from)?;
    let last = levels.iter().position(|level| *level <= to)?;
    let (_, slope) = regression(levels.get(first..last).filter(|part| part.len() >= 4)?)?;
    (slope < 0.0).then(|| Seconds::new(-60.0 / slope * step as f64 / rate))
}

/// Of the response from the direct sound on; a knee inside the first part leaves nothing to compare.
fn clarity(band: &[f64], floor: f64, start: usize, knee: &Knee, rate: f64) -> Option<Db> {
    let (early, last) = ((CLARITY_SECONDS * rate) as usize, knee.at.saturating_sub(start).min(band.len()));
    let energy = |part: &[f64]| part.iter().map(|sample| sample * sample - floor).sum::<f64>();
    let first = energy(band.get(..early.min(last))?);
    let rest = if last > early { energy(&band[early..last]) + beyond(knee) } else { 0.0 };
    (first > 0.0 && rest > 0.0).then(|| Db::new(10.0 * (first / rest).log10()))
}

fn direct(samples: &[f64], start: usize, rate: f64) -> Option<Db> {
    let squares: Vec<f64> = samples.iter().map(|sample| sample * sample).collect();
    let begin = start.saturating_sub((0.001 * rate) as usize);
    let floor = noise(&squares, begin, rate);
    let knee = knee(&squares, begin, floor, rate)?;
    let split = (start + (DIRECT_SECONDS * rate) as usize).min(knee.at);
    let energy = |part: &[f64]| part.iter().map(|square| square - floor).sum::<f64>();
    let (first, rest) = (energy(&squares[begin.min(split)..split]), energy(&squares[split..knee.at]) + beyond(&knee));
    (first > 0.0 && rest > 0.0).then(|| Db::new(10.0 * (first / rest).log10()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;

    /// A decay of 60 dB in `time` of seeded noise, with noise `floor` dB under its start from a second before.
    fn room(time: f64, floor: f64, seed: u32) -> Impulse {
        let rate = SampleRate::new(48_000).unwrap();
        let mut state = seed;
        let mut uniform = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24) - 0.5
        };
        let mut gauss = || (0..12).map(|_| uniform()).sum::<f64>();
        let noise = 10f64.powf(floor / 20.0);
        let samples = (0..48_000 * 4).map(|n| {
            let at = (f64::from(n) - 24_000.0) / 48_000.0;
            let decay = if at >= 0.0 { 10f64.powf(-3.0 * at / time) } else { 0.0 };
            decay * gauss() + noise * gauss()
        });
        Impulse::new(rate, samples.collect(), 24_000, Hertz::new(80.0), Hertz::new(12_000.0)).unwrap()
    }

    /// Exponential decay: T as made; C50 = 10 lg(e^(13.8·t/T) − 1) (ISO 3382-1, from its definition), where t is 50 ms less
    /// the octave filters' delay, 4/(2π·width) of a sixth-order Butterworth band: 1.35 ms as the mean of 500 Hz and 1 kHz.
    #[test]
    fn exponential_decays() {
        for (time, seed) in [(0.5, 1), (1.0, 2), (2.0, 3)] {
            let mut sum = [0.0; 4];
            for take in 0..10 {
                let found = Room::new(&room(time, -70.0, 10 * seed + take)).unwrap().overall;
                let seconds = |value: Option<Seconds>| value.unwrap().get();
                let c50 = found.c50.unwrap().get();
                let each = [seconds(found.edt), seconds(found.t20), seconds(found.t30), c50];
                sum.iter_mut().zip(each).for_each(|(sum, value)| *sum += value / 10.0);
            }
            let clarity = 10.0 * ((6.0 * std::f64::consts::LN_10 * 0.04865 / time).exp() - 1.0).log10();
            assert!((sum[1] / time - 1.0).abs() < 0.02, "T20 of {time}: {}", sum[1]);
            assert!((sum[2] / time - 1.0).abs() < 0.02, "T30 of {time}: {}", sum[2]);
            assert!((sum[0] / time - 1.0).abs() < 0.08, "EDT of {time}: {}", sum[0]);
            assert!((sum[3] - clarity).abs() < 0.5, "C50 of {time}: {} is not {clarity}", sum[3]);
        }
    }

    /// ISO 3382-2: no T30 out of 40 dB, no T20 out of 25.
    #[test]
    fn what_drowns_is_not_told() {
        let found = Room::new(&room(1.0, -42.0, 5)).unwrap().overall;
        assert!(found.t20.is_some() && found.t30.is_none(), "{found:?}");
        let found = Room::new(&room(1.0, -25.0, 5)).unwrap().overall;
        assert!(found.t20.is_none() && found.t30.is_none(), "{found:?}");
    }

    #[test]
    fn silence_has_no_decay() {
        let rate = SampleRate::new(48_000).unwrap();
        let silent = Impulse::new(rate, vec![0.0; 4800], 0, Hertz::new(80.0), Hertz::new(12_000.0)).unwrap();
        assert_eq!(Room::new(&silent), None);
        let mut click = vec![0.0; 48_000];
        click[100] = 1.0;
        let click = Impulse::new(rate, click, 0, Hertz::new(80.0), Hertz::new(12_000.0)).unwrap();
        assert!(Room::new(&click).is_some());
    }
}
