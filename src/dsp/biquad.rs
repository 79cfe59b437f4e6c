//! Second-order filters by the formulas of the Audio EQ Cookbook, and their response.
//!
//! In: amplitudes. Frequencies in Hz, gains in dB, Q as there: the bandwidth of a peak lies between the
//! points of half its gain in dB. Source: R. Bristow-Johnson, *Audio EQ Cookbook*, W3C Note, 8 June 2021.
//! A frequency is held between 1 Hz and 0.49 of the rate, Q between 0.05 and 100, a gain within ±40 dB;
//! what is not a number lets everything through. State is double precision.

use rustfft::num_complex::Complex;

use crate::units::{Db, Hertz, SampleRate};

/// What a band of an equaliser does to the sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shape {
    Peak,
    LowShelf,
    HighShelf,
    /// 12 dB per octave; has no gain.
    HighPass,
    /// 12 dB per octave; has no gain.
    LowPass,
}

/// One band of an equaliser and how it is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EqBand {
    pub shape: Shape,
    pub frequency: Hertz,
    pub q: f64,
    /// Negative for a cut.
    pub gain: Db,
}

/// The Q of a filter without a peak at its corner (Butterworth).
pub const FLAT_Q: f64 = std::f64::consts::FRAC_1_SQRT_2;

impl EqBand {
    pub const fn peak(frequency: Hertz, q: f64, gain: Db) -> Self {
        Self { shape: Shape::Peak, frequency, q, gain }
    }

    pub const fn high_pass(frequency: Hertz) -> Self {
        Self { shape: Shape::HighPass, frequency, q: FLAT_Q, gain: Db::ZERO }
    }

    pub const fn low_pass(frequency: Hertz) -> Self {
        Self { shape: Shape::LowPass, frequency, q: FLAT_Q, gain: Db::ZERO }
    }

    /// Slope S = 1: as steep as it can be without a bump.
    pub const fn low_shelf(frequency: Hertz, gain: Db) -> Self {
        Self { shape: Shape::LowShelf, frequency, q: FLAT_Q, gain }
    }

    pub const fn high_shelf(frequency: Hertz, gain: Db) -> Self {
        Self { shape: Shape::HighShelf, frequency, q: FLAT_Q, gain }
    }

    /// Whether it changes nothing.
    pub fn is_flat(&self) -> bool {
        !matches!(self.shape, Shape::HighPass | Shape::LowPass) && self.gain.get() == 0.0
    }

    pub fn coefficients(&self, rate: SampleRate) -> Coefficients {
        let rate = f64::from(rate.get());
        let values = [self.frequency.get(), self.q, self.gain.get()];
        if values.iter().any(|value| value.is_nan()) {
            return Coefficients::THROUGH;
        }
        let angle = std::f64::consts::TAU * values[0].clamp(1.0, 0.49 * rate) / rate;
        let (sin, cos) = angle.sin_cos();
        let alpha = sin / (2.0 * values[1].clamp(0.05, 100.0));
        let a = 10f64.powf(values[2].clamp(-40.0, 40.0) / 40.0);
        let shelf = 2.0 * a.sqrt() * alpha;
        let (b, a) = match self.shape {
            Shape::Peak => {
                ([1.0 + alpha * a, -2.0 * cos, 1.0 - alpha * a], [1.0 + alpha / a, -2.0 * cos, 1.0 - alpha / a])
            }
            Shape::LowShelf => (
                [
                    a * (a + 1.0 - (a - 1.0) * cos + shelf),
                    2.0 * a * (a - 1.0 - (a + 1.0) * cos),
                    a * (a + 1.0 - (a - 1.0) * cos - shelf),
                ],
                [
                    a + 1.0 + (a - 1.0) * cos + shelf,
                    -2.0 * (a - 1.0 + (a + 1.0) * cos),
                    a + 1.0 + (a - 1.0) * cos - shelf,
                ],
            ),
            Shape::HighShelf => (
                [
                    a * (a + 1.0 + (a - 1.0) * cos + shelf),
                    -2.0 * a * (a - 1.0 + (a + 1.0) * cos),
                    a * (a + 1.0 + (a - 1.0) * cos - shelf),
                ],
                [
                    a + 1.0 - (a - 1.0) * cos + shelf,
                    2.0 * (a - 1.0 - (a + 1.0) * cos),
                    a + 1.0 - (a - 1.0) * cos - shelf,
                ],
            ),
            Shape::HighPass => {
                ([(1.0 + cos) / 2.0, -(1.0 + cos), (1.0 + cos) / 2.0], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
            }
            Shape::LowPass => {
                ([(1.0 - cos) / 2.0, 1.0 - cos, (1.0 - cos) / 2.0], [1.0 + alpha, -2.0 * cos, 1.0 - alpha])
            }
        };
        Coefficients { b: b.map(|b| b / a[0]), a: [a[1] / a[0], a[2] / a[0]] }
    }
}

/// b₀ b₁ b₂ and a₁ a₂ of y = b₀x + b₁x₁ + b₂x₂ − a₁y₁ − a₂y₂.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coefficients {
    pub b: [f64; 3],
    pub a: [f64; 2],
}

