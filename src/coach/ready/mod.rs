//! The last look before doors: is everything still as the soundcheck left it? Nobody needs to play.
//!
//! In: readings of 10 ms hops, of which the first look hears 20 s and each later one 5 s, so that what was mended is seen to
//! be; what is known of the laptop. Each line's floor is held against the one that the soundcheck left (`Baseline`), by the
//! meters' own definition. *Dead*: digital zero, or 15 dB and more under that floor, where even a room's noise does not
//! come. *Off*: 6 dB and more from it, beyond what the lines have in common; 10 dB and more come first. One thing at a
//! time, the worst first. A room that became louder is taken out of all microphones. Common practice, own working values. Edge cases: a gap begins a look anew; a floor that is not
//! known, then or now, is not judged, and is told; a floor under −95 dBFS is a gate's or a machine's, whose silence tells
//! nothing; what was found stays until it is heard to be mended. Observing allocates nothing.

mod baseline;
mod lines;

pub use baseline::{Baseline, Keeper, NOTHING, Was};
use lines::{Common, Line, Verdict};

use super::linecheck::{LineInput, Way};
use super::soundcheck::turn_of;
use crate::meters::Readings;
use crate::units::{ChannelId, Db, Dbfs, SampleRate, Seconds};

/// What is not as it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trouble {
    /// No line brings anything.
    Nothing,
    OtherDevice,
    Rate {
        was: SampleRate,
        now: SampleRate,
    },
    /// With fewer, the channel of the advice is the first that is missing.
    Channels {
        was: usize,
        now: usize,
    },
    Dead,
    /// All floors together.
    Everything {
        by: Db,
    },
    /// One line's floor.
    Floor {
        by: Db,
    },
    /// The recording's folder takes nothing.
    Folder,
    Disk {
        left: Seconds,
    },
    /// The laptop runs on its battery.
    Battery {
        left: Option<Seconds>,
    },
    Sleep,
    /// The laptop's clock, or the doors: one of them is wrong.
    Clock,
}

/// Where it is recorded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Folder {
    Open { left: Seconds },
    Shut,
}

/// What is known of the laptop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Laptop {
    /// `None`: nothing is to be recorded.
    pub folder: Option<Folder>,
    /// It runs on its battery, for so long if that is known.
    pub battery: Option<Option<Seconds>>,
    pub may_sleep: bool,
    /// By its clock the doors are on another day, or hours away.
    pub odd_clock: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ReadyStep {
    Listen,
    Do(Trouble),
    Ready,
}

/// The one thing to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadyAdvice {
    pub step: ReadyStep,
    pub channel: Option<ChannelId>,
    /// What it is, by the list.
    pub input: Option<LineInput>,
    /// Its line's floor, at the soundcheck and now.
    pub was: Option<Dbfs>,
    pub floor: Option<Dbfs>,
    /// How far the present look has come, and how long it takes.
    pub heard: Seconds,
    pub wanted: Seconds,
    /// What else is to be done, and what was left.
    pub more: usize,
    pub left: usize,
    /// Lines that were heard at the soundcheck and can't be judged now, a bit each.
    pub unknown: u64,
    /// Lines whose floors were held against the soundcheck's.
    pub judged: usize,
}

const FRAME: Seconds = Seconds::new(0.1);
const FIRST: u32 = 200;
const LATER: u32 = 50;
const FAR: Db = Db::new(10.0);
/// An evening's recording.
const EVENING: Seconds = Seconds::new(3.0 * 3600.0);
const KINDS: usize = 8;

/// What is looked for, and where.
#[derive(Clone, Debug, PartialEq)]
pub struct LookFor {
    pub before: Baseline,
    /// The device that is heard now.
    pub device: String,
    /// The list.
    pub inputs: Vec<LineInput>,
    pub laptop: Laptop,
}

pub struct LastLook {
    before: Baseline,
    /// The form of what is heard now.
    here: (SampleRate, usize),
    other_device: bool,
    inputs: Vec<LineInput>,
    laptop: Laptop,
    lines: Vec<Line>,
    common: Common,
    frames: u32,
    wanted: u32,
    looked: bool,
    restarts: bool,
    left: Vec<(u8, Option<ChannelId>)>,
    found: Vec<(Trouble, Option<ChannelId>)>,
    advice: ReadyAdvice,
}

