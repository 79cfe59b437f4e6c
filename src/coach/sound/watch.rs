//! Is it too loud in the hall, and how soon must it be softer?
//!
//! Fed with readings after every 100 ms. *Now*: LAF over what is allowed at any moment, for half a second (a bang that
//! falls by F's 35 dB/s is over by then), or LAeq over a minute 3 dB over what is acted on. *Soon*: LAeq over 15 min is
//! there, and the last minute too, so that it will not come down by itself. *Later*: it is worth a note, or its line
//! through the last 5 min would be there in 5 more. Each must last, and be 3 dB lower for 10 s before it is over. What
//! was answered comes again when it is 3 dB worse, or after 3 min. Common practice.
//! Without a calibration nothing is asked for. A minute of which less than half, 15 min of which less than 5, or of
//! either of which more than half is missing, prove nothing. Observing allocates nothing.

use super::calibration::Calibration;
use super::gate::Gate;
use super::limits::Limits;
use crate::coach::ringout::Urgency;
use crate::meters::{Leq, SoundReadings};
use crate::units::{Db, Seconds, Spl};

/// One grab.
const GRAB: u8 = 3;
const DEADBAND: Db = Db::new(3.0);
const OFF_DELAY: Seconds = Seconds::new(10.0);
const AT_ONCE: Seconds = Seconds::new(0.5);
const LASTING: Seconds = Seconds::new(2.0);
/// What was answered rests for so long, unless it becomes so much worse.
const REST: Seconds = Seconds::new(180.0);
const WORSE: Db = Db::new(3.0);
const HALF_A_MINUTE: Seconds = Seconds::new(30.0);
const FIVE_MINUTES: Seconds = Seconds::new(300.0);
/// Points of the trend, 10 s apart.
const POINTS: usize = 31;
const APART: Seconds = Seconds::new(10.0);
/// No level that matters.
const UNDER: Db = Db::new(f64::NEG_INFINITY);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SoundAction {
    Nothing,
    MainsDown {
        by: u8,
    },
    /// Nothing to turn: keep an eye on it.
    Watch,
}

/// What stands over its limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// LAF.
    Instant,
    /// LAeq over a minute.
    Minute,
    /// LAeq over 15 min.
    Quarter,
    /// LAeq over 15 min is worth a note.
    Note,
    /// LAeq over 15 min rises towards what is acted on.
    Trend,
}

const CAUSES: [Cause; 5] = [Cause::Instant, Cause::Minute, Cause::Quarter, Cause::Note, Cause::Trend];

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoundAdvice {
    pub action: SoundAction,
    pub urgency: Urgency,
    /// `None` while nothing is asked for.
    pub cause: Option<Cause>,
    /// What it stands at, and what it is held against, dB(A).
    pub level: Spl,
    pub limit: Spl,
}

const CALM: SoundAdvice = SoundAdvice {
    action: SoundAction::Nothing,
    urgency: Urgency::Later,
    cause: None,
    level: Spl::SILENCE,
    limit: Spl::SILENCE,
};

/// What a cause stands at.
#[derive(Clone, Copy, Debug)]
struct Standing {
    level: Spl,
    limit: Spl,
    over: Db,
}

#[derive(Clone, Debug)]
pub struct SoundWatch {
    limits: Limits,
    calibration: Option<Calibration>,
    gates: [Gate; CAUSES.len()],
    /// Since when each rests, and at which level it was answered.
    rests: [Option<(Seconds, Spl)>; CAUSES.len()],
    standing: [Standing; CAUSES.len()],
    trend: Trend,
    advice: SoundAdvice,
    now: Seconds,
}

impl SoundWatch {
    pub fn new(limits: Limits, calibration: Option<Calibration>) -> Self {
        let gate = |on_delay| Gate::new(on_delay, OFF_DELAY, DEADBAND);
        Self {
            limits,
            calibration,
            gates: CAUSES.map(|cause| gate(if cause == Cause::Instant { AT_ONCE } else { LASTING })),
            rests: [None; CAUSES.len()],
            standing: [Standing { level: Spl::SILENCE, limit: Spl::SILENCE, over: UNDER }; CAUSES.len()],
            trend: Trend::default(),
            advice: CALM,
            now: Seconds::ZERO,
        }
    }

    pub fn advice(&self) -> &SoundAdvice {
        &self.advice
    }

    pub fn limits(&self) -> &Limits {
        &self.limits
    }

    /// `None`: levels are only relative.
    pub fn calibration(&self) -> Option<&Calibration> {
        self.calibration.as_ref()
    }