impl Coefficients {
    pub const THROUGH: Self = Self { b: [1.0, 0.0, 0.0], a: [0.0; 2] };

    /// H(z); `late` is z⁻¹: e^(−j2πf/rate) for a steady tone of f.
    pub fn response(&self, late: Complex<f64>) -> Complex<f64> {
        let above = (late * self.b[2] + self.b[1]) * late + self.b[0];
        let below = (late * self.a[1] + self.a[0]) * late + 1.0;
        above / below
    }
}

/// A filter at work (transposed direct form II).
#[derive(Clone, Copy, Debug)]
pub struct Biquad {
    pub coefficients: Coefficients,
    state: [f64; 2],
}

impl Biquad {
    pub fn new(coefficients: Coefficients) -> Self {
        Self { coefficients, state: [0.0; 2] }
    }

    pub fn next(&mut self, x: f64) -> f64 {
        let Coefficients { b, a } = &self.coefficients;
        let y = b[0] * x + self.state[0];
        self.state = [b[1] * x - a[0] * y + self.state[1], b[2] * x - a[1] * y];
        y
    }

    /// Ends a tail far under the smallest sample, which would end in subnormal numbers.
    pub fn settle(&mut self) {
        self.state.iter_mut().filter(|x| x.abs() < 1e-30).for_each(|x| *x = 0.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use biquad::{Coefficients as Theirs, Type};

    const RATE: u32 = 48_000;

    fn coefficients(band: EqBand) -> Coefficients {
        band.coefficients(SampleRate::new(RATE).unwrap())
    }

    fn decibels(band: EqBand, hz: f64) -> f64 {
        let late = Complex::from_polar(1.0, -std::f64::consts::TAU * hz / f64::from(RATE));
        20.0 * coefficients(band).response(late).norm().log10()
    }

    /// The formulas of the W3C Note, evaluated apart from this program (Python), at 48 kHz.
    #[test]
    fn cookbook_values() {
        let (k, half) = (Hertz::new(1000.0), Hertz::new(2500.0));
        let db = Db::new;
        let table = [
            (
                EqBand::peak(k, 1.0, db(6.0)),
                [1.043953086990335, -1.895320723936596, 0.867722284759857, -1.895320723936596, 0.911675371750192],
            ),
            (
                EqBand::peak(k, 1.0, db(-6.0)),
                [0.957897450050127, -1.815522888486026, 0.873291513873010, -1.815522888486026, 0.831188963923137],
            ),
            (
                EqBand::peak(half, 8.0, db(-6.0)),
                [0.986235385015727, -1.841599653295254, 0.958575109373313, -1.841599653295254, 0.944810494389039],
            ),
            (
                EqBand::low_shelf(k, db(6.0)),
                [1.03256248324759, -1.838856871899641, 0.828747684312470, -1.84445686716092, 0.855710172298781],
            ),
            (
                EqBand::high_shelf(k, db(6.0)),
                [1.932340509499657, -3.564118722439873, 1.653523430323866, -1.780867406799551, 0.802612624183200],
            ),
        ];
        for (band, expected) in table {
            let Coefficients { b, a } = coefficients(band);
            for (ours, theirs) in b.iter().chain(&a).zip(expected) {
                assert!((ours - theirs).abs() < 1e-12, "{band:?}: {ours} is not {theirs}");
            }
        }
    }

    /// Second opinion: the `biquad` crate, by its normalised frequency (1 at half the rate; from the sample
    /// rate its version 0.5 makes another).
    #[test]
    fn another_library_agrees() {
        let db = Db::new;
        for hz in [40.0, 315.0, 2500.0, 12_500.0] {
            let f = Hertz::new(hz);
            for gain in [-9.0, -3.0, 4.0] {
                let pairs = [
                    (EqBand::peak(f, 4.318, db(gain)), Type::PeakingEQ(gain), 4.318),
                    (EqBand::low_shelf(f, db(gain)), Type::LowShelf(gain), FLAT_Q),
                    (EqBand::high_shelf(f, db(gain)), Type::HighShelf(gain), FLAT_Q),
                    (EqBand::high_pass(f), Type::HighPass, FLAT_Q),
                    (EqBand::low_pass(f), Type::LowPass, FLAT_Q),
                ];
                for (band, kind, q) in pairs {
                    let theirs = Theirs::from_normalized_params(kind, 2.0 * hz / f64::from(RATE), q).unwrap();
                    let ours = coefficients(band);
                    let theirs = [theirs.b0, theirs.b1, theirs.b2, theirs.a1, theirs.a2];
                    for (ours, theirs) in ours.b.iter().chain(&ours.a).zip(theirs) {
                        assert!((ours - theirs).abs() < 1e-12, "{band:?}: {ours} is not {theirs}");
                    }
                }
            }
        }
    }

    /// A peak has its whole gain at its frequency, half of it at the edges of its band (cookbook), and a
    /// high-pass of this kind is 3.01 dB down at its corner (Butterworth).
    #[test]
    fn responses() {
        let band = EqBand::peak(Hertz::new(1000.0), 4.318, Db::new(-6.0));
        assert!((decibels(band, 1000.0) + 6.0).abs() < 1e-9);
        // The bilinear transform narrows a band at 1 kHz by far less than this tolerance.
        for edge in [-1.0 / 6.0, 1.0 / 6.0] {
            assert!((decibels(band, 1000.0 * 2f64.powf(edge)) + 3.0).abs() < 0.01);
        }
        assert!((decibels(EqBand::high_pass(Hertz::new(100.0)), 100.0) + 3.0103).abs() < 1e-4);
        assert!(decibels(EqBand::low_shelf(Hertz::new(1000.0), Db::new(-6.0)), 20.0) < -5.99);
    }

    /// What the filter does to a tone is what its response says.
    #[test]
    fn the_filter_has_its_response() {
        let band = EqBand::peak(Hertz::new(2500.0), 8.0, Db::new(-6.0));
        let mut filter = Biquad::new(coefficients(band));
        for hz in [2000.0, 2450.0, 2500.0, 7000.0] {
            let turn = std::f64::consts::TAU * hz / f64::from(RATE);
            let late = Complex::from_polar(1.0, -turn);
            let expected = coefficients(band).response(late);
            for n in 0..9600 {
                let y = filter.next((turn * f64::from(n)).sin());
                let steady = expected.norm() * (turn * f64::from(n) + expected.arg()).sin();
                assert!(n < 4800 || (y - steady).abs() < 1e-9, "{hz} Hz: {y} is not {steady}");
            }
        }
    }

    #[test]
    fn nonsense_passes_or_is_held() {
        for band in [
            EqBand::peak(Hertz::new(f64::NAN), 1.0, Db::new(-6.0)),
            EqBand::peak(Hertz::new(1000.0), f64::NAN, Db::new(-6.0)),
            EqBand::peak(Hertz::new(1000.0), 1.0, Db::new(f64::NAN)),
        ] {
            assert_eq!(coefficients(band), Coefficients::THROUGH);
        }
        for band in [
            EqBand::peak(Hertz::new(-5.0), 0.0, Db::new(f64::NEG_INFINITY)),
            EqBand::peak(Hertz::new(1e9), f64::INFINITY, Db::new(99.0)),
            EqBand::high_pass(Hertz::new(1e9)),
        ] {
            let mut filter = Biquad::new(coefficients(band));
            assert!((0..1000).all(|_| filter.next(0.5).abs() < 1e4), "{band:?}");
        }
    }
}
