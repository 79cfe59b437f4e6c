//! Quiet sweeps round by round in one place: what the person sees to before each, the sweep, another try after a refusal.
//!
//! Every round is armed anew, with its own cautions, tap and countdown; nothing repeats by itself. A stop, and a device that
//! goes, end all of it.

use super::quiet::{NoSweep, Place, QuietAnswer, QuietStep, QuietSweep};

/// How things stand.
#[derive(Clone, Debug, PartialEq)]
pub enum RoundStep {
    /// Microphones are to be put, or loudspeakers switched, as this round wants it.
    Prepare,
    Sweep(QuietStep),
    /// Nothing was measured: the same round again, or the next.
    Again(NoSweep),
    /// All rounds have been asked for.
    Done,
}

pub(super) struct Rounds<P> {
    pub sweep: QuietSweep<P>,
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Prepare,
    Sweeping,
    Again(NoSweep),
    Done,
}

/// What hearing a little more came to.
pub(super) enum Heard {
    Nothing,
    Measured,
    Refused(NoSweep),
    Over,
}

/// What an answer came to.
#[derive(PartialEq)]
pub(super) enum Answered {
    Nothing,
    /// The round is prepared, and begins.
    Begun,
    /// This round is left out.
    Next,
}

impl<P: Place> Rounds<P> {
    pub const fn new(sweep: QuietSweep<P>) -> Self {
        Self { sweep, state: State::Prepare }
    }

    pub fn step(&self) -> RoundStep {
        match self.state {
            State::Prepare => RoundStep::Prepare,
            State::Sweeping => RoundStep::Sweep(self.sweep.step()),
            State::Again(why) => RoundStep::Again(why),
            State::Done => RoundStep::Done,
        }
    }

    pub fn is_done(&self) -> bool {
        self.state == State::Done
    }

    pub fn go_on(&mut self) -> Heard {
        if self.sweep.go_on() {
            return Heard::Nothing;
        }
        match self.sweep.step() {
            QuietStep::Done => Heard::Measured,
            QuietStep::Refused(why) if why != NoSweep::Stopped => Heard::Refused(why),
            _ => Heard::Over,
        }
    }

    pub fn answer(&mut self, answer: QuietAnswer) -> Answered {
        match (self.state, answer) {
            (State::Sweeping, _) | (State::Prepare | State::Again(_), QuietAnswer::Stop) => {
                self.state = State::Sweeping;
                self.sweep.answer(answer);
                Answered::Nothing
            }
            (State::Prepare, QuietAnswer::Yes) => {
                self.state = State::Sweeping;
                Answered::Begun
            }
            (State::Again(_), QuietAnswer::Yes) => {
                self.state = State::Sweeping;
                Answered::Nothing
            }
            (State::Prepare | State::Again(_), QuietAnswer::No) => Answered::Next,
            (State::Done, _) => Answered::Nothing,
        }
    }

    /// The next round, with the first so many of its channels.
    pub fn next(&mut self, channels: usize) {
        self.sweep.begin_anew(channels);
        self.state = State::Prepare;
    }

    /// The same round, if the person wants it.
    pub fn again(&mut self, why: NoSweep, channels: usize) {
        self.sweep.begin_anew(channels);
        self.state = State::Again(why);
    }

    pub fn end(&mut self) {
        self.state = State::Done;
    }
}
