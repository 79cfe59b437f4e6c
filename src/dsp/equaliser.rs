//! An equaliser at work: bands in a row that can be moved while sound goes through; and the graphic kinds.
//!
//! In and out: amplitudes. A moved band glides to its new gain in 0.1 s; it is counted in samples, so that
//! the cut into blocks does not matter. Graphic bands: midband frequencies of IEC 61260-1 (base 10, the
//! nominal ones of ISO 266 are printed on the desk), as wide as their distance: Q = √(2^N)/(2^N − 1) for N
//! octaves. At most 32 bands; one more is refused. `process` and `set` allocate nothing.

use rustfft::num_complex::Complex;

use super::biquad::{Biquad, Coefficients, EqBand, Shape};
use crate::units::{Db, Hertz, SampleRate};

/// How far apart the bands of a graphic equaliser are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Graphic {
    /// 31 bands, 20 Hz to 20 kHz.
    ThirdOctave,
    /// 15 bands, 25 Hz to 16 kHz.
    TwoThirdOctave,
    /// 9 bands, 63 Hz to 16 kHz.
    Octave,
    /// 7 bands, 125 Hz to 8 kHz.
    SevenBand,
}

impl Graphic {
    pub const ALL: [Self; 4] = [Self::ThirdOctave, Self::TwoThirdOctave, Self::Octave, Self::SevenBand];

    /// Bands in thirds of an octave from 1 kHz: first, last, step.
    const fn thirds(self) -> (i32, i32, i32) {
        match self {
            Self::ThirdOctave => (-17, 13, 1),
            Self::TwoThirdOctave => (-16, 12, 2),
            Self::Octave => (-12, 12, 3),
            Self::SevenBand => (-9, 9, 3),
        }
    }

    /// Midband frequencies, upwards.
    pub fn frequencies(self) -> impl Iterator<Item = Hertz> {
        let (first, last, step) = self.thirds();
        (first..=last).step_by(step as usize).map(|third| Hertz::new(1000.0 * 10f64.powf(f64::from(third) / 10.0)))
    }

    /// Of each of its bands.
    pub fn q(self) -> f64 {
        let octaves = f64::from(self.thirds().2) / 3.0;
        2f64.powf(octaves).sqrt() / (2f64.powf(octaves) - 1.0)
    }

    /// The band nearest to a frequency, on a scale of octaves.
    pub fn band(self, frequency: Hertz, gain: Db) -> EqBand {
        let (first, last, step) = self.thirds();
        let third = 10.0 * (frequency.get() / 1000.0).log10();
        let place = ((third - f64::from(first)) / f64::from(step)).clamp(0.0, f64::from((last - first) / step));
        let third = first + step * place.round() as i32;
        EqBand::peak(Hertz::new(1000.0 * 10f64.powf(f64::from(third) / 10.0)), self.q(), gain)
    }
}

/// Bands at most.
const MAX_BANDS: usize = 32;
const GLIDE_SECONDS: f64 = 0.1;
/// Samples between two settings of a gliding band.
const STEP: u32 = 32;
/// Two frequencies nearer than this share are those of one band.
const SAME: f64 = 1e-3;

pub struct Equaliser {
    rate: SampleRate,
    bands: Vec<Moving>,
}

struct Moving {
    target: EqBand,
    now: Db,
    step: Db,
    /// Samples of the glide that are left.
    left: u32,
    filter: Biquad,
}

impl Equaliser {
    pub fn flat(rate: SampleRate) -> Self {
        Self { rate, bands: Vec::with_capacity(MAX_BANDS) }
    }

    /// Moves the band of this shape and frequency there, or adds it; `false`: it has no band left, or
    /// something of it is not a number.
    pub fn set(&mut self, band: EqBand) -> bool {
        if [band.frequency.get(), band.q, band.gain.get()].iter().any(|value| value.is_nan()) {
            return false;
        }
        let rate = self.rate;
        let alike =
            |old: &EqBand| old.shape == band.shape && (old.frequency.get() / band.frequency.get() - 1.0).abs() < SAME;
        let full = self.bands.len() == MAX_BANDS;
        match self.bands.iter_mut().find(|moving| alike(&moving.target)) {
            Some(moving) => moving.aim(band, rate),
            None if full => return false,
            None => {
                let flat = EqBand { gain: Db::ZERO, ..band };
                let mut moving = Moving {
                    target: flat,
                    now: Db::ZERO,
                    step: Db::ZERO,
                    left: 0,
                    filter: Biquad::new(flat.coefficients(rate)),
                };
                moving.aim(band, rate);
                self.bands.push(moving);
            }
        }
        true
    }

