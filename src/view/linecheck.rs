//! The line check in words: one sentence a step, what to do with it, the proof; results, records, cautions.
//!
//! The channel is named by its number and name. A question stays a question: +48 is never claimed to be missing. Nothing
//! here tells anyone to lift a mains earth, to open a box, or to switch +48 while anything is unmuted or being plugged.
//! Never blames; what helps is said in at most twelve words. Levels in dBFS, frequencies in Hz.

use serde_json::{Value, json};

use super::numbers::{self, counted, span, thousandths};
use super::setup::who;
use super::words::plain;
use crate::coach::linecheck::{
    Call, HumCure, LineAdvice, LineAnswer, LineOutcome, LineResult, LineStep, LineWhy, Side, SpeakerResult, Way,
};
use crate::detectors::{Hum, HumPattern};
use crate::engine::linecheck::{AssemblyFound, LineSnapshot, LineStatus};
use crate::units::{ChannelId, Seconds};

/// Said before anything else.
pub const LINE_CAUTIONS: [&str; 3] = [
    "Loudspeakers off while you plug; desk on first, loudspeakers last.",
    "+48 off while you plug. A mains earth stays where it is.",
    "Local rules and licensed practice come first.",
];

/// The keys of a line check's lines.
pub const LINECHECK_KEYS: &str = "\
One JSON object a line, each with a `type`:

line_step, whenever the next step changes: time_s, kind, channel (from 1), step, then, proof, heard_on, heard_at_s, \
rise_db, floor_dbfs, hum, alike (0 to 1), checked, inputs

line, at the end: channel, name, result, right, put_right, came_in_on, hum, floor_dbfs (too noisy), copied_to, \
reversed, phantom_off

hum: mains_hz, frequency_hz (null: not known within 0.05), strongest_hz, level_dbfs, over_rest_db, pattern

loudspeakers, at the end: checked, swapped, left_silent, right_silent, reversed, put_right

assembly, at the end of one: microphone, video (channels), hall

What is not known is null.";

/// The next step, ready to show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineNext {
    pub sentence: String,
    pub then: String,
    pub proof: String,
    pub reply: LineReply,
}

/// What the person can say to a step; "skip" always.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineReply {
    /// It goes on by itself.
    Wait,
    Done,
    YesNo,
    /// Left, right, both or nowhere; again.
    Side,
    /// The same, of which nothing plays that could play again.
    Hall,
    /// The first, the second, no difference; again.
    Fuller,
    Over,
}

