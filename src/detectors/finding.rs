//! What the detectors report: a stretch of time on a channel, what it is, and the numbers that show it.

use crate::units::{ChannelId, Db, Dbfs, FrameCount, Hertz, Lufs, Seconds};

/// Something found between `start` and `end`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Finding {
    pub channel: ChannelId,
    pub start: FrameCount,
    pub end: FrameCount,
    pub evidence: Evidence,
}

/// What it is, with its evidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Evidence {
    /// Flat runs at this meter's full scale.
    Clipped {
        runs: u32,
        samples: u32,
        longest: u32,
    },
    /// Flat tops below full scale: the overload lies before this meter.
    FlatTop {
        places: u32,
        longest: u32,
        level: Dbfs,
        overshoot: Db,
    },
    /// Nothing but the room.
    NotHeard {
        quiet: Seconds,
        level: Dbfs,
    },
    /// One event far above all others, set aside from the loudest peak.
    Freak {
        peak: Dbfs,
        above_the_rest: Db,
        reason: FreakReason,
    },
    /// What is heard here is another channel's sound.
    Spill {
        from: ChannelId,
        lag: Seconds,
        below: Db,
    },
    /// NaN or infinite samples, read as silence.
    Invalid {
        samples: u64,
    },
    /// Frames lost by the device.
    Gap {
        frames: u64,
    },
    /// Plateaus at one height: clipped, then coded or converted.
    CodedClip {
        places: u32,
        level: Dbfs,
        overshoot: Db,
    },
    /// The active level lies low, near its floor.
    Low {
        active: Dbfs,
        floor: Option<Dbfs>,
    },
    /// Nothing in the whole take.
    Silent {
        level: Dbfs,
    },
    /// Sounds where the list has nothing, or holds what another track should.
    WrongTrack {
        level: Dbfs,
    },
    /// One side of two is this much weaker.
    OneSide {
        below: Db,
    },
    /// The same sound as another track.
    Duplicate {
        of: Partner,
        gain: Db,
        correlation: f64,
    },
    /// Another track upside down.
    Polarity {
        with: Partner,
        correlation: f64,
    },
    /// A hole in the sound.
    Dropout {
        length: Seconds,
        form: DropoutForm,
    },
    /// The header tells another rate than it was recorded at. `line`: where the mains stands by the header.
    Rate {
        header: u32,
        true_rate: u32,
        line: Option<Hertz>,
    },
    /// Another rate than the other tracks of its folder have.
    OddRate {
        rate: u32,
        usual: u32,
    },
    /// The clock ran otherwise than the other recording's: what lies at t there lies at offset + t · (1 + ppm · 10⁻⁶) here.
    Drift {
        with: Partner,
        ppm: f64,
        offset: Seconds,
    },
    /// Lines of the mains, or a phone’s pulses; `below` re the programme.
    Hum {
        family: u16,
        frequency: Hertz,
        level: Dbfs,
        below: Db,
        form: HumForm,
    },
    /// Noise from 2 kHz up in the pauses; `below` re the programme.
    Hiss {
        floor: Dbfs,
        below: Db,
    },
    /// A tone over 2 kHz that never stops.
    Whine {
        frequency: Hertz,
        level: Dbfs,
    },
    Crackle {
        clicks: u32,
        highest: Dbfs,
    },
    /// The mean of the samples, full scale = 1.
    Dc {
        mean: f64,
    },
    /// This share of the energy lies below 40 Hz.
    Rumble {
        share: f64,
    },
    /// The level follows the sound: after loud passages the pauses come up by this much.
    Riding {
        rise: Db,
    },
    /// Through a codec, by where its spectrum ends.
    Lossy {
        nothing_above: Hertz,
    },
    /// Left and right are the same.
    Mono {
        gain: Db,
    },
    /// Too loud to hand out as it is.
    Loud {
        true_peak: Dbfs,
        integrated: Lufs,
    },
    /// The end is missing; `None`: nothing tells how much of it.
    Truncated {
        missing: Option<Seconds>,
        form: EndForm,
    },
    /// It begins after the other tracks.
    LateStart {
        late: Seconds,
    },
    /// Half of a pair lies later (negative: earlier) than the other half, by one and the same time.
    Shifted {
        with: Partner,
        late: Seconds,
    },
    /// The header is not what the file holds.
    Header {
        fault: HeaderFault,
    },
}

