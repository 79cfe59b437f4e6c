//! Findings in words: what it is, and what to do about it.

use super::numbers::{self, clock, counted, dbfs, level, lufs, seconds, span, times};
use crate::detectors::{
    CLEAR_OF_FLOOR, DropoutForm, EndForm, Evidence, Finding, FreakReason, HeaderFault, HumForm, NEAR_FLOOR, Partner,
};
use crate::units::{Db, Hertz, Seconds};

/// What was found, as a mark on a picture: a word, and a shape of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FaultKind {
    Clipped,
    FlatTop,
    NotHeard,
    SetAside,
    Spill,
    Invalid,
    Gap,
    CodedClip,
    Low,
    Silent,
    WrongTrack,
    OneSide,
    Duplicate,
    Polarity,
    Dropout,
    Rate,
    Drift,
    Hum,
    Buzz,
    Hiss,
    Whine,
    Crackle,
    Dc,
    Rumble,
    Riding,
    Lossy,
    Mono,
    Loud,
    Truncated,
    Header,
    /// Told by the ring detector, not by a finding.
    Ring,
}

impl FaultKind {
    pub const fn of(evidence: &Evidence) -> Self {
        match evidence {
            Evidence::Clipped { .. } => Self::Clipped,
            Evidence::FlatTop { .. } => Self::FlatTop,
            Evidence::NotHeard { .. } => Self::NotHeard,
            Evidence::Freak { .. } => Self::SetAside,
            Evidence::Spill { .. } => Self::Spill,
            Evidence::Invalid { .. } => Self::Invalid,
            Evidence::Gap { .. } => Self::Gap,
            Evidence::CodedClip { .. } => Self::CodedClip,
            Evidence::Low { .. } => Self::Low,
            Evidence::Silent { .. } => Self::Silent,
            Evidence::WrongTrack { .. } => Self::WrongTrack,
            Evidence::OneSide { .. } => Self::OneSide,
            Evidence::Duplicate { .. } => Self::Duplicate,
            Evidence::Polarity { .. } => Self::Polarity,
            Evidence::Dropout { .. } => Self::Dropout,
            Evidence::Rate { .. } | Evidence::OddRate { .. } => Self::Rate,
            Evidence::Drift { .. } | Evidence::Shifted { .. } => Self::Drift,
            Evidence::Hum { form: HumForm::Magnetic, .. } => Self::Hum,
            Evidence::Hum { .. } => Self::Buzz,
            Evidence::Hiss { .. } => Self::Hiss,
            Evidence::Whine { .. } => Self::Whine,
            Evidence::Crackle { .. } => Self::Crackle,
            Evidence::Dc { .. } => Self::Dc,
            Evidence::Rumble { .. } => Self::Rumble,
            Evidence::Riding { .. } => Self::Riding,
            Evidence::Lossy { .. } => Self::Lossy,
            Evidence::Mono { .. } => Self::Mono,
            Evidence::Loud { .. } => Self::Loud,
            Evidence::Truncated { .. } | Evidence::LateStart { .. } => Self::Truncated,
            Evidence::Header { .. } => Self::Header,
        }
    }

    pub const fn word(self) -> &'static str {
        match self {
            Self::Clipped => "clipped",
            Self::FlatTop => "flat top",
            Self::NotHeard => "not heard",
            Self::SetAside => "set aside",
            Self::Spill => "spill",
            Self::Invalid => "no number",
            Self::Gap => "gap",
            Self::CodedClip => "clipped, then coded",
            Self::Low => "too low",
            Self::Silent => "silent",
            Self::WrongTrack => "wrong track",
            Self::OneSide => "one side",
            Self::Duplicate => "duplicate",
            Self::Polarity => "polarity",
            Self::Dropout => "dropout",
            Self::Rate => "sample rate",
            Self::Drift => "drift",
            Self::Hum => "hum",
            Self::Buzz => "buzz",
            Self::Hiss => "hiss",
            Self::Whine => "whine",
            Self::Crackle => "crackle",
            Self::Dc => "offset",
            Self::Rumble => "rumble",
            Self::Riding => "level riding",
            Self::Lossy => "lossy",
            Self::Mono => "mono",
            Self::Loud => "loud",
            Self::Truncated => "end missing",
            Self::Header => "header",
            Self::Ring => "ringing",
        }
    }

    /// The heading of a narrow column.
    pub const fn short(self) -> &'static str {
        match self {
            Self::FlatTop => "flat",
            Self::NotHeard => "unheard",
            Self::SetAside => "aside",
            Self::Invalid => "no num",
            Self::CodedClip => "coded",
            Self::Low => "low",
            Self::WrongTrack => "wrong",
            Self::OneSide => "side",
            Self::Duplicate => "double",
            Self::Rate => "rate",
            Self::Riding => "riding",
            Self::Truncated => "cut",
            Self::Ring => "rings",
            kind => kind.word(),
        }
    }
}

