//! The last look before doors in words: the one thing that is not as the soundcheck left it, or that all is ready.
//!
//! What to look at follows from how the input is plugged in, in at most twelve words. Nothing here tells anyone to switch
//! +48. Levels in dBFS, differences in dB. Edge cases: what could not be judged is named beside "Ready".

use serde_json::{Value, json};

use super::numbers::{counted, dbfs, thousandths, whole_seconds};
use super::sentence::{Arrow, NextStep, Reply};
use super::setup::{Setup, who};
use crate::engine::linecheck::Wire;
use crate::engine::show::{ReadyAdvice, ReadyStep, Trouble};
use crate::event::Checked;
use crate::units::{ChannelId, Db, Seconds};

pub const READY_KEYS: &str = "\
ready_step, with --ready, whenever what is asked for changes: time_s, kind (listen, nothing, other_device, rate, channels, \
everything, dead, floor, folder, disk, battery, sleep, clock, ready), step, then, proof, channel (from 1), was_dbfs, \
floor_dbfs, more (other things to do), left, not_judged (channels), minutes_to_doors. What is not known is null.";

pub const READY_HELP: &str = "Nobody needs to play. Type done (it is put right), leave, again or quit";
pub const NO_SOUNDCHECK: &str = "no soundcheck is stored, so there is nothing to look for. Make one first: \
                                 beforedoors soundcheck --event FOLDER";
pub const NO_EVENT: &str =
    "a last look needs the event in which the soundcheck was stored. Name it with --event FOLDER";
pub const NOTHING_HEARD: &str =
    "Nothing was heard, so nothing can be told. Look at the USB cable and at the desk's power";

/// What the words speak of.
pub struct Look<'a> {
    pub names: &'a [String],
    pub setup: &'a Setup,
    pub before: &'a Checked,
    /// What is heard now.
    pub device: &'a str,
    /// The hall's clock.
    pub clock: &'a str,
}

/// The one thing to do.
pub fn ready_step(advice: &ReadyAdvice, look: &Look) -> NextStep {
    let it = who(advice.channel, look.names);
    let before = &look.before.left;
    let (arrow, sentence, then) = match advice.step {
        ReadyStep::Listen => {
            let sentence = format!("Quiet on stage, please, for {} s", whole_seconds(advice.wanted));
            (Arrow::None, sentence, "nobody needs to play; hands off the knobs".into())
        }
        ReadyStep::Ready => (Arrow::None, ready(advice, look), "leave the knobs alone".into()),
        ReadyStep::Do(trouble) => match trouble {
            Trouble::Nothing => (
                Arrow::None,
                "Nothing comes in from the desk".into(),
                "look at the USB cable and the desk’s power".into(),
            ),
            Trouble::OtherDevice => (
                Arrow::None,
                "This is another device than at the soundcheck".into(),
                format!("choose “{}” again, or repeat the soundcheck on this one", before.device),
            ),
            Trouble::Rate { was, .. } => (
                Arrow::None,
                "The sample rate is another one than at the soundcheck".into(),
                format!("set the desk, or the system, back to {} Hz", was.get()),
            ),
            Trouble::Channels { was, now } => (
                Arrow::None,
                format!("The device has {now} channels now; it had {was}"),
                "look at its mode, and at the system’s settings".into(),
            ),
            Trouble::Everything { by } => (
                Arrow::None,
                format!(
                    "All lines are {} {} than at the soundcheck",
                    whole(by),
                    if by.get() > 0.0 { "louder" } else { "softer" }
                ),
                "is it the room? Else the slider of the laptop’s input".into(),
            ),
            Trouble::Dead => {
                (Arrow::None, format!("{it} is silent; it was not at the soundcheck"), dead(wire(advice)).into())
            }
            Trouble::Floor { by } if by.get() > 0.0 => (
                Arrow::None,
                format!("{it} is {} noisier than at the soundcheck", whole(by)),
                noisier(wire(advice), &look.setup.desk.knob),
            ),
            Trouble::Floor { by } => (
                Arrow::None,
                format!("{it} is {} softer than at the soundcheck", whole(by)),
                softer(wire(advice), &look.setup.desk.knob),
            ),
            Trouble::Folder => (
                Arrow::None,
                "Nothing can be written into the recording’s folder".into(),
                "is the stick in, is it full? Else name another folder".into(),
            ),
            Trouble::Disk { left } => (
                Arrow::None,
                format!("There is room for {} of recording", hours(left)),
                "free some, or name another folder; an evening takes 3 h".into(),
            ),
            Trouble::Battery { .. } => {
                (Arrow::None, "Plug in the laptop’s charger".into(), "then nothing stops in the last song".into())
            }
            Trouble::Sleep => (
                Arrow::None,
                "The laptop may fall asleep".into(),
                "switch sleep off in its settings; keep the lid open".into(),
            ),
            Trouble::Clock => (
                Arrow::None,
                "The laptop’s clock and the doors don’t fit".into(),
                "put the clock right, or doors in event.toml".into(),
            ),
        },
    };
    let reply = if matches!(advice.step, ReadyStep::Do(_)) { Reply::Done } else { Reply::Over };
    NextStep { arrow, sentence, then, proof: proof(advice, look), reply }
}

