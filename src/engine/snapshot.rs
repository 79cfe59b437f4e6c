//! What a face sees: the newest readings, findings, states and the one next step, as plain values.

use crate::coach::ready::Was;
use crate::coach::{Advice, ChannelState, Need};
use crate::detectors::{Finding, Heard, Tops};
use crate::meters::Readings;
use crate::units::{ChannelId, Dbfs, Seconds};

/// The newest state of the whole program; latest wins.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// Time on the audio clock.
    pub at: Seconds,
    pub readings: Readings,
    /// One for each input of the list.
    pub inputs: Vec<InputStatus>,
    pub advice: Advice,
    /// The newest findings, oldest first.
    pub findings: Vec<Finding>,
    /// How many there were in all.
    pub findings_total: u64,
    /// Frames that the source lost.
    pub lost_frames: u64,
    /// How each line of the source would be left.
    pub lines: Vec<Was>,
}

/// One input: its state and its numbers.
#[derive(Clone, Copy, Debug)]
pub struct InputStatus {
    pub state: ChannelState,
    /// The line it is heard on, while it is.
    pub line: Option<ChannelId>,
    pub window: (Dbfs, Dbfs),
    /// How much of it must be heard.
    pub need: Need,
    pub heard: Heard,
    pub tops: Tops,
    pub trims: u8,
}

impl Snapshot {
    /// Findings kept for the face.
    pub const FINDINGS: usize = 32;
}
