//! A sweep found in what was sent: where it begins, how fast it rises, from where to where.
//!
//! In: amplitudes. The frequency between upward zero crossings, in groups of at least 10 ms and 8 waves, is held against
//! a straight line on a scale of octaves; more than half a per cent beside it (root mean square) is no exponential
//! sweep: `None`. So are silence, noise, music and sweeps that fall.

use crate::measure::knee::mean;
use crate::units::SampleRate;

/// A sweep as it lies in the signal sent; seconds and hertz.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placed {
    pub start: f64,
    pub end: f64,
    pub low: f64,
    pub high: f64,
    /// Seconds in which the frequency grows by e.
    pub slope: f64,
}

/// Of the greatest amplitude: below it the sweep has not begun.
const BEGUN: f64 = 1e-3;
const GROUP_SECONDS: f64 = 0.01;
const GROUP_WAVES: usize = 8;
const BESIDE: f64 = 0.005;
/// A sweep goes up by this at least.
const RISES: f64 = 1.1;

impl Placed {
    pub fn find(sent: &[f64], rate: SampleRate) -> Option<Self> {
        let rate = f64::from(rate.get());
        let most = sent.iter().fold(0.0, |most: f64, sample| most.max(sample.abs()));
        let begun = |sample: &f64| sample.abs() > BEGUN * most;
        let (first, last) = (sent.iter().position(begun)?, sent.iter().rposition(begun)?);
        let groups = groups(&sent[first..=last], rate);
        let (times, logs): (Vec<f64>, Vec<f64>) = groups.into_iter().unzip();
        if times.len() < 10 {
            return None;
        }
        let (time, log) = (mean(&times), mean(&logs));
        let spread: f64 = times.iter().map(|t| (t - time).powi(2)).sum();
        let steep = times.iter().zip(&logs).map(|(t, l)| (t - time) * (l - log)).sum::<f64>() / spread;
        let beside: Vec<f64> = times.iter().zip(&logs).map(|(t, l)| (l - log - steep * (t - time)).powi(2)).collect();
        let rises = steep.is_finite() && steep > 0.0 && mean(&beside).sqrt() < BESIDE;
        let start = first as f64 / rate;
        let length = (last - first) as f64 / rate;
        let low = (log - steep * time).exp();
        let high = (log + steep * (length - time)).exp();
        (rises && high > RISES * low && high < 0.5 * rate).then_some(Self {
            start,
            end: start + length,
            low,
            high,
            slope: 1.0 / steep,
        })
    }

    /// When it passes a frequency, in seconds of the signal sent.
    pub fn passes(&self, hz: f64) -> f64 {
        self.start + self.slope * (hz / self.low).ln()
    }
}

/// Time after the first sample and natural logarithm of the frequency, a group of waves each.
fn groups(samples: &[f64], rate: f64) -> Vec<(f64, f64)> {
    let mut groups = Vec::new();
    let (mut since, mut waves) = (None, 0);
    for (n, pair) in samples.windows(2).enumerate() {
        if pair[0] < 0.0 && pair[1] >= 0.0 {
            let now = (n as f64 + pair[0] / (pair[0] - pair[1])) / rate;
            match since {
                None => since = Some(now),
                Some(then) => {
                    waves += 1;
                    if waves >= GROUP_WAVES && now - then >= GROUP_SECONDS {
                        groups.push((0.5 * (then + now), (waves as f64 / (now - then)).ln()));
                        (since, waves) = (Some(now), 0);
                    }
                }
            }
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::sweep::Sweep;
    use crate::units::{Dbfs, Hertz, Seconds};

    #[test]
    fn a_sweep_is_found_where_it_lies() {
        let rate = SampleRate::new(48_000).unwrap();
        for (low, high, length) in [(100.0, 12_000.0, 5.0), (80.0, 12_000.0, 8.0), (50.0, 20_000.0, 1.0)] {
            let sweep = Sweep::new(
                Hertz::new(low),
                Hertz::new(high),
                Seconds::new(length),
                Seconds::new(0.01),
                Dbfs::new(-12.0),
            );
            let mut sent = vec![0.0; 24_000];
            sent.extend(sweep.unwrap().samples(rate).iter().map(|sample| f64::from(*sample)));
            sent.extend([0.0; 9600]);
            let found = Placed::find(&sent, rate).unwrap();
            assert!((found.start - 0.5).abs() < 0.002 && (found.end - 0.5 - length).abs() < 0.002, "{found:?}");
            assert!((found.low / low - 1.0).abs() < 0.01 && (found.high / high - 1.0).abs() < 0.01, "{found:?}");
            assert!((found.passes(1000.0) - 0.5 - sweep.unwrap().passes(Hertz::new(1000.0)).get()).abs() < 0.005);
        }
    }

    #[test]
    fn other_signals_are_none() {
        let rate = SampleRate::new(48_000).unwrap();
        let tone: Vec<f64> = (0..48_000).map(|n| (0.1 * f64::from(n)).sin()).collect();
        let mut state = 1_u32;
        let noise: Vec<f64> = std::iter::repeat_with(|| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state) / f64::from(u32::MAX) - 0.5
        })
        .take(48_000)
        .collect();
        for signal in [vec![], vec![0.0; 48_000], vec![0.5; 48_000], tone, noise] {
            assert!(Placed::find(&signal, rate).is_none());
        }
    }
}
