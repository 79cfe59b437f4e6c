//! Repeated blocks: what a driver played or handed on once more because the next block came too late.
//!
//! In: blocks of amplitudes. A repeat is 1 ms … 100 ms of sound that equals, sample by sample, what stood just before it,
//! once or several times over: the run of equal samples is a whole number of its lag long. No microphone gives the same
//! thousand samples twice. A synthesizer may; there the wave goes on where it begins again, so one of the two ends must
//! jump farther than the wave itself from sample to sample, and both sides must sound (as of any dropout). Found by
//! places that a hash of two samples picks, one in sixteen, kept with a hash of the eight samples that end there; then
//! compared sample by sample. Own working values. The state has a fixed size.

use super::View;
use super::dropouts::{Dropout, peak};
use crate::detectors::finding::DropoutForm;
use crate::units::{SampleRate, Seconds};

const SHORTEST: Seconds = Seconds::new(0.001);
const LONGEST: Seconds = Seconds::new(0.1);
const EDGE: Seconds = Seconds::new(0.003);
/// Not even a quiet take's sound.
const SOUND: f32 = 1e-4;
/// The peaks of the two sides, at least of one another.
const UNEVEN: f32 = 0.05;
/// Samples of a run that may be equal by chance at its ends.
const CHANCE: u64 = 3;
const MOST_TIMES: u64 = 16;
/// Re the wave's own steps from sample to sample.
const JUMP: f32 = 1.0;
const HASHED: usize = 8;
const PLACES: usize = 2048;
const MOST: usize = 1_000;

/// The repeated blocks of one channel.
pub(super) struct Repeats {
    shortest: u64,
    longest: u64,
    edge: usize,
    /// Twice the longest lag of what was, then the block and what lies ahead.
    line: Vec<f32>,
    past: usize,
    places: Vec<Place>,
    open: Option<Open>,
    found: Vec<Dropout>,
}

#[derive(Clone, Copy, Default)]
struct Place {
    hash: u32,
    frame: u64,
}

/// A run of samples that equal those `lag` frames before.
#[derive(Clone, Copy)]
struct Open {
    lag: u64,
    start: u64,
    before: f32,
    jump: f32,
}

impl Repeats {
    pub fn new(rate: SampleRate, block: usize, around: usize) -> Self {
        let frames = |span| rate.frames(span).get();
        let past = 2 * frames(LONGEST) as usize + HASHED;
        Self {
            shortest: frames(SHORTEST),
            longest: frames(LONGEST),
            edge: frames(EDGE) as usize,
            line: vec![0.0; past + block + 2 * around],
            past,
            places: vec![Place::default(); PLACES],
            open: None,
            found: Vec::with_capacity(MOST),
        }
    }

    pub fn look(&mut self, view: &View) {
        let (block, known) = (view.to - view.from, view.samples.len() - view.from);
        self.line[self.past..self.past + known].copy_from_slice(&view.samples[view.from..]);
        // The frame of `line[0]`, which may lie before the first.
        let origin = view.frame(view.from) as i64 - self.past as i64;
        let mut at = self.past;
        while at < self.past + block {
            if let Some(open) = self.open {
                let lag = open.lag as usize;
                while at < self.past + block && self.line[at] == self.line[at - lag] {
                    at += 1;
                }
                if at < self.past + block {
                    self.open = None;
                    self.close(open, origin, at, self.past + known);
                }
                continue;
            }
            if is_place(self.line[at - 1], self.line[at]) {
                self.open = self.again(origin, at);
            }
            at += 1;
        }
        self.line.copy_within(block..block + self.past, 0);
    }

    /// After a gap.
    pub fn restart(&mut self) {
        self.open = None;
        self.line.fill(0.0);
        self.places.fill(Place::default());
    }

    pub fn found(&self) -> &[Dropout] {
        &self.found
    }

    /// Keeps the place; whether what ends there stood just before already.
    fn again(&mut self, origin: i64, at: usize) -> Option<Open> {
        let hash = hash_of(&self.line[at + 1 - HASHED..=at]);
        let frame = u64::try_from(origin + at as i64).ok()?;
        let place = &mut self.places[hash as usize % PLACES];
        let before = std::mem::replace(place, Place { hash, frame });
        let lag = frame - before.frame;
        if before.hash != hash || lag < self.shortest || lag > self.longest {
            return None;
        }
        let first = (lag as usize..=at).rev().take_while(|&i| self.line[i] == self.line[i - lag as usize]).last()?;
        let edge = self.line.get(first.checked_sub(self.edge)?..first)?;
        let start = u64::try_from(origin + first as i64).ok()?;
        let jump = (self.line[first] - self.line[first - 1]).abs();
        Some(Open { lag, start, before: peak(edge), jump })
    }

    /// The run ends before `line[end]`.
    fn close(&mut self, open: Open, origin: i64, end: usize, known: usize) {
        let stop = (origin + end as i64) as u64;
        let (length, lag) = (stop - open.start, open.lag);
        let times = (length + lag / 2) / lag;
        if times == 0 || times > MOST_TIMES || length.abs_diff(times * lag) > CHANCE || self.found.len() == MOST {
            return;
        }
        let block = &self.line[end - lag as usize..end];
        let own = block.windows(2).map(|x| (x[1] - x[0]) * (x[1] - x[0])).sum::<f32>() / lag as f32;
        let jump = open.jump.max((self.line[end] - self.line[end - 1]).abs());
        let after = peak(&self.line[end..(end + self.edge).min(known)]);
        let (weaker, louder) = (open.before.min(after), open.before.max(after));
        if weaker >= SOUND && weaker >= UNEVEN * louder && jump >= JUMP * own.sqrt() && peak(block) >= UNEVEN * weaker {
            self.found.push(Dropout { start: open.start, end: stop, form: DropoutForm::Repeated, edge: weaker });
        }
    }
}

/// One in sixteen, by the two samples alone; none where the wave stands still.
#[inline(always)]
fn is_place(before: f32, sample: f32) -> bool {
    let mixed = (before.to_bits() ^ sample.to_bits().rotate_left(16)).wrapping_mul(0x9E37_79B1);
    mixed >> 28 == 0 && before != sample
}

fn hash_of(samples: &[f32]) -> u32 {
    let mix = |hash: u32, sample: &f32| (hash ^ sample.to_bits()).wrapping_mul(0x85EB_CA6B).rotate_left(13);
    samples.iter().fold(0x1234_5678, mix)
}
