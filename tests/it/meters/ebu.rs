//! EBU Tech 3341 (v4, November 2023) Table 1 and EBU Tech 3342, synthesised: 1 kHz in phase on both
//! channels at 48 kHz unless said. Tolerances are the EBU's: ±0.1 LU, +0.2/−0.4 dB, ±1 LU.
//! Cases 7 and 8 (3342: 5 and 6) need the EBU's own programmes.

use crate::support::signals::{faded_sine, spliced_burst, stepped_sine};
use crate::support::takes::{listen, measure};
use beforedoors::meters::Programme;
use std::f64::consts::{FRAC_PI_2, FRAC_PI_3, FRAC_PI_4, TAU};

const RATE: u32 = 48_000;
const SILENCE: f64 = f64::NEG_INFINITY;

fn stereo(steps: &[(f64, f64)]) -> Vec<Vec<f32>> {
    vec![stepped_sine(RATE, 1000.0, steps); 2]
}

fn programme(steps: &[(f64, f64)]) -> Programme {
    measure(RATE, &stereo(steps)).programme
}

#[track_caller]
fn close(value: f64, expected: f64) {
    assert!((value - expected).abs() <= 0.1, "{value} is not {expected} ± 0.1");
}

/// 3341 §2.9: the definition of the scale.
#[test]
fn scale() {
    close(programme(&[(20.0, -18.0)]).integrated.get(), -18.0);
}

#[test]
fn cases_1_and_2() {
    for level in [-23.0, -33.0] {
        let programme = programme(&[(20.0, level)]);
        for value in [programme.momentary, programme.short_term, programme.integrated] {
            close(value.get(), level);
        }
    }
}

#[test]
fn cases_3_to_5() {
    let takes: [&[(f64, f64)]; 3] = [
        &[(10.0, -36.0), (60.0, -23.0), (10.0, -36.0)],
        &[(10.0, -72.0), (10.0, -36.0), (60.0, -23.0), (10.0, -36.0), (10.0, -72.0)],
        &[(20.0, -26.0), (20.1, -20.0), (20.0, -26.0)],
    ];
    for steps in takes {
        close(programme(steps).integrated.get(), -23.0);
    }
}

/// 5.0: left, right, centre, left and right surround. As 5.1 with a loud low-frequency channel, left out.
#[test]
fn case_6() {
    let channel = |level| stepped_sine(RATE, 1000.0, &[(20.0, level)]);
    let mut planes: Vec<_> = [-28.0, -28.0, -24.0, -30.0, -30.0].map(channel).into();
    close(measure(RATE, &planes).programme.integrated.get(), -23.0);
    planes.insert(3, channel(-10.0));
    close(measure(RATE, &planes).programme.integrated.get(), -23.0);
}

/// Short-term, and momentary, constant from when the window is full.
#[test]
fn cases_9_and_12() {
    let nine: Vec<_> = [(1.34, -20.0), (1.66, -30.0)].repeat(5);
    listen(RATE, &stereo(&nine), &mut |readings| {
        if readings.at.get() >= 144_000 {
            close(readings.programme.short_term.get(), -23.0);
        }
    });
    let twelve: Vec<_> = [(0.18, -20.0), (0.22, -30.0)].repeat(25);
    listen(RATE, &stereo(&twelve), &mut |readings| {
        if readings.at.get() >= 48_000 {
            close(readings.programme.momentary.get(), -23.0);
        }
    });
}

/// The highest short-term value wherever the 3 s begin (files).
#[test]
fn case_10() {
    for i in 0..20 {
        let programme = programme(&[(f64::from(i) * 0.15, SILENCE), (3.0, -23.0), (1.0, SILENCE)]);
        close(programme.short_term_max.get(), -23.0);
    }
}

