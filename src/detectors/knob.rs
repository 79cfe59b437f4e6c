//! Was a gain knob turned, on which channel, by how much?
//!
//! Input: complete 100 ms frames. A knob moves every third-octave band of its channel alike, the noise
//! between the notes and beside them included; a performer who plays louder or stops does not. So: each
//! band's quiet level (20th percentile) over the 6 s before the request and over the last 2 s; bands that
//! hardly vary weigh most. The weighted median of the differences is the turn; it is *sure* if most of the
//! weight agrees with it. Own construction, unpublished; checked on the simulated stage. Bands of exact
//! silence are left out.

use crate::meters::{BANDS, Frame};
use crate::units::Db;

const BEFORE: usize = 60;
const AFTER: usize = 20;
/// Low, middle and high percentile of a band's levels: where it stands, and how much it varies.
const QUANTILES: [f64; 3] = [0.05, 0.2, 0.45];
/// The least turn that is believed.
const LEAST: Db = Db::new(1.5);
/// A band agrees within this, or within a quarter of the turn if that is more.
const AGREES_DB: f64 = 1.5;
const AGREES_SHARE: f64 = 0.25;
/// This share of the weight must agree.
const MOST: f64 = 0.7;
/// What a steady noise varies by within 100 ms frames, in dB: no band weighs more than one like that.
const STEADY_NOISE_DB: f64 = 1.0;
/// The estimate must have stood within this over this many frames.
const STEADY_DB: f64 = 0.8;
const STEADY_FRAMES: usize = 10;
const FEWEST_BANDS: usize = 8;

/// Watches one channel's knob.
#[derive(Clone, Debug)]
pub struct Knob {
    /// The last frames' bands in dB, a ring.
    ring: Vec<[f32; BANDS]>,
    /// The same frames' level in dB.
    levels: Vec<f32>,
    next: usize,
    filled: usize,
    before: [Quiet; BANDS],
    loud_before: f32,
    since: Option<usize>,
    /// The last estimates, newest last; NaN where the bands did not move alike.
    estimates: [f64; STEADY_FRAMES],
}

/// A guess at a turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    pub by: Db,
    /// The share of the evidence that agrees with it, 0 to 1.
    pub agree: f64,
}

impl Estimate {
    /// Most of the evidence agrees that the knob stands where it stood.
    pub fn is_surely_none(&self) -> bool {
        self.agree >= MOST && self.by.abs() < LEAST
    }
}

/// A band between the notes, in dB.
#[derive(Clone, Copy, Debug)]
struct Quiet {
    level: f32,
    varies: f32,
}

impl Quiet {
    const NOTHING: Self = Self { level: f32::NEG_INFINITY, varies: 0.0 };
}

impl Default for Knob {
    fn default() -> Self {
        Self {
            ring: vec![[f32::NEG_INFINITY; BANDS]; BEFORE],
            levels: vec![f32::NEG_INFINITY; BEFORE],
            next: 0,
            filled: 0,
            before: [Quiet::NOTHING; BANDS],
            loud_before: f32::NEG_INFINITY,
            since: None,
            estimates: [f64::NAN; STEADY_FRAMES],
        }
    }
}

impl Knob {
    /// A complete frame.
    pub fn observe(&mut self, frame: &Frame) {
        self.ring[self.next] = frame.bands.map(|power| 10.0 * power.log10());
        self.levels[self.next] = frame.rms.get() as f32;
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
        let known = self.filled >= AFTER;
        self.before = if known { self.quiet_levels(self.filled) } else { [Quiet::NOTHING; BANDS] };
        self.loud_before = if known { self.loud_level() } else { f32::NEG_INFINITY };
        self.since = Some(0);
        self.estimates = [f64::NAN; STEADY_FRAMES];
    }

    /// The knob was turned: what stood before says nothing about the next turn.
    pub fn forget(&mut self) {
        self.filled = 0;
        self.since = None;
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

    /// The best guess at the turn by the sound between the notes of the last `frames`, however unsure.
    pub fn estimate(&self, frames: usize) -> Option<Estimate> {
        self.since?;
        self.shift(frames).map(|(by, agree)| Estimate { by: Db::new(by), agree })
    }

    /// How much louder the notes are: a turn, or the performer.
    pub fn louder(&self) -> Option<Db> {
        let louder = self.loud_level() - self.loud_before;
        louder.is_finite().then(|| Db::new(f64::from(louder)))
    }

    /// The 90th percentile of the last frames' levels.
    fn loud_level(&self) -> f32 {
        let mut levels = [f32::NEG_INFINITY; BEFORE];
        for (back, level) in levels[..self.filled].iter_mut().enumerate() {
            *level = self.levels[(self.next + BEFORE - 1 - back) % BEFORE];
        }
        let levels = &mut levels[..self.filled];
        levels.sort_unstable_by(f32::total_cmp);
        levels.get(self.filled * 9 / 10).copied().unwrap_or(f32::NEG_INFINITY)
    }

    fn judge(&mut self) {
        let shift = self.shift(AFTER);
        self.estimates.rotate_left(1);
        self.estimates[STEADY_FRAMES - 1] = shift.filter(|&(_, agree)| agree >= MOST).map_or(f64::NAN, |(by, _)| by);
    }

    /// The weighted median shift of the bands, and the share of the weight that agrees with it.
    fn shift(&self, frames: usize) -> Option<(f64, f64)> {
        let after = self.quiet_levels(frames);
        let mut shifts = [(0.0, 0.0); BANDS];
        let mut count = 0;
        for (before, after) in self.before.iter().zip(after) {
            if before.level.is_finite() && after.level.is_finite() {
                let varies = f64::from(before.varies.max(after.varies)).max(STEADY_NOISE_DB);
                shifts[count] = (f64::from(after.level - before.level), 1.0 / (varies * varies));
                count += 1;
            }
        }
        if count < FEWEST_BANDS {
            return None;
        }
        let shifts = &mut shifts[..count];
        shifts.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = shifts.iter().map(|shift| shift.1).sum();
        let mut below = 0.0;
        let middle = shifts.iter().find(|shift| {
            below += shift.1;
            below >= total / 2.0
        })?;
        let within = AGREES_DB.max(AGREES_SHARE * middle.0.abs());
        let agree: f64 = shifts.iter().filter(|shift| (shift.0 - middle.0).abs() <= within).map(|shift| shift.1).sum();
        Some((middle.0, agree / total))
    }

    /// Each band between the notes, over the last `frames`.
    fn quiet_levels(&self, frames: usize) -> [Quiet; BANDS] {
        let frames = frames.min(self.filled);
        let mut levels = [Quiet::NOTHING; BANDS];
        if frames == 0 {
            return levels;
        }
        for (band, quiet) in levels.iter_mut().enumerate() {
            let mut values = [0f32; BEFORE];
            for (back, value) in values[..frames].iter_mut().enumerate() {
                *value = self.ring[(self.next + BEFORE - 1 - back) % BEFORE][band];
            }
            let values = &mut values[..frames];
            values.sort_unstable_by(f32::total_cmp);
            let [low, level, high] =
                QUANTILES.map(|quantile| values[((frames - 1) as f64 * quantile).round() as usize]);
            *quiet = Quiet { level, varies: if low.is_finite() { high - low } else { f32::INFINITY } };
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
