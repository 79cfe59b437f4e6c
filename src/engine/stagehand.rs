//! Someone on the simulated stage who carries out the next step: for a first look without hands, and for tests.
//!
//! Waits a while, turns knobs more or less as asked, sometimes the wrong one, passes requests on to the
//! performers and answers questions by what the stage knows. Seeded; time is the audio clock.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::snapshot::Snapshot;
use crate::coach::{Advice, Amount, Answer, Step, Turn};
use crate::source::stage::Stage;
use crate::units::{ChannelId, Db, Seconds};

/// How good a helper this is.
#[derive(Clone, Copy, Debug)]
pub struct Skill {
    /// Each turn is off by up to this share.
    pub error: f64,
    /// How often the wrong knob is turned.
    pub wrong_knob: f64,
    /// Least and most time before doing anything.
    pub wait: (Seconds, Seconds),
    /// Says "done" after a turn; else the meters have to notice.
    pub says_done: bool,
}

impl Skill {
    pub const CAREFUL: Self =
        Self { error: 0.1, wrong_knob: 0.0, wait: (Seconds::new(1.0), Seconds::new(2.0)), says_done: true };
    /// A student on the first evening.
    pub const CLUMSY: Self =
        Self { error: 0.3, wrong_knob: 0.1, wait: (Seconds::new(2.0), Seconds::new(6.0)), says_done: false };
}

/// The loudest passage is asked for again if nothing was decided after this long.
const ASK_AGAIN: Seconds = Seconds::new(25.0);
/// "That was as loud as it gets" is said of a peak this near to the loudest that the performer has.
const THAT_WAS_IT: Db = Db::new(2.0);

/// The helper.
pub struct Stagehand {
    skill: Skill,
    random: Pcg64Mcg,
    seen: Option<(Step, Option<ChannelId>)>,
    due: Option<Seconds>,
}

impl Stagehand {
    pub fn new(seed: u64, skill: Skill) -> Self {
        Self { skill, random: Pcg64Mcg::seed_from_u64(seed), seen: None, due: None }
    }

    /// Looks at the screen, acts on the stage when the time has come, and may have something to say.
    pub fn look(&mut self, snapshot: &Snapshot, stage: &mut Stage) -> Option<Answer> {
        let Advice { step, channel, .. } = snapshot.advice;
        if self.seen != Some((step, channel)) {
            self.seen = Some((step, channel));
            let (least, most) = self.skill.wait;
            let wait = self.random.random_range(least.get()..=most.get());
            self.due = Some(snapshot.at + Seconds::new(wait));
        }
        if self.due.is_none_or(|due| snapshot.at < due) {
            return None;
        }
        self.due = None;
        if step == Step::PlayTogether {
            (0..snapshot.inputs.len()).for_each(|input| stage.ask_loudest(ChannelId::from_index(input)));
            self.due = Some(snapshot.at + ASK_AGAIN);
            return None;
        }
        let channel = channel?;
        match step {
            // A knob was turned already, this one or (who knows?) another.
            Step::Trim { again: true, .. } | Step::NoMovement { .. } => Some(Answer::Done),
            Step::Trim { turn, by, .. } => {
                let knob = self.pick_knob(channel, snapshot.inputs.len());
                self.turn(knob, turn, by, stage)
            }
            Step::PutBack { turn, by } => self.turn(channel, turn, by, stage),
            Step::Listen { .. } | Step::CheckSource => {
                stage.ask_loudest(channel);
                self.due = Some(snapshot.at + ASK_AGAIN);
                None
            }
            Step::ConfirmLoudest => {
                if snapshot.advice.why.peak >= stage.true_peak_of_loudest(channel) - THAT_WAS_IT {
                    return Some(Answer::Done);
                }
                stage.ask_loudest(channel);
                Some(Answer::No)
            }
            Step::ConfirmMeant { .. } | Step::PressSolo | Step::ReleaseSolo | Step::LowCut { .. } => Some(Answer::Done),
            Step::SourceOverload
            | Step::AskLampLit
            | Step::Pad
            | Step::WrongInput
            | Step::MoveCloser
            | Step::LeaveIt { .. }
            | Step::AskLamp => Some(Answer::Skip),
            Step::PlayTogether | Step::AllSet => None,
        }
    }

    fn pick_knob(&mut self, asked: ChannelId, inputs: usize) -> ChannelId {
        if inputs < 2 || !self.random.random_bool(self.skill.wrong_knob) {
            return asked;
        }
        let other = self.random.random_range(0..inputs - 1);
        ChannelId::from_index(if other >= asked.index() { other + 1 } else { other })
    }

    fn turn(&mut self, knob: ChannelId, turn: Turn, by: Amount, stage: &mut Stage) -> Option<Answer> {
        let error = self.random.random_range(-self.skill.error..=self.skill.error);
        let wanted = by.change(turn).get() * (1.0 + error);
        let moved = stage.turn_trim(knob, Db::new(wanted)).get();
        if (moved - wanted).abs() > 1.0 && moved.abs() < 1.5 {
            Some(Answer::AtLimit)
        } else {
            self.skill.says_done.then_some(Answer::Done)
        }
    }
}
