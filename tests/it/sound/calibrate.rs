//! Compared with a meter or a calibrator: the result, its uncertainty, and every refusal.

use beforedoors::coach::sound::{
    Calibration, CalibratorLevel, Comparison, Microphone, Refusal, Standard, ToneCalibration,
};
use beforedoors::meters::SoundReadings;
use beforedoors::units::{Db, Dbfs, FrameCount, Spl};

use super::{close, meter};
use crate::support::signals::{Noise, amplitude, stepped_sine};

const RATE: u32 = 48_000;

fn hear(samples: &[f32], to: &mut dyn FnMut(&SoundReadings)) {
    meter(RATE).push(FrameCount::ZERO, samples, to);
}

fn compared(samples: &[f32], typed: f64) -> Result<Calibration, Refusal> {
    let mut comparison = Comparison::new();
    hear(samples, &mut |readings| comparison.observe(readings));
    comparison.with(Spl::new(typed), Standard::MeterOfClass2, Microphone::Ordinary)
}

fn noise(seconds: usize, level: f64) -> Vec<f32> {
    Noise::new(11).take(seconds * RATE as usize).map(|x| (amplitude(level) * x) as f32).collect()
}

/// A meter that shows 82 dB(A) while −33.01 dBFS (A) is read: 0 dBFS is 115.01 in the room.
#[test]
fn a_meter_beside_the_microphone() {
    let calibration = compared(&stepped_sine(RATE, 1000.0, &[(8.0, -30.0)]), 82.0).expect("a result");
    close(calibration.full_scale.get(), 115.01, 0.02);
    close(calibration.level(Dbfs::new(-33.01)).get(), 82.0, 0.02);
    // JCGM 100, 5.1: √(2² + 0.5² + 0² + 3²); the start of the filters spreads the first second by a hair.
    close(calibration.uncertainty().total().get(), 13.25f64.sqrt(), 0.01);
    assert!(calibration.level(Dbfs::SILENCE).is_silence());
}

/// Of noise the mean counts; 6 dB between two seconds are the widest spread, and half of it is uncertain.
#[test]
fn wandering_counts_up_to_a_limit() {
    let steps = |softer: f64| stepped_sine(RATE, 500.0, &[(5.0, -20.0), (3.0, softer)]);
    let calibration = compared(&steps(-25.0), 90.0).expect("a result");
    close(calibration.spread.get(), 5.0, 0.2);
    close(calibration.uncertainty().spread.get(), 2.5, 0.1);
    assert!(
        matches!(compared(&steps(-27.0), 90.0), Err(Refusal::Unsteady { spread }) if (spread.get() - 7.0).abs() < 0.2)
    );
    assert!(compared(&noise(6, -20.0), 85.0).is_ok_and(|calibration| calibration.spread < Db::new(0.5)));
}

#[test]
fn what_no_comparison_can_use() {
    let tone = |level: f64, seconds: f64| stepped_sine(RATE, 1000.0, &[(seconds, level)]);
    assert!(matches!(compared(&tone(-20.0, 4.9), 90.0), Err(Refusal::TooShort { heard }) if heard.get() == 4.0));
    assert!(matches!(compared(&[], 90.0), Err(Refusal::TooShort { .. })));
    assert_eq!(compared(&tone(0.0, 6.0), 110.0), Err(Refusal::Clipped));
    assert!(matches!(compared(&tone(-80.0, 6.0), 50.0), Err(Refusal::TooSoft { .. })));
    assert!(matches!(compared(&vec![0.0; 300_000], 50.0), Err(Refusal::TooSoft { .. })));
    for typed in [f64::NAN, f64::INFINITY, -3.0, 29.9, 140.0] {
        assert!(matches!(compared(&tone(-20.0, 6.0), typed), Err(Refusal::NoSuchLevel { .. })), "{typed}");
    }
    assert!(
        matches!(compared(&tone(-60.0, 6.0), 120.0), Err(Refusal::Implausible { full_scale }) if full_scale > Spl::new(180.0))
    );
    let mut comparison = Comparison::new();
    let mut meter = meter(RATE);
    meter.push(FrameCount::ZERO, &tone(-20.0, 3.0), &mut |readings| comparison.observe(readings));
    meter.push(FrameCount::new(100), &tone(-20.0, 4.0), &mut |readings| comparison.observe(readings));
    assert_eq!(comparison.with(Spl::new(90.0), Standard::OtherMeter, Microphone::Ordinary), Err(Refusal::Hole));
}

