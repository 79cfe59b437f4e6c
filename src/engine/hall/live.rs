//! A real hall, heard through a device; its desk is moved by hand.

use std::sync::atomic::Ordering::Relaxed;

use super::ears::Ears;
use super::{FRAME, Hall};
use crate::block::BlockBuf;
use crate::coach::ringout::{Band, Output, Place};
use crate::detectors::Ring;
use crate::sink::record::{self, RecordError, RecordPlan, Recorder, Recording};
use crate::source::live::{self, LiveConfig, LiveError, Returning};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Db, FrameCount, Hertz, SampleRate, Seconds};

/// Each waits 20 ms at most.
const READS: usize = 25;

pub struct LiveHall<S = Returning> {
    source: S,
    ears: Ears,
    block: BlockBuf,
    missed: FrameCount,
    recorder: Option<Recorder>,
    failed: Option<String>,
}

impl LiveHall {
    /// A device by name, a part of it, or its id.
    pub fn open(device: &str) -> Result<Self, LiveError> {
        Ok(Self::of(Returning::open(&live::find(device)?, LiveConfig::default())?))
    }

    /// The device's name.
    pub fn name(&self) -> &str {
        self.source.name()
    }

    /// Whether the system may fall asleep meanwhile, as far as is known yet.
    pub fn may_sleep(&self) -> bool {
        self.source.may_sleep().load(Relaxed)
    }
}

impl<S: Source> LiveHall<S> {
    pub fn of(source: S) -> Self {
        let format = source.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(Seconds::new(0.5)).get() as usize);
        Self { source, ears: Ears::new(format), block, missed: FrameCount::ZERO, recorder: None, failed: None }
    }

    /// Records what is heard from now on; the recording before this one ends.
    pub fn record(&mut self, plan: RecordPlan) -> Result<Recording, RecordError> {
        let (recorder, recording) = record::start(self.ears.format(), plan)?;
        self.recorder = Some(recorder);
        Ok(recording)
    }

    fn hear(&mut self) {
        self.missed += self.block.as_block().gap();
        if let Some(recorder) = &mut self.recorder {
            recorder.take(&self.block.as_block());
        }
        self.ears.hear(&self.block);
    }

    pub fn rate(&self) -> SampleRate {
        self.ears.format().rate
    }

    pub fn channels(&self) -> usize {
        self.ears.format().channels
    }
}

impl<S: Source> Hall for LiveHall<S> {
    fn listen(&mut self) -> Option<(Seconds, &[Ring])> {
        let end = self.ears.now() + FRAME;
        // A device that has fallen silent gives nothing: then the old rings are told again, and no time goes by.
        for _ in 0..READS {
            if self.ears.now() >= end {
                break;
            }
            match self.source.read(&mut self.block) {
                Ok(Flow::More) => self.hear(),
                Ok(Flow::End) => return None,
                Err(error) => {
                    self.failed = Some(error.to_string());
                    return None;
                }
            }
        }
        Some((self.ears.now(), self.ears.rings()))
    }

    fn ears(&self) -> Option<&Ears> {
        Some(&self.ears)
    }

    fn ears_mut(&mut self) -> Option<&mut Ears> {
        Some(&mut self.ears)
    }

    fn has_a_desk(&self) -> bool {
        false
    }

    fn lost(&self) -> Option<String> {
        self.failed.clone().or_else(|| self.source.lost())
    }

    fn missed(&self) -> Seconds {
        self.missed.at(self.ears.format().rate)
    }

    fn set_output(&mut self, _: Output, _: Db) {}
    fn set_channel(&mut self, _: ChannelId, _: Db) {}
    fn set_open(&mut self, _: ChannelId, _: bool) {}
    fn set_low_cut(&mut self, _: ChannelId, _: Hertz) {}
    fn set_band(&mut self, _: Place, _: Band, _: Db) {}
}
