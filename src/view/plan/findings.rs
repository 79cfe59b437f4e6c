//! Findings in sentences: what it is about, what is the matter, what to do.

use super::Plan;
use super::names::{boxed, end, lead, lead_of, mode, stand, thing_kind};
use super::reasons::reason;
use crate::plan::checks::{About, Finding, Refused, Trouble, Unknown};
use crate::plan::counts::{Needed, Shortage};
use crate::plan::gear::{GearKind, Role, Side};
use crate::plan::rig::{Bus, Cue, Rig, WireId};
use crate::plan::routing::{Closed, Node, SideKey, with_role};
use crate::plan::verdict::Verdict;
use crate::view::lengths::told;
use crate::view::numbers::{counted, span};
use crate::view::words::plain;

pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fits => "fits",
        Verdict::WorksBut => "works, but",
        Verdict::Never => "never",
    }
}

/// A shape beside the word, so that nothing rests on colour.
pub const fn verdict_sign(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fits => "■",
        Verdict::WorksBut => "△",
        Verdict::Never => "✕",
    }
}

/// "2 never, 3 work, but; 14 channels, 22 wires".
pub fn headline(plan: &Plan) -> String {
    let counts = (plan.checked.count(Verdict::Never), plan.checked.count(Verdict::WorksBut));
    let size = format!(
        "{}, {}",
        counted(plan.rig.strips.len() as u64, "channel", "channels"),
        counted(plan.rig.wires.len() as u64, "wire", "wires")
    );
    let said = match counts {
        (0, 0) if plan.checked.is_blind() => "can’t tell yet".to_owned(),
        (0, 0) => "nothing wrong found".to_owned(),
        (0, but) => format!("{but} “works, but”"),
        (never, 0) => format!("{never} “never”"),
        (never, but) => format!("{never} “never”, {but} “works, but”"),
    };
    format!("{}: {said} ({size})", plain(&plan.rig.name))
}

/// "Wire 6, Bass → Hall desk mic 6".
pub fn about(rig: &Rig, about: About) -> String {
    match about {
        About::Wire(id) => wire_words(rig, id),
        About::Channel(channel) => channel_name(rig, channel),
        About::Thing(id) => plain(&rig.thing(id).name),
        About::Bus(bus) => bus_name(bus),
        About::Whole => "The event".into(),
    }
}

pub fn wire_words(rig: &Rig, id: WireId) -> String {
    let wired = &rig.wires[id.0];
    format!("Wire {}, {} → {}", plain(&wired.label), end(rig, wired.from), end(rig, wired.to))
}

pub(super) fn channel_name(rig: &Rig, channel: u8) -> String {
    match rig.strip(channel) {
        Some(strip) => format!("{channel} {}", plain(&strip.name)),
        None => format!("channel {channel}"),
    }
}

pub(super) fn bus_name(bus: Bus) -> String {
    match bus {
        Bus::MainLeft => "main L".into(),
        Bus::MainRight => "main R".into(),
        Bus::Group(n) => format!("group {n}"),
        Bus::Aux(n) => format!("aux {n}"),
    }
}

