//! Spill: is what a microphone hears its own performer, or another channel's sound from across the stage?
//!
//! Input: complete 100 ms frames of all channels, and the pair meter's answers. A channel is *suspect*
//! while another is more than 10 dB hotter. It is spill if, twice running, its sound correlates with that
//! channel's at a lag that fits a walk of sound across a stage (later, by up to 60 ms = 20 m). Suspect
//! frames wait for that verdict. From then on the spill's level under the other channel is known, and what
//! rises 5 dB out of it is the channel's own; only that counts as heard. Working values, common practice.

use super::finding::{Evidence, Finding, Outbox};
use crate::meters::{PairLag, Readings};
use crate::units::{ChannelId, Db, FrameCount, Seconds, SourceKind};

const HOTTER: Db = Db::new(10.0);
const ALIKE: f64 = 0.4;
const UNLIKE: f64 = 0.25;
const LONGEST_WALK: Seconds = Seconds::new(0.06);
/// Sound may seem early by this much: the pair meter's resolution on low notes.
const EARLY: Seconds = Seconds::new(-0.001);
const SAME_LAG: f64 = 0.002;
/// Sound that stands this far out of the spill is the channel's own.
const RISES: Db = Db::new(5.0);
/// A verdict holds for this many frames (10 s), then the pair is heard again.
const HOLDS: u64 = 100;

/// What a frame of a channel is worth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    Own,
    Suspect,
    Spill,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Verdict {
    Own,
    Spill,
}

#[derive(Clone, Copy, Debug, Default)]
struct Suspicion {
    of: Option<ChannelId>,
    below: Db,
    reported: bool,
}

/// What is known of a pair of channels.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    /// With the frame in which it was judged.
    verdict: Option<(Verdict, u64)>,
    last_lag: Option<Seconds>,
    since: FrameCount,
    /// How far under the loud channel its spill lies in the quiet one.
    below: Option<Db>,
}

/// Watches every channel for spill; asks for one pair at a time.
#[derive(Clone, Debug)]
pub struct Spill {
    kinds: Vec<SourceKind>,
    channels: Vec<Suspicion>,
    /// Quiet channel × loud channel.
    pairs: Vec<Pair>,
    turn: usize,
}

impl Spill {
    pub fn new(kinds: Vec<SourceKind>) -> Self {
        let channels = kinds.len();
        Self {
            kinds,
            channels: vec![Suspicion::default(); channels],
            pairs: vec![Pair::default(); channels * channels],
            turn: 0,
        }
    }

    /// A complete frame of all channels.
    pub fn observe(&mut self, readings: &Readings, out: &mut Outbox) {
        if let Some(pair) = readings.pair {
            self.hear(&pair, readings, out);
        }
        for index in 0..self.channels.len() {
            self.channels[index].of = None;
            let own = &readings.channels[index];
            if !own.recent.active_now {
                continue;
            }
            let hottest = readings
                .channels
                .iter()
                .enumerate()
                .filter(|&(other, _)| other != index && !share_a_source(self.kinds[index], self.kinds[other]))
                .max_by(|a, b| a.1.frame.rms.get().total_cmp(&b.1.frame.rms.get()));
            if let Some((other, reading)) = hottest {
                let below = reading.frame.rms - own.frame.rms;
                if below > HOTTER {
                    let suspicion = &mut self.channels[index];
                    suspicion.of = Some(ChannelId::from_index(other));
                    suspicion.below = below;
                }
            }
        }
    }

    /// Whose sound the newest frame of `channel` is.
    pub fn origin(&self, channel: ChannelId, frames: u64) -> Origin {
        let suspicion = &self.channels[channel.index()];
        let Some(of) = suspicion.of else { return Origin::Own };
        let pair = &self.pairs[self.pair(channel, of)];
        // Once the spill's level is known, what rises clearly out of it is the channel's own.
        if let Some(below) = pair.below {
            return if suspicion.below < below - RISES { Origin::Own } else { Origin::Spill };
        }
        match pair.verdict {
            Some((Verdict::Own, at)) if frames - at <= HOLDS => Origin::Own,
            _ => Origin::Suspect,
        }
    }

    /// A knob was turned: its channel's spill lies elsewhere now.
    pub fn forget(&mut self, channel: ChannelId) {
        let count = self.channels.len();
        for other in 0..count {
            self.pairs[channel.index() * count + other] = Pair::default();
            self.pairs[other * count + channel.index()] = Pair::default();
        }
    }

    /// The pair to look at next, (quiet, loud): suspects in turn, those without a verdict first.
    pub fn wanted_pair(&mut self, frames: u64) -> Option<(ChannelId, ChannelId)> {
        let count = self.channels.len();
        let order = (1..=count).map(|step| (self.turn + step) % count);
        let suspects = order.filter(|&index| self.channels[index].of.is_some());
        let unjudged =
            suspects.clone().find(|&index| self.origin(ChannelId::from_index(index), frames) == Origin::Suspect);
        let index = unjudged.or_else(|| suspects.clone().next())?;
        self.turn = index;
        self.channels[index].of.map(|of| (ChannelId::from_index(index), of))
    }

    fn pair(&self, quiet: ChannelId, loud: ChannelId) -> usize {
        quiet.index() * self.channels.len() + loud.index()
    }

    fn hear(&mut self, heard: &PairLag, readings: &Readings, out: &mut Outbox) {
        let index = self.pair(heard.quiet, heard.loud);
        let suspicion = &mut self.channels[heard.quiet.index()];
        if suspicion.of != Some(heard.loud) {
            return;
        }
        let pair = &mut self.pairs[index];
        let walks = heard.lag >= EARLY && heard.lag <= LONGEST_WALK;
        if heard.correlation < UNLIKE || (heard.correlation >= ALIKE && !walks) {
            pair.verdict = Some((Verdict::Own, readings.frames));
            pair.last_lag = None;
        } else if heard.correlation >= ALIKE {
            let again = pair.last_lag.is_some_and(|lag| (lag - heard.lag).get().abs() < SAME_LAG);
            if pair.last_lag.is_none() {
                pair.since = readings.at;
            }
            pair.last_lag = Some(heard.lag);
            if again {
                pair.verdict = Some((Verdict::Spill, readings.frames));
                let below = suspicion.below;
                pair.below = Some(pair.below.map_or(below, |known| known + Db::new(0.3 * (below - known).get())));
                if !std::mem::replace(&mut suspicion.reported, true) {
                    let evidence = Evidence::Spill { from: heard.loud, lag: heard.lag, below: suspicion.below };
                    out.push(Finding { channel: heard.quiet, start: pair.since, end: readings.at, evidence });
                }
            }
        }
    }
}

/// Two microphones over one choir, or an overhead and the drums under it: what both hear is nobody's spill.
const fn share_a_source(own: SourceKind, other: SourceKind) -> bool {
    use SourceKind::{Choir, Kick, Overhead, Percussion, Snare};
    matches!((own, other), (Choir, Choir) | (Overhead, Overhead | Kick | Snare | Percussion))
}
