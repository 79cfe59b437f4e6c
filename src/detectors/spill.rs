//! Spill: is what a microphone hears its own performer, or another channel's sound from across the stage?
//!
//! Input: complete 100 ms frames of all channels, and the pair meter's answers. A channel is *suspect*
//! while another is more than 10 dB hotter. It is spill if, twice running, its sound correlates with that
//! channel's at a lag that fits a walk of sound across a stage (later, by up to 60 ms = 20 m). Suspect
//! frames wait for that verdict; only a channel's own sound counts as heard. Working values, common practice.

use super::finding::{Evidence, Finding, Outbox};
use crate::meters::{PairLag, Readings};
use crate::units::{ChannelId, Db, FrameCount, Seconds};

const HOTTER: Db = Db::new(10.0);
const ALIKE: f64 = 0.4;
const UNLIKE: f64 = 0.25;
const LONGEST_WALK: Seconds = Seconds::new(0.06);
/// Sound may seem early by this much: the pair meter's resolution on low notes.
const EARLY: Seconds = Seconds::new(-0.001);
const SAME_LAG: f64 = 0.002;
/// A verdict holds for this many frames (5 s), then the pair is heard again.
const HOLDS: u64 = 50;

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
    verdict: Option<(ChannelId, Verdict, u64)>,
    last_lag: Option<Seconds>,
    reported: bool,
    since: FrameCount,
}

/// Watches every channel for spill; asks for one pair at a time.
#[derive(Clone, Debug)]
pub struct Spill {
    channels: Vec<Suspicion>,
    turn: usize,
}

impl Spill {
    pub fn new(channels: usize) -> Self {
        Self { channels: vec![Suspicion::default(); channels], turn: 0 }
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
                .filter(|&(other, _)| other != index)
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
        match (suspicion.of, suspicion.verdict) {
            (None, _) => Origin::Own,
            (Some(of), Some((judged, verdict, at))) if of == judged && frames - at <= HOLDS => match verdict {
                Verdict::Own => Origin::Own,
                Verdict::Spill => Origin::Spill,
            },
            _ => Origin::Suspect,
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

    fn hear(&mut self, pair: &PairLag, readings: &Readings, out: &mut Outbox) {
        let suspicion = &mut self.channels[pair.quiet.index()];
        if suspicion.of != Some(pair.loud) {
            return;
        }
        let walks = pair.lag >= EARLY && pair.lag <= LONGEST_WALK;
        if pair.correlation < UNLIKE || (pair.correlation >= ALIKE && !walks) {
            suspicion.verdict = Some((pair.loud, Verdict::Own, readings.frames));
            suspicion.last_lag = None;
        } else if pair.correlation >= ALIKE {
            let again = suspicion.last_lag.is_some_and(|lag| (lag - pair.lag).get().abs() < SAME_LAG);
            if suspicion.last_lag.is_none() {
                suspicion.since = readings.at;
            }
            suspicion.last_lag = Some(pair.lag);
            if again {
                suspicion.verdict = Some((pair.loud, Verdict::Spill, readings.frames));
                if !std::mem::replace(&mut suspicion.reported, true) {
                    let evidence = Evidence::Spill { from: pair.loud, lag: pair.lag, below: suspicion.below };
                    out.push(Finding { channel: pair.quiet, start: suspicion.since, end: readings.at, evidence });
                }
            }
        }
    }
}
