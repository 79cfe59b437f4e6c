//! The fixed words of every face, in one place: what to ask a performer for, what can't be seen from here, how the
//! source is, questions on the first use, cautions.
//!
//! Plain words of the trade; no sentence blames; a help is at most twelve words long.

use super::numbers::{change, counted};
use crate::coach::{Connection, Passage, Turn, Unseen};
use crate::engine::Snapshot;
use crate::engine::session::Status;
use crate::units::{Db, FrameCount, SampleRate};

/// Heard by sound or by signal; said where something may play or be turned up.
pub const HEARING: &str = "Hearing: nobody close to a loudspeaker; turn outputs down before anything plays.";
pub const LOCAL_RULES: &str = "Local rules and licensed practice come first.";

/// Asked once an event, with the usual answer.
pub const KNOB_QUESTION: &str = "Which word stands by the input knob?";
pub const LAMP_QUESTION: &str = "What is the top lamp of a channel called?";
pub const MARKS_QUESTION: &str = "Do the input knobs have dB marks?";
pub const QUESTIONS: &str = "Three questions about this desk, once. Enter takes the answer in brackets.";

pub const SIMULATED: &str = "Simulated stage: no device is used";
pub const HELPED: &str = "a simulated helper turns the knobs.";
pub const YOUR_DESK: &str = "your desk: beforedoors soundcheck --device NAME";
pub const TO_YOUR_DESK: &str = "Your desk: beforedoors devices, then beforedoors soundcheck --device NAME";

pub const NO_DEVICE_NAMED: &str = "The event names no device: this is the simulated stage, with inputs of its own. \
                                   For your desk: --device NAME, or device = \"NAME\" in event.toml";
pub const REPLAYED: &str = "What would have been said while it was played:";
pub const WITHOUT_A_LIST: &str =
    "No input list: every channel is taken for “other”. Name the event with --event FOLDER";
pub const WHOLE_TAKE: &str = "The whole of it:";

/// Said while a folder is watched.
pub const WATCHING: &str = "Waiting for recordings to land (Ctrl-C ends it) in";

pub const MAY_SLEEP: &str = "This system does not let its sleep be held off. Switch sleep off in its settings, and keep the lid open, until you are done";

pub const BACK: &str = "The device is back; what was missed is a gap";

/// Of a soundcheck that is over.
pub const SOUNDCHECK_KEPT: &str = "Stored in the event for the last look before doors";
pub const KEPT_WITHOUT_QUIET: &str =
    "Stored in the event. Ten quiet seconds on stage would tell each line’s floor as well, for the last look";
pub const SOUNDCHECK_NOT_KEPT: &str = "This soundcheck is not stored";

/// Said at once when a key was taken.
pub const NOTED: &str = "Noted; one moment";
pub const ASKED: &str = "Asked; it comes in a few seconds";

/// Of a simulated knob, since the step came up.
pub fn turned_so_far(by: Db) -> String {
    format!("Turned {} so far", change(by))
}

pub const fn direction(turn: Turn) -> &'static str {
    match turn {
        Turn::Down => "DOWN",
        Turn::Up => "UP",
    }
}

/// What a performer is asked for.
pub const fn wanted(passage: Passage) -> &'static str {
    match passage {
        Passage::ToTheBackWall => "a sentence to the back wall",
        Passage::LoudestChorus => "the loudest chorus",
        Passage::ShoutedLine => "a shouted line",
        Passage::EveryoneWithPiano => "everyone at full voice with piano",
        Passage::StrumAndPick => "loud strumming and picking",
        Passage::LoudestStyle => "the loudest style of playing",
        Passage::LoudestPatch => "the loudest sound with both hands",
        Passage::LoudestHits => "the hardest hits",
        Passage::FullGroove => "the full groove with crashes",
        Passage::Fortissimo => "the loudest notes straight at the microphone",
        Passage::LoudestCue => "the loudest cue",
        Passage::LoudestPart => "the loudest part",
    }
}

/// What can't be known this way.
pub const fn unseen(unseen: Unseen) -> &'static str {
    match unseen {
        Unseen::RoomLevel => "Can’t see from here: how loud it is in the room",
        Unseen::OtherChannels => "Can’t see from here: every channel but this one",
        Unseen::Inputs => "Can’t see from here: the inputs, and whether they clip",
    }
}

pub const fn connection(connection: Connection) -> &'static str {
    match connection {
        Connection::Usb => "all channels by USB",
        Connection::Feed => "one feed, one channel at a time",
        Connection::Room => "a room microphone only",
    }
}

/// "all channels by USB · 48.0 kHz".
pub fn source(source: Connection, rate: SampleRate) -> String {
    format!("{} · {:.1} kHz", connection(source), f64::from(rate.get()) / 1000.0)
}

