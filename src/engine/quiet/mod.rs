//! A quiet sweep in a hall: how far each microphone is from ringing, before anything has rung.
//!
//! In: a [`Place`], heard a little at a time, that plays into the opened loop; what the person says. What is due is decided by
//! `coach::sweep`; here it is carried out: quiet and taps are listened to, three seconds are counted down before the first
//! sound and one before each later one, what was played and what came back meanwhile are handed over. Opened at the main
//! output, the computer's own output and input come first, straight into each other (the *loopback*): what it does to the
//! level and the delay is taken out. Time is the audio clock. Edge cases: frames lost while it plays, and a device that
//! goes, end it; a stop silences the place at once, and nothing begins anew by itself.

mod live;
mod results;
mod stage;
mod taps;

pub use live::{LivePlace, find_output, input};
pub use results::QuietResult;
pub use stage::StagePlace;

pub use crate::coach::sweep::{NoSweep, Opened, SweepPlan, TAP};
use crate::sink::{Armed, arm};
use std::sync::Arc;
use std::thread::JoinHandle;

use crate::block::Format;
use crate::coach::ringout::Output;
use crate::coach::sweep::{Heard, Judged, Louder, SOFTER, SafeSweep, SweepStep};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, Seconds};
use results::{Loopback, came};
use taps::Taps;

/// What a quiet sweep needs of a place.
pub trait Place {
    fn format(&self) -> Format;

    /// Hears up to 100 ms more and appends it, a plane each channel; while a device gives nothing it may append nothing.
    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError>;

    /// Plays these once, into the opened loop, from now on.
    fn play(&mut self, leave: Armed, samples: Vec<f32>) -> Result<(), PlaceError>;

    /// Silence.
    fn stop(&mut self);

    /// On the simulated stage somebody taps it; in a hall the person was asked.
    fn ask_for_a_tap(&mut self, _microphone: ChannelId) {}

    /// On the simulated stage somebody sees to it that these alone play; in a hall the person was asked.
    fn ask_for_alone(&mut self, _loudspeakers: Alone) {}

    /// On the simulated stage somebody puts it there (metres, as in `venue.toml`); in a hall the person was asked.
    fn ask_to_put(&mut self, _microphone: ChannelId, _at: (f64, f64)) {}
}

/// Which loudspeakers are to play, of mains and a second one halfway down the hall.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alone {
    Mains,
    Second,
}

/// Why a place can't go on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PlaceError {
    /// Frames are missing.
    Gap,
    /// Its input is gone; why, and how to mend it.
    Input(String),
    /// Nothing can be played; why, and how to mend it.
    Output(String),
}

/// What is wanted.
#[derive(Clone, Debug, PartialEq)]
pub struct QuietWish {
    pub opened: Opened,
    /// Whose loop it is.
    pub output: Output,
    /// Nothing is played louder.
    pub most: Dbfs,
    /// The channels that are measured; at the main output the one that its plug goes into.
    pub channels: Vec<ChannelId>,
    /// At the return: a channel with the main mix, if the device has one; else the person listens.
    pub main_mix: Option<ChannelId>,
    /// A channel that brings the sweep itself, whichever loudspeaker plays.
    pub reference: Option<ChannelId>,
    /// At the return: its fader, and the show's fader of each channel (0 where it is not told), in the desk's dB.
    pub return_fader: Db,
    pub faders: Vec<Db>,
}

impl QuietWish {
    /// At a return with its fader and the show's at 0, up to −20 dBFS, for all microphones.
    pub fn usual(opened: Opened) -> Self {
        let most = Dbfs::new(-20.0);
        Self {
            opened,
            output: Output::Mains,
            most,
            channels: Vec::new(),
            main_mix: None,
            reference: None,
            return_fader: Db::ZERO,
            faders: Vec::new(),
        }
    }

    /// Without channels of its own, for these; at the main output for the first alone, into which the desk goes.
    pub fn or_for(mut self, channels: &[ChannelId]) -> Self {
        if self.channels.is_empty() {
            self.channels = channels.to_vec();
        }
        if self.opened == Opened::AtMainOut {
            self.channels.truncate(1);
        }
        self
    }
}

/// What the person says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum QuietAnswer {
    Yes,
    No,
    /// Any key while it sounds.
    Stop,
}

