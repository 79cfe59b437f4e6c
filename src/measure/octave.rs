//! Octave bands of an impulse response.
//!
//! Sixth-order Butterworth band-passes, edges at the midband frequency times and over √2: within the class 1
//! limits of IEC 61260-1:2014 (Table 1). In and out: amplitudes. A band whose upper edge does not lie under half the
//! rate is not there.

use crate::dsp::band_pass::band_pass;
use crate::dsp::biquad::{Biquad, Coefficients};
use crate::units::SampleRate;

/// Nominal midband frequencies of ISO 266 in Hz; speech transmission uses the same seven.
pub const OCTAVES: [f64; 7] = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0];

pub struct Octave([Coefficients; 3]);

impl Octave {
    pub fn new(centre: f64, rate: SampleRate) -> Option<Self> {
        band_pass([centre / 2f64.sqrt(), centre * 2f64.sqrt()], rate).map(Self)
    }

    pub fn filter(&self, samples: &[f64]) -> Vec<f64> {
        let mut sections = self.0.map(Biquad::new);
        samples.iter().map(|sample| sections.iter_mut().fold(*sample, |x, section| section.next(x))).collect()
    }
}

#[cfg(test)]
mod tests {
    use rustfft::num_complex::Complex;

    use super::*;

    fn decibels(octave: &Octave, hz: f64) -> f64 {
        let late = Complex::from_polar(1.0, -std::f64::consts::TAU * hz / 48_000.0);
        let product: Complex<f64> = octave.0.iter().map(|section| section.response(late)).product();
        20.0 * product.norm().log10()
    }

    /// IEC 61260-1:2014, Table 1, class 1, octaves, at both sides: least and greatest attenuation in dB.
    #[test]
    fn class_one() {
        let g: f64 = 10f64.powf(0.3);
        let table = [
            (0.0, -0.4, 0.4),
            (0.125, -0.4, 0.5),
            (0.25, -0.4, 0.7),
            (0.375, -0.4, 1.4),
            (1.0, 16.6, f64::INFINITY),
            (2.0, 40.5, f64::INFINITY),
            (3.0, 60.0, f64::INFINITY),
        ];
        let rate = SampleRate::new(48_000).unwrap();
        for centre in OCTAVES {
            let octave = Octave::new(centre, rate).unwrap();
            for (octaves, least, most) in table {
                for hz in [centre * g.powf(octaves), centre * g.powf(-octaves)] {
                    let attenuation = -decibels(&octave, hz);
                    let there = hz < 23_000.0 && hz > 1.0;
                    assert!(!there || (least..=most).contains(&attenuation), "{centre} at {hz}: {attenuation}");
                }
            }
        }
    }

    /// Edges of a Butterworth band are 3.01 dB down.
    #[test]
    fn edges() {
        let octave = Octave::new(1000.0, SampleRate::new(48_000).unwrap()).unwrap();
        for edge in [1000.0 / 2f64.sqrt(), 1000.0 * 2f64.sqrt()] {
            assert!((decibels(&octave, edge) + 3.0103).abs() < 1e-3, "{}", decibels(&octave, edge));
        }
        assert!(Octave::new(8000.0, SampleRate::new(16_000).unwrap()).is_none());
        assert!(Octave::new(f64::NAN, SampleRate::new(16_000).unwrap()).is_none());
    }
}
