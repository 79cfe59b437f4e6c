//! What sounds beside a sweep, octave by octave, and how much of a signal a response brings there.
//!
//! In: amplitudes of the pauses around a sweep; an impulse response (captured over sent). Out, for the octaves from 125 Hz to
//! 8 kHz: the background's RMS in dBFS, and the response's gain in dB, its energy in the octave over that of the octave's
//! own filter (the mean of |H|² there). Both go through one filter, so that their difference is a level's. Edge cases: less
//! than 0.3 s of pause before the sweep tells nothing; the pause after it counts only where it lies within 3 dB of the one
//! before, else the softer one alone: a hall that still rings, or somebody who moved, is no background. An octave that a sweep
//! does not reach has no gain. Digital silence is −∞.

use super::impulse::Impulse;
use super::octave::{OCTAVES, Octave};
use crate::units::{Db, Dbfs, SampleRate};

/// RMS of each octave.
pub type Background = [Dbfs; 7];

const LEAST_SECONDS: f64 = 0.3;
/// Until the lowest octave's filter has settled.
const SETTLING_SECONDS: f64 = 0.05;
const ALIKE: Db = Db::new(3.0);
/// The filters' own responses are over by then.
const FILTER_SECONDS: f64 = 0.25;

/// From the pauses before and after a sweep.
pub fn background(before: &[f64], after: &[f64], rate: SampleRate) -> Option<Background> {
    if (before.len() as f64) < LEAST_SECONDS * f64::from(rate.get()) {
        return None;
    }
    let levels = |pause: &[f64]| OCTAVES.map(|centre| level(pause, centre, rate));
    let (first, then) = (levels(before), levels(after));
    let both = |octave: usize| match (first[octave], then[octave]) {
        (first, Some(then)) => {
            let first = first.unwrap_or(Dbfs::SILENCE);
            if first.is_silence() || then.is_silence() || (first - then).abs() > ALIKE {
                first.min(then)
            } else {
                Dbfs::from_power(0.5 * (first.power() + then.power()))
            }
        }
        (first, None) => first.unwrap_or(Dbfs::SILENCE),
    };
    Some(std::array::from_fn(both))
}

/// `None`: too short a pause, or an octave that the rate can't carry.
fn level(pause: &[f64], centre: f64, rate: SampleRate) -> Option<Dbfs> {
    let hz = f64::from(rate.get());
    let settled = (SETTLING_SECONDS * hz) as usize;
    if (pause.len() as f64) < LEAST_SECONDS * hz {
        return None;
    }
    let heard = Octave::new(centre, rate)?.filter(pause);
    Some(Dbfs::from_power(energy(&heard[settled..]) / (heard.len() - settled) as f64))
}

/// How loud each octave of a signal arrives, re how it was sent.
pub fn gains(response: &Impulse) -> [Option<Db>; 7] {
    let mut pulse = vec![0.0; (FILTER_SECONDS * f64::from(response.rate.get())) as usize];
    pulse.iter_mut().take(1).for_each(|first| *first = 1.0);
    OCTAVES.map(|centre| {
        let octave = Octave::new(centre, response.rate).filter(|_| response.reaches(centre))?;
        let own = energy(&octave.filter(&pulse));
        Some(Db::new(10.0 * (energy(&octave.filter(response.samples())) / own).log10()))
    })
}

fn energy(samples: &[f64]) -> f64 {
    samples.iter().map(|sample| sample * sample).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Hertz;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// Even over ±1: mean square 1/3, evenly over 0 to 24 kHz.
    fn noise(seconds: f64, seed: u32) -> Vec<f64> {
        let mut state = seed;
        let next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / 8_388_608.0 - 1.0
        };
        std::iter::repeat_with(next).take((seconds * 48_000.0) as usize).collect()
    }

    /// White noise: an octave holds its bandwidth's share, f/√2 of half the rate, and 0.2 dB that the filter's skirts add
    /// (Butterworth of the third order a side: π/6 over sin π/6).
    #[test]
    fn white_noise_by_octave() {
        let found = background(&noise(20.0, 1), &noise(20.0, 2), rate()).unwrap();
        for (centre, level) in OCTAVES.into_iter().zip(found) {
            let share = centre / 2f64.sqrt() / 24_000.0;
            let expected = 10.0 * (share / 3.0 * std::f64::consts::FRAC_PI_3).log10();
            assert!((level.get() - expected).abs() < 0.3, "{centre}: {level:?}, {expected}");
        }
    }

    /// A tail that still rings after the sweep, or a hall that was noisier before it, does not count.
    #[test]
    fn the_softer_pause_counts_where_they_differ() {
        let soft = background(&noise(1.0, 1), &noise(1.0, 2), rate()).unwrap();
        let loud: Vec<f64> = noise(1.0, 3).iter().map(|sample| 4.0 * sample).collect();
        for (before, after) in [(&noise(1.0, 1), &loud), (&loud, &noise(1.0, 1))] {
            let found = background(before, after, rate()).unwrap();
            assert!(found.iter().zip(soft).all(|(found, soft)| (*found - soft).abs() < Db::new(1.0)), "{found:?}");
        }
        assert_eq!(background(&[0.0; 48_000], &[], rate()), Some([Dbfs::SILENCE; 7]));
        assert_eq!(background(&noise(0.2, 1), &noise(1.0, 2), rate()), None);
    }

    /// A delay of gain g has 20 lg g in every octave it reaches; two equal ones far apart add up to 3 dB more.
    #[test]
    fn a_known_gain() {
        let mut samples = vec![0.0; 48_000];
        samples[480] = 0.1;
        let of = |samples: &[f64], high: f64| {
            gains(&Impulse::new(rate(), samples.to_vec(), 0, Hertz::new(80.0), Hertz::new(high)).unwrap())
        };
        assert!(of(&samples, 12_000.0).iter().all(|gain| (gain.unwrap().get() + 20.0).abs() < 0.01));
        assert_eq!(of(&samples, 6_000.0)[6], None);
        samples[24_000] = 0.1;
        assert!(of(&samples, 12_000.0).iter().all(|gain| (gain.unwrap().get() + 16.99).abs() < 0.05));
    }
}
