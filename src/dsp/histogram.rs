//! A histogram of levels that also sums the powers in each bin: means and percentiles of takes of any
//! length in fixed memory.
//!
//! In: powers (mean squares). A percentile is the mean power of its bin, so it errs by less than one
//! bin's width; sums above a threshold err only by the values that share its bin.
//! Powers outside the range count in the first or last bin, with their true power; 0 and NaN are the
//! caller's business and go to the first.

/// Bins from `lowest` dB upwards, `step` dB wide.
#[derive(Clone, Debug)]
pub struct LevelHistogram {
    lowest: f64,
    step: f64,
    bins: Vec<Bin>,
    /// Every `GROUP` bins together, so that sums need not walk all bins.
    groups: Vec<Bin>,
}

/// How many values and the sum of their powers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bin {
    pub count: u64,
    pub power: f64,
}

impl Bin {
    /// `None` without values.
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then(|| self.power / self.count as f64)
    }

    fn add(&mut self, other: Self) {
        self.count += other.count;
        self.power += other.power;
    }
}

const GROUP: usize = 64;

impl LevelHistogram {
    pub fn new(lowest: f64, highest: f64, step: f64) -> Self {
        let groups = (((highest - lowest) / step / GROUP as f64).ceil() as usize).max(1);
        Self { lowest, step, bins: vec![Bin::default(); groups * GROUP], groups: vec![Bin::default(); groups] }
    }

    pub fn add(&mut self, power: f64) {
        let index = self.index(power);
        let one = Bin { count: 1, power };
        self.bins[index].add(one);
        self.groups[index / GROUP].add(one);
    }

    /// All values.
    pub fn total(&self) -> Bin {
        let mut total = Bin::default();
        for group in &self.groups {
            total.add(*group);
        }
        total
    }

    /// Values above `power`; those in its own bin by the mean of that bin.
    pub fn above(&self, power: f64) -> Bin {
        let mut sum = Bin::default();
        if power <= 0.0 {
            return self.total();
        }
        let first = self.first_above(power);
        let group = first.div_ceil(GROUP);
        for bin in &self.bins[first..group * GROUP] {
            sum.add(*bin);
        }
        for group in &self.groups[group..] {
            sum.add(*group);
        }
        sum
    }

    /// The value that `rank` of the values above `floor` lie below.
    pub fn ranked(&self, floor: f64, rank: u64) -> Option<f64> {
        let mut below = 0;
        let mut index = if floor > 0.0 { self.first_above(floor) } else { 0 };
        while index < self.bins.len() {
            if index.is_multiple_of(GROUP) && below + self.groups[index / GROUP].count <= rank {
                below += self.groups[index / GROUP].count;
                index += GROUP;
                continue;
            }
            below += self.bins[index].count;
            if below > rank {
                return self.bins[index].mean();
            }
            index += 1;
        }
        None
    }

    fn index(&self, power: f64) -> usize {
        // A cast saturates: −∞ and NaN give 0.
        (((10.0 * power.log10() - self.lowest) / self.step) as usize).min(self.bins.len() - 1)
    }

    fn first_above(&self, power: f64) -> usize {
        let index = self.index(power);
        let own = self.bins[index].mean().is_some_and(|mean| mean > power);
        index + usize::from(!own)
    }
}

/// The place of percentile `fraction` among `count` sorted values: the nearest whole rank.
pub fn rank(count: u64, fraction: f64) -> u64 {
    (count.saturating_sub(1) as f64 * fraction).round() as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn db(power: f64) -> f64 {
        10.0 * power.log10()
    }

    /// Against sorting, on levels spread over 90 dB.
    #[test]
    fn percentiles_and_sums() {
        let mut powers: Vec<f64> = (0..5000).map(|i| 10f64.powf((i * 7919 % 9000) as f64 / 1000.0 - 8.0)).collect();
        let mut histogram = LevelHistogram::new(-150.0, 30.0, 0.05);
        for &power in &powers {
            histogram.add(power);
        }
        powers.sort_by(f64::total_cmp);
        for fraction in [0.0, 0.1, 0.5, 0.95, 1.0] {
            let rank = rank(powers.len() as u64, fraction);
            let ours = histogram.ranked(0.0, rank).unwrap();
            assert!((db(ours) - db(powers[rank as usize])).abs() < 0.05);
        }
        for threshold in [1e-7, 0.0031, 0.5] {
            let above: Vec<f64> = powers.iter().copied().filter(|&p| p > threshold).collect();
            let ours = histogram.above(threshold);
            assert!((ours.power / above.iter().sum::<f64>() - 1.0).abs() < 0.005);
            let middle = histogram.ranked(threshold, rank(ours.count, 0.5)).unwrap();
            assert!((db(middle) - db(above[above.len() / 2])).abs() < 0.1);
        }
    }

    #[test]
    fn edges() {
        let mut histogram = LevelHistogram::new(-70.0, 20.0, 0.01);
        assert_eq!(histogram.ranked(0.0, 0), None);
        assert_eq!(histogram.above(1.0), Bin::default());
        for power in [0.0, 1e-300, 1e300] {
            histogram.add(power);
        }
        assert_eq!(histogram.total().count, 3);
        assert_eq!(histogram.above(1.0).count, 1);
        assert_eq!(histogram.ranked(0.0, 2), Some(1e300));
        assert_eq!(histogram.ranked(0.0, 3), None);
    }
}
