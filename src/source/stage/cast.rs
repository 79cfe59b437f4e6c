//! Who can play, what each is like, and where all stand at a school's show.
//!
//! Places are metres: x to the audience's right of the middle, y upstage of the front edge. Levels are
//! chosen so that every *right* trim (show peak at −6 dBFS) lies well within the knob's travel.

use super::sounds::BEAT;
use crate::units::{Db, Dbfs, Seconds, SourceKind};

/// Someone on the stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Player {
    Speaker,
    Narrator,
    Soloist,
    Choir,
    Keys,
    Bass,
    Kick,
    Snare,
    Overhead,
    Triangle,
    Playback,
}

impl Player {
    pub const ALL: [Self; 11] = [
        Self::Speaker,
        Self::Narrator,
        Self::Soloist,
        Self::Choir,
        Self::Keys,
        Self::Bass,
        Self::Kick,
        Self::Snare,
        Self::Overhead,
        Self::Triangle,
        Self::Playback,
    ];

    pub const fn kind(self) -> SourceKind {
        match self {
            Self::Speaker => SourceKind::Speech,
            Self::Narrator => SourceKind::Headset,
            Self::Soloist => SourceKind::SoloVocal,
            Self::Choir => SourceKind::Choir,
            Self::Keys => SourceKind::Keys,
            Self::Bass => SourceKind::Bass,
            Self::Kick => SourceKind::Kick,
            Self::Snare => SourceKind::Snare,
            Self::Overhead => SourceKind::Overhead,
            Self::Triangle => SourceKind::Percussion,
            Self::Playback => SourceKind::Playback,
        }
    }

    /// How much louder the player is on show night than when shy.
    pub const fn show_lift(self) -> Db {
        Db::new(match self {
            Self::Narrator => 9.0,
            Self::Choir | Self::Bass => 4.0,
            Self::Playback => 1.0,
            _ => 6.0,
        })
    }

    /// The least and the most active crest of ordinary playing.
    pub(super) const fn crest(self) -> (Db, Db) {
        let (least, most) = match self {
            Self::Speaker => (12.0, 18.0),
            Self::Narrator => (12.0, 20.0),
            Self::Soloist => (10.0, 16.0),
            Self::Choir | Self::Bass => (8.0, 14.0),
            Self::Keys => (8.0, 16.0),
            Self::Kick => (14.0, 22.0),
            Self::Snare => (16.0, 24.0),
            Self::Overhead => (14.0, 20.0),
            Self::Triangle => (18.0, 28.0),
            Self::Playback => (6.0, 14.0),
        };
        (Db::new(least), Db::new(most))
    }

    /// Whether a microphone takes the player up, which hears others too; else a line.
    pub const fn acoustic(self) -> bool {
        !matches!(self, Self::Keys | Self::Bass | Self::Playback)
    }

    /// The noise of the channel at the right trim: microphone, room and preamp.
    pub(super) const fn floor(self) -> Dbfs {
        Dbfs::new(match self {
            Self::Speaker => -72.0,
            Self::Narrator => -69.0,
            Self::Soloist => -76.0,
            Self::Choir => -60.0,
            Self::Keys => -82.0,
            Self::Bass => -77.0,
            Self::Kick => -80.0,
            Self::Snare => -78.0,
            Self::Overhead => -67.0,
            Self::Triangle => -73.0,
            Self::Playback => -90.0,
        })
    }

    /// The gain at which show night peaks at −6 dBFS, before the seed moves it by up to 2 dB. The
    /// microphones' sensitivities suit their places, so that their knobs end near each other.
    pub(super) const fn right_gain(self) -> Db {
        Db::new(match self {
            Self::Keys => 25.0,
            Self::Bass => 28.0,
            Self::Playback => 23.0,
            _ => 37.0,
        })
    }

    /// From the player to the own microphone, metres.
    pub(super) const fn reach(self) -> f64 {
        match self {
            Self::Speaker => 0.3,
            Self::Narrator => 0.05,
            Self::Soloist => 0.08,
            Self::Choir => 1.2,
            Self::Overhead => 0.9,
            Self::Triangle => 0.4,
            _ => 0.1,
        }
    }

    /// How loud the player is at 1 m, against someone who speaks up.
    pub(super) const fn strength(self) -> Db {
        Db::new(match self {
            Self::Soloist => 6.0,
            Self::Choir => 12.0,
            Self::Kick | Self::Snare | Self::Overhead => 24.0,
            Self::Triangle => 3.0,
            _ => 0.0,
        })
    }

    /// Silence between two phrases, seconds.
    pub(super) const fn rest(self) -> (f64, f64) {
        match self {
            Self::Speaker => (0.4, 1.1),
            Self::Narrator => (0.3, 0.9),
            Self::Soloist => (0.6, 1.6),
            Self::Choir => (1.2, 2.2),
            Self::Keys | Self::Bass | Self::Playback => (1.2, 2.4),
            Self::Kick | Self::Snare | Self::Overhead | Self::Triangle => (0.6, 2.0),
        }
    }

    /// The beat that those who play in time wait for; 0 for the others.
    pub(super) const fn beat(self) -> Seconds {
        match self {
            Self::Speaker | Self::Narrator | Self::Soloist | Self::Choir => Seconds::ZERO,
            _ => Seconds::new(BEAT),
        }
    }
}

/// One on stage and the inputs that take them up.
pub(super) struct Part {
    pub player: Player,
    /// Names and places of the inputs: two for the choir.
    pub inputs: &'static [(&'static str, (f64, f64))],
}

/// The school show.
pub(super) const SCHOOL_SHOW: [Part; 11] = [
    Part { player: Player::Speaker, inputs: &[("Lectern", (-3.6, 0.6))] },
    Part { player: Player::Narrator, inputs: &[("Narrator", (-1.8, 1.2))] },
    Part { player: Player::Soloist, inputs: &[("Soloist", (0.4, 1.0))] },
    Part { player: Player::Choir, inputs: &[("Choir left", (-1.4, 4.6)), ("Choir right", (0.6, 4.6))] },
    Part { player: Player::Keys, inputs: &[("Keys", (3.6, 1.6))] },
    Part { player: Player::Bass, inputs: &[("Bass", (4.2, 3.6))] },
    Part { player: Player::Kick, inputs: &[("Kick", (3.0, 4.4))] },
    Part { player: Player::Snare, inputs: &[("Snare", (2.5, 4.8))] },
    Part { player: Player::Overhead, inputs: &[("Overhead", (2.9, 5.2))] },
    Part { player: Player::Triangle, inputs: &[("Triangle", (-3.4, 4.2))] },
    Part { player: Player::Playback, inputs: &[("Laptop", (4.6, 0.4))] },
];
