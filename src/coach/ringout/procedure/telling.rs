//! What the procedure says: the step of each phase and the numbers behind it.

use super::{Goal, Phase, RingOut, TEST};
use crate::coach::ringout::advice::{Microphones, RingAdvice, RingStep, RingWhy};
use crate::coach::ringout::setup::OutputPlan;
use crate::coach::ringout::stop::{Books, End};
use crate::units::Seconds;

impl RingOut {
    pub(super) fn explain(&mut self) {
        let Some(plan) = self.plan.outputs.get(self.output) else { return };
        let books = &self.books[self.output];
        let step = self.step(plan, books);
        let (about_a_ring, left) = match self.phase {
            Phase::Hold { since, .. } => (false, self.plan.numbers.wait - (self.now - since)),
            Phase::Test { .. } | Phase::Down { .. } | Phase::Quiet | Phase::Back { .. } => (true, Seconds::ZERO),
            Phase::LowCut { .. } | Phase::Cut(_) | Phase::Free { .. } => (true, Seconds::ZERO),
            _ => (false, Seconds::ZERO),
        };
        let cutting = matches!(self.phase, Phase::Cut(_) | Phase::Leave { .. } | Phase::Hold { goal: Goal::Left, .. });
        let between = matches!(self.phase, Phase::Cautions | Phase::Over);
        let blunt = matches!(self.phase, Phase::Cut(change) if self.equaliser(change.main.place).is_blunt());
        let why = RingWhy {
            ring: self.about.or(self.rang).filter(|_| about_a_ring),
            fader: self.fader,
            held: books.held,
            target: self.plan.target,
            bought: books.bought(),
            bands: books.cuts.cuts().len(),
            left: Seconds::new(left.get().max(0.0)),
            cure: self.cures[self.output].filter(|_| cutting),
            blunt,
        };
        if self.advice.step != step {
            self.shown = self.now;
        }
        self.advice = RingAdvice { step, output: (!between).then_some(plan.output), why };
    }

    fn step(&self, plan: &OutputPlan, books: &Books) -> RingStep {
        if let Some(change) = self.undoing {
            return RingStep::PutBack(change);
        }
        match self.phase {
            Phase::Cautions => RingStep::Cautions,
            Phase::Prepare => RingStep::Prepare { noted: plan.noted.len() },
            Phase::Start { to } => RingStep::SetFader { to },
            Phase::Open => RingStep::Open(match (self.round, plan.microphones.as_slice()) {
                (0, [first, ..]) => Microphones::One(first.channel),
                (1, [first, second, ..]) => Microphones::Two(first.channel, second.channel),
                _ => Microphones::Show,
            }),
            Phase::OpenAll => RingStep::Open(Microphones::Show),
            Phase::Up { by } => RingStep::Up { by, hanging: self.fine },
            Phase::Hold { .. } => RingStep::Wait,
            Phase::Test { done: None } => RingStep::DropToTest { by: TEST },
            Phase::Test { done: Some(_) } | Phase::Down { done: Some(_), .. } => RingStep::Wait,
            Phase::Down { by, haste, again, .. } => RingStep::Down { by, haste, again },
            Phase::Quiet => RingStep::AskQuiet,
            Phase::LowCut { at, place } => RingStep::LowCut { at, place },
            Phase::Cut(change) => RingStep::Cut(change),
            Phase::Free { free, .. } => RingStep::Free(free),
            Phase::Back { by } => RingStep::BackUp { by: by.get().round().max(1.0) as u8 },
            Phase::Leave { to } => RingStep::Leave { by: to - self.fader, end: books.end.unwrap_or(End::Stopped) },
            Phase::Dull => RingStep::AskDull,
            Phase::GiveBack(cut) => RingStep::GiveBack(cut),
            Phase::CutAgain(cut) => RingStep::CutAgain(cut),
            Phase::Over => RingStep::Over,
        }
    }
}
