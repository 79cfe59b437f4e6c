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
    /// `None`: it is plugged in, or has no battery.
    battery: Option<Option<Seconds>>,
}

impl Power {
    /// What is left, where it is little.
    pub fn little(&mut self) -> Option<Seconds> {
        self.battery()?.filter(|left| *left < LITTLE)
    }

    /// Where it runs on its battery: how long it will, if that is known.
    pub fn battery(&mut self) -> Option<Option<Seconds>> {
        if self.asked.is_none_or(|asked| asked.elapsed() >= EVERY) {
            self.asked = Some(Instant::now());
            self.battery = battery();
        }
        self.battery
    }

    /// Asked anew at once: somebody may just have plugged it in.
    pub const fn ask_again(&mut self) {
        self.asked = None;
    }
}

fn battery() -> Option<Option<Seconds>> {
    let batteries = Manager::new().ok()?.batteries().ok()?.flatten();
    let discharging: Vec<_> = batteries.filter(|battery| battery.state() == State::Discharging).collect();
    let times = discharging.iter().filter_map(|battery| battery.time_to_empty());
    let left = times.map(|time| Seconds::new(f64::from(time.get::<second>()))).reduce(|a, b| a + b);
    (!discharging.is_empty()).then_some(left)
}
