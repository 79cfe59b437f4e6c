//! From each output to each microphone: the response as it is played, and its spectrum on a fine grid.
//!
//! In: amplitudes, a count of frames before all responses begin. Out: H(z) without that lead, by the
//! definition anywhere, by a Fourier transform on the grid. The grid is at least four times finer than the
//! responses with their lead are long, so that neither level nor phase turns much from bin to bin.

use realfft::RealFftPlanner;
use rustfft::num_complex::Complex;

use crate::units::SampleRate;

type C = Complex<f64>;

/// From each output to each microphone: the response, and its spectrum on a grid of frequencies.
pub struct Paths {
    pub rate: SampleRate,
    /// Frames before the responses begin.
    pub lead: usize,
    /// Of each output to each microphone.
    pub responses: Vec<Vec<Vec<f32>>>,
    spectra: Vec<Vec<Vec<Complex<f32>>>>,
    /// Frames of the transform behind the spectra.
    grid: usize,
}

/// The least transform, frames.
const LEAST_GRID: usize = 1 << 15;
/// The grid is this much finer than the responses are long.
const FINER: usize = 4;

impl Paths {
    pub fn new(responses: Vec<Vec<Vec<f32>>>, lead: usize, rate: SampleRate) -> Self {
        let longest = responses.iter().flatten().map(Vec::len).max().unwrap_or(0);
        let grid = (FINER * (longest + lead)).next_power_of_two().max(LEAST_GRID);
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(grid);
        let spectrum = |response: &Vec<f32>| {
            let mut padded = response.clone();
            padded.resize(grid, 0.0);
            let mut bins = transform.make_output_vec();
            let done = transform.process(&mut padded, &mut bins);
            debug_assert!(done.is_ok(), "the buffers were made for this plan");
            bins
        };
        let spectra = responses.iter().map(|row| row.iter().map(spectrum).collect()).collect();
        Self { rate, lead, responses, spectra, grid }
    }

    /// Makes everything that comes out of an output louder by a factor.
    pub fn scale(&mut self, output: usize, factor: f64) {
        self.responses[output].iter_mut().flatten().for_each(|sample| *sample *= factor as f32);
        self.spectra[output].iter_mut().flatten().for_each(|bin| *bin *= factor as f32);
    }

    /// Frequencies of the grid's bins are its multiples, Hz.
    pub fn bin_width(&self) -> f64 {
        f64::from(self.rate.get()) / self.grid as f64
    }

    pub fn bin(&self, output: usize, microphone: usize, bin: usize) -> C {
        let bin = self.spectra[output][microphone][bin];
        C::new(f64::from(bin.re), f64::from(bin.im))
    }

    /// H(z) from an output to a microphone; `late` is z⁻¹.
    pub fn at(&self, output: usize, microphone: usize, late: C) -> C {
        let response = &self.responses[output][microphone];
        response.iter().rev().fold(C::default(), |sum, &sample| sum * late + f64::from(sample))
    }
}