/// What was found.
pub fn finding_words(finding: &Finding) -> String {
    match finding.evidence {
        Evidence::Clipped { runs, longest, .. } => {
            format!(
                "clipped: flat at full scale {}, longest {}",
                times(runs),
                counted(longest.into(), "sample", "samples")
            )
        }
        Evidence::FlatTop { places, level, overshoot, .. } => format!(
            "flat tops at {} in {}, cut by at least {}: overloaded before this meter",
            dbfs(level),
            counted(places.into(), "place", "places"),
            span(overshoot)
        ),
        Evidence::NotHeard { quiet, .. } => format!("only the room for {}", seconds(quiet)),
        Evidence::Freak { peak, above_the_rest, reason } => match reason {
            FreakReason::FarAbove => {
                format!("one burst of {}, {} over the rest: set aside", dbfs(peak), span(above_the_rest))
            }
            FreakReason::Thump => format!("one thump of {}: set aside", dbfs(peak)),
        },
        Evidence::Spill { from, lag, below } => {
            let late = lag.get() * 1000.0;
            let when = if late < 0.0 { "early" } else { "late" };
            format!("spill from channel {}, {} down, {:.0} ms {when}", from.number(), span(below), late.abs())
        }
        Evidence::Invalid { samples } => {
            let verb = if samples == 1 { "is no number" } else { "are no numbers" };
            format!("{} {verb}: read as silence", counted(samples, "sample", "samples"))
        }
        Evidence::Gap { frames } => {
            let verb = if frames == 1 { "was" } else { "were" };
            format!("gap: {} {verb} lost", counted(frames, "frame", "frames"))
        }
        Evidence::CodedClip { places, level, overshoot } => format!(
            "clipped, then coded: {} end near {}, cut by up to {}",
            counted(places.into(), "crest", "crests"),
            dbfs(level),
            span(overshoot)
        ),
        Evidence::Low { active, floor } => match floor {
            Some(floor) if active - floor < NEAR_FLOOR => {
                format!("too low: {}, only {} over its own noise", dbfs(active), span(active - floor))
            }
            Some(floor) => format!("too low: {}, but {} over its own noise", dbfs(active), span(active - floor)),
            None => format!("too low: {}", dbfs(active)),
        },
        Evidence::Silent { level } => format!("silent from start to end: {}", dbfs(level)),
        Evidence::WrongTrack { level } => format!("sounds at {}, but the list has nothing here", dbfs(level)),
        Evidence::OneSide { below } => format!("{} weaker than the other side", span(below)),
        Evidence::Duplicate { of, gain, .. } => format!("the same as {}{}", track(of), louder(gain)),
        Evidence::Polarity { with, correlation } => {
            format!("upside down against {}: correlation {}", track(with), signed(correlation, 2))
        }
        Evidence::Dropout { length, form } => {
            let told = milliseconds(length);
            match form {
                DropoutForm::Zeros => format!("dropout: {told} of digital silence inside the sound"),
                DropoutForm::Held => format!("dropout: {told} of one value held inside the sound"),
                DropoutForm::Repeated => format!("dropout: {told} that repeat what stood before them"),
                DropoutForm::Step => "dropout: the wave jumps; samples are missing, or it was cut here".into(),
                DropoutForm::Died => format!("dropout: the line was dead for {}", numbers::length(length)),
            }
        }
        Evidence::Rate { header, true_rate, line } => {
            let proof = line.map_or(String::new(), |line| format!(": the mains stands at {}", hertz(line, 2)));
            format!("wrong sample rate: recorded at {true_rate} Hz, labelled {header} Hz{proof}")
        }
        Evidence::OddRate { rate, usual } => format!("{rate} Hz, while the other tracks have {usual} Hz"),
        Evidence::Drift { with, ppm, offset } => format!(
            "begins {:.2} s {} {}, then drifts by {} ppm ({:.0} ms an hour)",
            offset.get().abs(),
            if offset.get() < 0.0 { "after" } else { "before" },
            track(with),
            signed(ppm, 1),
            ppm.abs() * 3.6
        ),
        Evidence::Shifted { with, late } => format!(
            "lies {} {} {}, all along; otherwise the two are a pair",
            milliseconds(Seconds::new(late.get().abs())),
            if late.get() < 0.0 { "before" } else { "after" },
            track(with)
        ),
        Evidence::Hum { frequency, level, below, form, .. } => {
            let what = match form {
                HumForm::Magnetic => "hum",
                HumForm::Rectifier => "buzz of a supply (even multiples)",
                HumForm::Dimmer => "buzz of dimmers (a comb into the kilohertz)",
                HumForm::Phone => "buzz of a mobile phone (bursts)",
            };
            format!("{what}: {} and multiples at {}, {}", hertz(frequency, 2), dbfs(level), under(below))
        }
        Evidence::Hiss { floor, below } => {
            format!("hiss: {} over 2 kHz in the pauses, {}", dbfs(floor), under(below))
        }
        Evidence::Whine { frequency, level } => {
            format!("whine: a tone of {} at {} that keeps its level", hertz(frequency, 0), dbfs(level))
        }
        Evidence::Crackle { clicks, highest } => {
            format!("crackle: {}, up to {}", counted(clicks.into(), "click", "clicks"), dbfs(highest))
        }
        Evidence::Dc { mean } => format!("offset: the wave stands {} % off the middle", signed(mean * 100.0, 1)),
        Evidence::Rumble { share } => format!("rumble: {:.0} % of the energy lies under 40 Hz", share * 100.0),
        Evidence::Riding { rise } => format!("the level rides: the pauses come up by {}", span(rise)),
        Evidence::Lossy { nothing_above } => format!("coded with loss: nothing over {}", hertz(nothing_above, 0)),
        Evidence::Mono { gain } => format!("mono: left and right are the same{}", louder(gain)),
        Evidence::Loud { true_peak, integrated } => {
            format!("loud: true peak {} dBTP, {}", level(true_peak), lufs(integrated))
        }
        Evidence::Truncated { missing, form } => end_missing(missing, form),
        Evidence::LateStart { late } => format!("begins {} after the other tracks", milliseconds(late)),
        Evidence::Header { fault } => header(fault),
    }
}

