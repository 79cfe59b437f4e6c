//! Plugs and cables: the trade's table of leads (common practice), each row a wire, and each limit from both sides.

use beforedoors::plan::kind::{InKind, OutKind};
use beforedoors::plan::port::{Input, Output, Plug, Socket, Supply};
use beforedoors::plan::quantity::{Area, Metres, Ohms};
use beforedoors::plan::rules::{Around, corner_hz, judge};
use beforedoors::plan::verdict::Verdict;
use beforedoors::plan::wire::{Cable, InLine, Wire};

use super::told;

fn said(out: Output, wire: Wire, input: Input) -> String {
    told(&judge(&out, &wire, &input, Around::default()))
}

fn lead(from_plug: Plug, to_plug: Plug, cable: Cable, metres: f64) -> Wire {
    Wire { from_plug, to_plug, cable, length: Metres::new(metres), through: Vec::new() }
}

/// A balanced line output on a jack.
fn jack_out() -> Output {
    Output { socket: Socket::Jack, ..OutKind::DeskOut.port() }
}

const THICK: Cable = Cable::Speaker(Area::new(2.5));

#[test]
fn every_lead_of_the_table() {
    use Plug::{Rca, Speaker, Trs, Ts, Usb, Xlr};
    let mic = || OutKind::DynamicMic.port();
    let bass = || OutKind::PassivePickup.port();
    let active = || OutKind::ActiveInstrument.port();
    let amp = || OutKind::SpeakerOut.port();
    let desk_in = || InKind::MicXlr.port();
    let line = || InKind::Line.port();
    let box_in = || InKind::PassiveSpeaker.port();
    let rows: Vec<(&str, String, &str)> = vec![
        ("shielded pair, microphone", said(mic(), lead(Xlr, Xlr, Cable::Pair, 15.0), desk_in()), "ok"),
        ("shielded pair, 100 m", said(mic(), lead(Xlr, Xlr, Cable::Pair, 100.0), desk_in()), "ok"),
        ("shielded pair, 101 m", said(mic(), lead(Xlr, Xlr, Cable::Pair, 101.0), desk_in()), "w long"),
        ("balanced jack to jack", said(jack_out(), lead(Trs, Trs, Cable::Pair, 10.0), line()), "ok"),
        ("XLR to balanced jack", said(OutKind::DeskOut.port(), lead(Xlr, Trs, Cable::Pair, 10.0), line()), "ok"),
        (
            "balanced jack to XLR",
            said(jack_out(), lead(Trs, Xlr, Cable::Pair, 10.0), InKind::ActiveSpeaker.port()),
            "ok (j)",
        ),
        ("instrument lead, 6 m", said(bass(), lead(Ts, Ts, Cable::Single, 6.0), InKind::Instrument.port()), "ok"),
        ("instrument lead, 7 m", said(bass(), lead(Ts, Ts, Cable::Single, 7.0), InKind::Instrument.port()), "w long"),
        ("unbalanced line, 8 m", said(active(), lead(Ts, Ts, Cable::Single, 8.0), line()), "ok"),
        ("unbalanced line, 9 m", said(active(), lead(Ts, Ts, Cable::Single, 9.0), line()), "w long"),
        ("loudspeaker cable as a signal lead", said(active(), lead(Ts, Ts, THICK, 3.0), line()), "w unshielded"),
        (
            "instrument lead on a loudspeaker",
            said(amp(), lead(Speaker, Speaker, Cable::Single, 5.0), box_in()),
            "NO thin",
        ),
        (
            "microphone lead on a loudspeaker",
            said(amp(), lead(Speaker, Speaker, Cable::Pair, 5.0), box_in()),
            "NO thin",
        ),
        ("loudspeaker cable on a loudspeaker", said(amp(), lead(Speaker, Speaker, THICK, 10.0), box_in()), "ok"),
        (
            "mono plug in a balanced input",
            said(OutKind::DeskOut.port(), lead(Xlr, Ts, Cable::Single, 3.0), line()),
            "w cold",
        ),
        ("mono plug of an unbalanced source", said(active(), lead(Ts, Ts, Cable::Single, 3.0), line()), "ok"),
        (
            "stereo plug in a mono socket",
            said(bass(), lead(Ts, Trs, Cable::Single, 3.0), InKind::Instrument.port()),
            "w ring",
        ),
        (
            "stereo plug in a mono output",
            said(bass(), lead(Trs, Ts, Cable::Single, 3.0), InKind::Instrument.port()),
            "w ring",
        ),
        ("mono plug in a balanced output", said(jack_out(), lead(Ts, Trs, Cable::Single, 3.0), line()), "w cold-out"),
        (
            "microphone lead to a mono plug",
            said(OutKind::RadioMicLevel.port(), lead(Xlr, Ts, Cable::Single, 3.0), InKind::Instrument.port()),
            "w a b mic-unbalanced",
        ),
        ("stereo split", said(OutKind::LaptopPhones.port(), lead(Plug::Mini, Ts, Cable::Split, 2.0), line()), "ok"),
        (
            "insert lead used as a stereo split",
            said(OutKind::DeskPhones.port(), lead(Trs, Ts, Cable::InsertY, 2.0), line()),
            "NO (q) look-alike n",
        ),
        (
            "stereo split used as an insert lead",
            said(active(), lead(Ts, Trs, Cable::Split, 2.0), InKind::Insert.port()),
            "NO c look-alike",
        ),
        (
            "RCA, 5 m",
            said(OutKind::RecordOut.port(), lead(Rca, Rca, Cable::Single, 5.0), InKind::TwoTrack.port()),
            "ok",
        ),
        (
            "RCA, 6 m",
            said(OutKind::RecordOut.port(), lead(Rca, Rca, Cable::Single, 6.0), InKind::TwoTrack.port()),
            "w long",
        ),
        (
            "DI with its audio lift",
            said(bass(), lead(Ts, Xlr, Cable::Pair, 15.0).through(&[InLine::PassiveDi, InLine::GroundLift]), desk_in()),
            "ok (lift)",
        ),
        (
            "active DI without power",
            said(bass(), lead(Ts, Xlr, Cable::Pair, 15.0).through(&[InLine::ActiveDi]), {
                Input { supply: Supply::Phantom(Some(false)), ..desk_in() }
            }),
            "NO h",
        ),
        (
            "active DI on phantom power",
            said(bass(), lead(Ts, Xlr, Cable::Pair, 15.0).through(&[InLine::ActiveDi]), desk_in()),
            "ok (+48)",
        ),
        (
            "mains earth removed",
            said(
                OutKind::Mains.port(),
                Wire { through: vec![InLine::EarthRemoved], ..mains_lead() },
                InKind::Mains.port(),
            ),
            "NO earth",
        ),
        ("mains lead", said(OutKind::Mains.port(), mains_lead(), InKind::Mains.port()), "ok"),
        ("mains into a loudspeaker", said(OutKind::Mains.port(), mains_lead(), box_in()), "NO mains"),
        ("amplifier into a mains socket", said(amp(), mains_lead(), InKind::Mains.port()), "NO mains"),
        (
            "XLR on a loudspeaker",
            said(Output { socket: Socket::Xlr, ..amp() }, lead(Xlr, Speaker, THICK, 5.0), box_in()),
            "NO xlr",
        ),
        (
            "jack on a loudspeaker",
            said(Output { socket: Socket::MonoJack, ..amp() }, lead(Ts, Speaker, THICK, 5.0), box_in()),
            "ok (label)",
        ),
        ("USB, 5 m", said(OutKind::UsbOut.port(), lead(Usb, Usb, Cable::Usb, 5.0), InKind::UsbIn.port()), "ok"),
        ("USB, 6 m", said(OutKind::UsbOut.port(), lead(Usb, Usb, Cable::Usb, 6.0), InKind::UsbIn.port()), "w usb-long"),
        (
            "USB through a hub",
            said(
                OutKind::UsbOut.port(),
                lead(Usb, Usb, Cable::Usb, 2.0).through(&[InLine::UsbHub]),
                InKind::UsbIn.port(),
            ),
            "w hub",
        ),
        (
            "network stage cable",
            said(
                OutKind::NetworkOut.port(),
                lead(Plug::Network, Plug::Network, Cable::Network, 50.0),
                InKind::NetworkIn.port(),
            ),
            "ok (desk-maker)",
        ),
        (
            "a plug that does not go in",
            said(mic(), lead(Xlr, Rca, Cable::Single, 3.0), desk_in()),
            "NO mic-unbalanced plug",
        ),
        (
            "line to desk through pads of 40 dB",
            said(
                Output { phantom: beforedoors::plan::port::OnPhantom::Ignores, ..OutKind::DeskOut.port() },
                lead(Xlr, Xlr, Cable::Pair, 10.0).through(&[InLine::Pad40]),
                desk_in(),
            ),
            "ok",
        ),
        (
            "condenser on a battery of its own",
            said(OutKind::BatteryCondenserMic.port(), lead(Xlr, Xlr, Cable::Pair, 5.0), InKind::ActiveSpeaker.port()),
            "w e",
        ),
        (
            "condenser with a phantom box",
            said(
                OutKind::CondenserMic.port(),
                lead(Xlr, Xlr, Cable::Pair, 5.0).through(&[InLine::PhantomBox]),
                InKind::ActiveSpeaker.port(),
            ),
            "w e",
        ),
        (
            "ribbon where phantom power is on",
            said(OutKind::RibbonMic.port(), lead(Xlr, Xlr, Cable::Pair, 5.0), {
                Input { supply: Supply::Phantom(Some(true)), ..desk_in() }
            }),
            "NO i",
        ),
        (
            "line speaker through its own transformer",
            said(
                OutKind::HighVoltageLine.port(),
                lead(Plug::Bare, Speaker, THICK, 5.0).through(&[InLine::StepDown]),
                box_in(),
            ),
            "ok",
        ),
        (
            "line loudspeaker on its line",
            said(
                OutKind::HighVoltageLine.port(),
                lead(Plug::Bare, Plug::Bare, THICK, 30.0),
                InKind::LineSpeaker.port(),
            ),
            "ok",
        ),
    ];
    let wrong: Vec<String> = rows
        .iter()
        .filter(|(_, said, expected)| said != expected)
        .map(|(what, said, expected)| format!("{what}: expected {expected}, said {said}"))
        .collect();
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), rows.len(), wrong.join("\n"));
}

