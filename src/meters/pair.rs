//! The pair meter: does a quiet channel hold what a louder one holds, and how much later?
//!
//! Looks every 200 ms at the last 170 ms of the two channels it was told to watch, at lags within
//! ±60 ms. Lag in seconds, positive if the quiet one is late; correlation 0 to 1, polarity told beside it
//! ([`crate::dsp::correlate`]). Silence, a gap within the last 200 ms, or a channel that does not exist
//! give no answer.

use crate::dsp::correlate::Correlator;
use crate::units::{ChannelId, SampleRate, Seconds};

use super::readings::PairLag;

const WINDOW: Seconds = Seconds::new(0.17);
const REACH: Seconds = Seconds::new(0.06);
/// Looks at every second frame.
pub(super) const FRAMES: u64 = 2;

pub(super) struct PairMeter {
    rate: SampleRate,
    length: usize,
    correlator: Correlator,
    pub watched: Option<(ChannelId, ChannelId)>,
}

impl PairMeter {
    pub fn new(rate: SampleRate) -> Self {
        let length = window(rate);
        let reach = rate.frames(REACH).get() as usize;
        Self { rate, length, correlator: Correlator::new(length, reach), watched: None }
    }

    /// Compares the ends of the pair's histories.
    pub fn look<'a>(&mut self, history: impl Fn(ChannelId) -> Option<&'a [f32]>) -> Option<PairLag> {
        let (quiet, loud) = self.watched?;
        let end = |channel| {
            let history = history(channel)?;
            history.get(history.len().checked_sub(self.length)?..)
        };
        let found = self.correlator.likeness(end(quiet)?, end(loud)?)?;
        let lag = Seconds::new(found.lag as f64 / f64::from(self.rate.get()));
        Some(PairLag { quiet, loud, lag, correlation: found.correlation, inverted: found.inverted })
    }
}

/// Samples of each channel that it compares.
pub(super) fn window(rate: SampleRate) -> usize {
    rate.frames(WINDOW).get() as usize
}
