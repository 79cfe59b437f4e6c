//! Two tracks of one machine that should lie on each other and don't: one half of a pair began late.
//!
//! In: two tracks of one rate, one start and one length that follow each other. Up to a dozen seconds of both are held against
//! each other, sample by sample, within 60 ms; where most agree on one lag of 8 ms and more, the tracks are as loud as each
//! other and alike at that lag, one of them is shifted. Nearer lags are two microphones on one source, quieter ones a
//! neighbour's spill (sound goes 3 m in 9 ms, and is 10 dB down by then). Out: by how much the second lies later.
//! Edge cases: silence tells nothing; fewer than five seconds that tell something give `None`.

use super::align::{REACH, Reader, STANDS_OUT, Side, median, tops_of};
use crate::units::Seconds;

const PLACES: u32 = 12;
const FEWEST: usize = 5;
/// s.
const LOOK: f64 = 1.0;
/// s.
const LEAST: f64 = 0.008;
/// s.
const AGREE: f64 = 0.0002;
/// Of the seconds that tell something.
const SHARE: f64 = 0.6;
const ALIKE: f64 = 0.5;
/// As loud as each other: within 6 dB, on power.
const AS_LOUD: f64 = 4.0;

/// What a second tells.
struct Told {
    lag: f64,
    /// Correlation at the lag, either way up.
    alike: f64,
    /// Power of the second over the first.
    louder: f64,
}

/// `length`: of both.
pub fn shift(first: Side, second: Side, length: Seconds) -> Option<Seconds> {
    let (mut a, mut b) = (Reader::open(first.path)?, Reader::open(second.path)?);
    let rate = f64::from(b.rate.get());
    let room = length.get() - LOOK - 2.0 * REACH;
    let look = |place: u32| {
        let from = REACH + room * f64::from(place) / f64::from(PLACES - 1);
        let (ours, theirs) = (a.stretch(from, LOOK)?, b.stretch(from - REACH, LOOK + 2.0 * REACH)?);
        let (lag, _) = tops_of(&ours, &theirs, rate, STANDS_OUT).first().copied()?;
        let theirs = &theirs[(lag * rate).round() as usize..];
        let (mut aa, mut bb, mut ab) = (0.0, 0.0, 0.0);
        for (&a, &b) in ours.iter().zip(theirs) {
            let (a, b) = (f64::from(a), f64::from(b));
            (aa, bb, ab) = (aa + a * a, bb + b * b, ab + a * b);
        }
        Some(Told { lag: lag - REACH, alike: ab.abs() / (aa * bb).sqrt(), louder: bb / aa })
    };
    let told: Vec<Told> = (0..PLACES).filter_map(look).collect();
    let lag = median(told.iter().map(|told| told.lag).collect())?;
    let agreed: Vec<&Told> = told.iter().filter(|told| (told.lag - lag).abs() < AGREE).collect();
    let alike = median(agreed.iter().map(|told| told.alike).collect())?;
    let louder = median(agreed.iter().map(|told| told.louder).collect())?;
    let most = agreed.len() >= FEWEST && agreed.len() as f64 >= SHARE * told.len() as f64;
    let is_pair = alike >= ALIKE && (1.0 / AS_LOUD..=AS_LOUD).contains(&louder);
    (most && is_pair && lag.abs() >= LEAST).then_some(Seconds::new(lag))
}