/// Words for a step; `names` by channel.
pub fn line_step(advice: &LineAdvice, names: &[String]) -> LineNext {
    let it = who(advice.channel, names);
    let named = |channel: ChannelId| who(Some(channel), names);
    let number = |channel: ChannelId| channel.number().to_string();
    let own = advice.channel.map_or_else(String::new, number);
    let hum = advice.why.hum.map_or_else(String::new, |hum| format!(" at {:.0} Hz", hum.strongest.get()));
    let (reply, sentence, then): (LineReply, String, String) = match advice.step {
        LineStep::Quiet => (
            LineReply::Wait,
            "Quiet on stage, please".into(),
            "hands off for 3 s: I hear every line’s floor and hum".into(),
        ),
        LineStep::Call { way, why } => call(way, why, &it, advice, names),
        LineStep::Swap { with } => (
            LineReply::Done,
            format!("Swap {own} and {} at the box", number(with)),
            format!("{it} and {} sit in each other’s sockets", named(with)),
        ),
        LineStep::Rotate { second, third } => {
            let (second, third) = (number(second), number(third));
            let sentence =
                format!("Move three plugs at the box: {own} is in {second}, {second} in {third}, {third} in {own}");
            (LineReply::Done, sentence, "each plug into the socket with its own number".into())
        }
        LineStep::Move { on } => (
            LineReply::Done,
            format!("Move the plug of {it} from {} to {own}", number(on)),
            "at the box; then it is called again".into(),
        ),
        LineStep::BothOn { on } => (
            LineReply::Done,
            format!("{own} and {} both come in on {}", number(on), number(on)),
            format!("look at the plug of {own} and at the desk’s routing"),
        ),
        LineStep::AskPhantom => (
            LineReply::YesNo,
            format!("{it} is silent: is +48 on for {own}?"),
            "only look; no: it waits until the plugging is over".into(),
        ),
        LineStep::MuteForPhantom => (
            LineReply::Done,
            format!("Before +48 for {it}: mute every channel and the mains"),
            "hands off the plugs; ribbon microphones and adapters unplugged first".into(),
        ),
        LineStep::PhantomOn => {
            (LineReply::Done, format!("Switch +48 for {it} ON"), "only while everything is still muted".into())
        }
        LineStep::PhantomWait => {
            (LineReply::Wait, "Wait ten seconds".into(), "+48 needs them; everything stays muted".into())
        }
        LineStep::NotHeard => (
            LineReply::Done,
            format!("Nothing from {it}: try another cable"),
            "or its switch, its battery; then it is called again".into(),
        ),
        LineStep::Copied { to } => (
            LineReply::Done,
            format!("{it} also comes in on {}", number(to)),
            format!("give {} its own input in the desk’s routing", number(to)),
        ),
        LineStep::HumCure(cure) => {
            let (what, then) = match cure {
                HumCure::Lift => ("press the DI’s lift", "the audio lift on the DI box; never a mains earth"),
                HumCure::Charger => ("take the laptop off its charger", "on its battery for a moment, to compare"),
                HumCure::LeadAway => ("move its lead away from mains leads", "cross them at a right angle"),
                HumCure::OtherLead => ("try another lead", "pushed in until it clicks"),
            };
            (LineReply::Done, format!("{it} hums{hum}: {what}"), then.into())
        }
        LineStep::Noisy => (
            LineReply::Done,
            format!("{it} hisses: look at how it is plugged in"),
            "a microphone on a line input, or a broken lead?".into(),
        ),
        LineStep::Middle { with, way: Way::Tap, again } => (
            LineReply::Wait,
            format!("Clap midway between {} and {own}{}", number(with), if again { ", once more" } else { "" }),
            "three claps, as far from one as from the other".into(),
        ),
        LineStep::Middle { with, way: Way::Play, again } => (
            LineReply::Wait,
            format!("Play low notes on {} and {own}{}", number(with), if again { ", once more" } else { "" }),
            "the same on both, in the middle".into(),
        ),
        LineStep::Reversed { with } => (
            LineReply::Done,
            format!("{own} pulls against {}: press the polarity switch of {own}", number(with)),
            "no such switch? Another lead".into(),
        ),
        LineStep::AskSound => (
            LineReply::YesNo,
            "May a quiet noise come from the loudspeakers?".into(),
            "turn the volume down first; nobody near a loudspeaker".into(),
        ),
        LineStep::WhichSide { side } => (
            LineReply::Side,
            format!("It plays on the {}: where do you hear it?", side_word(side).to_uppercase()),
            "left, right, both or nowhere, as the audience sees it".into(),
        ),
        LineStep::SwapSpeakers => (
            LineReply::Done,
            "Swap left and right at the desk’s outputs".into(),
            "mains muted while you plug; then both play again".into(),
        ),
        LineStep::SpeakerSilent { side } => (
            LineReply::Done,
            format!("The {} loudspeaker is silent", side_word(side)),
            "look at its power, volume, input switch and lead".into(),
        ),
        LineStep::Fuller => (
            LineReply::Fuller,
            "Which has more body: the first sound or the second?".into(),
            "stand in the middle of the hall".into(),
        ),
        LineStep::RoomListens => {
            (LineReply::Wait, "The hall’s microphone listens".into(), "two sounds; quiet, please".into())
        }
        LineStep::SpeakersReversed => (
            LineReply::Done,
            "The loudspeakers pull against each other: change one lead".into(),
            "mains muted while you plug; then they play again".into(),
        ),
        LineStep::AnyTap => (LineReply::Wait, "Tap the microphone".into(), "three light taps with a finger".into()),
        LineStep::AnyPlay => (LineReply::Wait, "Play the video’s loudest part".into(), "for a few seconds".into()),
        LineStep::AskHall => (
            LineReply::Hall,
            "Speak from the stage: where do you hear it?".into(),
            "left, right, both or nowhere, as the audience sees it".into(),
        ),
        LineStep::Over => (LineReply::Over, "Line check done".into(), "leave the plugs alone".into()),
    };
    LineNext { reply, sentence, then, proof: proof(advice) }
}

