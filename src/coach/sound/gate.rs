//! A condition that must last before it counts, and be well over before it no longer does.
//!
//! In: how far something stands over its limit, in dB, at times of the frame count. Opens once that was not under 0 for
//! the on-delay, closes once it was under minus the deadband for the off-delay. After a hole in the readings both delays
//! begin anew: nobody knows what was in it.

use crate::units::{Db, Seconds};

/// Readings come every 100 ms; more between two of them is a hole.
const HOLE: Seconds = Seconds::new(0.25);

#[derive(Clone, Copy, Debug)]
pub(super) struct Gate {
    on_delay: Seconds,
    off_delay: Seconds,
    deadband: Db,
    open: bool,
    /// Since when it wants to change.
    since: Option<Seconds>,
    last: Seconds,
}

impl Gate {
    pub const fn new(on_delay: Seconds, off_delay: Seconds, deadband: Db) -> Self {
        Self { on_delay, off_delay, deadband, open: false, since: None, last: Seconds::ZERO }
    }

    pub fn observe(&mut self, over: Db, now: Seconds) -> bool {
        if now - self.last > HOLE {
            self.since = None;
        }
        self.last = now;
        let changing = if self.open { over < -self.deadband } else { over >= Db::ZERO };
        if !changing {
            self.since = None;
            return self.open;
        }
        let since = *self.since.get_or_insert(now);
        let delay = if self.open { self.off_delay } else { self.on_delay };
        // Half a reading's leeway: times are no whole numbers.
        if now - since + Seconds::new(0.05) >= delay {
            self.open = !self.open;
            self.since = None;
        }
        self.open
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(gate: &mut Gate, from: f64, values: &[(f64, usize)]) -> Vec<bool> {
        let values = values.iter().flat_map(|&(over, count)| std::iter::repeat_n(over, count));
        values.enumerate().map(|(n, over)| gate.observe(Db::new(over), Seconds::new(from + 0.1 * n as f64))).collect()
    }

    #[test]
    fn delays_and_deadband() {
        let mut gate = Gate::new(Seconds::new(0.5), Seconds::new(10.0), Db::new(3.0));
        let open = run(&mut gate, 0.0, &[(1.0, 4), (-0.1, 1), (0.0, 10), (-2.9, 200), (-3.1, 150)]);
        assert_eq!(open.iter().position(|&open| open), Some(10));
        assert_eq!(open.iter().rposition(|&open| open), Some(4 + 1 + 10 + 200 + 99));
    }

    #[test]
    fn a_hole_proves_nothing() {
        let mut gate = Gate::new(Seconds::new(0.5), Seconds::new(10.0), Db::new(3.0));
        assert!(!gate.observe(Db::new(9.0), Seconds::new(1.0)) && !gate.observe(Db::new(9.0), Seconds::new(60.0)));
    }
}
