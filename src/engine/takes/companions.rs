//! Recordings of one folder held against each other: the same track twice, one upside down, one that ends early.
//!
//! In: recordings in the order in which they are told; each is held against those of its folder that came before it (at
//! most 256), and a finding between two is told of the later one. Two tracks belong to one take where their rates are
//! the same. What the tracks of a folder are like is read from their headers beforehand, since an odd one may come first:
//! *ends early* is half a second and more short of what most of three tracks or more have, *begins late* half a second and
//! more after them by its time stamp, *of another rate* than most mono tracks. Thresholds as between the
//! channels of one recording.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use super::align::{Alignment, Outline, Side, align};
use super::gathering::{Gatherer, Gathering};
use super::shift::shift;
use super::timeline::Timeline;
use super::tracks::Head;
use crate::detectors::{EndForm, Evidence, Finding, Partner, Print};
use crate::engine::recording::Recording;
use crate::units::{ChannelId, FrameCount, SampleRate, Seconds};

const MOST: usize = 256;
const SAME: f64 = 0.999;
const INVERTED: f64 = -0.7;
const EARLY: Seconds = Seconds::new(0.5);
const FEWEST_TRACKS: usize = 3;
/// Recorders of one event are few.
const MOST_ALIGNED: usize = 8;
const OTHER_RECORDER: Seconds = Seconds::new(0.015);
/// ppm; no two clocks are so alike for long.
const ONE_CLOCK: f64 = 0.5;

/// What a recording is held against others by.
#[derive(Clone, Debug)]
pub struct Likeness {
    pub prints: Vec<Print>,
    pub outline: Outline,
    pub timeline: Timeline,
    pub end: FrameCount,
}

/// The recordings so far.
pub struct Companions {
    folder: Option<PathBuf>,
    known: Vec<Known>,
    gatherer: Gatherer,
    usual: HashMap<PathBuf, Usual>,
}

struct Known {
    path: PathBuf,
    rate: SampleRate,
    likeness: Box<Likeness>,
    /// Its place among what the gatherer keeps.
    place: usize,
}

/// What most tracks of a folder are like.
#[derive(Clone, Copy, Debug)]
struct Usual {
    rate: SampleRate,
    length: Option<u64>,
    /// The time stamp of the first frame.
    stamp: Option<u64>,
}

impl Companions {
    /// Of the files that will come, by their headers.
    pub fn new(heads: &[(PathBuf, Option<Head>)]) -> Self {
        Self { folder: None, known: Vec::new(), gatherer: Gatherer::default(), usual: usual(heads) }
    }

    /// The next recording: adds what the earlier ones tell of it. Where it is the first of a folder, gives what the folder
    /// before it was together.
    pub fn meet(&mut self, recording: &mut Recording) -> Option<Gathering> {
        let folder = folder_of(&recording.path);
        let over = if self.folder.as_ref() == Some(&folder) { None } else { self.finish() };
        if let Some(usual) = self.usual.get(&folder) {
            odd_ones_out(usual, recording);
        }
        self.folder = Some(folder);
        let Some(likeness) = recording.likeness.take() else { return over };
        let rate = recording.format.rate;
        for known in self.known.iter().filter(|known| known.rate == rate) {
            compare(known, &likeness, recording);
        }
        let place = self.gatherer.kept.len();
        // Tracks of one machine hear one event together; they are no recorders of it.
        let usual = self.usual.get(self.folder.as_deref().unwrap_or(Path::new(""))).and_then(|usual| usual.length);
        let is_track =
            |end: FrameCount| usual.is_some_and(|usual| FrameCount::new(usual.abs_diff(end.get())).at(rate) < EARLY);
        // Halves of a pair follow each other.
        if let Some(known) = self.known.last().filter(|known| known.rate == rate)
            && is_track(likeness.end)
            && is_track(known.likeness.end)
            && recording.format.channels == 1
            && known.likeness.prints.len() == 1
        {
            add_shift(known, &likeness, recording);
        }
        for known in self.known.iter().rev().take(MOST_ALIGNED) {
            if is_track(likeness.end) && is_track(known.likeness.end) {
                continue;
            }
            if let Some(alignment) = line_up(known, &likeness, recording) {
                self.gatherer.pair(known.place, place, alignment);
            }
        }
        self.gatherer.add(recording, &likeness.timeline);
        if self.known.len() == MOST {
            self.known.remove(0);
        }
        self.known.push(Known { path: recording.path.clone(), rate, likeness, place });
        over
    }

    /// The last folder is over.
    pub fn finish(&mut self) -> Option<Gathering> {
        self.known.clear();
        let gatherer = std::mem::take(&mut self.gatherer);
        self.folder.take().and_then(|folder| gatherer.finish(folder))
    }
}