impl LastLook {
    /// At a source of this form.
    pub fn new(LookFor { before, device, inputs, laptop }: LookFor, rate: SampleRate, channels: usize) -> Self {
        let listed = |line| inputs.iter().find(|input| input.channel.index() == line);
        let lines: Vec<Line> = (before.lines.iter().enumerate())
            .take(channels)
            .map(|(line, was)| {
                let acoustic = listed(line).is_some_and(|input| input.way() == Way::Tap);
                Line::new(*was, was.heard || listed(line).is_some(), acoustic)
            })
            .collect();
        let most = lines.len() + KINDS + 4;
        let advice = ReadyAdvice {
            step: ReadyStep::Listen,
            channel: None,
            input: None,
            was: None,
            floor: None,
            heard: Seconds::ZERO,
            wanted: Seconds::new(f64::from(FIRST) * FRAME.get()),
            more: 0,
            left: 0,
            unknown: 0,
            judged: 0,
        };
        Self {
            other_device: before.device != device,
            before,
            here: (rate, channels),
            inputs,
            laptop,
            lines,
            common: Common::default(),
            frames: 0,
            wanted: FIRST,
            looked: false,
            restarts: true,
            left: Vec::with_capacity(most),
            found: Vec::with_capacity(most),
            advice,
        }
    }

    pub const fn advice(&self) -> &ReadyAdvice {
        &self.advice
    }

    /// What is known of the laptop now.
    pub fn tell(&mut self, laptop: Laptop) {
        self.laptop = laptop;
        self.decide();
    }

    /// A whole look anew; what was left counts again.
    pub fn again(&mut self) {
        self.lines.iter_mut().for_each(Line::forget);
        (self.common, self.looked, self.wanted) = (Common::default(), false, FIRST);
        self.left.clear();
        self.begin();
        self.decide();
    }

    /// What is asked for stays as it is.
    pub fn leave(&mut self) {
        if let ReadyStep::Do(trouble) = self.advice.step {
            let key = (kind(&trouble), self.advice.channel);
            if self.left.len() < self.left.capacity() {
                self.left.push(key);
            }
        }
        self.decide();
    }

    /// Whether the meters are to forget what they heard, so that a look begins.
    pub const fn takes_restart(&mut self) -> bool {
        std::mem::replace(&mut self.restarts, false)
    }

    /// After each hop.
    pub fn observe(&mut self, readings: &Readings) {
        if readings.gap.get() > 0 {
            self.begin();
            return;
        }
        // What is heard before the meters have forgotten belongs to no look.
        if !readings.frame_complete || self.restarts {
            return;
        }
        for (line, channel) in self.lines.iter_mut().zip(&readings.channels) {
            line.observe(channel);
        }
        self.frames += 1;
        if self.frames == self.wanted {
            self.judge();
            (self.looked, self.wanted) = (true, LATER);
            self.begin();
        }
        self.decide();
    }

    fn begin(&mut self) {
        (self.frames, self.restarts) = (0, true);
        self.lines.iter_mut().for_each(Line::begin);
    }

    /// Holds each line against the soundcheck, and all against what they have in common.
    fn judge(&mut self) {
        self.common = Common::of(&self.lines);
        self.lines.iter_mut().for_each(|line| line.judge(&self.common));
    }

