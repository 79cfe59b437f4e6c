//! How a soundcheck left each line, kept while it goes on: what the last look before doors compares with.
//!
//! In: what was heard, after each complete 100 ms frame. The floor is the meters' own (`Activity::floor`) while the whole
//! stage has been quiet for 7 s since the knob was last turned: with others playing, a microphone's quietest moments are
//! theirs. Seven, since then the tenth part of the meters' minute is quiet. Levels in dBFS. Edge cases: with no such quiet
//! the floor stays unknown; digital silence between the sounds counts as −120 dBFS. Observing allocates nothing.

use crate::detectors::Heard;
use crate::units::{Db, Dbfs, SampleRate};

/// Quiet frames from which a floor can be told.
const TELLS: u32 = 70;
/// Digital silence.
pub const NOTHING: Dbfs = Dbfs::new(-120.0);

/// A line.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Was {
    pub heard: bool,
    /// `None`: the stage was never quiet.
    pub floor: Option<Dbfs>,
    /// The median of its loudest passages; `None`: not heard since the knob was turned.
    pub typical: Option<Dbfs>,
    /// Of the simulated stage: where the knob stood.
    pub knob: Option<Db>,
}

/// All lines of a device.
#[derive(Clone, Debug, PartialEq)]
pub struct Baseline {
    pub device: String,
    pub rate: SampleRate,
    pub lines: Vec<Was>,
}

impl Baseline {
    /// With what is newly known of some lines; the others stay as they were on the same device.
    #[must_use]
    pub fn after(self, before: Option<Self>, known: impl Fn(usize) -> bool) -> Self {
        let before = before.filter(|before| (&before.device, before.rate) == (&self.device, self.rate));
        let old = before.map(|before| before.lines).unwrap_or_default();
        let line = |(index, new): (usize, Was)| match old.get(index) {
            _ if known(index) => new,
            Some(old) => *old,
            None => Was::default(),
        };
        Self { lines: self.lines.into_iter().enumerate().map(line).collect(), ..self }
    }

    /// Whether any line was heard.
    pub fn tells(&self) -> bool {
        self.lines.iter().any(|line| line.heard)
    }
}

/// Keeps one line's.
#[derive(Clone, Copy, Debug, Default)]
pub struct Keeper {
    quiet: u32,
    was: Was,
}

impl Keeper {
    pub const fn was(&self) -> Was {
        self.was
    }

    /// Its knob was turned.
    pub const fn turned(&mut self) {
        *self = Self { quiet: 0, was: Was { floor: None, typical: None, ..self.was } };
    }

    /// Everybody is heard anew; no knob was turned.
    pub const fn anew(&mut self) {
        self.quiet = 0;
    }

    /// After a complete frame; `quiet`: nobody on the stage sounds.
    pub fn observe(&mut self, heard: &Heard, quiet: bool) {
        self.quiet = if quiet { (self.quiet + 1).min(TELLS) } else { 0 };
        self.was.heard |= heard.active.get() > 0.0;
        if !heard.typical.is_silence() {
            self.was.typical = Some(heard.typical);
        }
        if self.quiet < TELLS {
            return;
        }
        let floor = heard.activity.floor.map(|floor| floor.max(NOTHING));
        self.was.floor = match (self.was.floor, floor) {
            (Some(before), Some(now)) => Some(before.min(now)),
            (before, now) => before.or(now),
        };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meters::Activity;
    use crate::units::Seconds;

    fn heard(floor: Option<f64>) -> Heard {
        let activity = Activity { floor: floor.map(Dbfs::new), ..Activity::default() };
        Heard { active: Seconds::new(1.0), typical: Dbfs::new(-12.0), activity, ..Heard::default() }
    }

    fn listen(keeper: &mut Keeper, frames: usize, floor: f64, quiet: bool) {
        (0..frames).for_each(|_| keeper.observe(&heard(Some(floor)), quiet));
    }

    #[test]
    fn only_a_quiet_stage_tells_a_floor() {
        let mut keeper = Keeper::default();
        listen(&mut keeper, 200, -50.0, false);
        listen(&mut keeper, 69, -70.0, true);
        assert_eq!(keeper.was().floor, None);
        listen(&mut keeper, 1, -70.0, true);
        listen(&mut keeper, 50, -90.0, false);
        assert_eq!(
            keeper.was(),
            Was { heard: true, floor: Some(Dbfs::new(-70.0)), typical: Some(Dbfs::new(-12.0)), knob: None }
        );
        keeper.anew();
        listen(&mut keeper, 69, -90.0, true);
        assert_eq!(keeper.was().floor, Some(Dbfs::new(-70.0)));
        keeper.turned();
        assert_eq!(keeper.was(), Was { heard: true, ..Was::default() });
        listen(&mut keeper, 70, f64::NEG_INFINITY, true);
        assert_eq!(keeper.was().floor, Some(NOTHING));
    }

    #[test]
    fn what_was_not_heard_this_time_stays_as_it_was() {
        let rate = SampleRate::new(48_000).unwrap();
        let all = |device: &str, floor| Baseline {
            device: device.into(),
            rate,
            lines: vec![Was { heard: true, floor: Some(Dbfs::new(floor)), ..Was::default() }; 2],
        };
        let both = all("Desk", -60.0).after(Some(all("Desk", -70.0)), |line| line == 1);
        assert_eq!(both.lines.iter().map(|was| was.floor.unwrap().get()).collect::<Vec<_>>(), [-70.0, -60.0]);
        let other = all("Desk", -60.0).after(Some(all("Mixer", -70.0)), |line| line == 1);
        assert_eq!((other.lines[0], other.lines[1].heard), (Was::default(), true));
    }
}
