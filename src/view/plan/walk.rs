//! What a check found, as steps that a window walks: each with its headline, cure, reason, cautions and computations.
//!
//! In the order of the check: the worst first, then what was accepted in vain, what cannot be told, what was doubtful in
//! the files. The words are those of `plan check`. Headlines hold at most 30 letters. Edge cases: with nothing found
//! there is nothing to walk, and one step says so; a finding about something that is not drawn has no spot.

use super::cautions::{CAUTIONS, Caution};
use super::cures::cure;
use super::drawing::{BoxKind, Drawing};
use super::findings::{about, bus_name, channel_name, finding_line, refused, unknown, verdict_word};
use super::sums::sum_line;
use super::{Plan, headline};
use crate::plan::checks::{About, Finding, Trouble};
use crate::plan::rig::Rig;
use crate::plan::verdict::{Reason, Verdict};
use crate::view::numbers::counted;
use crate::view::sentence::{Arrow, NextStep, Reply};
use crate::view::words::plain;

/// Where something stands in the drawing, by its place in the list there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Spot {
    Box(usize),
    Wire(usize),
}

/// One step of the walk.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// `None`: no verdict on anything.
    pub verdict: Option<Verdict>,
    /// Read from two metres.
    pub headline: String,
    /// The whole sentence, what to do, why.
    pub next: NextStep,
    pub cautions: Vec<Caution>,
    /// Formula, what went in, what came out, what it assumes.
    pub computed: Vec<String>,
    /// What else there is to know: further cures, notes on the wire.
    pub more: Vec<String>,
    pub spot: Option<Spot>,
    /// Somebody lives with it.
    pub accepted: bool,
}

/// Everything that was found.
pub fn walk(plan: &Plan, drawing: &Drawing) -> Vec<Found> {
    let checked = &plan.checked;
    let findings = checked.findings.iter().map(|finding| of_finding(plan, drawing, finding));
    let in_vain = checked.refused.iter().map(|line| told("Not accepted", refused(&plan.rig, *line)));
    let blind =
        checked.unknown.iter().map(|what| told("Can’t tell yet", format!("Can’t tell {}", unknown(&plan.rig, *what))));
    let doubts = plan.warnings.iter().map(|warning| told("Look at the files", warning.clone()));
    findings.chain(in_vain).chain(blind).chain(doubts).collect()
}

/// Where to begin: the first that nobody has accepted.
pub fn first(walk: &[Found]) -> usize {
    walk.iter().position(|found| !found.accepted).unwrap_or(0)
}

/// Nothing was found.
pub fn all_fits(plan: &Plan) -> Found {
    let next = NextStep {
        arrow: Arrow::None,
        sentence: headline(plan),
        then: "Print the sheets, and take them to the stage".into(),
        proof: "every wire looked at by the levels, plugs and powers of its two ends".into(),
        reply: Reply::Over,
    };
    let computed = super::computed_lines(plan);
    Found {
        verdict: Some(Verdict::Fits),
        headline: "Everything fits".into(),
        next,
        cautions: CAUTIONS.to_vec(),
        computed,
        more: Vec::new(),
        spot: None,
        accepted: false,
    }
}

/// Something of the drawing that nothing was found of.
pub fn of_spot(plan: &Plan, drawing: &Drawing, spot: Spot) -> Found {
    let (verdict, title, words, whole) = match spot {
        Spot::Wire(at) => {
            let wire = &drawing.wires[at];
            let label = wire.label.as_deref().unwrap_or_default();
            (wire.verdict, format!("wire {label}"), &wire.words[..], wire.words.first().cloned())
        }
        Spot::Box(at) => {
            let drawn = &drawing.boxes[at];
            (drawn.verdict, drawn.title.clone(), &drawn.words[..], Some(drawn.title.clone()))
        }
    };
    let whole = whole.unwrap_or_default();
    let notes = if matches!(spot, Spot::Wire(_)) { words.get(1..).unwrap_or_default() } else { words };
    let chain = match spot {
        Spot::Box(at) if drawing.boxes[at].kind == BoxKind::Input => {
            let number = title.split(' ').next().and_then(|number| number.parse().ok());
            number.map(|channel| super::chain(plan, channel))
        }
        _ => None,
    };
    let next = NextStep {
        arrow: Arrow::None,
        sentence: format!("{}: {whole}", capital(verdict_word(verdict))),
        then: notes.first().cloned().or(chain).unwrap_or_else(|| whole.clone()),
        proof: if notes.len() > 1 { notes[1..].join(" · ") } else { whole.clone() },
        reply: Reply::Over,
    };
    let computed = drawn_about(plan, drawing, spot).map_or(Vec::new(), |about| computed(plan, about));
    Found {
        verdict: Some(verdict),
        headline: format!("{}: {}", capital(verdict_word(verdict)), short(&title)),
        next,
        cautions: if matches!(spot, Spot::Wire(_)) { vec![Caution::PowerOrder] } else { Vec::new() },
        computed,
        more: Vec::new(),
        spot: Some(spot),
        accepted: false,
    }
}

