//! One capture of a sweep: its response, its noise by octave, its drift, or why there is none.
//!
//! In: amplitudes of what was sent (one sweep, silence around it) and of what was captured, from the same moment on.
//! Out: [`Impulse`]s in captured over sent, drift in parts per million, signal over noise in dB. The capture may be up
//! to a sweep's length longer than what was sent; more is not looked at. Not-a-number counts as silence.

use rayon::prelude::*;
use rustfft::num_complex::Complex;

use super::deconvolve::{band, inverse, lags};
use super::drift;
use super::gate::{self, BEFORE, gate};
use super::quality::{self, BandNoise, Evidence, Refusal};
use super::recognise::Placed;
use crate::measure::background::{Background, background};
use crate::measure::fourier::{fit, signal, spectrum};
use crate::measure::impulse::Impulse;
use crate::units::{Db, Hertz, SampleRate, Seconds};

/// What was sent, made ready for any number of captures.
pub struct Inverse {
    rate: SampleRate,
    pub placed: Placed,
    length: usize,
    sent: Vec<Complex<f64>>,
    one_over: Vec<Complex<f64>>,
    /// How much of each bin is looked at for what the response does not explain.
    inner: Vec<f64>,
    /// No more of a capture is looked at.
    most: usize,
}

/// A usable capture.
#[derive(Clone, Debug)]
pub struct Taken {
    /// Without its noise: for the margin and for speech.
    pub response: Impulse,
    /// With its noise, which the decay wants to see.
    pub raw: Impulse,
    /// Positive when the capture comes out longer.
    pub drift_ppm: f64,
    pub noise: Vec<BandNoise>,
    /// Of the whole capture while the sweep goes, re its noise.
    pub signal_to_noise: Db,
    /// In the pauses around the sweep; `None` without a pause before it.
    pub background: Option<Background>,
}

/// The longest response looked at, in seconds after the direct sound.
const LONGEST: f64 = 5.0;
/// The rest is looked at from so much over the sweep's lower edge.
const INNER: f64 = 1.5;
/// Noise is looked for up to here before the direct sound.
const EARLIEST: f64 = 0.45;
/// Sound by another way may be the loudest, up to so many seconds behind the direct one.
const BEHIND: f64 = 0.2;
/// The direct sound stands at least this high, re the loudest,
const DIRECT: f64 = 0.1;
/// and over the middle of what lies before the loudest: over the highest of that much noise.
const OVER_NOISE: f64 = 7.0;

/// What is known of the two clocks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Clocks {
    /// One device sends and captures.
    Same,
    /// Parts per million, from two sweeps: positive when the capture comes out longer.
    Apart(f64),
    /// To be told from the sweep itself.
    Unknown,
}

impl Inverse {
    /// Refused unless there is one sweep in it.
    pub fn new(sent: &[f32], rate: SampleRate) -> Result<Self, Refusal> {
        Self::for_captures(sent, rate, 2 * sent.len())
    }

    /// For captures of no more samples than these.
    pub fn for_captures(sent: &[f32], rate: SampleRate, most: usize) -> Result<Self, Refusal> {
        let sent = clean(sent);
        let placed = Placed::find(&sent, rate).ok_or(Refusal::NotASweep)?;
        let hz = f64::from(rate.get());
        let length = fit(most + (placed.end * hz) as usize);
        let bins = spectrum(&sent, length);
        let step = hz / length as f64;
        let one_over = inverse(&bins, &placed, step);
        // At the band's own edges a response rings on both sides of its gate.
        let inside = Placed { low: INNER * placed.low, high: placed.high / INNER.sqrt(), ..placed };
        let inner = (0..bins.len()).map(|k| band(k as f64 * step, &inside)).collect();
        Ok(Self { rate, placed, length, sent: bins, one_over, inner, most })
    }

