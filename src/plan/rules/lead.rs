//! The lead itself: do the plugs go in, is it balanced, is it too long, is it the right cable.
//!
//! Lengths in metres. A balanced run is good to 100 m; an unbalanced one to 8 m at line level, 5 m on RCA, 6 m
//! from a source of high impedance (common practice). The cable's capacitance (100 pF/m, usual for instrument
//! cable) and the source's impedance make a low-pass with its corner at 1 / (2π · Z · C): 10 kΩ and 10 m give
//! 16 kHz. Edge cases: a length of 0 has no corner.

use std::f64::consts::TAU;

use crate::plan::port::{DataKind, Input, Output, Plug, Seat, Takes};
use crate::plan::quantity::{Metres, Ohms};
use crate::plan::verdict::{Judgement, Reason, Verdict, WireEnd};
use crate::plan::wire::{Cable, InLine, Wire};
use crate::units::Dbu;

const FARADS_A_METRE: f64 = 100e-12;
const BALANCED_LIMIT: Metres = Metres::new(100.0);
const LINE_LIMIT: Metres = Metres::new(8.0);
const RCA_LIMIT: Metres = Metres::new(5.0);
const HIGH_IMPEDANCE_LIMIT: Metres = Metres::new(6.0);
const USB_LIMIT: Metres = Metres::new(5.0);
/// From here on the cable's capacitance is heard.
const HIGH_IMPEDANCE: Ohms = Ohms::new(5_000.0);
const AUDIBLE_TOP_HZ: f64 = 16_000.0;
const MIC_LEVEL: Dbu = Dbu::new(-22.0);

/// −3 dB corner of a cable on a source.
pub fn corner_hz(source: Ohms, length: Metres) -> f64 {
    1.0 / (TAU * source.get() * FARADS_A_METRE * length.get())
}

/// A signal lead. `feeds` is what the boxes of the wire make of `out`.
pub(super) fn judge(out: &Output, feeds: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    plugs(out, wire, input, judgement);
    match wire.cable {
        Cable::Pair | Cable::Single | Cable::Split | Cable::InsertY => {}
        Cable::Speaker(_) => judgement.but(Reason::Unshielded),
        Cable::ReturnWired => judgement.but(Reason::ReturnLeadElsewhere),
        Cable::Usb | Cable::Network => judgement.never(Reason::NotTheSameKind),
        Cable::Mains => judgement.never(Reason::MainsElsewhere),
    }
    balance(out, feeds, wire, input, judgement);
    length(out, feeds, wire, input, judgement);
    if wire.through.contains(&InLine::GroundLift) {
        let at_a_di = wire.through.iter().any(|inline| inline.load().is_some());
        // On a microphone's own lead it takes phantom power's way back.
        judgement.add(if at_a_di { Verdict::Fits } else { Verdict::Never }, Reason::AudioLiftOnly);
    }
}

/// Whether the plugs go in at all.
pub(super) fn plugs(out: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    for (end, socket, plug) in [(WireEnd::From, out.socket, wire.from_plug), (WireEnd::To, input.socket, wire.to_plug)]
    {
        match socket.seats(plug) {
            Seat::Right => {}
            Seat::Shorted => judgement.but(Reason::RingShorted { end }),
            Seat::DoesNotGoIn => judgement.never(Reason::PlugDoesNotGoIn { end }),
        }
    }
    let insert_lead = matches!(wire.cable, Cable::InsertY | Cable::ReturnWired);
    if input.takes == Takes::Insert && !insert_lead && wire.cable == Cable::Split {
        judgement.but(Reason::SplitAsInsertLead);
    }
}

/// Balance that both ends offer and the lead throws away.
fn balance(out: &Output, feeds: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    let boxed = wire.through.iter().any(|inline| inline.load().is_some());
    if boxed || !feeds.balanced {
        return;
    }
    if out.balanced && wire.from_plug == Plug::Ts {
        judgement.but(Reason::ColdShorted);
    } else if input.balanced && !wire.to_plug.carries_a_pair() {
        judgement.but(if feeds.usual < MIC_LEVEL { Reason::MicUnbalanced } else { Reason::ColdGrounded });
    } else if input.balanced && wire.cable != Cable::Pair {
        judgement.but(Reason::ColdGrounded);
    } else if !input.balanced && feeds.usual < MIC_LEVEL && wire.from_plug == Plug::Xlr {
        judgement.but(Reason::MicUnbalanced);
    }
}

fn length(out: &Output, feeds: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    let whole = wire.length;
    let pair = wire.cable == Cable::Pair && wire.to_plug.carries_a_pair();
    // A DI or transformer stands at the source: what comes after it is the long, balanced part.
    if feeds.balanced && input.balanced && pair {
        if whole > BALANCED_LIMIT {
            judgement.but(Reason::LongBalanced { length: whole, limit: BALANCED_LIMIT });
        }
        return;
    }
    let rca = wire.from_plug == Plug::Rca || wire.to_plug == Plug::Rca;
    let high = out.impedance >= HIGH_IMPEDANCE && feeds.impedance >= HIGH_IMPEDANCE;
    let limit = match (high, rca) {
        (true, _) => HIGH_IMPEDANCE_LIMIT,
        (false, true) => RCA_LIMIT,
        (false, false) => LINE_LIMIT,
    };
    if whole > limit {
        judgement.but(Reason::LongUnbalanced { length: whole, limit });
    }
    let corner_hz = corner_hz(feeds.impedance, whole);
    if high && corner_hz < AUDIBLE_TOP_HZ {
        judgement.note(Reason::Dull { corner_hz });
    }
}

/// USB or network.
pub(super) fn data(kind: DataKind, wire: &Wire, judgement: &mut Judgement) {
    match (kind, wire.cable) {
        (DataKind::Usb, Cable::Usb) => {
            if wire.length > USB_LIMIT {
                judgement.but(Reason::UsbTooLong { length: wire.length });
            }
            if wire.through.contains(&InLine::UsbHub) {
                judgement.but(Reason::UsbHub);
            }
        }
        (DataKind::Network, Cable::Network) => judgement.note(Reason::FollowDeskMakersCable),
        _ => judgement.never(Reason::NotTheSameKind),
    }
}

/// A mains lead from a socket of the hall to a thing.
pub(super) fn mains(out: &Output, wire: &Wire, input: &Input, judgement: &mut Judgement) {
    if wire.cable == Cable::Mains {
        plugs(out, wire, input, judgement);
    } else {
        judgement.never(Reason::MainsElsewhere);
    }
}
