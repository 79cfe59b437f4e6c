//! The catalogue: what things are called, and the ports that such a thing usually has.
//!
//! Levels in dBu, impedances in ohms, by common practice: microphones −65 to −25 dBu (close drums and brass to −5),
//! passive pickups −25 to −5 dBu from 5 to 250 kΩ, active instruments −15 to +4, consumer line −10 dBV = −7.8 dBu,
//! professional line +4 dBu with +20 to +26 at most, loudspeaker level +20 to +40 dBu. A gear list may give each
//! thing numbers of its own. Edge cases: a passive ribbon is taken in front of what it is used for (brass, guitar
//! loudspeakers), so it stands higher than a microphone for voices.

use super::port::{
    Carries, DataKind, Drive, Input, InputSide, Layout, Mode, ModeKind, OnPhantom, Output, Socket, Supply, Takes,
};
use super::quantity::Ohms;
use crate::units::Dbu;

/// A kind of output.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OutKind {
    DynamicMic,
    CondenserMic,
    BatteryCondenserMic,
    RibbonMic,
    RadioMicLevel,
    RadioLineLevel,
    PassivePickup,
    PiezoPickup,
    ActiveInstrument,
    StereoKeys,
    LaptopPhones,
    RecordOut,
    RecordPlayer,
    DeskOut,
    DeskPhones,
    InsertSend,
    SpeakerOut,
    HighVoltageLine,
    UsbOut,
    NetworkOut,
    Mains,
}

impl OutKind {
    /// The properties that such an output usually has.
    pub fn port(self) -> Output {
        use OnPhantom::{Ignores, IsHarmed, MayBeHarmed, Needs};
        let base = Output {
            socket: Socket::Xlr,
            drive: Drive::Signal,
            usual: Dbu::new(-50.0),
            loudest: Dbu::new(-5.0),
            impedance: Ohms::new(200.0),
            balanced: true,
            phantom: Ignores,
            layout: Layout::Mono,
            carries: Carries::OneSource,
            by_knob: false,
            riaa: false,
            interrupts: false,
        };
        let mic = |usual: f64, ohms: f64, phantom| Output {
            usual: Dbu::new(usual),
            impedance: Ohms::new(ohms),
            phantom,
            ..base
        };
        let line = |socket, usual: f64, loudest: f64, ohms: f64, balanced| Output {
            socket,
            usual: Dbu::new(usual),
            loudest: Dbu::new(loudest),
            impedance: Ohms::new(ohms),
            balanced,
            phantom: MayBeHarmed,
            ..base
        };
        match self {
            Self::DynamicMic => base,
            Self::CondenserMic => mic(-38.0, 150.0, Needs),
            Self::BatteryCondenserMic => mic(-42.0, 200.0, Ignores),
            Self::RibbonMic => mic(-32.0, 300.0, IsHarmed),
            Self::RadioMicLevel => Output { loudest: Dbu::new(-10.0), ..mic(-25.0, 200.0, MayBeHarmed) },
            Self::RadioLineLevel => line(Socket::Xlr, 0.0, 10.0, 150.0, true),
            Self::PassivePickup => line(Socket::MonoJack, -15.0, -5.0, 10_000.0, false),
            Self::PiezoPickup => line(Socket::MonoJack, -20.0, -5.0, 1_000_000.0, false),
            Self::ActiveInstrument => line(Socket::MonoJack, -6.0, 6.0, 600.0, false),
            Self::StereoKeys => {
                Output { layout: Layout::Pair { sums: true }, ..line(Socket::MonoJack, -6.0, 6.0, 600.0, false) }
            }
            Self::LaptopPhones => {
                Output { layout: Layout::OnePlug, carries: Carries::Mix, ..line(Socket::Mini, -8.0, 6.0, 50.0, false) }
            }
            Self::RecordOut => Output { carries: Carries::Mix, ..line(Socket::Rca, -7.8, 6.0, 600.0, false) },
            // A moving magnet gives 3 to 5 mV.
            Self::RecordPlayer => Output {
                layout: Layout::Pair { sums: false },
                carries: Carries::Mix,
                riaa: true,
                ..line(Socket::Rca, -46.0, -28.0, 1_000.0, false)
            },
            Self::InsertSend => Output { interrupts: true, ..line(Socket::Jack, 0.0, 20.0, 100.0, false) },
            Self::DeskOut => Output { carries: Carries::Mix, ..line(Socket::Xlr, 4.0, 22.0, 120.0, true) },
            Self::DeskPhones => Output {
                layout: Layout::OnePlug,
                carries: Carries::Mix,
                by_knob: true,
                ..line(Socket::Jack, 0.0, 14.0, 30.0, false)
            },
            Self::SpeakerOut => Output {
                drive: Drive::Speaker,
                carries: Carries::Mix,
                ..line(Socket::Speaker, 30.0, 40.0, 0.05, false)
            },
            Self::HighVoltageLine => Output {
                drive: Drive::HighVoltage,
                carries: Carries::Mix,
                ..line(Socket::Posts, 38.0, 42.0, 0.05, false)
            },
            Self::UsbOut => Output { drive: Drive::Data(DataKind::Usb), ..line(Socket::Usb, 0.0, 0.0, 0.0, false) },
            Self::NetworkOut => {
                Output { drive: Drive::Data(DataKind::Network), ..line(Socket::Network, 0.0, 0.0, 0.0, false) }
            }
            Self::Mains => Output { drive: Drive::Mains, ..line(Socket::Mains, 49.5, 52.5, 0.05, false) },
        }
    }
}

