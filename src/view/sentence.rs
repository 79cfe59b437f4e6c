//! The next step in words: verb, knob, channel, DIRECTION, amount; then what to ask; then the proof.
//!
//! One knob a sentence; direction words in capitals; the desk's own words for knob and lamp, and its own dB once
//! they are known. Never blames; what helps is said in at most twelve words.

use super::numbers::{Scale, counted, seconds, span, times, whole_seconds};
use super::words::{direction, unseen, wanted};
use crate::coach::{Advice, ChannelState, Need, Step, TrimCause, Turn, Unseen, Why};
use crate::units::{Db, Dbfs, Seconds};

/// What is printed on the desk, and what its 0 reads here.
#[derive(Clone, Debug, PartialEq)]
pub struct DeskWords {
    /// Beside the input knob: Trim, Gain, Sens …
    pub knob: String,
    /// At the top of the channel's meter: Peak, Clip, OL …
    pub lamp: String,
    /// Whether the knobs have dB marks.
    pub marks: bool,
    /// What the desk's 0 reads here, once it was measured.
    pub zero: Option<Dbfs>,
}

impl Default for DeskWords {
    fn default() -> Self {
        Self { knob: "Trim".into(), lamp: "Peak".into(), marks: true, zero: None }
    }
}

impl DeskWords {
    /// How levels are told.
    pub fn scale(&self) -> Scale {
        Scale::of(self.zero)
    }

