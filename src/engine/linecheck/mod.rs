//! The line check at work: one pipeline for a device and the simulated stage, and its picture for a face.
//!
//! As in a soundcheck, latest wins and a face has a link only: [`LineLink`]. The coach's requests reach the ears at the
//! frame where they arose, so the same samples and answers give the same picture, however they are cut into blocks.

mod hand;
mod pipeline;
mod session;

pub use crate::coach::linecheck::{
    Call, HumCure, LineAdvice, LineAnswer, LineInput, LineOutcome, LinePlan, LineResult, LineStep, LineWhy, Side,
    SpeakerResult, TestSound, Way, Wire,
};
pub use crate::detectors::{Hum, HumPattern, Mains};
pub use crate::source::stage::{RigFault, Side as StageSide};
pub use hand::{Knocked, LineHand, LineSkill};
pub use pipeline::LinePipeline;
pub use session::{LineHearing, LineLink, LinePace, LineSession, LineWaker, drawn_faults, stage_plan};

use crate::units::{ChannelId, Dbfs, Seconds};

/// What a face sees.
#[derive(Clone, Debug)]
pub struct LineSnapshot {
    /// Time on the audio clock.
    pub at: Seconds,
    pub advice: LineAdvice,
    /// In the order in which they are called.
    pub inputs: Vec<LineStatus>,
    /// The device's lines.
    pub lines: Vec<LineLevel>,
    pub speakers: SpeakerResult,
    /// What an assembly found; `None` in a whole line check.
    pub assembly: Option<AssemblyFound>,
    /// What the loudspeakers are to play now.
    pub sound: TestSound,
    /// Frames that the source lost.
    pub lost_frames: u64,
    /// Why no sound could be made, if so; how to mend it.
    pub trouble: Option<String>,
}

#[derive(Clone, Copy, Debug)]
pub struct LineStatus {
    pub input: LineInput,
    pub result: LineResult,
}

/// A line of the device, now.
#[derive(Clone, Copy, Debug, Default)]
pub struct LineLevel {
    /// RMS of the last 0.1 s.
    pub level: Dbfs,
    pub floor: Option<Dbfs>,
}

/// Where microphone and video of an assembly come in, and where the microphone is heard.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AssemblyFound {
    pub microphone: Option<ChannelId>,
    pub video: [Option<ChannelId>; 2],
    pub hall: Option<LineAnswer>,
}

impl LineSnapshot {
    pub fn is_over(&self) -> bool {
        self.advice.step == LineStep::Over
    }
}
