//! The next step in words: verb, knob, channel, DIRECTION, amount; then what to ask; then the proof.
//!
//! One knob a sentence; direction words in capitals; the desk's own words for knob and lamp. Never blames.

use super::numbers::{dbfs, seconds, span, window};
use crate::coach::{Advice, Need, Passage, Step, TrimCause, Turn, Unseen, Why};
use crate::units::{Dbfs, Seconds};

/// What is printed on the desk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeskWords {
    /// Beside the input knob: Trim, Gain, Sens …
    pub knob: String,
    /// At the top of the channel's meter: Peak, Clip, OL …
    pub lamp: String,
    /// Whether the knobs have dB marks.
    pub marks: bool,
}

impl Default for DeskWords {
    fn default() -> Self {
        Self { knob: "Trim".into(), lamp: "Peak".into(), marks: true }
    }
}

/// Which way to turn, for the arrow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Arrow {
    Down,
    Up,
    None,
}

impl Arrow {
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Down => "↓",
            Self::Up => "↑",
            Self::None => "→",
        }
    }
}

/// The next step, ready to show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NextStep {
    pub arrow: Arrow,
    /// The one sentence.
    pub sentence: String,
    /// What to do with it: what to ask, or how to answer.
    pub then: String,
    /// One line of numbers.
    pub proof: String,
    /// The step wants an answer, yes or no.
    pub asks: bool,
}

/// Words for a step; `who` is "3 Soloist".
pub fn next_step(advice: &Advice, who: &str, desk: &DeskWords) -> NextStep {
    let DeskWords { knob, lamp, marks } = desk;
    let why = &advice.why;
    let mut arrow = Arrow::None;
    let mut turned = |turn: Turn, by: u8| {
        arrow = if turn == Turn::Down { Arrow::Down } else { Arrow::Up };
        let direction = direction(turn);
        if *marks {
            format!("{knob} of {who} {direction} {by} dB")
        } else {
            format!("Turn {knob} of {who} slowly {direction} until the marker meets the line")
        }
    };
    let (sentence, then, asks) = match advice.step {
        Step::Listen { passage, again } => {
            let again = if again { " again" } else { "" };
            (format!("Ask {who} for {}{again}", wanted(passage)), "listening; nothing to turn yet".into(), false)
        }
        Step::ConfirmLoudest => {
            (format!("{who}: was that as loud as it gets?"), "yes, or no: there’s louder".into(), true)
        }
        Step::ConfirmMeant { peak } => (
            format!("{who}: was the burst at {} meant?", dbfs(peak)),
            "yes: it counts; no: it is set aside".into(),
            true,
        ),
        Step::CheckSource => {
            (format!("I hear only the room on {who}"), "is it switched on, is anyone at it?".into(), false)
        }
        Step::Trim { turn, by, cause, again } => {
            let sentence = turned(turn, by.db());
            let then = match (again, cause) {
                (true, _) => "nothing moved yet; at its end, say so".into(),
                (false, TrimCause::Clipped) if why.unseen == Unseen::Inputs => {
                    format!("then look at the {lamp} lamp again")
                }
                (false, _) => format!("then ask for {} again", passage_of(why)),
            };
            (sentence, then, false)
        }
        Step::PutBack { turn, by } => {
            let other = direction(if turn == Turn::Down { Turn::Up } else { Turn::Down });
            (
                format!("That was {who}. Put it back {} {} dB", direction(turn), by.db()),
                format!("it went {other}; the other knob comes next"),
                false,
            )
        }
        Step::NoMovement { turn } => {
            (format!("{knob} of {who} did not go {}", direction(turn)), "at its end? Say so, or skip".into(), true)
        }
        Step::SourceOverload => (
            format!("Turn {who} down at the source"),
            "pack, DI or instrument clips before the desk; leave the desk".into(),
            false,
        ),
        Step::AskLampLit => (
            format!("{who}: does the {lamp} lamp flash?"),
            format!("yes: {knob} comes next; no: look at the source"),
            true,
        ),
        Step::Pad => (format!("Press the pad of {who}"), format!("{knob} is at its end and still too hot"), false),
        Step::WrongInput => (
            format!("{who} stays faint: check how it is plugged"),
            "right input, pad off, microphone close, phantom if it needs it".into(),
            false,
        ),
        Step::MoveCloser => (
            format!("Move the microphone of {who} closer"),
            "a hand’s width; gain would lift the noise as well".into(),
            false,
        ),
        Step::LowCut { at } => {
            (format!("Low-cut of {who} ON (about {:.0} Hz)", at.get()), "much of what is heard is rumble".into(), false)
        }
        Step::LeaveIt { varies } => {
            (format!("Leave {who} as it is"), format!("this player varies {}; ride the fader", span(varies)), false)
        }
        Step::PressSolo => (format!("Press solo on {who} only"), "then say done".into(), false),
        Step::ReleaseSolo => ("Release every solo".into(), "the feed must fall silent first".into(), false),
        Step::AskLamp => (format!("{who}: did the {lamp} lamp flash?"), "never, sometimes or often".into(), true),
        Step::AllSet => ("All set".into(), "leave the knobs alone".into(), false),
    };
    NextStep { arrow, sentence, then, proof: proof(advice), asks }
}