    /// Takes away every band; gains glide there.
    pub fn flatten(&mut self) {
        let rate = self.rate;
        self.bands.retain(|moving| !matches!(moving.target.shape, Shape::HighPass | Shape::LowPass));
        for moving in &mut self.bands {
            moving.aim(EqBand { gain: Db::ZERO, ..moving.target }, rate);
        }
    }

    /// How its bands are set, once they have glided there.
    pub fn bands(&self) -> impl Iterator<Item = EqBand> {
        self.bands.iter().map(|moving| moving.target).filter(|band| !band.is_flat())
    }

    pub fn process(&mut self, samples: &mut [f32]) {
        for moving in &mut self.bands {
            moving.process(samples, self.rate);
        }
        self.bands.retain(|moving| moving.left > 0 || !moving.target.is_flat());
    }
}

impl Moving {
    fn aim(&mut self, band: EqBand, rate: SampleRate) {
        self.target = band;
        self.left = ((GLIDE_SECONDS * f64::from(rate.get())) as u32 / STEP).max(1) * STEP;
        self.step = Db::new((band.gain - self.now).get() / f64::from(self.left / STEP));
        self.filter.coefficients = EqBand { gain: self.now, ..band }.coefficients(rate);
    }

    fn process(&mut self, samples: &mut [f32], rate: SampleRate) {
        let mut rest = samples;
        while !rest.is_empty() {
            let run = match self.left % STEP {
                _ if self.left == 0 => rest.len(),
                0 => STEP as usize,
                within => within as usize,
            };
            let (now, later) = rest.split_at_mut(run.min(rest.len()));
            for sample in &mut *now {
                *sample = self.filter.next(f64::from(*sample)) as f32;
            }
            if self.left > 0 {
                self.left -= now.len() as u32;
                if self.left.is_multiple_of(STEP) {
                    self.now = if self.left == 0 { self.target.gain } else { self.now + self.step };
                    self.filter.coefficients = EqBand { gain: self.now, ..self.target }.coefficients(rate);
                }
            }
            rest = later;
        }
    }
}

/// Coefficients of several bands, to ask for their response together.
#[derive(Clone, Debug, Default)]
pub struct Curve(Vec<Coefficients>);

impl Curve {
    pub fn new(bands: impl IntoIterator<Item = EqBand>, rate: SampleRate) -> Self {
        Self(bands.into_iter().map(|band| band.coefficients(rate)).collect())
    }

    pub fn is_flat(&self) -> bool {
        self.0.is_empty()
    }

