//! Paints anew when what is shown has changed, and only then.
//!
//! The engine calls with each snapshot that it publishes, thirty times a second at most. What is shown is taken down to
//! what a picture can tell apart: levels in quarters of a decibel, states, the step, counts. Whoever wants less movement
//! gets two pictures a second, but a new step at once; levels that no view shows wake nobody.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU8, Ordering::Relaxed};
use std::time::{Duration, Instant};

use eframe::egui::Context;

use super::View;
use super::past::SharedPast;
use crate::engine::Snapshot;
use crate::engine::linecheck::LineSnapshot;
use crate::engine::session::Status;
use crate::engine::show::ReadyStep;
use crate::engine::watched::{Picture, Told};

/// Between two pictures for who wants less movement.
const STILL: Duration = Duration::from_millis(500);

/// What the person looks at, and how: told by the window, read on the engines' threads.
#[derive(Clone, Debug, Default)]
pub struct Eyes(Arc<(AtomicU8, AtomicBool)>);

impl Eyes {
    pub fn turn(&self, view: View, still: bool) {
        self.0.0.store(view as u8, Relaxed);
        self.0.1.store(still, Relaxed);
    }

    fn look_at(&self, view: View) -> bool {
        self.0.0.load(Relaxed) == view as u8
    }

    fn want_rest(&self) -> bool {
        self.0.1.load(Relaxed)
    }
}

/// Wakes one window for one of its views.
#[derive(Clone)]
pub struct Wake {
    context: Context,
    eyes: Eyes,
    of: View,
    past: SharedPast,
    shown: u64,
    step: u64,
    painted: Option<Instant>,
}

impl Wake {
    pub fn new(context: Context, eyes: Eyes, of: View) -> Self {
        Self { context, eyes, of, past: SharedPast::default(), shown: 0, step: 0, painted: None }
    }

    /// What is looked at is followed here as well.
    #[must_use]
    pub fn keeping(self, past: &SharedPast) -> Self {
        Self { past: past.clone(), ..self }
    }

    /// Asks for a new picture if this one would differ from the last.
    pub fn look(&mut self, snapshot: &Snapshot, status: &Status) {
        self.past.follow(snapshot);
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
        let rests = self.eyes.want_rest() && self.painted.is_some_and(|painted| painted.elapsed() < STILL);
        let is_seen = self.eyes.look_at(self.of);
        if step != self.step || is_seen && shown != self.shown && !rests {
            (self.step, self.shown, self.painted) = (step, shown, Some(Instant::now()));
            self.context.request_repaint();
        }
    }

    /// The same of a hall: a ring-out shows its spectrum, a show only what it says.
    pub fn look_at_hall(&mut self, picture: &Picture) {
        let mut shown = DefaultHasher::new();
        if matches!(picture.told, Told::RingOut { .. }) {
            picture.at.get().to_bits().hash(&mut shown);
        }
        let told = match &picture.told {
            // A result is millions of numbers, and never changes.
            Told::Quiet { step, result } => format!("{step:?} {}", result.is_some()),
            // A level that wanders by less than a decibel is nothing new.
            Told::Show { alert, room, counts, ready, log } => {
                // Of a last look the seconds that are left, while it listens.
                let looks = ready.as_ref().map(|ready| {
                    let heard = if ready.step == ReadyStep::Listen { ready.heard.get() as u64 } else { 0 };
                    (format!("{:?} {:?}", ready.step, ready.channel), heard, ready.left, ready.more, ready.unknown)
                });
                format!(
                    "{alert:?} {counts:?} {} {:?} {looks:?}",
                    log.entries,
                    room.map(|room| room.quarter.get().round())
                )
            }
            told => format!("{told:?}"),
        };
        format!("{told} {:?} {:?}", picture.refused, picture.over).hash(&mut shown);
        self.tell(0, shown.finish());
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

#[cfg(test)]
mod tests {
    use super::*;

    /// How many of ten new levels ask for a picture.
    fn pictures(seen: View, still: bool) -> usize {
        let (context, eyes) = (Context::default(), Eyes::default());
        eyes.turn(seen, still);
        let mut wake = Wake::new(context.clone(), eyes, View::Soundcheck);
        wake.tell(1, 0);
        let asked = (1..=10).map(|level| {
            for _ in 0..4 {
                context.run_ui(Default::default(), |_| {}).textures_delta.clear();
            }
            assert!(!context.has_requested_repaint());
            wake.tell(1, level);
            usize::from(context.has_requested_repaint())
        });
        asked.sum()
    }

    #[test]
    fn levels_wake_only_the_view_that_shows_them() {
        assert_eq!(pictures(View::Soundcheck, false), 10);
        assert_eq!(pictures(View::Soundcheck, true), 0);
        assert_eq!(pictures(View::Recordings, false), 0);
    }

    #[test]
    fn a_new_step_wakes_every_view() {
        let (context, eyes) = (Context::default(), Eyes::default());
        eyes.turn(View::Recordings, true);
        let mut wake = Wake::new(context.clone(), eyes, View::Soundcheck);
        wake.tell(7, 0);
        assert!(context.has_requested_repaint());
    }
}
