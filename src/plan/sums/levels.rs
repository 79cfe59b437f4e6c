//! From sound to the desk: what a microphone gives, the gain to start from, what is left before clipping.
//!
//! Output dBu = SPL − 94 + 20 lg(S / 0.7746 V), S in V/Pa (1 Pa is 93.98 dB re 20 µPa, ISO 1683 and IEC 61672-1);
//! a voice's level rises by 20 lg(1 m / d) as it comes closer than the 1 m where it is known (inverse distance
//! law). Thermal noise √(4 k T R B) (Johnson, Nyquist). headroom = clip − peak, and the peak is
//! level + crest + show lift, or less where what comes before gives no more. Edge cases:
//! a distance or sensitivity of 0 gives −∞ or ∞.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::{Metres, Ohms};
use crate::units::{Db, Dbu, Spl};

const PASCAL: f64 = 20e-6;
const BOLTZMANN: f64 = 1.380_649e-23;

/// What the microphone gives at this level; its sensitivity in mV/Pa.
pub fn mic_output(level: Spl, millivolts_a_pascal: f64) -> Dbu {
    let pascals = PASCAL * 10f64.powf(level.get() / 20.0);
    Dbu::from_volts(millivolts_a_pascal / 1000.0 * pascals)
}

/// The level at a distance, from that at 1 m.
pub fn at_distance(at_one_metre: Spl, distance: Metres) -> Spl {
    Spl::new(at_one_metre.get() - 20.0 * distance.get().log10())
}

/// The noise that any source impedance makes, in this bandwidth and at this temperature (kelvin).
pub fn thermal_noise(source: Ohms, bandwidth_hz: f64, kelvin: f64) -> Dbu {
    Dbu::from_volts((4.0 * BOLTZMANN * kelvin * source.get() * bandwidth_hz).sqrt())
}

/// A preamp's gain to start from: from what the microphone gives to where the desk wants it.
pub fn start_gain(at_one_metre: Spl, distance: Metres, millivolts_a_pascal: f64, target: Dbu) -> Worked {
    let at_mic = at_distance(at_one_metre, distance);
    let level = mic_output(at_mic, millivolts_a_pascal);
    Worked::new(
        Sum::StartGain,
        &[
            (Q::SoundLevel, at_one_metre.get()),
            (Q::SourceToMic, distance.get()),
            (Q::Sensitivity, millivolts_a_pascal),
            (Q::Level, level.get()),
            (Q::TargetLevel, target.get()),
        ],
        (Q::Gain, (target - level).get()),
        &[Assumption::SpeechOneMetre, Assumption::UsualSensitivity],
    )
}

/// What an input takes of a source's level by loading it.
pub fn loading(source: Ohms, load: Ohms) -> Worked {
    let loss = if source.get() <= 0.0 { 0.0 } else { 20.0 * ((load.get() + source.get()) / load.get()).log10() };
    Worked::new(
        Sum::Loading,
        &[(Q::OutputImpedance, source.get()), (Q::Load, load.get())],
        (Q::Loss, loss),
        &[Assumption::NominalImpedance],
    )
}

/// One stage of the chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    /// The usual level there.
    pub level: Dbu,
    /// The most that what comes before it gives.
    pub most: Dbu,
    pub clips: Dbu,
}

/// What is left at a stage before it clips.
pub fn headroom(stage: Stage, crest: Db, show_lift: Db, assumes: Assumption) -> Worked {
    let peak = (stage.level + crest + show_lift).get().min(stage.most.get());
    Worked::new(
        Sum::Headroom,
        &[
            (Q::ClipLevel, stage.clips.get()),
            (Q::Level, stage.level.get()),
            (Q::Crest, crest.get()),
            (Q::ShowLift, show_lift.get()),
            (Q::MostLevel, stage.most.get()),
        ],
        (Q::Headroom, stage.clips.get() - peak),
        &[assumes],
    )
}