/// As it is read from two metres: at most 26 letters.
pub fn ready_headline(advice: &ReadyAdvice, minutes: Option<f64>) -> String {
    let it = advice.channel.map_or(0, ChannelId::number);
    match advice.step {
        ReadyStep::Listen => {
            format!("Quiet, please: {} s", whole_seconds(advice.wanted).saturating_sub(whole_seconds(advice.heard)))
        }
        ReadyStep::Ready if advice.unknown != 0 => format!("Ready, {} not judged", advice.unknown.count_ones()),
        ReadyStep::Ready => match minutes.filter(|minutes| *minutes > 0.0) {
            Some(minutes) => format!("Ready. {:.0} min to doors", minutes.ceil()),
            None => "Ready".into(),
        },
        ReadyStep::Do(trouble) => match trouble {
            Trouble::Nothing => "Nothing from the desk".into(),
            Trouble::OtherDevice => "Another device".into(),
            Trouble::Rate { .. } => "Another sample rate".into(),
            Trouble::Channels { was, now } if now < was => {
                format!("{} missing", counted((was - now) as u64, "channel", "channels"))
            }
            Trouble::Channels { .. } => "More channels than before".into(),
            Trouble::Everything { by } if by.get() > 0.0 => format!("All lines {:.0} dB louder", by.get()),
            Trouble::Everything { by } => format!("All lines {:.0} dB softer", by.get().abs()),
            Trouble::Dead => format!("Ch {it} is silent"),
            Trouble::Floor { by } if by.get() > 0.0 => format!("Ch {it} is {:.0} dB noisier", by.get()),
            Trouble::Floor { by } => format!("Ch {it} is {:.0} dB softer", by.get().abs()),
            Trouble::Folder => "Nothing can be recorded".into(),
            Trouble::Disk { left } => format!("Disk: room for {}", hours(left)),
            Trouble::Battery { .. } => "Plug in the laptop".into(),
            Trouble::Sleep => "Laptop may fall asleep".into(),
            Trouble::Clock => "Look at the clock".into(),
        },
    }
}

/// "Ready. 12 minutes to doors".
fn ready(advice: &ReadyAdvice, look: &Look) -> String {
    let doubt = match (advice.left, advice.unknown) {
        (0, 0) => String::new(),
        (0, _) => ", as far as I can hear".into(),
        (1, _) => ", with 1 thing left as it is".into(),
        (left, _) => format!(", with {left} things left as they are"),
    };
    match look.setup.minutes_left().filter(|minutes| *minutes > 0.0) {
        Some(minutes) => {
            format!("Ready{doubt}. {} to doors", counted(minutes.ceil() as u64, "minute", "minutes"))
        }
        None => format!("Ready{doubt}"),
    }
}

fn proof(advice: &ReadyAdvice, look: &Look) -> String {
    let ended =
        look.before.ended.map_or_else(String::new, |ended| format!(" of {:02}:{:02}", ended.hour(), ended.minute()));
    let mut parts = Vec::new();
    match advice.step {
        ReadyStep::Listen => parts.push(format!("held against the soundcheck{ended}")),
        ReadyStep::Ready => {
            let lines = counted(advice.judged as u64, "line", "lines");
            parts.push(format!("{lines} as at the soundcheck{ended}"));
            let names: Vec<String> = not_judged(advice).map(|line| who(Some(line), look.names)).collect();
            if !names.is_empty() {
                parts.push(format!("not judged, for no pause was heard: {}", names.join(", ")));
            }
        }
        ReadyStep::Do(Trouble::OtherDevice) => {
            parts.push(format!("“{}” at the soundcheck, “{}” now", look.before.left.device, look.device));
        }
        ReadyStep::Do(Trouble::Rate { was, now }) => {
            parts.push(format!("{} Hz at the soundcheck, {} Hz now", was.get(), now.get()));
        }
        ReadyStep::Do(Trouble::Battery { left: Some(left) }) => {
            parts.push(format!("its battery lasts {:.0} min", (left.get() / 60.0).floor()));
        }
        ReadyStep::Do(Trouble::Clock) => {
            let doors = look.setup.event.as_ref().and_then(|event| event.settings.doors);
            let doors = doors.map_or_else(String::new, |doors| doors.to_string());
            parts.push(format!("by the laptop it is {}; doors at {doors}", look.clock));
        }
        ReadyStep::Do(_) => {
            let known = |level: Option<_>| level.map_or_else(|| "digital silence".into(), dbfs);
            if advice.channel.is_some() && advice.was.is_some() {
                parts.push(format!("{} at the soundcheck, {} now", known(advice.was), known(advice.floor)));
            }
        }
    }
    if advice.more > 0 {
        parts.push(format!("then {} more", advice.more));
    }
    parts.join(" · ")
}

