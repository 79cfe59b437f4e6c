//! Everything that is wrong with a rig, the worst first, each with what would mend it.
//!
//! Wires one by one ([`super::rules`]), then what only the whole shows: outputs that fight, amplifiers with too low a
//! load, ways that end nowhere or go where they must not, loops, counts, loudness. A *works, but* that somebody
//! accepted with a reason stays and counts no more; a *never* cannot be accepted. Edge cases: an empty rig has no
//! findings and a list of what cannot be told.

use super::channels;
use super::counts::{self, Shortage};
use super::cures::{self, Cure};
use super::gear::{GearKind, InPort, OutPort, Side};
use super::hall::{self, Loudness};
use super::loading;
use super::port::{Drive, OnPhantom, Output, Supply, Takes};
use super::quantity::{Amperes, Ohms, Watts};
use super::rig::{Bus, Cue, Rig, ThingId, WireId, Wired};
use super::routing::{Closed, Paths, SideKey};
use super::rules;
use super::signals;
use super::sums::Worked;
use super::verdict::{Judgement, Reason, Verdict};
use super::wire::InLine;
use crate::units::Db;

/// What a finding is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum About {
    Wire(WireId),
    Channel(u8),
    Thing(ThingId),
    Bus(Bus),
    Whole,
}

/// What is wrong.
#[derive(Clone, Debug, PartialEq)]
pub enum Trouble {
    Wire(Reason),
    /// The thing at this end has no such socket.
    NoSuchOutput,
    NoSuchInput,
    NotWired,
    /// The wire ends at a channel that the input list does not have.
    NotListed {
        channel: u8,
    },
    /// The list gives its source one channel, and it ends in another.
    WrongChannel {
        listed: u8,
        ends: u8,
    },
    /// Its source belongs to another channel than this one, which the list gives somebody else.
    WrongSource {
        ends: u8,
    },
    /// Another wire comes to the same channel by another socket.
    ChannelTaken {
        by: WireId,
    },
    /// This side of a stereo source goes into the channel that is called the other.
    SideCrossed(Side),
    NotHeard(Vec<Closed>),
    HeardOnOneSide(SideKey),
    CueInTheHall {
        cue: Cue,
        speaker: ThingId,
    },
    CueInTheRecording {
        cue: Cue,
        recorder: ThingId,
    },
    /// The audience hears these channels, the recording does not.
    RecordingLacks(Vec<u8>),
    CueUnheard(Cue),
    /// Both halves of a stereo source are summed to one, and one half is a cue.
    CueSummed(Cue),
    SoloOn,
    /// `closed`: wires lead there, and a mute, a fader or a send on the way is closed.
    SpeakerUnfed {
        closed: bool,
    },
    /// A loudspeaker of the hall does not give these, which others give.
    SpeakerLacks(Vec<u8>),
    /// It has no mains lead, though others have.
    NoPower,
    /// The gear list has none of it.
    NoneThere,
    MonitorAfterFader {
        aux: u8,
    },
    TwiceInOneMonitor {
        speaker: ThingId,
    },
    Loop,
    /// One switch for all: it is wanted here, and harms there.
    PhantomForAll {
        harmed: u8,
    },
    LoadTooLow {
        total: Ohms,
        least: Ohms,
        /// How many of them it bears.
        bears: usize,
    },
    /// Taps on a line, together.
    LineOverloaded {
        taps: Watts,
        amplifier: Watts,
    },
    AmplifierTooStrong {
        amplifier: Watts,
        speakers: Watts,
    },
    AmplifierTooWeak {
        amplifier: Watts,
        speakers: Watts,
    },
    CircuitTooWeak {
        current: Amperes,
        most: Amperes,
    },
    CircuitShared,
    GainShort {
        short: Db,
    },
    TooQuietAtSeat {
        seat: usize,
        short: Db,
    },
    MicsTooClose {
        other: u8,
        ratio: f64,
    },
    Short(Shortage),
    TooManyChannels {
        used: u8,
        has: u8,
    },
    TooManyAuxes {
        used: u8,
        has: u8,
    },
    BatteryTooShort {
        hours: f64,
        needed: f64,
    },
}

/// One finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub about: About,
    pub weight: Verdict,
    pub trouble: Trouble,
    /// The best first.
    pub cures: Vec<Cure>,
    /// Why somebody lives with it.
    pub accepted: Option<String>,
}