    pub fn observe(&mut self, readings: &SoundReadings) {
        let Some(calibration) = self.calibration else { return };
        self.now = readings.time();
        self.standing = self.standings(&calibration, readings);
        let mut next = CALM;
        for (index, cause) in CAUSES.into_iter().enumerate() {
            let standing = self.standing[index];
            let open = self.gates[index].observe(standing.over, self.now);
            let rests =
                self.rests[index].is_some_and(|(since, at)| self.now - since < REST && standing.level < at + WORSE);
            if !rests {
                self.rests[index] = None;
            }
            if open && !rests && next.cause.is_none() {
                next = advice(cause, standing);
            }
        }
        self.advice = next;
    }

    /// The person has done it, or leaves it: either way it is known.
    pub fn answer(&mut self) {
        if self.advice.cause.is_some() {
            self.rests = self.standing.map(|standing| Some((self.now, standing.level)));
            self.advice = CALM;
        }
    }

    fn standings(&mut self, calibration: &Calibration, readings: &SoundReadings) -> [Standing; CAUSES.len()] {
        let Limits { note, instant, .. } = self.limits;
        let act = self.limits.acted_on();
        let proven = |leq: &Leq, least: Seconds| leq.heard >= least && leq.missing() <= 0.5;
        let minute = proven(&readings.minute, HALF_A_MINUTE).then(|| calibration.level(readings.minute.level));
        let quarter = proven(&readings.quarter, FIVE_MINUTES).then(|| calibration.level(readings.quarter.level));
        self.trend.observe(quarter, self.now);
        let stands = |level: Option<Spl>, limit: Spl| Standing {
            level: level.unwrap_or_default(),
            limit,
            over: level.map_or(UNDER, |level| level - limit),
        };
        // What the last minute no longer feeds comes down by itself.
        let fed = |limit: Spl| {
            let standing = stands(quarter, limit);
            Standing { over: standing.over.min(stands(minute, limit).over), ..standing }
        };
        let ahead = self.trend.ahead().filter(|ahead| quarter.is_some_and(|quarter| quarter < act && *ahead > quarter));
        CAUSES.map(|cause| match cause {
            Cause::Instant => stands(Some(calibration.level(readings.laf_highest)), instant),
            Cause::Minute => stands(minute, act + Limits::MINUTE_OVER),
            Cause::Quarter => fed(act),
            Cause::Note => fed(note),
            Cause::Trend => Standing { level: quarter.unwrap_or_default(), ..stands(ahead, act) },
        })
    }
}

fn advice(cause: Cause, standing: Standing) -> SoundAdvice {
    let (action, urgency) = match cause {
        Cause::Instant | Cause::Minute => (SoundAction::MainsDown { by: GRAB }, Urgency::Now),
        Cause::Quarter => (SoundAction::MainsDown { by: GRAB }, Urgency::Soon),
        Cause::Note | Cause::Trend => (SoundAction::Watch, Urgency::Later),
    };
    SoundAdvice { action, urgency, cause: Some(cause), level: standing.level, limit: standing.limit }
}

/// LAeq over 15 min through the last 5.
#[derive(Clone, Copy, Debug, Default)]
struct Trend {
    points: [f64; POINTS],
    count: usize,
    last: Seconds,
}

impl Trend {
    fn observe(&mut self, level: Option<Spl>, now: Seconds) {
        let due = self.count == 0 || now - self.last + Seconds::new(0.05) >= APART;
        match level.filter(|level| !level.is_silence()) {
            None => self.count = 0,
            Some(level) if due => {
                // A hole longer than a step breaks the line.
                if self.count > 0 && now - self.last > APART + APART {
                    self.count = 0;
                }
                if self.count == POINTS {
                    self.points.copy_within(1.., 0);
                    self.count -= 1;
                }
                self.points[self.count] = level.get();
                self.count += 1;
                self.last = now;
            }
            Some(_) => {}
        }
    }

    /// Where the straight line that fits best will be in 5 min.
    fn ahead(&self) -> Option<Spl> {
        if self.count < POINTS {
            return None;
        }
        let middle = (POINTS - 1) as f64 / 2.0;
        let places = || (0..POINTS).map(|index| index as f64 - middle);
        let slope = places().zip(self.points).map(|(x, y)| x * y).sum::<f64>() / places().map(|x| x * x).sum::<f64>();
        let mean = self.points.iter().sum::<f64>() / POINTS as f64;
        let steps = middle + FIVE_MINUTES.get() / APART.get();
        Some(Spl::new(mean + slope * steps))
    }
}