fn not_judged(advice: &ReadyAdvice) -> impl Iterator<Item = ChannelId> + use<> {
    let unknown = advice.unknown;
    (0..ChannelId::MAX_CHANNELS).filter(move |line| unknown >> line & 1 == 1).map(ChannelId::from_index)
}

/// How it is plugged in, and whether it wants +48.
fn wire(advice: &ReadyAdvice) -> (Wire, bool) {
    advice.input.map_or((Wire::Line, false), |input| (input.wire, input.phantom))
}

const fn dead((wire, phantom): (Wire, bool)) -> &'static str {
    match wire {
        Wire::Radio => "look at the pack’s switch and battery, its cable, its mute",
        Wire::Microphone if phantom => "look whether +48 is on; its cable, its mute",
        Wire::Microphone => "look at its switch, its cable, its mute",
        Wire::Di => "look at its cables; an active DI wants +48 or a battery",
        Wire::Line => "look at its cable, its volume, its mute",
    }
}

fn noisier((wire, _): (Wire, bool), knob: &str) -> String {
    match wire {
        Wire::Radio => format!("was its {knob} turned? Else the pack and the receiver’s aerials"),
        Wire::Microphone => format!("was its {knob} turned? Else what hums or blows near it"),
        Wire::Di => format!("was its {knob} turned? Else the DI’s lift, then its lead"),
        Wire::Line => format!("was its {knob} turned? Else its lead, a charger, its volume"),
    }
}

fn softer((wire, _): (Wire, bool), knob: &str) -> String {
    match wire {
        Wire::Radio => format!("was its {knob} turned? Else the pack’s own level, its mute"),
        Wire::Microphone => format!("was its {knob} turned? Else a pad, its switch, its cable"),
        Wire::Di | Wire::Line => format!("was its {knob} turned? Else its volume, a pad, its cable"),
    }
}

/// Floors wander by some tenths.
fn whole(by: Db) -> String {
    format!("{:.0} dB", by.abs().get())
}

/// "1.5 h".
fn hours(left: Seconds) -> String {
    format!("{:.1} h", (left.get() / 360.0).floor() / 10.0)
}

const fn kind(advice: &ReadyAdvice) -> &'static str {
    match advice.step {
        ReadyStep::Listen => "listen",
        ReadyStep::Ready => "ready",
        ReadyStep::Do(trouble) => match trouble {
            Trouble::Nothing => "nothing",
            Trouble::OtherDevice => "other_device",
            Trouble::Rate { .. } => "rate",
            Trouble::Channels { .. } => "channels",
            Trouble::Everything { .. } => "everything",
            Trouble::Dead => "dead",
            Trouble::Floor { .. } => "floor",
            Trouble::Folder => "folder",
            Trouble::Disk { .. } => "disk",
            Trouble::Battery { .. } => "battery",
            Trouble::Sleep => "sleep",
            Trouble::Clock => "clock",
        },
    }
}

/// What is asked for, when it changes.
pub fn ready_record(at: Seconds, advice: &ReadyAdvice, next: &NextStep, minutes: Option<f64>) -> Value {
    let plain = |text: &str| text.replace('−', "-");
    let not_judged: Vec<u16> = not_judged(advice).map(ChannelId::number).collect();
    json!({
        "type": "ready_step", "time_s": thousandths(at.get()), "kind": kind(advice), "step": plain(&next.sentence),
        "then": plain(&next.then), "proof": plain(&next.proof), "channel": advice.channel.map(ChannelId::number),
        "was_dbfs": advice.was.map(|was| thousandths(was.get())),
        "floor_dbfs": advice.floor.map(|floor| thousandths(floor.get())), "more": advice.more, "left": advice.left,
        "not_judged": not_judged, "minutes_to_doors": minutes.map(|minutes| thousandths(minutes.ceil())),
    })
}