fn call(way: Way, why: Call, it: &str, advice: &LineAdvice, names: &[String]) -> (LineReply, String, String) {
    let own = advice.channel.map_or(0, ChannelId::number);
    let (verb, how) = match way {
        Way::Tap => ("Tap mic", "three light taps with a finger"),
        Way::Play => ("Play", "a few loud notes"),
    };
    let (sentence, then): (String, String) = match why {
        Call::First => (format!("{verb} {it}"), how.into()),
        Call::Again => (format!("{verb} {it} again"), "nothing heard yet; is it the one with that number?".into()),
        Call::Recheck => (format!("{verb} {it} again"), "to hear whether it is right now".into()),
        Call::Follow { from } => {
            let sentence = format!("{} came in on {own}. {verb} {it}", from.number());
            (sentence, format!("where does {own} come in? {how}"))
        }
        Call::Instead { on } => {
            let sentence = format!("{own} came in on {}. {verb} {it} once more", on.number());
            (sentence, format!("{} works: was that one tapped?", who(Some(on), names)))
        }
        Call::TalkOver => (format!("Quiet at {it}, please"), "something sounds there; then it is called again".into()),
        Call::Compare { with } => {
            (format!("{verb} {it} once more"), format!("{} seems to hear the same", with.number()))
        }
    };
    (LineReply::Wait, sentence, then)
}

/// How it all ended, where "done" alone would say too little.
pub fn line_end(snapshot: &LineSnapshot) -> LineNext {
    let next = line_step(&snapshot.advice, &[]);
    if !snapshot.is_over() {
        return next;
    }
    if let Some(found) = &snapshot.assembly {
        let sentence = match (found.microphone.is_some(), found.video[0].is_some()) {
            (true, true) if found.hall == Some(LineAnswer::Both) => "Ready: microphone and video are heard",
            (true, true) => "Microphone and video arrive; look at the loudspeakers",
            (true, false) => "The video was not heard: its lead, its volume?",
            (false, true) => "The microphone was not heard: its switch, its lead?",
            (false, false) => "Nothing was heard: is this the right input?",
        };
        return LineNext { sentence: sentence.into(), ..next };
    }
    let all = snapshot.inputs.len();
    let right = snapshot.inputs.iter().filter(|input| input.result.is_right()).count();
    let whole = right == all && !snapshot.speakers.has_fault();
    let sentence = match (whole, all - right) {
        (true, _) => "Every line is right".into(),
        (false, 0) => "Every line is right; the loudspeakers are not".into(),
        (false, left) => format!("{right} of {all} lines are right; {left} left"),
    };
    LineNext { sentence, ..next }
}

/// One input, as it stands: "arrived, put right", "came in on 5", "arrived; hums …".
pub fn line_result(result: &LineResult) -> String {
    let mut parts: Vec<String> = vec![match result.outcome {
        LineOutcome::Open => "not checked".into(),
        LineOutcome::Arrived if result.put_right => "arrived, put right".into(),
        LineOutcome::Arrived => "arrived".into(),
        LineOutcome::Elsewhere(on) => format!("came in on {}", on.number()),
        LineOutcome::Silent if result.phantom_off => "silent; +48 was off".into(),
        LineOutcome::Silent => "silent".into(),
        LineOutcome::Skipped => "skipped".into(),
    }];
    if let Some(hum) = result.hum {
        parts.push(format!("hums: {}", hum_words(&hum)));
    }
    if let Some(floor) = result.noisy {
        parts.push(format!("hisses: floor {}", numbers::dbfs(floor)));
    }
    if let Some(to) = result.copied_to {
        parts.push(format!("also on {}", to.number()));
    }
    if result.reversed == Some(true) {
        parts.push("pulls against its partner".into());
    }
    parts.join("; ")
}

