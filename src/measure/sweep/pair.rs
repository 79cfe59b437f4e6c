//! Two sweeps in one sound, the second one softer.
//!
//! A room that stands still and a straight chain give the same response at both. How much later than it was sent the second
//! one comes back tells the clocks of output and input apart, to less than a part per million, which one sweep can't where a
//! crossover turns the phase; more than clocks can be apart is sound that was lost on the way. In: amplitudes. Edge cases:
//! a second half that is anything but the first one, softer, is no pair.

use super::{Agreement, BandNoise, Clocks, Inverse, Refusal, Taken, WIDEST, agreement, later, later_by_octave};
use crate::measure::margin::LoopGain;
use crate::units::{Db, SampleRate, Seconds};

/// What was sent, made ready for any number of captures.
pub struct Pair {
    louder: Inverse,
    softer: Inverse,
    apart: usize,
}

/// What the halves may differ by, as a share of power: a file of 16 bits rounds.
const ALIKE: f64 = 1e-3;
/// How much softer the second may be.
const SOFTEST: Db = Db::new(20.0);
/// All octaves of a sweep are late alike, within this many seconds: shorter than a buffer of any device.
const TOGETHER: f64 = 0.001;
const OCTAVES: [f64; 6] = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0];
/// An octave over its noise.
const CLEAR: Db = Db::new(9.0);
/// In ppm: over 5 s less than 0.1 of a sample.
const LEAST_DRIFT: f64 = 0.5;

impl Pair {
    pub fn find(sent: &[f32], rate: SampleRate) -> Option<Self> {
        let apart = sent.len() / 2;
        let halves = || sent[..apart].iter().zip(&sent[apart..]).map(|(a, b)| (f64::from(*a), f64::from(*b)));
        let (own, both) = halves().fold((0.0, 0.0), |(own, both), (a, b)| (own + a * a, both + a * b));
        let gain = both / own;
        let rest: f64 = halves().map(|(a, b)| (b - gain * a).powi(2)).sum();
        let softer = -Db::from_ratio(gain);
        let alike = rest <= ALIKE * gain * gain * own && softer > Db::new(-0.5) && softer <= SOFTEST;
        let louder = Inverse::for_captures(&sent[..apart], rate, apart).ok().filter(|_| alike)?;
        Some(Self { softer: louder.softer(softer), louder, apart })
    }

    /// The louder one's response, on the clock that sent.
    pub fn take(&self, captured: &[f32]) -> Result<Taken, Refusal> {
        let (first, second) = captured.split_at(self.apart.min(captured.len()));
        let (louder, softer) = (self.louder.take(first, Clocks::Same)?, self.softer.take(second, Clocks::Same)?);
        let found = drift([(&louder, &softer)], self.apart, self.louder.rate())?;
        let [louder_gain, softer_gain] = [&louder, &softer].map(|taken| LoopGain::new(&taken.response));
        match agreement(&louder_gain, &softer_gain).filter(|agreement| !agreement.holds()) {
            Some(Agreement { worst, at }) => Err(Refusal::Moved { worst, at }),
            None => found.map_or(Ok(louder), |ppm| self.louder.take(first, Clocks::Apart(ppm))),
        }
    }
}

/// By how many ppm the clocks are apart, by the middle of all channels; `None`: less than matters. The second sweep was sent
/// `apart` samples after the first one.
pub fn drift<'a>(
    channels: impl IntoIterator<Item = (&'a Taken, &'a Taken)>,
    apart: usize,
    rate: SampleRate,
) -> Result<Option<f64>, Refusal> {
    let hz = f64::from(rate.get());
    let lost = |samples: f64| Refusal::SoundLost { by: Seconds::new(samples / hz) };
    let mut told = Vec::new();
    for (first, second) in channels {
        if let Some(step) = step(first, second).filter(|step| step.abs() > TOGETHER * hz) {
            return Err(lost(step));
        }
        told.extend(later(&first.response, &second.response));
    }
    told.sort_by(f64::total_cmp);
    let Some(later) = told.get(told.len() / 2).copied() else { return Ok(None) };
    let drift = later / apart as f64;
    if drift.abs() > WIDEST {
        return Err(lost(later));
    }
    Ok(Some(1e6 * drift).filter(|drift| drift.abs() > LEAST_DRIFT))
}

