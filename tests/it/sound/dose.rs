//! Doses against worked examples, and the levels of a day.

use beforedoors::coach::sound::{Calibration, Dose, Duty, Exposure, Limits, Microphone, Standard};
use beforedoors::plan::sums::exposure::{NIOSH, OSHA};
use beforedoors::units::{Db, FrameCount, Seconds, Spl};

use super::{close, meter};
use crate::support::signals::stepped_sine;

fn hours(hours: f64) -> Seconds {
    Seconds::new(hours * 3600.0)
}

/// In steps of a tenth of a second, as the meter gives them.
fn taken(mut dose: Dose, parts: &[(f64, f64)]) -> Dose {
    for &(level, hours) in parts {
        for _ in 0..(hours * 36_000.0).round() as usize {
            dose.add(Spl::new(level), Seconds::new(0.1));
        }
    }
    dose
}

/// OSHA 29 CFR 1910.95, appendix A: 4 h at 90, 2 h at 95, 2 h at 85 dB(A); 8 h at 92. Under the threshold nothing counts.
#[test]
fn worked_examples_of_osha() {
    let from = |level| Dose::new(OSHA, Spl::new(level));
    let day = [(90.0, 4.0), (95.0, 2.0), (85.0, 2.0)];
    close(taken(from(80.0), &day).percent(), 112.5, 1e-6);
    close(taken(from(80.0), &day).average().get(), 90.85, 0.005);
    close(taken(from(90.0), &day).percent(), 100.0, 1e-6);
    close(taken(from(80.0), &[(92.0, 8.0)]).percent(), 131.95, 0.01);
    assert_eq!(taken(from(80.0), &[(79.9, 8.0)]).percent(), 0.0);
    assert!(from(80.0).average().is_silence());
}

/// NIOSH 98-126, table 1-1: each of these is a whole day's dose; 90 min at 94 dB(A) are 150 %.
#[test]
fn a_days_dose_by_niosh() {
    let dose = || Dose::new(NIOSH, Spl::new(80.0));
    for (level, allowed) in [(85.0, 8.0), (88.0, 4.0), (91.0, 2.0), (94.0, 1.0), (97.0, 0.5), (100.0, 0.25)] {
        let full = taken(dose(), &[(level, allowed)]);
        close(full.percent(), 100.0, 1e-6);
        close(full.average().get(), 85.0, 1e-6);
        assert!(full.left(Spl::new(level)).expect("it counts").get() < 1e-3);
        close(dose().left(Spl::new(level)).expect("it counts").get(), allowed * 3600.0, 1e-6);
    }
    close(taken(dose(), &[(94.0, 1.5)]).percent(), 150.0, 1e-6);
    // Half a day's dose taken: at 94 dB(A) half an hour is left; soft sound never fills it.
    let half = taken(dose(), &[(91.0, 1.0)]);
    close(half.left(Spl::new(94.0)).expect("it counts").get(), 1800.0, 0.01);
    assert_eq!(half.left(Spl::new(79.0)), None);
}

/// Directive 2003/10/EC, article 3; the equal energies that SCENIHR prints for 85 dB: 88 4 h, 91 2 h, 94 1 h, 97 30 min.
#[test]
fn a_day_by_the_directive() {
    let duty = Duty::default();
    let reached = |daily: f64, peak: f64| duty.reached(Spl::new(daily), Spl::new(peak)).map(|value| value.daily.get());
    assert_eq!(reached(79.9, 134.9), None);
    assert_eq!([reached(80.0, 0.0), reached(0.0, 135.0)], [Some(80.0); 2]);
    assert_eq!([reached(85.0, 0.0), reached(0.0, 137.0)], [Some(85.0); 2]);
    assert_eq!([reached(87.0, 0.0), reached(0.0, 140.0)], [Some(87.0); 2]);
    assert_eq!(Limits::default().cap, Spl::new(100.0)); // WHO 2022
}

/// Through the meter: 1 kHz at −20 dBFS where 0 dBFS is 120 dB is 96.99 dB(A) for 60 s, with 20 s missed.
#[test]
fn measured_in_the_room() {
    let calibration = Calibration {
        full_scale: Spl::new(120.0),
        with: Standard::MeterOfClass1,
        microphone: Microphone::Measuring,
        spread: Db::ZERO,
    };
    let rate = 8000;
    let tone = stepped_sine(rate, 1000.0, &[(30.0, -20.0)]);
    let mut exposure = Exposure::new(calibration);
    let mut meter = meter(rate);
    meter.push(FrameCount::ZERO, &tone, &mut |readings| exposure.observe(readings));
    meter.push(FrameCount::new(160_000), &tone, &mut |readings| exposure.observe(readings));
    let level: f64 = 96.99;
    close(exposure.heard.get(), 60.0, 1e-9);
    close(exposure.missing, 0.25, 1e-9);
    close(exposure.niosh.percent(), 100.0 * (1.0 / 60.0) / NIOSH.hours(level), 0.02);
    // LAS takes a few seconds to rise, and 5 dB halve the time: a few percent less.
    let slow = 100.0 * (1.0 / 60.0) / OSHA.hours(level);
    close(exposure.osha_permissible.percent(), slow * 0.97, slow * 0.03);
    assert!(exposure.osha_conservation.percent() >= exposure.osha_permissible.percent());
    close(exposure.daily.get(), level + 10.0 * (hours(1.0 / 60.0).get() / hours(8.0).get()).log10(), 0.02);
    // The interpolator between samples ripples by 0.24 dB, and a tone that begins at once has a little more.
    close(exposure.peak.get(), 100.0, 0.4);
}