/// How things stand.
#[derive(Clone, Debug, PartialEq)]
pub enum QuietStep {
    /// Output and input of the computer are to be put together; yes plays.
    Loopback,
    /// The cautions are to be read.
    Cautions,
    /// A microphone is to be tapped; by how much the one that stands out most does so.
    Tap {
        rise: Db,
    },
    /// Whole seconds until it sounds.
    Countdown {
        seconds: u32,
        level: Dbfs,
    },
    Sounding {
        level: Dbfs,
        which: Which,
        share: f64,
    },
    /// Results stand.
    Done,
    Refused(NoSweep),
    /// The place failed: why, and how to mend it.
    Failed(PlaceError),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    Loopback,
    Chirp,
    First,
    Second,
}

/// Heard beyond what was sent: what output and input may hold.
const LATE: Seconds = Seconds::new(0.8);
/// So often a place may give nothing while it should, half a second each.
const PATIENCE: u32 = 4;
const FIRST_COUNTDOWN: Seconds = Seconds::new(3.0);
const COUNTDOWN: Seconds = Seconds::new(1.0);
/// Straight into the input nobody hears it; should a loudspeaker still hang there, it is as soft as any first sound.
const LOOPBACK_LEVEL: Dbfs = Dbfs::new(-50.0);

/// A quiet sweep at work.
pub struct QuietSweep<P> {
    place: P,
    wish: QuietWish,
    safe: SafeSweep,
    taps: Taps,
    planes: Vec<Vec<f32>>,
    phase: Phase,
    /// Of the louder sweep, while the softer one sounds.
    judging: Option<JoinHandle<Judged>>,
    loopback: Option<Loopback>,
    result: Option<Arc<QuietResult>>,
    now: Seconds,
    /// The person has said yes to what stands before a sound.
    confirmed: bool,
    sounded: bool,
    /// Times in a row that nothing came while it should.
    nothing: u32,
    refused: Option<NoSweep>,
    failed: Option<PlaceError>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    /// The person is asked.
    Asking,
    Counting {
        frames_left: u64,
    },
    /// Frames that are to be heard.
    Sounding {
        wanted: usize,
        which: Which,
        level: Dbfs,
    },
    Over,
}

impl<P: Place> QuietSweep<P> {
    /// `None`: a rate or a limit that no sweep can have, or no channel to measure.
    pub fn new(place: P, wish: QuietWish) -> Option<Self> {
        let Format { rate, channels } = place.format();
        let plan = SweepPlan { most: wish.most, ..SweepPlan::usual(rate, wish.opened) };
        let there = |channel: &ChannelId| channel.index() < channels;
        let fits =
            !wish.channels.is_empty() && wish.channels.iter().chain(&wish.main_mix).chain(&wish.reference).all(there);
        let safe = SafeSweep::new(plan).filter(|_| fits)?;
        Some(Self {
            taps: Taps::new(rate, channels),
            planes: vec![Vec::new(); channels],
            place,
            wish,
            safe,
            phase: Phase::Asking,
            judging: None,
            loopback: None,
            result: None,
            now: Seconds::ZERO,
            confirmed: false,
            sounded: false,
            nothing: 0,
            refused: None,
            failed: None,
        })
    }

    pub const fn place(&self) -> &P {
        &self.place
    }

    pub const fn place_mut(&mut self) -> &mut P {
        &mut self.place
    }

    /// Another sweep in the same place, armed anew, with the first so many of its channels.
    pub fn begin_anew(&mut self, channels: usize) {
        self.place.stop();
        self.safe = self.safe.anew();
        self.wish.channels.truncate(channels.max(1));
        (self.phase, self.judging, self.result, self.refused) = (Phase::Asking, None, None, None);
        (self.confirmed, self.sounded, self.nothing) = (false, false, 0);
        self.forget();
    }

    /// By the audio clock.
    pub fn now(&self) -> Seconds {
        self.now
    }

    pub fn wish(&self) -> &QuietWish {
        &self.wish
    }

    pub fn result(&self) -> Option<&Arc<QuietResult>> {
        self.result.as_ref()
    }

