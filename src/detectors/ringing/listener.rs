//! One channel's rings: from the score of a tone to *possible*, *ringing* and gone.
//!
//! A tone is said to be possible, or ringing, when its smoothed score comes over the mark. It is gone
//! when it can no longer be seen, when it has fallen 20 dB, or (possible only) when nothing has spoken for it for two
//! seconds. Harmonics of a louder ring, what stands 30 dB under one, and the room's own tones are no rings.
//! Over a gap, what was said stands, and histories start anew.

use super::Desk;
use super::judge::{self, Look};
use super::known::{Known, is_same};
use super::ring::{Certainty, Ring, RingEvent, Signs};
use super::signs::{signs, stands};
use super::track::{MOST, Track, Tracks};
use crate::meters::Spectrum;
use crate::units::{ChannelId, Db, Hertz, Seconds};

/// Of one channel at once.
pub(super) const MOST_RINGS: usize = 12;
/// A ring that ended so long ago may be the same again.
const MEMORY: Seconds = Seconds::new(600.0);
const PAST: usize = 16;
/// Tones are forgotten over a longer gap.
const BRIDGED: Seconds = Seconds::new(2.0);
/// Share of its growth that it has at least while nothing limits it.
const STILL_GROWS: f64 = 0.3;
const FALLEN: f64 = 20.0;
const UNCONFIRMED: Seconds = Seconds::new(2.0);
const MASKED: f64 = 30.0;

/// Follows one channel.
#[derive(Clone, Debug)]
pub(super) struct Listener {
    channel: ChannelId,
    tracks: Tracks,
    /// The spectrum seen last.
    count: u64,
    cases: Vec<Case>,
    known: Known,
    /// Frequencies of rings that have ended, and when.
    past: Vec<(f64, Seconds)>,
}

/// What is thought of the tone in one place.
#[derive(Clone, Copy, Debug, Default)]
struct Case {
    track: u32,
    look: Look,
    judged: Option<(Signs, f64)>,
    ring: Option<Ring>,
    /// Its highest level since it was said.
    top: f64,
    /// The longest climb on one line, dB, and its slope.
    climb: (f64, f64),
    /// When its score last was a possible ring's.
    supported: Seconds,
}

impl Listener {
    pub fn new(channel: ChannelId) -> Self {
        Self {
            channel,
            tracks: Tracks::new(),
            count: 0,
            cases: vec![Case::default(); MOST],
            known: Known::new(),
            past: Vec::with_capacity(PAST),
        }
    }

