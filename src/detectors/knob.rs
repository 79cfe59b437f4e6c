//! Was a gain knob turned, on which channel, by how much?
//!
//! Input: complete 100 ms frames. A knob moves every third-octave band of its channel alike, the noise
//! between the notes included; a performer who plays louder or stops does not. So: each band's quiet level
//! (20th percentile) over the 6 s before the request, and over the last 2 s; their differences' median is
//! the turn, and the spread over the bands tells whether it was one. Own construction, unpublished; checked on the
//! simulated stage. Bands of exact silence are left out.

use crate::meters::{BANDS, Frame};
use crate::units::Db;

const BEFORE: usize = 60;
const AFTER: usize = 20;
const QUANTILE: f64 = 0.2;
/// The least turn that is believed.
const LEAST: Db = Db::new(1.5);
/// Between the quartiles of the bands: this, or a third of the turn if that is more.
const SPREAD_DB: f64 = 2.5;
const SPREAD_SHARE: f64 = 0.35;
/// The estimate must have stood within this over this many frames.
const STEADY_DB: f64 = 0.8;
const STEADY_FRAMES: usize = 10;
const FEWEST_BANDS: usize = 10;

/// Watches one channel's knob.
#[derive(Clone, Debug)]
pub struct Knob {
    /// The last frames' bands in dB, a ring.
    ring: Vec<[f32; BANDS]>,
    next: usize,
    filled: usize,
    before: [f32; BANDS],
    since: Option<usize>,
    /// The last estimates, newest last; NaN where the bands did not move alike.
    estimates: [f64; STEADY_FRAMES],
}

impl Default for Knob {
    fn default() -> Self {
        Self {
            ring: vec![[f32::NEG_INFINITY; BANDS]; BEFORE],
            next: 0,
            filled: 0,
            before: [f32::NEG_INFINITY; BANDS],
            since: None,
            estimates: [f64::NAN; STEADY_FRAMES],
        }
    }
}

impl Knob {
    /// A complete frame.
    pub fn observe(&mut self, frame: &Frame) {
        self.ring[self.next] = frame.bands.map(|power| 10.0 * power.log10());
        self.next = (self.next + 1) % BEFORE;
        self.filled = (self.filled + 1).min(BEFORE);
        if let Some(since) = &mut self.since {
            *since += 1;
            if *since >= AFTER {
                self.judge();
            }
        }
    }

    /// From here on a turn is looked for.
    pub fn expect_turn(&mut self) {
        self.before = self.quiet_levels(self.filled);
        self.since = Some(0);
        self.estimates = [f64::NAN; STEADY_FRAMES];
    }

    /// Stops looking.
    pub fn rest(&mut self) {
        self.since = None;
    }

    /// Where the knob stands now against where it stood at `expect_turn`, once that is steady.
    pub fn offset(&self) -> Option<Db> {
        self.since?;
        let least = self.estimates.iter().copied().reduce(f64::min)?;
        let most = self.estimates.iter().copied().reduce(f64::max)?;
        let known = self.estimates.iter().all(|estimate| estimate.is_finite());
        (known && most - least < STEADY_DB).then(|| Db::new(self.estimates[STEADY_FRAMES - 1]))
    }

    /// The turn since `expect_turn`, once it stands steady and is wide enough to be believed.
    pub fn turned(&self) -> Option<Db> {
        self.offset().filter(|by| by.abs() >= LEAST)
    }

    fn judge(&mut self) {
        self.estimates.rotate_left(1);
        self.estimates[STEADY_FRAMES - 1] = self.shift().unwrap_or(f64::NAN);
    }

    /// The common shift of the bands; `None` if they do not move alike.
    fn shift(&self) -> Option<f64> {
        let after = self.quiet_levels(AFTER);
        let mut shifts = [0f32; BANDS];
        let mut count = 0;
        for (before, after) in self.before.iter().zip(after) {
            if before.is_finite() && after.is_finite() {
                shifts[count] = after - before;
                count += 1;
            }
        }
        if count < FEWEST_BANDS {
            return None;
        }
        let shifts = &mut shifts[..count];
        shifts.sort_unstable_by(f32::total_cmp);
        let median = f64::from(shifts[count / 2]);
        let spread = f64::from(shifts[count * 3 / 4] - shifts[count / 4]);
        (spread <= SPREAD_DB.max(SPREAD_SHARE * median.abs())).then_some(median)
    }

    /// Each band's 20th percentile over the last `frames`.
    fn quiet_levels(&self, frames: usize) -> [f32; BANDS] {
        let frames = frames.min(self.filled);
        let mut levels = [f32::NEG_INFINITY; BANDS];
        if frames == 0 {
            return levels;
        }
        let rank = ((frames - 1) as f64 * QUANTILE).round() as usize;
        for (band, level) in levels.iter_mut().enumerate() {
            let mut values = [0f32; BEFORE];
            for (back, value) in values[..frames].iter_mut().enumerate() {
                *value = self.ring[(self.next + BEFORE - 1 - back) % BEFORE][band];
            }
            *level = *values[..frames].select_nth_unstable_by(rank, f32::total_cmp).1;
        }
        levels
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise in every band with a fixed pseudo-random wobble of ±2 dB, plus a note in one.
    fn frame(step: usize, gain_db: f64, note: f32) -> Frame {
        let mut bands = [0f32; BANDS];
        for (band, power) in bands.iter_mut().enumerate() {
            let wobble = ((step * 31 + band * 17) % 41) as f64 / 10.0 - 2.0;
            *power = 10f64.powf((-70.0 + gain_db + wobble) / 10.0) as f32;
        }
        bands[14] += note * 10f64.powf(gain_db / 10.0) as f32;
        Frame { bands, ..Frame::default() }
    }

    fn turn_of(gain_db: f64, note_after: f32) -> Option<Db> {
        let mut knob = Knob::default();
        (0..60).for_each(|step| knob.observe(&frame(step, 0.0, 1e-3)));
        knob.expect_turn();
        let mut found = None;
        for step in 60..120 {
            knob.observe(&frame(step, if step > 80 { gain_db } else { 0.0 }, note_after));
            found = found.or(knob.turned());
        }
        found
    }

    #[test]
    fn a_turned_knob_moves_every_band() {
        for by in [-10.0, -3.0, 3.0, 8.0] {
            let found = turn_of(by, 1e-3).expect("a turn").get();
            assert!((found - by).abs() < 1.0, "{found} for {by}");
        }
    }

    #[test]
    fn a_louder_or_silent_performer_is_no_turn() {
        assert_eq!(turn_of(0.0, 1e-1), None);
        assert_eq!(turn_of(0.0, 0.0), None);
    }
}
