//! Whole transforms of real signals in double precision, out of place.
//!
//! `spectrum` pads with zeros to `length`, which [`fit`] makes one that is quick to transform; `signal` undoes it, scale and
//! all. Lengths below 2 are taken as 2. The spectrum has `length / 2 + 1` bins, `rate / length` hertz apart.

use std::cell::RefCell;
use std::sync::Arc;

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::num_complex::Complex;

thread_local! {
    /// Plans of a million lags take as long to make as to use.
    static PLANS: RefCell<RealFftPlanner<f64>> = RefCell::new(RealFftPlanner::new());
}

fn forward(length: usize) -> Arc<dyn RealToComplex<f64>> {
    PLANS.with_borrow_mut(|plans| plans.plan_fft_forward(length))
}

fn back(length: usize) -> Arc<dyn ComplexToReal<f64>> {
    PLANS.with_borrow_mut(|plans| plans.plan_fft_inverse(length))
}

/// The next length that is a power of two or three times one.
pub fn fit(length: usize) -> usize {
    let twos = length.next_power_of_two();
    if length <= twos / 4 * 3 { twos / 4 * 3 } else { twos }
}

pub fn spectrum(samples: &[f64], length: usize) -> Vec<Complex<f64>> {
    let length = length.max(2);
    let plan = forward(length);
    let mut time = vec![0.0; length];
    let taken = samples.len().min(length);
    time[..taken].copy_from_slice(&samples[..taken]);
    let mut bins = plan.make_output_vec();
    let done = plan.process(&mut time, &mut bins);
    debug_assert!(done.is_ok(), "the buffers were made for this plan");
    bins
}

pub fn signal(mut bins: Vec<Complex<f64>>, length: usize) -> Vec<f64> {
    let length = length.max(2);
    let plan = back(length);
    bins.resize(length / 2 + 1, Complex::default());
    // A real signal has nothing imaginary at both ends.
    bins[0].im = 0.0;
    if length.is_multiple_of(2) {
        bins[length / 2].im = 0.0;
    }
    let mut time = plan.make_output_vec();
    let done = plan.process(&mut bins, &mut time);
    debug_assert!(done.is_ok(), "the buffers were made for this plan");
    let scale = 1.0 / length as f64;
    time.iter_mut().for_each(|sample| *sample *= scale);
    time
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_that_fit() {
        assert_eq!([1, 4, 5, 6, 7, 768_000, 800_000].map(fit), [1, 4, 6, 6, 8, 786_432, 1 << 20]);
    }

    /// The transform of a late impulse is a turning phasor (shift theorem).
    #[test]
    fn there_and_back() {
        let mut samples = vec![0.0; 64];
        samples[3] = 2.0;
        let bins = spectrum(&samples, 64);
        for (k, bin) in bins.iter().enumerate() {
            let expected = Complex::from_polar(2.0, -std::f64::consts::TAU * 3.0 * k as f64 / 64.0);
            assert!((bin - expected).norm() < 1e-12);
        }
        for (ours, was) in signal(bins, 64).iter().zip(&samples) {
            assert!((ours - was).abs() < 1e-12);
        }
        assert_eq!(signal(spectrum(&[], 0), 0), [0.0, 0.0]);
    }
}