    pub fn rings(&self) -> impl Iterator<Item = Ring> + '_ {
        self.cases.iter().filter_map(|case| case.ring).take(MOST_RINGS)
    }

    pub fn judged(&self) -> impl Iterator<Item = (u32, Hertz, Signs, f64)> + '_ {
        let judged = |(slot, case): (usize, &Case)| {
            let (signs, points) = case.judged?;
            Some((case.track, self.tracks.at(slot)?.peak.frequency, signs, points))
        };
        self.cases.iter().enumerate().filter_map(judged)
    }

    /// Whether a tone stands there.
    pub fn has(&self, frequency: f64) -> bool {
        self.tracks.iter().any(|track| track.age >= 5 && (track.peak.frequency.get() / frequency - 1.0).abs() < 0.001)
    }

    pub fn forget_room(&mut self) {
        self.known.forget();
    }

    pub fn gap(&mut self, length: Seconds, at: Seconds, desk: &mut Desk) {
        if length > BRIDGED {
            self.finish(at - length, desk);
            self.tracks.clear();
        }
    }

    pub fn finish(&mut self, at: Seconds, desk: &mut Desk) {
        for slot in 0..MOST {
            self.end(slot, at, desk);
        }
    }

    /// Looks at a spectrum, if it is a new one.
    pub fn observe(&mut self, spectrum: &Spectrum, at: Seconds, learning: bool, desk: &mut Desk) -> bool {
        if spectrum.count == self.count {
            return false;
        }
        self.count = spectrum.count;
        self.tracks.follow(spectrum, at);
        for slot in 0..MOST {
            let id = self.tracks.at(slot).map(|track| track.id);
            if self.cases[slot].ring.is_some() && id != Some(self.cases[slot].track) {
                self.end(slot, at, desk);
            }
            if let Some(id) = id.filter(|&id| id != self.cases[slot].track) {
                self.cases[slot] = Case { track: id, ..Case::default() };
            }
        }
        for slot in 0..MOST {
            let Some(track) = self.tracks.at(slot) else {
                self.cases[slot].judged = None;
                continue;
            };
            if learning {
                self.known.learn(track);
            }
            let case = self.look(slot, track, at, desk);
            self.cases[slot] = case;
            self.tracks.set_said(slot, case.ring.is_some_and(|ring| ring.certainty == Certainty::Ringing));
            if case.ring.is_some_and(|ring| is_over(&case, &ring, at)) {
                self.end(slot, at, desk);
            }
        }
        true
    }

    fn look(&self, slot: usize, track: &Track, at: Seconds, desk: &mut Desk) -> Case {
        let mut case = self.cases[slot];
        case.judged = None;
        let Some((mut signs, line)) = signs(track, self.tracks.iter()) else {
            return Case { ring: case.ring.map(|ring| carried_on(ring, track, None)), ..case };
        };
        let frequency = track.peak.frequency.get();
        signs.returned = self.past.iter().any(|&(past, when)| is_same(past, frequency) && at - when < MEMORY);
        let points = judge::points(&signs, frequency);
        let points = if stands(track, self.tracks.iter()) { points.max(judge::STANDS) } else { points };
        case.judged = Some((signs, points));
        let spoken_for = case.ring.is_none() && (self.known.holds(track) || self.is_shadow(track));
        case.look.push(if spoken_for { f64::NEG_INFINITY } else { points });
        if case.look.holds(Certainty::Possible) {
            case.supported = at;
        }
        let said = Certainty::highest(|certainty| case.look.holds(certainty));
        let was = case.ring.map(|ring| ring.certainty);
        let news = said.filter(|&said| was.is_none_or(|was| was < said));
        if let Some(certainty) = news {
            if was.is_none() {
                (case.top, case.climb) = (f64::NEG_INFINITY, (0.0, 0.0));
            }
            let id = case.ring.map_or_else(|| desk.new_id(), |ring| ring.id);
            let start = case.ring.map_or(track.start, |ring| ring.start);
            case.ring = Some(Ring {
                id,
                channel: self.channel,
                certainty,
                frequency: Hertz::new(line),
                level: track.peak.level,
                growth: signs.growth,
                excess: None,
                clips_in: None,
                start,
                reported: at,
                end: None,
                signs,
            });
        }
        case.ring = case.ring.map(|ring| {
            let mut ring = carried_on(ring, track, Some(signs));
            if signs.rise.get() >= case.climb.0 {
                case.climb = (signs.rise.get(), signs.growth);
            }
            // Once a limit holds it down, it is drawn off its frequency.
            if signs.growth > STILL_GROWS * case.climb.1 && signs.rise.get() > 1.0 {
                ring.frequency = Hertz::new(line);
            }
            ring.excess = desk.excess(case.climb.1);
            case.top = case.top.max(ring.level.get());
            ring
        });
        if let Some(ring) = case.ring.filter(|_| news.is_some()) {
            desk.say(RingEvent::Said(ring));
        }
        case
    }

    /// A harmonic of a louder ring, or far under one.
    fn is_shadow(&self, track: &Track) -> bool {
        let (frequency, level) = (track.peak.frequency.get(), track.peak.level.get());
        self.rings().filter(|ring| ring.certainty == Certainty::Ringing).any(|ring| {
            let (ratio, below) = (frequency / ring.frequency.get(), ring.level.get() - level);
            let harmonic = ratio > 1.5 && (ratio - ratio.round()).abs() < 0.004 * ratio;
            below > MASKED || (harmonic && below > 6.0)
        })
    }

    fn end(&mut self, slot: usize, at: Seconds, desk: &mut Desk) {
        let case = &mut self.cases[slot];
        case.look = Look::default();
        let Some(mut ring) = case.ring.take() else { return };
        ring.end = Some(at);
        ring.growth = case.climb.1;
        ring.clips_in = None;
        if ring.certainty == Certainty::Ringing {
            if self.past.len() == PAST {
                self.past.remove(0);
            }
            self.past.push((ring.frequency.get(), at));
        }
        desk.say(RingEvent::Ended(ring));
    }
}

impl Certainty {
    /// The surest that holds.
    fn highest(holds: impl Fn(Self) -> bool) -> Option<Self> {
        [Self::Ringing, Self::Possible].into_iter().find(|&certainty| holds(certainty))
    }
}

fn is_over(case: &Case, ring: &Ring, at: Seconds) -> bool {
    let fallen = ring.level.get() < case.top - FALLEN;
    fallen || (ring.certainty == Certainty::Possible && at - case.supported > UNCONFIRMED)
}

/// A ring as it is now.
fn carried_on(ring: Ring, track: &Track, signs: Option<Signs>) -> Ring {
    let headroom = -(track.peak.level.get() + Db::from_ratio(2f64.sqrt()).get());
    let growth = signs.map_or(track.pace, |signs| signs.growth);
    let clips_in = (growth > 0.5 && headroom > 0.0).then(|| Seconds::new(headroom / growth));
    Ring { level: track.peak.level, growth, clips_in, signs: signs.unwrap_or(ring.signs), ..ring }
}