/// The loudspeakers, as they stand.
pub fn speaker_result(result: &SpeakerResult) -> String {
    if !result.checked {
        return "not checked".into();
    }
    let mut parts: Vec<&str> = Vec::new();
    if result.swapped {
        parts.push("left and right swapped");
    }
    if result.silent[0] {
        parts.push("left silent");
    }
    if result.silent[1] {
        parts.push("right silent");
    }
    if result.one_for_both {
        parts.push("one side’s sound comes from both: a mono hall, or a pan");
    }
    match result.reversed {
        Some(true) => parts.push("pull against each other"),
        Some(false) => parts.push("pull together"),
        None => {}
    }
    if result.put_right {
        parts.push("put right");
    }
    if parts.is_empty() { "left and right heard".into() } else { parts.join("; ") }
}

/// What an assembly found.
pub fn assembly_lines(found: &AssemblyFound) -> [String; 3] {
    let on = |channel: Option<ChannelId>| match channel {
        Some(channel) => format!("channel {}", channel.number()),
        None => "not heard".into(),
    };
    let video = match found.video {
        [Some(left), Some(right)] => format!("channels {} and {}", left.number(), right.number()),
        [left, _] => on(left),
    };
    let hall = match found.hall {
        Some(LineAnswer::Both) => "on both sides",
        Some(LineAnswer::Left) => "on the left only: look at the right loudspeaker",
        Some(LineAnswer::Right) => "on the right only: look at the left loudspeaker",
        Some(_) => "nowhere: is the channel muted, are the loudspeakers on?",
        None => "not told",
    };
    [format!("Microphone  {}", on(found.microphone)), format!("Video       {video}"), format!("In the hall {hall}")]
}

/// "50 Hz mains (49.97 Hz), −52.1 dBFS, a buzz".
pub fn hum_words(hum: &Hum) -> String {
    let measured = hum.frequency.map_or_else(String::new, |hz| format!(" ({:.2} Hz)", hz.get()));
    let pattern = match hum.pattern {
        HumPattern::Smooth => "smooth: a magnetic field or an earth loop",
        HumPattern::Comb => "a buzz: a power supply or dimmers",
    };
    format!("{} Hz mains{measured}, {}, {pattern}", hum.mains.hertz(), numbers::dbfs(hum.level))
}

fn proof(advice: &LineAdvice) -> String {
    let LineWhy { heard_on, rise, floor, hum, alike, checked, inputs, .. } = advice.why;
    let mut parts = Vec::new();
    if let (Some(on), Some(rise)) = (heard_on, rise) {
        parts.push(format!("heard on {}, {} over its floor", on.number(), span(rise)));
    }
    match (advice.step, hum, floor) {
        (LineStep::HumCure(_), Some(hum), _) => parts.push(hum_words(&hum)),
        (LineStep::Noisy | LineStep::NotHeard | LineStep::AskPhantom, _, Some(floor)) => {
            parts.push(format!("floor {}", numbers::dbfs(floor)));
        }
        _ => {}
    }
    if let Some(alike) = alike {
        parts.push(format!("alike by {:.2}", alike));
    }
    parts.push(format!("{checked} of {} checked", counted(inputs as u64, "input", "inputs")));
    parts.join(" · ")
}

const fn side_word(side: Side) -> &'static str {
    match side {
        Side::Left => "left",
        Side::Right => "right",
    }
}

