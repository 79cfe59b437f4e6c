//! How long the laptop still runs on its battery.
//!
//! As the system estimates it, asked once a minute. Edge cases: plugged in, no battery, or no estimate: nothing to tell.

use std::time::{Duration, Instant};

use starship_battery::units::time::second;
use starship_battery::{Manager, State};

use crate::units::Seconds;

const EVERY: Duration = Duration::from_secs(60);
/// Less than this is worth a word.
const LITTLE: Seconds = Seconds::new(1800.0);

/// Asks now and then.
#[derive(Debug, Default)]
pub struct Power {
    asked: Option<Instant>,
    left: Option<Seconds>,
}

impl Power {
    /// What is left, where it is little.
    pub fn little(&mut self) -> Option<Seconds> {
        if self.asked.is_none_or(|asked| asked.elapsed() >= EVERY) {
            self.asked = Some(Instant::now());
            self.left = left().filter(|left| *left < LITTLE);
        }
        self.left
    }
}

fn left() -> Option<Seconds> {
    let batteries = Manager::new().ok()?.batteries().ok()?.flatten();
    let discharging = batteries.filter(|battery| battery.state() == State::Discharging);
    let times = discharging.filter_map(|battery| battery.time_to_empty());
    times.map(|time| Seconds::new(f64::from(time.get::<second>()))).reduce(|a, b| a + b)
}
