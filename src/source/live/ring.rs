//! The way from the audio callback to the reader: a lock-free ring of interleaved `f32` of about 2 s.
//!
//! `Intake::take` is the whole body of the callback: it allocates nothing, takes no lock, waits for nothing
//! and prints nothing, whatever the length of the data. A ring that is full drops whole frames, counts them,
//! and tells the reader where they are missing. Loss of unknown length (an overrun in the device) counts as
//! a gap as long as the callback that follows it: the least that a device loses. Where callbacks stay out for more than
//! `STARVED_AFTER` (a paused source, a laptop that slept) and then come again, the time between is a gap.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

use ringbuf::traits::{Consumer, Observer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};

use super::convert::Amplitude;
use super::health::{Counters, STARVED_AFTER};
use crate::block::{BlockBuf, Format};
use crate::units::{FrameCount, SampleRate, Seconds};

/// How long the reader may stall before frames are lost.
pub const RING_SPAN: Seconds = Seconds::new(2.0);
/// Gaps that may wait to be read; with more, the ring counts as full.
const GAPS: usize = 64;

/// Frames missing before the frame `at` (counted over the frames that did pass).
#[derive(Clone, Copy, Debug)]
struct Gap {
    at: u64,
    frames: u64,
}

/// The callback's end.
pub struct Intake {
    samples: HeapProd<f32>,
    gaps: HeapProd<Gap>,
    counters: Arc<Counters>,
    channels: usize,
    passed: u64,
    /// Frames lost since the last one that passed.
    missing: u64,
    breaks: u64,
    rate: SampleRate,
    clock: Clock,
}

/// When sound last came.
#[derive(Clone, Copy, Debug)]
enum Clock {
    /// The caller's time is not the wall's.
    None,
    /// Nothing came yet: what a device takes to begin is no loss.
    Fresh,
    /// With the stream before this one.
    Lost(Instant),
    Came(Instant),
}

/// The reader's end.
pub(super) struct Outlet {
    samples: HeapCons<f32>,
    gaps: HeapCons<Gap>,
    pub counters: Arc<Counters>,
    channels: usize,
    read: u64,
}

pub(super) fn ring(format: Format) -> (Intake, Outlet) {
    let frames = format.rate.frames(RING_SPAN).get() as usize;
    // A whole number of frames, so that no frame straddles the ring's end.
    let (to, from) = HeapRb::new(frames * format.channels).split();
    let (gaps_to, gaps_from) = HeapRb::new(GAPS).split();
    let counters = Arc::new(Counters::default());
    let intake = Intake {
        samples: to,
        gaps: gaps_to,
        counters: Arc::clone(&counters),
        channels: format.channels,
        passed: 0,
        missing: 0,
        breaks: 0,
        rate: format.rate,
        clock: Clock::None,
    };
    (intake, Outlet { samples: from, gaps: gaps_from, counters, channels: format.channels, read: 0 })
}

impl Intake {
    /// Takes interleaved samples as the device delivers them; an incomplete last frame is left out.
    pub fn take<T: Amplitude>(&mut self, data: &[T]) {
        let frames = data.len() / self.channels;
        self.missing += self.away().saturating_sub(frames as u64);
        self.counters.callbacks.fetch_add(1, Relaxed);
        self.counters.frames.fetch_add(frames as u64, Relaxed);
        let breaks = self.counters.breaks();
        if breaks != self.breaks {
            self.breaks = breaks;
            self.missing += frames as u64;
        }
        let free = self.samples.vacant_len() / self.channels;
        let mut passing = frames.min(free);
        if passing > 0 && !self.report_gap() {
            passing = 0;
        }
        self.samples.push_iter(data[..passing * self.channels].iter().map(|sample| sample.amplitude()));
        self.passed += passing as u64;
        let dropped = (frames - passing) as u64;
        self.missing += dropped;
        self.counters.dropped.fetch_add(dropped, Relaxed);
    }

    /// Its callbacks come as time goes by; what went by since the stream before this one was lost is missing.
    pub(super) fn keep_time(&mut self, lost: Option<Instant>) {
        self.clock = lost.map_or(Clock::Fresh, Clock::Lost);
    }

    /// How much went by without sound, in frames.
    fn away(&mut self) -> u64 {
        let away = match self.clock {
            Clock::None => return 0,
            Clock::Fresh => Duration::ZERO,
            Clock::Lost(since) => since.elapsed(),
            Clock::Came(at) => Some(at.elapsed()).filter(|away| *away > STARVED_AFTER).unwrap_or_default(),
        };
        self.clock = Clock::Came(Instant::now());
        self.rate.frames(Seconds::new(away.as_secs_f64())).get()
    }

