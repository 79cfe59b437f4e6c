//! The sound meter's promises: any cut, gaps, invalid samples, silence, no allocation; means over spans.

use assert_no_alloc::assert_no_alloc;
use beforedoors::meters::SoundReadings;
use beforedoors::meters::sound::{SoundMeter, Tally};
use beforedoors::units::{FrameCount, SampleRate, Seconds};

use super::{after, close, meter};
use crate::support::signals::{Noise, amplitude, music, stepped_sine};

const NO_GAP: FrameCount = FrameCount::ZERO;

/// Everything that is said, as text: floats print their shortest exact form.
fn said(readings: &SoundReadings) -> String {
    format!("{readings:?}")
}

/// The same bits however the samples are cut, with a gap on the way, also where 100 ms are no whole number of frames.
#[test]
fn any_cut() {
    for rate in [44_100, 11_025] {
        let sound = music(rate, 3.0, 5);
        let gap_at = 12_345;
        let gap = FrameCount::new(7_001);
        let mut whole = Vec::new();
        let mut one = meter(rate);
        one.push(NO_GAP, &sound[..gap_at], &mut |readings| whole.push(said(readings)));
        one.push(gap, &sound[gap_at..], &mut |readings| whole.push(said(readings)));
        assert!(whole.len() > 25);
        for (seed, most) in [(1, 3000.0), (2, 64.0), (3, 1.0)] {
            let mut cuts = Noise::new(seed).map(|x| 1 + (x.abs() * most) as usize);
            let mut cut = Vec::new();
            let mut other = meter(rate);
            let mut at = 0;
            while at < sound.len() {
                let end = if at < gap_at { gap_at } else { sound.len() };
                let next = end.min(at + cuts.next().expect("endless"));
                let lost = if at == gap_at { gap } else { NO_GAP };
                other.push(lost, &sound[at..next], &mut |readings| cut.push(said(readings)));
                at = next;
            }
            assert!(cut == whole, "cut by {most} at {rate}");
        }
    }
}

#[test]
fn push_allocates_nothing() {
    let sound = music(48_000, 1.0, 9);
    let mut meter = meter(48_000);
    let mut told = 0;
    assert_no_alloc(|| {
        for (gap, part) in [(0, &sound[..7]), (0, &sound[7..30_000]), (100_000, &sound[30_000..]), (0, &sound[..])] {
            meter.push(FrameCount::new(gap), part, &mut |_| told += 1);
        }
        meter.push(FrameCount::new(u64::from(u32::MAX)), &sound, &mut |_| told += 1);
    });
    assert!(told > 25, "{told}");
}

/// A hole is time without sound: the mean goes on over what was heard and says what is missing.
#[test]
fn a_gap_is_a_hole() {
    let rate = 48_000;
    let tone = stepped_sine(rate, 1000.0, &[(10.0, -20.0)]);
    let mut meter = meter(rate);
    meter.push(NO_GAP, &tone, &mut |_| {});
    let before = meter.tally();
    // F holds meanwhile: it neither falls to nothing nor jumps.
    meter.push(FrameCount::new(5 * 48_000), &tone, &mut |readings| close(readings.laf.get(), -23.01, 0.1));
    let readings = meter.readings();
    close(readings.time().get(), 25.0, 1e-9);
    close(readings.whole.level.get(), -23.01, 0.02);
    close(readings.whole.heard.get(), 20.0, 1e-9);
    close(readings.whole.missing(), 0.2, 1e-9);
    close(readings.minute.span.get(), 25.0, 1e-9);
    close(readings.second.missing(), 0.0, 1e-9);
    // From the mark: 5 s lost, 10 s heard.
    let since = meter.tally().since(&before, SampleRate::new(rate).expect("a rate"));
    close(since.missing(), 1.0 / 3.0, 1e-9);
    close(since.level.get(), -23.01, 0.02);
    // A hole that ends in mid-stretch: half of it was heard.
    let mut half = self::meter(rate);
    half.push(NO_GAP, &tone[..4800 + 2400], &mut |_| {});
    let mut told = Vec::new();
    half.push(FrameCount::new(2400 + 4800), &tone[..4800], &mut |r| told.push((r.time().get(), r.newest)));
    assert_eq!(told.len(), 2, "{told:?}");
    close(told[0].0, 0.2, 1e-9);
    close(told[0].1.missing(), 0.5, 1e-9);
    close(told[0].1.level.get(), -23.01, 0.2);
    close(told[1].0, 0.4, 1e-9);
}

/// What was missed makes no peak beyond what a note has that begins in mid-wave: 9 % (Gibbs), 0.8 dB.
#[test]
fn a_gap_clicks_in_no_reading() {
    let rate = 48_000;
    let tone = stepped_sine(rate, 200.0, &[(2.0, -20.0)]);
    for at in [48_000, 48_060, 48_100, 48_139] {
        let mut meter = meter(rate);
        meter.push(NO_GAP, &tone[..at], &mut |_| {});
        meter.push(FrameCount::new(1111), &tone[at + 77..], &mut |_| {});
        close(meter.readings().lc_peak_max.get(), -20.0, 0.9);
        close(meter.readings().laf_max.get(), -33.9, 0.2);
    }
}

