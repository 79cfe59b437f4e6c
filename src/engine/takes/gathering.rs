//! What the recordings of one folder are together: a table of tracks and problems, a cue list, recorders lined up.
//!
//! In: recordings of one folder, in order. A folder of three mono files of one rate or more is a multitrack take: its
//! tracks should be of one rate, one length and one start (by the time stamps in their headers), and share one cue list.
//! Levels are re full scale. Edge cases: a folder with one recording has no table; rows stop at 4096.

use std::path::PathBuf;

use super::align::Alignment;
use super::timeline::{Cue, Timeline};
use super::tracks::Track;
use crate::detectors::{Evidence, Finding, Severity};
use crate::engine::recording::Recording;
use crate::meters::BANDS;
use crate::units::{ChannelId, Db, Dbfs, Seconds};

const MOST_ROWS: usize = 4096;
const FEWEST_TRACKS: usize = 3;
/// A band that one recorder has and the other lacks: a desk's feed without drums, a phone without lows.
const LACKS: f64 = 12.0;
/// Below this a band holds nothing to compare.
const NOTHING: f64 = 1e-10;
/// Findings of one recording that another covers, told one by one.
const MOST_COVERED: usize = 8;
/// One recorder is clearly farther over its noise.
const CLEARER: Db = Db::new(3.0);

/// The recordings of one folder.
#[derive(Clone, Debug)]
pub struct Gathering {
    pub folder: PathBuf,
    pub is_multitrack: bool,
    pub rows: Vec<TrackRow>,
    /// Of the multitrack as a whole.
    pub cues: Vec<Cue>,
    pub pairs: Vec<Pair>,
}

/// One channel of one recording.
#[derive(Clone, Debug)]
pub struct TrackRow {
    pub path: PathBuf,
    /// `None`: the recording has but one.
    pub channel: Option<ChannelId>,
    pub track: Option<Track>,
    pub peak: Dbfs,
    pub active: Dbfs,
    /// Each kind once, at its worst.
    pub faults: Vec<Evidence>,
    pub severities: Vec<Severity>,
}

/// Two recorders of one event.
#[derive(Clone, Debug)]
pub struct Pair {
    pub first: PathBuf,
    pub second: PathBuf,
    pub alignment: Alignment,
    pub better: Better,
}

/// Which of two is better for what; `true` is the second.
#[derive(Clone, Debug)]
pub struct Better {
    /// Words and single voices: farther over its noise.
    pub for_voices: Option<bool>,
    /// How far each stands over its noise.
    pub over_noise: [Option<Db>; 2],
    /// What one has and the other lacks: lows, the middle, highs.
    pub only_in: [[bool; 3]; 2],
    /// Passages that are wrong in one and sound in the other: which one is wrong, from, to, by its own clock.
    pub covered: Vec<(bool, Seconds, Seconds)>,
}

/// What is kept of a recording until its folder is over.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    pub path: PathBuf,
    pub is_track: bool,
    bands: [f64; BANDS],
    over_noise: Option<Db>,
    wrong: Vec<(Seconds, Seconds)>,
    length: Seconds,
}

impl Kept {
    pub fn of(recording: &Recording) -> Self {
        let mut bands = [0.0; BANDS];
        for channel in &recording.bands {
            bands.iter_mut().zip(channel).for_each(|(sum, band)| *sum += band);
        }
        let over = |take: crate::meters::Activity| take.floor.map(|floor| take.active_level - floor);
        let over_noise = recording.summary.channels.iter().filter_map(|channel| over(channel.take));
        let rate = recording.format.rate;
        let hides = |finding: &&Finding| {
            let is_passage = matches!(
                finding.evidence,
                Evidence::Clipped { .. }
                    | Evidence::FlatTop { .. }
                    | Evidence::Dropout { .. }
                    | Evidence::Crackle { .. }
            );
            is_passage && finding.severity() >= Severity::Hides
        };
        let wrong = recording.findings.iter().filter(hides);
        Self {
            path: recording.path.clone(),
            is_track: recording.format.channels == 1,
            bands,
            over_noise: over_noise.reduce(|a, b| a.max(b)),
            wrong: wrong.take(200).map(|finding| (finding.start.at(rate), finding.end.at(rate))).collect(),
            length: recording.length(),
        }
    }
}

/// The folder at hand.
#[derive(Debug, Default)]
pub(super) struct Gatherer {
    rows: Vec<TrackRow>,
    pub kept: Vec<Kept>,
    timeline: Timeline,
    pairs: Vec<(usize, usize, Alignment)>,
}

