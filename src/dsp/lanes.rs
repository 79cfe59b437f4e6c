//! Plain loops over samples, each compiled for several vector widths.
//!
//! Samples are amplitudes re full scale. Sums run in a fixed number of lanes, added up in a fixed order:
//! the result depends neither on the processor nor on the width of its vectors.
//! Empty slices give 0. All but [`clean`] expect samples that went through it.

use multiversion::multiversion;

/// Samples beyond this (+240 dBFS), NaN and ±∞ are no audio.
pub const LARGEST: f32 = 1e12;
/// Samples under this (−300 dBFS) are silence. It keeps subnormal numbers, slow on many processors, out.
pub const SMALLEST: f32 = 1e-15;

/// Copies `from` into `to`, with 0 for invalid and vanishing samples; counts the invalid ones.
#[multiversion(targets("x86_64+avx2"))]
pub fn clean(from: &[f32], to: &mut [f32]) -> u32 {
    let mut invalid = 0;
    for (&sample, out) in from.iter().zip(to) {
        let size = sample.abs();
        let valid = size <= LARGEST;
        *out = if valid & (size >= SMALLEST) { sample } else { 0.0 };
        invalid += u32::from(!valid);
    }
    invalid
}

/// The largest magnitude.
#[multiversion(targets("x86_64+avx2"))]
pub fn peak(samples: &[f32]) -> f32 {
    let mut lanes = [0f32; 32];
    let (chunks, rest) = samples.as_chunks();
    for chunk in chunks {
        for (lane, sample) in lanes.iter_mut().zip(chunk as &[f32; 32]) {
            *lane = larger(*lane, sample.abs());
        }
    }
    let rest = rest.iter().fold(0.0, |peak, sample| larger(peak, sample.abs()));
    lanes.into_iter().fold(rest, larger)
}

/// The sum and the sum of squares.
#[multiversion(targets("x86_64+avx2"))]
pub fn moments(samples: &[f32]) -> (f64, f64) {
    let mut sums = [0f64; 16];
    let mut squares = [0f64; 16];
    let (chunks, rest) = samples.as_chunks::<16>();
    for chunk in chunks {
        for lane in 0..16 {
            let sample = f64::from(chunk[lane]);
            sums[lane] += sample;
            squares[lane] += sample * sample;
        }
    }
    for (lane, &sample) in rest.iter().enumerate() {
        let sample = f64::from(sample);
        sums[lane] += sample;
        squares[lane] += sample * sample;
    }
    (sums.iter().sum(), squares.iter().sum())
}

/// The sum of squares.
#[multiversion(targets("x86_64+avx2"))]
pub fn energy(samples: &[f64]) -> f64 {
    let mut lanes = [0f64; 16];
    let (chunks, rest) = samples.as_chunks::<16>();
    for chunk in chunks {
        for lane in 0..16 {
            lanes[lane] += chunk[lane] * chunk[lane];
        }
    }
    lanes.iter().sum::<f64>() + rest.iter().map(|sample| sample * sample).sum::<f64>()
}

/// The sum of products, as far as both reach.
#[multiversion(targets("x86_64+avx2"))]
pub fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut lanes = [0f32; 16];
    let ((a, a_rest), (b, b_rest)) = (a.as_chunks::<16>(), b.as_chunks::<16>());
    for (a, b) in a.iter().zip(b) {
        for lane in 0..16 {
            lanes[lane] += a[lane] * b[lane];
        }
    }
    let rest: f32 = a_rest.iter().zip(b_rest).map(|(a, b)| a * b).sum();
    lanes.iter().sum::<f32>() + rest
}

/// Sum in four lanes, for short arrays of powers.
pub fn sum(values: &[f64]) -> f64 {
    let mut lanes = [0f64; 4];
    let (chunks, rest) = values.as_chunks::<4>();
    for chunk in chunks {
        for lane in 0..4 {
            lanes[lane] += chunk[lane];
        }
    }
    lanes.iter().sum::<f64>() + rest.iter().sum::<f64>()
}

/// `f32::max` without its care for NaN, which would keep the loop from vectors.
#[inline(always)]
pub fn larger(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cleaning_counts_what_is_no_audio() {
        let from = [0.5, f32::NAN, f32::INFINITY, -f32::INFINITY, 1e13, 1e-40, -1e-16, -0.25];
        let mut to = [9.0; 8];
        assert_eq!(clean(&from, &mut to), 4);
        assert_eq!(to, [0.5, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -0.25]);
    }

    /// Against the obvious loop, at every length around the number of lanes.
    #[test]
    fn every_length() {
        for length in 0..100 {
            let samples: Vec<f32> = (0..length).map(|i| ((i * 37 % 101) as f32 - 50.0) / 50.0).collect();
            assert_eq!(peak(&samples), samples.iter().fold(0.0, |p, x| x.abs().max(p)));
            let (sum_, squares) = moments(&samples);
            let wide: Vec<f64> = samples.iter().map(|&x| f64::from(x)).collect();
            assert!((sum_ - wide.iter().sum::<f64>()).abs() < 1e-12);
            assert!((squares - wide.iter().map(|x| x * x).sum::<f64>()).abs() < 1e-12);
            assert!((sum(&wide) - sum_).abs() < 1e-12);
            assert!((energy(&wide) - squares).abs() < 1e-12);
        }
    }
}