/// What is the matter, in a sentence without its subject.
pub fn finding_line(rig: &Rig, finding: &Finding) -> String {
    let name = |id| plain(&rig.thing(id).name);
    match &finding.trouble {
        Trouble::Wire(why) => reason(*why),
        Trouble::NoSuchOutput => "there is no such output on it".into(),
        Trouble::NoSuchInput => "there is no such input on it".into(),
        Trouble::NotWired => "no wire brings it to the desk".into(),
        Trouble::NotListed { channel } => format!("channel {channel} is not in the input list: give it a line there"),
        Trouble::WrongChannel { listed, ends } => {
            let own = channel_name(rig, *listed);
            format!("the input list says {own}, and this wire ends in channel {ends}: change the wire or the list")
        }
        Trouble::WrongSource { ends } => format!(
            "the input list says {} here, and this wire brings something else: change the wire or the list",
            channel_name(rig, *ends)
        ),
        Trouble::ChannelTaken { by } => format!(
            "wire {} comes to the same channel: two sockets, one gain and one fader. Only one of them may be plugged",
            plain(&rig.wires[by.0].label)
        ),
        Trouble::SideCrossed(side) => format!(
            "its {} side goes into the channel that is called the other",
            if *side == Side::Left { "left" } else { "right" }
        ),
        Trouble::NotHeard(closed) => not_heard(closed),
        Trouble::HeardOnOneSide(side) => {
            format!("half of the hall does not hear it: it is panned away from the {}", side_word(*side))
        }
        Trouble::CueInTheHall { cue, speaker } => {
            format!(
                "the {} would be heard in the hall, by {}: take it off every way there",
                cue_word(*cue),
                name(*speaker)
            )
        }
        Trouble::CueInTheRecording { cue, recorder } => {
            format!(
                "the {} would be on the recording, by {}: take it off every way there",
                cue_word(*cue),
                name(*recorder)
            )
        }
        Trouble::RecordingLacks(channels) => {
            let names = some_of(rig, channels);
            format!("the hall hears {names}, this recording does not: feed it from the main mix")
        }
        Trouble::CueUnheard(cue) => format!("nobody hears the {}: send it to a monitor", cue_word(*cue)),
        Trouble::CueSummed(cue) => {
            format!(
                "the {} is summed with the music on the way: wire each side to a channel of its own",
                cue_word(*cue)
            )
        }
        Trouble::SoloOn => "solo is left on: meters and headphones show this channel only. Release it".into(),
        Trouble::SpeakerUnfed { closed: false } => "nothing feeds it: it stays silent".into(),
        Trouble::SpeakerUnfed { closed: true } => {
            "it stays silent: a mute, a fader or a send on the way to it is closed".into()
        }
        Trouble::SpeakerLacks(channels) => {
            format!("its part of the hall does not hear {}: feed it from the main mix", some_of(rig, channels))
        }
        Trouble::NoPower => "no mains lead goes to it: it stays off".into(),
        Trouble::NoneThere => "the gear list has none of it: borrow one, or correct its count".into(),
        Trouble::MonitorAfterFader { aux } => {
            format!("its send to the monitor on aux {aux} follows the fader: set it to pre")
        }
        Trouble::TwiceInOneMonitor { speaker } => {
            format!("it comes to {} by two ways: twice as loud there, and it rings sooner. Keep one", name(*speaker))
        }
        Trouble::Loop => "sound that leaves here comes back here: it howls. Take the return off this way".into(),
        Trouble::PhantomForAll { harmed } => format!(
            "one switch gives +48 V to all, and {} may be harmed: a DI or transformer there, or another microphone here",
            channel_name(rig, *harmed)
        ),
        Trouble::LoadTooLow { total, least, bears } => {
            let most = match bears {
                0 => "none of them may hang on it".to_owned(),
                bears => format!("{bears} of them at most may hang on it"),
            };
            format!(
                "its loudspeakers together are {:.1} Ω, it bears {:.1} Ω at least: {most}",
                total.get(),
                least.get()
            )
        }
        Trouble::LineOverloaded { taps, amplifier } => format!(
            "taps of {:.0} W on a line of {:.0} W: 80 % is right, more than all of it is too much",
            taps.get(),
            amplifier.get()
        ),
        Trouble::AmplifierTooStrong { amplifier, speakers } => format!(
            "{:.0} W can burn loudspeakers of {:.0} W: mark its knob, and stay under it",
            amplifier.get(),
            speakers.get()
        ),
        Trouble::AmplifierTooWeak { amplifier, speakers } => format!(
            "{:.0} W for loudspeakers of {:.0} W: it clips early, and clipping burns the highs",
            amplifier.get(),
            speakers.get()
        ),
        Trouble::CircuitTooWeak { current, most } => format!(
            "{:.1} A on a circuit for {:.1} A over hours: move things to another circuit",
            current.get(),
            most.get()
        ),
        Trouble::CircuitShared => "kettles, heaters or dimmers hang on it too: take a circuit of its own".into(),
        Trouble::GainShort { short } => format!("about {} short before it rings", span(*short)),
        Trouble::TooQuietAtSeat { seat, short } => {
            let venue = rig.venue.as_ref().and_then(|venue| venue.seats.get(*seat));
            let seat = venue.map_or_else(|| "a seat".into(), |seat| plain(&seat.name));
            format!("{} too quiet at {seat}: nearer or more loudspeakers, or a quieter hall", span(*short))
        }
        Trouble::MicsTooClose { other, ratio } => format!(
            "it stands {ratio:.1} times its own distance from {}: sounds hollow together. 3 times is right",
            channel_name(rig, *other)
        ),
        Trouble::Short(short) => format!("short of {}: borrow in time", short_of(short)),
        Trouble::TooManyChannels { used, has } => format!("input {used} is used, it has {has}"),
        Trouble::TooManyAuxes { used, has } => format!("aux {used} is used, it has {has}"),
        Trouble::BatteryTooShort { hours, needed } => {
            format!(
                "its battery lasts {hours} h, the show wants {needed:.1} h (its length and half again): a fresh one at the interval"
            )
        }
    }
}

/// "3 Choir, 4 Piano, 5 Bass, 2 more".
fn some_of(rig: &Rig, channels: &[u8]) -> String {
    let mut names: Vec<String> = channels.iter().take(3).map(|channel| channel_name(rig, *channel)).collect();
    if channels.len() > names.len() {
        names.push(format!("{} more", channels.len() - names.len()));
    }
    names.join(", ")
}

pub(super) fn short_of(short: &Shortage) -> String {
    let thing = match short.what {
        Needed::Lead(kind) => lead(kind),
        Needed::Box(inline) => boxed(inline),
        Needed::Mic(kind) => thing_kind(GearKind::Source(kind)),
        Needed::Stand(kind) => stand(kind),
        Needed::Battery => "fresh battery set",
    };
    let length = short.length.map_or(String::new(), |length| format!(", one of them {} or longer", told(length)));
    let length = if short.count == 1 { length.replace("one of them ", "") } else { length };
    format!("{} × {thing}{length}", short.count)
}

