//! What goes out, as a WAV file for a telephone or player that is plugged into the desk: a signal, and the test tone.
//!
//! The tone: 48 kHz, 24 bits, two equal channels, a sine of 1 kHz; levels are sine peaks in dBFS:
//!
//! | from | for | level | what for |
//! |---|---|---|---|
//! | 0 s | 1 s | silence | the floor, and players that fade in |
//! | 1 s | 3 s | −30 | the first level of the test for an input that rides its own level |
//! | 4 s | 3 s | −20 | 10 dB up: the capture must rise by as much |
//! | 7 s | 1 s | silence | the floor again: it must not have moved |
//! | 8 s | 30 s | −20 | to set the desk's meter to 0 and read it here |
//! | 38 s | 1 s | silence | |
//!
//! Changes of level glide for 50 ms after the times given. The file appears whole or not at all.

use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

use super::error::SinkError;
use super::tone::{TONE_PITCH, TONE_START, TONE_STEP, ToneGenerator};
use crate::units::{Dbfs, SampleRate, Seconds};

/// A stretch of the file at one level; `Dbfs::SILENCE` is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TonePart {
    pub span: Seconds,
    pub level: Dbfs,
}

/// The file from its beginning.
pub const TONE_FILE: [TonePart; 6] = [
    TonePart { span: Seconds::new(1.0), level: Dbfs::SILENCE },
    TonePart { span: Seconds::new(3.0), level: TONE_START },
    TonePart { span: Seconds::new(3.0), level: TONE_STEP },
    TonePart { span: Seconds::new(1.0), level: Dbfs::SILENCE },
    TonePart { span: Seconds::new(30.0), level: TONE_STEP },
    TonePart { span: Seconds::new(1.0), level: Dbfs::SILENCE },
];

const RATE: u32 = 48_000;
const CHANNELS: u16 = 2;
const BITS: u16 = 24;

/// Writes the tone to `path`, over what is there.
pub fn write_tone_wav(path: &Path) -> Result<(), SinkError> {
    let (Some(rate), Some(tone)) = (SampleRate::new(RATE), tone()) else { return Ok(()) };
    write_signal_wav(path, &tone, rate)
}

/// The whole of it.
fn tone() -> Option<Vec<f32>> {
    let rate = SampleRate::new(RATE)?;
    let mut tone = ToneGenerator::new(rate, TONE_PITCH)?;
    let part = |part: TonePart| {
        let mut samples = vec![0.0; rate.frames(part.span).get() as usize];
        tone.set_level(part.level);
        tone.fill(&mut samples);
        samples
    };
    Some(TONE_FILE.into_iter().flat_map(part).collect())
}

/// Writes a signal of amplitudes to `path`, over what is there: 24 bits, two equal channels.
pub fn write_signal_wav(path: &Path, samples: &[f32], rate: SampleRate) -> Result<(), SinkError> {
    let failed = |error: io::Error| SinkError::Write { path: path.to_owned(), detail: error.to_string() };
    let beside = unfinished(path).map_err(failed)?;
    let written = write_all(&beside, samples, rate).and_then(|()| fs::rename(&beside, path));
    written.map_err(|error| {
        let _ = fs::remove_file(&beside);
        failed(error)
    })
}

/// A name in the same folder, so that renaming cannot cross file systems.
fn unfinished(path: &Path) -> io::Result<PathBuf> {
    let name = path.file_name().ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "that is no file name"))?;
    let mut hidden = std::ffi::OsString::from(".");
    hidden.push(name);
    hidden.push(format!(".{}.part", std::process::id()));
    Ok(path.with_file_name(hidden))
}

fn write_all(path: &Path, samples: &[f32], rate: SampleRate) -> io::Result<()> {
    let file = File::create(path)?;
    let disk = file.try_clone()?;
    let spec = hound::WavSpec {
        channels: CHANNELS,
        sample_rate: rate.get(),
        bits_per_sample: BITS,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::new(BufWriter::new(file), spec).map_err(plain)?;
    let full = f64::from(1_u32 << (BITS - 1));
    for sample in samples {
        let code = (f64::from(*sample) * full).round().clamp(-full, full - 1.0) as i32;
        for _ in 0..CHANNELS {
            wav.write_sample(code).map_err(plain)?;
        }
    }
    wav.finalize().map_err(plain)?;
    disk.sync_all()
}

fn plain(error: hound::Error) -> io::Error {
    match error {
        hound::Error::IoError(error) => error,
        other => io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Read back with the library's reader: the documented layout, both channels equal.
    #[test]
    fn the_layout_is_as_documented() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("tone.wav");
        fs::write(&path, "an older file").expect("written");
        write_tone_wav(&path).expect("written");
        let names: Vec<_> = fs::read_dir(folder.path()).expect("listed").collect();
        assert_eq!(names.len(), 1, "nothing else is left behind");

        let mut wav = hound::WavReader::open(&path).expect("a WAV file");
        let spec = wav.spec();
        assert_eq!((spec.channels, spec.sample_rate, spec.bits_per_sample), (2, 48_000, 24));
        let codes: Vec<i32> = wav.samples::<i32>().map(|code| code.expect("a sample")).collect();
        assert_eq!(codes.len(), 2 * 39 * 48_000);
        assert!(codes.chunks(2).all(|frame| frame[0] == frame[1]));
        let level = |from: f64, to: f64| {
            let range = (from * 96_000.0) as usize..(to * 96_000.0) as usize;
            let peak = codes[range].iter().map(|code| code.unsigned_abs()).max().expect("samples");
            Dbfs::from_amplitude(f64::from(peak) / 8_388_608.0).get()
        };
        // 24 bits leave ±0.00001 dB at these levels.
        for (from, to, expected) in [(1.06, 4.0, -30.0), (4.06, 7.0, -20.0), (8.06, 38.0, -20.0)] {
            let found = level(from, to);
            assert!((found - expected).abs() < 1e-4, "{from} s: {found}");
        }
        for (from, to) in [(0.0, 1.0), (7.06, 8.0), (38.06, 39.0)] {
            assert_eq!(level(from, to), f64::NEG_INFINITY, "{from} s");
        }
    }

    #[test]
    fn what_cannot_be_written_is_told() {
        let folder = tempfile::tempdir().expect("a folder");
        for path in [folder.path().join("missing/tone.wav"), PathBuf::from("/"), PathBuf::new()] {
            let error = write_tone_wav(&path).expect_err("no such place");
            assert!(error.to_string().contains("Choose a folder"), "{error}");
        }
        let taken = folder.path().join("taken.wav");
        fs::create_dir(&taken).expect("a folder");
        assert!(write_tone_wav(&taken).is_err());
        assert_eq!(fs::read_dir(folder.path()).expect("listed").count(), 1, "no part is left behind");
    }
}
