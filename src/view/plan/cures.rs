//! What to do about a finding, in one sentence that begins with a verb; what the gear list holds is named.

use super::names::{boxed, end, in_name, lead, out_name, plug};
use crate::plan::cures::Cure;
use crate::plan::gear::{InPort, LeadKind, OutPort};
use crate::plan::rig::Rig;
use crate::plan::sums::feedback;
use crate::plan::wire::InLine;
use crate::view::lengths::told;
use crate::view::numbers;
use crate::view::words::plain;

pub fn cure(rig: &Rig, cure: &Cure) -> String {
    let owned = |what: &str, name: &Option<String>| match name {
        Some(name) if !name.eq_ignore_ascii_case(what) => format!("{what} (you have: {})", plain(name)),
        Some(_) => format!("{what} (you have one)"),
        None => format!("{what} (none to spare on the gear list)"),
    };
    match cure {
        Cure::OtherInput(port @ InPort::Instrument(_)) => {
            format!("Plug it into {}, if the desk has one", in_name(*port))
        }
        Cure::OtherInput(port) => format!("Plug it into {}", in_name(*port)),
        Cure::Insert(InLine::ResistorSum, _) => format!("Put between: a {}", boxed(InLine::ResistorSum)),
        Cure::Insert(inline, name) => format!("Put between: {}", owned(boxed(*inline), name)),
        Cure::InsertInto(InLine::ResistorSum, _, port) => {
            format!("Put between: a {}, into {}", boxed(InLine::ResistorSum), in_name(*port))
        }
        Cure::InsertInto(inline, name, port) => {
            format!("Put between: {}, into {}", owned(boxed(*inline), name), in_name(*port))
        }
        Cure::Remove(inline) => format!("Leave the {} out", boxed(*inline)),
        Cure::OtherOutput(OutPort::Own(side)) => {
            let side = if side.is_some() { ", L/mono" } else { "" };
            format!("Take it from its own output{side} instead")
        }
        Cure::OtherOutput(port) => format!("Take it from {} instead", out_name(*port)),
        Cure::Swap(old, new, name) => format!("Instead of the {}: {}", boxed(*old), owned(boxed(*new), name)),
        Cure::Lead(LeadKind::Split, name, _) => {
            format!("Take a {}: one plug here, the other into a second input", owned(lead(LeadKind::Split), name))
        }
        Cure::LeadInto(LeadKind::Split, name, port) => format!(
            "Take a {}: one plug into {}, the other into a second input",
            owned(lead(LeadKind::Split), name),
            in_name(*port)
        ),
        Cure::Lead(kind, name, [from, to]) if from != to && !matches!(kind, LeadKind::Speaker | LeadKind::XlrJack) => {
            let ends = format!("{}, {} to {}", lead(*kind), plug(*from), plug(*to));
            format!("Take another lead: {}", owned(&ends, name))
        }
        Cure::Lead(kind, name, _) => format!("Take another lead: {}", owned(lead(*kind), name)),
        Cure::LeadInto(kind, name, port) => {
            format!("Take another lead: {}, into {}", owned(lead(*kind), name), in_name(*port))
        }
        Cure::Shorter { limit } => format!("Take a lead of {} or less", told(*limit)),
        Cure::PhantomOn => "Switch +48 V on for this input, after plugging".into(),
        Cure::PhantomOff => "Switch +48 V OFF for this input, before plugging".into(),
        Cure::LineOutput(id, port) => format!("Feed it from {} instead", end(rig, (*id, *port))),
        Cure::Microphone(name) => {
            format!("Put a microphone before its loudspeaker: {}", owned("dynamic mic", name))
        }
        Cure::Amplifier(name) => format!("Put between: {}", owned("amplifier", name)),
        Cure::WireBothSides { sums: true } => "Wire the other side too, or plug into L/mono alone".into(),
        Cure::WireBothSides { sums: false } => "Wire the other side too".into(),
        Cure::SplitApart(name, [music, cue]) => format!(
            "Take a {}: one plug into {}, the other into {}",
            owned(lead(LeadKind::Split), name),
            in_name(*music),
            in_name(*cue)
        ),
        Cure::ChangeSides => "Let left and right change places".into(),
        Cure::TapeTheKnob => "Set the knob once and tape it".into(),
        Cure::TakeOut => "Take this wire out".into(),
        Cure::Unplug => "Take one of the two out".into(),
        Cure::Gain(change, gain) => format!("{}: {}", geometry(*change), numbers::change(*gain)),
        Cure::CompetentPerson => "Leave it to a competent person".into(),
    }
}

fn geometry(cure: feedback::Cure) -> String {
    match cure {
        feedback::Cure::MicCloser { to } => format!("Move the microphone to {} from its source", told(to)),
        feedback::Cure::FewerOpen { to: 1 } => "Open one microphone only".into(),
        feedback::Cure::FewerOpen { to } => format!("Open {to} microphones at most"),
        feedback::Cure::SpeakerForward { to } => {
            format!("Loudspeaker forward, to {} from the microphone", told(to))
        }
        feedback::Cure::Aim => "Turn microphone and loudspeaker away from each other (at best)".into(),
        feedback::Cure::CloserAndFewer { to, open } => {
            format!("Microphones to {} from their sources AND only {open} open", told(to))
        }
        feedback::Cure::SoloistOnly => "Reinforce only a soloist, microphone at a hand’s width".into(),
    }
}
