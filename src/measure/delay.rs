//! When a loudspeaker's sound arrives, and how much later a second one has to play.
//!
//! In: responses of two loudspeakers at one place, from sweeps sent at the same moment of their captures. Out: seconds
//! between their direct sounds, the same in metres at 20 °C (343.2 m/s), and the delay to set: so much and 10 to 15 ms,
//! so that the stage is still heard first (practice, after the precedence effect; H. Haas, 1951). A direct sound is the
//! first maximum within a millisecond of where the response begins (ISO 3382-1, A.2), by a parabola through three
//! samples; it is told to about 0.05 ms. No sound, no arrival; one that is farther away than the mains wants no delay.

use super::impulse::Impulse;
use crate::units::Seconds;

/// Two loudspeakers at one place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Apart {
    /// How much later the mains arrive; negative: earlier.
    pub seconds: Seconds,
    pub metres: f64,
    /// What to set at the second loudspeaker, from least to most.
    pub delay: Option<[Seconds; 2]>,
}

const METRES_PER_SECOND: f64 = 343.2;
/// Behind the mains, seconds.
const BEHIND: [f64; 2] = [0.010, 0.015];
/// The first maximum lies within this after the beginning, seconds,
const NEAR: f64 = 0.001;
/// and is at least this share of the greatest there.
const SHARE: f64 = 0.5;

impl Apart {
    pub fn new(mains: &Impulse, second: &Impulse) -> Option<Self> {
        Some(Self::of(arrival(mains)?, arrival(second)?))
    }

    /// From when each arrived.
    pub fn of(mains: Seconds, second: Seconds) -> Self {
        let seconds = mains - second;
        let delay = (seconds > Seconds::new(0.0)).then(|| BEHIND.map(|behind| seconds + Seconds::new(behind)));
        Self { seconds, metres: METRES_PER_SECOND * seconds.get(), delay }
    }
}

/// From what was sent to the direct sound's first maximum.
pub fn arrival(response: &Impulse) -> Option<Seconds> {
    let hz = f64::from(response.rate.get());
    let samples = response.samples();
    let start = response.start()?;
    let size = |n: usize| samples.get(n).map_or(0.0, |x| x.abs());
    let near = start..start + (NEAR * hz) as usize;
    let most = near.clone().map(size).fold(0.0, f64::max);
    let top = |n: &usize| size(*n) >= SHARE * most && size(*n) >= size(n.saturating_sub(1)) && size(*n) >= size(n + 1);
    let at = near.clone().find(top)?;
    let (before, here, after) = (size(at.saturating_sub(1)), size(at), size(at + 1));
    let bend = before - 2.0 * here + after;
    let part = if bend < 0.0 { 0.5 * (before - after) / bend } else { 0.0 };
    Some(Seconds::new((at as f64 + part - response.zero() as f64) / hz))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Hertz, SampleRate};

    fn heard(at: usize, shape: &[f64]) -> Impulse {
        let mut samples = vec![0.0; 9600];
        samples[at..at + shape.len()].copy_from_slice(shape);
        // A wall behind it.
        samples[at + 900] = 1.2;
        let rate = SampleRate::new(48_000).unwrap();
        Impulse::new(rate, samples, 100, Hertz::new(80.0), Hertz::new(12_000.0)).unwrap()
    }

    /// 480 samples are 10 ms and 3.432 m; between two samples it is half a sample later.
    #[test]
    fn two_arrivals() {
        let apart = Apart::new(&heard(1480, &[0.5, 1.0, 0.5]), &heard(1000, &[0.5, 1.0, 0.5])).unwrap();
        assert!((apart.seconds.get() - 0.01).abs() < 1e-9 && (apart.metres - 3.432).abs() < 1e-6, "{apart:?}");
        let [least, most] = apart.delay.unwrap();
        assert!((least.get() - 0.02).abs() < 1e-9 && (most.get() - 0.025).abs() < 1e-9);
        let between = arrival(&heard(1000, &[0.5, 1.0, 1.0, 0.5])).unwrap();
        assert!((between.get() - 901.5 / 48_000.0).abs() < 1e-9, "{between:?}");
        // The mains are nearer: nothing to delay.
        assert_eq!(Apart::new(&heard(1000, &[1.0]), &heard(1480, &[1.0])).unwrap().delay, None);
        let silent = Impulse::new(SampleRate::new(48_000).unwrap(), vec![0.0; 9], 0, Hertz::new(80.0), Hertz::new(9e3));
        assert_eq!(arrival(&silent.unwrap()), None);
    }
}
