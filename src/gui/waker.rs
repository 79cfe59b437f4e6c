//! Paints anew when what is shown has changed, and only then.
//!
//! The engine calls with each snapshot that it publishes, thirty times a second at most. What is shown is taken down to
//! what a picture can tell apart: levels in quarters of a decibel, states, the step, counts. Whoever wants less movement
//! gets two pictures a second, but a new step at once.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::time::{Duration, Instant};

use eframe::egui::Context;

use crate::engine::Snapshot;
use crate::engine::linecheck::LineSnapshot;
use crate::engine::session::Status;

/// Between two pictures for who wants less movement.
const STILL: Duration = Duration::from_millis(500);

/// Wakes one window.
#[derive(Clone, Debug)]
pub struct Wake {
    context: Context,
    still: bool,
    shown: u64,
    step: u64,
    painted: Option<Instant>,
}

impl Wake {
    pub const fn new(context: Context, still: bool) -> Self {
        Self { context, still, shown: 0, step: 0, painted: None }
    }

    /// Asks for a new picture if this one would differ from the last.
    pub fn look(&mut self, snapshot: &Snapshot, status: &Status) {
        self.tell(what_is_asked(snapshot, status), what_is_shown(snapshot));
    }

    /// The same of a line check.
    pub fn look_at_lines(&mut self, snapshot: &LineSnapshot, status: &Status) {
        let mut asked = DefaultHasher::new();
        format!("{:?} {:?} {status:?}", snapshot.advice.step, snapshot.advice.channel).hash(&mut asked);
        let mut shown = DefaultHasher::new();
        for line in &snapshot.lines {
            quarter(line.level.get()).hash(&mut shown);
        }
        for status in &snapshot.inputs {
            format!("{:?} {}", status.result.outcome, status.result.is_right()).hash(&mut shown);
        }
        format!("{:?} {:?}", snapshot.speakers, snapshot.trouble).hash(&mut shown);
        self.tell(asked.finish(), shown.finish());
    }

    fn tell(&mut self, step: u64, shown: u64) {
        let rests = self.still && self.painted.is_some_and(|painted| painted.elapsed() < STILL);
        if step != self.step || shown != self.shown && !rests {
            (self.step, self.shown, self.painted) = (step, shown, Some(Instant::now()));
            self.context.request_repaint();
        }
    }

    /// There is something new.
    pub fn now(&self) {
        self.context.request_repaint();
    }
}

fn quarter(level: f64) -> i64 {
    (level.max(-60.0) * 4.0) as i64
}

fn what_is_asked(snapshot: &Snapshot, status: &Status) -> u64 {
    let mut hasher = DefaultHasher::new();
    // Steps and statuses have no hash of their own; their texts tell them apart.
    format!("{:?} {:?} {status:?}", snapshot.advice.step, snapshot.advice.channel).hash(&mut hasher);
    hasher.finish()
}

fn what_is_shown(snapshot: &Snapshot) -> u64 {
    let mut hasher = DefaultHasher::new();
    for channel in &snapshot.readings.channels {
        quarter(channel.frame.sample_peak.get()).hash(&mut hasher);
    }
    for input in &snapshot.inputs {
        (input.state as u8, input.trims, quarter(input.heard.loudest.get())).hash(&mut hasher);
        (input.heard.active.get() as u64, input.heard.hits).hash(&mut hasher);
    }
    snapshot.findings_total.hash(&mut hasher);
    hasher.finish()
}
