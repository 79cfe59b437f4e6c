//! A call on the screen: heard where it should be, elsewhere, or nowhere.

use super::advice::{Call, LineOutcome, LineRequest, LineStep};
use super::arrivals::{Arrival, Called};
use super::rings::Turnout;
use super::setup::Way;
use super::{LineCheck, Phantom};
use crate::detectors::LineEars;
use crate::units::{ChannelId, Db, FrameCount, Seconds};

/// A call that nobody answers is said once more, then taken for silent.
const PATIENCE: Seconds = Seconds::new(10.0);
/// Someone who speaks there for this share of the last four seconds hides a tap.
const TALKS: f64 = 0.15;
/// Quiet is asked for so often for one input.
const HUSHES: u8 = 3;
const TALK_HOPS: usize = 400;
/// It is over when this much is quiet again.
const HUSH: f64 = 0.05;
/// Whoever is asked to be quiet hears it first.
const ASKED: Seconds = Seconds::new(2.0);
const HUSH_HOPS: usize = 100;
/// What comes in on a line whose own input works may be that input's: the called one is given this long to show.
const OTHERS: Seconds = Seconds::new(4.0);
/// A working microphone that was tapped itself hears a tap beside it at least so much less.
const BESIDE: Db = Db::new(12.0);
/// Two lines that hear the same are compared for so long.
const COMPARE: Seconds = Seconds::new(8.0);
/// Plugs are moved for an input so often.
const MOVES: u8 = 2;

impl LineCheck {
    pub(super) fn call(&mut self, input: usize, why: Call, now: FrameCount) {
        let way = self.plan.inputs[input].way();
        self.requests.push(LineRequest::Watch(None));
        // What led here is what the words are about.
        if !matches!(why, Call::Follow { .. } | Call::Instead { .. }) {
            self.forget_heard();
        }
        self.show(LineStep::Call { way, why }, Some(input), now);
    }

    pub(super) fn follow_call(&mut self, way: Way, why: Call, ears: &LineEars, now: FrameCount) {
        let Some(input) = self.current.input else { return };
        let called = self.channel(input);
        self.arrivals.observe(ears);
        let waited = self.waited(now);
        if why == Call::TalkOver {
            if waited >= ASKED && ears.share_present(called, HUSH_HOPS) <= HUSH {
                self.call(input, Call::Again, now);
            } else if waited >= PATIENCE + PATIENCE {
                self.not_heard(input, now);
            }
            return;
        }
        if let Some((weaker, stronger)) = self.arrivals.companion()
            && (weaker == called || stronger == called)
        {
            self.requests.push(LineRequest::Watch(Some((weaker, stronger))));
        }
        let call = Called { channel: called, way, expected: self.chain.closes_on() };
        let arrival = match self.arrivals.verdict(&call, &self.plan, ears, now) {
            Arrival::On { channel, rise, .. } if self.is_own_sound(channel, rise, waited) => Arrival::Nothing,
            // It arrived already, and is only compared.
            Arrival::On { channel, .. } if channel != called && matches!(why, Call::Compare { .. }) => Arrival::Nothing,
            arrival => arrival,
        };
        match arrival {
            Arrival::On { channel, at, rise } if channel == called => {
                (self.heard.heard_on, self.heard.heard_at, self.heard.rise) =
                    (Some(called), Some(at.at(self.rate)), Some(rise));
                if self.is_compared(called, why, ears, now) {
                    self.arrived(input, rise, now);
                }
            }
            Arrival::On { channel, at, rise } => {
                (self.heard.heard_on, self.heard.heard_at, self.heard.rise) =
                    (Some(channel), Some(at.at(self.rate)), Some(rise));
                self.came_in_on(input, channel, now);
            }
            Arrival::Nothing if waited >= PATIENCE => self.unheard(input, way, why, ears, now),
            Arrival::Nothing => {}
        }
    }

    /// Whether the called line shares nothing with another, or it is known that it does.
    fn is_compared(&mut self, called: ChannelId, why: Call, ears: &LineEars, now: FrameCount) -> bool {
        let Some(input) = self.current.input else { return true };
        let Some((weaker, stronger)) = self.arrivals.companion() else {
            let result = &mut self.checks[input].result;
            result.put_right |= result.copied_to.take().is_some();
            return true;
        };
        let with = if weaker == called { stronger } else { weaker };
        match ears.alike().is_copy() {
            Some(is_copy) => {
                self.heard.alike = Some(ears.alike().correlation);
                let result = &mut self.checks[input].result;
                result.put_right |= result.copied_to.is_some() && !is_copy;
                result.copied_to = is_copy.then_some(with);
                true
            }
            None if matches!(why, Call::Compare { .. }) => self.waited(now) >= COMPARE,
            None => {
                let (way, step) = (self.plan.inputs[input].way(), Call::Compare { with });
                // What was heard so far still counts: only the words change.
                self.current.step = LineStep::Call { way, why: step };
                false
            }
        }
    }

    fn arrived(&mut self, input: usize, rise: Db, now: FrameCount) {
        let check = &mut self.checks[input];
        let wrong_before = check.moves > 0
            || check.cable_asked
            || check.phantom == Phantom::Switched
            || matches!(check.result.outcome, LineOutcome::Elsewhere(_));
        (check.result.outcome, check.rise) = (LineOutcome::Arrived, rise);
        check.result.put_right |= wrong_before;
        super::faults::note_rise(check, rise, self.heard.floor);
        // Whoever led here was probably tapped on this very microphone.
        if let Some((from, on)) = self.chain.pop()
            && let Some(earlier) = self.input_of(from)
        {
            self.reopen_chain();
            self.recall = Some((earlier, Call::Instead { on }));
        }
        self.go_on(now);
    }

