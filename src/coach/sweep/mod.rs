//! A quiet sweep's safe way: armed, the loop proven open, softly first, louder in steps, twice, compared.
//!
//! Whoever plays and records asks [`SafeSweep::step`] what is due and answers: [`SafeSweep::arm`] after the cautions were
//! read, [`SafeSweep::tapped`] with what a tapped microphone did, [`SafeSweep::heard`] with what was recorded while
//! [`SafeSweep::sent`] was played (same length, same beginning; the capture may be longer), [`SafeSweep::lost`] when
//! the device went, [`SafeSweep::stop`] on any key. `sent` is empty unless something may be played now. A refusal is the
//! end: nothing is repeated by itself, a new start arms anew.
//!
//! A chirp of 1 s begins at −50 dBFS and goes up by 6 dB, above −40 by 3 dB where no compared meter tells the level, until
//! every octave from 250 Hz to 4 kHz stands 15 dB over its noise at every microphone that hears it, or the limit is met (dBFS, and dB(A) with a meter).
//! Then 5 s at that level, and in the same sound again 6 dB softer: a room that stands still and a straight chain give the same
//! loop at both, within 1 dB at the five highest peaks; what lies between them tells how far the clocks of output and
//! input are apart. Levels are practice values. No clock, no device, no text.

mod doubts;

use rayon::prelude::*;

use crate::measure::margin::LoopGain;
use crate::measure::pauses::Steps;
use crate::measure::sweep::{Clocks, Inverse, Refusal, Sweep, Taken, drift};
use crate::units::{Db, Dbfs, Hertz, SampleRate, Seconds};

/// Where the loop is opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Opened {
    /// At a spare return; the microphones are not assigned to the output.
    AtReturn,
    /// At the desk's main output, whose plug goes into the computer.
    AtMainOut,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SweepPlan {
    pub rate: SampleRate,
    pub opened: Opened,
    /// Nothing is played louder.
    pub most: Dbfs,
    /// dB(A) where people are, with a compared meter; 75 is the usual limit.
    pub most_sound: f64,
    /// What is recorded after a sweep: the hall's reverberation and a second.
    pub tail: Seconds,
}

impl SweepPlan {
    /// Up to −12 dBFS and 75 dB(A), for a hall that reverberates up to 2 s.
    pub fn usual(rate: SampleRate, opened: Opened) -> Self {
        Self { rate, opened, most: Dbfs::new(-12.0), most_sound: 75.0, tail: Seconds::new(3.0) }
    }

    /// Both sweeps in one sound.
    pub fn pair(&self, level: Dbfs) -> Vec<f32> {
        [self.whole(level), self.whole(level - SOFTER)].concat()
    }

    fn whole(&self, level: Dbfs) -> Vec<f32> {
        self.piece(level, 5.0, self.tail.get())
    }

    /// Silence, a sweep of so many seconds, silence.
    fn piece(&self, level: Dbfs, length: f64, tail: f64) -> Vec<f32> {
        let (low, high) = (Hertz::new(80.0), Hertz::new(12_000.0));
        let sweep = Sweep::new(low, high, Seconds::new(length), Seconds::new(0.01), level);
        let silence = |seconds: f64| vec![0.0; self.rate.frames(Seconds::new(seconds)).get() as usize];
        let samples = sweep.map_or(Vec::new(), |sweep| sweep.samples(self.rate));
        [silence(AHEAD), samples, silence(tail)].concat()
    }
}

/// What is due.
#[derive(Clone, Debug)]
pub enum SweepStep {
    /// The cautions have to be read and said yes to.
    Arm,
    /// Someone taps a microphone: is the loop open?
    Tap,
    /// A short chirp, after a countdown.
    Chirp {
        level: Dbfs,
    },
    /// Two whole sweeps in one sound; the second one is softer.
    Sweep {
        level: Dbfs,
    },
    Done(Box<Measured>),
    Refused(NoSweep),
}

/// What a tapped microphone did: the loudest 50 ms, and the quiet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TapHeard {
    /// At the microphone's own tap.
    pub microphone: Dbfs,
    pub microphone_quiet: Dbfs,
    /// At the return: in the main mix. At the main out: at the computer's input.
    pub main: Dbfs,
    pub main_quiet: Dbfs,
}

