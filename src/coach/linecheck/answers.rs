//! What the person says to the step on the screen.

use super::advice::{Call, LineAnswer, LineOutcome, LineStep};
use super::faults::hum_cures;
use super::{LineCheck, Phantom};
use crate::units::{ChannelId, FrameCount};

impl LineCheck {
    /// The person answered the step on the screen, at `now`.
    pub fn answer(&mut self, answer: LineAnswer, now: FrameCount) {
        let Some(input) = self.current.input else {
            match (self.current.step, answer) {
                (LineStep::Quiet, LineAnswer::Skip) => self.go_on(now),
                (LineStep::Quiet | LineStep::Over, _) => {}
                _ => self.answer_speakers(answer, now),
            }
            return self.explain();
        };
        match (self.current.step, answer) {
            (LineStep::Call { .. }, LineAnswer::Skip) => self.skip(input, now),
            (LineStep::Swap { with }, LineAnswer::Done) => self.plugged(&[input, self.of(with, input)], now),
            (LineStep::Rotate { second, third }, LineAnswer::Done) => {
                self.plugged(&[input, self.of(second, input), self.of(third, input)], now);
            }
            (LineStep::Move { on }, LineAnswer::Done) => self.plugged(&[input, self.of(on, input)], now),
            (LineStep::BothOn { .. }, LineAnswer::Done) => self.plugged(&[input], now),
            (LineStep::AskPhantom, LineAnswer::Done) => {
                self.checks[input].phantom = Phantom::On;
                self.checks[input].cable_asked = true;
                self.show(LineStep::NotHeard, Some(input), now);
            }
            (LineStep::AskPhantom, LineAnswer::No) => {
                let check = &mut self.checks[input];
                (check.phantom, check.result.phantom_off) = (Phantom::Off, true);
                self.go_on(now);
            }
            (LineStep::MuteForPhantom, LineAnswer::Done) => self.show(LineStep::PhantomOn, Some(input), now),
            (LineStep::PhantomOn, LineAnswer::Done) => self.show(LineStep::PhantomWait, Some(input), now),
            (
                LineStep::MuteForPhantom | LineStep::PhantomOn | LineStep::PhantomWait,
                LineAnswer::No | LineAnswer::Skip,
            ) => {
                self.checks[input].phantom = Phantom::On;
                self.go_on(now);
            }
            (LineStep::NotHeard, LineAnswer::Done) => {
                self.recall = Some((input, Call::Recheck));
                self.quiet(now);
            }
            (LineStep::Copied { .. }, LineAnswer::Done) => {
                self.checks[input].copy_asked = true;
                self.recall = Some((input, Call::Recheck));
                self.quiet(now);
            }
            (LineStep::Copied { .. }, LineAnswer::Skip) => {
                self.checks[input].copy_asked = true;
                self.go_on(now);
            }
            (LineStep::HumCure(_), LineAnswer::Done) => {
                let last = hum_cures(&self.plan.inputs[input]).len();
                let check = &mut self.checks[input];
                check.cures += 1;
                check.hum_left = usize::from(check.cures) >= last;
                self.quiet(now);
            }
            (LineStep::HumCure(_), LineAnswer::Skip | LineAnswer::No) => {
                self.checks[input].hum_left = true;
                self.go_on(now);
            }
            (LineStep::Noisy, answer) => {
                self.checks[input].noise_asked = true;
                if answer == LineAnswer::Done { self.quiet(now) } else { self.go_on(now) }
            }
            (LineStep::Middle { .. }, LineAnswer::Skip) => {
                self.checks[input].middle_over = true;
                self.go_on(now);
            }
            (LineStep::Reversed { .. }, LineAnswer::Done) => {
                self.checks[input].turned_over = true;
                self.go_on(now);
            }
            (LineStep::Reversed { .. }, LineAnswer::Skip) => {
                self.checks[input].middle_over = true;
                self.go_on(now);
            }
            (
                LineStep::Swap { .. }
                | LineStep::Rotate { .. }
                | LineStep::Move { .. }
                | LineStep::BothOn { .. }
                | LineStep::AskPhantom
                | LineStep::NotHeard,
                LineAnswer::Skip | LineAnswer::No,
            ) => self.go_on(now),
            _ => {}
        }
        self.explain();
    }

    /// The input of a channel, or else this one.
    fn of(&self, channel: ChannelId, or: usize) -> usize {
        self.input_of(channel).unwrap_or(or)
    }

    /// Plugs were moved: after a quiet the first of these is called again, the others in their turn.
    fn plugged(&mut self, inputs: &[usize], now: FrameCount) {
        for &input in inputs {
            self.checks[input].result.outcome = LineOutcome::Open;
        }
        self.recall = inputs.first().map(|&first| (first, Call::Recheck));
        self.quiet(now);
    }

    fn skip(&mut self, input: usize, now: FrameCount) {
        let result = &mut self.checks[input].result;
        // What was found before stays found.
        if result.outcome == LineOutcome::Open {
            result.outcome = LineOutcome::Skipped;
        }
        self.chain.clear();
        self.go_on(now);
    }
}
