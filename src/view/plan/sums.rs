//! Computations as they are shown: formula, what went in, what came out, what it assumes.

use super::Plan;
use super::findings::about;
use crate::plan::quantity::Metres;
use crate::plan::sums::{Assumption, Given, Quantity as Q, Sum, Worked};
use crate::view::lengths::length;
use crate::view::words::plain;

/// All that was computed: the sums, the seats, the weakest stage.
pub fn computed_lines(plan: &Plan) -> Vec<String> {
    sum_lines(plan).into_iter().chain(seat_lines(plan)).chain(weakest_stage(plan)).collect()
}

/// All computations, grouped by what they are about.
fn sum_lines(plan: &Plan) -> Vec<String> {
    let line = |(what, worked): &(crate::plan::checks::About, Worked)| {
        format!("{}: {}", about(&plan.rig, *what), sum_line(worked))
    };
    plan.checked.worked.iter().map(line).collect()
}

/// The stage of the chain that clips first.
pub fn weakest_stage(plan: &Plan) -> Option<String> {
    let stages = plan.checked.worked.iter().filter(|(_, worked)| worked.sum == Sum::Headroom);
    let (what, worked) = stages.min_by(|a, b| a.1.value().total_cmp(&b.1.value()))?;
    let (stage, left) = (about(&plan.rig, *what), figure(worked.value()));
    Some(format!("Weakest stage: {stage}, {left} dB left over its loudest peak. 10 dB everywhere is the aim"))
}

/// "front row: 102 dB at full power, 70 dBA needed", for each seat.
fn seat_lines(plan: &Plan) -> Vec<String> {
    let seats = plan.rig.venue.iter().flat_map(|venue| &venue.seats);
    let told = seats.zip(&plan.checked.loudness.seats).map(|(seat, level)| {
        let needed = level.needed.map_or(String::new(), |needed| format!(", {} dBA needed", figure(needed.get())));
        format!("{}: {} dB at full power{needed}", plain(&seat.name), figure(level.level.get()))
    });
    told.collect()
}

/// "Needed gain 9.5 dB = 20 lg(D0 / EAD); D0 15 m, EAD 5 m. Assumed: …".
pub fn sum_line(worked: &Worked) -> String {
    let given: Vec<String> = worked.given.iter().map(|given| told(*given)).collect();
    let assumes: Vec<&str> = worked.assumes.iter().map(|assumption| assumed(*assumption)).collect();
    let mut line = format!("{} = {}; {}", told(worked.result), formula(worked.sum), given.join(", "));
    if !assumes.is_empty() {
        line = format!("{line}. Assumed: {}", assumes.join("; "));
    }
    line
}

pub(super) const fn formula(sum: Sum) -> &'static str {
    match sum {
        Sum::StartGain => "target − (L − 20 lg Ds − 94 + 20 lg(S / 0.775 V))",
        Sum::Headroom => "clip − the lesser of (level + crest + show lift) and the most it gives",
        Sum::Loading => "20 lg((Z + Zout) / Z), wanted Z ≥ 10 Zout",
        Sum::Parallel => "1 / (1/Z1 + 1/Z2 + …)",
        Sum::CableLoss => "20 lg((Z + R) / Z), R = 2 · 0.0175 · length / area",
        Sum::Damping => "Z / (Zout + R)",
        Sum::LineLoad => "V² / P",
        Sum::SeatLevel => "L at 1 m + 10 lg(1/d² + 1/Dc²)",
        Sum::Needed => "noise + what must stand over it",
        Sum::CriticalDistance => "0.057 √(Q · V / T)",
        Sum::Eyring => "0.161 V / (−S ln(1 − α))",
        Sum::PotentialGain => "20 lg(D0 · D1 / (Ds · D2)) − 10 lg NOM − 6 + credit",
        Sum::NeededGain => "20 lg(D0 / EAD)",
        Sum::MonitorLevel => "voice at the microphone − 10 lg NOM − 6",
        Sum::Delay => "d / c + what keeps the stage first",
        Sum::ThreeToOne => "−20 lg(apart / distance)",
        Sum::Current => "P / (V · power factor)",
        Sum::AirLoss => "attenuation of air (ISO 9613-1) · d",
        Sum::NioshTime => "480 min / 2^((L − 85) / 3)",
    }
}

const METRES: &str = " m";

/// "D0 15 m".
fn told(given: Given) -> String {
    let (symbol, unit) = symbol_and_unit(given.what);
    let value = figure(given.value);
    match given.what {
        Q::LoadOf(n) => format!("Z{n} {value} Ω"),
        _ if unit == METRES => format!("{symbol} {}", length(&value, Metres::new(given.value))),
        _ => format!("{symbol} {value}{unit}"),
    }
}

/// Three digits are all that any of this is worth.
fn figure(value: f64) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let size = value.abs();
    let text = if size >= 100.0 {
        format!("{value:.0}")
    } else if size >= 10.0 {
        format!("{value:.1}")
    } else {
        format!("{value:.2}")
    };
    let short = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if short == "-0" { "0".into() } else { short.replace('-', "−") }
}

