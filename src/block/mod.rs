//! The currency between sources and meters: planar `f32` samples, 1.0 = full scale.
//!
//! Time is the frame count. A gap (frames that the device lost, a reopened stream) is a value of the
//! block that follows it, so that a meter can hold or start anew. Names only `units`.

use crate::units::{FrameCount, SampleRate};

/// Rate and channel count of a source, fixed for its life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Format {
    pub rate: SampleRate,
    /// 1 to 64.
    pub channels: usize,
}

/// A stretch of samples, borrowed.
#[derive(Clone, Copy, Debug)]
pub struct Block<'a> {
    planes: &'a [Vec<f32>],
    from: usize,
    to: usize,
    start: FrameCount,
    gap: FrameCount,
}

impl<'a> Block<'a> {
    /// `planes` holds one equally long vector per channel.
    pub fn new(planes: &'a [Vec<f32>], start: FrameCount, gap: FrameCount) -> Self {
        let to = planes.first().map_or(0, Vec::len);
        debug_assert!(planes.iter().all(|plane| plane.len() == to));
        Self { planes, from: 0, to, start, gap }
    }

    pub fn channels(&self) -> usize {
        self.planes.len()
    }

    pub fn frames(&self) -> usize {
        self.to - self.from
    }

    /// Where its first frame stands since the source began, lost frames included.
    pub fn start(&self) -> FrameCount {
        self.start
    }

    /// Frames lost just before it.
    pub fn gap(&self) -> FrameCount {
        self.gap
    }

    pub fn channel(&self, index: usize) -> &'a [f32] {
        &self.planes[index][self.from..self.to]
    }

    /// The first `frames` of it and the rest; the gap stays with the first part.
    pub fn split_at(&self, frames: usize) -> (Self, Self) {
        let cut = (self.from + frames).min(self.to);
        let rest_start = self.start + FrameCount::new((cut - self.from) as u64);
        (Self { to: cut, ..*self }, Self { from: cut, start: rest_start, gap: FrameCount::ZERO, ..*self })
    }
}

/// Owned planar samples that a source fills, allocated once.
#[derive(Clone, Debug)]
pub struct BlockBuf {
    planes: Vec<Vec<f32>>,
    capacity: usize,
    start: FrameCount,
    gap: FrameCount,
}

impl BlockBuf {
    pub fn new(channels: usize, capacity: usize) -> Self {
        let planes = (0..channels).map(|_| Vec::with_capacity(capacity)).collect();
        Self { planes, capacity, start: FrameCount::ZERO, gap: FrameCount::ZERO }
    }

    /// Frames it may hold without allocating.
    pub fn capacity(&self) -> usize {
        self.capacity
    }

    pub fn channels(&self) -> usize {
        self.planes.len()
    }

    pub fn frames(&self) -> usize {
        self.planes.first().map_or(0, Vec::len)
    }

    pub fn is_empty(&self) -> bool {
        self.frames() == 0
    }

    /// Empties it for the frames that begin at `start`, after `gap` lost ones.
    pub fn restart(&mut self, start: FrameCount, gap: FrameCount) {
        for plane in &mut self.planes {
            plane.clear();
        }
        self.start = start;
        self.gap = gap;
    }

    /// Appends whole frames; the caller keeps within the capacity.
    pub fn push_interleaved(&mut self, samples: &[f32]) {
        let channels = self.planes.len();
        debug_assert_eq!(samples.len() % channels, 0);
        debug_assert!(self.frames() + samples.len() / channels <= self.capacity);
        for (channel, plane) in self.planes.iter_mut().enumerate() {
            plane.extend(samples.iter().skip(channel).step_by(channels));
        }
    }

    /// The planes to fill in place; every one must end equally long.
    pub fn planes_mut(&mut self) -> &mut [Vec<f32>] {
        &mut self.planes
    }

    pub fn as_block(&self) -> Block<'_> {
        Block::new(&self.planes, self.start, self.gap)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn interleaved_frames_go_to_their_planes_and_none_is_none() {
        let mut block = BlockBuf::new(3, 4);
        block.push_interleaved(&[]);
        assert!(block.is_empty());
        block.push_interleaved(&[1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
        assert_eq!(block.as_block().channel(1), [2.0, 5.0]);
    }
}
