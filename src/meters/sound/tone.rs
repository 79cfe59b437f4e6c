//! The frequency of what stands in the third-octave around 1 kHz, by its rising crossings of zero.
//!
//! In: that band's output, stretch by stretch. Between two samples the crossing is found on a straight line, which for a
//! tone of 1 kHz errs by less than 0.1 %. Fewer than two crossings, or a hole between them, tell nothing.

use crate::units::{Hertz, SampleRate};

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Crossings {
    last: f64,
    /// Samples of this stretch so far.
    at: f64,
    first: Option<f64>,
    latest: f64,
    count: u32,
}

impl Crossings {
    pub fn add(&mut self, samples: &[f64]) {
        for &sample in samples {
            if self.last < 0.0 && sample >= 0.0 {
                let when = self.at - sample / (sample - self.last);
                match self.first {
                    None => self.first = Some(when),
                    Some(_) => self.count += 1,
                }
                self.latest = when;
            }
            self.last = sample;
            self.at += 1.0;
        }
    }

    /// The frequency in the stretch; begins the next one.
    pub fn take(&mut self, rate: SampleRate) -> Option<Hertz> {
        let span = self.latest - self.first.unwrap_or(self.latest);
        let frequency =
            (self.count > 0 && span > 0.0).then(|| Hertz::new(f64::from(self.count) * f64::from(rate.get()) / span));
        *self = Self { last: self.last, ..Self::default() };
        frequency
    }
}
