//! What has been heard of a channel since its knob was last turned: the coach's evidence.
//!
//! Input: complete 100 ms frames. Only active frames of the channel's own sound count; silence between
//! hits does not. *Settled*: the last five active seconds (or four hits) raised the loudest peak by less
//! than 1 dB. *Rumble*: the share of active energy below the kind's low-cut. Working values, common practice.

use super::peaks::{self, Peaks, SetAside};
use super::spill::Origin;
use crate::meters::{Activity, ChannelReadings};
use crate::units::{Db, Dbfs, FrameCount, Hertz, Seconds, SourceKind};

const FRAME: Seconds = Seconds::new(0.1);
const SETTLED_BY: Db = Db::new(1.0);
const SETTLING_FRAMES: usize = 50;
const SETTLING_HITS: usize = 4;

/// Numbers about one channel's sound.
#[derive(Clone, Copy, Debug, Default)]
pub struct Heard {
    /// Active time of its own sound.
    pub active: Seconds,
    pub hits: u32,
    /// P: the loudest peak, freak events set aside.
    pub loudest: Dbfs,
    /// The median of the four loudest events.
    pub typical: Dbfs,
    pub set_aside: Option<SetAside>,
    pub settled: bool,
    /// Share of the active energy below the kind's low-cut, 0 to 1.
    pub rumble: f64,
    /// RMS of the newest frame.
    pub level: Dbfs,
    /// Time since it last sounded.
    pub quiet: Seconds,
    /// The sound at the moment is another channel's.
    pub spill: bool,
    /// Exact zeros for two seconds or more after sound: the line is dead.
    pub dead: bool,
    pub activity: Activity,
}

/// Gathers them for one channel.
#[derive(Clone, Debug)]
pub struct Listener {
    low_cut: Option<Hertz>,
    peaks: Peaks,
    /// Loudest peak at each of the last active frames, newest last; a ring.
    history: Vec<Dbfs>,
    /// The same at each of the last hits.
    hit_history: Vec<Dbfs>,
    low_power: f64,
    power: f64,
    zeros: u32,
    ever: bool,
    heard: Heard,
}

impl Listener {
    pub fn new(kind: SourceKind, low_cut: Option<Hertz>) -> Self {
        Self {
            low_cut,
            peaks: Peaks::new(kind),
            history: Vec::with_capacity(SETTLING_FRAMES + 1),
            hit_history: Vec::with_capacity(SETTLING_HITS + 1),
            low_power: 0.0,
            power: 0.0,
            zeros: 0,
            ever: false,
            heard: Heard::default(),
        }
    }

    /// Starts anew; the knob was turned, or another performer listens to the same line.
    pub fn reset(&mut self) {
        self.peaks.reset();
        self.history.clear();
        self.hit_history.clear();
        self.low_power = 0.0;
        self.power = 0.0;
        self.heard = Heard::default();
    }

    /// A complete frame that ended at `now`.
    pub fn observe(&mut self, reading: &ChannelReadings, origin: Origin, now: FrameCount) {
        let frame = &reading.frame;
        let own = reading.recent.active_now && origin == Origin::Own;
        let hits = self.peaks.hits();
        self.peaks.observe(frame, own, now);
        self.zeros = if frame.sample_peak.is_silence() { self.zeros + 1 } else { 0 };

        let loudest = self.peaks.loudest();
        if own {
            self.ever = true;
            self.heard.active += FRAME;
            remember(&mut self.history, loudest, SETTLING_FRAMES);
            self.power += frame.bands.iter().map(|&band| f64::from(band)).sum::<f64>();
            if let Some(low_cut) = self.low_cut {
                self.low_power += peaks::share_below(frame, low_cut.get());
            }
        }
        if self.peaks.hits() > hits {
            remember(&mut self.hit_history, loudest, SETTLING_HITS);
        }
        let raised = |history: &Vec<Dbfs>, full: usize| {
            history.len() > full && history.first().is_some_and(|&before| loudest - before < SETTLED_BY)
        };
        self.heard = Heard {
            active: self.heard.active,
            hits: self.peaks.hits(),
            loudest,
            typical: self.peaks.typical(),
            set_aside: self.peaks.set_aside(),
            settled: raised(&self.history, SETTLING_FRAMES) || raised(&self.hit_history, SETTLING_HITS),
            rumble: if self.power > 0.0 { self.low_power / self.power } else { 0.0 },
            level: frame.rms,
            quiet: if reading.recent.active_now { Seconds::ZERO } else { self.heard.quiet + FRAME },
            spill: origin == Origin::Spill,
            dead: self.ever && self.zeros >= 20,
            activity: reading.recent,
        };
    }

    pub fn heard(&self) -> &Heard {
        &self.heard
    }

    pub fn events_above(&self, level: Dbfs) -> usize {
        self.peaks.events_above(level)
    }
}

/// Appends to a short history of `full` + 1 values, the oldest leaving first.
fn remember(history: &mut Vec<Dbfs>, value: Dbfs, full: usize) {
    if history.len() > full {
        history.remove(0);
    }
    history.push(value);
}
