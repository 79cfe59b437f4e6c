//! The line check for the eye: headlines, what can be answered, how each line stands as a word, its ticks.
//!
//! Headlines are read from two metres: few words, the channel by its number, at most 26 letters but for a name. The
//! whole sentence is `linecheck`'s. Edge cases: a channel without a name is its number.

use super::linecheck::{LineNext, LineReply, assembly_lines, line_end, line_result, line_step};
use super::sentence::{Arrow, NextStep, Reply};
use super::setup::who;
use crate::coach::linecheck::{Call, HumCure, LineAdvice, LineAnswer, LineOutcome, LineStep, Side, Way};
use crate::engine::linecheck::{AssemblyFound, LineSnapshot, LineStatus};
use crate::event::{Date, Tick};
use crate::units::ChannelId;

pub const BEGIN: &str = "Begin  Space";
pub const ASSEMBLY: &str = "One microphone and a video  A";
pub const OTHER_STAGE: &str = "Another stage  →";
pub const STOP: &str = "STOP  Esc";
pub const START_OVER: &str = "Start over  X";
pub const FIRST: &str = "Check the lines";
pub const STOPPED: &str = "Stopped; what was found stays";
pub const ONE_FEED: &str = "Only all channels by USB show which line a tap comes in on. One microphone and a video: A";
pub const LOUDSPEAKERS: &str = "Loudspeakers";

pub const KEYS: [(&str, &str); 4] = [
    ("Space N S", "in the line check: done or yes, no, skip"),
    ("L R B O", "in the line check: heard left, right, on both, nowhere"),
    ("1 2 E A", "in the line check: the first, the second, no difference, again"),
    ("X", "in the line check: start over"),
];

/// Before it begins.
pub fn before(inputs: usize, event: Option<&str>, staged: bool) -> NextStep {
    let then = match (staged, event) {
        (true, _) => format!("{inputs} inputs of the simulated stage; a helper taps, you answer"),
        (false, Some(event)) if !event.is_empty() => format!("{inputs} inputs of {event}, in the order of the list"),
        (false, _) => format!("{inputs} inputs, in the order of the list"),
    };
    NextStep {
        arrow: Arrow::None,
        sentence: FIRST.into(),
        then,
        proof: "each is called, tapped or played, and ticked where it comes in".into(),
        reply: Reply::Done,
    }
}

/// What is wrong on the simulated stage, without giving it away.
pub fn stage_words(seed: u64, faults: usize) -> String {
    let faults = super::numbers::counted(faults as u64, "fault", "faults");
    format!("Simulated stage {seed}: {faults} to find")
}

/// The step, or how it all ended.
pub fn line_next(snapshot: &LineSnapshot, names: &[String]) -> LineNext {
    if snapshot.is_over() { line_end(snapshot) } else { line_step(&snapshot.advice, names) }
}

/// As it is read from two metres.
pub fn line_headline(snapshot: &LineSnapshot, names: &[String]) -> String {
    match counts(snapshot) {
        Some((right, all)) if snapshot.is_over() && right == all => "Every line is right".into(),
        Some((right, all)) if snapshot.is_over() => format!("{right} of {all} are right"),
        _ => step_headline(&snapshot.advice, names),
    }
}