    /// For the same sweep, so much softer.
    pub fn softer(&self, by: Db) -> Self {
        let scaled = |bins: &[Complex<f64>], by: Db| bins.iter().map(|bin| bin * by.ratio()).collect();
        Self { sent: scaled(&self.sent, -by), one_over: scaled(&self.one_over, by), inner: self.inner.clone(), ..*self }
    }

    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// What was captured before the sweep began.
    pub fn before<'a, T>(&self, captured: &'a [T]) -> &'a [T] {
        &captured[..self.frame(self.placed.start).min(captured.len())]
    }

    /// The last part of what was captured after it ended: as long as the part before.
    pub fn after<'a, T>(&self, captured: &'a [T]) -> &'a [T] {
        let length = self.frame(self.placed.start);
        let from = captured.len().saturating_sub(length).max(self.frame(self.placed.end));
        &captured[from.min(captured.len())..]
    }

    fn frame(&self, seconds: f64) -> usize {
        (seconds * f64::from(self.rate.get())) as usize
    }

    /// Each of several captures, over all cores.
    pub fn take_all(&self, captured: &[Vec<f32>], clocks: Clocks) -> Vec<Result<Taken, Refusal>> {
        captured.par_iter().map(|channel| self.take(channel, clocks)).collect()
    }

    pub fn take(&self, captured: &[f32], clocks: Clocks) -> Result<Taken, Refusal> {
        let hz = f64::from(self.rate.get());
        let captured = clean(&captured[..captured.len().min(self.most)]);
        if (captured.len() as f64) < (self.placed.end + 0.1) * hz {
            return Err(Refusal::TooShort { seconds: Seconds::new(captured.len() as f64 / hz) });
        }
        quality::clipping(&captured)?;
        let first = self.first(&captured);
        let drift = match clocks {
            Clocks::Same => 0.0,
            Clocks::Apart(ppm) if ppm.is_finite() => 1e-6 * ppm,
            Clocks::Apart(_) | Clocks::Unknown => drift::estimate(&first.early, &self.placed, hz),
        };
        let first = if drift == 0.0 { first } else { self.first(&drift::corrected(&captured, drift)) };
        let (gated, bands) = gate(&first.around, first.direct, hz);
        let evidence = self.evidence(&first, &gated, &bands);
        let noise = evidence.judge()?;
        let (low, high) = (Hertz::new(self.placed.low), Hertz::new(self.placed.high));

        let zero = (-first.from).max(0) as usize;
        // Lag 0 may lie before the stretch: silence is put in front of it.
        let ahead = first.from.max(0) as usize;
        let whole = |samples: Vec<f64>| {
            let samples = if ahead > 0 { [vec![0.0; ahead], samples].concat() } else { samples };
            Impulse::new(self.rate, samples, zero, low, high)
        };
        Ok(Taken {
            response: whole(gated).ok_or(Refusal::NotASweep)?,
            raw: whole(first.around).ok_or(Refusal::NotASweep)?,
            drift_ppm: 1e6 * drift,
            noise,
            signal_to_noise: evidence.signal_to_noise,
            background: background(self.before(&captured), self.after(&captured), self.rate),
        })
    }

    fn first(&self, captured: &[f64]) -> First {
        let hz = f64::from(self.rate.get());
        let bins = spectrum(captured, self.length);
        let all = signal(bins.iter().zip(&self.one_over).map(|(bin, inverse)| bin * inverse).collect(), self.length);
        // What can be a direct sound: lags for which the capture holds the whole sweep.
        let last = (captured.len() as f64 - self.placed.end * hz).max(1.0) as isize;
        let early = -(self.placed.start * hz) as isize;
        let size = |lag: isize| all[lag.rem_euclid(self.length as isize) as usize].abs();
        let loudest = (early..last).max_by(|a, b| size(*a).total_cmp(&size(*b))).unwrap_or(0);
        let direct = first_arrival(size, loudest, early.max(loudest - (BEHIND * hz) as isize));
        // The second harmonic's image ends the quiet before.
        let quiet = EARLIEST.min(0.6 * self.placed.slope * 2f64.ln()).max(2.0 * BEFORE);
        let from = direct - (quiet * hz) as isize;
        let count = (last - from).clamp(1, ((LONGEST + quiet) * hz) as isize) as usize;
        First {
            around: lags(&all, from, count),
            early: lags(&all, direct - (0.004 * hz) as isize, (0.06 * hz) as usize),
            from,
            direct: (direct - from) as usize,
            captured: bins,
            frames: captured.len(),
        }
    }

    /// What the capture is like beside what the response explains of it.
    fn evidence(&self, first: &First, gated: &[f64], bands: &[gate::Band]) -> Evidence {
        let mut turned = vec![0.0; self.length];
        for (n, sample) in gated.iter().enumerate() {
            turned[(first.from + n as isize).rem_euclid(self.length as isize) as usize] = *sample;
        }
        let response = spectrum(&turned, self.length);
        let within = |bin: &dyn Fn(usize) -> Complex<f64>| {
            let bins = self.inner.iter().enumerate().map(|(k, share)| bin(k) * share).collect();
            let mut samples = signal(bins, self.length);
            samples.truncate(first.frames);
            samples
        };
        let heard = within(&|k| first.captured[k]);
        let rest = within(&|k| first.captured[k] - self.sent[k] * response[k]);
        Evidence::new(&heard, &rest, &self.placed, f64::from(self.rate.get()), bands)
    }
}

/// A capture held against the sweep for the first time.
struct First {
    /// The response around the direct sound; sample 0 is lag `from`.
    around: Vec<f64>,
    early: Vec<f64>,
    from: isize,
    direct: usize,
    /// The capture's own spectrum.
    captured: Vec<Complex<f64>>,
    frames: usize,
}

/// The first lag that is loud enough (ISO 3382-1, A.2), looked for from `earliest` on.
fn first_arrival(size: impl Fn(isize) -> f64, loudest: isize, earliest: isize) -> isize {
    let mut sizes: Vec<f64> = (earliest..loudest).map(&size).collect();
    sizes.sort_by(f64::total_cmp);
    let middle = sizes.get(sizes.len() / 2).copied().unwrap_or(0.0);
    let least = (DIRECT * size(loudest)).max(OVER_NOISE * middle);
    (earliest..loudest).find(|lag| size(*lag) >= least).unwrap_or(loudest)
}

fn clean(samples: &[f32]) -> Vec<f64> {
    samples.iter().map(|sample| if sample.is_finite() { f64::from(*sample) } else { 0.0 }).collect()
}
