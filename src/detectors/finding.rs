//! What the detectors report: a stretch of time on a channel, what it is, and the numbers that show it.

use crate::units::{ChannelId, Db, Dbfs, FrameCount, Seconds};

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
    Clipped { runs: u32, samples: u32, longest: u32 },
    /// Flat tops below full scale: the overload lies before this meter.
    FlatTop { places: u32, longest: u32, level: Dbfs, overshoot: Db },
    /// Nothing but the room.
    NotHeard { quiet: Seconds, level: Dbfs },
    /// One event far above all others, set aside from the loudest peak.
    Freak { peak: Dbfs, above_the_rest: Db, reason: FreakReason },
    /// What is heard here is another channel's sound.
    Spill { from: ChannelId, lag: Seconds, below: Db },
    /// NaN or infinite samples, read as silence.
    Invalid { samples: u64 },
    /// Frames lost by the device.
    Gap { frames: u64 },
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
            Self::Invalid { .. } => "invalid",
            Self::Gap { .. } => "gap",
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
