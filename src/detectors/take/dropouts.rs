//! Dropouts: a stretch of exact zeros, or of one held value, cut out of sound; and what is asked of dropouts of any form.
//!
//! In: blocks of amplitudes, then the take's active level A. A dropout is 1 ms or more of digital zero (2 ms of any other
//! value that stands still below half of the surroundings' peak, so that a clipped or square wave is none), with sound on
//! both sides: the peaks of the 3 ms before and after it must stand within 26 dB of each other and no more than 16 dB under
//! A, 6 dB where it is 60 ms or longer, since digital silence that a fade, a gate or the end of a word leads to is none. At most half a
//! second: longer is a pause. Own working values; the edges were fitted on holes in real programme, and on synthesised
//! speech and notes that stand in digital silence. Told by frame, exactly.

use super::View;
use crate::detectors::finding::{DropoutForm, Evidence, Finding};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};

const SHORTEST: Seconds = Seconds::new(0.00098);
const SHORTEST_HELD: Seconds = Seconds::new(0.002);
const LONGEST: Seconds = Seconds::new(0.5);
const EDGE: Seconds = Seconds::new(0.003);
/// Not even a quiet take's sound.
const SOUND: f32 = 1e-4;
/// Re the active level: the weaker edge of a repeat, which proves itself, of a short hole, and of a long one.
const EDGE_OF_REPEAT: Db = Db::new(-30.0);
const EDGE_OF_SHORT: Db = Db::new(-16.0);
const EDGE_OF_LONG: Db = Db::new(-6.0);
const SHORT: Seconds = Seconds::new(0.06);
/// An edge this much weaker than the other is a fade's end.
const UNEVEN: f32 = 0.05;
/// More are not told one by one.
const MOST: usize = 1_000;

/// The dropouts of one channel.
pub(super) struct Dropouts {
    shortest: u64,
    shortest_held: u64,
    longest: u64,
    edge: usize,
    open: Option<Open>,
    found: Vec<Dropout>,
}

#[derive(Clone, Copy, Debug)]
struct Open {
    start: u64,
    value: f32,
    before: f32,
}

/// From frame `start` to frame `end`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Dropout {
    pub start: u64,
    pub end: u64,
    pub form: DropoutForm,
    /// The peak of its weaker side.
    pub edge: f32,
}

impl Dropout {
    /// Whether it was cut out of sound, in a take of this active level.
    pub fn is_cut_out(&self, programme: Dbfs, rate: SampleRate) -> bool {
        let length = FrameCount::new(self.end - self.start).at(rate);
        let least = match self.form {
            DropoutForm::Repeated => EDGE_OF_REPEAT,
            _ if length < SHORT => EDGE_OF_SHORT,
            _ => EDGE_OF_LONG,
        };
        Dbfs::from_amplitude(f64::from(self.edge)) >= programme + least
    }

    /// Whether it covers a frame, or ends beside it.
    pub fn holds(&self, frame: u64, rate: SampleRate) -> bool {
        let beside = rate.frames(EDGE).get();
        (self.start.saturating_sub(beside)..=self.end + beside).contains(&frame)
    }

    pub fn finding(&self, channel: ChannelId, rate: SampleRate) -> Finding {
        let (start, end) = (FrameCount::new(self.start), FrameCount::new(self.end));
        Finding { channel, start, end, evidence: Evidence::Dropout { length: (end - start).at(rate), form: self.form } }
    }
}

impl Dropouts {
    pub fn new(rate: SampleRate) -> Self {
        let frames = |span| rate.frames(span).get();
        Self {
            shortest: frames(SHORTEST),
            shortest_held: frames(SHORTEST_HELD),
            longest: frames(LONGEST),
            edge: frames(EDGE) as usize,
            open: None,
            found: Vec::with_capacity(MOST),
        }
    }

    pub fn look(&mut self, view: &View) {
        let stride = (self.shortest / 2).max(1) as usize;
        let mut at = view.from;
        while at < view.to {
            if let Some(open) = self.open {
                let still = view.samples[at..view.to].iter().position(|&sample| sample != open.value);
                let Some(length) = still else { return };
                at += length;
                self.open = None;
                self.close(open, view, at);
            } else if view.samples[at] == view.samples[at - 1] {
                let value = view.samples[at];
                let back = view.samples[..at].iter().rev().take_while(|&&sample| sample == value).count();
                let first = at - back;
                let before = peak(&view.samples[first.saturating_sub(self.edge)..first]);
                if first >= self.edge {
                    self.open = Some(Open { start: view.frame(first), value, before });
                    continue;
                }
                // It began before what is known here, and is no hole.
                at += view.samples[at..view.to].iter().take_while(|&&sample| sample == value).count().max(stride);
            } else {
                at += stride;
            }
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        self.open = None;
    }

    pub fn found(&self) -> &[Dropout] {
        &self.found
    }

    /// A run of equal samples ends before `end`.
    fn close(&mut self, open: Open, view: &View, end: usize) {
        let length = view.frame(end) - open.start;
        let shortest = if open.value == 0.0 { self.shortest } else { self.shortest_held };
        if length < shortest || length > self.longest || self.found.len() == MOST {
            return;
        }
        let after = peak(&view.samples[end..(end + self.edge).min(view.samples.len())]);
        let (weaker, louder) = (open.before.min(after), open.before.max(after));
        if weaker < SOUND || weaker < UNEVEN * louder || open.value.abs() > 0.5 * louder {
            return;
        }
        let form = if open.value == 0.0 { DropoutForm::Zeros } else { DropoutForm::Held };
        self.found.push(Dropout { start: open.start, end: view.frame(end), form, edge: weaker });
    }
}

pub(super) fn peak(samples: &[f32]) -> f32 {
    samples.iter().fold(0.0, |peak, sample| peak.max(sample.abs()))
}
