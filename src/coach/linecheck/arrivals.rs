//! Where a call is heard: two taps or a note on one line, not talk, not drums in the next room.
//!
//! A tapped line shows two short onsets within 2.5 s, and is quiet between them: for at most a fifth of the last two
//! seconds it stands within 12 dB of the taps. Talk, even into that very microphone, stands there for longer. On
//! another line than the called one the taps must have been made on its microphone, not only heard by it: 33 dB over
//! the floor and 12 dB over every other line. A played line stands in presence for 0.2 s of 0.3 s. On another line than the called one a note counts only if that line was quiet when
//! the call began and no other rises with it (a talker reaches every microphone); on a microphone's line it wants two,
//! or one held for 1.4 s.
//! The channel that would close a round of wrong plugs needs less: it is expected.
//! A line that hears what another hears, within 6 dB over its own floor, may be a copy. Working values.

use super::setup::{LinePlan, Way};
use crate::detectors::{LineEars, Onset};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};

/// What a call has come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Arrival {
    /// Still to be waited for.
    Nothing,
    On {
        channel: ChannelId,
        at: FrameCount,
        rise: Db,
    },
}

/// What is called.
#[derive(Clone, Copy, Debug)]
pub(super) struct Called {
    pub channel: ChannelId,
    pub way: Way,
    /// A channel on which it would close a round of wrong plugs.
    pub expected: Option<ChannelId>,
}

const PAIR_OF_TAPS: Seconds = Seconds::new(2.5);
/// Hops over which a tapped line must be mostly quiet, how near to the taps, for how much of it.
const QUIET_HOPS: usize = 200;
const NEAR_TAPS: Db = Db::new(-12.0);
const MOSTLY: f64 = 0.2;
/// After the last tap on another line, the called one may still show it.
const SETTLE: Seconds = Seconds::new(0.3);
/// A tap on a microphone rises this far over the floor, and this far over what others hear of it.
const DIRECT: (Db, Db) = (Db::new(33.0), Db::new(12.0));
/// The same on the channel that would close a round.
const EXPECTED: (Db, Db) = (Db::new(15.0), Db::new(3.0));
/// A line within this of the strongest may be a copy of it.
const MAY_BE_COPY: Db = Db::new(6.0);
/// Presence within the last hops that makes a note.
const NOTE_HOPS: usize = 30;
const NOTE: f64 = 0.7;
/// A note that is held fills so much of so many hops.
const LONG_HOPS: usize = 150;
const HELD: f64 = 0.9;
/// How long the called line is not believed while others sound and a round is open.
const DOUBT: Seconds = Seconds::new(4.0);
/// A line that was present for this share of a second before the call is busy.
const BUSY: f64 = 0.15;

#[derive(Clone, Debug)]
pub(super) struct Arrivals {
    lines: Vec<Line>,
    rate: SampleRate,
    since: FrameCount,
    /// The line that hears what the heard one hears.
    companion: Option<(ChannelId, ChannelId)>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Line {
    taps: u32,
    onsets: u32,
    first: FrameCount,
    last: FrameCount,
    level: Dbfs,
    rise: Db,
    /// How far it stood over every other line, at the least of its taps.
    lead: Db,
    busy: bool,
}

impl Arrivals {
    pub fn new(channels: usize, rate: SampleRate) -> Self {
        Self { lines: vec![Line::default(); channels], rate, since: FrameCount::ZERO, companion: None }
    }

    /// A new call begins.
    pub fn begin(&mut self, ears: &LineEars, now: FrameCount) {
        for (index, line) in self.lines.iter_mut().enumerate() {
            let busy = ears.share_present(ChannelId::from_index(index), 100) > BUSY;
            *line = Line { busy, ..Line::default() };
        }
        self.since = now;
        self.companion = None;
    }

    /// Two lines that heard the call alike: the weaker, the stronger.
    pub fn companion(&self) -> Option<(ChannelId, ChannelId)> {
        self.companion
    }

    /// Whether the called line was sounding before anybody was called.
    pub fn was_busy(&self, channel: ChannelId) -> bool {
        self.lines.get(channel.index()).is_some_and(|line| line.busy)
    }

    /// One tap was heard there, not yet two.
    pub fn has_begun(&self, channel: ChannelId) -> bool {
        self.lines.get(channel.index()).is_some_and(|line| line.taps > 0)
    }

    /// Takes what was heard in the newest frame.
    pub fn observe(&mut self, ears: &LineEars) {
        for onset in ears.onsets() {
            if onset.at < self.since {
                continue;
            }
            let lead = onset.second.map_or(onset.rise, |(_, rise)| onset.rise - rise);
            self.note(onset.channel, onset, onset.rise, lead);
            if let Some((second, rise)) = onset.second
                && onset.rise - rise <= MAY_BE_COPY
            {
                self.note(second, onset, rise, rise - onset.rise);
                self.companion = Some((second, onset.channel));
            }
        }
    }

