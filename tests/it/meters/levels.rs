//! Peaks, RMS, crest and true peak: textbook identities, and slow references in `f64`.

use crate::support::reference::{decibels, rms, sample_peak, true_peak};
use crate::support::signals::{Noise, music, stepped_sine};
use crate::support::takes::{listen, measure};
use beforedoors::units::Dbfs;
use std::f64::consts::TAU;

#[track_caller]
fn close(value: f64, expected: f64, tolerance: f64) {
    assert!((value - expected).abs() <= tolerance, "{value} is not {expected} ± {tolerance}");
}

/// AES17: a full-scale 997 Hz sine reads 0 dBFS, 3.01 dB above the plain RMS; a full-scale square +3.01.
/// Crest factors of sine, square and triangle: 3.0103, 0 and 4.7712 dB (elementary).
#[test]
fn textbook_waves() {
    let sine = |t: f64| (TAU * t).sin();
    let square = |t: f64| if t.fract() < 0.5 { 1.0 } else { -1.0 };
    let triangle = |t: f64| 1.0 - 4.0 * (t.fract() - 0.5).abs();
    let waves: [&dyn Fn(f64) -> f64; 3] = [&sine, &square, &triangle];
    for (wave, crest) in waves.into_iter().zip([3.0103, 0.0, 4.7712]) {
        let samples: Vec<f32> = (0..48_000).map(|i| wave(f64::from(i) * 10.0 / 48_000.0) as f32).collect();
        let whole = measure(48_000, &[samples]).channels[0].whole;
        close(whole.sample_peak.get(), 0.0, 1e-3);
        close(whole.crest().unwrap().get(), crest, 1e-3);
        close((whole.rms + Dbfs::AES17_OFFSET).get(), 3.0103 - crest, 1e-3);
    }
}

/// EBU R 68 alignment, a sine of −18 dBFS by its peak: sample and true peak −18.0, RMS −21.0, AES17 −18.0.
#[test]
fn alignment_tone() {
    let whole = measure(48_000, &[stepped_sine(48_000, 997.0, &[(5.0, -18.0)])]).channels[0].whole;
    close(whole.sample_peak.get(), -18.0, 0.01);
    close(whole.true_peak.get(), -18.0, 0.05);
    close(whole.rms.get(), -21.01, 0.01);
    close((whole.rms + Dbfs::AES17_OFFSET).get(), -18.0, 0.01);
}

/// The slow reference, on noise and music at rates whose hops are even and uneven, with a short last hop.
#[test]
fn slow_reference() {
    for (rate, seed) in [(8_000, 1), (11_025, 2), (44_100, 3), (48_000, 4), (96_000, 5)] {
        let length = rate as usize + 777;
        let noise: Vec<f32> = Noise::new(seed).take(length).map(|x| (0.3 * x + 0.05) as f32).collect();
        let music = music(rate, 2.003, seed);
        for signal in [noise, music] {
            let whole = measure(rate, std::slice::from_ref(&signal)).channels[0].whole;
            close(whole.sample_peak.get(), decibels(sample_peak(&signal)), 0.01);
            close(whole.rms.get(), decibels(rms(&signal)), 0.01);
            close(whole.true_peak.get(), decibels(true_peak(&signal)), 0.01);
            let mean = signal.iter().map(|&x| f64::from(x)).sum::<f64>() / signal.len() as f64;
            close(whole.dc, mean, 1e-9);
            close(whole.length.get(), signal.len() as f64 / f64::from(rate), 1e-9);
        }
    }
}

/// Every hop and every frame against the reference on its own samples.
#[test]
fn hops_and_frames() {
    let rate = 11_025u32;
    let signal = music(rate, 3.0, 9);
    let (mut start, mut frame_start) = (0, 0);
    listen(rate, std::slice::from_ref(&signal), &mut |readings| {
        let end = readings.at.get() as usize;
        let channel = &readings.channels[0];
        close(channel.hop.rms.get(), decibels(rms(&signal[start..end])), 0.01);
        close(channel.hop.sample_peak.get(), decibels(sample_peak(&signal[start..end])), 0.01);
        assert!(channel.hop.true_peak >= channel.hop.sample_peak);
        if readings.frame_complete {
            close(channel.frame.rms.get(), decibels(rms(&signal[frame_start..end])), 0.01);
            close(channel.frame.sample_peak.get(), decibels(sample_peak(&signal[frame_start..end])), 0.01);
            frame_start = end;
        }
        start = end;
    });
    assert_eq!(start, signal.len());
}

/// A take that ends in a crest between its last samples: the filter runs out.
#[test]
fn true_peak_at_the_end() {
    for length in [960, 967, 20, 1] {
        let mut signal = vec![0f32; length];
        let last = signal.len().saturating_sub(2);
        signal[last..].fill(0.7);
        let whole = measure(48_000, std::slice::from_ref(&signal)).channels[0].whole;
        close(whole.true_peak.get(), decibels(true_peak(&signal)), 0.01);
    }
}

/// Parseval: the bands of a steady tone add up to its power, and its own band holds nearly all of it.
#[test]
fn bands_of_a_steady_tone() {
    let signal = stepped_sine(44_100, 1000.0, &[(1.0, -20.0)]);
    let mut frames = 0;
    listen(44_100, &[signal], &mut |readings| {
        if readings.frame_complete {
            let bands = &readings.channels[0].frame.bands;
            let total: f64 = bands.iter().map(|&power| f64::from(power)).sum();
            close(10.0 * total.log10(), -23.0103, 0.02);
            assert!(f64::from(bands[16]) > 0.99 * total);
            frames += 1;
        }
    });
    assert_eq!(frames, 10);
}
