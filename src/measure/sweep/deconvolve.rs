//! Captured over sent: the inverse of a sweep as a spectrum, and stretches of a response by lag.
//!
//! In: amplitudes; out: a response of as many lags as the transform is long, lag 0 first, negative lags at the end
//! (circular). The quotient is held where the sweep has next to nothing (10⁻⁶ of its greatest power) and fades out
//! beyond the sweep's band: down to 0.7 of its lowest frequency, a twentieth above its highest. Source: S. Müller,
//! P. Massarani, J. Audio Eng. Soc. 49(6), 2001 (division in the frequency domain).

use rustfft::num_complex::Complex;

use super::recognise::Placed;

const HELD: f64 = 1e-6;
const BELOW: f64 = 0.7;
const ABOVE: f64 = 1.05;

/// One over the sweep, bin by bin.
pub(super) fn inverse(sent: &[Complex<f64>], placed: &Placed, step: f64) -> Vec<Complex<f64>> {
    let most = sent.iter().fold(0.0, |most: f64, bin| most.max(bin.norm_sqr()));
    let one = |(k, bin): (usize, &Complex<f64>)| {
        bin.conj() * (band(k as f64 * step, placed) / (bin.norm_sqr() + HELD * most).max(f64::MIN_POSITIVE))
    };
    sent.iter().enumerate().map(one).collect()
}

/// 1 where the sweep is, falling to 0 beyond.
pub(super) fn band(hz: f64, placed: &Placed) -> f64 {
    let fall = |share: f64| 0.5 - 0.5 * (std::f64::consts::PI * share.clamp(0.0, 1.0)).cos();
    let (low, high) = (placed.low, placed.high);
    let under = (hz - BELOW * low) / (low - BELOW * low);
    let over = (ABOVE * high - hz) / (ABOVE * high - high);
    fall(under) * fall(over)
}

/// A stretch of lags, from negative ones on.
pub(super) fn lags(response: &[f64], from: isize, count: usize) -> Vec<f64> {
    let length = response.len() as isize;
    (0..count as isize).map(|n| response[(from + n).rem_euclid(length) as usize]).collect()
}
