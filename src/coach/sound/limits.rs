//! What is allowed: in the hall, and for who works in it.
//!
//! Defaults, all editable: LAeq over 15 min noted from 88 and acted on from 93 dB(A), 105 dB(A) at any moment (LAF) for a
//! school (common practice, stricter than most law); never more than 100 dB LAeq over 15 min (WHO, *Global standard for
//! safe listening venues and events*, 2022). For staff the three values of directive 2003/10/EC, article 3, on a day of
//! eight hours and on the C-weighted peak. Local rules come first. Edge cases: values that are no number or out of order
//! are the reader's business (`event`).

use crate::units::{Db, Spl};

/// For the hall, dB(A).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// LAeq over 15 min: worth a note.
    pub note: Spl,
    /// LAeq over 15 min: turn down.
    pub act: Spl,
    /// LAF at any moment.
    pub instant: Spl,
    /// LAeq over 15 min that is never passed; what is acted on is never above it.
    pub cap: Spl,
    pub duty: Duty,
}

impl Limits {
    /// LAeq over a minute may stand this far over what is acted on.
    pub const MINUTE_OVER: Db = Db::new(3.0);

    /// What LAeq over 15 min is acted on.
    pub fn acted_on(&self) -> Spl {
        self.act.min(self.cap)
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            note: Spl::new(88.0),
            act: Spl::new(93.0),
            instant: Spl::new(105.0),
            cap: Spl::new(100.0),
            duty: Duty::default(),
        }
    }
}

/// What an employer owes: on each value another duty begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Duty {
    /// Hearing protection is offered and the risk explained.
    pub lower: ActionValue,
    /// It is worn, and there is a plan for less.
    pub upper: ActionValue,
    /// Never passed, protection counted in.
    pub limit: ActionValue,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ActionValue {
    /// LEX,8h in dB(A).
    pub daily: Spl,
    /// dB(C).
    pub peak: Spl,
}

impl Default for Duty {
    fn default() -> Self {
        let value = |daily, peak| ActionValue { daily: Spl::new(daily), peak: Spl::new(peak) };
        Self { lower: value(80.0, 135.0), upper: value(85.0, 137.0), limit: value(87.0, 140.0) }
    }
}

impl Duty {
    /// The highest value that a day has reached.
    pub fn reached(&self, daily: Spl, peak: Spl) -> Option<ActionValue> {
        let values = [self.limit, self.upper, self.lower];
        values.into_iter().find(|value| daily >= value.daily || peak >= value.peak)
    }
}
