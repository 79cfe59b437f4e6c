//! Is it loud enough at the last row: direct and reverberant level, and what is needed over the noise.
//!
//! Direct: sensitivity (1 W, 1 m) + 10 lg P − 20 lg d. With the room: 10 lg(1/d² + 1/Dc²) in the place of −20 lg d, so
//! that the fall stops beyond the critical distance Dc (L. Beranek, *Acoustics*). Needed: 15 dB over
//! the noise for speech, 10 dB for music (common practice). Levels in dB re 20 µPa, powers in watts. Edge cases: a seat at the box
//! itself counts as 1 m; several boxes are added as powers.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::{Metres, Watts};
use crate::units::{Db, Spl};

/// Nobody sits closer, and the figures begin here.
const NEAREST: f64 = 1.0;

/// Without any room.
pub fn direct(one_watt_one_metre: Spl, power: Watts, distance: Metres) -> Spl {
    Spl::new(one_watt_one_metre.get() + 10.0 * power.get().log10() - 20.0 * distance.get().log10())
}

/// With the room's share; `critical` is `None` where nothing is known of the room.
pub fn with_room(at_one_metre: Spl, distance: Metres, critical: Option<Metres>) -> Spl {
    let distance = distance.get().max(NEAREST);
    let room = critical.map_or(0.0, |critical| critical.get().powi(-2));
    Spl::new(at_one_metre.get() + 10.0 * (distance.powi(-2) + room).log10())
}

/// The sum of sounds that have nothing to do with each other.
pub fn incoherent_sum(levels: impl IntoIterator<Item = Spl>) -> Spl {
    Spl::new(10.0 * levels.into_iter().map(|level| 10f64.powf(level.get() / 10.0)).sum::<f64>().log10())
}

/// What must stand over the noise of the hall.
pub const OVER_NOISE_SPEECH: Db = Db::new(15.0);
pub const OVER_NOISE_MUSIC: Db = Db::new(10.0);

/// The level of one seat: one box at 1 m, the distance, the room.
pub fn seat(at_one_metre: Spl, distance: Metres, critical: Option<Metres>) -> Worked {
    let mut given = vec![(Q::SensitivityOfSpeaker, at_one_metre.get()), (Q::Distance, distance.get())];
    let mut assumes = vec![Assumption::NothingInTheWay, Assumption::PeakIsNotAverage];
    if let Some(critical) = critical {
        given.push((Q::CriticalDistance, critical.get()));
        assumes.push(Assumption::DiffuseRoom);
    }
    Worked::new(Sum::SeatLevel, &given, (Q::SoundLevel, with_room(at_one_metre, distance, critical).get()), &assumes)
}

/// What the seat needs.
pub fn needed(noise: Spl, over: Db) -> Worked {
    Worked::new(
        Sum::Needed,
        &[(Q::NoiseLevel, noise.get()), (Q::OverNoise, over.get())],
        (Q::NeededLevel, noise.get() + over.get()),
        &[Assumption::WorkingValue],
    )
}
