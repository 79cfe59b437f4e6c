//! What comes first: clipping, no signal, too high, too low, low-cut, then whoever was not heard yet.

use super::{Connection, Flashes, LISTEN_AT_LEAST, Outcome, Request, Soundcheck, TRIMS};
use crate::coach::advice::{Amount, Step, TrimCause, Turn};
use crate::detectors::{Detectors, Heard};
use crate::units::{ChannelId, Db, Seconds, SourceKind};

const HOT_ENOUGH: Seconds = Seconds::new(6.0);
const HOT_HITS: u32 = 4;

impl Soundcheck {
    /// Clipping on any line takes the screen from whatever only waits; after a while, anything that is due
    /// takes it from mere listening.
    pub(super) fn overtake(&mut self, detectors: &Detectors, now: Seconds) {
        let Some(current) = self.current else { return };
        if self.connection != Connection::Usb || !is_patient(&current.step) {
            return;
        }
        let listens = matches!(current.step, Step::Listen { .. }) && now - current.since >= LISTEN_AT_LEAST;
        let due = (0..self.checks.len()).any(|input| {
            (input != current.input || current.step == Step::PlayTogether)
                && self.checks[input].outcome == Outcome::Open
                && self.pending(input, detectors).is_some_and(|step| listens || urgency(&step) == 0)
        });
        if due {
            self.current = None;
        }
    }

    pub(super) fn choose(&mut self, detectors: &Detectors, now: Seconds) {
        match self.connection {
            Connection::Usb => self.choose_for_stage(detectors, now),
            Connection::Feed => self.choose_for_feed(detectors, now),
            Connection::Room => self.choose_for_room(now),
        }
    }

    pub(super) fn choose_for_stage(&mut self, detectors: &Detectors, now: Seconds) {
        let open = (0..self.checks.len()).filter(|&input| self.checks[input].outcome == Outcome::Open);
        let step = |input: usize| self.pending(input, detectors).unwrap_or_else(|| self.checks[input].listen());
        let best = open
            .map(|input| (input, step(input)))
            .min_by_key(|(input, step)| (urgency(step), turn_of(self.checks[*input].input.kind), *input));
        match best {
            Some((input, step)) => self.show(input, step, now),
            None if self.owes_a_run() => self.begin_run(now),
            None => {}
        }
    }

    pub(super) fn choose_for_feed(&mut self, detectors: &Detectors, now: Seconds) {
        if let Some(input) = self.pressed {
            if self.checks[input].outcome == Outcome::Open {
                let step = self.pending(input, detectors).unwrap_or_else(|| self.checks[input].listen());
                return self.show(input, step, now);
            }
            // Before the next is pressed, the feed must fall silent: otherwise two are down.
            self.pressed = None;
            self.requests.push(Request::Restart(ChannelId::new(0)));
            return self.show(input, Step::ReleaseSolo, now);
        }
        let open = (0..self.checks.len()).filter(|&input| self.checks[input].outcome == Outcome::Open);
        if let Some(input) = open.min_by_key(|&input| (turn_of(self.checks[input].input.kind), input)) {
            self.requests.push(Request::Restart(ChannelId::new(0)));
            self.show(input, Step::PressSolo, now);
        }
    }

    /// A room microphone can't see an input: the lamp on the desk is asked for, and the answer is DOWN or nothing.
    pub(super) fn choose_for_room(&mut self, now: Seconds) {
        let open = (0..self.checks.len()).filter(|&input| self.checks[input].outcome == Outcome::Open);
        let Some(input) = open.min_by_key(|&input| (turn_of(self.checks[input].input.kind), input)) else { return };
        let check = &mut self.checks[input];
        let down = |by| Step::Trim {
            turn: Turn::Down,
            by: Amount::nearest(Db::new(by), Turn::Down),
            cause: TrimCause::Clipped,
            again: false,
        };
        match check.lamp {
            None => self.show(input, Step::AskLamp, now),
            Some(Flashes::Never) => check.outcome = Outcome::Set,
            Some(_) if check.trims >= TRIMS => check.outcome = Outcome::Left,
            Some(flashes) => {
                // Asked again after the turn.
                check.lamp = None;
                self.show(input, down(if flashes == Flashes::Often { 10.0 } else { 4.0 }), now);
            }
        }
    }

