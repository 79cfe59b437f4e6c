//! What the ring-out says, as values: one step, the output it is about, and why.

use super::cures::Cure;
use super::cuts::{Change, Cut, Grab};
use super::setup::{Output, Place};
use super::stop::End;
use crate::detectors::Ring;
use crate::units::{ChannelId, Db, Hertz, Seconds};

/// The one thing to do next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RingAdvice {
    pub step: RingStep,
    /// `None` before the first and after the last.
    pub output: Option<Output>,
    pub why: RingWhy,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RingStep {
    /// Ears, distance, children, one hand on the fader: wants a yes.
    Cautions,
    /// Microphones and loudspeakers as in the show, equaliser flat, or as noted another evening.
    Prepare {
        noted: usize,
    },
    /// The fader so far from its show mark.
    SetFader {
        to: Db,
    },
    Open(Microphones),
    Up {
        by: u8,
        /// A tone hangs on: small steps.
        hanging: bool,
    },
    /// Listening.
    Wait,
    /// Only possible: does it die with the fader?
    DropToTest {
        by: u8,
    },
    Down {
        by: u8,
        haste: Haste,
        /// The first time did not stop it.
        again: bool,
    },
    /// A tone that does not follow the fader: someone plays, or it is another loudspeaker's.
    AskQuiet,
    LowCut {
        at: Hertz,
        place: Place,
    },
    Cut(Change),
    /// A band goes back up to make room: the next cut does more.
    Free(Grab),
    /// The last cut goes back.
    PutBack(Change),
    /// To where it rang.
    BackUp {
        by: u8,
    },
    /// At the end of an output: under the limit, and left there.
    Leave {
        by: Db,
        end: End,
    },
    /// Someone speaks: did the words get dull?
    AskDull,
    GiveBack(Cut),
    /// It rings without it.
    CutAgain(Cut),
    Over,
}

/// How fast the fader must come down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Haste {
    Calm,
    /// Grows fast, or is loud already.
    Now,
}

/// Which microphones are open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Microphones {
    One(ChannelId),
    Two(ChannelId, ChannelId),
    /// All that the show has open.
    Show,
}

/// The numbers behind a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RingWhy {
    pub ring: Option<Ring>,
    /// The fader, re its show mark.
    pub fader: Db,
    /// The highest position that was listened to without a ring.
    pub held: Option<Db>,
    pub target: Option<Db>,
    /// What the cuts bought so far.
    pub bought: Db,
    /// Bands that are down.
    pub bands: usize,
    /// Still to be listened to.
    pub left: Seconds,
    /// What may help more than a cut.
    pub cure: Option<Cure>,
    /// The cut takes the voices with it.
    pub blunt: bool,
}

/// What the person says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RingAnswer {
    /// The step was carried out.
    Done,
    Yes,
    No,
    /// It can't be done: the knob is at its end, there is none.
    Cannot,
    /// The last cut back.
    Undo,
    /// Enough of this output.
    Stop,
}

/// How an output stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputResult {
    pub output: Output,
    pub end: Option<End>,
    /// The highest position without a ring, before and after the cuts.
    pub before: Option<Db>,
    pub held: Option<Db>,
    pub bought: Db,
    /// Where the fader was left.
    pub left_at: Option<Db>,
    pub check_again: bool,
    pub cure: Option<Cure>,
}
