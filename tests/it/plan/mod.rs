//! The rig before it is carried in: verdicts on wires, routing, computations, files, prints.

mod broken;
mod channels;
mod cli;
mod files;
mod folder;
mod leads;
mod matrix;
mod prints;
mod rigs;
mod routing;
mod sums;

use beforedoors::plan::verdict::{Judgement, Reason, Verdict};

/// The short name of a reason: its letter in the table of sources and inputs, or a word.
fn short(reason: Reason) -> &'static str {
    match reason {
        Reason::TooQuiet { .. } => "a",
        Reason::MicOnInstrumentInput => "b",
        Reason::InsertIsTwoWay => "c",
        Reason::OneSideOfStereo { .. } => "d",
        Reason::SpeechMicOnly => "e",
        Reason::NeedsAmplifier => "f",
        Reason::HeadsetJack => "g",
        Reason::NoPhantom | Reason::PhantomIsOff => "h",
        Reason::PhantomOn => "+48",
        Reason::PhantomHarms | Reason::BiasHarms => "i",
        Reason::TooHot { .. } => "j",
        Reason::LoadsSource { .. } => "k",
        Reason::PhantomReachesSource => "l",
        Reason::HalfOfPair { .. } => "m",
        Reason::SubtractsStereo => "n",
        Reason::OutputsFight => "o",
        Reason::PhantomMeetsLine => "p",
        Reason::NeedsPhonoPreamp => "phono",
        Reason::InsertIsNoOutput => "insert-out",
        Reason::LevelByKnob => "q",
        Reason::NeedsStepDown => "y",
        Reason::SpeakerLevel => "z",
        Reason::LineSpeakerOnAmplifier => "line-speaker",
        Reason::PlugDoesNotGoIn { .. } => "plug",
        Reason::RingShorted { .. } => "ring",
        Reason::ColdGrounded => "cold",
        Reason::ColdShorted => "cold-out",
        Reason::MicUnbalanced => "mic-unbalanced",
        Reason::LongUnbalanced { .. } | Reason::LongBalanced { .. } => "long",
        Reason::Dull { .. } => "dull",
        Reason::Unshielded => "unshielded",
        Reason::ThinCable => "thin",
        Reason::XlrOnSpeakers => "xlr",
        Reason::LooksLikeInstrumentLead => "label",
        Reason::SpeakerCableLoss { .. } => "loss",
        Reason::InsertLeadAsSplit | Reason::SplitAsInsertLead => "look-alike",
        Reason::UsbTooLong { .. } => "usb-long",
        Reason::UsbHub => "hub",
        Reason::FollowDeskMakersCable => "desk-maker",
        Reason::AudioLiftOnly => "lift",
        Reason::NotTheSameKind => "kind",
        Reason::MainsElsewhere => "mains",
        Reason::EarthRemoved => "earth",
        Reason::ReturnLeadElsewhere => "return-lead",
        Reason::SplitLoads { .. } => "split-load",
        Reason::MicSplitWithoutTransformer => "mic-split",
    }
}

/// "w j l", "NO z", "ok"; notes in brackets.
fn told(judgement: &Judgement) -> String {
    let word = match judgement.verdict() {
        Verdict::Fits => "ok",
        Verdict::WorksBut => "w",
        Verdict::Never => "NO",
    };
    let mut names: Vec<String> = judgement
        .remarks
        .iter()
        .map(|remark| match (remark.weight, short(remark.reason)) {
            (Verdict::Fits, name) => format!("({name})"),
            (_, name) => name.to_owned(),
        })
        .collect();
    names.sort();
    names.dedup();
    names.insert(0, word.to_owned());
    names.join(" ")
}
