//! The loudest peak that counts: events on one channel, with a freak one set aside and shown.
//!
//! Input: complete 100 ms frames. Four make a window of 400 ms; the eight loudest windows that stand apart
//! are kept. An event is a freak if it stands more than 10 dB over the second-largest, or has more than
//! 70 % of its energy below 60 Hz (kick and bass are exempt from that one). On a voice it must also be
//! unlike the source, its spectrum much smoother than usual; otherwise it is a question ("was that meant?"). Below four events
//! nothing can be called a freak. Working values, common practice. Frames of silence are never events.

use crate::meters::{BANDS, Frame, band_centre};
use crate::units::{Db, Dbfs, FrameCount, SourceKind};

use super::finding::FreakReason;

const FRAMES_A_WINDOW: u32 = 4;
const KEPT: usize = 8;
/// Windows nearer than this belong to one event.
const APART: u64 = 2;
const FAR_ABOVE: Db = Db::new(10.0);
const THUMP_SHARE: f64 = 0.7;
const THUMP_BELOW_HZ: f64 = 60.0;
/// An event this much smoother than the source's usual frames is unlike it.
const SMOOTH: f64 = 0.6;
const VOICE_BANDS: std::ops::Range<usize> = 8..26;
/// A hit rises by this within 100 ms.
const ONSET: Db = Db::new(10.0);

/// An event set aside from the loudest peak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetAside {
    pub peak: Dbfs,
    pub at: FrameCount,
    pub above_the_rest: Db,
    pub reason: FreakReason,
    /// On a voice and not unlike it: ask whether it was meant.
    pub doubtful: bool,
}

#[derive(Clone, Copy, Debug)]
struct Event {
    peak: Dbfs,
    window: u64,
    at: FrameCount,
    low_share: f64,
    roughness: f64,
}

/// Peaks of one channel since it was last reset.
#[derive(Clone, Debug)]
pub struct Peaks {
    kind: SourceKind,
    events: Vec<Event>,
    /// Summed over the active frames.
    roughness: f64,
    frames: u32,
    window: Event,
    frames_in_window: u32,
    previous: Dbfs,
    hits: u32,
}

impl Peaks {
    pub fn new(kind: SourceKind) -> Self {
        Self {
            kind,
            events: Vec::with_capacity(KEPT + 1),
            roughness: 0.0,
            frames: 0,
            window: Event::empty(0),
            frames_in_window: 0,
            previous: Dbfs::SILENCE,
            hits: 0,
        }
    }

    pub fn reset(&mut self) {
        *self = Self { events: std::mem::take(&mut self.events), ..Self::new(self.kind) };
        self.events.clear();
    }

    /// A complete frame that ended at `now`; `counts` if it is this channel's own sound.
    pub fn observe(&mut self, frame: &Frame, counts: bool, now: FrameCount) {
        if counts {
            if frame.true_peak - self.previous >= ONSET {
                self.hits += 1;
            }
            if frame.true_peak > self.window.peak {
                self.window.peak = frame.true_peak;
                self.window.at = now;
                self.window.low_share = low_share(frame);
                self.window.roughness = roughness(&frame.bands);
            }
            self.roughness += roughness(&frame.bands);
            self.frames += 1;
        }
        self.previous = frame.true_peak;
        self.frames_in_window += 1;
        if self.frames_in_window == FRAMES_A_WINDOW {
            self.close_window();
        }
    }

    /// Hits so far: rises of 10 dB within a frame.
    pub fn hits(&self) -> u32 {
        self.hits
    }

    /// P: the highest true peak, a freak event set aside. −∞ before anything was heard.
    pub fn loudest(&self) -> Dbfs {
        let aside = self.set_aside().filter(|aside| !aside.doubtful);
        let skip = usize::from(aside.is_some());
        self.ranked(skip).unwrap_or(Dbfs::SILENCE)
    }

    /// The median of the four loudest events, freak set aside.
    pub fn typical(&self) -> Dbfs {
        let skip = usize::from(self.set_aside().is_some());
        let top = self.events.len().saturating_sub(skip).min(4);
        if top == 0 { Dbfs::SILENCE } else { self.ranked(skip + (top - 1) / 2).unwrap_or(Dbfs::SILENCE) }
    }

    /// How many separate events stand above `level`.
    pub fn events_above(&self, level: Dbfs) -> usize {
        let skip = usize::from(self.set_aside().is_some());
        self.events.iter().skip(skip).filter(|event| event.peak > level).count()
    }

    /// The event that is set aside, if one is.
    pub fn set_aside(&self) -> Option<SetAside> {
        let [first, second, _, _, ..] = self.events.as_slice() else { return None };
        let above = first.peak - second.peak;
        let thump = first.low_share > THUMP_SHARE && !matches!(self.kind, SourceKind::Kick | SourceKind::Bass);
        let reason = if thump {
            FreakReason::Thump
        } else if above > FAR_ABOVE {
            FreakReason::FarAbove
        } else {
            return None;
        };
        let voice =
            matches!(self.kind, SourceKind::Speech | SourceKind::SoloVocal | SourceKind::Headset | SourceKind::Choir);
        let doubtful = voice && !thump && !self.is_unlike(first);
        Some(SetAside { peak: first.peak, at: first.at, above_the_rest: above, reason, doubtful })
    }