    /// Marks where frames are missing; must happen before the samples that follow become visible.
    fn report_gap(&mut self) -> bool {
        let gap = Gap { at: self.passed, frames: self.missing };
        if gap.frames > 0 && self.gaps.try_push(gap).is_err() {
            return false;
        }
        self.missing = 0;
        true
    }
}

impl Outlet {
    /// Fills `block` with what there is, up to its capacity or the next gap; `next` is the frame that would
    /// follow what was read before. Returns the run of all-zero frames at its end, `None` when it is empty.
    pub fn drain(&mut self, block: &mut BlockBuf, next: FrameCount) -> Option<ZeroTail> {
        let waiting = self.samples.occupied_len() / self.channels;
        let mut frames = waiting.min(block.capacity());
        let mut gap = 0;
        if frames > 0
            && let Some(&first) = self.gaps.first()
        {
            if first.at == self.read {
                gap = first.frames;
                self.gaps.skip(1);
            }
            if let Some(&coming) = self.gaps.first() {
                frames = frames.min((coming.at - self.read) as usize);
            }
        }
        let gap = FrameCount::new(gap);
        block.restart(next + gap, gap);
        let (head, tail) = self.samples.as_slices();
        let head = &head[..head.len().min(frames * self.channels)];
        let tail = &tail[..frames * self.channels - head.len()];
        for part in [head, tail].into_iter().filter(|part| !part.is_empty()) {
            block.push_interleaved(part);
        }
        let zeros = head.iter().chain(tail).rev().take_while(|sample| **sample == 0.0).count() / self.channels;
        self.samples.skip(frames * self.channels);
        self.read += frames as u64;
        (frames > 0).then_some(ZeroTail { frames: zeros as u64, whole: zeros == frames })
    }
}