/// What to do about it.
pub fn finding_advice(evidence: &Evidence) -> &'static str {
    match evidence {
        Evidence::Clipped { .. } => "Next time DOWN 10 dB at the input; here, use another take",
        Evidence::FlatTop { .. } => "Turn DOWN at the source: pack, DI or instrument",
        Evidence::NotHeard { .. } => "Is it switched on, plugged in and played?",
        Evidence::Freak { .. } => "Nothing to do; it does not count",
        Evidence::Spill { .. } => "Nothing to turn; ask this channel’s own performer to play",
        Evidence::Invalid { .. } => "Copy or export the file again; plug the device in again",
        Evidence::Gap { .. } => "Try another port or cable, close other programs, keep the laptop awake",
        Evidence::CodedClip { .. } => "Use another take; next time turn DOWN before it is coded",
        Evidence::Low { active, floor: Some(floor) } if *active - *floor < NEAR_FLOOR => {
            "Next time a nearer microphone; more gain lifts the noise too"
        }
        Evidence::Low { active, floor: Some(floor) } if *active - *floor > CLEAR_OF_FLOOR => {
            "Next time feed it 10 dB more; a louder copy helps today"
        }
        Evidence::Low { .. } => "Next time feed it 10 dB more; a louder copy brings noise",
        Evidence::Silent { .. } => "Check the cable and which source this track records",
        Evidence::WrongTrack { .. } => "Compare recording sources with the input list, then swap names",
        Evidence::OneSide { .. } => "Check cable and pan; afterwards centre it on a copy",
        Evidence::Duplicate { .. } => "If that was not planned, leave one of the two out",
        Evidence::Polarity { .. } => "Flip one on a copy; find the lead wired wrong",
        Evidence::Dropout { form: DropoutForm::Died, .. } => {
            "Cable, plug, battery or mute: ask what happened; change the cable"
        }
        Evidence::Dropout { .. } => "Another port or cable, bigger buffer, no hub; here, another take",
        Evidence::Rate { .. } => "Put the right rate into the header of a copy",
        Evidence::OddRate { .. } => "Convert a copy to the others’ rate; set the recorder once",
        Evidence::Drift { .. } => "Stretch a copy by that, or line up anew at each applause",
        Evidence::Hum { form: HumForm::Magnetic, .. } => {
            "Mute inputs in turn; move that lead, lift its DI’s audio ground"
        }
        Evidence::Hum { form: HumForm::Phone, .. } => "Phones off or in flight mode near microphones and leads",
        Evidence::Hum { .. } => "Lights on another circuit; this device on battery or a DI",
        Evidence::Hiss { .. } => "Next time more gain before, less after; nearer microphones",
        Evidence::Whine { .. } => "Laptop off its supply; leads away from screens and chargers",
        Evidence::Crackle { .. } => "Wiggle plugs and pack one by one; change the cable",
        Evidence::Dc { .. } => "A high-pass at 20 Hz on a copy takes it away",
        Evidence::Rumble { .. } => "Low-cut on at the input; on copies high-pass 80 Hz",
        Evidence::Riding { .. } => "Lock the recorder’s level; else stand farther back",
        Evidence::Lossy { .. } => "Fine for a copy to hand out, not for the archive",
        Evidence::Mono { .. } => "Fine as it is; one channel is enough",
        Evidence::Loud { .. } => "To hand out, make a copy with −1 dBTP at most",
        Evidence::Truncated { .. } => "Copy it again from the recorder; check card and battery",
        Evidence::LateStart { .. } => "Shift it by that; arm every track before you start",
        Evidence::Shifted { .. } => "Shift one of the two by that before you mix them",
        Evidence::Header { .. } => "Keep the original; save a copy with a right header",
    }
}

