//! The spectrum meter against closed forms: sines of known frequency and level, silence, any cut into blocks.

use crate::support::signals::stepped_sine;
use crate::support::takes::{format, push_cut};
use beforedoors::meters::{Meters, Peak};

fn last_peaks(rate: u32, samples: Vec<f32>) -> Vec<Peak> {
    let mut meters = Meters::new(format(rate, 1), &[]).with_spectra();
    push_cut(&mut meters, &[samples], &[777], &mut |_| {});
    meters.readings().channels[0].spectrum.peaks.clone()
}

/// A full-scale sine reads −3.01 dBFS RMS; bins are 5.9 Hz wide, so a tenth of a cent at 1 kHz is 1/100 of one.
#[test]
fn sines() {
    for rate in [8_000, 11_025, 44_100, 48_000, 96_000] {
        for frequency in [120.0, 250.3, 440.0, 997.0, 1234.567, 3500.1, 9876.5] {
            if frequency > 0.44 * f64::from(rate) {
                continue;
            }
            let peaks = last_peaks(rate, stepped_sine(rate, frequency, &[(0.5, -20.0)]));
            assert_eq!(peaks.len(), 1, "{rate} Hz, {frequency}: {peaks:?}");
            let (found, level) = (peaks[0].frequency.get(), peaks[0].level.get());
            assert!((found / frequency - 1.0).abs() < 3e-5, "{rate} Hz, {frequency}: {found}");
            assert!((level + 23.0103).abs() < 0.05, "{rate} Hz, {frequency}: {level}");
            assert!(peaks[0].over.is_silence() && peaks[0].under.is_silence());
        }
    }
}

#[test]
fn a_harmonic_is_seen_from_both_ends() {
    let wave: Vec<f32> = stepped_sine(48_000, 600.0, &[(0.5, -20.0)])
        .into_iter()
        .zip(stepped_sine(48_000, 1200.0, &[(0.5, -40.0)]))
        .map(|(a, b)| a + b)
        .collect();
    let peaks = last_peaks(48_000, wave);
    assert_eq!(peaks.len(), 2);
    assert!((peaks[0].over - peaks[0].level).get() < -19.9 && (peaks[0].over - peaks[0].level).get() > -20.1);
    assert!((peaks[1].under - peaks[1].level).get() > 19.9);
}

#[test]
fn silence_and_constants_have_no_tones() {
    for value in [0.0, 1e-30, 0.5, -1.0, f32::NAN] {
        let peaks = last_peaks(48_000, vec![value; 24_000]);
        assert!(peaks.is_empty(), "{value}: {peaks:?}");
    }
}

#[test]
fn only_where_it_is_asked_for() {
    let mut meters = Meters::new(format(48_000, 1), &[]);
    push_cut(&mut meters, &[stepped_sine(48_000, 1000.0, &[(0.5, -20.0)])], &[480], &mut |_| {});
    assert_eq!(meters.readings().channels[0].spectrum.count, 0);
}

/// A spectrum every 20 ms once 171 ms are there, and again after a gap.
#[test]
fn in_parallel_and_in_any_cut() {
    let planes: Vec<Vec<f32>> = (1..4).map(|k| stepped_sine(44_100, 333.0 * f64::from(k), &[(1.0, -20.0)])).collect();
    let told = |cuts: &[usize]| {
        let mut meters = Meters::new(format(44_100, 3), &[]).with_spectra();
        let mut lines = Vec::new();
        push_cut(&mut meters, &planes, cuts, &mut |readings| lines.push(format!("{:?}", readings.channels)));
        lines
    };
    let whole = told(&[usize::MAX / 2]);
    assert_eq!(whole, told(&[100, 3, 5000]));
    let mut meters = Meters::new(format(44_100, 3), &[]).with_spectra();
    let mut lines = Vec::new();
    let block = beforedoors::block::Block::new(&planes, Default::default(), Default::default());
    meters.push_parallel(&block, &mut |readings| lines.push(format!("{:?}", readings.channels)));
    assert_eq!(whole, lines);
}
