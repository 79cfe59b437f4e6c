//! What is known about a recording before it is read: what it is, how long, how wide.
//!
//! Lengths are frames and seconds; `None` where the container does not tell.

use crate::block::Format;
use crate::units::FrameCount;
use crate::units::Seconds;

#[derive(Clone, Debug, PartialEq)]
pub struct FileInfo {
    /// In the trade's words: "WAV 24-bit", "FLAC", "AAC in M4A".
    pub kind: String,
    pub format: Format,
    /// How many frames will come, as far as the container tells.
    pub frames: Option<u64>,
    /// Bits of the stored integers; `None` for floating point and for lossy codecs.
    pub bit_depth: Option<u32>,
    /// Which loudspeaker each channel is for, as WAVE_FORMAT_EXTENSIBLE numbers them (bit 0 front
    /// left, bit 1 front right …); `None` where the file does not say.
    pub channel_mask: Option<u32>,
    /// The time stamp of its first frame, in frames since midnight; `None` where there is none.
    pub stamp: Option<u64>,
    /// Whether the codec threw detail away, so that peaks are not those of the microphone.
    pub lossy: bool,
}

impl FileInfo {
    pub fn duration(&self) -> Option<Seconds> {
        self.frames.map(|frames| FrameCount::new(frames).at(self.format.rate))
    }
}
