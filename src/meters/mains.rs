//! The mains meter: how much of each multiple of 50 and 60 Hz a frame holds, with its phase.
//!
//! In: amplitudes, complete frames of 100 ms. Out: the Fourier coefficients at [`MAINS_HERTZ`], scaled so that a
//! full-scale sine gives a length of 1. The frame is not windowed: 100 ms are whole periods of every multiple of 10 Hz,
//! so 50 Hz leaves nothing at 60 Hz and back (a mains 0.5 Hz off: −26 dB). Frames follow each other without a gap, so
//! the phase turns between them by what the mains is off its name; a detector sums them over seconds.
//!
//! Edge cases: at rates whose tenth is no whole number, the frames' lengths alternate and a line lies up to 0.03 Hz off;
//! lines above half the rate read 0; silence reads 0.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::readings::{MAINS_HERTZ, MainsLines};
use crate::units::SampleRate;

/// Transforms for the two lengths that a frame may have.
pub(super) struct MainsPlan {
    ffts: [Arc<dyn RealToComplex<f32>>; 2],
}

/// Working memory of one thread.
pub(super) struct MainsScratch {
    samples: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    fft: Vec<Complex<f32>>,
}

impl MainsPlan {
    pub fn new(rate: SampleRate) -> Self {
        let mut planner = RealFftPlanner::new();
        Self {
            ffts: [rate.get() / 10, rate.get().div_ceil(10)].map(|length| planner.plan_fft_forward(length as usize)),
        }
    }

    pub fn scratch(&self) -> MainsScratch {
        let longest = &self.ffts[1];
        let most = self.ffts.iter().map(|fft| fft.get_scratch_len()).max().unwrap_or(0);
        MainsScratch {
            samples: longest.make_input_vec(),
            spectrum: longest.make_output_vec(),
            fft: vec![Complex::default(); most],
        }
    }

    /// The lines of one frame.
    pub fn look(&self, samples: &[f32], scratch: &mut MainsScratch, out: &mut MainsLines) {
        let Some(fft) = self.ffts.iter().find(|fft| fft.len() == samples.len()) else { return };
        let input = &mut scratch.samples[..samples.len()];
        input.copy_from_slice(samples);
        let spectrum = &mut scratch.spectrum[..samples.len() / 2 + 1];
        let room = fft.get_scratch_len();
        let done = fft.process_with_scratch(input, spectrum, &mut scratch.fft[..room]);
        debug_assert!(done.is_ok(), "the buffers were made for this plan");
        let scale = 2.0 / samples.len() as f32;
        for (line, hertz) in out.lines.iter_mut().zip(MAINS_HERTZ) {
            let value = spectrum.get(usize::from(hertz) / 10).copied().unwrap_or_default();
            *line = [value.re * scale, value.im * scale];
        }
        out.count += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(rate: u32, tones: &[(f64, f64)]) -> MainsLines {
        let rate = SampleRate::new(rate).unwrap();
        let plan = MainsPlan::new(rate);
        let step = std::f64::consts::TAU / f64::from(rate.get());
        let sample = |n: u32| tones.iter().map(|(hz, peak)| peak * (step * hz * f64::from(n) + 0.3).sin()).sum::<f64>();
        let samples: Vec<f32> = (0..rate.get() / 10).map(|n| sample(n) as f32).collect();
        let mut out = MainsLines::default();
        plan.look(&samples, &mut plan.scratch(), &mut out);
        out
    }

    fn length(lines: &MainsLines, hertz: u16) -> f64 {
        let [re, im] = lines.lines[MAINS_HERTZ.iter().position(|line| *line == hertz).unwrap()];
        f64::from(re).hypot(f64::from(im))
    }

    /// Orthogonality of sines over whole periods (Fourier): each line holds its own and nothing of the others.
    #[test]
    fn neither_mains_leaks_into_the_other() {
        for rate in [8_000, 44_100, 48_000, 96_000] {
            let told = lines(rate, &[(50.0, 0.5), (120.0, 0.01)]);
            assert!((length(&told, 50) - 0.5).abs() < 1e-5 && (length(&told, 120) - 0.01).abs() < 1e-5, "{rate}");
            for hertz in MAINS_HERTZ.into_iter().filter(|hertz| ![50, 120].contains(hertz)) {
                assert!(length(&told, hertz) < 1e-6, "{hertz} at {rate}: {}", length(&told, hertz));
            }
        }
    }

    /// sin(πx)/(πx) at 0.95 of a line's distance: 0.052, so −26 dB.
    #[test]
    fn half_a_hertz_off_leaks_by_26_decibels() {
        let told = lines(48_000, &[(50.5, 1.0)]);
        assert!(length(&told, 60) < 0.056, "{}", length(&told, 60));
        assert!(length(&told, 50) > 0.98);
    }

    #[test]
    fn silence_reads_nothing() {
        let told = lines(48_000, &[]);
        assert_eq!((told.count, told.lines), (1, [[0.0; 2]; MAINS_HERTZ.len()]));
    }
}