    /// H(z) of all bands in a row; `late` is z⁻¹.
    pub fn response(&self, late: Complex<f64>) -> Complex<f64> {
        self.0.iter().fold(Complex::new(1.0, 0.0), |product, band| product * band.response(late))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// ISO 266 nominal frequencies and the exact ones of IEC 61260-1 (base 10), 25 Hz to 20 kHz.
    #[test]
    fn third_octaves() {
        let table = [
            (25.0, 25.119),
            (31.5, 31.623),
            (40.0, 39.811),
            (50.0, 50.119),
            (63.0, 63.096),
            (80.0, 79.433),
            (100.0, 100.0),
            (125.0, 125.893),
            (160.0, 158.489),
            (200.0, 199.526),
            (250.0, 251.189),
            (315.0, 316.228),
            (400.0, 398.107),
            (500.0, 501.187),
            (630.0, 630.957),
            (800.0, 794.328),
            (1000.0, 1000.0),
            (1250.0, 1258.925),
            (1600.0, 1584.893),
            (2000.0, 1995.262),
            (2500.0, 2511.886),
            (3150.0, 3162.278),
            (4000.0, 3981.072),
            (5000.0, 5011.872),
            (6300.0, 6309.573),
            (8000.0, 7943.282),
            (10_000.0, 10_000.0),
            (12_500.0, 12_589.254),
            (16_000.0, 15_848.932),
            (20_000.0, 19_952.623),
        ];
        let ours: Vec<Hertz> = Graphic::ThirdOctave.frequencies().collect();
        assert_eq!(ours.len(), 31);
        for ((nominal, exact), ours) in table.into_iter().zip(&ours[1..]) {
            assert!((ours.get() - exact).abs() < 0.0006, "{ours:?} is not {exact}");
            assert_eq!(Graphic::ThirdOctave.band(Hertz::new(nominal), Db::ZERO).frequency, *ours);
        }
    }

    /// Q of a third of an octave 4.318, two thirds 2.145, an octave 1.414: Q = √(2^N)/(2^N − 1).
    #[test]
    fn widths_and_counts() {
        let table = [(31, 4.318), (15, 2.145), (9, 1.414), (7, 1.414)];
        for (kind, (count, q)) in Graphic::ALL.into_iter().zip(table) {
            assert_eq!(kind.frequencies().count(), count);
            assert!((kind.q() - q).abs() < 1e-3, "{kind:?}: {}", kind.q());
            for frequency in kind.frequencies() {
                assert_eq!(kind.band(frequency, Db::new(-3.0)).frequency, frequency);
            }
        }
    }

    /// The nearest band changes at the band edges, 10^(±1/20) of the midband frequency (IEC 61260-1).
    #[test]
    fn the_nearest_band() {
        let nearest = |hz: f64| Graphic::ThirdOctave.band(Hertz::new(hz), Db::ZERO).frequency.get();
        let edge = 1000.0 * 10f64.powf(0.05);
        assert!((nearest(edge - 0.1) - 1000.0).abs() < 1e-9 && (nearest(edge + 0.1) - 1258.925).abs() < 1e-3);
        for hz in [0.0, -1.0, 1e9, f64::NAN, f64::INFINITY] {
            assert!((19.0..20_000.0).contains(&nearest(hz)), "{hz}: {}", nearest(hz));
        }
    }

    /// A moved band ends where it should: the gain at a tone is the response's, also after going back.
    #[test]
    fn bands_move() {
        let tone: Vec<f32> = (0..48_000).map(|n| (0.13 * f64::from(n)).sin() as f32 * 0.5).collect();
        let level = |samples: &[f32]| {
            10.0 * (samples.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / samples.len() as f64).log10()
        };
        let before = level(&tone[24_000..]);
        let mut eq = Equaliser::flat(rate());
        for gain in [-6.0, -9.0, 3.0, 0.0] {
            let band = EqBand::peak(Hertz::new(1000.0), 4.318, Db::new(gain));
            assert!(eq.set(band));
            let mut out = tone.clone();
            eq.process(&mut out);
            let late = Complex::from_polar(1.0, -0.13);
            let expected = 20.0 * band.coefficients(rate()).response(late).norm().log10();
            assert!((level(&out[24_000..]) - before - expected).abs() < 1e-3, "{gain}");
            assert!((20.0 * Curve::new(eq.bands(), rate()).response(late).norm().log10() - expected).abs() < 1e-9);
        }
        assert_eq!(eq.bands().count(), 0);
    }

    /// The same samples whatever the blocks, while bands move.
    #[test]
    fn the_cut_into_blocks_does_not_matter() {
        let noise: Vec<f32> =
            (0..20_000u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 8) as f32 / 8_388_608.0 - 1.0).collect();
        let run = |length: usize| {
            let mut eq = Equaliser::flat(rate());
            let mut out = noise.clone();
            let (first, rest) = out.split_at_mut(7001);
            for block in first.chunks_mut(length) {
                eq.process(block);
            }
            eq.set(EqBand::peak(Hertz::new(700.0), 2.0, Db::new(-6.0)));
            let (second, third) = rest.split_at_mut(1000);
            second.chunks_mut(length).for_each(|block| eq.process(block));
            eq.set(EqBand::peak(Hertz::new(700.0), 2.0, Db::new(-9.0)));
            eq.set(EqBand::high_pass(Hertz::new(90.0)));
            third.chunks_mut(length).for_each(|block| eq.process(block));
            out
        };
        let whole = run(20_000);
        for length in [1, 31, 64, 100] {
            assert!(run(length) == whole, "blocks of {length}");
        }
    }

    #[test]
    fn one_band_too_many_is_refused() {
        let mut eq = Equaliser::flat(rate());
        for n in 0..MAX_BANDS {
            assert!(eq.set(EqBand::peak(Hertz::new(100.0 + 50.0 * n as f64), 4.0, Db::new(-3.0))));
        }
        assert!(!eq.set(EqBand::peak(Hertz::new(99.0), 4.0, Db::new(-3.0))));
        assert!(!eq.set(EqBand::peak(Hertz::new(f64::NAN), 4.0, Db::new(-3.0))));
        assert!(eq.set(EqBand::peak(Hertz::new(100.0), 4.0, Db::new(-6.0))), "an old one moves");
        eq.flatten();
        eq.process(&mut [0.0; 9600]);
        assert_eq!(eq.bands.len(), 0);
    }
}
