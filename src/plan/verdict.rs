//! What is said of a wire: a verdict and the reasons for it.
//!
//! Typed, without a word of text: `view` says them. Each reason carries the number that proves it (dB, metres,
//! ohms). Edge cases: no remark at all is *fits*.

use super::port::ModeKind;
use super::quantity::{Metres, Ohms};
use crate::units::Db;

/// In the order of badness.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    Fits,
    WorksBut,
    Never,
}

impl Verdict {
    pub const ALL: [Self; 3] = [Self::Fits, Self::WorksBut, Self::Never];
}

/// Which end of a wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WireEnd {
    From,
    To,
}

/// Why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reason {
    /// The gain does not lift it to where it should be.
    TooQuiet {
        short: Db,
    },
    /// A balanced microphone into an unbalanced input of high impedance.
    MicOnInstrumentInput,
    /// An insert sends and returns on one plug.
    InsertIsTwoWay,
    /// One side of a stereo input only.
    OneSideOfStereo {
        right: bool,
    },
    /// No equaliser and no mute behind it.
    SpeechMicOnly,
    /// A passive loudspeaker has no power of its own.
    NeedsAmplifier,
    HeadsetJack,
    /// Nothing there gives phantom power.
    NoPhantom,
    /// There is phantom power, and it is off.
    PhantomIsOff,
    /// It must be switched on.
    PhantomOn,
    PhantomHarms,
    /// The bias voltage of a headset jack goes through it.
    BiasHarms,
    TooHot {
        over: Db,
    },
    LoadsSource {
        loss: Db,
        load: Ohms,
    },
    PhantomReachesSource,
    PhantomMeetsLine,
    HalfOfPair {
        sums: bool,
    },
    /// Left minus right: what both carry vanishes.
    SubtractsStereo,
    OutputsFight,
    /// A record player's pickup straight into an input.
    NeedsPhonoPreamp,
    /// What is plugged into an insert interrupts its channel.
    InsertIsNoOutput,
    LevelByKnob,
    NeedsStepDown,
    SpeakerLevel,
    /// A loudspeaker for a 70/100 V line on an ordinary amplifier.
    LineSpeakerOnAmplifier,
    PlugDoesNotGoIn {
        end: WireEnd,
    },
    RingShorted {
        end: WireEnd,
    },
    /// A mono plug in a balanced input: the shield grounds the cold side.
    ColdGrounded,
    /// A mono plug in a balanced output: its cold side is shorted.
    ColdShorted,
    /// A microphone lead that ends in a mono plug.
    MicUnbalanced,
    LongUnbalanced {
        length: Metres,
        limit: Metres,
    },
    LongBalanced {
        length: Metres,
        limit: Metres,
    },
    /// The cable's capacitance takes the top away.
    Dull {
        corner_hz: f64,
    },
    Unshielded,
    /// Signal cable on an amplifier's output.
    ThinCable,
    XlrOnSpeakers,
    LooksLikeInstrumentLead,
    SpeakerCableLoss {
        loss: Db,
    },
    InsertLeadAsSplit,
    SplitAsInsertLead,
    UsbTooLong {
        length: Metres,
    },
    UsbHub,
    FollowDeskMakersCable,
    AudioLiftOnly,
    NotTheSameKind,
    MainsElsewhere,
    EarthRemoved,
    ReturnLeadElsewhere,
    /// Several inputs on one output load it too much.
    SplitLoads {
        load: Ohms,
    },
    /// One microphone on two inputs without a transformer.
    MicSplitWithoutTransformer,
}

impl Reason {
    /// The machine word.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::TooQuiet { .. } => "too-quiet",
            Self::MicOnInstrumentInput => "mic-on-instrument-input",
            Self::InsertIsTwoWay => "insert-is-two-way",
            Self::OneSideOfStereo { .. } => "one-side-of-stereo",
            Self::SpeechMicOnly => "speech-mic-only",
            Self::NeedsAmplifier => "needs-amplifier",
            Self::HeadsetJack => "headset-jack",
            Self::NoPhantom => "no-phantom",
            Self::PhantomIsOff => "phantom-is-off",
            Self::PhantomOn => "phantom-on",
            Self::PhantomHarms => "phantom-harms",
            Self::BiasHarms => "bias-harms",
            Self::TooHot { .. } => "too-hot",
            Self::LoadsSource { .. } => "loads-source",
            Self::PhantomReachesSource => "phantom-reaches-source",
            Self::PhantomMeetsLine => "phantom-meets-line",
            Self::HalfOfPair { .. } => "half-of-pair",
            Self::SubtractsStereo => "subtracts-stereo",
            Self::OutputsFight => "outputs-fight",
            Self::NeedsPhonoPreamp => "needs-phono-preamp",
            Self::InsertIsNoOutput => "insert-is-no-output",
            Self::LevelByKnob => "level-by-knob",
            Self::NeedsStepDown => "needs-step-down",
            Self::SpeakerLevel => "speaker-level",
            Self::LineSpeakerOnAmplifier => "line-speaker-on-amplifier",
            Self::PlugDoesNotGoIn { .. } => "plug-does-not-go-in",
            Self::RingShorted { .. } => "ring-shorted",
            Self::ColdGrounded => "cold-grounded",
            Self::ColdShorted => "cold-shorted",
            Self::MicUnbalanced => "mic-unbalanced",
            Self::LongUnbalanced { .. } => "long-unbalanced",
            Self::LongBalanced { .. } => "long-balanced",
            Self::Dull { .. } => "dull",
            Self::Unshielded => "unshielded",
            Self::ThinCable => "thin-cable",
            Self::XlrOnSpeakers => "xlr-on-speakers",
            Self::LooksLikeInstrumentLead => "looks-like-instrument-lead",
            Self::SpeakerCableLoss { .. } => "speaker-cable-loss",
            Self::InsertLeadAsSplit => "insert-lead-as-split",
            Self::SplitAsInsertLead => "split-as-insert-lead",
            Self::UsbTooLong { .. } => "usb-too-long",
            Self::UsbHub => "usb-hub",
            Self::FollowDeskMakersCable => "follow-desk-makers-cable",
            Self::AudioLiftOnly => "audio-lift-only",
            Self::NotTheSameKind => "not-the-same-kind",
            Self::MainsElsewhere => "mains-elsewhere",
            Self::EarthRemoved => "earth-removed",
            Self::ReturnLeadElsewhere => "return-lead-elsewhere",
            Self::SplitLoads { .. } => "split-loads",
            Self::MicSplitWithoutTransformer => "mic-split-without-transformer",
        }
    }
}

/// How much a reason weighs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Remark {
    pub reason: Reason,
    /// *Fits* is a note: something to know or to do.
    pub weight: Verdict,
}

/// What is said of one wire.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judgement {
    /// The position that the input's switch belongs in, where it has one.
    pub switch: Option<ModeKind>,
    pub remarks: Vec<Remark>,
}

impl Judgement {
    pub fn verdict(&self) -> Verdict {
        self.remarks.iter().map(|remark| remark.weight).max().unwrap_or(Verdict::Fits)
    }

    pub(super) fn add(&mut self, weight: Verdict, reason: Reason) {
        self.remarks.push(Remark { reason, weight });
    }

    pub(super) fn note(&mut self, reason: Reason) {
        self.add(Verdict::Fits, reason);
    }

    pub(super) fn but(&mut self, reason: Reason) {
        self.add(Verdict::WorksBut, reason);
    }

    pub(super) fn never(&mut self, reason: Reason) {
        self.add(Verdict::Never, reason);
    }
}