/// Another track: a channel of this recording, or of the one at this place among its partners.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Partner {
    pub file: Option<u16>,
    pub channel: ChannelId,
}

/// What stands in a dropout.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DropoutForm {
    Zeros,
    /// One value, again and again.
    Held,
    /// The block before it once more.
    Repeated,
    /// Nothing stands in it: the wave jumps.
    Step,
    /// Nothing but noise far under what its pauses had.
    Died,
}

impl DropoutForm {
    /// The word for it in machine-readable output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Zeros => "zeros",
            Self::Held => "held",
            Self::Repeated => "repeated",
            Self::Step => "step",
            Self::Died => "died",
        }
    }
}

/// What the lines of a hum tell of their source.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HumForm {
    /// A transformer or an earth loop: the first lines, falling.
    Magnetic,
    /// A supply: even lines.
    Rectifier,
    /// A comb to the kilohertz.
    Dimmer,
    /// A mobile phone: 216.67 Hz and multiples, in bursts.
    Phone,
}

/// How an end can be missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EndForm {
    /// The file ends before the length that its header promises, or is damaged from there on.
    CutShort,
    /// Space was set aside for it and never written.
    Unwritten,
    /// The other tracks of its folder go on.
    BeforeOthers,
}

/// How a header lies, where all the sound is there. Counts are frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HeaderFault {
    /// The recorder never finished it.
    Unfinished { held: u64 },
    /// There is more than it says.
    TooShort { stated: u64, held: u64 },
    /// Its frame size contradicts its width.
    FrameSize { stated: u32, used: u32 },
    /// Left and right in turn, labelled as one channel.
    TwoAsOne { held: u64 },
}

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Can be put right on a copy, or needs nothing.
    Mendable,
    /// Covers a part of the sound.
    Hides,
    /// The sound is not there.
    Lost,
}

impl Severity {
    /// The word for it in machine-readable output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mendable => "mendable",
            Self::Hides => "hides",
            Self::Lost => "lost",
        }
    }
}

/// A passage of clipping under this many samples and runs is not heard: one touch of full scale.
const TOUCH_SAMPLES: u32 = 12;
const TOUCH_RUNS: u32 = 1;
/// A hole longer than this takes a word with it.
const LONG_HOLE: Seconds = Seconds::new(0.1);
/// Hum nearer to the programme than this covers its quiet parts.
const COVERS: Db = Db::new(-30.0);

/// Sound this near to its own noise can't be raised without it.
pub const NEAR_FLOOR: Db = Db::new(30.0);
/// Sound this far over its own noise may be raised on a copy.
pub const CLEAR_OF_FLOOR: Db = Db::new(40.0);
/// 30 ms in an hour, in ppm: less is not heard beside another recording.
const DRIFT_MATTERS: f64 = 8.3;

impl Finding {
    pub fn severity(&self) -> Severity {
        match self.evidence {
            Evidence::Clipped { runs, samples, .. } if runs <= TOUCH_RUNS && samples <= TOUCH_SAMPLES => {
                Severity::Mendable
            }
            Evidence::Clipped { .. } | Evidence::FlatTop { .. } | Evidence::CodedClip { .. } => Severity::Hides,
            Evidence::Silent { .. } | Evidence::Truncated { .. } => Severity::Lost,
            Evidence::Dropout { form: DropoutForm::Step, .. } => Severity::Mendable,
            Evidence::Dropout { length, .. } if length > LONG_HOLE => Severity::Lost,
            Evidence::Dropout { .. } | Evidence::Crackle { .. } => Severity::Hides,
            Evidence::Low { active, floor: Some(floor) } if active - floor < NEAR_FLOOR => Severity::Hides,
            Evidence::Gap { .. } | Evidence::Invalid { .. } => Severity::Hides,
            Evidence::Hum { below, .. } if below > COVERS => Severity::Hides,
            _ => Severity::Mendable,
        }
    }
}

