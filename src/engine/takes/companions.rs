//! Recordings of one folder held against each other: the same track twice, one upside down, one that ends early.
//!
//! In: recordings in the order in which they are told; each is held against those of its folder that came before it (at
//! most 256), and a finding between two is told of the later one. Two tracks belong to one take where their rates are
//! the same. How long the tracks of a folder are is read from their headers beforehand, since a short one may come first:
//! *ends early* is half a second and more short of what most of three tracks or more have. Thresholds as between the
//! channels of one recording.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use super::align::{Outline, Side, align};
use crate::detectors::{Evidence, Finding, Partner, Print};
use crate::engine::recording::Recording;
use crate::source::Source;
use crate::source::file::FileSource;
use crate::units::{ChannelId, FrameCount, SampleRate, Seconds};

const MOST: usize = 256;
const SAME: f64 = 0.999;
const INVERTED: f64 = -0.7;
const EARLY: Seconds = Seconds::new(0.5);
const FEWEST_TRACKS: usize = 3;
/// Recorders of one event are few.
const MOST_ALIGNED: usize = 8;
const OTHER_RECORDER: Seconds = Seconds::new(0.015);

/// What a recording is held against others by.
#[derive(Clone, Debug)]
pub struct Likeness {
    pub prints: Vec<Print>,
    pub outline: Outline,
    pub end: FrameCount,
}

/// The recordings so far.
pub struct Companions {
    folder: Option<PathBuf>,
    known: Vec<Known>,
    /// How long most tracks of a folder are, if they agree.
    lengths: HashMap<PathBuf, (SampleRate, u64)>,
}

struct Known {
    path: PathBuf,
    rate: SampleRate,
    likeness: Box<Likeness>,
}

impl Companions {
    /// Of the files that will come.
    pub fn new(paths: &[PathBuf]) -> Self {
        Self { folder: None, known: Vec::new(), lengths: usual_lengths(paths) }
    }

    /// The next recording: adds what the earlier ones tell of it.
    pub fn meet(&mut self, recording: &mut Recording) {
        let folder = folder_of(&recording.path);
        if self.folder.as_ref() != Some(&folder) {
            self.known.clear();
        }
        self.ends_early(&folder, recording);
        self.folder = Some(folder);
        let Some(likeness) = recording.likeness.take() else { return };
        let rate = recording.format.rate;
        for known in self.known.iter().filter(|known| known.rate == rate) {
            compare(known, &likeness, recording);
        }
        for known in self.known.iter().rev().take(MOST_ALIGNED) {
            line_up(known, &likeness, recording);
        }
        if self.known.len() == MOST {
            self.known.remove(0);
        }
        self.known.push(Known { path: recording.path.clone(), rate, likeness });
    }

    fn ends_early(&self, folder: &Path, recording: &mut Recording) {
        let Some(&(rate, usual)) = self.lengths.get(folder) else { return };
        let length = recording.likeness.as_ref().map_or(0, |likeness| likeness.end.get());
        let missing = FrameCount::new(usual.saturating_sub(length)).at(rate);
        if recording.format.rate == rate && missing >= EARLY {
            let end = FrameCount::new(length);
            let evidence = Evidence::Truncated { missing, padded: false };
            recording.findings.push(Finding { channel: ChannelId::new(0), start: end, end, evidence });
        }
    }
}

fn compare(known: &Known, likeness: &Likeness, recording: &mut Recording) {
    // Recorders that write a file a track write them with one channel; mixes of loops can be upside down by chance.
    let both_are_tracks = likeness.prints.len() == 1 && known.likeness.prints.len() == 1;
    for (ours, print) in likeness.prints.iter().enumerate() {
        for (theirs, other) in known.likeness.prints.iter().enumerate() {
            let Some(alike) = other.alike(print) else { continue };
            let with = |file| Partner { file: Some(file), channel: ChannelId::from_index(theirs) };
            let correlation = alike.correlation;
            let evidence: Box<dyn Fn(u16) -> Evidence> = if correlation > SAME {
                Box::new(move |file| Evidence::Duplicate { of: with(file), gain: alike.gain, correlation })
            } else if correlation < INVERTED && both_are_tracks {
                Box::new(move |file| Evidence::Polarity { with: with(file), correlation })
            } else {
                continue;
            };
            let evidence = evidence(place_of(&known.path, &mut recording.partners));
            let channel = ChannelId::from_index(ours);
            recording.findings.push(Finding { channel, start: FrameCount::ZERO, end: likeness.end, evidence });
        }
    }
}

/// Lengths that differ are those of two recorders.
fn line_up(known: &Known, likeness: &Likeness, recording: &mut Recording) {
    let apart = known.likeness.outline.length().get() - likeness.outline.length().get();
    if apart.abs() < OTHER_RECORDER.get() {
        return;
    }
    let first = Side { path: &known.path, outline: &known.likeness.outline };
    let path = recording.path.clone();
    let Some(found) = align(first, Side { path: &path, outline: &likeness.outline }) else { return };
    let with = Partner { file: Some(place_of(&known.path, &mut recording.partners)), channel: ChannelId::new(0) };
    let drift = Evidence::Drift { with, ppm: found.ppm, offset: found.offset };
    let lie = found.lie.map(|(true_rate, header)| Evidence::Rate { header, true_rate, line: None });
    let evidence = lie.unwrap_or(drift);
    let (channel, start, end) = (ChannelId::new(0), FrameCount::ZERO, likeness.end);
    recording.findings.push(Finding { channel, start, end, evidence });
}

/// Its place among the partners.
fn place_of(path: &Path, partners: &mut Vec<PathBuf>) -> u16 {
    let place = partners.iter().position(|known| known == path).unwrap_or_else(|| {
        partners.push(path.to_owned());
        partners.len() - 1
    });
    place.min(usize::from(u16::MAX)) as u16
}

fn folder_of(path: &Path) -> PathBuf {
    path.parent().unwrap_or(Path::new("")).to_owned()
}

/// The length that most tracks of each folder share, by their headers.
fn usual_lengths(paths: &[PathBuf]) -> HashMap<PathBuf, (SampleRate, u64)> {
    let mut folders: HashMap<PathBuf, Vec<(SampleRate, u64)>> = HashMap::new();
    for path in paths {
        if let Ok(source) = FileSource::open(path)
            && let Some(frames) = source.info().frames
        {
            folders.entry(folder_of(path)).or_default().push((source.format().rate, frames));
        }
    }
    let usual = |(folder, lengths): (PathBuf, Vec<(SampleRate, u64)>)| {
        let longest = lengths.iter().copied().max_by_key(|&(_, frames)| frames)?;
        let near = |other: &&(SampleRate, u64)| {
            other.0 == longest.0 && FrameCount::new(longest.1 - other.1).at(longest.0) < EARLY
        };
        let alike = lengths.iter().filter(near).count();
        (lengths.len() >= FEWEST_TRACKS && 2 * alike > lengths.len()).then_some((folder, longest))
    };
    folders.into_iter().filter_map(usual).collect()
}
