//! Gain before feedback: what the geometry allows, what the listener needs, and what would help most.
//!
//! PAG = 20 lg(D0 · D1 / (Ds · D2)) − 10 lg NOM − 6; NAG = 20 lg(D0 / EAD) (C. P. Boner; D. Davis and E. Patronis, *Sound
//! System Engineering*). D0 source to listener, D1 loudspeaker to microphone, Ds source to microphone, D2
//! loudspeaker to listener, NOM open microphones, EAD the distance at which the source is loud enough unaided.
//! Metres, dB. Some prints swap D0 and D2, or leave the 6 dB spare out. Credit for directional microphones and
//! loudspeakers is an assumption: at most 3 dB each. Edge cases: no open microphone counts as one.

use super::{Assumption, Quantity as Q, Sum, Worked};
use crate::plan::quantity::Metres;
use crate::units::{Db, Spl};

/// Left under the point where it rings.
pub const SPARE: Db = Db::new(6.0);
/// The most that is counted for one pattern.
pub const MOST_CREDIT: Db = Db::new(3.0);

/// One microphone, one loudspeaker, one listener.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Geometry {
    pub source_to_listener: Metres,
    pub mic_to_speaker: Metres,
    pub source_to_mic: Metres,
    pub speaker_to_listener: Metres,
    pub open_mics: u32,
    pub equivalent_distance: Metres,
    /// For the patterns of microphone and loudspeaker together.
    pub credit: Db,
}

/// What the geometry allows.
pub fn potential(at: &Geometry) -> Worked {
    let d = [at.source_to_listener, at.mic_to_speaker, at.source_to_mic, at.speaker_to_listener].map(Metres::get);
    let open = f64::from(at.open_mics.max(1));
    let gain = 20.0 * (d[0] * d[1] / (d[2] * d[3])).log10() - 10.0 * open.log10() - SPARE.get() + at.credit.get();
    let patterns = if at.credit == Db::ZERO { Assumption::OmniMicAndSpeaker } else { Assumption::PatternsCounted };
    Worked::new(
        Sum::PotentialGain,
        &[
            (Q::SourceToListener, d[0]),
            (Q::MicToSpeaker, d[1]),
            (Q::SourceToMic, d[2]),
            (Q::SpeakerToListener, d[3]),
            (Q::OpenMics, open),
            (Q::PatternCredit, at.credit.get()),
        ],
        (Q::PotentialGain, gain),
        &[Assumption::SixDecibelsSpare, patterns, Assumption::AudienceNotCounted],
    )
}

/// What the listener needs.
pub fn needed(at: &Geometry) -> Worked {
    let (d0, ead) = (at.source_to_listener.get(), at.equivalent_distance.get());
    Worked::new(
        Sum::NeededGain,
        &[(Q::SourceToListener, d0), (Q::EquivalentDistance, ead)],
        (Q::NeededGain, 20.0 * (d0 / ead).log10()),
        &[Assumption::WorkingValue],
    )
}

/// How far the allowed gain falls short of the needed one; negative where there is some to spare.
pub fn short(at: &Geometry) -> Db {
    Db::new(needed(at).value() - potential(at).value())
}

/// Something to do about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cure {
    MicCloser {
        to: Metres,
    },
    FewerOpen {
        to: u32,
    },
    SpeakerForward {
        to: Metres,
    },
    /// Patterns pointed so that they count.
    Aim,
    /// Halved and fewer, together.
    CloserAndFewer {
        to: Metres,
        open: u32,
    },
    /// Not everybody: the soloist alone, close.
    SoloistOnly,
}

/// A microphone farther than this from its source takes a group, of which one can sing alone.
const AREA: Metres = Metres::new(0.6);
/// Nobody sings closer to an area microphone.
const CLOSEST: f64 = 0.05;

/// How loud a monitor can be at a microphone, and at the ears behind it, before it rings: the voice there, less the spare.
/// `level` is the voice's at the microphone; `distance` from monitor to microphone.
pub fn in_monitor(level: Spl, distance: Metres, open_mics: u32) -> Worked {
    let open = f64::from(open_mics.max(1));
    Worked::new(
        Sum::MonitorLevel,
        &[(Q::VoiceAtMic, level.get()), (Q::OpenMics, open), (Q::MonitorToMic, distance.get())],
        (Q::MonitorLevel, level.get() - 10.0 * open.log10() - SPARE.get()),
        &[Assumption::SixDecibelsSpare, Assumption::OmniMicAndSpeaker, Assumption::EarsAtTheMic],
    )
}

/// A loudspeaker that goes forward less than this hardly moves.
const LEAST_MOVE: f64 = 0.25;

/// What would help, the most helpful first, each with the decibels that it gains. The loudspeaker can go forward by
/// `free` before it stands among the audience.
pub fn cures(at: &Geometry, free: Metres) -> Vec<(Cure, Db)> {
    let now = potential(at).value();
    let gained = |changed: Geometry| Db::new(potential(&changed).value() - now);
    let half = Metres::new((at.source_to_mic.get() / 2.0).max(CLOSEST));
    let closer = Geometry { source_to_mic: half, ..*at };
    let mut cures = Vec::new();
    if half.get() < at.source_to_mic.get() {
        cures.push((Cure::MicCloser { to: half }, gained(closer)));
    }
    if at.open_mics > 1 {
        let open = at.open_mics.div_ceil(2);
        cures.push((Cure::FewerOpen { to: open }, gained(Geometry { open_mics: open, ..*at })));
        cures.push((Cure::CloserAndFewer { to: half, open }, gained(Geometry { open_mics: open, ..closer })));
    }
    // A loudspeaker a quarter nearer to the listener is as much farther from the microphone.
    let moved = (at.speaker_to_listener.get() / 4.0).min(free.get());
    let forward = Geometry {
        mic_to_speaker: Metres::new(at.mic_to_speaker.get() + moved),
        speaker_to_listener: Metres::new(at.speaker_to_listener.get() - moved),
        ..*at
    };
    if moved >= LEAST_MOVE {
        cures.push((Cure::SpeakerForward { to: forward.mic_to_speaker }, gained(forward)));
    }
    let most = MOST_CREDIT + MOST_CREDIT;
    if at.credit < most {
        cures.push((Cure::Aim, gained(Geometry { credit: most, ..*at })));
    }
    if at.open_mics > 1 && at.source_to_mic > AREA {
        // A hand-held at 10 cm, alone.
        let solo = Geometry { source_to_mic: Metres::new(0.1), open_mics: 1, ..*at };
        cures.push((Cure::SoloistOnly, gained(solo)));
    }
    cures.retain(|(_, gain)| gain.get() > 0.05);
    cures.sort_by(|a, b| b.1.get().total_cmp(&a.1.get()));
    cures
}