    fn note(&mut self, channel: ChannelId, onset: &Onset, rise: Db, lead: Db) {
        let longest = self.rate.frames(PAIR_OF_TAPS);
        let Some(line) = self.lines.get_mut(channel.index()) else { return };
        line.onsets += 1;
        if line.onsets == 1 {
            line.first = onset.at;
        }
        if onset.short {
            let fresh = line.taps == 0 || onset.at - line.last > longest;
            let level = onset.level + (rise - onset.rise);
            line.taps = if fresh { 1 } else { line.taps + 1 };
            line.level = if fresh { level } else { line.level.min(level) };
            line.lead = if fresh { lead } else { line.lead.min(lead) };
            line.first = if fresh { onset.at } else { line.first };
            line.last = onset.at;
        }
        line.rise = rise;
    }

    /// Where the call is heard, at `now`.
    pub fn verdict(&self, call: &Called, plan: &LinePlan, ears: &LineEars, now: FrameCount) -> Arrival {
        let Called { channel: called, way, expected } = *call;
        let others = || (0..self.lines.len()).map(ChannelId::from_index).filter(|channel| *channel != called);
        let on = |channel: ChannelId| {
            let line = self.lines[channel.index()];
            let at = if line.onsets > 0 { line.first } else { now };
            Arrival::On { channel, at, rise: line.rise }
        };
        // What closes a round may be drowned by talk on the called line, which is somebody's microphone then.
        if let Some(expected) = expected.filter(|_| way == Way::Play)
            && expected.index() < self.lines.len()
            && self.is_played(expected, ears)
            && stands_over(ears, expected) >= stands_over(ears, called) + MAY_BE_COPY
        {
            return on(expected);
        }
        if called.index() < self.lines.len() {
            let own = match way {
                Way::Tap => self.is_tapped(called, ears),
                // With a round open the called line may be somebody's microphone, which hears who talks.
                Way::Play => {
                    let patient = expected.is_none() || now - self.since >= self.rate.frames(DOUBT);
                    self.is_played(called, ears) && (patient || self.is_alone(called, ears))
                }
            };
            if own {
                return on(called);
            }
        }
        let strongest = |channels: &mut dyn Iterator<Item = ChannelId>| {
            channels.max_by(|a, b| self.lines[a.index()].rise.get().total_cmp(&self.lines[b.index()].rise.get()))
        };
        let settled = |channel: &ChannelId| now - self.lines[channel.index()].last >= self.rate.frames(SETTLE);
        let direct = |channel: &ChannelId| self.is_direct(*channel, expected) && self.is_tapped(*channel, ears);
        let tapped = strongest(&mut others().filter(direct).filter(settled));
        let elsewhere = match way {
            Way::Tap if self.has_begun(called) => None,
            Way::Tap => tapped,
            Way::Play => strongest(&mut others().filter(|channel| self.is_lone_note(*channel, call, plan, ears))),
        };
        elsewhere.map_or(Arrival::Nothing, on)
    }

    fn is_tapped(&self, channel: ChannelId, ears: &LineEars) -> bool {
        let line = &self.lines[channel.index()];
        line.taps >= 2 && ears.share_over(channel, line.level + NEAR_TAPS, QUIET_HOPS) <= MOSTLY
    }

    /// The finger was on this microphone; it did not only hear it.
    fn is_direct(&self, channel: ChannelId, expected: Option<ChannelId>) -> bool {
        let line = &self.lines[channel.index()];
        let (rise, lead) = if Some(channel) == expected { EXPECTED } else { DIRECT };
        line.rise >= rise && line.lead >= lead
    }

    fn is_played(&self, channel: ChannelId, ears: &LineEars) -> bool {
        let line = &self.lines[channel.index()];
        !line.busy && ears.share_present(channel, NOTE_HOPS) >= NOTE
    }

    /// A note on a line that was not called, and on no other.
    fn is_lone_note(&self, channel: ChannelId, call: &Called, plan: &LinePlan, ears: &LineEars) -> bool {
        let called = call.channel;
        let own = plan.inputs.iter().find(|input| input.channel == channel).map(|input| input.way());
        let line = &self.lines[channel.index()];
        let held = || ears.share_present(channel, LONG_HOPS) >= HELD;
        let enough = line.onsets >= 2 || (line.onsets == 1 && (own == Some(Way::Play) || held()));
        enough
            && self.is_played(channel, ears)
            && ears.share_present(called, 2 * NOTE_HOPS) < BUSY
            && self.is_alone(channel, ears)
    }

    /// No other line sounds that was quiet before.
    fn is_alone(&self, channel: ChannelId, ears: &LineEars) -> bool {
        let quiet = |other: usize| {
            let other = ChannelId::from_index(other);
            other == channel || self.lines[other.index()].busy || ears.share_present(other, 2 * NOTE_HOPS) < BUSY
        };
        (0..self.lines.len()).all(quiet)
    }
}

/// How far a line stands over its floor now.
fn stands_over(ears: &LineEars, channel: ChannelId) -> Db {
    ears.floor(channel).map_or(Db::ZERO, |floor| ears.level(channel, NOTE_HOPS) - floor)
}