/// What stands where in the drawing.
fn spot(rig: &Rig, drawing: &Drawing, wanted: About) -> Option<Spot> {
    let boxed = |title: &str, input: bool| {
        let fits = |kind| (kind == BoxKind::Input) == input;
        let at = drawing.boxes.iter().position(|drawn| fits(drawn.kind) && drawn.title == title)?;
        Some(Spot::Box(at))
    };
    match wanted {
        About::Wire(id) => {
            let label = plain(&rig.wires.get(id.0)?.label);
            let at = drawing.wires.iter().position(|wire| wire.label.as_deref() == Some(&*label))?;
            Some(Spot::Wire(at))
        }
        About::Channel(channel) => boxed(&channel_name(rig, channel), true),
        About::Thing(id) => boxed(&plain(&rig.thing(id).name), false),
        About::Bus(bus) => boxed(&bus_name(bus), false),
        About::Whole => None,
    }
}

/// The other way round, for the computations.
fn drawn_about(plan: &Plan, drawing: &Drawing, wanted: Spot) -> Option<About> {
    let rig = &plan.rig;
    let wires = (0..rig.wires.len()).map(|at| About::Wire(super::wire_id(at)));
    let channels = rig.strips.iter().map(|strip| About::Channel(strip.channel.number() as u8));
    let mut all = wires.chain(channels).chain(rig.ids().map(About::Thing));
    all.find(|about| spot(rig, drawing, *about) == Some(wanted))
}

fn of_finding(plan: &Plan, drawing: &Drawing, finding: &Finding) -> Found {
    let rig = &plan.rig;
    let word = capital(verdict_word(finding.weight));
    let (whole, reason) = (about(rig, finding.about), finding_line(rig, finding));
    let cures: Vec<String> = finding.cures.iter().map(|found| format!("→ {}", cure(rig, found))).collect();
    let accepted = finding.accepted.as_ref().map(|because| format!("accepted: {}", plain(because)));
    // Without a cure of its own the reason says what to do.
    let then = cures.first().cloned().unwrap_or_else(|| capital(&reason));
    let proof = if cures.is_empty() { whole.clone() } else { format!("{whole}: {}", lower(&reason)) };
    let proof = accepted.iter().fold(proof, |proof, accepted| format!("{accepted} · {proof}"));
    let next = NextStep {
        arrow: Arrow::None,
        sentence: format!("{word}: {whole}: {reason}"),
        then,
        proof,
        reply: Reply::Over,
    };
    Found {
        verdict: Some(finding.weight),
        headline: format!("{word}: {}", short(&headline_of(rig, finding.about))),
        next,
        cautions: cautions(finding),
        computed: computed(plan, finding.about),
        more: cures.into_iter().skip(1).collect(),
        spot: spot(rig, drawing, finding.about),
        accepted: finding.accepted.is_some(),
    }
}

/// "wire 11", "input 12": what it is called stands below.
fn headline_of(rig: &Rig, wanted: About) -> String {
    match wanted {
        About::Wire(id) => format!("wire {}", plain(&rig.wires[id.0].label)),
        About::Channel(channel) => format!("input {channel}"),
        other => about(rig, other).trim_start_matches("The ").to_owned(),
    }
}

