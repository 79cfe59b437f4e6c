//! Someone on the simulated stage who taps when called and puts right what is asked for.
//!
//! Seeded; time is the audio clock. Taps three times, now and then on the wrong microphone; plays a few notes on lines;
//! carries out cures on the stage's own wires and answers what the stage knows. What was tapped, and when, is kept: the
//! truth for tests.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::LineSnapshot;
use crate::coach::linecheck::{Call, LineAdvice, LineAnswer, LineStep, Side, Way};
use crate::source::stage::{self, Stage};
use crate::units::{ChannelId, Db, Seconds};

/// How good a helper this is.
#[derive(Clone, Copy, Debug)]
pub struct LineSkill {
    /// Least and most time before doing anything.
    pub wait: (Seconds, Seconds),
    /// How often another microphone is tapped than the one that was called.
    pub wrong_microphone: f64,
    /// Also carries out cures and answers questions; else the person does.
    pub mends: bool,
}

impl LineSkill {
    pub const CAREFUL: Self = Self { wait: (Seconds::new(0.8), Seconds::new(1.6)), wrong_microphone: 0.0, mends: true };
    /// Taps when called; cures and answers are the person's.
    pub const TAPS_ONLY: Self = Self { mends: false, ..Self::CAREFUL };
    /// A student on the first evening.
    pub const HASTY: Self = Self { wrong_microphone: 0.15, ..Self::CAREFUL };
}

/// A tap, or a note, as it was made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knocked {
    pub at: Seconds,
    /// The microphone or instrument by the list.
    pub channel: ChannelId,
}

const TAPS: u32 = 3;
const BETWEEN_TAPS: Seconds = Seconds::new(0.42);
const NOTES: Seconds = Seconds::new(2.6);
/// What was done is done again if the step still stands.
const AGAIN: Seconds = Seconds::new(4.5);

pub struct LineHand {
    skill: LineSkill,
    random: Pcg64Mcg,
    seen: Option<(LineStep, Option<ChannelId>)>,
    due: Option<Seconds>,
    taps_left: u32,
    tapping: ChannelId,
    playing: Option<(ChannelId, Seconds)>,
    knocked: Vec<Knocked>,
}

impl LineHand {
    pub fn new(seed: u64, skill: LineSkill) -> Self {
        Self {
            skill,
            random: Pcg64Mcg::seed_from_u64(seed ^ 0x11),
            seen: None,
            due: None,
            taps_left: 0,
            tapping: ChannelId::new(0),
            playing: None,
            knocked: Vec::new(),
        }
    }

    /// Every tap and note so far.
    pub fn knocked(&self) -> &[Knocked] {
        &self.knocked
    }

    /// Looks at the screen, acts on the stage when the time has come, and may have something to say.
    pub fn look(&mut self, snapshot: &LineSnapshot, stage: &mut Stage) -> Option<LineAnswer> {
        let LineAdvice { step, channel, .. } = snapshot.advice;
        if let Some((player, until)) = self.playing
            && (snapshot.at >= until || self.seen != Some((step, channel)))
        {
            stage.ask_quiet(player);
            self.playing = None;
        }
        if self.seen != Some((step, channel)) {
            // A tapped microphone that is still wanted, only in other words, is not tapped anew at once.
            let compares = matches!(step, LineStep::Call { why: Call::Compare { .. }, .. });
            self.seen = Some((step, channel));
            let (least, most) = self.skill.wait;
            let longer = match step {
                _ if compares => 1.0,
                // Both sounds are heard out first.
                LineStep::Fuller => 5.5,
                _ => 0.0,
            };
            let wait = self.random.random_range(least.get()..=most.get()) + longer;
            self.due = Some(snapshot.at + Seconds::new(wait));
            self.taps_left = 0;
        }
        if self.due.is_none_or(|due| snapshot.at < due) {
            return None;
        }
        self.due = None;
        match step {
            LineStep::Call { why: Call::TalkOver, .. } => {
                (0..stage.inputs().len()).for_each(|input| stage.ask_quiet(ChannelId::from_index(input)));
                None
            }
            LineStep::Call { way: Way::Tap, why } => {
                self.tap(channel?, why == Call::First, snapshot, stage);
                None
            }
            LineStep::Call { way: Way::Play, .. } => {
                self.play(channel?, snapshot, stage);
                None
            }
            LineStep::AnyTap => {
                self.tap(ChannelId::new(0), false, snapshot, stage);
                None
            }
            LineStep::AnyPlay => {
                let last = stage.inputs().len().checked_sub(1)?;
                self.play(ChannelId::from_index(last), snapshot, stage);
                None
            }
            LineStep::Middle { with, way: Way::Tap, .. } => {
                let aside = self.random.random_range(-0.15..=0.15);
                stage.clap(with, channel?, aside);
                self.due = Some(snapshot.at + Seconds::new(0.63));
                None
            }
            LineStep::Quiet | LineStep::PhantomWait | LineStep::RoomListens | LineStep::Over => None,
            _ if self.skill.mends => self.mend(&snapshot.advice, stage),
            _ => None,
        }
    }

