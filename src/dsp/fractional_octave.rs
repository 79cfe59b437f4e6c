//! Octave and third-octave filter banks after IEC 61260-1:2014, base 10.
//!
//! In: amplitudes. Out: sums of squares, one a band. Midband frequencies are 1000 · 10^(0.3 x / b) Hz, edges 10^(±0.15 / b)
//! beside them (b = 1 octaves, 3 third-octaves). Eighth-order Butterworth low-passes would do for class 1 in the middle
//! of the axis; with the fourth order behind each band-pass it holds up to an upper edge of 0.45 of the rate, where the
//! bilinear transform makes the lower flank shallow. Bands beyond are hidden. All bands run at the full rate in double
//! precision: a pole of the lowest band at 192 kHz lies 10⁻⁴ from the unit circle, ten thousand million times the
//! rounding of its coefficients.
//! Edge cases: a hidden band sums to 0. Tails decay to exact 0 where [`FilterBank::settle`] is called now and then.

use multiversion::multiversion;

use crate::dsp::band_pass::band_pass;
use crate::units::{Hertz, SampleRate};

/// The share of the rate that a band's upper edge may reach.
const HIGHEST_EDGE: f64 = 0.45;
const ORDER: usize = 4;

/// How an octave is divided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fraction {
    Octave,
    Third,
}

impl Fraction {
    const fn parts(self) -> f64 {
        match self {
            Self::Octave => 1.0,
            Self::Third => 3.0,
        }
    }

    /// The band `x` steps above 1 kHz.
    pub fn midband(self, x: i32) -> Hertz {
        Hertz::new(1000.0 * 10f64.powf(0.3 * f64::from(x) / self.parts()))
    }

    pub fn edges(self, x: i32) -> [f64; 2] {
        let half = 10f64.powf(0.15 / self.parts());
        let middle = self.midband(x).get();
        [middle / half, middle * half]
    }
}

/// `BANDS` neighbouring bands.
#[derive(Clone, Debug)]
pub struct FilterBank<const BANDS: usize> {
    shown: [bool; BANDS],
    stages: [Stage<BANDS>; ORDER],
}

/// The same section of every band: y = g (x − x₂) − a₁y₁ − a₂y₂, transposed.
#[derive(Clone, Debug)]
struct Stage<const BANDS: usize> {
    gain: [f64; BANDS],
    a: [[f64; BANDS]; 2],
    state: [[f64; BANDS]; 2],
}

impl<const BANDS: usize> FilterBank<BANDS> {
    /// From the band `lowest` steps above 1 kHz upwards.
    pub fn new(fraction: Fraction, lowest: i32, rate: SampleRate) -> Self {
        let none = || Stage { gain: [0.0; BANDS], a: [[0.0; BANDS]; 2], state: [[0.0; BANDS]; 2] };
        let mut stages: [Stage<BANDS>; ORDER] = std::array::from_fn(|_| none());
        let mut shown = [false; BANDS];
        for (band, shown) in shown.iter_mut().enumerate() {
            let edges = fraction.edges(lowest + band as i32);
            if edges[1] > HIGHEST_EDGE * f64::from(rate.get()) {
                continue;
            }
            let Some(sections) = band_pass::<ORDER>(edges, rate) else { continue };
            *shown = true;
            for (stage, section) in stages.iter_mut().zip(sections) {
                stage.gain[band] = section.b[0];
                stage.a[0][band] = section.a[0];
                stage.a[1][band] = section.a[1];
            }
        }
        Self { shown, stages }
    }

    /// Whether the rate is high enough for the band.
    pub fn shows(&self, band: usize) -> bool {
        self.shown.get(band).copied().unwrap_or(false)
    }

    /// Adds the squares of every band's output to `sums`; `tap` gets the output of band `tapped`.
    pub fn filter(&mut self, samples: &[f64], sums: &mut [f64; BANDS], tapped: usize, tap: &mut [f64]) {
        run(&mut self.stages, samples, sums, tapped.min(BANDS - 1), tap);
    }

    /// Ends tails far under the smallest sample, which would end in subnormal numbers. Where it is called decides the
    /// last bits: at fixed times.
    pub fn settle(&mut self) {
        for stage in &mut self.stages {
            stage.state.as_flattened_mut().iter_mut().filter(|x| x.abs() < 1e-30).for_each(|x| *x = 0.0);
        }
    }

    /// Forgets what it heard.
    pub fn reset(&mut self) {
        for stage in &mut self.stages {
            stage.state = [[0.0; BANDS]; 2];
        }
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn run<const BANDS: usize>(
    stages: &mut [Stage<BANDS>; ORDER],
    samples: &[f64],
    sums: &mut [f64; BANDS],
    tapped: usize,
    tap: &mut [f64],
) {
    for (sample, tap) in samples.iter().zip(tap) {
        let mut x = [*sample; BANDS];
        for stage in stages.iter_mut() {
            for (band, x) in x.iter_mut().enumerate() {
                let scaled = stage.gain[band] * *x;
                let y = scaled + stage.state[0][band];
                stage.state[0][band] = stage.state[1][band] - stage.a[0][band] * y;
                stage.state[1][band] = -scaled - stage.a[1][band] * y;
                *x = y;
            }
        }
        for (sum, x) in sums.iter_mut().zip(&x) {
            *sum += x * x;
        }
        *tap = x[tapped];
    }
}