/// How much of a block's end is exactly zero on every channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct ZeroTail {
    pub frames: u64,
    /// All of the block.
    pub whole: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHANNELS: usize = 3;
    const RING: usize = 16_000;

    fn small() -> (Intake, Outlet) {
        ring(Format { rate: SampleRate::new(8_000).expect("a rate"), channels: CHANNELS })
    }

    /// Frame k carries k on every channel (exact in `f32` below 2^24).
    fn numbered(from: usize, frames: usize) -> Vec<f32> {
        (from..from + frames).flat_map(|frame| [frame as f32; CHANNELS]).collect()
    }

    /// Reads to the end: (start, gap, frames) of each block; every sample must be the frame's own number.
    fn read_all(outlet: &mut Outlet, capacity: usize) -> Vec<(u64, u64, usize)> {
        let mut block = BlockBuf::new(CHANNELS, capacity);
        let mut next = FrameCount::ZERO;
        let mut found = Vec::new();
        while outlet.drain(&mut block, next).is_some() {
            let view = block.as_block();
            for channel in 0..CHANNELS {
                for (index, sample) in view.channel(channel).iter().enumerate() {
                    assert_eq!(*sample, (view.start().get() + index as u64) as f32);
                }
            }
            next = view.start() + FrameCount::new(view.frames() as u64);
            found.push((view.start().get(), view.gap().get(), view.frames()));
        }
        found
    }

    #[test]
    fn what_fits_passes_in_order() {
        let (mut intake, mut outlet) = small();
        let mut at = 0;
        for length in [1, 480, 7, 1024, 0, 333] {
            intake.take(&numbered(at, length));
            at += length;
        }
        let blocks = read_all(&mut outlet, 512);
        assert_eq!(blocks.iter().map(|block| block.2).sum::<usize>(), at);
        assert!(blocks.iter().all(|block| block.1 == 0));
    }

    /// Two callbacks more than fit: what is missing is whole frames, counted, and stands where it was lost.
    #[test]
    fn a_full_ring_drops_whole_frames_and_counts() {
        let (mut intake, mut outlet) = small();
        let callback = 1_000;
        for at in (0..RING + 2_500).step_by(callback) {
            intake.take(&numbered(at, callback));
        }
        let delivered = RING + 3_000;
        assert_eq!(intake.counters.frames.load(Relaxed), delivered as u64);
        assert_eq!(intake.counters.dropped.load(Relaxed), 3_000);
        assert_eq!(read_all(&mut outlet, RING), [(0, 0, RING)]);
        intake.take(&numbered(delivered, 10));
        let mut block = BlockBuf::new(CHANNELS, 100);
        outlet.drain(&mut block, FrameCount::new(RING as u64)).expect("frames");
        let view = block.as_block();
        assert_eq!((view.start().get(), view.gap().get(), view.frames()), (delivered as u64, 3_000, 10));
        assert_eq!(view.channel(2)[0], delivered as f32);
    }

    /// Loss, a little room, loss again: each gap stands before its own block, and no frame is told twice.
    #[test]
    fn several_gaps_keep_their_places() {
        let (mut intake, mut outlet) = small();
        intake.take(&numbered(0, RING + 5));
        let mut block = BlockBuf::new(CHANNELS, 100);
        outlet.drain(&mut block, FrameCount::ZERO).expect("frames");
        intake.take(&numbered(RING + 5, 130));
        outlet.drain(&mut block, FrameCount::new(100)).expect("frames");
        intake.take(&numbered(RING + 135, 50));
        let mut next = FrameCount::new(200);
        let mut gaps = Vec::new();
        while outlet.drain(&mut block, next).is_some() {
            let view = block.as_block();
            assert_eq!(view.channel(0)[0], view.start().get() as f32);
            if view.gap() > FrameCount::ZERO {
                gaps.push((view.start().get() as usize, view.gap().get()));
            }
            next = view.start() + FrameCount::new(view.frames() as u64);
        }
        assert_eq!(gaps, [(RING + 5, 5), (RING + 135, 30)]);
        assert_eq!(next.get() as usize, RING + 185);
    }

    /// An overrun is a gap as long as the callback after it.
    #[test]
    fn an_overrun_is_a_gap() {
        let (mut intake, mut outlet) = small();
        intake.take(&numbered(0, 80));
        intake.counters.note(cpal::ErrorKind::Xrun.into());
        intake.take(&numbered(160, 80));
        assert_eq!(read_all(&mut outlet, 512), [(0, 0, 80), (160, 80, 80)]);
        assert_eq!(intake.counters.dropped.load(Relaxed), 0);
    }

    /// A device that was silent for five seconds and goes on; one that was lost for half a second; a short pause; the
    /// beginning, however long it takes.
    #[test]
    fn time_without_callbacks_is_a_gap() {
        let ago = |seconds| Instant::now().checked_sub(Duration::from_secs_f64(seconds)).expect("the machine runs");
        let pauses = [
            (Clock::Came(ago(5.0)), 40_000 - 80),
            (Clock::Lost(ago(0.5)), 4_000 - 80),
            (Clock::Came(ago(0.5)), 0),
            (Clock::Fresh, 0),
        ];
        for (clock, least) in pauses {
            let (mut intake, mut outlet) = small();
            intake.clock = clock;
            intake.take(&numbered(0, 80));
            intake.take(&numbered(80, 80));
            let mut block = BlockBuf::new(CHANNELS, 512);
            outlet.drain(&mut block, FrameCount::ZERO).expect("frames");
            let gap = block.as_block().gap().get();
            // What a busy machine takes between two lines comes on top, where it counts at all.
            assert!(gap == least || least > 0 && (least..least + 8_000).contains(&gap), "{gap} frames: {clock:?}");
            assert_eq!(block.frames(), 160, "the second follows without a gap");
        }
    }

    #[test]
    fn an_incomplete_frame_is_left_out() {
        let (mut intake, mut outlet) = small();
        intake.take(&numbered(0, 3)[..8]);
        assert_eq!(read_all(&mut outlet, 16), [(0, 0, 2)]);
    }

    #[test]
    fn zeros_at_the_end_are_seen() {
        let (mut intake, mut outlet) = small();
        let mut block = BlockBuf::new(CHANNELS, 100);
        intake.take(&[0.0_f32, 1e-9, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]);
        assert_eq!(outlet.drain(&mut block, FrameCount::ZERO), Some(ZeroTail { frames: 2, whole: false }));
        intake.take(&[0.0_f32; 6]);
        assert_eq!(outlet.drain(&mut block, FrameCount::ZERO), Some(ZeroTail { frames: 2, whole: true }));
        intake.take(&[f32::NAN; 3]);
        assert_eq!(outlet.drain(&mut block, FrameCount::ZERO), Some(ZeroTail { frames: 0, whole: false }));
        assert_eq!(outlet.drain(&mut block, FrameCount::ZERO), None);
    }
}
