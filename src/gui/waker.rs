//! Paints anew when what is shown has changed, and only then.
//!
//! The engine calls with each snapshot that it publishes, thirty times a second at most. What is shown is taken down to
//! what a picture can tell apart: levels in quarters of a decibel, states, the step, counts.

use std::hash::{DefaultHasher, Hash, Hasher};

use eframe::egui::Context;

use crate::engine::Snapshot;
use crate::engine::session::Status;

/// Wakes one window.
#[derive(Clone, Debug)]
pub struct Wake {
    context: Context,
    shown: u64,
}

impl Wake {
    pub const fn new(context: Context) -> Self {
        Self { context, shown: 0 }
    }

    /// Asks for a new picture if this one would differ from the last.
    pub fn look(&mut self, snapshot: &Snapshot, status: &Status) {
        let shown = what_is_shown(snapshot, status);
        if shown != self.shown {
            self.shown = shown;
            self.context.request_repaint();
        }
    }
}

fn what_is_shown(snapshot: &Snapshot, status: &Status) -> u64 {
    let mut hasher = DefaultHasher::new();
    let quarter = |level: f64| (level.max(-60.0) * 4.0) as i64;
    for channel in &snapshot.readings.channels {
        quarter(channel.frame.sample_peak.get()).hash(&mut hasher);
    }
    for input in &snapshot.inputs {
        (input.state as u8, input.trims, quarter(input.heard.loudest.get())).hash(&mut hasher);
        (input.heard.active.get() as u64, input.heard.hits).hash(&mut hasher);
    }
    // Steps and statuses have no hash of their own; their texts tell them apart.
    format!("{:?} {:?} {status:?}", snapshot.advice.step, snapshot.advice.channel).hash(&mut hasher);
    snapshot.findings_total.hash(&mut hasher);
    hasher.finish()
}