/// What a check would need to say more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unknown {
    NoInputs,
    NoWires,
    NoDesk,
    NoStock,
    NoVenue,
    NoSeats,
    NoSpeakerPlaces,
    /// Of this loudspeaker, where others have one.
    NoPlaceOf(ThingId),
    /// Of microphones that could ring.
    NoPlaceOfMics,
    NoRoom,
    NoCircuits,
}

/// A line of `accepted` that accepts nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// It names a *never*.
    IsNever(usize),
    /// There is no such finding.
    NotFound(usize),
}

/// All that is said of a rig.
#[derive(Clone, Debug)]
pub struct Checked {
    /// One for each wire.
    pub judgements: Vec<Judgement>,
    /// The worst first.
    pub findings: Vec<Finding>,
    pub worked: Vec<(About, Worked)>,
    pub loudness: Loudness,
    pub unknown: Vec<Unknown>,
    pub refused: Vec<Refused>,
    pub paths: Paths,
}

impl Checked {
    /// Checks everything.
    pub fn of(rig: &Rig) -> Self {
        let paths = Paths::of(rig);
        let mut found = Found::default();
        let judgements = wires(rig, &mut found);
        channels::check(rig, &mut found);
        signals::check(rig, &paths, &mut found);
        loading::check(rig, &mut found);
        counts::check(rig, &mut found);
        let loudness = hall::check(rig, &paths, &mut found);
        let mut refused = Vec::new();
        accept(rig, &mut found.findings, &mut refused);
        // What somebody lives with comes last.
        let order = |finding: &Finding| (finding.accepted.is_some(), std::cmp::Reverse(finding.weight), finding.about);
        found.findings.sort_by_key(order);
        cure(rig, &mut found.findings, &loudness);
        Self {
            judgements,
            findings: found.findings,
            worked: found.worked,
            loudness,
            unknown: found.unknown,
            refused,
            paths,
        }
    }

    /// The worst of a wire: its own remarks and what the rig makes of it.
    pub fn of_wire(&self, wire: WireId) -> Verdict {
        let own = self.judgements.get(wire.0).map_or(Verdict::Fits, Judgement::verdict);
        let about = self.findings.iter().filter(|finding| finding.about == About::Wire(wire));
        about.map(|finding| finding.weight).max().unwrap_or(Verdict::Fits).max(own)
    }

    /// Findings that nobody accepted.
    pub fn open(&self) -> impl Iterator<Item = &Finding> {
        self.findings.iter().filter(|finding| finding.accepted.is_none())
    }

    /// Whether the most of what a check looks at is not there.
    pub fn is_blind(&self) -> bool {
        [Unknown::NoInputs, Unknown::NoWires, Unknown::NoDesk].iter().any(|unknown| self.unknown.contains(unknown))
    }

    pub fn count(&self, weight: Verdict) -> usize {
        self.open().filter(|finding| finding.weight == weight).count()
    }
}

/// What the checks gather.
#[derive(Default)]
pub(super) struct Found {
    pub findings: Vec<Finding>,
    pub worked: Vec<(About, Worked)>,
    pub unknown: Vec<Unknown>,
}

impl Found {
    pub fn but(&mut self, about: About, trouble: Trouble) {
        self.add(about, Verdict::WorksBut, trouble);
    }

    pub fn never(&mut self, about: About, trouble: Trouble) {
        self.add(about, Verdict::Never, trouble);
    }

    pub fn add(&mut self, about: About, weight: Verdict, trouble: Trouble) {
        let finding = Finding { about, weight, trouble, cures: Vec::new(), accepted: None };
        // Two outputs of one amplifier may have the same trouble.
        if !self.findings.contains(&finding) {
            self.findings.push(finding);
        }
    }

    pub fn show(&mut self, about: About, worked: Worked) {
        self.worked.push((about, worked));
    }

    pub fn cannot_tell(&mut self, unknown: Unknown) {
        if !self.unknown.contains(&unknown) {
            self.unknown.push(unknown);
        }
    }
}

