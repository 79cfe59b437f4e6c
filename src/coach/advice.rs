//! What the coach says, as values: one step, its channel, and why. Sentences are made in `view`.

use super::targets::{Need, Passage, Targets};
use crate::detectors::{Heard, SetAside, Tops};
use crate::units::{ChannelId, Db, Dbfs, Hertz, Seconds};

/// The one thing to do next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advice {
    pub step: Step,
    /// The input it is about.
    pub channel: Option<ChannelId>,
    pub why: Why,
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// Ask the performer for this; it is being listened to.
    Listen {
        passage: Passage,
        again: bool,
    },
    /// Enough was heard: "was that as loud as it gets?"
    ConfirmLoudest,
    /// One outburst far above the rest that sounds like the source: "was that meant?"
    ConfirmMeant {
        peak: Dbfs,
    },
    /// Only the room was heard for a while: is it switched on, is anyone at it?
    CheckSource,
    Trim {
        turn: Turn,
        by: Amount,
        cause: TrimCause,
        again: bool,
    },
    /// The wrong knob moved: this one goes back where it was.
    PutBack {
        turn: Turn,
        by: Amount,
    },
    /// The knob did not move in two askings: is it at its limit?
    NoMovement {
        turn: Turn,
    },
    /// Flat tops below full scale: the overload lies before this meter.
    SourceOverload,
    /// With one feed: is the desk's lamp lit at the flat tops?
    AskLampLit,
    /// The knob is at its lower limit and the level still too high.
    Pad,
    /// The knob is at its upper limit and the level still too low.
    WrongInput,
    /// The sound is near its noise: more gain lifts both.
    MoveCloser,
    LowCut {
        at: Hertz,
    },
    /// Three trims were asked; this player varies.
    LeaveIt {
        varies: Db,
    },
    /// One feed: listen to this channel only.
    PressSolo,
    /// One feed: something is still heard with nothing pressed.
    ReleaseSolo,
    /// Room microphone only: did the lamp flash?
    AskLamp,
    /// After the last turn: the loudest song, everyone at once.
    PlayTogether,
    /// Every channel is set or left alone.
    AllSet,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    Down,
    Up,
}

impl Turn {
    pub const fn opposite(self) -> Self {
        match self {
            Self::Down => Self::Up,
            Self::Up => Self::Down,
        }
    }
}

/// Why a trim is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TrimCause {
    Clipped,
    TooHigh,
    TooLow,
}

/// A turn that a hand can follow: 2, 3, 4, 6, 8 or 10 dB.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Amount(u8);

impl Amount {
    const STEPS: [u8; 6] = [2, 3, 4, 6, 8, 10];
    pub const LARGEST: Self = Self(10);

    /// The step nearest to `by` (without its sign); of two equally near the safer one: the larger DOWN, the smaller UP.
    pub fn nearest(by: Db, turn: Turn) -> Self {
        let by = by.get().abs().min(10.0);
        let distance = |step: u8| (f64::from(step) - by).abs();
        let mut best = Self::STEPS[0];
        for step in Self::STEPS {
            let nearer = distance(step) < distance(best) - 1e-9;
            let even = (distance(step) - distance(best)).abs() <= 1e-9;
            if nearer || (even && turn == Turn::Down) {
                best = step;
            }
        }
        Self(best)
    }

    pub const fn db(self) -> u8 {
        self.0
    }

    /// With its sign.
    pub fn change(self, turn: Turn) -> Db {
        let db = Db::new(f64::from(self.0));
        if turn == Turn::Down { -db } else { db }
    }
}

/// The evidence behind a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Why {
    /// Loudest peak that counts.
    pub peak: Dbfs,
    pub window: Option<(Dbfs, Dbfs)>,
    pub show_lift: Db,
    pub active_level: Dbfs,
    pub floor: Option<Dbfs>,
    pub active: Seconds,
    pub hits: u32,
    pub need: Option<Need>,
    /// What the performer is asked for.
    pub passage: Option<Passage>,
    pub tops: Tops,
    pub set_aside: Option<SetAside>,
    pub rumble: f64,
    pub unseen: Unseen,
}

impl Why {
    /// The numbers of a channel, with no target yet.
    pub fn of(heard: &Heard, tops: &Tops, unseen: Unseen) -> Self {
        Self {
            peak: heard.loudest,
            active_level: heard.activity.active_level,
            floor: heard.activity.floor,
            active: heard.active,
            hits: heard.hits,
            tops: *tops,
            set_aside: heard.set_aside,
            rumble: heard.rumble,
            window: None,
            show_lift: Db::ZERO,
            need: None,
            passage: None,
            unseen,
        }
    }

    /// With the targets that it is judged by.
    pub fn against(self, targets: &Targets) -> Self {
        Self {
            window: Some(targets.window()),
            show_lift: targets.show_lift,
            need: Some(targets.need),
            passage: Some(targets.passage),
            ..self
        }
    }
}

/// What can't be seen from here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unseen {
    /// All channels by USB: not how loud it is in the room.
    RoomLevel,
    /// One feed: not the channels that aren't being listened to.
    OtherChannels,
    /// A room microphone: not the inputs, nor whether they clip.
    Inputs,
}

/// A channel's state: a word and a shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChannelState {
    NotHeard,
    Low,
    Set,
    High,
    Clipped,
    Lost,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_that_a_hand_can_follow() {
        let down = |by: f64| Amount::nearest(Db::new(by), Turn::Down).db();
        let up = |by: f64| Amount::nearest(Db::new(by), Turn::Up).db();
        assert_eq!([1.0, 2.4, 5.0, 7.0, 9.0, 14.0].map(down), [2, 2, 6, 8, 10, 10]);
        assert_eq!([1.0, 2.4, 5.0, 7.0, 9.0, 14.0].map(up), [2, 2, 4, 6, 8, 10]);
        assert_eq!(down(-6.2), 6);
    }
}
