//! Frequency weightings A, C and Z of IEC 61672-1:2013, and the class that the filters keep at every nominal frequency.
//!
//! In and out: amplitudes. Design goals by the poles of annex E; 0 dB at 1 kHz. High-pass poles by the bilinear
//! transform with each corner pre-warped; the pair at 12.2 kHz, which at usual rates lies near half the rate, by poles
//! matched in time and a numerator that gives the analogue gain at 0, at a quarter and at half of the rate (M. Vicanek,
//! *Matched second order digital filters*, 2016). Z takes off what lies under 1 Hz: converters have an offset.
//! Where the rate ends, nothing is heard: [`Weighting::class_at`] says which class that leaves. The class is the
//! filter's alone; a microphone has its own.

use std::f64::consts::{PI, TAU};

use rustfft::num_complex::Complex;

use crate::dsp::biquad::{Biquad, Coefficients};
use crate::units::{Hertz, SampleRate};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weighting {
    A,
    C,
    Z,
}

/// How close to the design goal, by the acceptance limits of IEC 61672-1:2013, Table 3.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    One,
    Two,
    Neither,
}

/// The poles in Hz (annex E).
const LOW: f64 = 20.598_997;
const A_LOW: f64 = 107.652_65;
const A_HIGH: f64 = 737.862_23;
const HIGH: f64 = 12_194.217;
const Z_LOW: f64 = 1.0;
const REFERENCE: f64 = 1000.0;

const NONE: f64 = f64::NEG_INFINITY;

/// Table 3, from 10 Hz to 20 kHz: class 1 above and below the goal, class 2 above and below, dB.
const LIMITS: [[f64; 4]; 34] = [
    [3.0, NONE, 5.0, NONE],
    [2.5, NONE, 5.0, NONE],
    [2.0, -4.0, 5.0, NONE],
    [2.0, -2.0, 3.0, -3.0],
    [2.0, -1.5, 3.0, -3.0],
    [1.5, -1.5, 3.0, -3.0],
    [1.0, -1.0, 2.0, -2.0],
    [1.0, -1.0, 2.0, -2.0],
    [1.0, -1.0, 2.0, -2.0],
    [1.0, -1.0, 2.0, -2.0],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 1.5, -1.5],
    [0.7, -0.7, 1.0, -1.0],
    [1.0, -1.0, 1.5, -1.5],
    [1.0, -1.0, 2.0, -2.0],
    [1.0, -1.0, 2.0, -2.0],
    [1.0, -1.0, 2.5, -2.5],
    [1.0, -1.0, 2.5, -2.5],
    [1.0, -1.0, 3.0, -3.0],
    [1.5, -1.5, 3.5, -3.5],
    [1.5, -2.0, 4.5, -4.5],
    [1.5, -2.5, 5.0, -5.0],
    [2.0, -3.0, 5.0, NONE],
    [2.0, -5.0, 5.0, NONE],
    [2.5, -16.0, 5.0, NONE],
    [3.0, NONE, 5.0, NONE],
];

/// The exact frequency behind nominal frequency `index`: 0 is 10 Hz, 33 is 20 kHz.
pub fn nominal(index: usize) -> Hertz {
    Hertz::new(1000.0 * 10f64.powf((index as f64 - 20.0) / 10.0))
}

pub const NOMINAL: usize = LIMITS.len();

impl Weighting {
    /// The design goal in dB (annex E).
    pub fn goal(self, frequency: Hertz) -> f64 {
        let gain = |hz: f64| {
            let square = hz * hz;
            let high_pass = |pole: f64| square / (square + pole * pole);
            let c = high_pass(LOW) / (1.0 + square / (HIGH * HIGH));
            match self {
                Self::A => c * (high_pass(A_LOW) * high_pass(A_HIGH)).sqrt(),
                Self::C => c,
                Self::Z => 1.0,
            }
        };
        20.0 * (gain(frequency.get()) / gain(REFERENCE)).log10()
    }

    /// What the filter at this rate does to a steady tone, in dB; nothing is left of one that the rate can't hold.
    pub fn response(self, frequency: Hertz, rate: SampleRate) -> f64 {
        if frequency.get() >= 0.5 * f64::from(rate.get()) {
            return f64::NEG_INFINITY;
        }
        20.0 * response(&self.sections(rate), frequency.get(), rate).log10()
    }

