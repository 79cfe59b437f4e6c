//! At most one thing to see, and rules against fatigue.
//!
//! In: what stands now, as often as it is looked at; whether people clap; when a song begins. *Now* is seen at once, always.
//! *Soon* and *later* wait while people clap and in the first 5 s of a song. What was answered rests for 3 min, unless it
//! becomes 3 dB worse; what is seen stays until it is answered or 10 s over. Of more than three in 10 min only *now* is
//! seen, the rest is counted. What is ignored rests until the next song. Common practice of alarms in process plants: one
//! that asks for nothing trains people to look away. Rings have their own questions and answers (`ShowWatch`), and come and
//! go with them. Time is the frame count. Memory is fixed.

use crate::coach::ringout::{ShowAction, ShowAdvice, Urgency};
use crate::coach::sound::{SoundAction, SoundAdvice};
use crate::detectors::LineTrouble;
use crate::units::{ChannelId, Db, Seconds};

/// What stands.
#[expect(clippy::large_enum_variant, reason = "there are few of them, and none is kept in numbers")]
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Alert {
    Ring(ShowAdvice),
    /// Too loud in the room.
    Loud(SoundAdvice),
    /// An input reaches full scale again and again, or its line died.
    Line {
        channel: ChannelId,
        trouble: LineTrouble,
    },
    /// Nothing comes from the device.
    DeviceLost,
    /// The recording has room for so much more; none: it stopped.
    Recording {
        left: Option<Seconds>,
    },
    /// The laptop runs on its battery for so much longer.
    Battery {
        left: Seconds,
    },
}

/// What two sightings of one thing share.
type Name = (u8, u16);

impl Alert {
    pub fn urgency(&self) -> Urgency {
        match self {
            Self::Ring(advice) => advice.urgency,
            Self::Loud(advice) => advice.urgency,
            Self::DeviceLost => Urgency::Now,
            Self::Line { .. } | Self::Recording { .. } | Self::Battery { .. } => Urgency::Soon,
        }
    }

    fn name(&self) -> Name {
        match self {
            Self::Ring(_) => (0, 0),
            Self::Loud(advice) => (1, advice.cause.map_or(0, |cause| cause as u16)),
            Self::Line { channel, trouble } => (2 + *trouble as u8, channel.number()),
            Self::DeviceLost => (4, 0),
            Self::Recording { left } => (5, u16::from(left.is_some())),
            Self::Battery { .. } => (6, 0),
        }
    }

    /// dB; 0 where worse has no meaning.
    fn strength(&self) -> Db {
        match self {
            Self::Loud(advice) => advice.level - advice.limit,
            _ => Db::ZERO,
        }
    }

    /// Asks for something.
    fn asks(&self) -> bool {
        match self {
            Self::Ring(advice) => advice.action != ShowAction::Nothing,
            Self::Loud(advice) => advice.action != SoundAction::Nothing,
            _ => true,
        }
    }

    const fn is_ring(&self) -> bool {
        matches!(self, Self::Ring(_))
    }
}

const REST: Seconds = Seconds::new(180.0);
const WORSE: Db = Db::new(3.0);
const OVER_FOR: Seconds = Seconds::new(10.0);
const SONG_BEGINS: Seconds = Seconds::new(5.0);
const SPAN: Seconds = Seconds::new(600.0);
const MOST: usize = 3;
const NAMES: usize = 64;

/// Something that was answered, or ignored.
#[derive(Clone, Copy, Debug)]
struct Known {
    name: Name,
    at: Seconds,
    strength: Db,
    ignored: bool,
}

#[derive(Clone, Debug)]
pub struct Alerts {
    seen: Option<Alert>,
    /// When what is seen last stood.
    stood: Seconds,
    known: Vec<Known>,
    /// The newest that were shown, but for *now*.
    shown: [Option<Seconds>; MOST],
    song: Option<Seconds>,
    total: u32,
    held: u32,
    now: Seconds,
}

impl Default for Alerts {
    fn default() -> Self {
        Self {
            seen: None,
            stood: Seconds::ZERO,
            known: Vec::with_capacity(NAMES),
            shown: [None; MOST],
            song: None,
            total: 0,
            held: 0,
            now: Seconds::ZERO,
        }
    }
}

impl Alerts {
    pub const fn seen(&self) -> Option<&Alert> {
        self.seen.as_ref()
    }

    /// How many were shown, and how many only counted.
    pub const fn counts(&self) -> (u32, u32) {
        (self.total, self.held)
    }

    pub fn observe(&mut self, standing: impl Iterator<Item = Alert>, now: Seconds, clapping: bool) {
        self.now = now;
        self.known.retain(|known| known.ignored || now - known.at < REST);
        let mut best: Option<Alert> = None;
        let mut still = None;
        for alert in standing.filter(Alert::asks) {
            if self.seen.is_some_and(|seen| seen.name() == alert.name()) {
                still = Some(alert);
            }
            if self.may_be_seen(&alert, clapping) && best.is_none_or(|best| alert.urgency() > best.urgency()) {
                best = Some(alert);
            }
        }
        if let Some(still) = still {
            (self.seen, self.stood) = (Some(still), now);
        } else if self.seen.is_some_and(|seen| seen.is_ring() || now - self.stood >= OVER_FOR) {
            self.seen = None;
        }
        let Some(best) = best else { return };
        if self.seen.is_some_and(|seen| seen.name() == best.name() || seen.urgency() >= best.urgency()) {
            return;
        }
        self.show(best);
    }

    /// Done, or left: it is known.
    pub fn answer(&mut self) {
        if let Some(alert) = self.seen.take().filter(|alert| !alert.is_ring()) {
            self.know(&alert, false);
        }
    }