#[test]
fn silence_is_minus_infinity_and_nothing_is_nan() {
    let rate = 48_000;
    let quiet = after(rate, &vec![0.0; 96_000]);
    let levels =
        |r: &SoundReadings| [r.laf, r.las, r.lcf, r.lzf, r.laf_max, r.lc_peak_max, r.newest.level, r.whole.level];
    assert!(levels(&quiet).iter().all(|level| level.is_silence()), "{quiet:?}");
    assert!(quiet.percentiles.expect("heard").l10.is_silence() && quiet.tone.is_none());
    assert_eq!(quiet.whole.missing(), 0.0);
    for value in [1e-45, -1e-39, 1e-14, 1.0, -1.0, 1e12, f32::NAN, f32::NEG_INFINITY] {
        let mut meter = meter(rate);
        let mut sound = vec![value; 24_000];
        sound.extend(stepped_sine(rate, 440.0, &[(0.5, -10.0)]));
        sound.extend(vec![0.0; 24_000]);
        meter.push(NO_GAP, &sound, &mut |readings| assert!(!said(readings).contains("NaN"), "{value}: {readings:?}"));
    }
    // After sound come tails, then true silence; a whole silent second is silent.
    let mut tailed = meter(rate);
    tailed.push(NO_GAP, &stepped_sine(rate, 440.0, &[(0.5, -10.0)]), &mut |_| {});
    tailed.push(NO_GAP, &vec![0.0; 12 * 48_000], &mut |_| {});
    let readings = tailed.readings();
    assert!(readings.second.level.is_silence() && readings.bands.thirds.iter().flatten().all(|band| band.is_silence()));
}

#[test]
fn invalid_samples_count_as_zero() {
    let rate = 48_000;
    let mut sound = stepped_sine(rate, 1000.0, &[(1.0, -20.0)]);
    let mut zeroed = sound.clone();
    for index in (0..sound.len()).step_by(997) {
        sound[index] = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY][index % 3];
        zeroed[index] = 0.0;
    }
    let (got, expected) = (after(rate, &sound), after(rate, &zeroed));
    assert_eq!(got.invalid_samples, 49);
    assert_eq!(said(&SoundReadings { invalid_samples: 0, ..got }), said(&expected));
}

/// +g dB in, +g dB out.
#[test]
fn louder_by_as_much() {
    let sound = music(44_100, 2.0, 4);
    let louder: Vec<f32> = sound.iter().map(|x| x * amplitude(-12.0) as f32).collect();
    let (one, other) = (after(44_100, &sound), after(44_100, &louder));
    for (a, b) in [
        (one.laf, other.laf),
        (one.las, other.las),
        (one.lcf, other.lcf),
        (one.lzf, other.lzf),
        (one.laf_max, other.laf_max),
        (one.lc_peak_max, other.lc_peak_max),
        (one.whole.level, other.whole.level),
    ] {
        close((a - b).get(), 12.0, 1e-4);
    }
    for (a, b) in one.whole_bands.thirds.iter().flatten().zip(other.whole_bands.thirds.iter().flatten()) {
        close((*a - *b).get(), 12.0, 1e-3);
    }
}

/// Closed forms: a step from −20 to −30 dBFS; means by the energy, percentiles by the time.
#[test]
fn means_and_percentiles_of_a_step() {
    let rate = 8000;
    let sound = stepped_sine(rate, 1000.0, &[(30.0, -20.0), (90.0, -30.0)]);
    let mut meter = meter(rate);
    meter.push(NO_GAP, &sound, &mut |_| {});
    let readings = *meter.readings();
    let whole = 10.0 * ((30.0 * 0.01 + 90.0 * 0.001) / 120.0f64 / 2.0).log10();
    close(readings.whole.level.get(), whole, 0.01);
    close(readings.minute.level.get(), -33.01, 0.01);
    close(readings.quarter.level.get(), whole, 0.01);
    close(meter.leq(Seconds::new(100.0)).level.get(), 10.0 * ((10.0 * 0.01 + 90.0 * 0.001) / 200.0f64).log10(), 0.01);
    assert_eq!(meter.leq(Seconds::new(500.0)).span.get(), 120.0);
    assert_eq!(meter.leq(Seconds::new(-1.0)).span.get(), 0.0);
    let percentiles = readings.percentiles.expect("heard");
    close(percentiles.l10.get(), -23.01, 0.06);
    close(percentiles.l50.get(), -33.01, 0.06);
    close(percentiles.l90.get(), -33.01, 0.06);
}

/// A quarter of an hour slides: what is older is forgotten.
#[test]
fn a_quarter_of_an_hour_slides() {
    let rate = 8000;
    let loud = stepped_sine(rate, 1000.0, &[(60.0, -20.0)]);
    let soft = stepped_sine(rate, 1000.0, &[(60.0, -40.0)]);
    let mut meter = meter(rate);
    let mut quarters = Vec::new();
    for minute in 0..17 {
        meter.push(NO_GAP, if minute == 0 { &loud } else { &soft }, &mut |_| {});
        quarters.push(meter.readings().quarter);
    }
    close(quarters[14].level.get(), 10.0 * ((0.01 + 14.0 * 1e-4) / 30.0f64).log10(), 0.01);
    close(quarters[15].level.get(), -43.01, 0.01);
    assert_eq!((quarters[16].span.get(), quarters[4].span.get()), (900.0, 300.0));
    assert_eq!(meter.tally().since(&Tally::default(), SampleRate::new(rate).expect("a rate")), meter.readings().whole);
}

#[test]
fn nothing_at_all() {
    let mut meter = SoundMeter::new(SampleRate::new(192_000).expect("a rate"));
    meter.push(NO_GAP, &[], &mut |_| panic!("nothing was heard"));
    meter.push(FrameCount::new(1_000_000), &[], &mut |_| panic!("nothing was heard"));
    assert!(meter.readings().laf.is_silence() && meter.readings().percentiles.is_none());
    assert_eq!(meter.readings().whole.missing(), 1.0);
}