fn not_heard(closed: &[Closed]) -> String {
    let why: Vec<String> = closed
        .iter()
        .map(|closed| match closed {
            Closed::Muted => "it is muted".into(),
            Closed::FaderDown => "its fader is down".into(),
            Closed::PannedAway(SideKey::Right) => "it is panned right, and only left is wired".into(),
            Closed::PannedAway(SideKey::Left) => "it is panned left, and only right is wired".into(),
            Closed::InsertHalfIn => "a plug stands half in its insert".into(),
            Closed::BusMuted(bus) => format!("{} is muted", bus_name(*bus)),
            Closed::GroupNotToMain(group) => format!("group {group} does not go to main"),
        })
        .collect();
    if why.is_empty() {
        "the hall does not hear it: it is sent to no loudspeaker".into()
    } else {
        format!("the hall does not hear it: {}", why.join(", "))
    }
}

const fn side_word(side: SideKey) -> &'static str {
    match side {
        SideKey::Left => "left",
        SideKey::Right => "right",
    }
}

const fn cue_word(cue: Cue) -> &'static str {
    match cue {
        Cue::Click => "click",
        Cue::Talkback => "talkback",
        Cue::SpokenCue => "spoken cue",
    }
}

/// What cannot be told, and what would tell it.
pub fn unknown(rig: &Rig, unknown: Unknown) -> String {
    let told = match unknown {
        Unknown::NoPlaceOf(id) => {
            let name = plain(&rig.thing(id).name);
            return format!("what {name} adds at a seat, and where it rings: put a [[place]] for it into venue.toml");
        }
        Unknown::NoInputs => "no inputs: write inputs.csv, one line a channel",
        Unknown::NoWires => "which wire goes where: write patch.csv, one line a wire",
        Unknown::NoDesk => "the ways through the desk: name a desk in gear.csv and plug into it in patch.csv",
        Unknown::NoStock => "whether everything is there: write gear.csv, the store cupboard",
        Unknown::NoVenue => "how loud it will be: write venue.toml, what the hall is like",
        Unknown::NoSeats => "how loud it is at a seat: put [[seat]] into venue.toml",
        Unknown::NoSpeakerPlaces => "how loud it is at a seat: put a [[place]] for each loudspeaker into venue.toml",
        Unknown::NoPlaceOfMics => {
            "when the microphones without a place ring: write place_x_m and place_y_m into inputs.csv"
        }
        Unknown::NoRoom => "what the hall’s echo adds: length_m, width_m, height_m and reverb_s in venue.toml",
        Unknown::NoCircuits => "the current on the circuits: [[circuit]] in venue.toml, and mains wires in patch.csv",
    };
    told.into()
}

/// A line of `accepted` that accepts nothing.
pub fn refused(rig: &Rig, refused: Refused) -> String {
    let line = |index: usize| {
        rig.accepted.get(index).map_or(String::new(), |line| format!("{}, {}", plain(&line.about), plain(&line.what)))
    };
    match refused {
        Refused::IsNever(index) => {
            format!("Accepted is “{}”, but a “never” stays one: it cannot be accepted", line(index))
        }
        Refused::NotFound(index) => {
            format!("Accepted is “{}”, but there is no such finding. Take the line out of event.toml", line(index))
        }
    }
}

/// One channel from source to ears: "1 Lectern: dynamic mic, by mic cable, 20 m → Hall desk mic 1 → main → Main left, Main right".
pub fn chain(plan: &Plan, channel: u8) -> String {
    let rig = &plan.rig;
    let name = channel_name(rig, channel);
    let Some((thing, wired)) = rig.source_of(channel) else { return format!("{name}: no wire brings it to the desk") };
    let judgement = rig.wires.iter().position(|other| other == wired).and_then(|at| plan.checked.judgements.get(at));
    let switch =
        judgement.and_then(|judgement| judgement.switch).map_or(String::new(), |kind| format!(" ({})", mode(kind)));
    let reached = plan.checked.paths.reached(Node::Channel(channel));
    let ears = |role| {
        let things = reached.iter().filter(|node| with_role(rig, **node, role)).filter_map(|node| match node {
            Node::Thing(id, _) => Some(plain(&rig.thing(*id).name)),
            _ => None,
        });
        things.collect::<Vec<_>>().join(", ")
    };
    let mut parts = vec![
        format!("{name}: {}, by {}", thing_kind(thing.kind), lead_of(wired)),
        format!("{}{switch}", end(rig, wired.to)),
    ];
    for (role, word) in [(Role::Hall, "hall"), (Role::Monitor, "monitors"), (Role::Recording, "recording")] {
        let ears = ears(role);
        if !ears.is_empty() {
            parts.push(format!("{word}: {ears}"));
        }
    }
    parts.join(" → ")
}
