//! What makes a capture unfit, each with its numbers.
//!
//! In: levels in steps of 50 ms of what was captured within the sweep's band, and of the *rest*: the capture without
//! what the response explains of it. A rest that stands out once and shortly is a bang; one that stands out outside the
//! sweep too is somebody talking or playing; one that stands out only while the sweep sounds is a chain that bends or
//! rides its own level. Thresholds are practice values; all are said beside the number that passed them.

use super::gate::Band;
use super::recognise::Placed;
use crate::units::{Db, Dbfs, Hertz, Seconds};

/// Why a capture is not used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// What was sent holds no single exponential sweep.
    NotASweep,
    /// The capture ends before the sweep.
    TooShort { seconds: Seconds },
    /// Nothing of the sweep arrived, and it is quiet.
    NoSignal { level: Dbfs },
    /// Flat tops at a repeated maximum.
    Clipped { peak: Dbfs, places: usize },
    /// Sound arrived, but it is not the sweep. `explained` is the share of its power that could be, 0 to 1.
    WrongChannel { explained: f64, level: Dbfs },
    /// One short loud noise.
    DoorSlam { at: Seconds, over_sweep: Db },
    /// Something else sounded for `seconds`.
    Talker { seconds: Seconds, over_sweep: Db },
    /// What came back does not follow the sweep in a straight line: limited, compressed, or overdriven on the way.
    Limited { bent: Db },
    /// An octave whose response stands less than 15 dB over its noise.
    TooNoisy { octave: Hertz, signal_to_noise: Db },
    /// From somewhere on it came back so much later (below 0: earlier) than clocks can be apart.
    SoundLost { by: Seconds },
    /// The two sweeps differ: a door or a person has moved.
    Moved { worst: Db, at: Hertz },
}

/// A band of the response and the noise left in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandNoise {
    pub frequency: Hertz,
    pub signal_to_noise: Db,
    /// What the noise alone would read as gain at one frequency.
    pub noise_gain: Db,
}

pub(super) struct Evidence {
    /// Share of the captured power that the response accounts for.
    pub explained: f64,
    pub signal_to_noise: Db,
    level: Dbfs,
    heard: Vec<f64>,
    rest: Vec<f64>,
    bands: Vec<Band>,
    first: usize,
    last: usize,
}

const STEP_SECONDS: f64 = 0.05;
/// A response that explains less than this share is none of the sweep's.
const EXPLAINED: f64 = 0.3;
/// The rest stands out by this over its own quiet parts,
const STANDS_OUT: f64 = 12.0;
/// and matters when it is no more than this under the sweep.
const MATTERS: f64 = 30.0;
/// Harmonics of a loudspeaker that is not driven hard stay below this, re the sweep: some 5 per cent.
const BENT: f64 = -23.0;
/// A chain's own harmonics are less than this share of what they come from.
const FOLLOWS: f64 = 0.25;
const BANG_SECONDS: f64 = 0.6;
/// Samples alike at the maximum that make a flat top, and how many of them make clipping.
const FLAT: usize = 3;
const PLACES: usize = 5;
/// The step that leaves it, as a share of the maximum.
const LEFT_BY: f64 = 0.02;
/// Response over noise in every octave from 250 Hz to 4 kHz.
const LEAST_RATIO: f64 = 15.0;
/// Below this level what has no sweep in it counts as quiet, dBFS.
const QUIET: f64 = -50.0;

impl Evidence {
    pub(super) fn new(heard: &[f64], rest: &[f64], placed: &Placed, rate: f64, bands: &[Band]) -> Self {
        let step = ((STEP_SECONDS * rate) as usize).max(1);
        let steps = |samples: &[f64]| -> Vec<f64> {
            samples.chunks_exact(step).map(|part| part.iter().map(|x| x * x).sum::<f64>() / step as f64).collect()
        };
        let (heard, rest) = (steps(heard), steps(rest));
        let last = ((placed.end / STEP_SECONDS) as usize).min(rest.len());
        let first = ((placed.start / STEP_SECONDS) as usize).min(last);
        let sum = |steps: &[f64]| steps[first..last].iter().sum::<f64>();
        let (whole, unexplained) = (sum(&heard), sum(&rest));
        let explained = if whole > 0.0 { (1.0 - unexplained / whole).clamp(0.0, 1.0) } else { 0.0 };
        Self {
            explained,
            signal_to_noise: Db::new(10.0 * (explained / (1.0 - explained).max(1e-12)).log10()),
            level: Dbfs::new(10.0 * (whole / (last - first).max(1) as f64).log10()),
            heard,
            rest,
            bands: bands.to_vec(),
            first,
            last,
        }
    }