/// How the source is, where that is not well.
pub fn status(status: &Status) -> Option<String> {
    match status {
        Status::Running | Status::Ended => None,
        Status::BegunAnew => Some(
            "The measuring failed and began anew: what was heard before counts no more. Go on with the step at hand"
                .into(),
        ),
        Status::Quiet => Some("Nothing comes from the device: check its cable and power".into()),
        Status::AllZero => Some("Only digital zeros: check microphone permission, mute and routing".into()),
        Status::Lost(why) => Some(why.clone()),
    }
}

/// "2.1 s of sound missing"; `None` if nothing is.
pub fn missing(snapshot: &Snapshot) -> Option<String> {
    let lost = FrameCount::new(snapshot.lost_frames).at(snapshot.readings.rate);
    (snapshot.lost_frames > 0).then(|| format!("{:.1} s of sound missing", lost.get()))
}

/// All channels by USB, and the list is longer than the device is wide; `None` if it is not.
pub fn too_few_channels(given: usize, listed: usize) -> Option<String> {
    let given_words = counted(given as u64, "channel", "channels");
    (listed > given).then(|| {
        format!("The device gives {given_words}, the input list has {listed}: from {} on nothing is heard", given + 1)
    })
}

/// Text from outside (names, paths) in a form that cannot steer a terminal or break a line.
pub fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() || is_steering(c) { '\u{fffd}' } else { c }).collect()
}

/// Marks that turn the direction of writing, or hide.
const fn is_steering(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}

/// An error's text says what is wrong, then how to mend it; these are the two parts.
pub fn problem_and_fix(message: &str) -> (&str, Option<&str>) {
    let cut = message.find(". ").or_else(|| message.find(": save "));
    let parts = cut.and_then(|at| Some((message.get(..at)?, message.get(at + 2..)?.trim())));
    match parts {
        Some((problem, fix)) if !fix.is_empty() => (problem, Some(fix)),
        _ => (message, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_performers_are_asked_for() {
        let all = [
            (Passage::ToTheBackWall, "a sentence to the back wall"),
            (Passage::LoudestChorus, "the loudest chorus"),
            (Passage::ShoutedLine, "a shouted line"),
            (Passage::EveryoneWithPiano, "everyone at full voice with piano"),
            (Passage::StrumAndPick, "loud strumming and picking"),
            (Passage::LoudestStyle, "the loudest style of playing"),
            (Passage::LoudestPatch, "the loudest sound with both hands"),
            (Passage::LoudestHits, "the hardest hits"),
            (Passage::FullGroove, "the full groove with crashes"),
            (Passage::Fortissimo, "the loudest notes straight at the microphone"),
            (Passage::LoudestCue, "the loudest cue"),
            (Passage::LoudestPart, "the loudest part"),
        ];
        for (passage, words) in all {
            assert_eq!(wanted(passage), words);
        }
    }

    #[test]
    fn a_source_that_is_not_well() {
        assert_eq!(status(&Status::Running), None);
        assert_eq!(status(&Status::Ended), None);
        let told = |it| status(&it).unwrap();
        assert!(told(Status::BegunAnew).starts_with("The measuring failed and began anew"));
        assert_eq!(told(Status::Quiet), "Nothing comes from the device: check its cable and power");
        assert_eq!(told(Status::AllZero), "Only digital zeros: check microphone permission, mute and routing");
        assert_eq!(told(Status::Lost("gone".into())), "gone");
    }

    #[test]
    fn a_list_longer_than_the_device() {
        assert_eq!(too_few_channels(8, 8), None);
        let told = "The device gives 2 channels, the input list has 8: from 3 on nothing is heard";
        assert_eq!(too_few_channels(2, 8).unwrap(), told);
    }

    #[test]
    fn names_cannot_steer_the_terminal() {
        assert_eq!(plain("Chor\u{1b}[2J\n\u{202e}links"), "Chor\u{fffd}[2J\u{fffd}\u{fffd}links");
        assert_eq!(plain("Flöte – 1st ♪"), "Flöte – 1st ♪");
    }

    #[test]
    fn an_error_says_what_and_how_to_mend_it() {
        let told = problem_and_fix("the file is empty (0 bytes). Copy it again from the recorder");
        assert_eq!(told, ("the file is empty (0 bytes)", Some("Copy it again from the recorder")));
        let told = problem_and_fix("this is Opus, which can't be read here: save it as M4A or WAV");
        assert_eq!(told, ("this is Opus, which can't be read here", Some("save it as M4A or WAV")));
        assert_eq!(problem_and_fix("no more"), ("no more", None));
        assert_eq!(problem_and_fix(""), ("", None));
    }
}
