//! Butterworth band-passes as second-order sections.
//!
//! In: the two edges in Hz, where the response is 3.01 dB down. `N` is the order of the low-pass behind it: 6 `N` dB
//! per octave on either side, `N` sections. Bilinear transform with both edges pre-warped: towards half the rate the
//! upper flank becomes steeper, the lower one shallower. The gain is 1 between the edges. Edges that are not in order
//! between 0 and half the rate give no filter. Source: L. R. Rabiner, B. Gold, *Theory and Application of Digital
//! Signal Processing*, 1975, ch. 4.

use std::f64::consts::PI;

use rustfft::num_complex::Complex;

use crate::dsp::biquad::Coefficients;
use crate::units::SampleRate;

pub fn band_pass<const N: usize>(edges: [f64; 2], rate: SampleRate) -> Option<[Coefficients; N]> {
    let rate = f64::from(rate.get());
    if !(edges[0] > 0.0 && edges[0] < edges[1] && edges[1] < 0.5 * rate) {
        return None;
    }
    // On the analogue side, in units of twice the rate.
    let [low, high] = edges.map(|edge| (PI * edge / rate).tan());
    let (width, middle) = (high - low, low * high);
    let mut poles = [[Complex::ZERO; 2]; N];
    for (index, pair) in poles.iter_mut().enumerate() {
        // A low-pass pole off the axis gives two roots, each with its mirror image; the one on it (odd orders, last)
        // gives two that belong together.
        let angle = PI * (N + 1 + 2 * (index / 2)) as f64 / (2 * N) as f64;
        let roots = split(Complex::from_polar(1.0, angle), width, middle);
        let alone = index == N - 1 && N % 2 == 1;
        let root = roots[index % 2];
        *pair = if alone { roots } else { [root, root.conj()] };
    }
    let late = Complex::from_polar(1.0, -2.0 * middle.sqrt().atan());
    Some(poles.map(|pair| {
        let [one, other] = pair.map(|pole| (1.0 + pole) / (1.0 - pole));
        let mut section = Coefficients { b: [1.0, 0.0, -1.0], a: [-(one + other).re, (one * other).re] };
        let gain = section.response(late).norm();
        section.b = section.b.map(|b| b / gain);
        section
    }))
}

/// Where a low-pass pole goes: the roots of s² − p·width·s + middle.
fn split(pole: Complex<f64>, width: f64, middle: f64) -> [Complex<f64>; 2] {
    let half = pole * (width / 2.0);
    let root = (half * half - middle).sqrt();
    [half + root, half - root]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// scipy 1.17.1: `butter(n, edges, 'bandpass', output='sos', fs=rate)` and `sosfreqz`, in dB; the last is so wide that
    /// the pole on the axis splits into two that are real.
    #[test]
    fn another_library_agrees() {
        let rate = SampleRate::new(48_000).unwrap();
        let db = |sections: &[Coefficients], hz: f64| {
            let late = Complex::from_polar(1.0, -std::f64::consts::TAU * hz / 48_000.0);
            20.0 * sections.iter().map(|section| section.response(late)).product::<Complex<f64>>().norm().log10()
        };
        let octave: [Coefficients; 3] = band_pass([700.0, 1400.0], rate).unwrap();
        let third: [Coefficients; 4] = band_pass([22.0, 28.0], rate).unwrap();
        let wide: [Coefficients; 3] = band_pass([2000.0, 23_000.0], rate).unwrap();
        for (sections, rows) in [(&octave[..], &OCTAVE), (&third[..], &THIRD), (&wide[..], &WIDE)] {
            for &(hz, expected) in rows.iter() {
                assert!((db(sections, hz) - expected).abs() < 1e-3, "{hz}: {} is not {expected}", db(sections, hz));
            }
        }
    }

    const OCTAVE: [(f64, f64); 4] = [(300.0, -37.5997), (700.0, -3.0103), (990.0, 0.0), (2500.0, -28.9076)];
    const THIRD: [(f64, f64); 4] = [(15.0, -51.0348), (22.5, -0.7584), (25.0, 0.0), (40.0, -49.0228)];
    const WIDE: [(f64, f64); 4] = [(500.0, -36.4766), (1500.0, -8.3483), (12_000.0, 0.0), (23_500.0, -18.3238)];

    #[test]
    fn edges_out_of_order_give_none() {
        let rate = SampleRate::new(16_000).unwrap();
        for edges in [[0.0, 10.0], [20.0, 10.0], [4000.0, 8000.0], [f64::NAN, 10.0], [10.0, f64::NAN]] {
            assert!(band_pass::<2>(edges, rate).is_none(), "{edges:?}");
        }
    }
}
