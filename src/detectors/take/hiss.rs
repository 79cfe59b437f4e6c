//! Hiss: noise from 2 kHz up that stays where nobody plays.
//!
//! In: the spectra (mean squares, Hann) of the looks with least over 2 kHz. A look is a *pause* where all from 150 Hz up lies
//! 15 dB under the programme, and *noise* where its bins are as uneven as noise is: in groups of 32 the geometric mean over
//! the mean is e^−γ = 0.56 for exponentially distributed powers (0.59 where a Hann window ties neighbours together), weighed
//! by power; notes stay under 0.45, and a click lies over 0.7. Three such looks within 2 dB are hiss. The level is that of
//! the groups' medians over ln 2, so that the rest of a note adds nothing. Out: its mean square; nothing where notes never
//! stop.

use std::f64::consts::LN_2;
use std::ops::Range;

use crate::units::{Db, Dbfs};

const GROUP: usize = 32;
const UNEVEN: Range<f64> = 0.45..0.7;
const PAUSE: Db = Db::new(-15.0);
const STEADY: f64 = 1.6;
const FEWEST: usize = 3;
/// A Hann window counts noise one and a half times.
const NOISE_WIDTH: f64 = 1.5;

/// The level of the hiss in `quiet` looks; `sound` and `high` are the bins from which programme and hiss count.
pub(super) fn floor<'a>(
    quiet: impl Iterator<Item = &'a [f32]>,
    (sound, high): (usize, usize),
    programme: Dbfs,
) -> Option<Dbfs> {
    let all = |spectrum: &[f32]| spectrum[sound..].iter().map(|&power| f64::from(power)).sum::<f64>();
    let pauses = quiet.filter(|spectrum| Dbfs::from_power(all(spectrum)) - programme < PAUSE);
    let mut levels: Vec<f64> = pauses.filter_map(|spectrum| noise(&spectrum[high..])).collect();
    levels.sort_unstable_by(f64::total_cmp);
    let lowest = *levels.first()?;
    let steady = levels.partition_point(|&level| level < STEADY * lowest);
    (steady >= FEWEST).then(|| Dbfs::from_power(levels[steady / 2] / NOISE_WIDTH))
}

/// The power of a spectrum that is noise.
fn noise(spectrum: &[f32]) -> Option<f64> {
    let (mut level, mut evenness, mut all) = (0.0, 0.0, 0.0);
    for group in spectrum.chunks_exact(GROUP) {
        let mut powers: [f32; GROUP] = group.try_into().ok()?;
        powers.sort_unstable_by(f32::total_cmp);
        level += GROUP as f64 * f64::from(powers[GROUP / 2 - 1] + powers[GROUP / 2]) / (2.0 * LN_2);
        all += powers.iter().map(|&power| f64::from(power)).sum::<f64>();
        let mean_log = powers.iter().map(|&power| f64::from(power.max(1e-30)).ln()).sum::<f64>() / GROUP as f64;
        evenness += GROUP as f64 * mean_log.exp();
    }
    UNEVEN.contains(&(evenness / all)).then_some(level)
}