/// The evidence, line by line.
pub fn why_lines(advice: &Advice) -> Vec<String> {
    let why = &advice.why;
    let mut lines = vec![format!("Loudest peak that counts: {}", dbfs(why.peak))];
    if let Some(target) = why.window {
        lines.push(format!("Target window: {} dBFS; {} of show lift on top", window(target), span(why.show_lift)));
    }
    if !why.active_level.is_silence() {
        lines.push(format!("Level while sounding: {}", dbfs(why.active_level)));
    }
    lines.push(match why.floor {
        Some(floor) => format!("Noise in the pauses: {}", dbfs(floor)),
        None => "Noise: no pause heard yet".into(),
    });
    lines.push(heard(why));
    if let Some(aside) = why.set_aside {
        lines.push(format!(
            "Set aside: one burst of {}, {} over the rest",
            dbfs(aside.peak),
            span(aside.above_the_rest)
        ));
    }
    if why.tops.clipped > 0 {
        lines.push(format!("Flat at full scale: {} times", why.tops.clipped));
    }
    if why.tops.flat > 0 {
        lines.push(format!("Flat tops at {}: {} places", dbfs(why.tops.flat_level), why.tops.flat));
    }
    lines.push(unseen(why.unseen).into());
    lines
}

/// What can't be known this way.
pub const fn unseen(unseen: Unseen) -> &'static str {
    match unseen {
        Unseen::RoomLevel => "Can’t see from here: how loud it is in the room",
        Unseen::OtherChannels => "Can’t see from here: every channel but this one",
        Unseen::Inputs => "Can’t see from here: the inputs, and whether they clip",
    }
}

fn proof(advice: &Advice) -> String {
    let why = &advice.why;
    if advice.step == Step::AllSet || why.unseen == Unseen::Inputs {
        return unseen(why.unseen).to_owned();
    }
    let mut parts = vec![heard(why)];
    if !why.peak.is_silence() {
        parts.push(format!("loudest {}", dbfs(why.peak)));
    }
    if let Some(target) = why.window {
        parts.push(format!("window {}", window(target)));
    }
    parts.join(" · ")
}

/// "heard 12 of 20 s", "heard 5 of 8 hits".
fn heard(why: &Why) -> String {
    match why.need {
        _ if why.active == Seconds::ZERO && why.peak == Dbfs::SILENCE => "not heard yet".into(),
        Some(Need::Hits(need)) => format!("heard {} of {need} hits", why.hits.min(need)),
        Some(Need::Active(need)) => {
            format!("heard {} of {}", seconds_in(why.active.get().min(need.get())), seconds(need))
        }
        None => format!("heard {}", seconds(why.active)),
    }
}

fn seconds_in(seconds: f64) -> String {
    format!("{}", (seconds + 1e-9).floor())
}

const fn direction(turn: Turn) -> &'static str {
    match turn {
        Turn::Down => "DOWN",
        Turn::Up => "UP",
    }
}

fn passage_of(why: &Why) -> &'static str {
    why.passage.map_or("the loudest part", wanted)
}

/// What a performer is asked for.
pub const fn wanted(passage: Passage) -> &'static str {
    match passage {
        Passage::ToTheBackWall => "a sentence to the back wall",
        Passage::LoudestChorus => "the loudest chorus",
        Passage::ShoutedLine => "a shouted line",
        Passage::EveryoneWithPiano => "everyone, with piano",
        Passage::StrumAndPick => "strumming and picking",
        Passage::LoudestStyle => "the loudest style",
        Passage::LoudestPatch => "the loudest sound, both hands",
        Passage::LoudestHits => "the hardest hits",
        Passage::FullGroove => "the full groove with crash",
        Passage::Fortissimo => "fortissimo, bell on",
        Passage::LoudestCue => "the loudest cue",
        Passage::LoudestPart => "the loudest part",
    }
}