impl TapHeard {
    /// From recordings of some quiet with the tap in it; `None` for less than 50 ms.
    pub fn new(microphone: &[f32], main: &[f32], rate: SampleRate) -> Option<Self> {
        let (microphone, main) = (Steps::new(microphone, rate)?, Steps::new(main, rate)?);
        Some(Self {
            microphone: microphone.loudest,
            microphone_quiet: microphone.quiet,
            main: main.loudest,
            main_quiet: main.quiet,
        })
    }
}

/// What was recorded while `sent` was played.
#[derive(Clone, Copy, Debug)]
pub struct Heard<'a> {
    /// A microphone each at the return, one channel at the main out.
    pub channels: &'a [Vec<f32>],
    /// The loudest dB(A) where people are, if a compared meter told it.
    pub sound: Option<f64>,
}

/// Why there is no result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NoSweep {
    /// A tap went where it must not, or did not come where it should.
    LoopNotOpen(TapHeard),
    /// The tapped microphone itself was not heard.
    NoTap(TapHeard),
    /// A capture is unfit, of this channel.
    Unfit {
        channel: usize,
        why: Refusal,
    },
    /// Nothing of the sweep arrived anywhere, at this level.
    NotConnected {
        level: Dbfs,
    },
    /// Mains hum of so much of the noise hides the sweep.
    Hum {
        channel: usize,
        mains: Hertz,
        share: f64,
    },
    /// What comes in changes its own gain: the pause after the sweep lies so much lower than the one before.
    RidesItsLevel {
        channel: usize,
        pause: Db,
    },
    /// Louder gives less than it should, by so much for 6 dB.
    Limited {
        channel: usize,
        missing: Db,
    },
    /// The limit is met before the sweep stands out of the noise; `least`: where it does so least, if anywhere.
    TooSoft {
        level: Dbfs,
        sound: Option<f64>,
        least: Option<(Hertz, Db)>,
    },
    /// Fewer samples came back than were played, or the device went.
    DeviceLost,
    Stopped,
}

/// Both sweeps' result.
#[derive(Clone, Debug)]
pub struct Measured {
    pub level: Dbfs,
    /// Of the louder one.
    pub channels: Loops,
}

pub struct SafeSweep {
    plan: SweepPlan,
    step: SweepStep,
}

/// The louder of two sweeps, to be judged while the softer one still sounds.
pub struct Louder {
    plan: SweepPlan,
    level: Dbfs,
}

/// What was made of it; whatever speaks against it ends both.
pub struct Judged(Result<(Inverse, Loops), NoSweep>);

/// The first chirp.
const SOFTEST: Dbfs = Dbfs::new(-50.0);
const STEP: Db = Db::new(6.0);
/// Above this, with no meter, steps are small.
const UNKNOWN_ABOVE: Dbfs = Dbfs::new(-40.0);
const SMALL_STEP: Db = Db::new(3.0);
const SMALLEST_STEP: Db = Db::new(0.5);
/// How much softer the second sweep is.
pub const SOFTER: Db = Db::new(6.0);
/// Silence before a sweep, in seconds: the noise is looked at there.
const AHEAD: f64 = 1.0;
/// Of the chirp.
const CHIRP_TAIL: f64 = 1.5;
/// A tap stands out by this; what stays under half of it has not come.
pub const TAP: Db = Db::new(12.0);

impl SafeSweep {
    /// `None`: a rate that cannot carry it, or a limit under the first chirp.
    pub fn new(plan: SweepPlan) -> Option<Self> {
        let sound = plan.rate.get() > 24_000 && plan.most >= SOFTEST && plan.most.get() <= 0.0;
        let lasts = (0.0..=20.0).contains(&plan.tail.get()) && plan.most_sound.is_finite();
        (sound && lasts).then_some(Self { plan, step: SweepStep::Arm })
    }

    /// From the cautions on, by the same plan.
    pub const fn anew(&self) -> Self {
        Self { plan: self.plan, step: SweepStep::Arm }
    }

    pub fn step(&self) -> &SweepStep {
        &self.step
    }

    /// What to play now; empty when nothing may be played.
    pub fn sent(&self) -> Vec<f32> {
        match self.step {
            SweepStep::Chirp { level } => self.plan.piece(level, 1.0, CHIRP_TAIL),
            SweepStep::Sweep { level } => self.plan.pair(level),
            _ => Vec::new(),
        }
    }

