//! The show in words: the one thing that wants a hand, and how loud it is in the room.
//!
//! Rings and the level have words of their own (`ringout`, `sound`); what is left stands here. Edge cases: nothing to do is
//! a sentence, too.

use serde_json::{Value, json};

use super::hall::{self, urgency_word};
use super::numbers::thousandths;
use super::ringout::{self, microphone};
use super::sentence::{Arrow, NextStep, Reply};
use super::sound;
use crate::coach::ringout::{ShowAction, ShowAdvice, Urgency};
use crate::coach::sound::Calibration;
use crate::engine::show::{Alert, LineTrouble, RoomNow};
use crate::units::{Seconds, Spl};

pub const SHOW_STEP_KEYS: &str = "\
show_step, whenever what is asked for changes: time_s, kind (ring, loud, clips, dead, device, recording, battery; null: as \
rehearsed), urgency (now, soon, later), step, then, proof, channel (from 1), frequency_hz. What is not known is null.";

const CALM: ShowAdvice = ShowAdvice { action: ShowAction::Nothing, ring: None, urgency: Urgency::Later };

/// What wants a hand; `None`: nothing does.
pub fn show_step(alert: Option<&Alert>, names: &[String], calibration: Option<&Calibration>) -> NextStep {
    let soon = |arrow, sentence: String, then: &str, proof: &str| NextStep {
        arrow,
        sentence,
        then: then.into(),
        proof: proof.into(),
        reply: Reply::Done,
    };
    match alert {
        None => ringout::show_step(&CALM, names),
        Some(Alert::Ring(advice)) => ringout::show_step(advice, names),
        Some(Alert::Loud(advice)) => sound::sound_step(advice, calibration),
        Some(Alert::Line { channel, trouble: LineTrouble::Clips }) => {
            let sentence = format!("{} trim DOWN 4 dB, at the next pause", microphone(*channel, names));
            soon(Arrow::Down, sentence, "then its fader up by as much", "flat at full scale three times within 10 s")
        }
        Some(Alert::Line { channel, trouble: LineTrouble::Dead }) => {
            let sentence = format!("{} is dead: look at its cable, battery and mute", microphone(*channel, names));
            soon(
                Arrow::None,
                sentence,
                "a spare into its place, if it is needed now",
                "15 dB under its own quiet for 4 s",
            )
        }
        Some(Alert::DeviceLost) => soon(
            Arrow::None,
            "Nothing comes from the desk".into(),
            "look at the USB cable; it comes back by itself",
            "",
        ),
        Some(Alert::Recording { left: Some(left) }) => {
            let sentence = format!("Room for {:.0} min of recording is left", (left.get() / 60.0).floor());
            soon(Arrow::None, sentence, "free space, or let it end there", "")
        }
        Some(Alert::Recording { left: None }) => {
            soon(Arrow::None, "The recording has stopped".into(), "the show goes on; look at the disk", "")
        }
        Some(Alert::Battery { left }) => {
            let sentence = format!("Plug in the laptop: {:.0} min are left", (left.get() / 60.0).floor());
            soon(Arrow::None, sentence, "then nothing stops in the last song", "")
        }
    }
}

/// As it is read from two metres: at most 26 letters.
pub fn show_headline(alert: Option<&Alert>) -> String {
    match alert {
        None => hall::show_headline(&CALM),
        Some(Alert::Ring(advice)) => hall::show_headline(advice),
        Some(Alert::Loud(advice)) => sound::sound_headline(advice),
        Some(Alert::Line { channel, trouble: LineTrouble::Clips }) => {
            format!("Trim {} DOWN 4 at the pause", channel.number())
        }
        Some(Alert::Line { channel, trouble: LineTrouble::Dead }) => format!("Ch {} is dead", channel.number()),
        Some(Alert::DeviceLost) => "Nothing from the desk".into(),
        Some(Alert::Recording { left: Some(_) }) => "Disk nearly full".into(),
        Some(Alert::Recording { left: None }) => "Recording stopped".into(),
        Some(Alert::Battery { .. }) => "Plug in the laptop".into(),
    }
}

/// When it wants a hand.
pub fn urgency(alert: Option<&Alert>) -> Option<&'static str> {
    alert.map(|alert| urgency_word(alert.urgency()))
}

/// A word for records and the log.
pub const fn kind(alert: &Alert) -> &'static str {
    match alert {
        Alert::Ring(_) => "ring",
        Alert::Loud(_) => "loud",
        Alert::Line { trouble: LineTrouble::Clips, .. } => "clips",
        Alert::Line { trouble: LineTrouble::Dead, .. } => "dead",
        Alert::DeviceLost => "device",
        Alert::Recording { .. } => "recording",
        Alert::Battery { .. } => "battery",
    }
}

/// What is asked for, when it changes.
pub fn show_record(at: Seconds, alert: Option<&Alert>, next: &NextStep) -> Value {
    let plain = |text: &str| text.replace('−', "-");
    let channel = match alert {
        Some(Alert::Ring(ShowAdvice { action: ShowAction::FaderDown { channel, .. }, .. })) => Some(*channel),
        Some(Alert::Ring(ShowAdvice { action: ShowAction::CreepBack { channel, .. }, .. })) => *channel,
        Some(Alert::Line { channel, .. }) => Some(*channel),
        _ => None,
    };
    let ring = match alert {
        Some(Alert::Ring(advice)) => advice.ring,
        _ => None,
    };
    json!({
        "type": "show_step", "time_s": thousandths(at.get()), "kind": alert.map(kind), "urgency": urgency(alert),
        "step": plain(&next.sentence), "then": plain(&next.then), "proof": plain(&next.proof),
        "channel": channel.map(|channel| channel.number()),
        "frequency_hz": ring.map(|ring| thousandths(ring.frequency.get())),
    })
}

/// "84 dB(A) over 15 min, 93 at most": the calm line; relative levels say so.
pub fn room_line(room: &RoomNow) -> String {
    let Some(calibration) = &room.calibration else {
        return format!("{:.0} dB re full scale (A), compared with no meter", room.quarter.get());
    };
    let dba = |level: Spl| format!("{:.0}", level.get());
    let stands = dba(calibration.level(room.quarter));
    let (limit, plus_minus) = (dba(room.limit), calibration.uncertainty().total().get());
    format!("{stands} dB(A) over the last 15 min, {limit} at most · ± {plus_minus:.0} dB, no legal meter")
}

/// The next of the programme.
pub fn song_begins(song: &str) -> String {
    format!("now: {song}")
}

/// "nothing so far", "2 alerts so far, 1 more only counted".
pub fn so_far(shown: u32, held: u32) -> String {
    let told = hall::show_so_far(shown as usize);
    if held == 0 { told } else { format!("{told}, {held} more only counted") }
}
