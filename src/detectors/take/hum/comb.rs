//! Faint mains lines by their number: a comb laid over the spectrum at every base frequency near the mains'.
//!
//! In: the weighted spectra of the quiet windows. What stands over the geometric mean of 1 to 5 Hz on each side is added up,
//! in dB, at the first eight multiples of a base (no line counts for more than 18 dB); of each frequency the middle window
//! counts. A mains comb wants a sum of 32 dB, 9 dB more than any base from 8 % below to 8 % above that is no mains, and three
//! lines of 6 dB, one of them among the first two. So music that stands where the comb does sets its own threshold.

const MULTIPLES: usize = 8;
const MOST: f64 = 18.0;
const LEAST: f64 = -2.0;
const SUM: f64 = 32.0;
const OVER_OTHERS: f64 = 9.0;
const LINE: f64 = 6.0;
const LINES: usize = 3;
const AROUND: f64 = 0.08;
const GUARD: f64 = 0.006;
const STEP: f64 = 0.01;

/// dB over the surroundings at each bin.
pub(super) struct Comb {
    over: Vec<f64>,
    /// Hz from bin to bin.
    step: f64,
}

impl Comb {
    pub fn of(spectra: &[Vec<f32>], step: f64, beside: (f64, f64), highest: f64) -> Self {
        let bins = ((highest / step) as usize).min(spectra.first().map_or(0, Vec::len));
        let (near, far) = ((beside.0 / step) as usize, (beside.1 / step) as usize);
        let over: Vec<Vec<f64>> = spectra.iter().map(|spectrum| over(&spectrum[..bins], near, far)).collect();
        let mut at_once = vec![0.0; over.len()];
        let middle = |bin: usize| {
            at_once.iter_mut().zip(&over).for_each(|(value, window)| *value = window[bin]);
            at_once.sort_unstable_by(f64::total_cmp);
            at_once.get(at_once.len().saturating_sub(1) / 2).copied().unwrap_or(0.0)
        };
        Self { over: (0..bins).map(middle).collect(), step }
    }

    /// The orders and frequencies of the lines of a comb within `reach` of `base`, if there is one.
    pub fn lines(&self, base: f64, reach: f64) -> Option<Vec<(usize, f64)>> {
        let steps = |from: f64, to: f64, step: f64| {
            (0..=((to - from) / step) as usize).map(move |index| from + index as f64 * step)
        };
        let own = steps(base * (1.0 - reach), base * (1.0 + reach), STEP);
        let best = own.max_by(|a, b| self.sum(*a).total_cmp(&self.sum(*b)))?;
        let others = steps(base * (1.0 - AROUND), base * (1.0 + AROUND), 2.0 * STEP)
            .filter(|other| (other / base - 1.0).abs() > GUARD)
            .map(|other| self.sum(other))
            .fold(0.0, f64::max);
        let sum = self.sum(best);
        let lines = (1..=MULTIPLES).filter(|&order| self.at(best, order) >= LINE).count();
        let low = (1..=2).any(|order| self.at(best, order) >= LINE);
        let comb = sum >= SUM && sum >= others + OVER_OTHERS && lines >= LINES && low;
        let orders = || (1..=MULTIPLES).filter(|&order| self.at(best, order) >= LINE);
        comb.then(|| orders().map(|order| (order, self.top(best * order as f64))).collect())
    }

    fn sum(&self, base: f64) -> f64 {
        (1..=MULTIPLES).map(|order| self.at(base, order).clamp(LEAST, MOST)).sum()
    }

    /// The highest place within three bins, by a parabola.
    fn top(&self, hertz: f64) -> f64 {
        let bin = (hertz / self.step).round() as usize;
        let near = bin.saturating_sub(3).max(1)..(bin + 4).min(self.over.len().saturating_sub(1));
        let Some(top) = near.max_by(|&a, &b| self.over[a].total_cmp(&self.over[b])) else { return hertz };
        let [left, here, right] = [self.over[top - 1], self.over[top], self.over[top + 1]];
        let bend = left - 2.0 * here + right;
        let part = if bend < 0.0 { (0.5 * (left - right) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        (top as f64 + part) * self.step
    }

    fn at(&self, base: f64, order: usize) -> f64 {
        self.over.get((base * order as f64 / self.step).round() as usize).copied().unwrap_or(0.0)
    }
}

fn over(spectrum: &[f32], near: usize, far: usize) -> Vec<f64> {
    let logs: Vec<f64> = spectrum.iter().map(|power| 10.0 * f64::from(power.max(1e-30)).log10()).collect();
    let mut sums = vec![0.0];
    for log in &logs {
        sums.push(sums[sums.len() - 1] + log);
    }
    let mean = |bin: usize| {
        let left = (bin.saturating_sub(far), bin.saturating_sub(near));
        let right = ((bin + near).min(logs.len()), (bin + far).min(logs.len()));
        let count = left.1 - left.0 + right.1 - right.0;
        (sums[left.1] - sums[left.0] + sums[right.1] - sums[right.0]) / count.max(1) as f64
    };
    (0..logs.len()).map(|bin| logs[bin] - mean(bin)).collect()
}