/// Each wire by itself, then the wires that share a socket.
fn wires(rig: &Rig, found: &mut Found) -> Vec<Judgement> {
    let mut judgements = Vec::with_capacity(rig.wires.len());
    for index in 0..rig.wires.len() {
        let judgement = judge_wire(rig, WireId(index), found);
        for remark in judgement.remarks.iter().filter(|remark| remark.weight > Verdict::Fits) {
            found.add(About::Wire(WireId(index)), remark.weight, Trouble::Wire(remark.reason));
        }
        judgements.push(judgement);
    }
    shared_sockets(rig, &judgements, found);
    judgements
}

fn judge_wire(rig: &Rig, id: WireId, found: &mut Found) -> Judgement {
    let wired = &rig.wires[id.0];
    let (Some(out), Some(input)) = (signals::output_of(rig, wired), signals::input_of(rig, wired)) else {
        let no_output = signals::output_of(rig, wired).is_none();
        let trouble = if no_output { Trouble::NoSuchOutput } else { Trouble::NoSuchInput };
        found.never(About::Wire(id), trouble);
        return Judgement::default();
    };
    let listed = |channel: &u8| rig.strip(*channel).is_some() || rig.desk() != Some(wired.to.0);
    if let Some(channel) = wired.to.1.channel().filter(|channel| !listed(channel)) {
        found.but(About::Wire(id), Trouble::NotListed { channel });
    }
    let out = if powered_elsewhere(rig, id) { Output { phantom: OnPhantom::Ignores, ..out } } else { out };
    rules::judge(&out, &wired.wire, &input, signals::around(rig, id))
}

/// Whether a source on several inputs gets its phantom power by another of its wires.
fn powered_elsewhere(rig: &Rig, id: WireId) -> bool {
    let wired = &rig.wires[id.0];
    let others = rig.wires.iter().enumerate().filter(|(index, other)| *index != id.0 && other.from == wired.from);
    let mut supplies = others.filter_map(|(_, other)| signals::input_of(rig, other)).map(|input| input.supply);
    supplies.any(|supply| supply == Supply::Phantom(Some(true)))
}

/// Least ratio of load to source where several inputs hang on one output.
const SPLIT_RATIO: f64 = 10.0;

fn shared_sockets(rig: &Rig, judgements: &[Judgement], found: &mut Found) {
    for (index, wired) in rig.wires.iter().enumerate() {
        let id = WireId(index);
        let earlier = |same: &dyn Fn(&Wired) -> bool| rig.wires[..index].iter().any(same);
        let stacks = matches!(wired.to.1, InPort::Usb | InPort::Network);
        if earlier(&|other| other.to == wired.to) && !stacks {
            found.never(About::Wire(id), Trouble::Wire(Reason::OutputsFight));
        }
        let Some(out) = signals::output_of(rig, wired).filter(|out| out.drive == Drive::Signal) else { continue };
        let shares: Vec<(usize, &Wired)> =
            rig.wires.iter().enumerate().filter(|(_, other)| other.from == wired.from).collect();
        if shares.len() < 2 || earlier(&|other| other.from == wired.from) || wired.from.1 == OutPort::Link {
            continue;
        }
        let straight = shares.iter().filter(|(_, other)| !other.wire.through.contains(&InLine::Splitter)).count();
        if rig.thing(wired.from.0).kind.is_mic() {
            // A splitter is made for what hangs on it.
            if straight > 1 {
                found.but(About::Wire(id), Trouble::Wire(Reason::MicSplitWithoutTransformer));
            }
            continue;
        }
        let loads = shares.iter().filter_map(|(at, other)| {
            let input = signals::input_of(rig, other).filter(|input| input.takes == Takes::Signal)?;
            let switched = judgements.get(*at).and_then(|judgement| judgement.switch);
            let mode = input.modes.iter().find(|mode| switched.is_none_or(|kind| kind == mode.kind))?;
            Some(mode.impedance)
        });
        let load = super::sums::loads::parallel(loads);
        if load.get() < SPLIT_RATIO * out.impedance.get() {
            found.but(About::Wire(id), Trouble::Wire(Reason::SplitLoads { load }));
        }
    }
}

/// Cures that stand at one finding of a wire are not told again at its next.
fn cure(rig: &Rig, findings: &mut [Finding], loudness: &Loudness) {
    for index in 0..findings.len() {
        let (told, rest) = findings.split_at_mut(index);
        let finding = &mut rest[0];
        let mut cures = cures::of(rig, finding, loudness);
        let same = told.iter().filter(|other| other.about == finding.about);
        let known: Vec<&Cure> = same.flat_map(|other| &other.cures).collect();
        cures.retain(|cure| !known.contains(&cure));
        finding.cures = cures;
    }
}

