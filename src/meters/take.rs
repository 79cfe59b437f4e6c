//! Active level and noise floor of a whole take, in fixed memory however long it is.
//!
//! The rules are those of [`super::activity`], over all frames. Levels are kept in bins of 0.05 dB with
//! their powers, so that floor and loud level err by less than 0.05 dB and A by less than that. Peaks are
//! kept in bins of 0.1 dB by level in rows of 2 dB: P95 is the middle of its bin, within 0.05 dB, for
//! peaks from −80 to +24 dBFS (those beyond count at the ends). Of the row that the threshold cuts, the
//! active share is counted as if its peaks were spread evenly.

use crate::dsp::histogram::{LevelHistogram, rank};
use crate::units::Dbfs;

use super::activity::Levels;
use super::readings::Activity;

const LOWEST: f64 = -200.0;
const HIGHEST: f64 = 40.0;
const STEP: f64 = 0.05;
const ROW_LOWEST: f64 = -100.0;
const ROW_STEP: f64 = 2.0;
const ROWS: usize = 60;
const PEAK_LOWEST: f64 = -80.0;
const PEAK_STEP: f64 = 0.1;
const PEAKS: usize = 1040;
const LOUD: f64 = 0.95;

/// All frames of a channel.
pub(super) struct Take {
    levels: LevelHistogram,
    silent: u64,
    /// How many frames have a level of this row and a 400 ms peak of this column.
    peaks: Vec<u32>,
    newest: f64,
}

impl Take {
    pub fn new() -> Self {
        Self {
            levels: LevelHistogram::new(LOWEST, HIGHEST, STEP),
            silent: 0,
            peaks: vec![0; ROWS * PEAKS],
            newest: 0.0,
        }
    }

    pub fn is_empty(&self) -> bool {
        self.silent + self.levels.total().count == 0
    }

    /// Adds a frame of this mean square and 400 ms true peak.
    pub fn push(&mut self, power: f64, window_peak: f32) {
        self.newest = power;
        if power <= 0.0 {
            self.silent += 1;
            return;
        }
        self.levels.add(power);
        let column = (Dbfs::from_amplitude(f64::from(window_peak)).get() - PEAK_LOWEST) / PEAK_STEP;
        let cell = row(power) * PEAKS + (column as usize).min(PEAKS - 1);
        self.peaks[cell] = self.peaks[cell].saturating_add(1);
    }

    pub fn activity(&self) -> Activity {
        let heard = self.levels.total().count;
        let levels = Levels::from_histogram(|fraction| {
            let rank = rank(self.silent + heard, fraction);
            rank.checked_sub(self.silent).and_then(|rank| self.levels.ranked(0.0, rank)).unwrap_or(0.0)
        });
        let active = self.levels.above(levels.threshold_power());
        let peak = self.peak_95(levels.threshold_power());
        levels.activity(active.count as f64, active.mean().unwrap_or(0.0), peak, self.newest)
    }

    /// As an amplitude; 0 if nothing is active.
    fn peak_95(&self, threshold: f64) -> f64 {
        let first = if threshold > 0.0 { row(threshold) } else { 0 };
        let share = self.active_share(first, threshold);
        let column = |peak: usize| {
            let count = |row: usize| f64::from(self.peaks[row * PEAKS + peak]);
            share * count(first) + (first + 1..ROWS).map(count).sum::<f64>()
        };
        let total: f64 = (0..PEAKS).map(column).sum();
        if total <= 0.0 {
            return 0.0;
        }
        let rank = ((total - 1.0).max(0.0) * LOUD).round();
        let mut below = 0.0;
        let place = (0..PEAKS).find(|&peak| {
            below += column(peak);
            below > rank
        });
        let middle = place.unwrap_or(PEAKS - 1) as f64 + 0.5;
        Dbfs::new(PEAK_LOWEST + middle * PEAK_STEP).amplitude()
    }

    /// How many of the row's frames lie above the threshold, 0 to 1.
    fn active_share(&self, row: usize, threshold: f64) -> f64 {
        let in_row: u64 = self.peaks[row * PEAKS..][..PEAKS].iter().map(|&count| u64::from(count)).sum();
        let above_row = if row + 1 < ROWS {
            self.levels.above(Dbfs::new(ROW_LOWEST + (row + 1) as f64 * ROW_STEP).power()).count
        } else {
            0
        };
        let above = self.levels.above(threshold).count.saturating_sub(above_row);
        (above as f64 / in_row.max(1) as f64).min(1.0)
    }
}

fn row(power: f64) -> usize {
    (((Dbfs::from_power(power).get() - ROW_LOWEST) / ROW_STEP) as usize).min(ROWS - 1)
}

#[cfg(test)]
mod tests {
    use super::super::activity::Recent;
    use super::*;
    use crate::units::Db;

    /// Against the exact meter of the last minute, on 600 frames spread over 70 dB.
    #[test]
    fn agrees_with_the_exact_meter() {
        let (mut take, mut recent) = (Take::new(), Recent::new());
        let mut exact = Activity::default();
        for i in 0..600u32 {
            let level = Dbfs::new(-80.0 + f64::from(i * 7919 % 7000) / 100.0);
            let peak = (level + Db::new(8.0 + f64::from(i * 31 % 97) / 10.0)).amplitude() as f32;
            take.push(level.power(), peak);
            exact = recent.push(level.power(), peak);
        }
        let ours = take.activity();
        let close = |a: Dbfs, b: Dbfs, tolerance: f64| {
            assert!((a - b).abs().get() < tolerance, "{ours:?}\n{exact:?}");
        };
        close(ours.floor.unwrap(), exact.floor.unwrap(), 0.05);
        close(ours.loud, exact.loud, 0.05);
        close(ours.threshold, exact.threshold, 0.05);
        close(ours.active_level, exact.active_level, 0.01);
        close(ours.peak_95, exact.peak_95, 0.06);
        assert!((ours.active_time.get() - exact.active_time.get()).abs() < 0.15);
    }

    #[test]
    fn silence_and_extremes() {
        let mut take = Take::new();
        assert!(take.is_empty() && take.activity().active_level.is_silence());
        (0..100).for_each(|_| take.push(0.0, 0.0));
        assert!(take.activity().active_level.is_silence() && take.activity().peak_95.is_silence());
        take.push(1e24, 1e12);
        take.push(1e-30, 1e-15);
        assert!(!take.activity().active_level.get().is_nan() && !take.is_empty());
    }
}