    fn ranked(&self, rank: usize) -> Option<Dbfs> {
        self.events.get(rank).map(|event| event.peak)
    }

    fn close_window(&mut self) {
        let event = self.window;
        self.window = Event::empty(event.window + 1);
        self.frames_in_window = 0;
        if event.peak.is_silence() {
            return;
        }
        let near = self.events.iter().position(|kept| event.window - kept.window < APART);
        match near {
            Some(index) if self.events[index].peak >= event.peak => return,
            Some(index) => {
                self.events.remove(index);
            }
            None => {}
        }
        let rank = self.events.partition_point(|kept| kept.peak >= event.peak);
        self.events.insert(rank, event);
        self.events.truncate(KEPT);
    }

    /// A voice's spectrum is rough with harmonics and formants; a cough's or a rustle's is smooth.
    fn is_unlike(&self, event: &Event) -> bool {
        event.roughness < SMOOTH * self.roughness / f64::from(self.frames.max(1))
    }
}

impl Event {
    const fn empty(window: u64) -> Self {
        Self { peak: Dbfs::SILENCE, window, at: FrameCount::ZERO, low_share: 0.0, roughness: 0.0 }
    }
}

/// Mean step between neighbouring bands from 160 Hz to 8 kHz, in dB; bands 60 dB under the strongest are level.
fn roughness(bands: &[f32; BANDS]) -> f64 {
    let heard = &bands[VOICE_BANDS];
    let floor = heard.iter().copied().fold(f32::MIN_POSITIVE, f32::max) * 1e-6;
    let step = |pair: &[f32]| f64::from(10.0 * (pair[1].max(floor) / pair[0].max(floor)).log10()).abs();
    heard.windows(2).map(step).sum::<f64>() / (heard.len() - 1) as f64
}

/// The share of the energy in the bands below 60 Hz.
fn low_share(frame: &Frame) -> f64 {
    let total: f64 = frame.bands.iter().map(|&band| f64::from(band)).sum();
    let low: f64 = share_below(frame, THUMP_BELOW_HZ);
    if total > 0.0 { low / total } else { 0.0 }
}

/// Power in the bands centred below `hz`.
pub(super) fn share_below(frame: &Frame, hz: f64) -> f64 {
    frame.bands.iter().enumerate().filter(|(band, _)| band_centre(*band).get() < hz).map(|(_, &p)| f64::from(p)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(peak: f64, loud_band: usize) -> Frame {
        let mut bands = [1e-9f32; BANDS];
        bands[loud_band] = 0.01;
        Frame { true_peak: Dbfs::new(peak), sample_peak: Dbfs::new(peak), rms: Dbfs::new(peak - 12.0), bands }
    }

    fn heard(kind: SourceKind, frames: &[Frame]) -> Peaks {
        let mut peaks = Peaks::new(kind);
        for (index, frame) in frames.iter().enumerate() {
            peaks.observe(frame, frame.true_peak > Dbfs::new(-60.0), FrameCount::new(index as u64 * 4_800));
        }
        peaks
    }

    /// One hit a second: 100 ms at `peak`, then silence.
    fn hits(peaks: &[f64]) -> Vec<Frame> {
        peaks.iter().flat_map(|&peak| (0..10).map(move |k| frame(if k == 0 { peak } else { -80.0 }, 12))).collect()
    }

    #[test]
    fn hits_are_counted_and_the_loudest_stands() {
        let peaks = heard(SourceKind::Snare, &hits(&[-14.0, -12.5, -13.0, -15.0, -12.0, -13.0]));
        assert_eq!(peaks.hits(), 6);
        assert_eq!(peaks.loudest(), Dbfs::new(-12.0));
        assert_eq!(peaks.typical(), Dbfs::new(-12.5));
        assert_eq!(peaks.set_aside(), None);
    }

    #[test]
    fn one_event_far_above_is_set_aside_and_shown() {
        let peaks = heard(SourceKind::Snare, &hits(&[-20.0, -21.0, -8.0, -20.5, -22.0]));
        assert_eq!(peaks.loudest(), Dbfs::new(-20.0));
        let aside = peaks.set_aside().expect("set aside");
        assert_eq!((aside.peak, aside.above_the_rest), (Dbfs::new(-8.0), Db::new(12.0)));
    }

    #[test]
    fn twice_is_no_freak() {
        assert_eq!(heard(SourceKind::Snare, &hits(&[-20.0, -8.0, -21.0, -8.5, -20.0])).loudest(), Dbfs::new(-8.0));
    }

    #[test]
    fn a_voices_outburst_like_itself_is_a_question_and_still_counts() {
        let peaks = heard(SourceKind::SoloVocal, &hits(&[-20.0, -21.0, -8.0, -20.5, -22.0]));
        assert!(peaks.set_aside().expect("a question").doubtful);
        assert_eq!(peaks.loudest(), Dbfs::new(-8.0));
    }

    #[test]
    fn a_thump_is_set_aside_except_on_a_kick() {
        let mut frames = hits(&[-20.0, -21.0, -20.0, -22.0]);
        frames.extend((0..10).map(|k| frame(if k == 0 { -14.0 } else { -80.0 }, 2)));
        assert_eq!(heard(SourceKind::Speech, &frames).loudest(), Dbfs::new(-20.0));
        assert_eq!(heard(SourceKind::Kick, &frames).loudest(), Dbfs::new(-14.0));
    }
}