/// Of a step alone.
pub fn step_headline(advice: &LineAdvice, names: &[String]) -> String {
    let LineAdvice { step, channel, .. } = *advice;
    let it = who(channel, names);
    let own = channel.map_or(0, ChannelId::number);
    let called = |way, name: &str| match way {
        Way::Tap => format!("Tap {name}"),
        Way::Play => format!("Play {name}"),
    };
    match step {
        LineStep::Quiet => "Quiet, please".into(),
        LineStep::Call { why: Call::TalkOver, .. } => format!("Quiet at {own}, please"),
        LineStep::Call { way, why: Call::First | Call::Follow { .. } } => called(way, &colon(channel, names)),
        LineStep::Call { way, .. } => format!("Again: {}", called(way, &colon(channel, names))),
        LineStep::Swap { with } => format!("Swap {own} and {}", with.number()),
        LineStep::Rotate { second, third } => {
            format!("Move three plugs: {own}, {}, {}", second.number(), third.number())
        }
        LineStep::Move { on } => format!("Plug of {own}: {} to {own}", on.number()),
        LineStep::BothOn { on } => format!("{own} and {} both on {}", on.number(), on.number()),
        LineStep::AskPhantom => format!("Is +48 on for {own}?"),
        LineStep::MuteForPhantom => "Mute everything".into(),
        LineStep::PhantomOn => format!("+48 ON for {own}"),
        LineStep::PhantomWait => "Wait ten seconds".into(),
        LineStep::NotHeard => format!("{own}: another cable"),
        LineStep::Copied { to } => format!("{own} is also on {}", to.number()),
        LineStep::HumCure(HumCure::Lift) => format!("{own} hums: DI’s lift"),
        LineStep::HumCure(HumCure::Charger) => format!("{own} hums: charger off"),
        LineStep::HumCure(HumCure::LeadAway) => format!("{own} hums: lead away"),
        LineStep::HumCure(HumCure::OtherLead) => format!("{own} hums: other lead"),
        LineStep::Noisy => format!("{own} hisses"),
        LineStep::Middle { with, way: Way::Tap, .. } => format!("Clap between {} and {own}", with.number()),
        LineStep::Middle { with, way: Way::Play, .. } => format!("Low notes: {} and {own}", with.number()),
        LineStep::Reversed { .. } => format!("Polarity of {own}: press"),
        LineStep::AskSound => "May a noise play?".into(),
        LineStep::WhichSide { side: Side::Left } => "LEFT plays: where?".into(),
        LineStep::WhichSide { side: Side::Right } => "RIGHT plays: where?".into(),
        LineStep::SwapSpeakers => "Swap left and right".into(),
        LineStep::SpeakerSilent { side: Side::Left } => "LEFT is silent".into(),
        LineStep::SpeakerSilent { side: Side::Right } => "RIGHT is silent".into(),
        LineStep::Fuller => "Which has more body?".into(),
        LineStep::RoomListens => "The hall listens".into(),
        LineStep::SpeakersReversed => "Turn one lead over".into(),
        LineStep::AnyTap => "Tap the mic".into(),
        LineStep::AnyPlay => "Play the video".into(),
        LineStep::AskHall if it.is_empty() => "Speak: where is it heard?".into(),
        LineStep::AskHall => format!("Speak at {own}: heard?"),
        LineStep::Over => "Done".into(),
    }
}

/// "4: Choir left".
fn colon(channel: Option<ChannelId>, names: &[String]) -> String {
    let Some(channel) = channel else { return String::new() };
    match names.get(channel.index()) {
        Some(name) if !name.is_empty() => format!("{}: {name}", channel.number()),
        _ => channel.number().to_string(),
    }
}

fn counts(snapshot: &LineSnapshot) -> Option<(usize, usize)> {
    let right = snapshot.inputs.iter().filter(|input| input.result.is_right()).count();
    snapshot.assembly.is_none().then_some((right, snapshot.inputs.len()))
}

/// What can be said to a step: the button's words, with the key at their end, and the answer.
pub const fn line_answers(reply: LineReply) -> &'static [(&'static str, LineAnswer)] {
    use LineAnswer::{Again, Both, Done, First, Left, No, Nowhere, Right, Same, Second, Skip};
    const SKIP: (&str, LineAnswer) = ("Skip  S", Skip);
    match reply {
        LineReply::Wait => &[SKIP],
        LineReply::Done => &[("Done  Space", Done), SKIP],
        LineReply::YesNo => &[("Yes  Space", Done), ("No  N", No), SKIP],
        LineReply::Side => &[
            ("Left  L", Left),
            ("Right  R", Right),
            ("Both  B", Both),
            ("Nowhere  O", Nowhere),
            ("Again  A", Again),
            SKIP,
        ],
        LineReply::Hall => &[("Left  L", Left), ("Right  R", Right), ("Both  B", Both), ("Nowhere  O", Nowhere), SKIP],
        LineReply::Fuller => {
            &[("First  1", First), ("Second  2", Second), ("No difference  E", Same), ("Again  A", Again), SKIP]
        }
        LineReply::Over => &[],
    }
}

/// How a line stands; each has a shape in every face.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LineState {
    NotYet,
    Right,
    /// Elsewhere, or something is wrong with it.
    Wrong,
    Silent,
    Skipped,
}

pub fn line_state(status: &LineStatus) -> LineState {
    match status.result.outcome {
        _ if status.result.is_right() => LineState::Right,
        LineOutcome::Open if !status.result.has_fault() => LineState::NotYet,
        LineOutcome::Skipped => LineState::Skipped,
        LineOutcome::Silent => LineState::Silent,
        _ => LineState::Wrong,
    }
}

/// The word beside the shape.
pub const fn state_word(state: LineState) -> &'static str {
    match state {
        LineState::NotYet => "not checked",
        LineState::Right => "arrived",
        LineState::Wrong => "wrong",
        LineState::Silent => "silent",
        LineState::Skipped => "skipped",
    }
}

/// What was found, where the word alone says too little.
pub fn detail(status: &LineStatus) -> String {
    let told = line_result(&status.result);
    let more = told.strip_prefix(state_word(line_state(status))).unwrap_or(&told);
    more.trim_start_matches([',', ';', ' ']).to_owned()
}

/// For the patch sheet: every line that was decided.
pub fn ticks(snapshot: &LineSnapshot) -> Vec<Tick> {
    let decided = snapshot.inputs.iter().filter(|status| status.result.outcome != LineOutcome::Open);
    decided.map(tick).collect()
}