/// By how many samples some octaves of the second sweep came later than others did: of a room and its loudspeakers none do.
fn step(first: &Taken, second: &Taken) -> Option<f64> {
    let clear = |taken: &Taken, centre: f64| {
        let near = |band: &&BandNoise| (band.frequency.get() / centre - 1.0).abs() < 0.1;
        taken.noise.iter().find(near).is_some_and(|band| band.signal_to_noise >= CLEAR)
    };
    let centres: Vec<f64> = OCTAVES.into_iter().filter(|at| clear(first, *at) && clear(second, *at)).collect();
    let later = later_by_octave(&first.response, &second.response, &centres)?;
    let ends = later.iter().fold((f64::MAX, f64::MIN), |(low, high), at| (low.min(*at), high.max(*at)));
    let wide = ends.1 - ends.0;
    // Whichever lies farther off was shifted.
    (centres.len() > 1).then(|| if ends.0.abs() > ends.1.abs() { -wide } else { wide })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::delay::arrival;
    use crate::measure::sweep::Sweep;
    use crate::units::Dbfs;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn pair() -> Vec<f32> {
        let half = |peak| {
            let sweep = Sweep::usual(Dbfs::new(peak)).unwrap().samples(rate());
            [vec![0.0; 24_000], sweep, vec![0.0; 48_000]].concat()
        };
        [half(-12.0), half(-18.0)].concat()
    }

    /// A way of 5 ms at −20 dB: told as it is, and sound that is missing between both is missing.
    #[test]
    fn both_are_one_way() {
        let sent = pair();
        let pair = Pair::find(&sent, rate()).unwrap();
        let back: Vec<f32> = (0..sent.len()).map(|n| if n < 240 { 0.0 } else { 0.1 * sent[n - 240] }).collect();
        let taken = pair.take(&back).unwrap();
        assert_eq!(taken.drift_ppm, 0.0);
        assert!((arrival(&taken.response).unwrap().get() - 0.005).abs() < 1e-6);
        let mut short = back.clone();
        short.drain(pair.apart - 24_000..pair.apart - 23_000);
        let Err(Refusal::SoundLost { by }) = pair.take(&short) else { panic!("1000 samples are missing") };
        assert!((by.get() + 1000.0 / 48_000.0).abs() < 1e-4, "{by:?}");
        // Missing within the louder sweep: without a hall's tail to hide it, what is missing looks like a chain that bends.
        let mut short = back.clone();
        short.drain(24_000 + 91_000..24_000 + 92_000);
        assert!(matches!(pair.take(&short), Err(Refusal::SoundLost { .. } | Refusal::Limited { .. })));
        let mut moved = back.clone();
        moved[pair.apart..].iter_mut().for_each(|sample| *sample *= 1.3);
        assert!(matches!(pair.take(&moved), Err(Refusal::Moved { worst, .. }) if (worst.get() - 2.28).abs() < 0.1));
        assert!(matches!(pair.take(&back[..pair.apart]), Err(Refusal::TooShort { .. })));
    }

    #[test]
    fn other_sounds_are_no_pair() {
        let mut sent = pair();
        let apart = sent.len() / 2;
        assert!(Pair::find(&sent[..apart], rate()).is_none());
        sent[apart + 100_000..apart + 140_000].fill(0.0);
        assert!(Pair::find(&sent, rate()).is_none());
        assert!(Pair::find(&[], rate()).is_none() && Pair::find(&[0.0; 96_000], rate()).is_none());
        assert!(Pair::find(&[f32::NAN; 96_000], rate()).is_none());
    }
}