    /// The class that the filter at this rate keeps at nominal frequency `index`.
    pub fn class_at(self, index: usize, rate: SampleRate) -> Class {
        let Some([most, least, most_of_two, least_of_two]) = LIMITS.get(index).copied() else { return Class::Neither };
        let error = self.response(nominal(index), rate) - self.goal(nominal(index));
        if (least..=most).contains(&error) {
            Class::One
        } else if (least_of_two..=most_of_two).contains(&error) {
            Class::Two
        } else {
            Class::Neither
        }
    }

    fn sections(self, rate: SampleRate) -> [Coefficients; 3] {
        let mut sections = match self {
            Self::A => [high_pass(LOW, LOW, rate), high_pass(A_LOW, A_HIGH, rate), low_pass(HIGH, rate)],
            Self::C => [high_pass(LOW, LOW, rate), Coefficients::THROUGH, low_pass(HIGH, rate)],
            Self::Z => {
                let (zero, pole) = ([1.0, -1.0, 0.0], corner(Z_LOW, rate));
                [Coefficients { b: zero, a: [-pole, 0.0] }, Coefficients::THROUGH, Coefficients::THROUGH]
            }
        };
        let gain = response(&sections, REFERENCE, rate);
        sections[0].b = sections[0].b.map(|b| b / gain);
        sections
    }
}

fn response(sections: &[Coefficients], hz: f64, rate: SampleRate) -> f64 {
    let late = Complex::from_polar(1.0, -TAU * hz / f64::from(rate.get()));
    sections.iter().map(|section| section.response(late).norm()).product()
}

/// A pole by the bilinear transform.
fn corner(hz: f64, rate: SampleRate) -> f64 {
    let warped = (PI * hz / f64::from(rate.get())).tan();
    (1.0 - warped) / (1.0 + warped)
}

/// Two zeros at 0 Hz, two real poles.
fn high_pass(one: f64, other: f64, rate: SampleRate) -> Coefficients {
    let [one, other] = [one, other].map(|hz| corner(hz, rate));
    Coefficients { b: [1.0, -2.0, 1.0], a: [-(one + other), one * other] }
}

/// Two equal real poles, with the analogue gain at three frequencies.
fn low_pass(hz: f64, rate: SampleRate) -> Coefficients {
    let rate = f64::from(rate.get());
    let pole = (-TAU * hz / rate).exp();
    let a = [-2.0 * pole, pole * pole];
    let goal = |frequency: f64| (1.0 + (frequency / hz).powi(2)).powi(-2);
    // |B|² = b₀φ₀ + b₁φ₁ + b₂φ₂ with φ₁ = sin²(ω/2), φ₀ = 1 − φ₁, φ₂ = 4φ₀φ₁; at a quarter of the rate ½, ½, 1.
    let below = [(1.0 + a[0] + a[1]).powi(2), (1.0 - a[0] + a[1]).powi(2), -4.0 * a[1]];
    let quarter = 0.5 * (below[0] + below[1]) + below[2];
    let at_zero = below[0];
    let at_half = below[1] * goal(0.5 * rate);
    let between = quarter * goal(0.25 * rate) - 0.5 * (at_zero + at_half);
    let mean = 0.5 * (at_zero.sqrt() + at_half.sqrt());
    let first = 0.5 * (mean + (mean * mean + between).sqrt());
    Coefficients { b: [first, 0.5 * (at_zero.sqrt() - at_half.sqrt()), -between / (4.0 * first)], a }
}

/// A weighting at work on one channel.
#[derive(Clone, Debug)]
pub struct WeightingFilter([Biquad; 3]);

impl WeightingFilter {
    pub fn new(weighting: Weighting, rate: SampleRate) -> Self {
        Self(weighting.sections(rate).map(Biquad::new))
    }

    pub fn next(&mut self, sample: f64) -> f64 {
        self.0.iter_mut().fold(sample, |x, section| section.next(x))
    }

    /// Ends tails; where it is called decides the last bits: at fixed times.
    pub fn settle(&mut self) {
        self.0.iter_mut().for_each(Biquad::settle);
    }

    /// Forgets what it heard.
    pub fn reset(&mut self) {
        self.0.iter_mut().for_each(|section| *section = Biquad::new(section.coefficients));
    }
}
