//! One line of the last look: its floor now against the one that the soundcheck left.

use super::baseline::Was;
use crate::meters::ChannelReadings;
use crate::units::{ChannelId, Db, Dbfs};

/// From here on a floor is another one.
pub const OFF: Db = Db::new(6.0);
/// So far under its floor, no room is heard.
const UNDER: Db = Db::new(15.0);
/// A floor under this is a gate's, or a machine's.
const MADE: Dbfs = Dbfs::new(-95.0);
/// What wanders by no more is one steady sound.
const STEADY: Db = Db::new(3.0);
const FULL: Dbfs = Dbfs::new(20.0);
/// So many microphones tell what the room does.
const COMPANY: usize = 4;

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Verdict {
    Unknown,
    Fine,
    Dead,
    /// By so much, louder or softer.
    Off(Db),
}

#[derive(Clone, Copy, Debug)]
pub struct Line {
    pub was: Was,
    /// It was heard, or is in the list; the others are nobody's.
    matters: bool,
    /// It hears the room.
    acoustic: bool,
    pub verdict: Verdict,
    /// Of this look, or the last that knew one.
    pub floor: Option<Dbfs>,
    /// Of this look so far.
    zeros: bool,
    now: Option<Dbfs>,
    loud: Dbfs,
    quietest: Dbfs,
}

impl Line {
    pub fn new(was: Was, matters: bool, acoustic: bool) -> Self {
        let nothing = Dbfs::SILENCE;
        Self {
            was,
            matters,
            acoustic,
            verdict: Verdict::Unknown,
            floor: None,
            zeros: true,
            now: None,
            loud: nothing,
            quietest: FULL,
        }
    }

    pub const fn begin(&mut self) {
        (self.zeros, self.now, self.loud, self.quietest) = (true, None, Dbfs::SILENCE, FULL);
    }

    pub const fn forget(&mut self) {
        (self.verdict, self.floor) = (Verdict::Unknown, None);
    }

    /// After a complete frame.
    pub fn observe(&mut self, reading: &ChannelReadings) {
        self.zeros &= reading.frame.sample_peak.is_silence();
        (self.now, self.loud) = (reading.recent.floor, reading.recent.loud);
        self.quietest = self.quietest.min(reading.frame.rms);
    }

    /// How far its floor is from the soundcheck's, where both are known.
    fn shift(&self) -> Option<Db> {
        Some(self.standing()? - self.stood()?)
    }

    /// The floor now. The meters take no steady sound over −50 dBFS for one; a whole look of it is hum, or a fan.
    fn standing(&self) -> Option<Dbfs> {
        let steady = self.loud - self.quietest <= STEADY;
        self.now.or(steady.then_some(self.quietest)).filter(|floor| !floor.is_silence())
    }

    /// A floor that a room made.
    fn stood(&self) -> Option<Dbfs> {
        self.was.floor.filter(|floor| self.matters && *floor >= MADE)
    }

    fn is_dead(&self, common: Db) -> bool {
        match self.stood() {
            Some(floor) => self.zeros || self.loud < floor.min(floor + common) - UNDER,
            // With no pause heard then, no gate closed either.
            None => self.zeros && self.was.heard && self.was.floor.is_none(),
        }
    }

    /// At the end of a look. What was found stays until another floor is known.
    pub fn judge(&mut self, common: &Common) {
        let common = common.of_line(self);
        self.floor = self.standing().or(self.floor);
        self.verdict = if self.is_dead(common) {
            Verdict::Dead
        } else if let Some(shift) = self.shift() {
            let by = shift - common;
            if by.abs() >= OFF { Verdict::Off(by) } else { Verdict::Fine }
        } else if self.verdict == Verdict::Dead {
            Verdict::Unknown
        } else {
            self.verdict
        };
    }

    pub fn is_judged(&self) -> bool {
        self.verdict != Verdict::Unknown
    }
}

/// What floors have in common: a louder room reaches all microphones, an input's slider everything.
#[derive(Clone, Copy, Debug, Default)]
pub struct Common {
    microphones: Db,
    others: Db,
    /// Everything has moved.
    pub all: Option<Db>,
}

