//! The verdict on a wire, from the properties of both ports and of what lies between them.
//!
//! Not one pair of devices is named here. The order: what can never be (loudspeaker level, mains) is settled first and
//! alone; then the signal walks through the boxes of the wire to the input, and each position of the input's switch
//! is tried, unless somebody said where it stands; then the lead itself. Levels in dBu, thresholds in dB: common
//! practice (working values), held against the matrices of source and input in `tests/it/plan`. Edge cases:
//! an input without modes takes no signal; infinite or NaN levels compare as "no remark" and never panic.

mod lead;
mod level;
mod loudspeaker;
mod phantom;
mod stereo;

pub use lead::corner_hz;
pub use level::loading_loss;
pub use loudspeaker::MOST_LOSS as MOST_SPEAKER_LOSS;

use super::port::{Drive, Input, Mode, Output, Takes};
use super::verdict::{Judgement, Reason, Verdict};
use super::wire::{InLine, Wire};

/// What the rest of the rig makes of a wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Around {
    /// Whether the other side of a stereo source is wired as well.
    pub other_half: bool,
    /// Whether it is one leg of an insert lead, whose other leg goes to or comes from the same thing.
    pub insert_pair: bool,
}

impl Default for Around {
    fn default() -> Self {
        Self { other_half: true, insert_pair: false }
    }
}

/// Judges one wire.
pub fn judge(out: &Output, wire: &Wire, input: &Input, around: Around) -> Judgement {
    let mut judgement = Judgement::default();
    if wire.through.contains(&InLine::EarthRemoved) {
        judgement.never(Reason::EarthRemoved);
        return judgement;
    }
    let feeds = wire.through.iter().fold(*out, |out, inline| inline.after(out));
    match (feeds.drive, input.takes) {
        (Drive::Mains, Takes::Mains) => lead::mains(out, wire, input, &mut judgement),
        (Drive::Mains, _) | (_, Takes::Mains) => judgement.never(Reason::MainsElsewhere),
        (Drive::Data(a), Takes::Data(b)) if a == b => lead::data(a, wire, &mut judgement),
        (Drive::Data(_), _) | (_, Takes::Data(_)) => judgement.never(Reason::NotTheSameKind),
        (Drive::Speaker | Drive::HighVoltage, _) | (_, Takes::Speaker(_) | Takes::HighVoltage) => {
            loudspeaker::judge(out, &feeds, wire, input, &mut judgement);
        }
        _ if around.insert_pair => lead::plugs(out, wire, input, &mut judgement),
        (Drive::Signal, Takes::Insert) => insert(out, wire, input, &mut judgement),
        (Drive::Signal, Takes::Signal) => signal(out, wire, input, around, &mut judgement),
    }
    judgement.remarks.sort_by_key(|remark| std::cmp::Reverse(remark.weight));
    judgement
}

/// A signal into an input made for one.
fn signal(out: &Output, wire: &Wire, input: &Input, around: Around, judgement: &mut Judgement) {
    let mut walked = Judgement::default();
    let feeds = level::walk(out, wire, &mut walked);
    let candidates = input.modes.iter().filter(|mode| input.switched_to.is_none_or(|kind| kind == mode.kind));
    let tried = candidates.map(|mode| in_mode(&feeds, mode, input));
    let best = tried.min_by_key(|one| {
        let count = |weight| one.remarks.iter().filter(|remark| remark.weight == weight).count();
        (count(Verdict::Never), count(Verdict::WorksBut), one.remarks.len())
    });
    let Some(best) = best else {
        judgement.never(Reason::NotTheSameKind);
        return;
    };
    if feeds.riaa {
        judgement.never(Reason::NeedsPhonoPreamp);
    }
    if out.interrupts {
        judgement.but(Reason::InsertIsNoOutput);
    }
    judgement.switch = best.switch.filter(|_| input.modes.len() > 1);
    judgement.remarks.extend(best.remarks);
    judgement.remarks.extend(walked.remarks);
    stereo::judge(out, wire, &feeds, input, around, judgement);
    lead::judge(out, &feeds, wire, input, judgement);
}

/// One position of the input's switch.
fn in_mode(feeds: &Output, mode: &Mode, input: &Input) -> Judgement {
    let mut judgement = Judgement { switch: Some(mode.kind), remarks: Vec::new() };
    level::judge(feeds, mode, input, &mut judgement);
    phantom::judge(feeds, mode, input, &mut judgement);
    judgement
}

/// Send and return on one socket: only a single line-level source, and only by a lead wired for the return.
fn insert(out: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    let feeds = level::walk(out, wire, judgement);
    let lifted = input.modes.first().is_some_and(|mode| feeds.usual >= mode.quietest);
    let one_line_source = lifted
        && feeds.layout == super::port::Layout::Mono
        && feeds.carries == super::port::Carries::OneSource
        && wire.cable == super::wire::Cable::ReturnWired;
    judgement.add(if one_line_source { Verdict::WorksBut } else { Verdict::Never }, Reason::InsertIsTwoWay);
    lead::plugs(out, wire, input, judgement);
}
