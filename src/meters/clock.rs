//! The grid of time: hops of 10 ms, frames of ten hops, counted anew in each stretch without a gap.
//!
//! Hop k of a stretch ends floor((k + 1) · rate / 100) samples after its start, so that hops of 110 and
//! 111 samples take turns at 11.025 kHz. Only whole hops are measured: results cannot depend on how the
//! samples were cut into blocks.

use crate::units::SampleRate;

/// Hops in a frame.
pub(super) const HOPS_PER_FRAME: u64 = 10;
const HOPS_PER_SECOND: u64 = 100;

/// Where in the grid the next sample stands.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clock {
    rate: u64,
    /// Complete hops of this stretch.
    hops: u64,
    /// Samples of this stretch.
    samples: u64,
}

/// The samples of one hop within its frame, `from..to`.
#[derive(Clone, Copy, Debug)]
pub(super) struct HopSpan {
    pub from: usize,
    pub to: usize,
    /// Samples from the start of the stretch to its end.
    pub end: u64,
    /// Whether it is the first of the stretch.
    pub first: bool,
    /// Its number in the stretch, from 0.
    pub number: u64,
    pub completes_frame: bool,
}

impl Clock {
    pub fn new(rate: SampleRate) -> Self {
        Self { rate: u64::from(rate.get()), hops: 0, samples: 0 }
    }

    /// Begins a new stretch.
    pub fn restart(&mut self) {
        self.hops = 0;
        self.samples = 0;
    }

    /// Samples still missing to the end of the hop.
    pub fn missing(&self) -> usize {
        (self.end_of(self.hops) - self.samples) as usize
    }

    /// Samples of the unfinished hop.
    pub fn pending(&self) -> usize {
        (self.samples - self.start_of(self.hops)) as usize
    }

    /// Samples of the unfinished frame: where in it the next sample goes.
    pub fn in_frame(&self) -> usize {
        (self.samples - self.start_of(self.hops / HOPS_PER_FRAME * HOPS_PER_FRAME)) as usize
    }

    /// Counts `samples`, at most the missing ones; gives the hop that they complete.
    pub fn advance(&mut self, samples: usize) -> Option<HopSpan> {
        self.samples += samples as u64;
        (self.missing() == 0).then(|| self.close())
    }

    /// Ends the hop where it stands, complete or not.
    pub fn close(&mut self) -> HopSpan {
        let from = self.in_frame() - self.pending();
        let span = HopSpan {
            from,
            to: self.in_frame(),
            end: self.samples,
            first: self.hops == 0,
            number: self.hops,
            completes_frame: self.hops % HOPS_PER_FRAME == HOPS_PER_FRAME - 1,
        };
        self.hops += 1;
        span
    }

    /// Samples in the `hops` hops that end with hop `number`.
    pub fn samples_of(rate: SampleRate, number: u64, hops: u64) -> usize {
        let clock = Self::new(rate);
        (clock.end_of(number) - clock.end_of(number - hops)) as usize
    }

    fn start_of(&self, hop: u64) -> u64 {
        hop * self.rate / HOPS_PER_SECOND
    }

    fn end_of(&self, hop: u64) -> u64 {
        self.start_of(hop + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hops_of_a_second() {
        for hz in [8_000, 11_025, 44_100, 48_000, 192_000] {
            let mut clock = Clock::new(SampleRate::new(hz).unwrap());
            let (mut frames, mut end) = (0, 0);
            for hop in 0..100u64 {
                let missing = clock.missing();
                assert!(clock.advance(missing - 1).is_none());
                let span = clock.advance(1).unwrap();
                assert_eq!(span.end, (hop + 1) * u64::from(hz) / 100);
                assert_eq!(span.to - span.from, missing);
                assert_eq!(span.from == 0, hop % 10 == 0);
                frames += u64::from(span.completes_frame);
                end = span.end;
            }
            assert_eq!((frames, end), (10, u64::from(hz)));
        }
    }
}