    /// Not again in this song.
    pub fn ignore(&mut self) {
        if let Some(alert) = self.seen.take() {
            self.know(&alert, true);
        }
    }

    /// A song begins.
    pub fn song_begins(&mut self) {
        self.song = Some(self.now);
        self.known.retain(|known| !known.ignored);
    }

    fn know(&mut self, alert: &Alert, ignored: bool) {
        self.known.retain(|known| known.name != alert.name());
        if self.known.len() == NAMES {
            self.known.remove(0);
        }
        self.known.push(Known { name: alert.name(), at: self.now, strength: alert.strength(), ignored });
    }

    fn may_be_seen(&self, alert: &Alert, clapping: bool) -> bool {
        let begins = self.song.is_some_and(|song| self.now - song < SONG_BEGINS);
        if alert.urgency() != Urgency::Now && (clapping || begins) {
            return false;
        }
        let known = self.known.iter().find(|known| known.name == alert.name());
        known.is_none_or(|known| !known.ignored && alert.strength() >= known.strength + WORSE)
    }

    fn show(&mut self, alert: Alert) {
        // What a ring asks for next belongs to the ring.
        let counts = alert.urgency() > Urgency::Later && !(alert.is_ring() && alert.urgency() == Urgency::Soon);
        if counts && alert.urgency() != Urgency::Now {
            if self.shown[0].is_some_and(|oldest| self.now - oldest < SPAN) {
                self.held += 1;
                self.know(&alert, false);
                return;
            }
            self.shown.rotate_left(1);
            self.shown[MOST - 1] = Some(self.now);
        }
        self.total += u32::from(counts);
        (self.seen, self.stood) = (Some(alert), self.now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CLIP: Alert = clip(4);

    const fn clip(channel: u16) -> Alert {
        Alert::Line { channel: ChannelId::new(channel), trouble: LineTrouble::Clips }
    }

    fn loud(over: f64) -> Alert {
        use crate::coach::sound::Cause;
        use crate::units::Spl;
        let (level, limit) = (Spl::new(105.0 + over), Spl::new(105.0));
        let (action, urgency) = (SoundAction::MainsDown { by: 3 }, Urgency::Now);
        Alert::Loud(SoundAdvice { action, urgency, cause: Some(Cause::Instant), level, limit })
    }

    fn look(alerts: &mut Alerts, at: f64, standing: &[Alert], clapping: bool) -> Option<Alert> {
        alerts.observe(standing.iter().copied(), Seconds::new(at), clapping);
        alerts.seen().copied()
    }

    #[test]
    fn one_at_a_time_and_what_can_not_wait_first() {
        let mut alerts = Alerts::default();
        assert_eq!(look(&mut alerts, 1.0, &[CLIP], false), Some(CLIP));
        assert_eq!(look(&mut alerts, 2.0, &[CLIP, loud(1.0)], false), Some(loud(1.0)));
        assert_eq!(look(&mut alerts, 3.0, &[CLIP, loud(2.0)], false), Some(loud(2.0)));
        alerts.answer();
        assert_eq!(look(&mut alerts, 4.0, &[CLIP, loud(2.0)], false), Some(CLIP));
        // 3 dB worse, and again after 3 min.
        assert_eq!(look(&mut alerts, 5.0, &[CLIP, loud(4.9)], false), Some(CLIP));
        assert_eq!(look(&mut alerts, 6.0, &[CLIP, loud(5.1)], false), Some(loud(5.1)));
        alerts.answer();
        assert_eq!(look(&mut alerts, 185.0, &[loud(5.1)], false), None);
        assert_eq!(look(&mut alerts, 187.0, &[loud(5.1)], false), Some(loud(5.1)));
    }

    #[test]
    fn it_stays_until_it_is_over_for_ten_seconds() {
        let mut alerts = Alerts::default();
        look(&mut alerts, 1.0, &[CLIP], false);
        assert_eq!(look(&mut alerts, 10.9, &[], false), Some(CLIP));
        assert_eq!(look(&mut alerts, 11.1, &[], false), None);
    }

    #[test]
    fn applause_and_beginnings_hold_what_can_wait() {
        let mut alerts = Alerts::default();
        assert_eq!(look(&mut alerts, 1.0, &[CLIP], true), None);
        assert_eq!(look(&mut alerts, 1.1, &[CLIP, loud(1.0)], true), Some(loud(1.0)));
        alerts.answer();
        look(&mut alerts, 20.0, &[], false);
        alerts.song_begins();
        assert_eq!(look(&mut alerts, 24.9, &[CLIP], false), None);
        assert_eq!(look(&mut alerts, 25.1, &[CLIP], false), Some(CLIP));
        alerts.ignore();
        assert_eq!(look(&mut alerts, 900.0, &[CLIP], false), None);
        alerts.song_begins();
        assert_eq!(look(&mut alerts, 910.0, &[CLIP], false), Some(CLIP));
    }

    #[test]
    fn of_many_only_what_can_not_wait_is_seen() {
        let mut alerts = Alerts::default();
        for channel in 0..3 {
            let at = 60.0 * f64::from(channel);
            assert_eq!(look(&mut alerts, at, &[clip(channel)], false), Some(clip(channel)));
            alerts.answer();
        }
        assert_eq!(look(&mut alerts, 200.0, &[clip(9)], false), None);
        assert_eq!(look(&mut alerts, 201.0, &[loud(0.0)], false), Some(loud(0.0)));
        alerts.answer();
        assert_eq!(alerts.counts(), (4, 1));
        assert_eq!(look(&mut alerts, 601.0, &[clip(10)], false), Some(clip(10)));
    }
}
