//! What a line check says and hears said, as values. Sentences are made in `view`.

use super::setup::Way;
use crate::detectors::Hum;
use crate::units::{ChannelId, Db, Dbfs, Seconds};

/// The one thing to do next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineAdvice {
    pub step: LineStep,
    /// The input it is about.
    pub channel: Option<ChannelId>,
    pub why: LineWhy,
}

/// What to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LineStep {
    /// Nobody touches anything for three seconds: floors and hum are heard.
    Quiet,
    /// This input is to be tapped, or played.
    Call {
        way: Way,
        why: Call,
    },
    /// Two plugs sit in each other's sockets.
    Swap {
        with: ChannelId,
    },
    /// Three went round: this one sits in `second`, that one in `third`, the third here.
    Rotate {
        second: ChannelId,
        third: ChannelId,
    },
    /// This one sits in a socket of which nothing else is known.
    Move {
        on: ChannelId,
    },
    /// Two inputs come in on one channel.
    BothOn {
        on: ChannelId,
    },
    /// A condenser stays silent: is +48 on for it? A question, never a claim.
    AskPhantom,
    /// Before +48 is touched: everything muted, nobody at the plugs.
    MuteForPhantom,
    PhantomOn,
    /// Ten seconds until it stands.
    PhantomWait,
    /// Nothing came: another cable, the switch.
    NotHeard,
    /// The same signal arrives on another channel too.
    Copied {
        to: ChannelId,
    },
    HumCure(HumCure),
    /// The line's own noise is far too high.
    Noisy,
    /// A sound in the middle of a pair.
    Middle {
        with: ChannelId,
        way: Way,
        again: bool,
    },
    /// The pair pulls against each other.
    Reversed {
        with: ChannelId,
    },
    /// May a quiet sound come from the loudspeakers?
    AskSound,
    /// It plays on one side: where is it heard?
    WhichSide {
        side: Side,
    },
    SwapSpeakers,
    SpeakerSilent {
        side: Side,
    },
    /// Two sounds, one after the other: which has more body?
    Fuller,
    /// The same by the microphone in the hall.
    RoomListens,
    SpeakersReversed,
    /// Assembly: the microphone, on whatever line it is.
    AnyTap,
    /// Assembly: the video, on whatever line it is.
    AnyPlay,
    /// Assembly: is the microphone heard in the hall, on both sides?
    AskHall,
    Over,
}

/// Why an input is called.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Call {
    First,
    /// Nothing was heard the first time.
    Again,
    /// Something was put right.
    Recheck,
    /// Another input came in on this one's channel: where does this one come in?
    Follow {
        from: ChannelId,
    },
    /// It came in on `on`, whose own microphone works: was that one tapped?
    Instead {
        on: ChannelId,
    },
    /// Someone speaks or plays there, so that nothing can be told.
    TalkOver,
    /// Another channel hears it as well: once more, to compare.
    Compare {
        with: ChannelId,
    },
}

/// In this order; never a mains earth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HumCure {
    /// The switch on the DI box that lifts its audio ground.
    Lift,
    /// The laptop runs on its battery for a moment.
    Charger,
    /// The lead away from mains leads, across them at a right angle.
    LeadAway,
    OtherLead,
}

/// Of the hall, seen from the audience.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Left,
    Right,
}

/// What the person says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineAnswer {
    /// Done, or yes.
    Done,
    No,
    Skip,
    Left,
    Right,
    Both,
    Nowhere,
    First,
    Second,
    /// No difference.
    Same,
    /// Once more.
    Again,
}

/// What the loudspeakers are to play.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TestSound {
    #[default]
    Silent,
    Left,
    Right,
    Same,
    Reversed,
}

/// The evidence.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineWhy {
    /// Where the call was heard.
    pub heard_on: Option<ChannelId>,
    /// When it was, on the audio clock.
    pub heard_at: Option<Seconds>,
    /// Over that line's floor.
    pub rise: Option<Db>,
    /// The line's floor.
    pub floor: Option<Dbfs>,
    pub hum: Option<Hum>,
    /// How much two lines were alike, 0 to 1.
    pub alike: Option<f64>,
    /// Inputs that are decided, of all.
    pub checked: usize,
    pub inputs: usize,
}

/// What the line ears are asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineRequest {
    /// Floors and hum anew, on every line.
    RestartAll,
    /// Compare these two from now on.
    Watch(Option<(ChannelId, ChannelId)>),
}

/// How an input stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum LineOutcome {
    #[default]
    Open,
    /// Heard where it belongs.
    Arrived,
    /// It came in elsewhere and stayed there.
    Elsewhere(ChannelId),
    /// Called, and never heard.
    Silent,
    Skipped,
}

/// All that is known of an input.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct LineResult {
    pub outcome: LineOutcome,
    /// It was wrong, and was put right.
    pub put_right: bool,
    /// Hum that is still there.
    pub hum: Option<Hum>,
    pub noisy: Option<Dbfs>,
    pub copied_to: Option<ChannelId>,
    /// Against its partner: upside down?
    pub reversed: Option<bool>,
    /// +48 was off for it.
    pub phantom_off: bool,
}

impl LineResult {
    /// Heard where it belongs, and nothing wrong with it.
    pub fn is_right(&self) -> bool {
        self.outcome == LineOutcome::Arrived && !self.has_fault()
    }

    /// Heard, and something is wrong with it.
    pub fn has_fault(&self) -> bool {
        matches!(self.outcome, LineOutcome::Elsewhere(_) | LineOutcome::Silent)
            || self.hum.is_some()
            || self.noisy.is_some()
            || self.copied_to.is_some()
            || self.reversed == Some(true)
    }
}

/// What is known of the loudspeakers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SpeakerResult {
    /// Someone said yes to the sound.
    pub checked: bool,
    pub swapped: bool,
    pub silent: [bool; 2],
    pub one_for_both: bool,
    /// `None`: not told.
    pub reversed: Option<bool>,
    pub put_right: bool,
}

impl SpeakerResult {
    pub fn has_fault(&self) -> bool {
        self.swapped || self.silent.contains(&true) || self.reversed == Some(true)
    }
}