    /// Whether the channel's own input arrived there.
    fn works(&self, channel: ChannelId) -> bool {
        let own = self.input_of(channel);
        own.is_some_and(|own| self.checks[own].result.outcome == LineOutcome::Arrived)
    }

    /// A line whose own input works: that one sounds, or it only hears the tap beside it.
    fn is_own_sound(&self, channel: ChannelId, rise: Db, waited: Seconds) -> bool {
        let own = self.input_of(channel).map_or(Db::ZERO, |own| self.checks[own].rise);
        let called = self.current.input.map(|input| self.channel(input));
        called != Some(channel) && self.works(channel) && (waited < OTHERS || rise < own - BESIDE)
    }

    fn came_in_on(&mut self, input: usize, on: ChannelId, now: FrameCount) {
        let called = self.channel(input);
        let known = self.input_of(on);
        self.checks[input].result.outcome = LineOutcome::Elsewhere(on);
        if self.checks[input].moves >= MOVES {
            self.reopen_chain();
            return self.go_on(now);
        }
        if self.works(on) {
            // Its own microphone works: was that one tapped? Once more; then both come in on it.
            self.reopen_chain();
            let asked = matches!(self.current.step, LineStep::Call { why: Call::Instead { .. }, .. });
            return if asked {
                self.checks[input].moves += 1;
                self.show(LineStep::BothOn { on }, Some(input), now);
            } else {
                self.call(input, Call::Instead { on }, now);
            };
        }
        let Some(known) = known else {
            self.reopen_chain();
            return self.move_plug(input, LineStep::Move { on }, now);
        };
        match self.chain.add(called, on) {
            Turnout::Follow(_) => self.call(known, Call::Follow { from: called }, now),
            Turnout::Swap(a, b) => self.plugs(a, LineStep::Swap { with: b }, now),
            Turnout::Rotate(a, b, c) => self.plugs(a, LineStep::Rotate { second: b, third: c }, now),
            Turnout::Both(input, on) => self.plugs(input, LineStep::BothOn { on }, now),
        }
    }

    /// The search is broken off: whoever led here is called again in turn.
    fn reopen_chain(&mut self) {
        while let Some((from, _)) = self.chain.pop() {
            if let Some(input) = self.input_of(from) {
                self.checks[input].result.outcome = LineOutcome::Open;
            }
        }
    }

    fn plugs(&mut self, first: ChannelId, step: LineStep, now: FrameCount) {
        self.chain.clear();
        if let Some(input) = self.input_of(first) {
            self.move_plug(input, step, now);
        }
    }

    fn move_plug(&mut self, input: usize, step: LineStep, now: FrameCount) {
        let involved = match step {
            LineStep::Swap { with } => [Some(with), None],
            LineStep::Rotate { second, third } => [Some(second), Some(third)],
            _ => [None, None],
        };
        let others = involved.into_iter().flatten().filter_map(|channel| self.input_of(channel));
        for input in others.chain([input]).collect::<Few>().iter() {
            self.checks[input].moves += 1;
        }
        self.show(step, Some(input), now);
    }

    /// Nothing came in time.
    fn unheard(&mut self, input: usize, way: Way, why: Call, ears: &LineEars, now: FrameCount) {
        if matches!(why, Call::Compare { .. }) {
            return self.arrived(input, self.heard.rise.unwrap_or(Db::ZERO), now);
        }
        let called = self.channel(input);
        let talked = ears.share_present(called, TALK_HOPS) >= TALKS;
        let hidden = talked || (way == Way::Play && self.arrivals.was_busy(called));
        if hidden && self.checks[input].hushes < HUSHES {
            self.checks[input].hushes += 1;
            return self.show(LineStep::Call { way, why: Call::TalkOver }, Some(input), now);
        }
        // Whoever led here sits in this socket, and this one is somewhere unheard.
        if matches!(why, Call::Follow { .. })
            && let Some((from, on)) = self.chain.pop()
            && let Some(earlier) = self.input_of(from)
        {
            self.reopen_chain();
            return self.move_plug(earlier, LineStep::Move { on }, now);
        }
        match why {
            Call::First | Call::Instead { .. } => self.call(input, Call::Again, now),
            _ => self.not_heard(input, now),
        }
    }

    fn not_heard(&mut self, input: usize, now: FrameCount) {
        let wants_phantom = self.plan.inputs[input].phantom;
        let check = &mut self.checks[input];
        check.result.outcome = LineOutcome::Silent;
        if wants_phantom && check.phantom == Phantom::Unasked {
            return self.show(LineStep::AskPhantom, Some(input), now);
        }
        if !check.cable_asked {
            check.cable_asked = true;
            return self.show(LineStep::NotHeard, Some(input), now);
        }
        self.go_on(now);
    }
}

/// At most three inputs, without taking memory.
#[derive(Default)]
struct Few([Option<usize>; 3]);

impl Few {
    fn iter(&self) -> impl Iterator<Item = usize> + '_ {
        self.0.iter().flatten().copied()
    }
}

impl FromIterator<usize> for Few {
    fn from_iter<T: IntoIterator<Item = usize>>(inputs: T) -> Self {
        let mut few = Self::default();
        for (place, input) in few.0.iter_mut().zip(inputs) {
            *place = Some(input);
        }
        few
    }
}
