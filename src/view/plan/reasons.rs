//! Why a wire is judged as it is: one plain sentence a reason, with the number that proves it.

use crate::plan::verdict::{Reason, Remark, Verdict, WireEnd};
use crate::units::Db;
use crate::view::lengths::told;
use crate::view::numbers::span;

/// The sentence of a remark; one that is only a note is told as one.
pub fn remark(remark: Remark) -> String {
    match (remark.weight, remark.reason) {
        (Verdict::Fits, Reason::TooHot { over }) => {
            format!("Its very loudest is {} over: keep it a little down", whole(over))
        }
        (_, why) => reason(why),
    }
}

/// What is the matter, in one sentence.
pub fn reason(reason: Reason) -> String {
    match reason {
        Reason::TooQuiet { short } if short.get() > 20.0 => {
            format!("It is {} too quiet for this input: only hiss comes up", whole(short))
        }
        Reason::TooQuiet { short } => format!("It is {} too quiet for this input: hiss comes up with it", whole(short)),
        Reason::MicOnInstrumentInput => "A microphone wants a balanced mic input; this one is for instruments".into(),
        Reason::InsertIsTwoWay => {
            "An insert sends and returns on one plug: an ordinary plug stops the channel or fights its send".into()
        }
        Reason::OneSideOfStereo { right: false } => "Mono into a stereo channel: use the socket L/mono".into(),
        Reason::OneSideOfStereo { right: true } => "Mono into the right socket sounds on one side only".into(),
        Reason::SpeechMicOnly => "Good for one speech microphone only: no equaliser, no mute; switch to mic".into(),
        Reason::NeedsAmplifier => "A passive loudspeaker has no power of its own: silent without an amplifier".into(),
        Reason::HeadsetJack => {
            "A headset jack is mono, puts a voltage on the lead and rides its level; an interface is right".into()
        }
        Reason::NoPhantom => "Nothing here gives it phantom power: it stays silent".into(),
        Reason::PhantomIsOff => "It needs +48 V, and that is off for this input: it stays silent".into(),
        Reason::PhantomOn => "Switch +48 V on for this input, after everything is plugged".into(),
        Reason::PhantomHarms => "Phantom power can harm it: +48 V OFF on this input before it is plugged".into(),
        Reason::BiasHarms => "The jack’s voltage goes straight through it and can harm it".into(),
        Reason::TooHot { over } => format!("Its peaks are {} too hot for this input: pad in, gain down", whole(over)),
        Reason::LoadsSource { loss } => {
            format!("It is loaded down, {} quieter and dull: it wants 1 MΩ, an active DI or a hi-Z input", whole(loss))
        }
        Reason::PhantomReachesSource => {
            "Through this adapter phantom power reaches the source: +48 V OFF, or a DI".into()
        }
        Reason::PhantomMeetsLine => "A mic input may send phantom power back into this output: +48 V OFF".into(),
        Reason::HalfOfPair { sums: true } => "Only one side is wired: use the socket L/mono, or lose one half".into(),
        Reason::HalfOfPair { sums: false } => "Only one side is wired: the other half is lost".into(),
        Reason::SubtractsStereo => {
            "Left and right on one plug into one input: they cancel, and the voice in the middle vanishes".into()
        }
        Reason::OutputsFight => {
            "Two outputs tied together fight, and can destroy each other: one wire to each input".into()
        }
        Reason::NeedsPhonoPreamp => {
            "A record player wants a phono preamplifier: without one, no bass and much hiss".into()
        }
        Reason::InsertIsNoOutput => {
            "An insert is no output: the plug stops its channel, and half in is a matter of luck".into()
        }
        Reason::LevelByKnob => "Its level hangs on a knob: set it, tape it, do not touch it again".into(),
        Reason::NeedsStepDown => "A 70/100 V line would destroy it without the right transformer".into(),
        Reason::SpeakerLevel => "Loudspeaker level, 6 to 80 V, destroys this input. No adapter makes it right".into(),
        Reason::LineSpeakerOnAmplifier => "A loudspeaker for a 70/100 V line is hardly heard on this amplifier".into(),
        Reason::PlugDoesNotGoIn { end } => format!("The plug does not go in {}", at(end)),
        Reason::RingShorted { end } => format!("A stereo plug in a mono socket shorts one contact {}", at(end)),
        Reason::ColdGrounded => "A mono lead makes this balanced run unbalanced: it may hum, keep it short".into(),
        Reason::ColdShorted => "A mono plug shorts half of this balanced output: 6 dB lost, and some suffer".into(),
        Reason::MicUnbalanced => "This lead makes the microphone unbalanced: weak, and it hums".into(),
        Reason::LongUnbalanced { length, limit } => {
            format!("{} unbalanced: more than {} hum and lose their top", told(length), told(limit))
        }
        Reason::LongBalanced { length, limit } => {
            format!("{} are more than {} of balanced lead", told(length), told(limit))
        }
        Reason::Dull { corner_hz } => format!("This lead takes the top away from {} Hz on", rounded_hz(corner_hz)),
        Reason::Unshielded => "Loudspeaker cable has no shield: as a signal lead it hums".into(),
        Reason::ThinCable => "Signal cable on a loudspeaker: its thin core heats up and can short the amplifier".into(),
        Reason::XlrOnSpeakers => "XLR on a loudspeaker lead gets plugged into a microphone input one day".into(),
        Reason::LooksLikeInstrumentLead => "It looks like an instrument lead: tape it SPEAKERS ONLY".into(),
        Reason::SpeakerCableLoss { loss } => format!("The lead takes {}: shorter, or thicker", span(loss)),
        Reason::InsertLeadAsSplit => "An insert lead looks like a stereo split: it sends into a send. Label it".into(),
        Reason::SplitAsInsertLead => "A stereo split looks like an insert lead: it sends into a send. Label it".into(),
        Reason::UsbTooLong { length } => format!("{} of USB drop out: 5 m at most", told(length)),
        Reason::UsbHub => "Through a hub USB drops out: straight into the computer".into(),
        Reason::FollowDeskMakersCable => {
            "The desk’s maker says which network cable; not through the office network, and relieve its pull".into()
        }
        Reason::AudioLiftOnly => "Lift only the DI’s audio ground, only if it hums; both mains earths stay on".into(),
        Reason::NotTheSameKind => "These two sockets speak different languages".into(),
        Reason::MainsElsewhere => "Mains goes into mains inlets and nowhere else".into(),
        Reason::EarthRemoved => "A mains earth must never be taken off: it kills. This is no step of any plan".into(),
        Reason::ReturnLeadElsewhere => "A lead wired for an insert’s return gives nothing here".into(),
        Reason::SplitLoads { load } => {
            format!(
                "It feeds several inputs at once, together {:.0} Ω: quieter and dull. A splitter, or fewer",
                load.get()
            )
        }
        Reason::MicSplitWithoutTransformer => {
            "One microphone on two inputs: a splitter with a transformer, phantom from one side only".into()
        }
    }
}

const fn at(end: WireEnd) -> &'static str {
    match end {
        WireEnd::From => "where the wire begins",
        WireEnd::To => "where the wire ends",
    }
}

fn whole(change: Db) -> String {
    format!("{:.0} dB", change.get().abs())
}

fn rounded_hz(hz: f64) -> String {
    if hz >= 1000.0 { format!("{:.0} 000", hz / 1000.0) } else { format!("{:.0}0", hz / 10.0) }
}
