//! The window's own words: views, buttons, keys, and what they mean. What the coach says is worded elsewhere in this room.

use super::sentence::Reply;
use crate::units::ChannelId;

pub const HELP: &str = "Help  ?";
pub const WHY: &str = "Why  W";
pub const STAGE: &str = "Stage  T";
pub const TABLE: &str = "Table  T";
pub const INPUT: &str = "Input  I";
pub const ASK: &str = "Ask for it  A";
pub const TURN_DOWN: &str = "Turn DOWN  ←";
pub const TURN_UP: &str = "Turn UP  →";
pub const NO_INPUT: &str = "No input yet";
pub const CHOOSE_THE_INPUT: &str = "Choose the input";
pub const BEGIN: &str = "Begin  Space";
pub const QUIETLY: &str = "Measure quietly  Q";
pub const QUIET_WAY: &str = "A quiet sweep plays";
pub const AT_A_RETURN: &str = "into a spare return";
pub const AT_THE_MAIN: &str = "into the loudspeakers, the desk's main output into the laptop";
pub const QUIET_AGAIN: &str = "Measure again  Q";
/// "Measure Wedge 1".
pub fn quietly_another(output: &str) -> String {
    format!("Measure {output}")
}
pub const STOP_ANY: &str = "STOP  any key";
pub const AGAIN: &str = "Ring out again  Space";
pub const STOP: &str = "STOP  Esc";
pub const UNDO: &str = "Last cut back  B";
pub const CANNOT: &str = "Can’t be done  L";
pub const DONE: &str = "Done  Space";
pub const LEAVE: &str = "Leave it  S";
pub const READY: &str = "Ready?  R";
pub const LOOK_AGAIN: &str = "Look again  R";
pub const TO_THE_SHOW: &str = "To the show  Esc";
pub const NO_SOUNDCHECK: &str = "No soundcheck of this event is stored yet: make one first";
pub const MARK: &str = "Mark this  M";
pub const ROOM_MICROPHONE: &str = "Microphone in the room:";
pub const NONE: &str = "none";
/// "Microphone in the room: 16  L".
pub fn room_microphone(chosen: Option<ChannelId>) -> String {
    let chosen = chosen.map_or_else(|| NONE.to_owned(), |chosen| chosen.number().to_string());
    format!("{ROOM_MICROPHONE} {chosen}  L")
}
pub const NO_ROOM_MICROPHONE: &str = "No microphone in the room is named: --room-mic CHANNEL";
pub const RECORD: &str = "Record  K";
pub const STOP_RECORDING: &str = "Stop recording  K";
pub const BEGIN_RECORDING: &str = "Record now  Space";
pub const NO_RECORDING: &str = "Do not record  Esc";
pub const NOT_RECORDED: &str = "Once for this event. Must not be recorded:";
pub const DELETE_AFTER: &str = "Delete the recordings after:";
/// "30 days".
pub fn days(days: Option<u16>) -> String {
    days.map_or_else(|| "no day".to_owned(), |days| format!("{days} days"))
}
pub const STAGE_NOT_RECORDED: &str = "The simulated stage is not recorded. Choose the input first: I";
pub const RECORDING_WANTS_AN_EVENT: &str =
    "A recording needs an event, which keeps who may be recorded: make one on the plan's page";
pub const MARKED: &str = "Marked in the event’s log";
pub const NO_LOG: &str = "Marked on the screen only: no event is open";
pub const CUTS: &str = "Cuts so far";
pub const NO_CUTS: &str = "no cuts yet";
pub const EQUALISER: &str = "The equaliser of the outputs";
pub const OUTPUTS: &str = "Ring out";
pub const WANTED: &str = "Wanted above the show mark";
pub const ECHOING: &str = "The hall echoes";
pub const RING_OUT_FIRST: &str = "Ring out the hall";
pub const MAINS_DOWN: &str = "Mains DOWN  ←";
pub const MAINS_UP: &str = "Mains UP  →";
pub const MINUTES: &str = "min";
pub const LIGHT: &str = "Dark hall or daylight  D";
pub const SMALLER: &str = "Smaller text  −";
pub const LARGER: &str = "Larger text  +";
pub const STILL: &str = "Less movement  C";
pub const MOVING: &str = "All movement  C";
pub const FEET: &str = "Feet beside metres  G";
pub const METRES: &str = "Metres alone  G";

/// The keys, for the help.
pub const KEYS: [(&str, &str); 22] = [
    ("Space", "done, or yes"),
    ("S", "skip this step, or leave it"),
    ("N", "no; never"),
    ("L", "the knob is at its limit; in the show: which microphone is in the room"),
    ("Q", "in the ring-out: measure quietly"),
    ("R", "in the show: ready? The last look before doors"),
    ("K", "in the show: record all channels, or stop that"),
    ("B", "back: the last cut, or the view before"),
    ("M", "mark this moment"),
    ("Esc", "stop; close what is open"),
    ("1–9", "look at a channel; Esc: back to the step’s own"),
    ("W", "why: numbers and history"),
    ("T", "table or stage"),
    ("I", "choose the input"),
    ("F1 …", "the views, from left to right"),
    ("D", "dark hall or daylight"),
    ("+ −", "size of text"),
    ("C", "less movement, or all of it"),
    ("G", "feet beside metres, or metres alone"),
    ("[ ]", "five minutes less, or more, to doors"),
    ("← →", "on the simulated stage: turn the knob, move the mains"),
    ("A", "on the simulated stage: ask for the loudest part"),
];

/// The steps of the day along the doors bar, with the minutes before doors at which each is due.
pub const DAY: [(&str, f64); 5] =
    [("lines", 38.0), ("voices", 30.0), ("band", 22.0), ("ring-out", 15.0), ("last look", 7.0)];

pub const LAST_MINUTE: &str = "last minute";
pub const LAST_HOUR: &str = "last hour";
pub const SPECTRUM: &str = "spectrum";

pub fn peaks_of(channel: ChannelId) -> String {
    format!("Peaks of channel {} over the last minute and the last hour", channel.number())
}

pub fn spectrum_of(channel: ChannelId) -> String {
    format!("Spectrum of channel {} over the last seconds", channel.number())
}

pub fn minutes_to_doors(minutes: u32) -> String {
    format!("{minutes} minutes to doors")
}

/// What no longer fits.
pub const fn drops_out(minutes: u32) -> Option<&'static str> {
    match minutes {
        0..=5 => Some("5 minutes: one speech microphone, playback, the recorder; all else drops out"),
        6..=10 => Some("10 minutes: choir and keys drop out"),
        11..=20 => Some("20 minutes: drums and the second wedge drop out"),
        _ => None,
    }
}

/// The words on the buttons that answer a step, each with its key.
pub const fn answers(reply: Reply) -> &'static [&'static str] {
    match reply {
        Reply::Wait => &["Skip  S"],
        Reply::Done => &["Done  Space", "Skip  S"],
        Reply::Knob => &["Done  Space", "At its limit  L", "Skip  S"],
        Reply::YesNo => &["Yes  Space", "No  N", "Skip  S"],
        Reply::Lamp => &["Never  N", "Sometimes  S", "Often  O", "Skip  X"],
        Reply::Over => &[],
    }
}