    pub(super) fn judge(&self) -> Result<Vec<BandNoise>, Refusal> {
        if self.explained < EXPLAINED {
            return Err(self.stranger());
        }
        self.disturbance()?;
        let ratio = |signal: f64, noise: f64| Db::new(10.0 * (signal / noise.max(1e-300)).max(1e-10).log10());
        let noise = |band: &Band| BandNoise {
            frequency: Hertz::new(band.centre),
            signal_to_noise: ratio(band.energy, band.noise * band.kept.max(1) as f64),
            noise_gain: ratio(band.noise * band.kept.max(1) as f64, 1.0),
        };
        let bands: Vec<BandNoise> = self.bands.iter().map(noise).collect();
        let needed = |band: &&BandNoise| (250.0..=4000.0).contains(&band.frequency.get());
        let short = |band: &&BandNoise| band.signal_to_noise.get() < LEAST_RATIO;
        match bands.iter().filter(needed).find(short) {
            Some(band) => Err(Refusal::TooNoisy { octave: band.frequency, signal_to_noise: band.signal_to_noise }),
            None => Ok(bands),
        }
    }

    fn stranger(&self) -> Refusal {
        let (low, high) = (percentile(&self.heard, 0.1), percentile(&self.heard, 0.9));
        let steady = 10.0 * (high / low.max(1e-300)).log10() < 6.0;
        let quiet = self.level.get() < QUIET;
        if quiet && (steady || high <= 1e-12) {
            Refusal::NoSignal { level: self.level }
        } else {
            Refusal::WrongChannel { explained: self.explained, level: self.level }
        }
    }

    fn disturbance(&self) -> Result<(), Refusal> {
        let (first, last) = (self.first, self.last);
        let sweep = percentile(&self.heard[first..last], 0.5);
        let quiet = percentile(&self.rest, 0.2);
        let loud_above = (quiet * 10f64.powf(STANDS_OUT / 10.0)).max(sweep * 10f64.powf(-MATTERS / 10.0));
        let loud: Vec<usize> = (0..self.rest.len()).filter(|step| self.rest[*step] > loud_above).collect();
        if loud.is_empty() {
            return Ok(());
        }
        let most = loud.iter().fold(0.0, |most: f64, step| most.max(self.rest[*step]));
        let over_sweep = Db::new(10.0 * (most / sweep).log10());
        // A bang's own echo may stand out later; it is the loudest part that has to be short.
        let main: Vec<usize> = loud.iter().copied().filter(|step| self.rest[*step] > 0.01 * most).collect();
        let begin = main.first().copied().unwrap_or(0);
        let span = (main.last().map_or(0, |end| end + 1) - begin) as f64 * STEP_SECONDS;
        let seconds = Seconds::new(loud.len() as f64 * STEP_SECONDS);
        // The tail after the sweep's end is still the sweep's.
        let outside = loud.iter().filter(|step| **step + 1 < first || **step > last + 20).count();
        // What bends follows the sweep: it is nowhere else, and everywhere well under what it bends.
        let follows = outside == 0 && loud.iter().all(|step| self.rest[*step] < FOLLOWS * self.heard[*step]);
        if follows && seconds.get() >= 0.1 && over_sweep.get() > BENT {
            Err(Refusal::Limited { bent: over_sweep })
        } else if over_sweep.get() > -10.0 && span <= BANG_SECONDS {
            Err(Refusal::DoorSlam { at: Seconds::new(begin as f64 * STEP_SECONDS), over_sweep })
        } else if outside > 0 || over_sweep.get() > -10.0 {
            Err(Refusal::Talker { seconds, over_sweep })
        } else if seconds.get() >= 0.1 && over_sweep.get() > BENT {
            Err(Refusal::Limited { bent: over_sweep })
        } else {
            Ok(())
        }
    }
}

/// Flat tops: runs of samples alike at a repeated maximum, of either sign, that are left by a step. A slow wave's round
/// top stands still for some samples too, but it is left slowly.
pub(super) fn clipping(captured: &[f64]) -> Result<(), Refusal> {
    let most = captured.iter().fold(0.0, |most: f64, sample| most.max(sample.abs()));
    let (mut places, mut run, mut sign) = (0, 0, 0.0);
    for sample in captured {
        if sample.abs() >= 0.9999 * most && (run == 0 || sample * sign > 0.0) {
            (run, sign) = (run + 1, *sample);
        } else {
            places += usize::from(run >= FLAT && (sign - sample).abs() > LEFT_BY * most);
            run = 0;
        }
    }
    let peak = Dbfs::new(20.0 * most.log10());
    if most > 0.0 && places >= PLACES { Err(Refusal::Clipped { peak, places }) } else { Ok(()) }
}

fn percentile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get((sorted.len().saturating_sub(1) as f64 * share) as usize).copied().unwrap_or(0.0)
}
