//! Third-octave band powers of a stretch of sound, by a Hann window and one Fourier transform.
//!
//! In: amplitudes. Out: mean squares per band, weighted by the window: the bands' sum is the windowed
//! stretch's power within 22 Hz … 22 kHz (Parseval). Bands are those of IEC 61260-1, base 10, between
//! 10^(±1/20) of the midband frequencies; a bin that lies across a band edge is shared out by its width.
//! 100 ms resolve about 20 Hz: the lowest bands spill into their neighbours. Bands over half the sample
//! rate read 0. Lengths other than the two planned ones read 0 throughout.

use crate::units::SampleRate;
use multiversion::multiversion;
use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Windows, plan and band edges; shared by all channels.
pub struct ThirdOctave<const BANDS: usize> {
    fft: Arc<dyn RealToComplex<f32>>,
    /// For stretches of the shortest length and one sample more.
    windows: [Vec<f32>; 2],
    bands: [Band; BANDS],
}

/// Working memory of one thread.
pub struct Scratch {
    windowed: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    fft: Vec<Complex<f32>>,
}

/// Bins `first..=last`, the outer two in part.
#[derive(Clone, Copy, Debug)]
struct Band {
    first: usize,
    last: usize,
    first_share: f64,
    last_share: f64,
}

impl<const BANDS: usize> ThirdOctave<BANDS> {
    /// For stretches of `shortest` to `longest` samples, at most one more; `centre` gives the midband
    /// frequencies in Hz.
    pub fn new(rate: SampleRate, [shortest, longest]: [usize; 2], centre: impl Fn(usize) -> f64) -> Self {
        let length = quick_length(longest);
        let fft = RealFftPlanner::new().plan_fft_forward(length);
        let width = f64::from(rate.get()) / length as f64;
        let half = 10f64.powf(1.0 / 20.0);
        let bands = std::array::from_fn(|band| {
            Band::between(centre(band) / half / width, centre(band) * half / width, length / 2)
        });
        Self { fft, windows: [hann(shortest, length), hann(longest, length)], bands }
    }

    pub fn scratch(&self) -> Scratch {
        Scratch {
            windowed: self.fft.make_input_vec(),
            spectrum: self.fft.make_output_vec(),
            fft: self.fft.make_scratch_vec(),
        }
    }

    /// Mean squares of `samples` in each band.
    pub fn bands(&self, samples: &[f32], scratch: &mut Scratch) -> [f32; BANDS] {
        let Some(window) = self.windows.iter().find(|window| window.len() == samples.len()) else {
            return [0.0; BANDS];
        };
        let (windowed, padding) = scratch.windowed.split_at_mut(samples.len());
        for ((out, sample), weight) in windowed.iter_mut().zip(samples).zip(window) {
            *out = sample * weight;
        }
        padding.fill(0.0);
        let done = self.fft.process_with_scratch(&mut scratch.windowed, &mut scratch.spectrum, &mut scratch.fft);
        debug_assert!(done.is_ok(), "the buffers were made for this plan");
        self.bands.map(|band| band.power(&scratch.spectrum) as f32)
    }
}

impl Band {
    /// From edges counted in bins, bin k reaching from k − ½ to k + ½.
    fn between(low: f64, high: f64, nyquist: usize) -> Self {
        let high = high.min(nyquist as f64);
        if low >= high {
            return Self { first: 0, last: 0, first_share: 0.0, last_share: 0.0 };
        }
        let (first, last) = (low.round() as usize, high.round() as usize);
        if first == last {
            return Self { first, last, first_share: high - low, last_share: 0.0 };
        }
        Self { first, last, first_share: first as f64 + 0.5 - low, last_share: high - (last as f64 - 0.5) }
    }