const fn symbol_and_unit(what: Q) -> (&'static str, &'static str) {
    match what {
        Q::SoundLevel => ("L", " dB"),
        Q::Sensitivity => ("S", " mV/Pa"),
        Q::SensitivityOfSpeaker => ("L at 1 m", " dB"),
        Q::Level => ("level", " dBu"),
        Q::MostLevel => ("most", " dBu"),
        Q::TargetLevel => ("target", " dBu"),
        Q::Gain => ("gain to start from", " dB"),
        Q::ClipLevel => ("clip", " dBu"),
        Q::Crest => ("crest", " dB"),
        Q::ShowLift => ("show lift", " dB"),
        Q::Headroom => ("headroom", " dB"),
        Q::LoadOf(_) => ("Z", " Ω"),
        Q::TotalLoad => ("load", " Ω"),
        Q::LeastLoad => ("least", " Ω"),
        Q::Length => ("length", METRES),
        Q::ConductorArea => ("area", " mm²"),
        Q::Load => ("Z", " Ω"),
        Q::LoopResistance => ("R", " Ω"),
        Q::Loss => ("loss", " dB"),
        Q::OutputImpedance => ("Zout", " Ω"),
        Q::DampingFactor => ("damping", ""),
        Q::LineVoltage => ("V", " V"),
        Q::TotalPower => ("P", " W"),
        Q::Distance => ("d", METRES),
        Q::CriticalDistance => ("Dc", METRES),
        Q::Directivity => ("Q", ""),
        Q::Volume => ("V", " m³"),
        Q::ReverbTime => ("T", " s"),
        Q::Surface => ("S", " m²"),
        Q::Absorption => ("α", ""),
        Q::NoiseLevel => ("noise", " dBA"),
        Q::OverNoise => ("over it", " dB"),
        Q::NeededLevel => ("needed", " dBA"),
        Q::SourceToListener => ("D0", METRES),
        Q::MicToSpeaker => ("D1", METRES),
        Q::SourceToMic => ("Ds", METRES),
        Q::SpeakerToListener => ("D2", METRES),
        Q::OpenMics => ("NOM", ""),
        Q::EquivalentDistance => ("EAD", METRES),
        Q::PotentialGain => ("gain before it rings", " dB"),
        Q::NeededGain => ("needed gain", " dB"),
        Q::PatternCredit => ("credit", " dB"),
        Q::VoiceAtMic => ("voice", " dB"),
        Q::MonitorToMic => ("monitor to microphone", METRES),
        Q::MonitorLevel => ("its monitor before it rings", " dB"),
        Q::Temperature => ("t", " °C"),
        Q::Humidity => ("humidity", " %"),
        Q::Frequency => ("f", " Hz"),
        Q::SpeedOfSound => ("c", " m/s"),
        Q::Delay => ("delay", " ms"),
        Q::PrecedenceDelay => ("stage first", " ms"),
        Q::SpacingRatio => ("ratio", ""),
        Q::Spill => ("spill", " dB"),
        Q::Ripple => ("ripple", " dB"),
        Q::FirstNotch => ("first notch", " Hz"),
        Q::Voltage => ("V", " V"),
        Q::PowerFactor => ("power factor", ""),
        Q::Current => ("current", " A"),
        Q::Breaker => ("breaker", " A"),
        Q::AirLoss => ("air takes", " dB"),
        Q::Exposure => ("safe for", " min"),
    }
}

const fn assumed(assumption: Assumption) -> &'static str {
    match assumption {
        Assumption::SpeechOneMetre => "usual loudness of this kind at 1 m",
        Assumption::UsualSensitivity => "usual sensitivity, unless the gear list says",
        Assumption::CrestAndLiftOfKind => "crest and show lift of this kind",
        Assumption::CrestAndLiftOfMix => "crest of a mix, and 3 dB more on show night",
        Assumption::NominalImpedance => "nominal impedances",
        Assumption::CopperAt20 => "copper at room temperature",
        Assumption::NothingInTheWay => "nothing in the way",
        Assumption::DiffuseRoom => "an evenly echoing hall",
        Assumption::HallOfPeopleAbsorbsMore => "empty; people absorb more",
        Assumption::OmniMicAndSpeaker => "no credit for patterns; at most 3 dB each",
        Assumption::SixDecibelsSpare => "6 dB spare",
        Assumption::PatternsCounted => "patterns counted, at most 3 dB each",
        Assumption::EarsAtTheMic => "the singer’s ears are as far from the monitor as the microphone",
        Assumption::AudienceNotCounted => "the audience’s help not counted",
        Assumption::StillAir => "still air",
        Assumption::ThenByEar => "then longer by ear, until the stage is heard first",
        Assumption::AverageThirdOfRated => "amplifiers take a third of their rated power on music",
        Assumption::NoOtherLoad => "nothing else on this circuit",
        Assumption::PeakIsNotAverage => "average 12 dB under the loudspeaker’s peak",
        Assumption::WorkingValue => "a working value, editable",
        Assumption::BoxOfABox => "a plain box of these sides",
        Assumption::AtFullPower => "loudspeakers driven to their limit all the time",
    }
}