    /// What is due for an open input, beyond more listening.
    pub(super) fn pending(&self, input: usize, detectors: &Detectors) -> Option<Step> {
        let line = self.line(ChannelId::from_index(input))?;
        let check = &self.checks[input];
        let heard = detectors.heard(line);
        let tops = detectors.tops(line);
        let verdict = check.verdict(heard, &tops);
        let verdict = match verdict {
            Some(Step::SourceOverload) if self.connection == Connection::Feed => Some(Step::AskLampLit),
            verdict => verdict,
        };
        let clipped = matches!(
            verdict,
            Some(Step::Trim { cause: TrimCause::Clipped, .. } | Step::SourceOverload | Step::AskLampLit)
        ) || (verdict == Some(Step::Pad) && tops.clipped > 0);
        let hot = matches!(verdict, Some(Step::Trim { turn: Turn::Down, .. } | Step::Pad));
        // A first turn down can't come too soon; the next waits for the loudest passage, so that three suffice.
        let hot_enough = if check.trims == 0 {
            (heard.active >= HOT_ENOUGH || heard.hits >= HOT_HITS) && heard.settled
        } else {
            check.asked && check.enough(heard)
        };
        if clipped || (hot && hot_enough) {
            return Some(self.limited(input, verdict?, heard));
        }
        if !check.enough(heard) {
            return None;
        }
        if let Some(aside) = heard.set_aside.filter(|aside| aside.doubtful && !check.meant) {
            return Some(Step::ConfirmMeant { peak: aside.peak });
        }
        if !check.confirmed {
            return (check.asked && check.louder_than.is_none()).then_some(Step::ConfirmLoudest);
        }
        verdict.map(|step| self.limited(input, step, heard))
    }

    /// Three trims are enough; after that the player varies.
    pub(super) fn limited(&self, input: usize, step: Step, heard: &Heard) -> Step {
        match step {
            Step::Trim { .. } if self.checks[input].trims >= TRIMS => {
                Step::LeaveIt { varies: heard.loudest - heard.typical }
            }
            step => step,
        }
    }
}

/// Steps that only wait, so that clipping elsewhere may overtake them.
pub(super) fn is_patient(step: &Step) -> bool {
    matches!(
        step,
        Step::Listen { .. } | Step::ConfirmLoudest | Step::CheckSource | Step::LowCut { .. } | Step::PlayTogether
    )
}

/// Danger and clipping, no signal, too high, too low, low-cut, tidy; questions go with what they decide.
pub(super) fn urgency(step: &Step) -> u8 {
    match step {
        Step::Trim { cause: TrimCause::Clipped, .. } | Step::SourceOverload | Step::AskLampLit => 0,
        Step::CheckSource => 1,
        Step::Pad | Step::Trim { turn: Turn::Down, .. } => 2,
        Step::Trim { turn: Turn::Up, .. } | Step::MoveCloser | Step::WrongInput => 3,
        Step::ConfirmLoudest | Step::ConfirmMeant { .. } | Step::LeaveIt { .. } => 4,
        Step::LowCut { .. } => 5,
        _ => 6,
    }
}

/// The channel whose step comes first.
pub fn most_urgent(steps: impl Iterator<Item = (ChannelId, SourceKind, Step)>) -> Option<ChannelId> {
    steps.min_by_key(|(channel, kind, step)| (urgency(step), turn_of(*kind), *channel)).map(|(channel, ..)| channel)
}

/// Voices first, since children tire and leave; then playback, then the rest; drums last.
pub fn turn_of(kind: SourceKind) -> u8 {
    match kind {
        SourceKind::Speech => 0,
        SourceKind::SoloVocal | SourceKind::Headset => 1,
        SourceKind::Choir => 2,
        SourceKind::Playback => 3,
        SourceKind::Kick | SourceKind::Snare | SourceKind::Overhead | SourceKind::Percussion => 5,
        _ => 4,
    }
}