fn accept(rig: &Rig, findings: &mut [Finding], refused: &mut Vec<Refused>) {
    for (index, accepted) in rig.accepted.iter().enumerate() {
        let mut matched = false;
        for finding in findings.iter_mut() {
            let same = named(rig, finding.about).eq_ignore_ascii_case(accepted.about.trim());
            if !same || !finding.trouble.code().eq_ignore_ascii_case(accepted.what.trim()) {
                continue;
            }
            matched = true;
            if finding.weight == Verdict::Never {
                refused.push(Refused::IsNever(index));
            } else {
                finding.accepted = Some(accepted.because.clone());
            }
        }
        // Without wires nobody can tell what it would have accepted.
        if !matched && !rig.wires.is_empty() {
            refused.push(Refused::NotFound(index));
        }
    }
}

/// What a line of `accepted` calls it.
pub fn named(rig: &Rig, about: About) -> String {
    match about {
        About::Wire(id) => format!("wire {}", rig.wires[id.0].label),
        About::Channel(channel) => format!("channel {channel}"),
        About::Thing(id) => rig.thing(id).name.clone(),
        About::Bus(Bus::MainLeft | Bus::MainRight) => "main".to_owned(),
        About::Bus(Bus::Group(n)) => format!("group {n}"),
        About::Bus(Bus::Aux(n)) => format!("aux {n}"),
        About::Whole => "event".to_owned(),
    }
}

impl Trouble {
    /// The machine word, also used to accept it.
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Wire(reason) => reason.code(),
            Self::NoSuchOutput => "no-such-output",
            Self::NoSuchInput => "no-such-input",
            Self::NotWired => "not-wired",
            Self::NotListed { .. } => "not-listed",
            Self::WrongChannel { .. } => "wrong-channel",
            Self::WrongSource { .. } => "wrong-source",
            Self::ChannelTaken { .. } => "channel-taken",
            Self::SideCrossed(_) => "side-crossed",
            Self::NotHeard(_) => "not-heard",
            Self::HeardOnOneSide(_) => "one-side-only",
            Self::CueInTheHall { .. } => "cue-in-the-hall",
            Self::CueInTheRecording { .. } => "cue-in-the-recording",
            Self::RecordingLacks(_) => "recording-lacks",
            Self::CueUnheard(_) => "cue-unheard",
            Self::CueSummed(_) => "cue-summed",
            Self::SoloOn => "solo-on",
            Self::SpeakerLacks(_) => "speaker-lacks",
            Self::NoPower => "no-power",
            Self::NoneThere => "none-there",
            Self::SpeakerUnfed { .. } => "nothing-feeds-it",
            Self::MonitorAfterFader { .. } => "monitor-after-fader",
            Self::TwiceInOneMonitor { .. } => "twice-in-one-monitor",
            Self::Loop => "loop",
            Self::PhantomForAll { .. } => "phantom-for-all",
            Self::LoadTooLow { .. } => "load-too-low",
            Self::LineOverloaded { .. } => "line-overloaded",
            Self::AmplifierTooStrong { .. } => "amplifier-too-strong",
            Self::AmplifierTooWeak { .. } => "amplifier-too-weak",
            Self::CircuitTooWeak { .. } => "circuit-too-weak",
            Self::CircuitShared => "circuit-shared",
            Self::GainShort { .. } => "gain-short",
            Self::TooQuietAtSeat { .. } => "too-quiet-at-seat",
            Self::MicsTooClose { .. } => "mics-too-close",
            Self::Short(_) => "short-of-gear",
            Self::TooManyChannels { .. } => "too-many-channels",
            Self::TooManyAuxes { .. } => "too-many-auxes",
            Self::BatteryTooShort { .. } => "battery-too-short",
        }
    }
}

/// Whether a thing of the rig is a loudspeaker or an amplifier that something should feed.
pub(super) const fn wants_feed(kind: GearKind) -> bool {
    matches!(
        kind,
        GearKind::ActiveSpeaker
            | GearKind::PassiveSpeaker
            | GearKind::LineSpeaker
            | GearKind::ActiveMonitor
            | GearKind::PassiveMonitor
            | GearKind::Amplifier
            | GearKind::LineAmplifier
    )
}