    /// Where no meter is on show, there is no marker to turn by: amounts are told in dB.
    pub fn without_a_marker(&self) -> Self {
        Self { marks: true, ..self.clone() }
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

impl From<Turn> for Arrow {
    fn from(turn: Turn) -> Self {
        match turn {
            Turn::Down => Self::Down,
            Turn::Up => Self::Up,
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
    /// How it is answered.
    pub reply: Reply,
}

/// What the person can say to a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reply {
    /// Nothing: it goes on by itself. It can be skipped.
    Wait,
    /// Done, or skip.
    Done,
    /// A knob: done, at its limit, or skip.
    Knob,
    /// Yes or no.
    YesNo,
    /// Never, sometimes, often.
    Lamp,
    /// It is over.
    Over,
}

/// Words for a step; `who` is "3 Soloist".
pub fn next_step(advice: &Advice, who: &str, desk: &DeskWords) -> NextStep {
    let DeskWords { knob, lamp, marks, .. } = desk;
    let why = &advice.why;
    let (arrow, reply, sentence, then): (Arrow, Reply, String, String) = match advice.step {
        Step::Listen { passage, again } => {
            let again = if again { " again" } else { "" };
            let sentence = format!("Ask {who} for {}{again}", wanted(passage));
            (Arrow::None, Reply::Wait, sentence, "listening; nothing to turn yet".into())
        }
        Step::ConfirmLoudest => {
            let sentence = format!("{who}: was that as loud as it gets?");
            (Arrow::None, Reply::YesNo, sentence, "yes, or no: there’s louder".into())
        }
        Step::ConfirmMeant { peak } => {
            let sentence = format!("{who}: was the burst at {} meant?", desk.scale().level(peak));
            (Arrow::None, Reply::YesNo, sentence, "yes: it counts; no: it is set aside".into())
        }
        Step::CheckSource => {
            let sentence = format!("I hear only the room on {who}");
            (Arrow::None, Reply::Wait, sentence, "is it switched on, is anyone at it?".into())
        }
        Step::Trim { turn, by, cause, again } => {
            let sentence = if *marks {
                format!("Turn {knob} of {who} {} {} dB", direction(turn), by.db())
            } else {
                format!("Turn {knob} of {who} slowly {} until the marker meets the line", direction(turn))
            };
            let passage = why.passage.map_or("the loudest part", wanted);
            let then = match cause {
                _ if again => "I heard no change yet; at its limit? Say so".into(),
                TrimCause::Clipped if why.unseen == Unseen::Inputs => format!("then look at the {lamp} lamp again"),
                _ if *marks => format!("then ask for {passage} again"),
                _ => format!("while you hear {passage}"),
            };
            (turn.into(), Reply::Knob, sentence, then)
        }
        Step::PutBack { turn, by } => {
            let sentence = if *marks {
                format!("Was {who} turned by mistake? Put it back {} {} dB", direction(turn), by.db())
            } else {
                format!("Was {who} turned by mistake? Turn it slowly {}, back to where it was", direction(turn))
            };
            (turn.into(), Reply::Done, sentence, "then the one that was asked for. Nobody touched it? Skip".into())
        }
        Step::NoMovement { turn } => {
            let sentence = format!("{knob} of {who}: I heard no change");
            let then = format!("no way left {}? Say at its limit, or skip", direction(turn));
            (Arrow::None, Reply::Knob, sentence, then)
        }
        Step::SourceOverload => {
            let sentence = format!("Turn {who} DOWN at the source");
            (Arrow::None, Reply::Done, sentence, format!("pack, DI or instrument overloads; leave {knob} alone"))
        }
        Step::AskLampLit => {
            let sentence = format!("{who}: does the {lamp} lamp flash?");
            (Arrow::None, Reply::YesNo, sentence, format!("yes: {knob} comes next; no: the source does"))
        }
        Step::Pad => {
            let sentence = format!("Press the pad of {who}");
            (Arrow::None, Reply::Done, sentence, format!("{knob} is at its limit and the level still high"))
        }
        Step::WrongInput => {
            let sentence = format!("Look at how {who} is plugged in");
            let then = "right input, pad off, microphone close, phantom if it needs it";
            (Arrow::None, Reply::Done, sentence, then.into())
        }
        Step::MoveCloser => {
            let sentence = format!("Move the microphone of {who} to a hand’s width");
            (Arrow::None, Reply::Done, sentence, "turning up would lift the noise as well".into())
        }
        Step::LowCut { at } => {
            let sentence = format!("Low-cut of {who} ON, about {:.0} Hz", at.get());
            (Arrow::None, Reply::Done, sentence, "much of what is heard lies below it".into())
        }
        Step::LeaveIt { varies } => {
            let then = format!("this player varies {}; ride the fader", span(varies));
            (Arrow::None, Reply::Done, format!("Leave {who} as it is"), then)
        }
        Step::PressSolo => {
            (Arrow::None, Reply::Done, format!("Press solo on {who} only"), "every other solo stays off".into())
        }
        Step::ReleaseSolo => {
            (Arrow::None, Reply::Done, "Release every solo".into(), "the feed falls silent first".into())
        }
        Step::AskLamp => {
            let sentence = format!("{who}: did the {lamp} lamp flash?");
            (Arrow::None, Reply::Lamp, sentence, "never, sometimes or often".into())
        }
        Step::PlayTogether => {
            let sentence = "Everyone together: the loudest song".into();
            (Arrow::None, Reply::Wait, sentence, "with every knob as it stands; nothing to turn yet".into())
        }
        Step::AllSet => (Arrow::None, Reply::Over, "All set".into(), "leave the knobs alone".into()),
    };
    NextStep { arrow, reply, sentence, then, proof: proof(advice, desk.scale()) }
}

impl NextStep {
    /// At the end, with how every input stands: not all that is over is set.
    pub fn with_the_end(self, states: impl Iterator<Item = ChannelState> + Clone) -> Self {
        let (all, set) = (states.clone().count(), states.filter(|state| *state == ChannelState::Set).count());
        if self.reply != Reply::Over || set == all {
            return self;
        }
        let left = counted((all - set) as u64, "input is", "inputs are");
        Self {
            sentence: "Nothing more to ask".into(),
            then: format!("{set} of {all} set; {left} left as found"),
            ..self
        }
    }
}

/// The evidence, line by line.
pub fn why_lines(advice: &Advice, desk: &DeskWords) -> Vec<String> {
    let why = &advice.why;
    let scale = desk.scale();
    let mut lines = vec![format!("Loudest peak that counts: {}", scale.level(why.peak))];
    if let Some(window) = why.window {
        lines.push(format!("Target window: {} {}", scale.window(window), scale.unit()));
        lines.push(format!("Wanted on top for show night: {} of show lift", span(why.show_lift)));
    }
    if !why.active_level.is_silence() {
        lines.push(format!("Level while sounding: {}", scale.level(why.active_level)));
    }
    lines.push(match why.floor {
        Some(floor) => format!("Noise in the pauses: {}", scale.level(floor)),
        None => "Noise in the pauses: no pause heard yet".into(),
    });
    lines.push(format!("Time: {}", heard(why)));
    if let Some(aside) = why.set_aside {
        let (peak, above) = (scale.level(aside.peak), span(aside.above_the_rest));
        lines.push(format!("Set aside: one burst of {peak}, {above} over the rest"));
    }
    if why.tops.clipped > 0 {
        lines.push(format!("Flat at full scale: {}", times(why.tops.clipped)));
    }
    if why.tops.flat > 0 {
        let places = counted(why.tops.flat.into(), "place", "places");
        lines.push(format!("Flat tops at {}: {places}", scale.level(why.tops.flat_level)));
    }
    if let Step::LowCut { .. } = advice.step {
        lines.push(format!("Below the low-cut: {:.0} % of what is heard", why.rumble * 100.0));
    }
    if let Step::PutBack { turn, by } = advice.step {
        let changed = if turn == Turn::Up { "quieter" } else { "louder" };
        lines.push(format!(
            "Why this knob: all of it became about {} dB {changed} after the request, and the asked one did not change",
            by.db()
        ));
    }
    lines.push(unseen(why.unseen).into());
    lines
}

/// "heard 12 of 20 s", "heard 5 of 8 hits", for a row of the table too.
pub fn heard_of(active: Seconds, hits: u32, need: Need) -> String {
    match need {
        Need::Hits(need) => format!("heard {} of {}", hits.min(need), counted(need.into(), "hit", "hits")),
        Need::Active(need) => {
            let whole = whole_seconds(active).min(whole_seconds(need));
            format!("heard {whole} of {}", seconds(need))
        }
    }
}

fn proof(advice: &Advice, scale: Scale) -> String {
    let why = &advice.why;
    if advice.step == Step::AllSet || why.unseen == Unseen::Inputs {
        return unseen(why.unseen).to_owned();
    }
    let mut parts = vec![heard(why)];
    if !why.peak.is_silence() {
        parts.push(format!("loudest {}", scale.level(why.peak)));
    }
    if why.tops.clipped > 0 {
        parts.push(format!("flat at full scale {}", times(why.tops.clipped)));
    }
    if let Some(window) = why.window {
        parts.push(format!("window {}", scale.window(window)));
    }
    if why.show_lift > Db::ZERO {
        parts.push(format!("{} of show lift wanted on top", span(why.show_lift)));
    }
    parts.join(" · ")
}

fn heard(why: &Why) -> String {
    match why.need {
        _ if why.active == Seconds::ZERO && why.peak.is_silence() => "not heard yet".into(),
        Some(need) => heard_of(why.active, why.hits, need),
        None => format!("heard {}", seconds(why.active)),
    }
}
