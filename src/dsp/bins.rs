//! Plain loops over the samples that go into a transform and the bins that come out, each compiled for several vector widths.
//!
//! Sums run in a fixed number of lanes, added up in a fixed order, so they depend on no processor. Empty slices give 0.

use multiversion::multiversion;
use realfft::num_complex::Complex;

/// Samples times the weights of a window.
#[multiversion(targets("x86_64+avx2"))]
pub fn weigh(out: &mut [f32], samples: &[f32], weights: &[f32]) {
    for ((out, sample), weight) in out.iter_mut().zip(samples).zip(weights) {
        *out = sample * weight;
    }
}

/// The power of each bin; gives their sum.
#[multiversion(targets("x86_64+avx2"))]
pub fn powers(out: &mut [f32], spectrum: &[Complex<f32>]) -> f32 {
    let mut lanes = [0f32; 16];
    for (powers, values) in out.chunks_mut(lanes.len()).zip(spectrum.chunks(lanes.len())) {
        for ((power, value), lane) in powers.iter_mut().zip(values).zip(&mut lanes) {
            *power = value.re * value.re + value.im * value.im;
            *lane += *power;
        }
    }
    lanes.iter().sum()
}