    fn power(&self, spectrum: &[Complex<f32>]) -> f64 {
        let outer = self.first_share * sum_of_squares(&spectrum[self.first..=self.first])
            + self.last_share * sum_of_squares(&spectrum[self.last..=self.last]);
        let inner = spectrum.get(self.first + 1..self.last).map_or(0.0, sum_of_squares);
        outer + inner
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn sum_of_squares(bins: &[Complex<f32>]) -> f64 {
    let mut lanes = [0f64; 8];
    let (chunks, rest) = bins.as_chunks::<4>();
    for chunk in chunks {
        for bin in 0..4 {
            let (re, im) = (f64::from(chunk[bin].re), f64::from(chunk[bin].im));
            lanes[2 * bin] += re * re;
            lanes[2 * bin + 1] += im * im;
        }
    }
    for bin in rest {
        let (re, im) = (f64::from(bin.re), f64::from(bin.im));
        lanes[0] += re * re;
        lanes[1] += im * im;
    }
    lanes.iter().sum()
}

/// A Hann window, scaled so that the squared bins of one side of the transform are mean squares.
fn hann(length: usize, transform: usize) -> Vec<f32> {
    let step = std::f64::consts::TAU / length as f64;
    let shape: Vec<f64> = (0..length).map(|i| 0.5 - 0.5 * (step * (i as f64 + 0.5)).cos()).collect();
    let energy: f64 = shape.iter().map(|weight| weight * weight).sum();
    let scale = (2.0 / (energy * transform as f64)).sqrt();
    shape.iter().map(|weight| (weight * scale) as f32).collect()
}

/// The next length that transforms quickly: a multiple of 32 without prime factors above 5.
fn quick_length(least: usize) -> usize {
    let smooth = |mut length: usize| {
        for factor in [2, 3, 5] {
            while length.is_multiple_of(factor) {
                length /= factor;
            }
        }
        length == 1
    };
    let mut length = least.next_multiple_of(32).max(32);
    while !smooth(length) {
        length += 32;
    }
    length
}

#[cfg(test)]
mod tests {
    use super::*;

    const BANDS: usize = 30;

    fn centre(band: usize) -> f64 {
        1000.0 * 10f64.powf((band as f64 - 16.0) / 10.0)
    }

    fn meter(hz: u32) -> ThirdOctave<BANDS> {
        let rate = SampleRate::new(hz).unwrap();
        ThirdOctave::new(rate, [hz as usize / 10, hz.div_ceil(10) as usize], centre)
    }

    /// Parseval: the bands of a sine add up to its mean square, ½, and its own band holds nearly all of it.
    #[test]
    fn sines() {
        for hz in [8_000, 11_025, 44_100, 48_000, 96_000, 192_000] {
            let meter = meter(hz);
            for band in [9, 16, 20, 29] {
                if centre(band) * 1.3 > f64::from(hz) / 2.0 {
                    continue;
                }
                let step = std::f64::consts::TAU * centre(band) / f64::from(hz);
                let samples: Vec<f32> = (0..hz / 10).map(|i| (step * f64::from(i)).sin() as f32).collect();
                let bands = meter.bands(&samples, &mut meter.scratch());
                let total: f64 = bands.iter().map(|&b| f64::from(b)).sum();
                assert!((10.0 * (total / 0.5).log10()).abs() < 0.01, "{hz} Hz, band {band}: {total}");
                assert!(f64::from(bands[band]) > 0.98 * total, "{hz} Hz, band {band}: {bands:?}");
            }
        }
    }

    /// Equal power per hertz: each band's share is its width, 0.2316 of its midband frequency (IEC 61260-1).
    #[test]
    fn white_noise_rises_three_decibels_an_octave() {
        let meter = meter(48_000);
        let mut scratch = meter.scratch();
        let mut sums = [0f64; BANDS];
        let mut seed = 1u32;
        let frames = 400;
        for _ in 0..frames {
            let samples: Vec<f32> = (0..4800)
                .map(|_| {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    (seed >> 8) as f32 / 8_388_608.0 - 1.0
                })
                .collect();
            for (sum, band) in sums.iter_mut().zip(meter.bands(&samples, &mut scratch)) {
                *sum += f64::from(band) / f64::from(frames);
            }
        }
        for (band, sum) in sums.iter().enumerate() {
            let width = centre(band) * (10f64.powf(0.05) - 10f64.powf(-0.05));
            let expected = width / 24_000.0 / 3.0;
            // A band of few bins has a spread of its own: 3.5 sigma of the average over all frames.
            let tolerance = 0.05 + 15.2 / (width * 0.1 * f64::from(frames)).sqrt();
            assert!((10.0 * (sum / expected).log10()).abs() < tolerance, "band {band}: {sum}, expected {expected}");
        }
    }

    #[test]
    fn edges() {
        let meter = meter(8_000);
        assert_eq!(meter.bands(&[], &mut meter.scratch()), [0.0; BANDS]);
        assert_eq!(meter.bands(&[0.0; 800], &mut meter.scratch()), [0.0; BANDS]);
        let bands = meter.bands(&[1e12; 800], &mut meter.scratch());
        assert!(bands.iter().all(|band| band.is_finite()));
        assert_eq!([4800, 4410, 1103, 800, 19200].map(quick_length), [4800, 4608, 1152, 800, 19200]);
    }
}
