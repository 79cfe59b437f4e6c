//! A, C and Z against IEC 61672-1:2013, Table 3, at every nominal frequency.

use std::f64::consts::TAU;

use beforedoors::dsp::weighting::{Class, NOMINAL, Weighting, WeightingFilter, nominal};
use beforedoors::units::{Hertz, SampleRate};

use super::{after, close};
use crate::support::signals::{Noise, stepped_sine};

/// Table 3: nominal frequency, A, C, and the class 1 limits above and below.
const TABLE: [(f64, f64, f64, f64, f64); 34] = [
    (10.0, -70.4, -14.3, 3.0, f64::NEG_INFINITY),
    (12.5, -63.4, -11.2, 2.5, f64::NEG_INFINITY),
    (16.0, -56.7, -8.5, 2.0, -4.0),
    (20.0, -50.5, -6.2, 2.0, -2.0),
    (25.0, -44.7, -4.4, 2.0, -1.5),
    (31.5, -39.4, -3.0, 1.5, -1.5),
    (40.0, -34.6, -2.0, 1.0, -1.0),
    (50.0, -30.2, -1.3, 1.0, -1.0),
    (63.0, -26.2, -0.8, 1.0, -1.0),
    (80.0, -22.5, -0.5, 1.0, -1.0),
    (100.0, -19.1, -0.3, 1.0, -1.0),
    (125.0, -16.1, -0.2, 1.0, -1.0),
    (160.0, -13.4, -0.1, 1.0, -1.0),
    (200.0, -10.9, 0.0, 1.0, -1.0),
    (250.0, -8.6, 0.0, 1.0, -1.0),
    (315.0, -6.6, 0.0, 1.0, -1.0),
    (400.0, -4.8, 0.0, 1.0, -1.0),
    (500.0, -3.2, 0.0, 1.0, -1.0),
    (630.0, -1.9, 0.0, 1.0, -1.0),
    (800.0, -0.8, 0.0, 1.0, -1.0),
    (1000.0, 0.0, 0.0, 0.7, -0.7),
    (1250.0, 0.6, 0.0, 1.0, -1.0),
    (1600.0, 1.0, -0.1, 1.0, -1.0),
    (2000.0, 1.2, -0.2, 1.0, -1.0),
    (2500.0, 1.3, -0.3, 1.0, -1.0),
    (3150.0, 1.2, -0.5, 1.0, -1.0),
    (4000.0, 1.0, -0.8, 1.0, -1.0),
    (5000.0, 0.5, -1.3, 1.5, -1.5),
    (6300.0, -0.1, -2.0, 1.5, -2.0),
    (8000.0, -1.1, -3.0, 1.5, -2.5),
    (10_000.0, -2.5, -4.4, 2.0, -3.0),
    (12_500.0, -4.3, -6.2, 2.0, -5.0),
    (16_000.0, -6.6, -8.5, 2.5, -16.0),
    (20_000.0, -9.3, -11.2, 3.0, f64::NEG_INFINITY),
];

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).expect("a rate")
}

/// What a sine of full scale comes to, in dB re itself: its amplitude in the last second of two, by correlation.
fn through(weighting: Weighting, hz: f64, at: u32) -> f64 {
    let mut filter = WeightingFilter::new(weighting, rate(at));
    let (mut re, mut im, mut weights) = (0.0, 0.0, 0.0);
    for n in 0..2 * at {
        let phase = TAU * hz * f64::from(n) / f64::from(at);
        let y = filter.next(phase.sin());
        if n >= at {
            // A Hann window: the second need not hold whole periods.
            let window = 0.5 - 0.5 * (TAU * f64::from(n - at) / f64::from(at)).cos();
            re += window * y * phase.cos();
            im += window * y * phase.sin();
            weights += window;
        }
    }
    20.0 * (2.0 * re.hypot(im) / weights).log10()
}

/// The goals to the printed tenth, and sines that went through the filters within the class 1 limits.
#[test]
fn class_one_at_every_nominal_frequency() {
    for (index, (label, a, c, most, least)) in TABLE.into_iter().enumerate() {
        let exact = nominal(index);
        assert!((exact.get() / label - 1.0).abs() < 0.02, "{label} is not {exact:?}");
        for (weighting, printed) in [(Weighting::A, a), (Weighting::C, c), (Weighting::Z, 0.0)] {
            let goal = weighting.goal(exact);
            close(goal, printed, 0.0501);
            for at in [44_100, 48_000, 96_000] {
                let measured = through(weighting, exact.get(), at);
                let error = measured - goal;
                assert!((least..=most).contains(&error), "{weighting:?} at {label} Hz, rate {at}: {error:+.2} dB");
                // What is told of the filter is what it does.
                close(weighting.response(exact, rate(at)), measured, 0.01);
                assert_eq!(weighting.class_at(index, rate(at)), Class::One);
            }
        }
    }
}

