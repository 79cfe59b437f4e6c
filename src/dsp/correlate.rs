//! How two stretches of sound resemble each other at every lag: normalised cross-correlation by one
//! Fourier transform each way.
//!
//! In: two equally long slices of amplitudes, their means removed here. Out: the lag in samples at which
//! the magnitude of the correlation is largest, that magnitude, 0 to 1, and whether it is negative there. Each lag is normalised by the
//! energies of the parts that overlap at it. A held note repeats itself: of peaks within half a per cent of the highest the
//! one nearest to no lag is taken. Silence on either side correlates with nothing: `None`.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// A peak this close to the highest is as good.
const AS_GOOD: f64 = 0.995;

/// Plans and working memory for one length.
pub struct Correlator {
    length: usize,
    reach: usize,
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
    planes: [Vec<f32>; 2],
    spectra: [Vec<Complex<f32>>; 2],
    scratch: Vec<Complex<f32>>,
    /// Energies of the first n samples.
    energies: [Vec<f64>; 2],
    /// By lag, from the earliest on.
    correlations: Vec<f64>,
}

/// Where two signals are most alike.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Likeness {
    /// How many samples later the first has what the second had.
    pub lag: isize,
    /// Magnitude of the normalised correlation.
    pub correlation: f64,
    /// One is the other upside down.
    pub inverted: bool,
}

impl Correlator {
    /// For slices of `length` samples and lags up to `reach` either way.
    pub fn new(length: usize, reach: usize) -> Self {
        let padded = (length + reach + 1).next_power_of_two();
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(padded);
        let inverse = planner.plan_fft_inverse(padded);
        let scratch = vec![Complex::default(); forward.get_scratch_len().max(inverse.get_scratch_len())];
        let reach = reach.min(length.saturating_sub(1));
        Self {
            length,
            reach,
            correlations: vec![0.0; 2 * reach + 1],
            planes: [forward.make_input_vec(), forward.make_input_vec()],
            spectra: [forward.make_output_vec(), forward.make_output_vec()],
            energies: [vec![0.0; length + 1], vec![0.0; length + 1]],
            forward,
            inverse,
            scratch,
        }
    }

    /// Compares `first` with `second`; both as long as planned, else `None`.
    pub fn likeness(&mut self, first: &[f32], second: &[f32]) -> Option<Likeness> {
        if first.len() != self.length || second.len() != self.length {
            return None;
        }
        for (side, samples) in [first, second].into_iter().enumerate() {
            self.load(side, samples)?;
        }
        let [a, b] = &mut self.spectra;
        for (a, b) in a.iter_mut().zip(b.iter()) {
            *a *= b.conj();
        }
        // The inverse refuses an imaginary part, however small, where a real signal has none.
        if let [start, .., end] = a.as_mut_slice() {
            start.im = 0.0;
            end.im = 0.0;
        }
        let scale = 1.0 / self.planes[0].len() as f64;
        self.inverse.process_with_scratch(a, &mut self.planes[0], &mut self.scratch).ok()?;
        self.best(scale)
    }

    /// Transforms one side; `None` if it is silent.
    fn load(&mut self, side: usize, samples: &[f32]) -> Option<()> {
        let mean = (samples.iter().map(|&x| f64::from(x)).sum::<f64>() / samples.len() as f64) as f32;
        let peak = samples.iter().fold(0f32, |peak, x| peak.max((x - mean).abs()));
        if peak <= 0.0 {
            return None;
        }
        // Scaled to a peak of 1, so that products of tiny or huge samples stay within `f32`.
        let scale = 1.0 / peak;
        let (plane, energies) = (&mut self.planes[side], &mut self.energies[side]);
        let mut energy = 0.0;
        for (i, &sample) in samples.iter().enumerate() {
            let value = (sample - mean) * scale;
            plane[i] = value;
            energy += f64::from(value) * f64::from(value);
            energies[i + 1] = energy;
        }
        plane[samples.len()..].fill(0.0);
        self.forward.process_with_scratch(plane, &mut self.spectra[side], &mut self.scratch).ok()
    }

    fn best(&mut self, scale: f64) -> Option<Likeness> {
        let reach = self.reach as isize;
        for lag in -reach..=reach {
            self.correlations[(lag + reach) as usize] = self.at(lag, scale).abs();
        }
        let best = self.correlations.iter().fold(0.0, |best: f64, &value| best.max(value));
        let value = |lag: isize| self.correlations.get((lag + reach) as usize).copied().unwrap_or(0.0);
        let is_peak = |lag: &isize| value(*lag) >= value(lag - 1) && value(*lag) >= value(lag + 1);
        let lag = (-reach..=reach)
            .filter(|&lag| value(lag) >= best * AS_GOOD)
            .filter(is_peak)
            .min_by_key(|lag| lag.unsigned_abs())?;
        let inverted = self.at(lag, scale) < 0.0;
        (best > 0.0).then(|| Likeness { lag, correlation: value(lag).min(1.0), inverted })
    }

    /// The normalised correlation at one lag.
    fn at(&self, lag: isize, scale: f64) -> f64 {
        let (products, [first, second]) = (&self.planes[0], &self.energies);
        let shift = lag.unsigned_abs();
        let overlap = self.length - shift;
        let (late, early) = if lag >= 0 { (first, second) } else { (second, first) };
        let energy = (late[self.length] - late[shift]) * early[overlap];
        let product = f64::from(products[if lag >= 0 { shift } else { products.len() - shift }]) * scale;
        if energy > 0.0 { product / energy.sqrt() } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(length: usize, mut seed: u32) -> Vec<f32> {
        (0..length)
            .map(|_| {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (seed >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect()
    }

    #[test]
    fn finds_a_delayed_copy() {
        let sound = noise(2000, 1);
        let mut correlator = Correlator::new(1500, 400);
        for lag in [0isize, 1, 57, 400, -33, -400] {
            let first = &sound[400..1900];
            let start = (400 + lag) as usize;
            let second = &sound[start.min(500)..start.min(500) + 1500];
            let lag = start.min(500) as isize - 400;
            let quiet: Vec<f32> = first.iter().map(|x| -0.01 * x + 0.3).collect();
            let found = correlator.likeness(&quiet, second).unwrap();
            assert_eq!(found.lag, lag);
            assert!(found.correlation > 0.999 && found.inverted, "{found:?}");
            let upright = correlator.likeness(first, second).unwrap();
            assert_eq!((upright.lag, upright.inverted), (lag, false));
        }
    }

    #[test]
    fn strangers_and_silence() {
        let mut correlator = Correlator::new(1500, 400);
        assert!(correlator.likeness(&noise(1500, 1), &noise(1500, 2)).unwrap().correlation < 0.2);
        assert_eq!(correlator.likeness(&[0.0; 1500], &noise(1500, 2)), None);
        assert_eq!(correlator.likeness(&noise(1500, 2), &[0.5; 1500]), None);
        assert_eq!(correlator.likeness(&[], &[]), None);
    }
}