fn mains_lead() -> Wire {
    lead(Plug::Mains, Plug::Mains, Cable::Mains, 5.0)
}

/// With 100 pF/m: 10 kΩ and 10 m give −3 dB at 16 kHz, 250 kΩ and 6 m at 1 kHz (closed form, two digits in print).
#[test]
fn a_long_lead_dulls_a_pickup() {
    assert!((corner_hz(Ohms::new(10_000.0), Metres::new(10.0)) - 15_915.0).abs() < 1.0);
    assert!((corner_hz(Ohms::new(250_000.0), Metres::new(6.0)) - 1_061.0).abs() < 1.0);
}

/// 20 m: 1.5 mm² loses 0.5 dB at 8 Ω and 1.0 dB at 4 Ω; 2.5 mm² 0.3 and 0.6 dB (closed form).
#[test]
fn the_lead_to_a_loudspeaker_may_lose_half_a_decibel() {
    for (area, metres, ohms, expected) in [
        (1.5, 19.0, 8.0, Verdict::Fits),
        (1.5, 21.0, 8.0, Verdict::WorksBut),
        (1.5, 9.0, 4.0, Verdict::Fits),
        (1.5, 11.0, 4.0, Verdict::WorksBut),
        (2.5, 33.0, 8.0, Verdict::Fits),
        (2.5, 35.0, 8.0, Verdict::WorksBut),
    ] {
        let wire = lead(Plug::Speaker, Plug::Speaker, Cable::Speaker(Area::new(area)), metres);
        let load =
            Input { takes: beforedoors::plan::port::Takes::Speaker(Ohms::new(ohms)), ..InKind::PassiveSpeaker.port() };
        let judged = judge(&OutKind::SpeakerOut.port(), &wire, &load, Around::default());
        assert_eq!(judged.verdict(), expected, "{metres} m of {area} mm² at {ohms} Ω: {}", told(&judged));
    }
}