/// A track that is shorter, later, or of another rate than the others.
fn odd_ones_out(usual: &Usual, recording: &mut Recording) {
    let rate = recording.format.rate;
    let length = recording.likeness.as_ref().map_or(0, |likeness| likeness.end.get());
    let end = FrameCount::new(length);
    // Its own file tells it already.
    let is_told = recording.findings.iter().any(|finding| matches!(finding.evidence, Evidence::Truncated { .. }));
    let mut add = |start, evidence| {
        recording.findings.push(Finding { channel: ChannelId::new(0), start, end, evidence });
    };
    if rate != usual.rate {
        return add(FrameCount::ZERO, Evidence::OddRate { rate: rate.get(), usual: usual.rate.get() });
    }
    let missing = FrameCount::new(usual.length.unwrap_or(0).saturating_sub(length)).at(rate);
    if missing >= EARLY && !is_told {
        add(end, Evidence::Truncated { missing: Some(missing), form: EndForm::BeforeOthers });
    }
    let late = recording.info.stamp.zip(usual.stamp).map(|(stamp, usual)| stamp.saturating_sub(usual));
    let late = FrameCount::new(late.unwrap_or(0)).at(rate);
    if late >= EARLY {
        add(FrameCount::ZERO, Evidence::LateStart { late });
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

/// Half of a pair that lies after the other half.
fn add_shift(known: &Known, likeness: &Likeness, recording: &mut Recording) {
    let first = Side { path: &known.path, outline: &known.likeness.outline };
    let path = recording.path.clone();
    let length = likeness.end.min(known.likeness.end).at(known.rate);
    let Some(late) = shift(first, Side { path: &path, outline: &likeness.outline }, length) else { return };
    let with = Partner { file: Some(place_of(&known.path, &mut recording.partners)), channel: ChannelId::new(0) };
    let (channel, start, end) = (ChannelId::new(0), FrameCount::ZERO, likeness.end);
    recording.findings.push(Finding { channel, start, end, evidence: Evidence::Shifted { with, late } });
}

/// Two files of one start and one clock are those of one machine.
fn line_up(known: &Known, likeness: &Likeness, recording: &mut Recording) -> Option<Alignment> {
    let first = Side { path: &known.path, outline: &known.likeness.outline };
    let path = recording.path.clone();
    let found = align(first, Side { path: &path, outline: &likeness.outline })?;
    let begins_with_it = found.offset.get().abs() < OTHER_RECORDER.get();
    if begins_with_it && found.lie.is_none() && found.ppm.abs() < ONE_CLOCK {
        return None;
    }
    let with = Partner { file: Some(place_of(&known.path, &mut recording.partners)), channel: ChannelId::new(0) };
    let drift = Evidence::Drift { with, ppm: found.ppm, offset: found.offset };
    let lie = found.lie.map(|(true_rate, header)| Evidence::Rate { header, true_rate, line: None });
    let evidence = lie.unwrap_or(drift);
    let (channel, start, end) = (ChannelId::new(0), FrameCount::ZERO, likeness.end);
    recording.findings.push(Finding { channel, start, end, evidence });
    Some(found)
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

/// What most tracks of each folder share, by their headers.
fn usual(heads: &[(PathBuf, Option<Head>)]) -> HashMap<PathBuf, Usual> {
    let mut folders: HashMap<PathBuf, Vec<Head>> = HashMap::new();
    for (path, head) in heads {
        folders.entry(folder_of(path)).or_default().extend(head.filter(|head| head.frames.is_some()));
    }
    let usual = |(folder, heads): (PathBuf, Vec<Head>)| {
        if heads.len() < FEWEST_TRACKS {
            return None;
        }
        let most = |heads: usize, of: usize| 2 * heads > of;
        let longest = heads.iter().copied().max_by_key(|head| head.frames)?;
        let near = |other: &&Head| {
            let short = longest.frames.unwrap_or(0).saturating_sub(other.frames.unwrap_or(0));
            other.rate == longest.rate && FrameCount::new(short).at(longest.rate) < EARLY
        };
        let length = longest.frames.filter(|_| most(heads.iter().filter(near).count(), heads.len()));
        let of_rate = |rate: SampleRate| heads.iter().filter(|head| head.rate == rate && head.channels == 1).count();
        let rate = heads.iter().map(|head| head.rate).max_by_key(|&rate| of_rate(rate))?;
        // Recorders of one event differ by right; tracks of one machine do not.
        let agree = most(of_rate(rate), heads.len());
        let stamps: Vec<u64> = heads.iter().filter_map(|head| head.stamp).collect();
        let first = stamps.iter().copied().min();
        let together = stamps.iter().filter(|&&stamp| Some(stamp) == first).count();
        let stamp = first.filter(|_| most(together, heads.len()));
        (length.is_some() || agree)
            .then_some((folder, Usual { rate: if agree { rate } else { longest.rate }, length, stamp }))
    };
    folders.into_iter().filter_map(usual).collect()
}
