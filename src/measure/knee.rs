//! Where a decay drowns in noise.
//!
//! In: the squared response of one band, noise energy a sample, where the decay begins. Out: the crossing of the
//! straight decay with the noise, by regression and a few repetitions (A. Lundeby et al., Acustica 81, 1995; named in
//! ISO 3382-1:2009, 5.3.3). Without noise the decay ends where the samples end. No decay above the noise: `None`.

/// Samples of a step of the curve, as a share of a second.
const STEP_SECONDS: f64 = 0.01;
/// Decibels over the noise down to which the line is laid.
const ABOVE: f64 = 6.0;
/// Steps for which it must stay down.
const STAYS: usize = 10;

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Knee {
    /// The sample at which decay and noise are alike.
    pub at: usize,
    /// Energy a sample of the straight decay there.
    pub energy: f64,
    /// Change of the decay's energy a sample, as a natural logarithm: negative.
    pub slope: f64,
    /// The decay ends for another reason than noise: nothing of it is missing.
    pub open: bool,
}

pub(super) fn knee(squares: &[f64], begin: usize, noise: f64, rate: f64) -> Option<Knee> {
    let step = ((STEP_SECONDS * rate) as usize).max(1);
    let energies: Vec<f64> = squares.get(begin..)?.chunks_exact(step).map(mean).collect();
    let top = (0..energies.len()).max_by(|a, b| energies[*a].total_cmp(&energies[*b]))?;
    if energies[top] <= 10.0 * noise || energies[top] <= 0.0 {
        return None;
    }
    let silence = 1e-14 * energies[top];
    let levels: Vec<f64> = energies.iter().map(|energy| energy.max(silence).ln()).collect();
    let floor = noise.max(silence).ln();
    let above = ABOVE * std::f64::consts::LN_10 / 10.0;
    // Between the direct sound and the first reflection there may be nothing: it has drowned once it stays down.
    let down = |at: &usize| mean(&energies[*at..(*at + STAYS).min(energies.len())]) < 2.0 * noise.max(silence);
    let drowned = (top + 1..levels.len()).find(down).unwrap_or(levels.len());
    let mut found = Knee { at: begin + drowned * step, energy: noise, slope: -1e3, open: true };
    let mut end = drowned;
    for _ in 0..4 {
        let from = if end - top > 6 { top + 1 } else { top };
        let Some((level, slope)) = regression(&levels[from..end]).filter(|(_, slope)| *slope < 0.0) else { break };
        let crossing = from as f64 + (floor - level) / slope;
        let last = crossing.clamp((top + 1) as f64, levels.len() as f64);
        let at = (begin + ((last + 0.5) * step as f64) as usize).min(squares.len());
        let energy = (level + slope * (last - from as f64)).exp();
        found = Knee { at, energy, slope: slope / step as f64, open: noise <= silence };
        let again = (from as f64 + (floor + above - level) / slope).ceil();
        let again = (again.max(from as f64 + 3.0) as usize).min(levels.len());
        if again == end {
            break;
        }
        end = again;
    }
    Some(found)
}

/// The lesser of what lies before the direct sound and of the last tenth, if there is enough of either.
pub(super) fn noise(squares: &[f64], from: usize, rate: f64) -> f64 {
    let edge = (0.02 * rate) as usize;
    let least = (0.1 * rate) as usize;
    let before = squares.get(edge..from.saturating_sub(edge)).unwrap_or(&[]);
    let tail = squares.len() - squares.len().saturating_sub(from) / 10;
    let after = squares.get(tail..squares.len().saturating_sub(edge)).unwrap_or(&[]);
    let known = [before, after].into_iter().filter(|part| part.len() >= least).map(mean);
    known.reduce(f64::min).unwrap_or(0.0)
}

pub(super) fn mean(values: &[f64]) -> f64 {
    if values.is_empty() { 0.0 } else { values.iter().sum::<f64>() / values.len() as f64 }
}

/// Value at the first and slope a step of the straight line of least squares.
pub(super) fn regression(values: &[f64]) -> Option<(f64, f64)> {
    let count = values.len() as f64;
    if values.len() < 2 {
        return None;
    }
    let (middle, average) = ((count - 1.0) / 2.0, mean(values));
    let sum: f64 = values.iter().enumerate().map(|(n, value)| (n as f64 - middle) * (value - average)).sum();
    let slope = sum / (count * (count * count - 1.0) / 12.0);
    Some((average - slope * middle, slope))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 60 dB a second falls into noise 40 dB down after two thirds of a second.
    #[test]
    fn an_ideal_decay_meets_its_noise() {
        let rate = 48_000.0;
        let squares: Vec<f64> = (0..96_000).map(|n| 10f64.powf(-6.0 * f64::from(n) / rate) + 1e-4).collect();
        let found = knee(&squares, 0, 1e-4, rate).unwrap();
        assert!((found.at as f64 / rate - 0.667).abs() < 0.03, "{found:?}");
        assert!((found.slope * rate + 6.0 * std::f64::consts::LN_10).abs() < 0.4, "{found:?}");
        assert!(knee(&[1e-4; 9600], 0, 1e-4, rate).is_none());
        assert!(knee(&[], 0, 0.0, rate).is_none());
        assert!(knee(&squares, 99_999, 0.0, rate).is_none());
    }
}
