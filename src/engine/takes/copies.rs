//! New files made of recordings, on request: with marks, with a right header, at a loudness to hand out.
//!
//! Originals are read, never written. A copy with marks or a right header holds the very bytes of the sound where the
//! original is WAV; what a codec stored is written as 24 bits. A copy at a loudness (ITU-R BS.1770) is turned up or down as
//! a whole, its dynamics left, and never so far that its true peak passes −1 dBTP (EBU R 128); a gain makes more bits than
//! integers hold, so that it is dithered to its width. Edge cases: a gap is written as silence, so that times stay; silence has
//! no loudness and no such copy; the clock of another recorder is not mended here.

use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::block::{Block, BlockBuf};
use crate::detectors::{EndForm, Evidence, HeaderFault};
use crate::engine::recording::Recording;
use crate::sink::{Mark, Narrow, WaveCopy, WaveShape, Width};
use crate::source::file::{FileError, FileSource, Stored};
use crate::source::{Flow, Source};
use crate::units::{Db, Dbfs, Lufs, Seconds};

const STRETCH: Seconds = Seconds::new(0.5);
/// What the meter may read below the wave between its samples.
const HIGHEST: Dbfs = Dbfs::new(-1.05);
const BUFFER: usize = 64 << 10;

/// Why a copy could not be made.
#[derive(Debug, thiserror::Error)]
pub enum CopyError {
    #[error("{0}: a file is there already, and nothing is replaced. Choose another folder, or move it away")]
    Exists(PathBuf),
    #[error(
        "{path}: the copy could not be written ({source}); nothing was left there. Choose a folder with more room that you may write to"
    )]
    Unwritable { path: PathBuf, source: io::Error },
    #[error("{path}: {source}")]
    Unreadable { path: PathBuf, source: FileError },
}

/// What a copy at a loudness came to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Levelled {
    pub gain: Db,
    pub loudness: Lufs,
    /// The true peak allowed no more.
    pub held_back: bool,
}

/// Where the copy of `original` called `word` goes: "take.wav" gives "take (marked).wav".
pub fn copy_name(original: &Path, word: &str, folder: &Path) -> PathBuf {
    let mut name = original.file_stem().unwrap_or_default().to_owned();
    name.push(format!(" ({word}).wav"));
    folder.join(name)
}

/// An error where something stands already.
pub fn is_free(target: &Path) -> Result<(), CopyError> {
    if target.symlink_metadata().is_ok() { Err(CopyError::Exists(target.to_owned())) } else { Ok(()) }
}

/// The same sound with marks in it.
pub fn marked(recording: &Recording, marks: &[Mark], target: &Path) -> Result<(), CopyError> {
    match stored(&recording.path)? {
        Some(stored) => {
            let shape = shape(&stored);
            raw(stored, shape, marks, &recording.path, target)
        }
        None => written(recording, 1.0, Narrow::new(Width::Bits24, false), marks, target),
    }
}

/// What can be put right in its header: rate, channels, length.
pub fn has_wrong_header(recording: &Recording) -> bool {
    let lies = |evidence: &Evidence| match evidence {
        Evidence::Header { .. } | Evidence::Rate { .. } => true,
        Evidence::Truncated { form, .. } => *form == EndForm::CutShort,
        _ => false,
    };
    recording.findings.iter().any(|finding| lies(&finding.evidence))
}

/// The same sound under a right header; a file that a codec stored is read and written as 24 bits.
pub fn mended(recording: &Recording, target: &Path) -> Result<(), CopyError> {
    let Some(stored) = stored(&recording.path)? else {
        return written(recording, 1.0, Narrow::new(Width::Bits24, false), &[], target);
    };
    let mut right = shape(&stored);
    for finding in &recording.findings {
        match finding.evidence {
            Evidence::Rate { true_rate, .. } => right.rate = true_rate,
            Evidence::Header { fault: HeaderFault::TwoAsOne { .. } } => right.channels = 2,
            _ => {}
        }
    }
    raw(stored, right, &[], &recording.path, target)
}