/// A kind of input.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum InKind {
    MicXlr,
    Line,
    Instrument,
    Insert,
    StereoLeft,
    StereoRight,
    TwoTrack,
    ActiveSpeaker,
    PassiveSpeaker,
    LineSpeaker,
    HeadsetJack,
    Interface,
    AmplifierIn,
    UsbIn,
    NetworkIn,
    Mains,
}

impl InKind {
    /// The properties that such an input usually has.
    pub fn port(self) -> Input {
        let mic = |quietest: f64, clips: f64| mode(ModeKind::Mic, quietest, clips, 2_000.0, true);
        let base = Input {
            socket: Socket::Jack,
            takes: Takes::Signal,
            modes: vec![mode(ModeKind::Line, -20.0, 22.0, 10_000.0, true)],
            switched_to: None,
            balanced: true,
            supply: Supply::Nothing,
            side: InputSide::Single,
            strip: true,
        };
        let plain =
            |takes, socket| Input { socket, takes, modes: Vec::new(), balanced: false, strip: false, ..base.clone() };
        let stereo =
            |side| Input { side, modes: vec![mode(ModeKind::Line, -20.0, 22.0, 10_000.0, false)], ..base.clone() };
        match self {
            Self::MicXlr => {
                Input { socket: Socket::Xlr, modes: vec![mic(-60.0, -2.0)], supply: Supply::Phantom(None), ..base }
            }
            Self::Line => base,
            Self::Instrument => Input {
                socket: Socket::MonoJack,
                modes: vec![mode(ModeKind::Instrument, -20.0, 12.0, 1_000_000.0, true)],
                balanced: false,
                ..base
            },
            Self::Insert => Input {
                takes: Takes::Insert,
                modes: vec![mode(ModeKind::Line, -12.0, 20.0, 10_000.0, false)],
                balanced: false,
                ..base
            },
            Self::StereoLeft => stereo(InputSide::Left),
            Self::StereoRight => stereo(InputSide::Right),
            Self::TwoTrack => Input {
                socket: Socket::Rca,
                modes: vec![mode(ModeKind::Line, -8.0, 9.0, 10_000.0, false)],
                balanced: false,
                strip: false,
                ..base
            },
            Self::ActiveSpeaker => Input {
                socket: Socket::Combo,
                modes: vec![mic(-50.0, -5.0), mode(ModeKind::Line, -12.0, 20.0, 10_000.0, true)],
                strip: false,
                ..base
            },
            Self::PassiveSpeaker => plain(Takes::Speaker(Ohms::new(8.0)), Socket::Speaker),
            Self::LineSpeaker => plain(Takes::HighVoltage, Socket::Posts),
            Self::HeadsetJack => Input {
                socket: Socket::Headset,
                modes: vec![mic(-50.0, -20.0)],
                balanced: false,
                supply: Supply::Bias,
                ..base
            },
            Self::Interface => Input {
                socket: Socket::Combo,
                modes: vec![
                    mic(-60.0, -2.0),
                    mode(ModeKind::Line, -12.0, 20.0, 10_000.0, false),
                    mode(ModeKind::Instrument, -30.0, 8.0, 1_000_000.0, true),
                ],
                supply: Supply::Phantom(None),
                ..base
            },
            Self::AmplifierIn => Input {
                socket: Socket::Combo,
                modes: vec![mode(ModeKind::Line, -10.0, 20.0, 20_000.0, true)],
                strip: false,
                ..base
            },
            Self::UsbIn => plain(Takes::Data(DataKind::Usb), Socket::Usb),
            Self::NetworkIn => plain(Takes::Data(DataKind::Network), Socket::Network),
            Self::Mains => plain(Takes::Mains, Socket::Mains),
        }
    }
}

const fn mode(kind: ModeKind, quietest: f64, clips: f64, ohms: f64, trim: bool) -> Mode {
    Mode { kind, quietest: Dbu::new(quietest), clips: Dbu::new(clips), impedance: Ohms::new(ohms), trim }
}