    pub fn step(&self) -> QuietStep {
        let rate = self.place.format().rate;
        if let Some(why) = &self.failed {
            return QuietStep::Failed(why.clone());
        }
        if let Some(why) = self.refused {
            return QuietStep::Refused(why);
        }
        match self.phase {
            Phase::Counting { frames_left } => {
                let seconds = FrameCount::new(frames_left).at(rate).get().ceil() as u32;
                return QuietStep::Countdown { seconds, level: self.level() };
            }
            Phase::Sounding { wanted, which, level } => {
                let share = (self.heard_frames() as f64 / wanted as f64).min(1.0);
                return match which {
                    // Both are one sound.
                    Which::First if share < 0.5 => QuietStep::Sounding { level, which, share: 2.0 * share },
                    Which::First => {
                        QuietStep::Sounding { level: level - SOFTER, which: Which::Second, share: 2.0 * share - 1.0 }
                    }
                    _ => QuietStep::Sounding { level, which, share },
                };
            }
            Phase::Asking | Phase::Over => {}
        }
        match self.safe.step() {
            SweepStep::Arm if self.wants_loopback() => QuietStep::Loopback,
            SweepStep::Refused(why) => QuietStep::Refused(*why),
            SweepStep::Done(_) => QuietStep::Done,
            SweepStep::Tap => QuietStep::Tap { rise: self.taps.rise(&self.wish.channels) },
            SweepStep::Arm | SweepStep::Chirp { .. } | SweepStep::Sweep { .. } => QuietStep::Cautions,
        }
    }

    /// Hears on; `false`: it is over.
    pub fn go_on(&mut self) -> bool {
        if self.phase == Phase::Over {
            return false;
        }
        let before = self.heard_frames();
        if let Err(why) = self.place.hear(&mut self.planes) {
            // A gap does no harm while nothing sounds.
            if why != PlaceError::Gap || matches!(self.phase, Phase::Sounding { .. }) {
                self.fail(why);
            }
            return self.phase != Phase::Over;
        }
        let came = self.heard_frames() - before;
        let came_for = FrameCount::new(came as u64).at(self.place.format().rate);
        self.now += came_for;
        self.nothing = if came > 0 { 0 } else { self.nothing + 1 };
        if self.nothing > PATIENCE && matches!(self.phase, Phase::Sounding { .. }) {
            self.fail(PlaceError::Gap);
            return false;
        }
        match self.phase {
            Phase::Asking => {
                let second = self.now.get() as u64;
                if (self.now - came_for).get() as u64 != second
                    && matches!(self.safe.step(), SweepStep::Tap)
                    && let Some(first) = self.wish.channels.first()
                {
                    self.place.ask_for_a_tap(*first);
                }
                self.taps.hear(&self.planes);
                self.forget();
            }
            Phase::Counting { frames_left } => {
                self.forget();
                self.phase = Phase::Counting { frames_left: frames_left.saturating_sub(came as u64) };
                if frames_left <= came as u64 {
                    self.sound();
                }
            }
            Phase::Sounding { wanted, which, .. } => {
                self.judge_the_louder();
                if self.heard_frames() >= wanted {
                    self.hear_out(which);
                }
            }
            Phase::Over => {}
        }
        true
    }

    pub fn answer(&mut self, answer: QuietAnswer) {
        match (answer, self.step()) {
            (QuietAnswer::Stop, _) | (QuietAnswer::No, QuietStep::Cautions | QuietStep::Loopback) => self.stop(),
            (QuietAnswer::Yes, QuietStep::Loopback) => {
                self.confirmed = true;
                self.count_down();
            }
            (QuietAnswer::Yes, QuietStep::Cautions) => {
                self.confirmed = true;
                self.safe.arm();
                self.taps.begin();
            }
            (QuietAnswer::Yes | QuietAnswer::No, QuietStep::Tap { .. }) => {
                let silent = answer == QuietAnswer::Yes;
                let heard = self.taps.heard(&self.wish.channels, self.wish.main_mix, self.wish.opened, silent);
                self.safe.tapped(heard);
                self.next();
            }
            _ => {}
        }
    }

    /// Silence at once; what was not measured stays unmeasured.
    fn stop(&mut self) {
        self.place.stop();
        if self.phase != Phase::Over {
            self.safe.stop();
            self.phase = Phase::Over;
        }
    }