    /// Does on the stage what the step asks for, and says so.
    pub fn mend(&mut self, advice: &LineAdvice, stage: &mut Stage) -> Option<LineAnswer> {
        let rig = stage.rig();
        let channel = advice.channel.unwrap_or(ChannelId::new(0));
        match advice.step {
            LineStep::Swap { .. } | LineStep::Move { .. } | LineStep::BothOn { .. } => rig.plug(channel, channel),
            LineStep::Rotate { second, .. } => {
                rig.plug(channel, channel);
                rig.plug(second, second);
            }
            LineStep::AskPhantom if rig.lacks_phantom(channel) => return Some(LineAnswer::No),
            LineStep::PhantomOn => rig.phantom_on(channel),
            LineStep::NotHeard => rig.new_cable(channel),
            LineStep::Copied { to } => rig.unroute(to),
            LineStep::HumCure(_) => rig.lift(channel),
            LineStep::Noisy => rig.quieten(channel),
            LineStep::Reversed { .. } => rig.turn_over(channel),
            LineStep::WhichSide { side } => {
                let side = if side == Side::Left { stage::Side::Left } else { stage::Side::Right };
                return Some(match rig.sounding(side) {
                    [true, true] => LineAnswer::Both,
                    [true, false] => LineAnswer::Left,
                    [false, true] => LineAnswer::Right,
                    [false, false] => LineAnswer::Nowhere,
                });
            }
            LineStep::Fuller => return Some(if rig.reversed { LineAnswer::Second } else { LineAnswer::First }),
            LineStep::SwapSpeakers => rig.swapped = false,
            LineStep::SpeakerSilent { .. } => rig.dead = [false; 2],
            LineStep::SpeakersReversed => rig.reversed = false,
            LineStep::AskHall => {
                let [left, right] = [stage::Side::Left, stage::Side::Right].map(|side| rig.sounding(side));
                return Some(match [left[0] || right[0], left[1] || right[1]] {
                    [true, true] => LineAnswer::Both,
                    [true, false] => LineAnswer::Left,
                    [false, true] => LineAnswer::Right,
                    [false, false] => LineAnswer::Nowhere,
                });
            }
            LineStep::Middle { .. } => return Some(LineAnswer::Skip),
            LineStep::AskPhantom | LineStep::MuteForPhantom | LineStep::AskSound => {}
            _ => return None,
        }
        Some(LineAnswer::Done)
    }

    fn tap(&mut self, called: ChannelId, may_err: bool, snapshot: &LineSnapshot, stage: &mut Stage) {
        if self.taps_left == 0 {
            self.taps_left = TAPS;
            self.tapping = called;
            let microphones: Vec<ChannelId> = snapshot
                .inputs
                .iter()
                .map(|it| it.input)
                .filter(|input| input.way() == Way::Tap)
                .map(|input| input.channel)
                .collect();
            if may_err && microphones.len() > 1 && self.random.random_bool(self.skill.wrong_microphone) {
                self.tapping = microphones[self.random.random_range(0..microphones.len())];
            }
        }
        let by = Db::new(self.random.random_range(-9.0..=-2.0));
        stage.tap(self.tapping, by);
        self.knocked.push(Knocked { at: snapshot.at, channel: self.tapping });
        self.taps_left -= 1;
        let wait = if self.taps_left > 0 { BETWEEN_TAPS } else { AGAIN };
        self.due = Some(snapshot.at + wait);
    }

    fn play(&mut self, channel: ChannelId, snapshot: &LineSnapshot, stage: &mut Stage) {
        stage.ask_play(channel);
        self.knocked.push(Knocked { at: snapshot.at, channel });
        self.playing = Some((channel, snapshot.at + NOTES));
        self.due = Some(snapshot.at + NOTES + Seconds::new(2.5));
    }
}