/// Why an event was set aside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FreakReason {
    /// More than 10 dB over the second-largest (and unlike the source where the source is a voice).
    FarAbove,
    /// More than 70 % of its energy below 60 Hz.
    Thump,
}

impl Evidence {
    /// The word for it in machine-readable output.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Clipped { .. } => "clipped",
            Self::FlatTop { .. } => "flat_top",
            Self::NotHeard { .. } => "silent",
            Self::Freak { .. } => "set_aside",
            Self::Spill { .. } => "spill",
            Self::CodedClip { .. } => "coded_clip",
            Self::Low { .. } => "low",
            Self::Silent { .. } => "silent",
            Self::WrongTrack { .. } => "wrong_track",
            Self::OneSide { .. } => "one_side",
            Self::Duplicate { .. } => "duplicate",
            Self::Polarity { .. } => "polarity",
            Self::Dropout { .. } | Self::Gap { .. } | Self::Invalid { .. } => "dropout",
            Self::Rate { .. } | Self::OddRate { .. } => "rate",
            Self::Drift { .. } | Self::Shifted { .. } => "drift",
            Self::Hum { form: HumForm::Magnetic, .. } => "hum",
            Self::Hum { .. } => "buzz",
            Self::Hiss { .. } => "hiss",
            Self::Whine { .. } => "whine",
            Self::Crackle { .. } => "crackle",
            Self::Dc { .. } => "dc",
            Self::Rumble { .. } => "rumble",
            Self::Riding { .. } => "riding",
            Self::Lossy { .. } => "lossy",
            Self::Mono { .. } => "mono",
            Self::Loud { .. } => "loud",
            // The file itself promises more.
            Self::Truncated { form: EndForm::CutShort, .. } => "header",
            Self::Truncated { .. } | Self::LateStart { .. } => "truncated",
            Self::Header { .. } => "header",
        }
    }

    /// Whether it is told of the recording, not of one channel.
    pub const fn is_of_all(&self) -> bool {
        matches!(
            self,
            Self::Gap { .. }
                | Self::Mono { .. }
                | Self::Loud { .. }
                | Self::Truncated { .. }
                | Self::Header { .. }
                | Self::Rate { .. }
                | Self::OddRate { .. }
                | Self::LateStart { .. }
                | Self::Drift { .. }
                | Self::Shifted { .. }
        )
    }

    /// The other track, of a finding between two.
    pub const fn partner(&self) -> Option<Partner> {
        match *self {
            Self::Duplicate { of: with, .. }
            | Self::Polarity { with, .. }
            | Self::Drift { with, .. }
            | Self::Shifted { with, .. } => Some(with),
            _ => None,
        }
    }

    /// Explains what a soundcheck hears; of a finished recording it is no finding.
    pub const fn is_of_soundcheck(&self) -> bool {
        matches!(self, Self::Freak { .. } | Self::Spill { .. })
    }

    /// Good to know, nothing wrong.
    pub fn is_note(&self) -> bool {
        match self {
            Self::Lossy { .. } | Self::Mono { .. } | Self::Loud { .. } => true,
            _ if self.is_of_soundcheck() => true,
            Self::Drift { ppm, .. } => ppm.abs() < DRIFT_MATTERS,
            _ => false,
        }
    }
}

/// Findings on their way out, taken after every block: a fixed space, far more than a block can fill.
#[derive(Clone, Debug)]
pub struct Outbox {
    findings: Vec<Finding>,
}

impl Outbox {
    const SPACE: usize = 4096;

    pub fn new() -> Self {
        Self { findings: Vec::with_capacity(Self::SPACE) }
    }

    pub fn push(&mut self, finding: Finding) {
        if self.findings.len() < Self::SPACE {
            self.findings.push(finding);
        }
    }

    pub fn drain(&mut self) -> impl Iterator<Item = Finding> + '_ {
        self.findings.drain(..)
    }
}

impl Default for Outbox {
    fn default() -> Self {
        Self::new()
    }
}