    /// The cautions were read: people out or ears covered, show microphones not assigned, a hand at the key.
    pub fn arm(&mut self) {
        if matches!(self.step, SweepStep::Arm) {
            self.step = SweepStep::Tap;
        }
    }

    pub fn tapped(&mut self, heard: TapHeard) {
        if !matches!(self.step, SweepStep::Tap) {
            return;
        }
        let microphone = heard.microphone - heard.microphone_quiet;
        let main = heard.main - heard.main_quiet;
        let open = match self.plan.opened {
            Opened::AtReturn => main.get() < 0.5 * TAP.get(),
            Opened::AtMainOut => main >= TAP,
        };
        let came = self.plan.opened == Opened::AtMainOut || microphone >= TAP;
        self.step = match (came, open) {
            (false, _) => SweepStep::Refused(NoSweep::NoTap(heard)),
            // Levels that are no numbers prove nothing.
            (true, false) => SweepStep::Refused(NoSweep::LoopNotOpen(heard)),
            (true, true) => SweepStep::Chirp { level: SOFTEST },
        };
    }

    pub fn heard(&mut self, heard: Heard) {
        let next = match self.step {
            SweepStep::Chirp { .. } | SweepStep::Sweep { .. } if !whole(heard, self.sent().len()) => {
                Err(NoSweep::DeviceLost)
            }
            SweepStep::Chirp { level } => self.after_chirp(level, heard),
            SweepStep::Sweep { level } => {
                let louder = Louder { plan: self.plan, level };
                self.after_sweeps(level, louder.judge(heard), heard)
            }
            _ => return,
        };
        self.step = next.unwrap_or_else(SweepStep::Refused);
    }

    /// What can be judged before all of it has come.
    pub fn louder(&self) -> Option<Louder> {
        match self.step {
            SweepStep::Sweep { level } => Some(Louder { plan: self.plan, level }),
            _ => None,
        }
    }

    /// Both sweeps, the louder one judged already: as [`Self::heard`], or the end of it where it is refused.
    pub fn heard_after(&mut self, judged: Judged, heard: Heard) {
        let SweepStep::Sweep { level } = self.step else { return };
        self.step = match judged.0 {
            Err(why) => SweepStep::Refused(why),
            Ok(_) if !whole(heard, self.sent().len()) => SweepStep::Refused(NoSweep::DeviceLost),
            Ok(_) => self.after_sweeps(level, judged, heard).unwrap_or_else(SweepStep::Refused),
        };
    }

    pub fn lost(&mut self) {
        self.end(NoSweep::DeviceLost);
    }

    pub fn stop(&mut self) {
        self.end(NoSweep::Stopped);
    }

    fn end(&mut self, why: NoSweep) {
        if !matches!(self.step, SweepStep::Done(_) | SweepStep::Refused(_)) {
            self.step = SweepStep::Refused(why);
        }
    }

    fn after_chirp(&self, level: Dbfs, heard: Heard) -> Result<SweepStep, NoSweep> {
        let inverse = ready(&self.sent(), self.plan.rate)?;
        let channels = inverse.take_all(heard.channels, Clocks::Same);
        doubts::riding(heard.channels, &inverse)?;
        disturbed(&channels)?;
        // A microphone that hears it too softly is worth another step; one that does not hear it at all is not.
        let faint = |taken: &Result<Taken, Refusal>| matches!(taken, Err(Refusal::TooNoisy { .. }));
        let (some, all) = (channels.iter().any(Result::is_ok), !channels.iter().any(faint));
        if some && all {
            return Ok(SweepStep::Sweep { level });
        }
        let room = self.plan.most - level;
        let loud = heard.sound.filter(|sound| sound.is_finite());
        let step = match loud {
            Some(sound) => STEP.min(Db::new(self.plan.most_sound - sound)),
            None if level + STEP > UNKNOWN_ABOVE => SMALL_STEP,
            None => STEP,
        };
        let step = step.min(room);
        if step >= SMALLEST_STEP {
            return Ok(SweepStep::Chirp { level: level + step });
        }
        if some {
            return Ok(SweepStep::Sweep { level });
        }
        Err(doubts::hidden(&channels, heard.channels, &inverse, level, loud))
    }

