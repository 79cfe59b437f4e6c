//! What to do about a finding, in one sentence that begins with a verb; what the gear list holds is named.

use super::names::{boxed, end, in_name, lead};
use crate::plan::cures::Cure;
use crate::plan::rig::Rig;
use crate::plan::sums::feedback;
use crate::view::numbers;
use crate::view::words::plain;

pub fn cure(rig: &Rig, cure: &Cure) -> String {
    let owned = |what: &str, name: &Option<String>| match name {
        Some(name) if !name.eq_ignore_ascii_case(what) => format!("{what} (you have: {})", plain(name)),
        Some(_) => format!("{what} (you have one)"),
        None => format!("{what} (none on the gear list)"),
    };
    match cure {
        Cure::OtherInput(port) => format!("Plug it into {}", in_name(*port)),
        Cure::Insert(inline, name) => {
            let made = matches!(inline, crate::plan::wire::InLine::ResistorSum);
            if made {
                format!("Put a {} between", boxed(*inline))
            } else {
                format!("Put between: {}", owned(boxed(*inline), name))
            }
        }
        Cure::Lead(kind, name) => format!("Take another lead: {}", owned(lead(*kind), name)),
        Cure::LeadInto(kind, name, port) => {
            format!("Take another lead: {}, into {}", owned(lead(*kind), name), in_name(*port))
        }
        Cure::Shorter { limit } => format!("Take a lead of {} m or less", limit.get()),
        Cure::PhantomOn => "Switch +48 V on for this input, after plugging".into(),
        Cure::PhantomOff => "Switch +48 V OFF for this input, before plugging".into(),
        Cure::LineOutput(id, port) => format!("Feed it from {} instead", end(rig, (*id, *port))),
        Cure::Amplifier(name) => format!("Put between: {}", owned("amplifier", name)),
        Cure::WireBothSides => "Wire the other side too, or use L/mono".into(),
        Cure::TapeTheKnob => "Set the knob once and tape it".into(),
        Cure::Unplug => "Take one of the two out".into(),
        Cure::Gain(change, gain) => format!("{}: {}", geometry(*change), numbers::change(*gain)),
        Cure::CompetentPerson => "Leave it to a competent person".into(),
    }
}

fn geometry(cure: feedback::Cure) -> String {
    match cure {
        feedback::Cure::MicCloser { to } => format!("Move the microphone to {:.1} m", to.get()),
        feedback::Cure::FewerOpen { to: 1 } => "Open one microphone only".into(),
        feedback::Cure::FewerOpen { to } => format!("Open {to} microphones at most"),
        feedback::Cure::SpeakerForward { to } => {
            format!("Loudspeaker forward, to {:.1} m from the microphone", to.get())
        }
        feedback::Cure::Aim => "Turn microphone and loudspeaker away from each other (at best)".into(),
        feedback::Cure::CloserAndFewer { to, open } => {
            format!("Microphones to {:.1} m AND only {open} open", to.get())
        }
        feedback::Cure::SoloistOnly => "Reinforce only a soloist, microphone at a hand’s width".into(),
    }
}
