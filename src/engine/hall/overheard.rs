//! A second listener on a source that is being heard already: a device can't always be opened twice.
//!
//! The first listener's thread hands each of its blocks on; one who falls behind loses whole blocks, which come out as a
//! gap. When the first listener stops, the sound is over.

use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::Duration;

use crate::block::{BlockBuf, Format};
use crate::source::{Flow, Source};
use crate::units::{FrameCount, Seconds};

/// What may wait, in blocks (of a device with short callbacks they come every 2 ms) and in sound.
const WAITING: usize = 1024;
const WAITING_SPAN: Seconds = Seconds::new(2.0);
const WAIT: Duration = Duration::from_millis(20);

/// The handing end.
pub struct Overhearing {
    blocks: SyncSender<BlockBuf>,
    waiting: Arc<AtomicU64>,
    most: u64,
}

/// The listening end.
pub struct Overheard {
    blocks: Receiver<BlockBuf>,
    /// Frames handed on and not yet taken.
    waiting: Arc<AtomicU64>,
    format: Format,
    /// Came, and did not fit into what was to be filled.
    rest: Option<(BlockBuf, usize)>,
    /// The frame that comes next, on the first listener's clock.
    next: Option<FrameCount>,
    heard: FrameCount,
}

pub fn overhear(format: Format) -> (Overhearing, Overheard) {
    let (send, blocks) = sync_channel(WAITING);
    let waiting = Arc::new(AtomicU64::new(0));
    let most = format.rate.frames(WAITING_SPAN).get();
    let overhearing = Overhearing { blocks: send, waiting: Arc::clone(&waiting), most };
    (overhearing, Overheard { blocks, waiting, format, rest: None, next: None, heard: FrameCount::ZERO })
}

impl Overhearing {
    /// `false`: nobody listens any more.
    pub fn hand_on(&self, block: &BlockBuf) -> bool {
        let frames = block.frames() as u64;
        // One block may always wait, however long it is; an empty one asks whether anybody listens.
        let waiting = self.waiting.load(Relaxed);
        if frames == 0 || waiting > 0 && waiting + frames > self.most {
            return Arc::strong_count(&self.waiting) > 1;
        }
        self.waiting.fetch_add(frames, Relaxed);
        match self.blocks.try_send(block.clone()) {
            Ok(()) => true,
            Err(refused) => {
                self.waiting.fetch_sub(frames, Relaxed);
                matches!(refused, TrySendError::Full(_))
            }
        }
    }
}

impl Source for Overheard {
    type Error = Infallible;

    fn format(&self) -> Format {
        self.format
    }

    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, Infallible> {
        let (came, from) = match self.rest.take() {
            Some(rest) => rest,
            None => match self.blocks.recv_timeout(WAIT) {
                Ok(came) => {
                    self.waiting.fetch_sub(came.frames() as u64, Relaxed);
                    (came, 0)
                }
                Err(RecvTimeoutError::Timeout) => {
                    block.restart(self.heard, FrameCount::ZERO);
                    return Ok(Flow::More);
                }
                Err(RecvTimeoutError::Disconnected) => return Ok(Flow::End),
            },
        };
        let whole = came.as_block();
        let at = whole.start() + FrameCount::new(from as u64);
        let gap = FrameCount::new(self.next.map_or(0, |next| at.get().saturating_sub(next.get())));
        self.heard += gap;
        block.restart(self.heard, gap);
        let to = whole.frames().min(from + block.capacity());
        for (channel, plane) in block.planes_mut().iter_mut().enumerate() {
            plane.extend_from_slice(&whole.channel(channel)[from..to]);
        }
        let frames = FrameCount::new((to - from) as u64);
        (self.next, self.heard) = (Some(at + frames), self.heard + frames);
        if to < whole.frames() {
            self.rest = Some((came, to));
        }
        Ok(Flow::More)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SampleRate;

    fn block(start: u64, samples: &[f32]) -> BlockBuf {
        let mut block = BlockBuf::new(1, samples.len());
        block.restart(FrameCount::new(start), FrameCount::ZERO);
        block.push_interleaved(samples);
        block
    }

    #[test]
    fn all_comes_out_in_order_and_what_was_lost_is_a_gap() {
        let (first, mut second) = overhear(Format { rate: SampleRate::new(48_000).unwrap(), channels: 1 });
        assert!(first.hand_on(&block(100, &[1.0, 2.0, 3.0])));
        assert!(first.hand_on(&block(110, &[4.0])));
        let mut out = BlockBuf::new(1, 2);
        let mut heard = Vec::new();
        for _ in 0..3 {
            assert_eq!(second.read(&mut out), Ok(Flow::More));
            let block = out.as_block();
            heard.push((block.start().get(), block.gap().get(), block.channel(0).to_vec()));
        }
        assert_eq!(heard, [(0, 0, vec![1.0, 2.0]), (2, 0, vec![3.0]), (10, 7, vec![4.0])]);
        drop(first);
        assert_eq!(second.read(&mut out), Ok(Flow::End));
    }

    #[test]
    fn nobody_waits_for_a_listener_who_is_late_or_gone() {
        let (first, second) = overhear(Format { rate: SampleRate::new(48_000).unwrap(), channels: 1 });
        assert!((0..2 * WAITING).all(|at| first.hand_on(&block(at as u64, &[0.0]))));
        assert_eq!(second.waiting.load(Relaxed), WAITING as u64);
        drop(second);
        assert!(!first.hand_on(&block(0, &[0.0])));
    }

    /// Two seconds of sound wait, in blocks of any length; what comes then is a gap.
    #[test]
    fn two_seconds_may_wait() {
        let (first, mut second) = overhear(Format { rate: SampleRate::new(48_000).unwrap(), channels: 1 });
        let tenth = [0.5; 4_800];
        assert!((0..30).all(|at| first.hand_on(&block(at * 4_800, &tenth))));
        let mut out = BlockBuf::new(1, 4_800);
        for _ in 0..20 {
            assert_eq!(second.read(&mut out), Ok(Flow::More));
            assert_eq!((out.frames(), out.as_block().gap()), (4_800, FrameCount::ZERO));
        }
        assert!(first.hand_on(&block(30 * 4_800, &tenth)));
        assert_eq!(second.read(&mut out), Ok(Flow::More));
        assert_eq!(out.as_block().gap(), FrameCount::new(48_000));
    }
}