impl Gatherer {
    pub fn add(&mut self, recording: &Recording, timeline: &Timeline) {
        self.kept.push(Kept::of(recording));
        self.timeline.lay_over(timeline);
        let alone = recording.format.channels == 1;
        for (index, summary) in recording.summary.channels.iter().enumerate() {
            if self.rows.len() == MOST_ROWS {
                return;
            }
            let channel = ChannelId::from_index(index);
            let (faults, severities) = worst_of_each(recording, channel);
            self.rows.push(TrackRow {
                path: recording.path.clone(),
                channel: (!alone).then_some(channel),
                track: recording.track,
                peak: summary.whole.sample_peak,
                active: summary.take.active_level,
                faults,
                severities,
            });
        }
    }

    /// `first` and `second` are places among what was kept.
    pub fn pair(&mut self, first: usize, second: usize, alignment: Alignment) {
        self.pairs.push((first, second, alignment));
    }

    /// The folder is over; `None` where it held one recording or none.
    pub fn finish(self, folder: PathBuf) -> Option<Gathering> {
        if self.kept.len() < 2 {
            return None;
        }
        let tracks = self.kept.iter().filter(|kept| kept.is_track).count();
        let is_multitrack = tracks >= FEWEST_TRACKS && 2 * tracks > self.kept.len();
        let pair = |&(first, second, alignment): &(usize, usize, Alignment)| {
            let (a, b) = (&self.kept[first], &self.kept[second]);
            Pair { first: a.path.clone(), second: b.path.clone(), alignment, better: better(a, b, &alignment) }
        };
        let pairs = self.pairs.iter().map(pair).collect();
        let cues = if is_multitrack { self.timeline.cues() } else { Vec::new() };
        Some(Gathering { folder, is_multitrack, rows: self.rows, cues, pairs })
    }
}

fn worst_of_each(recording: &Recording, channel: ChannelId) -> (Vec<Evidence>, Vec<Severity>) {
    let mut worst: Vec<(Evidence, Severity)> = Vec::new();
    for finding in recording.worst_first() {
        let here = finding.channel == channel || finding.evidence.is_of_all() && channel.index() == 0;
        if here && !worst.iter().any(|(known, _)| known.kind() == finding.evidence.kind()) {
            worst.push((finding.evidence, finding.severity()));
        }
    }
    worst.into_iter().unzip()
}

fn better(a: &Kept, b: &Kept, alignment: &Alignment) -> Better {
    let for_voices = match (a.over_noise, b.over_noise) {
        (Some(a), Some(b)) if (a.get() - b.get()).abs() >= CLEARER.get() => Some(b > a),
        _ => None,
    };
    let there = |at: Seconds| Seconds::new(alignment.offset.get() + at.get() * (1.0 + alignment.ppm * 1e-6));
    let back = |at: Seconds| Seconds::new((at.get() - alignment.offset.get()) / (1.0 + alignment.ppm * 1e-6));
    let sound = |other: &Kept, from: Seconds, to: Seconds| {
        from >= Seconds::ZERO && to <= other.length && !other.wrong.iter().any(|wrong| wrong.0 < to && wrong.1 > from)
    };
    let of_first =
        a.wrong.iter().filter(|span| sound(b, there(span.0), there(span.1))).map(|span| (false, span.0, span.1));
    let of_second =
        b.wrong.iter().filter(|span| sound(a, back(span.0), back(span.1))).map(|span| (true, span.0, span.1));
    let mut covered: Vec<(bool, Seconds, Seconds)> = Vec::new();
    for (which, from, to) in of_first.chain(of_second) {
        match covered.last_mut().filter(|last| last.0 == which && (from - last.2).get() < 2.0) {
            Some(last) => last.2 = if to > last.2 { to } else { last.2 },
            None => covered.push((which, from, to)),
        }
    }
    covered.truncate(MOST_COVERED);
    Better { for_voices, over_noise: [a.over_noise, b.over_noise], only_in: lacks(&a.bands, &b.bands), covered }
}

/// Of 25 to 125 Hz, 160 Hz to 3.15 kHz, 4 kHz up: where the spectra differ by more than 12 dB, their levels made alike.
fn lacks(a: &[f64; BANDS], b: &[f64; BANDS]) -> [[bool; 3]; 2] {
    let parts = [0..8, 8..22, 22..BANDS];
    let power =
        |bands: &[f64; BANDS], part: &std::ops::Range<usize>| bands[part.clone()].iter().sum::<f64>().max(NOTHING);
    // The middle is what both hear of voices.
    let level = 10.0 * (power(b, &parts[1]) / power(a, &parts[1])).log10();
    let more = |part: &std::ops::Range<usize>| 10.0 * (power(b, part) / power(a, part)).log10() - level;
    let second = [more(&parts[0]) > LACKS, false, more(&parts[2]) > LACKS];
    let first = [more(&parts[0]) < -LACKS, false, more(&parts[2]) < -LACKS];
    [first, second]
}