fn end_missing(missing: Option<Seconds>, form: EndForm) -> String {
    let Some(missing) = missing.map(milliseconds) else {
        return "the end is missing: the file stops or is damaged here, nothing tells how much it held".into();
    };
    match form {
        EndForm::CutShort => format!("cut short: the last {missing} is missing"),
        EndForm::Unwritten => format!("the end was never written: {missing} of empty space"),
        EndForm::BeforeOthers => format!("ends {missing} before the other tracks"),
    }
}

fn header(fault: HeaderFault) -> String {
    match fault {
        HeaderFault::Unfinished { held } => format!("unfinished header: {held} frames lie behind it"),
        HeaderFault::TooShort { stated, held } => format!("the header says {stated} frames, there are {held}"),
        HeaderFault::FrameSize { stated, used } => format!("the header gives {stated} bytes a frame, it is {used}"),
        HeaderFault::TwoAsOne { held } => {
            format!("the header says one channel, but left and right stand in turn: {held} frames of two")
        }
    }
}

/// Another track; a face adds the file's name.
fn track(partner: Partner) -> String {
    match partner.file {
        None => format!("channel {}", partner.channel.number()),
        Some(_) if partner.channel.index() == 0 => "another recording".into(),
        Some(_) => format!("channel {} of another recording", partner.channel.number()),
    }
}

fn louder(gain: Db) -> String {
    match gain.get() {
        gain if gain.abs() < 0.05 => String::new(),
        more if more > 0.0 => format!(", {} louder", span(gain)),
        _ => format!(", {} softer", span(gain)),
    }
}

fn under(below: Db) -> String {
    let side = if below.get() < 0.0 { "under" } else { "over" };
    format!("{} {side} the programme", span(below))
}

fn milliseconds(span: Seconds) -> String {
    match span.get() {
        short if short < 1.0 => format!("{:.0} ms", short * 1000.0),
        long if long < 60.0 => format!("{long:.1} s"),
        _ => clock(span),
    }
}

fn hertz(frequency: Hertz, decimals: usize) -> String {
    format!("{:.decimals$} Hz", frequency.get())
}

/// With a true minus.
fn signed(value: f64, decimals: usize) -> String {
    format!("{value:+.decimals$}").replace('-', "−")
}