/// The machine's word for a step.
pub const fn line_step_kind(step: &LineStep) -> &'static str {
    match step {
        LineStep::Quiet => "quiet",
        LineStep::Call { way: Way::Tap, .. } | LineStep::AnyTap => "tap",
        LineStep::Call { way: Way::Play, .. } | LineStep::AnyPlay => "play",
        LineStep::Swap { .. } => "swap",
        LineStep::Rotate { .. } => "rotate",
        LineStep::Move { .. } => "move",
        LineStep::BothOn { .. } => "both_on_one",
        LineStep::AskPhantom => "ask_phantom",
        LineStep::MuteForPhantom => "mute_for_phantom",
        LineStep::PhantomOn => "phantom_on",
        LineStep::PhantomWait => "phantom_wait",
        LineStep::NotHeard => "not_heard",
        LineStep::Copied { .. } => "copied",
        LineStep::HumCure(_) => "hum",
        LineStep::Noisy => "noisy",
        LineStep::Middle { .. } => "middle",
        LineStep::Reversed { .. } => "reversed",
        LineStep::AskSound => "ask_sound",
        LineStep::WhichSide { .. } => "which_side",
        LineStep::SwapSpeakers => "swap_loudspeakers",
        LineStep::SpeakerSilent { .. } => "loudspeaker_silent",
        LineStep::Fuller => "fuller",
        LineStep::RoomListens => "room_listens",
        LineStep::SpeakersReversed => "loudspeakers_reversed",
        LineStep::AskHall => "ask_hall",
        LineStep::Over => "over",
    }
}

/// A step's line.
pub fn line_step_record(at: Seconds, advice: &LineAdvice, next: &LineNext) -> Value {
    let why = &advice.why;
    let text = |sentence: &str| sentence.replace('−', "-");
    json!({
        "type": "line_step", "time_s": thousandths(at.get()), "kind": line_step_kind(&advice.step),
        "channel": advice.channel.map(ChannelId::number),
        "step": text(&next.sentence), "then": text(&next.then), "proof": text(&next.proof),
        "heard_on": why.heard_on.map(ChannelId::number),
        "heard_at_s": why.heard_at.map(|at| thousandths(at.get())),
        "rise_db": why.rise.map(|rise| thousandths(rise.get())),
        "floor_dbfs": why.floor.map(|floor| thousandths(floor.get())),
        "hum": why.hum.as_ref().map(hum_record), "alike": why.alike.map(thousandths),
        "checked": why.checked, "inputs": why.inputs,
    })
}

/// An input's line, at the end.
pub fn line_record(status: &LineStatus, name: &str) -> Value {
    let result = &status.result;
    let came_in_on = match result.outcome {
        LineOutcome::Elsewhere(on) => Some(on.number()),
        LineOutcome::Arrived => Some(status.input.channel.number()),
        _ => None,
    };
    json!({
        "type": "line", "channel": status.input.channel.number(), "name": plain(name),
        "result": line_result(result).replace('−', "-"), "right": result.is_right(), "put_right": result.put_right,
        "came_in_on": came_in_on, "hum": result.hum.as_ref().map(hum_record),
        "floor_dbfs": result.noisy.map(|floor| thousandths(floor.get())),
        "copied_to": result.copied_to.map(ChannelId::number), "reversed": result.reversed,
        "phantom_off": result.phantom_off,
    })
}

pub fn speakers_record(result: &SpeakerResult) -> Value {
    json!({
        "type": "loudspeakers", "checked": result.checked, "swapped": result.swapped,
        "left_silent": result.silent[0], "right_silent": result.silent[1], "reversed": result.reversed,
        "put_right": result.put_right,
    })
}

pub fn assembly_record(found: &AssemblyFound) -> Value {
    let video: Vec<u16> = found.video.iter().flatten().map(|channel| channel.number()).collect();
    let hall = found.hall.map(|hall| match hall {
        LineAnswer::Both => "both",
        LineAnswer::Left => "left",
        LineAnswer::Right => "right",
        _ => "nowhere",
    });
    json!({
        "type": "assembly", "microphone": found.microphone.map(ChannelId::number), "video": video, "hall": hall,
    })
}

fn hum_record(hum: &Hum) -> Value {
    let pattern = match hum.pattern {
        HumPattern::Smooth => "smooth",
        HumPattern::Comb => "comb",
    };
    json!({
        "mains_hz": hum.mains.hertz(), "frequency_hz": hum.frequency.map(|hz| thousandths(hz.get())),
        "strongest_hz": hum.strongest.get(), "level_dbfs": thousandths(hum.level.get()),
        "over_rest_db": thousandths(hum.over_rest.get()), "pattern": pattern,
    })
}