    fn fail(&mut self, why: PlaceError) {
        self.place.stop();
        self.safe.lost();
        self.phase = Phase::Over;
        if why != PlaceError::Gap {
            self.failed = Some(why);
        }
    }

    fn wants_loopback(&self) -> bool {
        self.wish.opened == Opened::AtMainOut && self.loopback.is_none()
    }

    fn level(&self) -> Dbfs {
        match *self.safe.step() {
            SweepStep::Chirp { level } | SweepStep::Sweep { level } => level,
            _ => LOOPBACK_LEVEL,
        }
    }

    fn count_down(&mut self) {
        let wait = if self.sounded { COUNTDOWN } else { FIRST_COUNTDOWN };
        self.phase = Phase::Counting { frames_left: self.place.format().rate.frames(wait).get() };
    }

    fn sound(&mut self) {
        let rate = self.place.format().rate;
        let (samples, which) = match *self.safe.step() {
            SweepStep::Chirp { .. } => (self.safe.sent(), Which::Chirp),
            SweepStep::Sweep { .. } => (self.safe.sent(), Which::First),
            _ => (Loopback::signal(rate, LOOPBACK_LEVEL), Which::Loopback),
        };
        let wanted = samples.len() + rate.frames(LATE).get() as usize;
        self.planes.iter_mut().for_each(|plane| plane.reserve(wanted));
        self.sounded = true;
        let leave = arm(self.confirmed).map_err(|error| PlaceError::Output(error.to_string()));
        match leave.and_then(|leave| self.place.play(leave, samples)) {
            Ok(()) => self.phase = Phase::Sounding { wanted, which, level: self.level() },
            Err(why) => self.fail(why),
        }
    }

    fn judge_the_louder(&mut self) {
        let due = |louder: &Louder| self.judging.is_none() && self.heard_frames() >= louder.frames();
        let Some(louder) = self.safe.louder().filter(due) else { return };
        let planes: Vec<Vec<f32>> =
            self.wish.channels.iter().map(|channel| self.planes[channel.index()][..louder.frames()].to_vec()).collect();
        let judge = move || louder.judge(Heard { channels: &planes, sound: None });
        self.judging = std::thread::Builder::new().name("louder sweep".into()).spawn(judge).ok();
    }

    /// All that was to come has come.
    fn hear_out(&mut self, which: Which) {
        self.place.stop();
        let reference = self.wish.reference.map(|channel| self.planes[channel.index()].clone());
        let planes: Vec<Vec<f32>> =
            self.wish.channels.iter().map(|channel| std::mem::take(&mut self.planes[channel.index()])).collect();
        self.forget();
        if which == Which::Loopback {
            let rate = self.place.format().rate;
            match Loopback::of(&planes[0], rate, LOOPBACK_LEVEL) {
                Ok(loopback) => {
                    self.loopback = Some(loopback);
                    // The loudspeakers come next: asked anew, counted down anew.
                    (self.confirmed, self.sounded) = (false, false);
                    self.phase = Phase::Asking;
                }
                Err(why) => {
                    self.refused = Some(NoSweep::Unfit { channel: 0, why });
                    self.phase = Phase::Over;
                }
            }
            return;
        }
        let heard = Heard { channels: &planes, sound: None };
        let sent = self.safe.sent();
        match self.judging.take().and_then(|judging| judging.join().ok()) {
            Some(judged) => self.safe.heard_after(judged, heard),
            None => self.safe.heard(heard),
        }
        if let SweepStep::Done(measured) = self.safe.step() {
            let mut result = QuietResult::new(measured, &self.wish, self.loopback.as_ref());
            result.reference = reference.map(|captured| came(&sent, &captured, self.place.format().rate));
            self.result = Some(Arc::new(result));
        }
        self.next();
    }

    fn next(&mut self) {
        match self.safe.step() {
            SweepStep::Done(_) | SweepStep::Refused(_) => self.phase = Phase::Over,
            SweepStep::Chirp { .. } | SweepStep::Sweep { .. } => self.count_down(),
            SweepStep::Arm | SweepStep::Tap => self.phase = Phase::Asking,
        }
    }

    fn heard_frames(&self) -> usize {
        self.planes.first().map_or(0, Vec::len)
    }

    fn forget(&mut self) {
        self.planes.iter_mut().for_each(Vec::clear);
    }
}
