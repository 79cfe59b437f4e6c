//! What makes a sweep doubtful beyond a single capture: hum, an input that rides its own level, a chain that gives less
//! when it is louder, a room that moved.
//!
//! In: captures as amplitudes, their responses. Thresholds: a mains family with half of the noise from 80 Hz to 2 kHz
//! hides what it hides alone; pauses of a chain that leaves its gain alone lie within 3 dB of each other; 6 dB softer is
//! the same loop within 1 dB, and where all peaks are off alike by more than half of what is allowed, the chain is.

use rayon::prelude::*;

use super::{Loops, NoSweep};
use crate::measure::margin::LoopGain;
use crate::measure::pauses::{Steps, hum};
use crate::measure::sweep::{Agreement, Inverse, Refusal, Taken, agreement};
use crate::units::{Db, Dbfs, Hertz};

/// Share of the noise.
const HUMS: f64 = 0.5;
/// Hum under this hides nothing.
const AUDIBLE: Dbfs = Dbfs::new(-70.0);
/// From the output's level to what a microphone brings of it.
const LOST_ON_THE_WAY: Db = Db::new(40.0);
/// Pause before over pause after.
const RIDES: Db = Db::new(3.0);
/// At the peaks, all to one side.
const BENT: Db = Db::new(0.5);

/// Why nothing stands out at the highest level allowed.
pub(super) fn hidden(
    taken: &[Result<Taken, Refusal>],
    captured: &[Vec<f32>],
    inverse: &Inverse,
    level: Dbfs,
    sound: Option<f64>,
) -> NoSweep {
    let refusals = || taken.iter().enumerate().filter_map(|(channel, taken)| Some((channel, *taken.as_ref().err()?)));
    let audible = |samples: &[f32]| Steps::new(samples, inverse.rate()).is_some_and(|steps| steps.quiet > AUDIBLE);
    let humming = captured.iter().enumerate().find_map(|(channel, samples)| {
        let pause = inverse.before(samples);
        let (mains, share) = hum(pause, inverse.rate()).filter(|_| audible(pause))?;
        (share > HUMS).then_some(NoSweep::Hum { channel, mains, share })
    });
    let least = refusals().find_map(|(_, why)| match why {
        Refusal::TooNoisy { octave, signal_to_noise } => Some((octave, signal_to_noise)),
        _ => None,
    });
    let silent = refusals().all(|(_, why)| matches!(why, Refusal::NoSignal { .. }));
    // A way to a microphone takes less than this.
    let arrives = |samples: &Vec<f32>| {
        Steps::new(inverse.before(samples), inverse.rate()).is_none_or(|pause| level - pause.quiet > LOST_ON_THE_WAY)
    };
    match humming {
        Some(hum) => hum,
        None if silent && captured.iter().all(arrives) => NoSweep::NotConnected { level },
        None if silent || least.is_some() => NoSweep::TooSoft { level, sound, least },
        None => refusals()
            .find(|(_, why)| !matches!(why, Refusal::NoSignal { .. }))
            .map_or(NoSweep::NotConnected { level }, |(channel, why)| NoSweep::Unfit { channel, why }),
    }
}

/// An input that turns itself down while it is loud is low in the pause after it.
pub(super) fn riding(captured: &[Vec<f32>], inverse: &Inverse) -> Result<(), NoSweep> {
    let rides = |(channel, samples): (usize, &Vec<f32>)| {
        let [before, after] =
            [inverse.before(samples), inverse.after(samples)].map(|part| Steps::new(part, inverse.rate()));
        let pause = before?.quiet - after?.quiet;
        (pause > RIDES).then_some(NoSweep::RidesItsLevel { channel, pause })
    };
    captured.iter().enumerate().find_map(rides).map_or(Ok(()), Err)
}

/// The louder sweep against the softer one.
pub(super) fn differing(louder: &Loops, softer: &Loops) -> Result<(), NoSweep> {
    let differs = |(channel, pair): (usize, (&_, &_))| {
        let (Ok((_, louder)), Ok((_, softer))): (&Result<(Taken, LoopGain), Refusal>, &_) = pair else { return None };
        let Agreement { worst, at } = agreement(louder, softer).filter(|agreement| !agreement.holds())?;
        let off: Vec<Db> =
            louder.margin().peaks.iter().filter_map(|peak| lost(louder, softer, peak.frequency)).collect();
        let alike = !off.is_empty() && off.iter().all(|off| *off > BENT);
        let missing = off.iter().copied().fold(Db::ZERO, Db::max);
        Some(if alike {
            NoSweep::Limited { channel, missing }
        } else {
            NoSweep::Unfit { channel, why: Refusal::Moved { worst, at } }
        })
    };
    louder.par_iter().zip(softer).enumerate().find_map_first(differs).map_or(Ok(()), Err)
}

/// How much less gain the louder sweep found.
fn lost(louder: &LoopGain, softer: &LoopGain, at: Hertz) -> Option<Db> {
    Some(softer.at(at)? - louder.at(at)?)
}
