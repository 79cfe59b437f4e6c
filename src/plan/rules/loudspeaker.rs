//! Loudspeaker level: where it may go, and on what cable.
//!
//! An amplifier gives 6 to 80 V (+20 to +40 dBu) and amperes: into anything but a passive loudspeaker it destroys,
//! and no box in the wire makes that right. Cable loss = 20 lg(Z / (Z + R)), R = 2 · ρ · length / area with
//! ρ = 0.0175 Ω·mm²/m (copper, 20 °C). Whether the amplifier bears all its loudspeakers together is judged over
//! the whole rig. Edge cases: an area or an impedance of 0 is no number to compute with and gives no remark.

use super::lead;
use crate::plan::port::{Drive, Input, Output, Plug, Takes};
use crate::plan::quantity::Ohms;
use crate::plan::sums::cable;
use crate::plan::verdict::{Judgement, Reason};
use crate::plan::wire::{Cable, Wire};
use crate::units::Db;

/// More is heard in the bass, and paid for in watts.
pub const MOST_LOSS: Db = Db::new(0.5);

/// `feeds` is what the boxes of the wire make of `out`.
pub(super) fn judge(out: &Output, feeds: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    match (feeds.drive, input.takes) {
        (Drive::Signal, _) => judgement.never(Reason::NeedsAmplifier),
        (Drive::HighVoltage, Takes::Speaker(_)) => judgement.never(Reason::NeedsStepDown),
        (Drive::Speaker, Takes::Speaker(load)) => lead_to(out, wire, input, Some(load), judgement),
        (Drive::HighVoltage, Takes::HighVoltage) => lead_to(out, wire, input, None, judgement),
        (Drive::Speaker, Takes::HighVoltage) => {
            judgement.but(Reason::LineSpeakerOnAmplifier);
            lead_to(out, wire, input, None, judgement);
        }
        _ => judgement.never(Reason::SpeakerLevel),
    }
}

fn lead_to(out: &Output, wire: &Wire, input: &Input, load: Option<Ohms>, judgement: &mut Judgement) {
    let Cable::Speaker(area) = wire.cable else {
        judgement.never(Reason::ThinCable);
        return;
    };
    if wire.from_plug == Plug::Xlr || wire.to_plug == Plug::Xlr {
        judgement.never(Reason::XlrOnSpeakers);
    }
    if wire.from_plug == Plug::Ts || wire.to_plug == Plug::Ts {
        judgement.note(Reason::LooksLikeInstrumentLead);
    }
    if let Some(load) = load {
        let loss = cable::loss(load, cable::loop_resistance(wire.length, area));
        if loss > MOST_LOSS {
            judgement.but(Reason::SpeakerCableLoss { loss });
        }
    }
    lead::plugs(out, wire, input, judgement);
}
