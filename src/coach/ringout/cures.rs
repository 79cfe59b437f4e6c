//! What helps more than a cut: moving things. From where and how it rings.
//!
//! Common practice: a ring below 200 Hz is a wall or a balcony behind the microphone; above 2 kHz the microphone sees
//! the horn; two tones between 500 Hz and 1.5 kHz a hand around it, or a lapel on a chest; an acoustic guitar's body
//! rings from 90 to 250 Hz. Halving the distance to the mouth is worth 6 dB, more than most cuts together.

use super::stop::Onset;
use crate::units::{Db, Hertz, SourceKind};

/// Something to move, in the order in which the cures are worth trying.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cure {
    /// Half the distance: +6 dB.
    CloserMicrophone,
    FewerOpen,
    /// The microphone sees the loudspeaker's horn.
    OutOfTheHorn,
    AwayFromTheWall,
    OpenTheHand,
    /// Cover its hole, or turn the polarity of its pickup.
    GuitarBody,
    /// It rings with one microphone alone.
    ThisMicrophone,
}

const LOW: Hertz = Hertz::new(200.0);
const HORN: Hertz = Hertz::new(2000.0);
const HAND: (Hertz, Hertz) = (Hertz::new(500.0), Hertz::new(1500.0));
const GUITAR: (Hertz, Hertz) = (Hertz::new(90.0), Hertz::new(250.0));
/// Short by more than this, no equaliser makes up for it.
pub const FAR_SHORT: Db = Db::new(6.0);

/// What to move for a ring; `onsets`: all that rang on this output so far.
pub fn for_ring(frequency: Hertz, kind: Option<SourceKind>, alone_of_many: bool, onsets: &[Onset]) -> Option<Cure> {
    let within = |(low, high): (Hertz, Hertz), at: Hertz| at >= low && at <= high;
    let broad = onsets.iter().any(|onset| {
        within(HAND, onset.frequency) && (onset.frequency.get() / frequency.get()).log2().abs() > 1.0 / 12.0
    });
    if kind == Some(SourceKind::AcousticGuitar) && within(GUITAR, frequency) {
        Some(Cure::GuitarBody)
    } else if frequency < LOW {
        Some(Cure::AwayFromTheWall)
    } else if within(HAND, frequency) && broad {
        Some(Cure::OpenTheHand)
    } else if frequency > HORN {
        Some(Cure::OutOfTheHorn)
    } else {
        alone_of_many.then_some(Cure::ThisMicrophone)
    }
}

/// What to do where an output ends `short` of its target, or its cuts bought too little.
pub fn for_the_end(short: Db, poor: bool, open: usize, last: Option<Cure>) -> Option<Cure> {
    if short > FAR_SHORT {
        Some(Cure::CloserMicrophone)
    } else if short > Db::ZERO || poor {
        Some(last.unwrap_or(if open > 2 { Cure::FewerOpen } else { Cure::CloserMicrophone }))
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_it_rings_tells_what_to_move() {
        let rang = |hz: f64| Onset { frequency: Hertz::new(hz), fader: Db::ZERO, after: 0 };
        let cure = |hz: f64, kind, onsets: &[Onset]| for_ring(Hertz::new(hz), kind, false, onsets);
        assert_eq!(cure(150.0, None, &[]), Some(Cure::AwayFromTheWall));
        assert_eq!(cure(150.0, Some(SourceKind::AcousticGuitar), &[]), Some(Cure::GuitarBody));
        assert_eq!(cure(3000.0, Some(SourceKind::Choir), &[]), Some(Cure::OutOfTheHorn));
        assert_eq!(cure(800.0, None, &[rang(800.0)]), None);
        assert_eq!(cure(800.0, None, &[rang(800.0), rang(1100.0)]), Some(Cure::OpenTheHand));
        assert_eq!(for_ring(Hertz::new(1700.0), None, true, &[]), Some(Cure::ThisMicrophone));
    }

    #[test]
    fn what_is_missing_at_the_end() {
        assert_eq!(for_the_end(Db::ZERO, false, 4, Some(Cure::OutOfTheHorn)), None);
        assert_eq!(for_the_end(Db::ZERO, true, 1, None), Some(Cure::CloserMicrophone));
        assert_eq!(for_the_end(Db::new(3.0), false, 4, None), Some(Cure::FewerOpen));
        assert_eq!(for_the_end(Db::new(3.0), false, 4, Some(Cure::OutOfTheHorn)), Some(Cure::OutOfTheHorn));
        assert_eq!(for_the_end(Db::new(7.0), false, 4, Some(Cure::OutOfTheHorn)), Some(Cure::CloserMicrophone));
    }
}