/// The sound at this loudness, as far as its true peak allows; `None` of silence. Without a width it is as wide as the original.
pub fn levelled(
    recording: &Recording,
    wanted: Lufs,
    width: Option<Width>,
    target: &Path,
) -> Result<Option<Levelled>, CopyError> {
    let programme = &recording.summary.programme;
    if !programme.integrated.get().is_finite() || !programme.true_peak.get().is_finite() {
        return Ok(None);
    }
    let most = HIGHEST.get() - programme.true_peak.get();
    let asked = wanted.get() - programme.integrated.get();
    let gain = Db::new(asked.min(most));
    let depth = recording.info.bit_depth;
    // Floating point and codecs have no width to keep: 24 bits hold more than any room has.
    let width = width.unwrap_or(if depth.is_some_and(|bits| bits <= 16) { Width::Bits16 } else { Width::Bits24 });
    // A gain makes more bits than any integer holds, so that every copy is narrower than what was computed.
    written(recording, gain.ratio(), Narrow::new(width, true), &[], target)?;
    let loudness = Lufs::new(programme.integrated.get() + gain.get());
    Ok(Some(Levelled { gain, loudness, held_back: most < asked }))
}

fn stored(path: &Path) -> Result<Option<Stored>, CopyError> {
    Stored::open(path).map_err(|source| CopyError::Unreadable { path: path.to_owned(), source })
}

const fn shape(stored: &Stored) -> WaveShape {
    WaveShape {
        tag: stored.tag,
        channels: stored.channels,
        rate: stored.rate,
        bits: stored.bits,
        valid_bits: stored.valid_bits,
        channel_mask: stored.channel_mask,
    }
}

/// Byte for byte, in whole frames.
fn raw(mut stored: Stored, shape: WaveShape, marks: &[Mark], from: &Path, target: &Path) -> Result<(), CopyError> {
    let mut copy = begin(target, shape)?;
    let mut buffer = vec![0; BUFFER];
    loop {
        let got = match stored.read(&mut buffer) {
            Ok(got) => got,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(CopyError::Unreadable { path: from.to_owned(), source: error.into() }),
        };
        if got == 0 {
            break;
        }
        copy.push(&buffer[..got]).map_err(|error| unwritable(target, error))?;
    }
    copy.finish(marks).map_err(|error| unwritable(target, error))
}

/// Through amplitudes, times `gain`.
fn written(
    recording: &Recording,
    gain: f64,
    mut narrow: Narrow,
    marks: &[Mark],
    target: &Path,
) -> Result<(), CopyError> {
    let unreadable = |source| CopyError::Unreadable { path: recording.path.clone(), source };
    let mut source = FileSource::open(&recording.path).map_err(unreadable)?;
    let format = source.format();
    let shape = WaveShape::integers(
        format.channels as u16,
        format.rate.get(),
        narrow.width().bits(),
        source.info().channel_mask,
    );
    let mut copy = begin(target, shape)?;
    let mut block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
    let mut bytes = Vec::new();
    loop {
        let flow = source.read(&mut block).map_err(unreadable)?;
        bytes.clear();
        encode(&block.as_block(), gain, &mut narrow, &mut bytes);
        copy.push(&bytes).map_err(|error| unwritable(target, error))?;
        if flow == Flow::End {
            break;
        }
    }
    copy.finish(marks).map_err(|error| unwritable(target, error))
}

fn encode(block: &Block, gain: f64, narrow: &mut Narrow, bytes: &mut Vec<u8>) {
    let lost = block.gap().get() as usize * block.channels() * usize::from(narrow.width().bits() / 8);
    bytes.resize(lost, 0);
    for frame in 0..block.frames() {
        for channel in 0..block.channels() {
            narrow.push(f64::from(block.channel(channel)[frame]) * gain, bytes);
        }
    }
}

fn begin(target: &Path, shape: WaveShape) -> Result<WaveCopy, CopyError> {
    let folder = target.parent().filter(|folder| !folder.as_os_str().is_empty());
    folder
        .map_or(Ok(()), fs::create_dir_all)
        .and_then(|()| WaveCopy::begin(target, shape))
        .map_err(|error| unwritable(target, error))
}

fn unwritable(path: &Path, source: io::Error) -> CopyError {
    match source.kind() {
        io::ErrorKind::AlreadyExists => CopyError::Exists(path.to_owned()),
        _ => CopyError::Unwritable { path: path.to_owned(), source },
    }
}