impl Common {
    pub fn of(lines: &[Line]) -> Self {
        let median = |acoustic: bool, least: usize| {
            let alike = lines.iter().filter(|line| line.acoustic == acoustic && !line.is_dead(Db::ZERO));
            median(alike.filter_map(Line::shift), least)
        };
        let (microphones, others) = (median(true, COMPANY), median(false, 1));
        let all = match (microphones, others) {
            (Some(one), Some(other)) => {
                (one.get() * other.get() > 0.0).then_some(if one.abs() < other.abs() { one } else { other })
            }
            (Some(one), None) => Some(one),
            (None, _) => median(false, COMPANY),
        };
        let all = all.filter(|by| by.abs() >= OFF);
        let of_microphones = microphones.unwrap_or(Db::ZERO);
        Self { microphones: of_microphones, others: all.unwrap_or(Db::ZERO), all }
    }

    const fn of_line(&self, line: &Line) -> Db {
        if line.acoustic { self.microphones } else { self.others }
    }
}

/// Of so many at least.
fn median(shifts: impl Iterator<Item = Db>, least: usize) -> Option<Db> {
    let mut sorted = [0.0; ChannelId::MAX_CHANNELS];
    let mut count = 0;
    for (place, shift) in sorted.iter_mut().zip(shifts) {
        *place = shift.get();
        count += 1;
    }
    let sorted = &mut sorted[..count];
    sorted.sort_unstable_by(f64::total_cmp);
    (count >= least.max(1)).then(|| Db::new((sorted[(count - 1) / 2] + sorted[count / 2]) / 2.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(shifts: &[(bool, f64)]) -> Vec<Line> {
        let line = |&(acoustic, by): &(bool, f64)| {
            let was = Was { heard: true, floor: Some(Dbfs::new(-70.0)), ..Was::default() };
            let mut line = Line::new(was, true, acoustic);
            let now = Dbfs::new(-70.0 + by);
            (line.zeros, line.now, line.loud) = (false, Some(now), now);
            line
        };
        shifts.iter().map(line).collect()
    }

    fn judged(shifts: &[(bool, f64)]) -> (Option<Db>, Vec<Verdict>) {
        let mut lines = lines(shifts);
        let common = Common::of(&lines);
        lines.iter_mut().for_each(|line| line.judge(&common));
        (common.all, lines.iter().map(|line| line.verdict).collect())
    }

    #[test]
    fn a_louder_room_is_nobodys_fault_and_a_slider_everybodys() {
        let room = [(true, 8.0), (true, 9.0), (true, 7.0), (true, 8.0), (false, 0.1), (false, 0.0)];
        assert_eq!(judged(&room), (None, vec![Verdict::Fine; 6]));
        let slider = [(true, 8.0), (true, 8.0), (true, 8.0), (true, 8.0), (false, 8.0)];
        let (all, verdicts) = judged(&slider);
        assert_eq!((all.map(|by| by.get().round()), verdicts), (Some(8.0), vec![Verdict::Fine; 5]));
        // One of them all is found in a louder room as well.
        let hums = [(true, 8.0), (true, 20.0), (true, 8.0), (true, 8.0), (true, 8.0), (false, 0.0)];
        let (all, verdicts) = judged(&hums);
        assert_eq!((all, verdicts[1], verdicts[0]), (None, Verdict::Off(Db::new(12.0)), Verdict::Fine));
    }

    #[test]
    fn steady_hum_is_heard_however_loud_and_music_is_not_judged() {
        let mut loud = lines(&[(false, 0.0)]);
        let line = &mut loud[0];
        (line.now, line.loud, line.quietest) = (None, Dbfs::new(-40.0), Dbfs::new(-41.0));
        line.judge(&Common::default());
        assert_eq!(line.verdict, Verdict::Off(Db::new(29.0)));
        let mut music = lines(&[(false, 0.0)]);
        (music[0].now, music[0].loud, music[0].quietest) = (None, Dbfs::new(-20.0), Dbfs::new(-32.0));
        music[0].judge(&Common::default());
        assert_eq!(music[0].verdict, Verdict::Unknown);
    }

    #[test]
    fn a_line_far_under_its_floor_is_dead_and_a_machine_is_not_judged() {
        assert_eq!(judged(&[(true, -15.5)]).1, [Verdict::Dead]);
        assert_eq!(judged(&[(true, -14.5)]).1, [Verdict::Off(Db::new(-14.5))]);
        let machine = Was { heard: true, floor: Some(Dbfs::new(-120.0)), ..Was::default() };
        let mut line = Line::new(machine, true, false);
        line.judge(&Common::default());
        assert_eq!(line.verdict, Verdict::Unknown);
    }
}