fn tick(status: &LineStatus) -> Tick {
    let channel = status.input.channel;
    let came_in_on = match status.result.outcome {
        LineOutcome::Arrived => Some(channel),
        LineOutcome::Elsewhere(on) => Some(on),
        _ => None,
    };
    let result = line_result(&status.result);
    Tick { channel, right: status.result.is_right(), result, came_in_on, date: Date::today() }
}

/// What stands under the headline: what the headline leaves out of the sentence, and how it is done.
pub fn then(snapshot: &LineSnapshot, headline: &str, next: &LineNext) -> String {
    let LineNext { sentence, then, .. } = next;
    match snapshot.advice.step {
        LineStep::Over if snapshot.assembly.is_some() => return sentence.clone(),
        LineStep::Quiet
        | LineStep::Over
        | LineStep::PhantomWait
        | LineStep::AnyTap
        | LineStep::AnyPlay
        | LineStep::Call { why: Call::First, .. } => return then.clone(),
        _ => {}
    }
    match sentence.strip_prefix(headline).unwrap_or(sentence).trim_start_matches([':', ',', ' ']) {
        "" | "?" => then.clone(),
        rest if rest.ends_with(['?', '.']) => format!("{rest} {then}"),
        rest => format!("{rest}: {then}"),
    }
}

/// The shape of the step at hand; none where it is about no line.
pub fn mark(snapshot: &LineSnapshot) -> Option<LineState> {
    match snapshot.advice.step {
        LineStep::Over => {
            let right = counts(snapshot).is_some_and(|(right, all)| right == all) && !snapshot.speakers.has_fault();
            let assembled = snapshot.assembly.is_some_and(|found| found.hall == Some(LineAnswer::Both));
            Some(if right || assembled { LineState::Right } else { LineState::Wrong })
        }
        LineStep::Call { .. } | LineStep::Middle { .. } | LineStep::AnyTap | LineStep::AnyPlay => {
            Some(LineState::NotYet)
        }
        LineStep::NotHeard | LineStep::AskPhantom => Some(LineState::Silent),
        LineStep::Quiet
        | LineStep::AskSound
        | LineStep::WhichSide { .. }
        | LineStep::Fuller
        | LineStep::RoomListens
        | LineStep::MuteForPhantom
        | LineStep::PhantomOn
        | LineStep::PhantomWait
        | LineStep::AskHall => None,
        _ => Some(LineState::Wrong),
    }
}

/// What an assembly found, a row each: name, state, words.
pub fn assembly_rows(found: &AssemblyFound) -> [(String, LineState, String); 3] {
    let heard = |heard: bool| if heard { LineState::Right } else { LineState::NotYet };
    let states = [
        heard(found.microphone.is_some()),
        heard(found.video[0].is_some()),
        match found.hall {
            None => LineState::NotYet,
            Some(LineAnswer::Both) => LineState::Right,
            Some(_) => LineState::Wrong,
        },
    ];
    let mut states = states.into_iter();
    assembly_lines(found).map(|line| {
        let (name, told) = line.split_at_checked(NAME).unwrap_or((&line, ""));
        let state = states.next().unwrap_or(LineState::NotYet);
        let told = if state == LineState::NotYet { "" } else { told };
        (name.trim_end().to_owned(), state, told.to_owned())
    })
}

/// Letters of a name in an assembly's lines.
const NAME: usize = 12;

/// Each line's level and floor.
pub fn numbers_of(snapshot: &LineSnapshot, names: &[String]) -> Vec<String> {
    let told = |(index, line): (usize, &crate::engine::linecheck::LineLevel)| {
        let floor = line.floor.map_or_else(|| "not known yet".into(), super::numbers::dbfs);
        let name = who(Some(ChannelId::from_index(index)), names);
        format!("{name}: now {}, floor {floor}", super::numbers::dbfs(line.level))
    };
    snapshot.lines.iter().enumerate().map(told).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_assemblys_rows_are_its_lines() {
        let nothing = assembly_rows(&AssemblyFound::default());
        assert!(nothing.iter().all(|(_, state, told)| *state == LineState::NotYet && told.is_empty()));
        let found = AssemblyFound {
            microphone: Some(ChannelId::new(0)),
            video: [Some(ChannelId::new(10)), Some(ChannelId::new(11))],
            hall: Some(LineAnswer::Left),
        };
        let row = |name: &str, state, told: &str| (name.to_owned(), state, told.to_owned());
        assert_eq!(
            assembly_rows(&found),
            [
                row("Microphone", LineState::Right, "channel 1"),
                row("Video", LineState::Right, "channels 11 and 12"),
                row("In the hall", LineState::Wrong, "on the left only: look at the right loudspeaker"),
            ]
        );
    }
}
