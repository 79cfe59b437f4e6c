//! The way from the engine to the writer: parcels of 100 ms that go round between two lock-free rings.
//!
//! `Recorder::take` is what the engine's thread calls: it allocates nothing, takes no lock and never waits. With no empty
//! parcel left, frames are counted as missing, and the next parcel says how many. Only channels that may be recorded are
//! put in. Edge cases: a block of another width counts as missing; what is missing before the first sound is no gap.

use std::sync::Arc;
use std::sync::atomic::Ordering::{Acquire, Release};
use std::sync::atomic::{AtomicBool, AtomicU64};

use ringbuf::traits::{Consumer, Producer, Split};
use ringbuf::{HeapCons, HeapProd, HeapRb};

use crate::block::{Block, BlockBuf, Format};
use crate::units::{FrameCount, Seconds};

/// An even number of frames at every usual rate.
const PARCEL: Seconds = Seconds::new(0.1);
/// How long a disk may stall: a memory stick that tidies up takes seconds.
const QUEUE: Seconds = Seconds::new(8.0);
/// All parcels together, whatever the rate and the number of channels.
const MOST_BYTES: usize = 128 << 20;

/// Sound of the channels that are recorded, after what is missing before it.
pub(super) struct Parcel {
    pub block: BlockBuf,
    pub missing: Missing,
}

/// Frames that did not come: the device gave none, or the disk was too slow.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Missing {
    pub device: u64,
    pub disk: u64,
}

#[derive(Default)]
pub(super) struct Flags {
    /// The face asks for an end.
    pub stop: AtomicBool,
    /// No more sound will come.
    pub ended: AtomicBool,
    /// What is missing behind the last parcel.
    pub left: Left,
    /// The writer has ended.
    pub over: AtomicBool,
}

#[derive(Default)]
pub(super) struct Left {
    device: AtomicU64,
    disk: AtomicU64,
}

impl Left {
    fn set(&self, missing: Missing) {
        self.device.store(missing.device, Release);
        self.disk.store(missing.disk, Release);
    }

    pub fn get(&self) -> Missing {
        Missing { device: self.device.load(Acquire), disk: self.disk.load(Acquire) }
    }
}

/// The engine's end. Dropped, it hands on what it still holds, and the recording ends.
pub struct Recorder {
    to: HeapProd<Parcel>,
    pub(super) empty: HeapCons<Parcel>,
    at_hand: Option<Parcel>,
    missing: Missing,
    begun: bool,
    width: usize,
    kept: Vec<usize>,
    flags: Arc<Flags>,
}

/// The writer's end.
pub(super) struct Outlet {
    pub from: HeapCons<Parcel>,
    pub empty: HeapProd<Parcel>,
    pub flags: Arc<Flags>,
}

pub(super) fn queue(format: Format, kept: Vec<usize>) -> (Recorder, Outlet) {
    let frames = format.rate.frames(PARCEL).get() as usize / 2 * 2;
    let parcels = (QUEUE.get() / PARCEL.get()).round() as usize;
    let bytes = frames * kept.len().max(1) * size_of::<f32>();
    let parcels = parcels.min(MOST_BYTES / bytes).max(4);
    let (to, from) = HeapRb::new(parcels).split();
    let (mut back, empty) = HeapRb::new(parcels).split();
    let parcel = || Parcel { block: BlockBuf::new(kept.len(), frames), missing: Missing::default() };
    back.push_iter((0..parcels).map(|_| parcel()));
    let flags = Arc::new(Flags::default());
    let recorder = Recorder {
        to,
        empty,
        at_hand: None,
        missing: Missing::default(),
        begun: false,
        width: format.channels,
        kept,
        flags: Arc::clone(&flags),
    };
    (recorder, Outlet { from, empty: back, flags })
}

impl Recorder {
    /// The next block of the source.
    pub fn take(&mut self, block: &Block) {
        if self.is_over() {
            return;
        }
        if self.begun {
            self.missing.device += block.gap().get();
        }
        if block.channels() != self.width {
            self.missing.device += block.frames() as u64;
            return;
        }
        let mut rest = *block;
        while rest.frames() > 0 {
            let Some(mut parcel) = self.parcel() else {
                self.missing.disk += rest.frames() as u64;
                return;
            };
            let room = parcel.block.capacity() - parcel.block.frames();
            let (part, after) = rest.split_at(room);
            for (plane, &channel) in parcel.block.planes_mut().iter_mut().zip(&self.kept) {
                plane.extend_from_slice(part.channel(channel));
            }
            if parcel.block.frames() < parcel.block.capacity() {
                self.at_hand = Some(parcel);
            } else {
                self.hand_on(parcel);
            }
            self.begun = true;
            rest = after;
        }
    }

    /// Whether the recording has ended, for whatever reason: what is taken then goes nowhere.
    pub fn is_over(&self) -> bool {
        self.flags.over.load(Acquire)
    }

    /// One with room, behind all that is missing.
    fn parcel(&mut self) -> Option<Parcel> {
        if let Some(parcel) = self.at_hand.take() {
            if self.missing == Missing::default() {
                return Some(parcel);
            }
            self.hand_on(parcel);
        }
        let mut parcel = self.empty.try_pop()?;
        parcel.block.restart(FrameCount::ZERO, FrameCount::ZERO);
        parcel.missing = std::mem::take(&mut self.missing);
        Some(parcel)
    }

    fn hand_on(&mut self, parcel: Parcel) {
        // There is a place for every parcel.
        let _ = self.to.try_push(parcel);
    }
}

impl Drop for Recorder {
    fn drop(&mut self) {
        if let Some(parcel) = self.at_hand.take() {
            self.hand_on(parcel);
        }
        self.flags.left.set(self.missing);
        self.flags.ended.store(true, Release);
    }
}