/// So that two lines hold it.
fn short(title: &str) -> String {
    const LETTERS: usize = 24;
    if title.chars().count() <= LETTERS {
        return title.to_owned();
    }
    let cut: String = title.chars().take(LETTERS - 1).collect();
    format!("{}…", cut.trim_end())
}

fn told(headline: &str, sentence: String) -> Found {
    let next = NextStep {
        arrow: Arrow::None,
        sentence: sentence.clone(),
        then: sentence,
        proof: String::new(),
        reply: Reply::Over,
    };
    Found {
        verdict: None,
        headline: headline.into(),
        next,
        cautions: Vec::new(),
        computed: Vec::new(),
        more: Vec::new(),
        spot: None,
        accepted: false,
    }
}

/// What was computed about it; of a wire, also about the channel that it brings.
fn computed(plan: &Plan, wanted: About) -> Vec<String> {
    let rig = &plan.rig;
    let of_wire = |id: crate::plan::rig::WireId| {
        let numbers = rig.strips.iter().map(|strip| strip.channel.number() as u8);
        let mut brought = numbers.filter(|number| {
            rig.source_of(*number).is_some_and(|(_, wired)| std::ptr::eq(wired, &raw const rig.wires[id.0]))
        });
        brought.next().map(About::Channel)
    };
    let also = match wanted {
        About::Wire(id) => of_wire(id).or(Some(About::Thing(rig.wires[id.0].to.0))),
        _ => None,
    };
    let worked = plan.checked.worked.iter().filter(|(what, _)| *what == wanted || Some(*what) == also);
    worked.map(|(what, worked)| format!("{}: {}", about(rig, *what), sum_line(worked))).collect()
}

/// What belongs to a finding.
fn cautions(finding: &Finding) -> Vec<Caution> {
    match &finding.trouble {
        Trouble::Wire(
            Reason::PhantomIsOff
            | Reason::PhantomOn
            | Reason::PhantomHarms
            | Reason::NoPhantom
            | Reason::BiasHarms
            | Reason::PhantomReachesSource
            | Reason::PhantomMeetsLine,
        )
        | Trouble::PhantomForAll { .. } => vec![Caution::Phantom, Caution::PowerOrder],
        Trouble::Wire(Reason::EarthRemoved | Reason::MainsElsewhere | Reason::AudioLiftOnly)
        | Trouble::CircuitTooWeak { .. }
        | Trouble::CircuitShared => vec![Caution::Electric, Caution::Tingle],
        Trouble::GainShort { .. } => vec![Caution::Hearing, Caution::Rigging],
        Trouble::TooQuietAtSeat { .. } => vec![Caution::Hearing, Caution::Exposure, Caution::Rigging],
        Trouble::Loop | Trouble::TwiceInOneMonitor { .. } => vec![Caution::Hearing],
        Trouble::LoadTooLow { .. }
        | Trouble::AmplifierTooStrong { .. }
        | Trouble::AmplifierTooWeak { .. }
        | Trouble::SpeakerUnfed { .. }
        | Trouble::NoPower => vec![Caution::PowerOrder, Caution::Electric, Caution::Rigging],
        _ => vec![Caution::PowerOrder],
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

/// Inside a sentence; what begins with more than one capital stays.
fn lower(text: &str) -> String {
    let mut letters = text.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().collect::<String>() + letters.as_str()
        }
        _ => text.to_owned(),
    }
}

/// Name, count of each verdict that wants something, size: what stays on the page whatever is walked to.
pub fn tally(plan: &Plan) -> Vec<(Option<Verdict>, String)> {
    let name = plain(&plan.rig.name);
    let name = (!name.is_empty()).then_some((None, name));
    let counted_as = |verdict| {
        let count = plan.checked.count(verdict);
        (count > 0).then(|| (Some(verdict), format!("{count} “{}”", verdict_word(verdict))))
    };
    let size = [
        counted(plan.rig.strips.len() as u64, "channel", "channels"),
        counted(plan.rig.wires.len() as u64, "wire", "wires"),
    ];
    let verdicts = [Verdict::Never, Verdict::WorksBut].into_iter().filter_map(counted_as);
    name.into_iter().chain(verdicts).chain([(None, size.join(", "))]).collect()
}
