//! The rings of a recording, from its first frame to its last: what would have been said, and when.
//!
//! Everything is decided as it would be live: `reported` is the end of the sound that decided. What a ring was in the
//! end (its last frequency before it met a limit, its growth, its end) is told with it.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::block::{BlockBuf, Format};
use crate::detectors::{Certainty, Ring, RingEvent, Ringing};
use crate::meters::Meters;
use crate::source::file::{FileError, FileSource, FileWarning};
use crate::source::{Flow, Source};
use crate::units::{Hertz, Seconds};

/// Read and measured at a time.
const STRETCH: Seconds = Seconds::new(1.0);

/// All rings of a recording.
#[derive(Clone, Debug)]
pub struct RingRecording {
    pub path: PathBuf,
    pub format: Format,
    pub length: Seconds,
    /// In the order in which they were said; one that became surer stands here twice.
    pub rings: Vec<SaidRing>,
    pub warnings: Vec<FileWarning>,
}

/// A ring as it was first said with a certainty, with its last frequency, growth and end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SaidRing {
    pub ring: Ring,
    /// Its frequency when it was said.
    pub first_frequency: Hertz,
}

/// Listens to one recording; `progress` is told the share that was read, where the length is known.
pub fn listen(path: &Path, progress: &(dyn Fn(f64) + Sync)) -> Result<RingRecording, FileError> {
    let mut source = FileSource::open(path)?;
    let format = source.format();
    let total = source.info().frames.filter(|&total| total > 0);
    let mut meters = Meters::new(format, &[]).with_spectra_alone();
    let mut ringing = Ringing::new(format.channels);
    let mut block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
    let mut rings = Vec::new();
    let mut read = 0;
    loop {
        let flow = source.read(&mut block)?;
        read += block.frames() as u64;
        meters.push(&block.as_block(), &mut |readings| ringing.observe(readings));
        collect(ringing.drain(), &mut rings);
        if let Some(total) = total {
            progress((read as f64 / total as f64).min(1.0));
        }
        if flow == Flow::End {
            break;
        }
    }
    let length = meters.readings().at.at(format.rate);
    ringing.finish(length);
    collect(ringing.drain(), &mut rings);
    Ok(RingRecording { path: path.to_owned(), format, length, rings, warnings: source.warnings().to_vec() })
}

/// Listens to many, over all cores; `done` is told of each as it ends, with its place in `paths`.
pub fn listen_all(
    paths: &[PathBuf],
    progress: &(dyn Fn(usize, f64) + Sync),
    done: &(dyn Fn(usize, Result<RingRecording, FileError>) + Sync),
) {
    paths.par_iter().enumerate().for_each(|(index, path)| {
        done(index, listen(path, &|share| progress(index, share)));
    });
}

impl RingRecording {
    /// Whether any of them is sure.
    pub fn is_ringing(&self) -> bool {
        self.rings.iter().any(|said| said.ring.certainty == Certainty::Ringing)
    }
}

fn collect(events: impl Iterator<Item = RingEvent>, rings: &mut Vec<SaidRing>) {
    for event in events {
        match event {
            RingEvent::Said(ring) => rings.push(SaidRing { ring, first_frequency: ring.frequency }),
            RingEvent::Ended(ended) => {
                for said in rings.iter_mut().filter(|said| said.ring.id == ended.id) {
                    said.ring.frequency = ended.frequency;
                    said.ring.end = ended.end;
                    (said.ring.growth, said.ring.excess) = (ended.growth, ended.excess);
                }
            }
        }
    }
}