/// The highest short-term value of each tone in turn (live).
#[test]
fn case_11() {
    let mut steps = Vec::new();
    for i in 0..20 {
        let pause = f64::from(i) * 0.15;
        steps.extend([(pause, SILENCE), (3.0, -38.0 + f64::from(i)), (3.0 - pause, SILENCE)]);
    }
    let mut highest = [SILENCE; 20];
    listen(RATE, &stereo(&steps), &mut |readings| {
        // A part is over when its last window is.
        let part = ((readings.at.get() - 1) / (6 * u64::from(RATE))) as usize;
        highest[part] = highest[part].max(readings.programme.short_term.get());
    });
    for (i, value) in highest.into_iter().enumerate() {
        close(value, -38.0 + i as f64);
    }
}

/// The highest momentary value wherever the 400 ms begin (files): a 100 ms grid would miss it by 0.45 LU.
#[test]
fn case_13() {
    for i in 0..20 {
        let programme = programme(&[(f64::from(i) * 0.02, SILENCE), (0.4, -23.0), (1.0, SILENCE)]);
        close(programme.momentary_max.get(), -23.0);
    }
}

/// The highest momentary value of each tone in turn (live).
#[test]
fn case_14() {
    let mut steps = Vec::new();
    for i in 0..20 {
        let pause = f64::from(i) * 0.02;
        steps.extend([(pause, SILENCE), (0.4, -38.0 + f64::from(i)), (0.4 - pause, SILENCE)]);
    }
    let mut highest = [SILENCE; 20];
    listen(RATE, &stereo(&steps), &mut |readings| {
        let part = ((readings.at.get() - 1) / (8 * u64::from(RATE) / 10)) as usize;
        highest[part] = highest[part].max(readings.programme.momentary.get());
    });
    for (i, value) in highest.into_iter().enumerate() {
        close(value, -38.0 + i as f64);
    }
}

#[track_caller]
fn true_peak(signal: Vec<f32>, expected: f64) {
    let value = measure(RATE, &[signal.clone(), signal]).programme.true_peak.get();
    assert!((expected - 0.4..=expected + 0.2).contains(&value), "{value} is not {expected} +0.2/−0.4");
}

/// Sines between the samples: fs/4, fs/6, fs/8 with 10 ms fades.
#[test]
fn cases_15_to_19() {
    let sine = |step, phase, level| faded_sine(48_000, step, phase, level, 480);
    true_peak(sine(FRAC_PI_2, 0.0, 0.50), -6.0);
    true_peak(sine(FRAC_PI_2, FRAC_PI_4, 0.50), -6.0);
    true_peak(sine(FRAC_PI_3, FRAC_PI_3, 0.50), -6.0);
    true_peak(sine(FRAC_PI_4, 67.5 / 360.0 * TAU, 0.50), -6.0);
    true_peak(sine(FRAC_PI_2, FRAC_PI_4, 1.41), 3.0);
}

/// One full-scale period between samples. Their sample peaks, by an independent construction, are
/// −0.15, −0.55, −2.64 and −0.55 dBFS in some order.
#[test]
fn cases_20_to_23() {
    (0..4).for_each(|offset| true_peak(spliced_burst(offset), 0.0));
}

/// Tech 3342 cases 1 to 4.
#[test]
fn loudness_range() {
    let takes: [(&[f64], f64); 4] = [
        (&[-20.0, -30.0], 10.0),
        (&[-20.0, -15.0], 5.0),
        (&[-40.0, -20.0], 20.0),
        (&[-50.0, -35.0, -20.0, -35.0, -50.0], 15.0),
    ];
    for (levels, expected) in takes {
        let steps: Vec<_> = levels.iter().map(|&level| (20.0, level)).collect();
        let range = programme(&steps).range.expect("a range").get();
        assert!((range - expected).abs() <= 1.0, "{range} is not {expected} ± 1");
    }
}

/// BS.1770-5 Annex 1: a full-scale sine of 997 Hz on one front channel reads −3.01 LKFS, at every rate.
#[test]
fn anchor_at_every_rate() {
    for rate in [8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000] {
        let sine = stepped_sine(rate, 997.0, &[(3.0, 0.0)]);
        let value = measure(rate, &[sine]).programme.integrated.get();
        assert!((value + 3.0103).abs() < 0.01, "{rate} Hz: {value}");
    }
}