fn calibrator(before: Option<Calibration>, samples: &[f32]) -> ToneCalibration {
    let mut tone =
        ToneCalibration::new(CalibratorLevel::Db94, Standard::CalibratorOfClass1, Microphone::Measuring, before);
    hear(samples, &mut |readings| tone.observe(readings));
    tone
}

/// 94 dB that peak at −26 dBFS: 0 dBFS is 123.01; 94 dB are 1.0024 Pa (IEC 60942, re 20 µPa).
#[test]
fn a_calibrator_of_one_kilohertz() {
    for hz in [985.0, 1000.0, 1015.0] {
        let tone = calibrator(None, &stepped_sine(RATE, hz, &[(6.0, -26.0)]));
        let calibration = tone.result().unwrap_or_else(|| panic!("{hz}: {:?}", tone.doubt()));
        close(calibration.full_scale.get(), 123.01, 0.05);
        close(calibration.uncertainty().total().get(), 1.16f64.sqrt(), 0.01);
        assert_eq!(tone.doubt(), None);
    }
    // Put on after some talk: the last 5 s count.
    let mut late = noise(3, -30.0);
    late.extend(stepped_sine(RATE, 1000.0, &[(7.0, -26.0)]));
    close(calibrator(None, &late).result().expect("a result").full_scale.get(), 123.01, 0.02);
}

#[test]
fn what_is_no_calibrator() {
    let doubt = |samples: &[f32]| {
        let tone = calibrator(None, samples);
        assert_eq!(tone.result(), None, "{:?}", tone.doubt());
        tone.doubt().expect("a doubt")
    };
    let tone = |hz: f64, level: f64| stepped_sine(RATE, hz, &[(6.0, level)]);
    assert!(matches!(doubt(&tone(1040.0, -26.0)), Refusal::OtherTone { hertz } if (hertz - 1040.0).abs() < 1.0));
    assert!(matches!(doubt(&tone(250.0, -26.0)), Refusal::NoTone { share } if share < 0.01));
    assert!(matches!(doubt(&noise(6, -20.0)), Refusal::NoTone { .. }));
    assert_eq!(doubt(&tone(1000.0, 0.0)), Refusal::Clipped);
    assert!(matches!(doubt(&tone(1000.0, -80.0)), Refusal::TooSoft { .. }));
    assert!(matches!(doubt(&vec![0.0; 300_000]), Refusal::TooSoft { .. }));
    assert!(matches!(doubt(&tone(1000.0, -26.0)[..200_000]), Refusal::TooShort { .. }));
    // It slips off slowly, by 1 dB in 6 s; a room 14 dB under it.
    let slipping: Vec<f32> = tone(1000.0, -26.0)
        .iter()
        .enumerate()
        .map(|(n, x)| x * amplitude(-(n as f64) / f64::from(RATE) / 6.0) as f32)
        .collect();
    assert!(matches!(doubt(&slipping), Refusal::Unsteady { spread } if (0.5..1.0).contains(&spread.get())));
    let noisy: Vec<f32> = tone(1000.0, -26.0).iter().zip(noise(6, -38.0)).map(|(a, b)| a + b).collect();
    assert!(matches!(doubt(&noisy), Refusal::NoTone { share } if share > 0.9));
}

/// 114 dB taken for 94: 20 dB from the last time.
#[test]
fn the_calibrators_switch() {
    let first = calibrator(None, &stepped_sine(RATE, 1000.0, &[(6.0, -26.0)])).result().expect("a result");
    let louder = calibrator(Some(first), &stepped_sine(RATE, 1000.0, &[(6.0, -6.0)]));
    assert!(matches!(louder.doubt(), Some(Refusal::TwentyOff { by }) if (by.get() + 20.0).abs() < 0.1));
    assert!(calibrator(Some(first), &stepped_sine(RATE, 1000.0, &[(6.0, -29.0)])).result().is_some());
}
