//! What can go wrong with a recording, and what was odd about one that could be read all the same.
//!
//! An error means that nothing (more) can be had; each text ends with what to do about it. A warning
//! means that the samples given are right, but that the file is not what it says it is.
//! No text names the file: whoever opened it knows its path. Counts are frames (one sample of every channel) or bytes.

use std::fmt;
use std::io;

/// Why a recording can't be read.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    #[error("there is no such file. Check the spelling, or drag the file into the terminal")]
    Missing,
    #[error("this is a folder. Name the recordings in it, for instance FOLDER/*.wav")]
    Folder,
    #[error("this is a device or a pipe, not a file. Save the sound into a file first")]
    NotAFile,
    #[error("reading it is not permitted. Copy it into your own folder, or ask whoever owns it")]
    Forbidden,
    #[error("the file is empty (0 bytes). Copy it again from the recorder, or look for another take")]
    Empty,
    #[error("the file has a header but no sound behind it. The recording was stopped at once, or the card was full")]
    NoSound,
    #[error("this is text, whatever its name says. Name a recording instead")]
    Text,
    #[error("this is {what}, which can't be read here. {mend}")]
    Foreign { what: &'static str, mend: &'static str },
    #[error("this is not a kind of sound file known here, or its beginning is damaged. {mend}", mend = save_as_wav())]
    Unknown,
    #[error("this is Opus, which can't be read here: save it as M4A or WAV")]
    Opus,
    #[error("its sound is coded as {codec}, which can't be read here. {mend}", mend = save_as_wav())]
    Codec { codec: String },
    #[error(
        "there is no sound track in it that can be read here. Name the recording that has the sound, or save it as WAV"
    )]
    NoTrack,
    #[error("the header is damaged: {what}. {mend}", mend = reexport())]
    Header { what: String },
    #[error("the header says {channels} channels; 1 to 64 can be read. {mend}", mend = channels_mend(*.channels))]
    Channels { channels: usize },
    #[error("the header says {hz} samples per second; 8000 to 192000 can be read. {mend}", mend = rate_mend(*.hz))]
    Rate { hz: u32 },
    #[error("no part of the sound could be decoded ({what}). {mend}", mend = reexport())]
    Undecodable { what: String },
    #[error("reading stopped: {0}. Check the disk, card or network drive that the file is on")]
    Io(#[source] io::Error),
}

/// What was odd about a recording that was read all the same.
#[derive(Clone, Debug, PartialEq)]
pub enum FileWarning {
    /// The recorder never wrote the length; everything behind the header was taken as sound.
    Unfinished { frames: u64 },
    /// The header promises more than there is.
    Truncated { promised: u64, held: u64 },
    /// The file's end is missing, and nothing tells how much of it.
    EndMissing,
    /// The file goes on past the length that the header states; the rest was read too.
    LongerThanStated { stated: u64, held: u64 },
    /// Some bytes behind the sound are neither sound nor a chunk; they were left out.
    TrailingBytes { bytes: u64 },
    /// The last frame is incomplete and was left out.
    OddBytes { bytes: u64 },
    /// The header's frame size contradicts its width and channels; it was worked out anew.
    FrameSize { stated: u32, used: u32 },
    /// The file became shorter while it was read.
    CutWhileRead { promised: u64, held: u64 },
    /// Packets that could not be decoded; their frames are counted as lost.
    BrokenPackets { packets: u64, lost: u64 },
    /// Reading ended before the file did, because of damage.
    StoppedEarly { at: u64, why: String },
    /// Rate or channels change on the way; only the part before the change was read.
    FormatChanged { at: u64 },
    /// More than one sound track; the first was read.
    MoreTracks { tracks: usize },
}

impl fmt::Display for FileWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unfinished { frames } => write!(
                f,
                "the recorder never finished the header; all that lies behind it was read as sound ({frames} frames). \
                 Keep the original and save a copy from an audio editor"
            ),
            Self::Truncated { promised, held } => write!(
                f,
                "the file is cut short: its header promises {promised} frames, it holds {held}. \
                 Copy it again from the recorder if you can"
            ),
            Self::EndMissing => f.write_str(
                "the end of the file is missing or damaged; it was read as far as it goes. \
                 Copy it again from the recorder if you can",
            ),
            Self::LongerThanStated { stated, held } => write!(
                f,
                "the header says {stated} frames, the file holds {held}; all of them were read. \
                 Keep the original and save a copy from an audio editor"
            ),
            Self::TrailingBytes { bytes } => {
                write!(f, "{bytes} bytes behind the sound could not be understood and were left out")
            }
            Self::OddBytes { bytes } => {
                write!(f, "the last frame is incomplete ({bytes} bytes) and was left out")
            }
            Self::FrameSize { stated, used } => {
                write!(
                    f,
                    "the header gives {stated} bytes a frame, its width and channels make {used}; {used} was used"
                )
            }
            Self::CutWhileRead { promised, held } => write!(
                f,
                "the file became shorter while it was read: {held} frames of {promised}. \
                 Wait until the recorder or the copying is done, then read it again"
            ),
            Self::BrokenPackets { packets, lost } => {
                write!(f, "{packets} damaged packets were skipped ({lost} frames lost). Copy the file again if you can")
            }
            Self::StoppedEarly { at, why } => {
                write!(f, "reading ended at frame {at} because of damage ({why}). Copy the file again if you can")
            }
            Self::FormatChanged { at } => write!(
                f,
                "rate or channels change at frame {at}; only the part before it was read. \
                 Save the rest as a file of its own"
            ),
            Self::MoreTracks { tracks } => {
                write!(f, "it holds {tracks} sound tracks; the first was read. Export the others as files of their own")
            }
        }
    }
}

impl From<io::Error> for FileError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::NotFound => Self::Missing,
            io::ErrorKind::PermissionDenied => Self::Forbidden,
            io::ErrorKind::IsADirectory => Self::Folder,
            _ => Self::Io(error),
        }
    }
}

fn save_as_wav() -> &'static str {
    "Open it in an audio editor and save it as WAV"
}

fn reexport() -> &'static str {
    "Copy it again from the recorder, or open it in an audio editor and save it as WAV"
}

fn channels_mend(channels: usize) -> &'static str {
    if channels == 0 { reexport() } else { "Export the tracks as several files of at most 64 channels" }
}

fn rate_mend(hz: u32) -> &'static str {
    if hz == 0 { reexport() } else { "Convert a copy to 48000 in an audio editor" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_say_how_to_mend_it() {
        assert!(FileError::Opus.to_string().contains("save it as M4A or WAV"));
        assert!(FileError::Rate { hz: 0 }.to_string().contains("Copy it again"));
        assert!(FileError::Rate { hz: 4000 }.to_string().contains("Convert a copy"));
        assert!(FileError::Channels { channels: 65 }.to_string().contains("several files"));
    }
}
