//! What the pauses around a sweep are like: their levels, and hum in them.
//!
//! In: amplitudes. Levels are RMS of steps of 50 ms in dBFS: the quiet is what a fifth of the steps lie under, the loudest
//! is the loudest step. Hum is a mains family (multiples of 50 or 60 Hz from the second on, ±1.5 Hz): its share of the power
//! from 80 Hz to 2 kHz, 0 to 1; white noise has less than an eighth there. Under half a second, or silence: `None`.

use std::collections::VecDeque;

use super::fourier::spectrum;
use crate::units::{Dbfs, Hertz, SampleRate};

const STEP_SECONDS: f64 = 0.05;
const QUIET: f64 = 0.2;
const BAND: [f64; 2] = [80.0, 2000.0];
const BESIDE: f64 = 1.5;
/// A minute.
const MOST_STEPS: usize = 1200;
const LEAST_SECONDS: f64 = 0.5;

/// Quiet and loudest of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steps {
    pub quiet: Dbfs,
    pub loudest: Dbfs,
}

impl Steps {
    /// `None` for less than one step.
    pub fn new(samples: &[f32], rate: SampleRate) -> Option<Self> {
        let mut stretch = Stretch::new(rate);
        stretch.push(samples);
        stretch.steps()
    }
}

/// The newest minute of what comes in pieces.
#[derive(Clone, Debug)]
pub struct Stretch {
    step: usize,
    power: f64,
    count: usize,
    powers: VecDeque<f64>,
}

impl Stretch {
    pub fn new(rate: SampleRate) -> Self {
        let step = ((STEP_SECONDS * f64::from(rate.get())) as usize).max(1);
        Self { step, power: 0.0, count: 0, powers: VecDeque::new() }
    }

    pub fn push(&mut self, samples: &[f32]) {
        for sample in samples {
            self.power += f64::from(*sample).powi(2);
            self.count += 1;
            if self.count == self.step {
                if self.powers.len() == MOST_STEPS {
                    self.powers.pop_front();
                }
                self.powers.push_back(self.power / self.step as f64);
                (self.power, self.count) = (0.0, 0);
            }
        }
    }

    pub fn clear(&mut self) {
        self.powers.clear();
        (self.power, self.count) = (0.0, 0);
    }

    /// `None` for less than one step.
    pub fn steps(&self) -> Option<Steps> {
        let mut powers: Vec<f64> = self.powers.iter().copied().collect();
        powers.sort_by(f64::total_cmp);
        let quiet = *powers.get((QUIET * powers.len() as f64) as usize)?;
        Some(Steps { quiet: Dbfs::from_power(quiet), loudest: Dbfs::from_power(*powers.last()?) })
    }
}

/// The mains' frequency and its family's share of the noise.
pub fn hum(samples: &[f32], rate: SampleRate) -> Option<(Hertz, f64)> {
    let hz = f64::from(rate.get());
    if (samples.len() as f64) < LEAST_SECONDS * hz {
        return None;
    }
    let window = |n: usize| (std::f64::consts::PI * n as f64 / samples.len() as f64).sin().powi(2);
    let shaped: Vec<f64> = samples.iter().enumerate().map(|(n, x)| f64::from(*x) * window(n)).collect();
    let length = samples.len().next_power_of_two();
    let step = hz / length as f64;
    let bins = spectrum(&shaped, length);
    let power = |keep: &dyn Fn(f64) -> bool| -> f64 {
        let within = |hz: f64| (BAND[0]..BAND[1]).contains(&hz) && keep(hz);
        bins.iter().enumerate().filter(|(k, _)| within(*k as f64 * step)).map(|(_, bin)| bin.norm_sqr()).sum()
    };
    let all = power(&|_| true);
    let family = |mains: f64| power(&|hz| (hz - mains * (hz / mains).round()).abs() <= BESIDE);
    let shares = [50.0, 60.0].map(|mains| (Hertz::new(mains), family(mains) / all));
    shares.into_iter().filter(|(_, share)| share.is_finite()).max_by(|a, b| a.1.total_cmp(&b.1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn noise(count: usize) -> Vec<f32> {
        let mut state = 1_u32;
        let next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 8_388_608.0 - 1.0
        };
        std::iter::repeat_with(next).take(count).collect()
    }

    /// Buzz of 60 Hz is told from noise, and from buzz of 50 Hz.
    #[test]
    fn hum_is_told() {
        let buzz = |mains: f64, n: usize| {
            let phase = std::f64::consts::TAU * mains * n as f64 / 48_000.0;
            (1..20).map(|k| (f64::from(k) * phase).sin() / f64::from(k)).sum::<f64>() as f32
        };
        for mains in [50.0, 60.0] {
            let hums: Vec<f32> =
                noise(48_000).iter().enumerate().map(|(n, x)| 0.2 * buzz(mains, n) + 0.1 * x).collect();
            let (found, share) = hum(&hums, rate()).unwrap();
            assert!(found.get() == mains && share > 0.8, "{found:?} {share}");
        }
        assert!(hum(&noise(48_000), rate()).unwrap().1 < 0.125);
        assert!(hum(&[0.0; 48_000], rate()).is_none() && hum(&noise(100), rate()).is_none());
    }

    /// An even spread over ±1 has a mean square of 1/3: −4.77 dBFS.
    #[test]
    fn steps_are_measured() {
        let samples = [noise(48_000), noise(4800).iter().map(|x| 10.0 * x).collect()].concat();
        let steps = Steps::new(&samples, rate()).unwrap();
        assert!((steps.quiet.get() + 4.77).abs() < 0.3 && (steps.loudest.get() - 15.23).abs() < 0.3, "{steps:?}");
        assert_eq!(Steps::new(&[0.0; 99], rate()), None);
        let mut stretch = Stretch::new(rate());
        samples.chunks(701).for_each(|piece| stretch.push(piece));
        assert_eq!(stretch.steps(), Some(steps));
    }
}