    fn after_sweeps(&self, level: Dbfs, louder: Judged, heard: Heard) -> Result<SweepStep, NoSweep> {
        let (inverse, first) = louder.0?;
        let apart = self.plan.whole(level).len();
        let softer = inverse.softer(SOFTER);
        let second = judged(&softer, level - SOFTER, &part(heard.channels, apart..), heard.sound, &self.plan)?;
        let pairs =
            first.iter().zip(&second).filter_map(|(first, second)| first.as_ref().ok().zip(second.as_ref().ok()));
        let drift = drift(pairs.map(|(first, second)| (&first.0, &second.0)), apart, self.plan.rate)
            .map_err(|why| NoSweep::Unfit { channel: 0, why })?;
        doubts::differing(&first, &second)?;
        let channels = match drift {
            Some(drift) => with_gains(inverse.take_all(&part(heard.channels, ..apart), Clocks::Apart(drift))),
            None => first,
        };
        Ok(SweepStep::Done(Box::new(Measured { level, channels })))
    }
}

impl Louder {
    /// So many frames are looked at.
    pub fn frames(&self) -> usize {
        self.plan.whole(self.level).len()
    }

    /// Of captures of at least so many frames.
    pub fn judge(&self, heard: Heard) -> Judged {
        let sent = self.plan.whole(self.level);
        if !whole(heard, sent.len()) {
            return Judged(Err(NoSweep::DeviceLost));
        }
        Judged(ready(&sent, self.plan.rate).and_then(|inverse| {
            let loops = judged(&inverse, self.level, &part(heard.channels, ..sent.len()), heard.sound, &self.plan)?;
            Ok((inverse, loops))
        }))
    }
}

fn judged(
    inverse: &Inverse,
    level: Dbfs,
    captured: &[Vec<f32>],
    sound: Option<f64>,
    plan: &SweepPlan,
) -> Result<Loops, NoSweep> {
    let channels = inverse.take_all(captured, Clocks::Same);
    // Its pumping looks like somebody talking.
    doubts::riding(captured, inverse)?;
    disturbed(&channels)?;
    if sound.is_some_and(|sound| sound > plan.most_sound) || !channels.iter().any(Result::is_ok) {
        return Err(doubts::hidden(&channels, captured, inverse, level, sound));
    }
    Ok(with_gains(channels))
}

fn whole(heard: Heard, frames: usize) -> bool {
    !heard.channels.is_empty() && heard.channels.iter().all(|channel| channel.len() >= frames)
}

fn part<R: std::slice::SliceIndex<[f32], Output = [f32]> + Clone>(channels: &[Vec<f32>], range: R) -> Vec<Vec<f32>> {
    channels.iter().map(|channel| channel[range.clone()].to_vec()).collect()
}

/// Channel by channel.
pub type Loops = Vec<Result<(Taken, LoopGain), Refusal>>;

/// For captures that may be a second longer than what was sent.
fn ready(sent: &[f32], rate: SampleRate) -> Result<Inverse, NoSweep> {
    Inverse::for_captures(sent, rate, sent.len() + rate.get() as usize)
        .map_err(|why| NoSweep::Unfit { channel: 0, why })
}

fn with_gains(taken: Vec<Result<Taken, Refusal>>) -> Loops {
    let with_gain = |taken: Taken| {
        let gain = LoopGain::new(&taken.response);
        (taken, gain)
    };
    taken.into_par_iter().map(|taken| taken.map(with_gain)).collect()
}

/// What no louder sweep mends: noise in the hall, and a chain that bends.
fn disturbed(channels: &[Result<Taken, Refusal>]) -> Result<(), NoSweep> {
    let fatal = |why: &Refusal| {
        matches!(
            why,
            Refusal::Clipped { .. }
                | Refusal::DoorSlam { .. }
                | Refusal::Talker { .. }
                | Refusal::Limited { .. }
                | Refusal::SoundLost { .. }
        )
    };
    let found = channels.iter().enumerate().find_map(|(channel, taken)| {
        let why = *taken.as_ref().err().filter(|why| fatal(why))?;
        Some(NoSweep::Unfit { channel, why })
    });
    found.map_or(Ok(()), Err)
}
