//! What ears have taken so far: running doses and the level of a day.
//!
//! In: levels in dB(A) and how long they lasted. NIOSH 98-126 counts what is at least 80 dB(A) by its energy (LAeq of
//! every 100 ms); OSHA 29 CFR 1910.95 counts LAS, from 80 dB(A) on for hearing conservation (appendix A) and from 90 for
//! the permissible exposure (Table G-16). The formulas are the plan's. LEX,8h as in ISO 1999:2013 and 2003/10/EC: LAeq
//! spread over eight hours. What was not heard counts for nothing, and how much that is stands beside it.

use super::calibration::Calibration;
use crate::meters::SoundReadings;
use crate::plan::sums::exposure::{NIOSH, OSHA, Rule};
use crate::units::{Seconds, Spl};

const HOUR: f64 = 3600.0;
const DAY: Seconds = Seconds::new(8.0 * HOUR);

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dose {
    rule: Rule,
    /// Softer sound counts for nothing.
    from: Spl,
    percent: f64,
}

impl Dose {
    pub const fn new(rule: Rule, from: Spl) -> Self {
        Self { rule, from, percent: 0.0 }
    }

    pub fn add(&mut self, level: Spl, lasted: Seconds) {
        if level >= self.from {
            self.percent += self.rule.dose(&[(level.get(), lasted.get() / HOUR)]);
        }
    }

    /// 100 is a full day's.
    pub fn percent(&self) -> f64 {
        self.percent
    }

    /// The level whose eight hours give the same dose; −∞ without any.
    pub fn average(&self) -> Spl {
        Spl::new(self.rule.average(self.percent))
    }

    /// How long a level may go on until the day is full; `None`: for good.
    pub fn left(&self, level: Spl) -> Option<Seconds> {
        (level >= self.from).then(|| {
            let share = (1.0 - self.percent / 100.0).max(0.0);
            Seconds::new(share * self.rule.hours(level.get()) * HOUR)
        })
    }
}

/// Everything that is counted.
#[derive(Clone, Copy, Debug)]
pub struct Exposure {
    calibration: Calibration,
    pub niosh: Dose,
    pub osha_conservation: Dose,
    pub osha_permissible: Dose,
    /// LEX,8h of what was heard.
    pub daily: Spl,
    /// dB(C).
    pub peak: Spl,
    pub heard: Seconds,
    /// The share that was not heard, 0 to 1.
    pub missing: f64,
}

impl Exposure {
    pub fn new(calibration: Calibration) -> Self {
        Self {
            calibration,
            niosh: Dose::new(NIOSH, Spl::new(80.0)),
            osha_conservation: Dose::new(OSHA, Spl::new(80.0)),
            osha_permissible: Dose::new(OSHA, Spl::new(90.0)),
            daily: Spl::SILENCE,
            peak: Spl::SILENCE,
            heard: Seconds::ZERO,
            missing: 0.0,
        }
    }

    pub fn observe(&mut self, readings: &SoundReadings) {
        let lasted = readings.newest.heard;
        self.niosh.add(self.calibration.level(readings.newest.level), lasted);
        let slow = self.calibration.level(readings.las);
        self.osha_conservation.add(slow, lasted);
        self.osha_permissible.add(slow, lasted);
        let whole = readings.whole;
        self.heard = whole.heard;
        self.missing = whole.missing();
        self.daily =
            Spl::new(self.calibration.level(whole.level).get() + 10.0 * (whole.heard.get() / DAY.get()).log10());
        self.peak = self.calibration.level(readings.lc_peak_max);
    }
}