/// Beyond the standard's wide limits: at the usual rates no filter is off by a tenth up to 10 kHz, or by 0.9 dB anywhere.
#[test]
fn closer_than_the_limits() {
    for at in [44_100, 48_000, 88_200, 96_000, 192_000] {
        for index in 0..NOMINAL {
            for weighting in [Weighting::A, Weighting::C, Weighting::Z] {
                let error = weighting.response(nominal(index), rate(at)) - weighting.goal(nominal(index));
                assert!(error.abs() < if index <= 30 { 0.1 } else { 0.9 }, "{weighting:?} {index} {at}: {error}");
            }
        }
    }
}

/// scipy 1.17.1: `freqs_zpk` with the poles of annex E and a gain of 1 at 1 kHz, in dB.
#[test]
fn another_library_agrees_on_the_goals() {
    for (hz, a, c) in SCIPY {
        close(Weighting::A.goal(Hertz::new(hz)), a, 1e-4);
        close(Weighting::C.goal(Hertz::new(hz)), c, 1e-4);
    }
}

const SCIPY: [(f64, f64, f64); 5] = [
    (31.623, -39.43981, -3.01026),
    (251.189, -8.63028, 0.0),
    (3162.278, 1.1987, -0.50379),
    (12_589.254, -4.31751, -6.24006),
    (19_952.623, -9.31693, -11.24862),
];

/// Where the rate ends before the table does, what is left is class 2 or less, and says so.
#[test]
fn low_rates_say_what_they_are() {
    let classes = |at: u32| -> Vec<Class> { (0..NOMINAL).map(|i| Weighting::A.class_at(i, rate(at))).collect() };
    // 22.05 kHz: 12.5 and 16 kHz are gone, for which class 1 has a lower limit and class 2 none.
    assert_eq!(classes(22_050)[..31], [Class::One; 31]);
    assert_eq!(classes(22_050)[31..33], [Class::Two; 2]);
    // 16 kHz: class 2 has no lower limit from 10 kHz on, class 1 none at 20 kHz.
    assert_eq!(classes(16_000)[30..], [Class::Two, Class::Two, Class::Two, Class::One]);
    // 8 kHz: 5, 6.3 and 8 kHz are gone, which no class allows.
    assert_eq!(classes(8_000)[27..30], [Class::Neither; 3]);
    assert_eq!(Weighting::A.class_at(NOMINAL, rate(48_000)), Class::Neither);
}

/// 1 kHz reads the same with every weighting, and what it is: a sine of −20 dBFS has −23.01.
#[test]
fn one_kilohertz_is_the_reference() {
    for at in [44_100, 48_000, 96_000] {
        let readings = after(at, &stepped_sine(at, 1000.0, &[(3.0, -20.0)]));
        for level in [readings.laf, readings.lcf, readings.lzf, readings.second.level] {
            close(level.get(), -23.0103, 0.01);
        }
        close(readings.las.get(), -23.0103 + 10.0 * (1.0 - (-3f64).exp()).log10(), 0.01);
    }
}

/// LAeq of white noise, against Fourier's transform of it weighted by the goals. The filters have at most 0.8 dB less
/// than the goals at 20 kHz, where a hundredth of the energy lies.
#[test]
fn noise_as_by_fourier() {
    let at = 48_000;
    let samples: Vec<f32> = Noise::new(7).take(4 * at).map(|x| (0.1 * x) as f32).collect();
    let mut spectrum: Vec<_> = samples.iter().map(|&x| rustfft::num_complex::Complex::new(f64::from(x), 0.0)).collect();
    rustfft::FftPlanner::new().plan_fft_forward(samples.len()).process(&mut spectrum);
    let mut power = 0.0;
    for (bin, value) in spectrum.iter().enumerate().take(samples.len() / 2).skip(1) {
        let hz = Hertz::new(bin as f64 * 0.25);
        power += 2.0 * value.norm_sqr() * 10f64.powf(Weighting::A.goal(hz) / 10.0);
    }
    let expected = 10.0 * (power / (samples.len() as f64).powi(2)).log10();
    close(after(at as u32, &samples).whole.level.get(), expected, 0.05);
}