    /// What comes first.
    fn decide(&mut self) {
        self.gather();
        let left = &self.left;
        let is_left = |(trouble, channel): &(Trouble, Option<ChannelId>)| left.contains(&(kind(trouble), *channel));
        let all = self.found.len();
        self.found.retain(|found| !is_left(found));
        let left = all - self.found.len();
        let order = |&(trouble, channel): &(Trouble, Option<ChannelId>)| (rank(&trouble), self.turn(channel), channel);
        let first = self.found.iter().copied().min_by_key(order);
        let at = first.and_then(|(_, channel)| self.lines.get(channel?.index()));
        let step = match first {
            Some((trouble, _)) if self.looked => ReadyStep::Do(trouble),
            _ if self.looked => ReadyStep::Ready,
            _ => ReadyStep::Listen,
        };
        let seconds = |frames: u32| Seconds::new(f64::from(frames) * FRAME.get());
        let unknown =
            |(bits, line): (usize, &Line)| u64::from(line.verdict == Verdict::Unknown && line.was.heard) << bits;
        let channel = first.filter(|_| self.looked).and_then(|(_, channel)| channel);
        self.advice = ReadyAdvice {
            step,
            channel,
            input: self.inputs.iter().find(|input| Some(input.channel) == channel).copied(),
            was: at.and_then(|line| line.was.floor),
            floor: at.and_then(|line| line.floor),
            heard: seconds(self.frames),
            wanted: seconds(self.wanted),
            more: self.found.len().saturating_sub(1),
            left,
            unknown: self.lines.iter().enumerate().map(unknown).sum(),
            judged: self.lines.iter().filter(|line| line.is_judged()).count(),
        };
    }

    fn gather(&mut self) {
        self.found.clear();
        let dead = |line: &&Line| line.verdict == Verdict::Dead;
        let judged = self.lines.iter().filter(|line| line.is_judged()).count();
        if judged > 1 && self.lines.iter().filter(dead).count() == judged {
            self.found.push((Trouble::Nothing, None));
            return;
        }
        if self.other_device {
            self.found.push((Trouble::OtherDevice, None));
        }
        let (rate, channels) = self.here;
        if rate != self.before.rate {
            self.found.push((Trouble::Rate { was: self.before.rate, now: rate }, None));
        }
        let was = self.before.lines.len();
        if was != channels {
            let missing = self.before.lines.iter().skip(channels).position(|line| line.heard);
            let missing = missing.map(|line| ChannelId::from_index(channels + line));
            self.found.push((Trouble::Channels { was, now: channels }, missing));
        }
        if let Some(by) = self.common.all {
            self.found.push((Trouble::Everything { by }, None));
        }
        for (index, line) in self.lines.iter().enumerate() {
            let trouble = match line.verdict {
                Verdict::Dead => Trouble::Dead,
                Verdict::Off(by) => Trouble::Floor { by },
                Verdict::Unknown | Verdict::Fine => continue,
            };
            self.found.push((trouble, Some(ChannelId::from_index(index))));
        }
        let folder = match self.laptop.folder {
            Some(Folder::Shut) => Some(Trouble::Folder),
            Some(Folder::Open { left }) => (left < EVENING).then_some(Trouble::Disk { left }),
            None => None,
        };
        let battery = self.laptop.battery.map(|left| Trouble::Battery { left });
        let sleep = self.laptop.may_sleep.then_some(Trouble::Sleep);
        let clock = self.laptop.odd_clock.then_some(Trouble::Clock);
        self.found.extend([folder, battery, sleep, clock].into_iter().flatten().map(|trouble| (trouble, None)));
    }

    /// Voices first, drums last.
    fn turn(&self, channel: Option<ChannelId>) -> u8 {
        let input = self.inputs.iter().find(|input| Some(input.channel) == channel);
        input.map_or(u8::MAX, |input| turn_of(input.kind))
    }
}

/// Two sightings of one thing have this and the channel in common.
const fn kind(trouble: &Trouble) -> u8 {
    match trouble {
        Trouble::Nothing => 0,
        Trouble::OtherDevice => 1,
        Trouble::Rate { .. } => 2,
        Trouble::Channels { .. } => 3,
        Trouble::Everything { .. } => 4,
        Trouble::Dead => 5,
        Trouble::Floor { .. } => 6,
        Trouble::Folder => 7,
        Trouble::Disk { .. } => 8,
        Trouble::Battery { .. } => 9,
        Trouble::Sleep => 10,
        Trouble::Clock => 11,
    }
}

/// The worst first.
fn rank(trouble: &Trouble) -> u8 {
    match trouble {
        Trouble::Floor { by } if by.abs() < FAR => 2 * kind(trouble) + 1,
        _ => 2 * kind(trouble),
    }
}
