//! Stereo sources and stereo inputs: halves that are lost, sides that cancel, plugs in the wrong socket.
//!
//! Left and right on one plug, led straight into one input, give left − right where the input is balanced, and a
//! shorted right side where it is not: never, unless it is split to two inputs or summed by resistors. Edge
//! cases: a mono source in the right socket of a stereo input sounds on one side.

use super::Around;
use crate::plan::port::{Input, InputSide, Layout, Output};
use crate::plan::verdict::{Judgement, Reason};
use crate::plan::wire::{Cable, Wire};

pub(super) fn judge(
    out: &Output,
    wire: &Wire,
    feeds: &Output,
    input: &Input,
    around: Around,
    judgement: &mut Judgement,
) {
    match feeds.layout {
        Layout::OnePlug if wire.cable != Cable::Split => judgement.never(Reason::SubtractsStereo),
        Layout::Pair { sums } if !around.other_half => judgement.but(Reason::HalfOfPair { sums }),
        // Split, or each side through a box of its own; not summed.
        Layout::OnePlug | Layout::Mono if out.layout == Layout::OnePlug => {
            let summed = wire.through.contains(&crate::plan::wire::InLine::ResistorSum);
            if !around.other_half && !summed {
                judgement.but(Reason::HalfOfPair { sums: false });
            }
        }
        Layout::OnePlug | Layout::Pair { .. } => {}
        Layout::Mono => match input.side {
            InputSide::Single => {}
            InputSide::Left => judgement.note(Reason::OneSideOfStereo { right: false }),
            InputSide::Right => judgement.but(Reason::OneSideOfStereo { right: true }),
        },
    }
    if wire.cable == Cable::InsertY {
        judgement.but(Reason::InsertLeadAsSplit);
    }
}
