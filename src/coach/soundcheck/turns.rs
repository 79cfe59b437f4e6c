//! The step on the screen: carried out, timed out, or still to be waited for; turned knobs, the wrong ones too.

use super::order::urgency;
use super::{Connection, Current, LISTEN_AT_LEAST, Outcome, PLAIN_TURN, Request, Soundcheck};
use crate::coach::advice::{Amount, Step, TrimCause, Turn};
use crate::coach::decision;
use crate::detectors::Detectors;
use crate::units::{ChannelId, Db, Dbfs, Seconds};

/// No sound for this long after being asked for is worth a look at the source.
const ONLY_THE_ROOM: Seconds = Seconds::new(20.0);
/// No knob moved for this long: ask again, then give up.
const NO_MOVEMENT: Seconds = Seconds::new(15.0);
/// After "done", the knob is watched this much longer before it is believed.
const BELIEVE_DONE: Seconds = Seconds::new(6.0);
/// No knob is called a wrong one earlier than this after the request.
const BLAME_AFTER: Seconds = Seconds::new(8.0);
/// By then the knob has stood this long.
const SINCE_TURNED: Seconds = Seconds::new(5.0);
/// A turn that was counted may still come for this long.
const LATE_TURN: Seconds = Seconds::new(20.0);
/// A knob put back within this is back.
const BACK: Db = Db::new(1.5);
/// A released feed is quiet for this long, and as quiet as it ever was; a performer's rest is shorter than the last.
const RELEASED: Seconds = Seconds::new(1.0);
const AS_BARE: Db = Db::new(3.0);
const LONG_REST: Seconds = Seconds::new(8.0);
/// The share of the evidence from which a turn is believed that something else speaks for as well.
const HALF_SURE: f64 = 0.4;

impl Soundcheck {
    /// The step on the screen: carried out, timed out, or still to be waited for?
    pub(super) fn follow(&mut self, current: Current, detectors: &Detectors, now: Seconds) {
        let input = ChannelId::from_index(current.input);
        let waited = now - current.since;
        match current.step {
            Step::Trim { turn, by, .. } => {
                let line = self.line(input).unwrap_or(ChannelId::new(0));
                let asked = by.change(turn);
                let moved = |other: ChannelId| Some((other, detectors.turned(other)?));
                let others = self.other_knobs(line, detectors).filter_map(moved);
                // The hand that was believed too soon: that input is heard anew, and this step goes on.
                if let Some((late, _)) = others.clone().find(|&(other, _)| self.is_fresh(other, now)) {
                    self.listen_anew(late.index());
                    return;
                }
                // A performer can sound like a turn: no one is told of a wrong knob too soon, nor unless the
                // right one surely stands.
                let stands = detectors.turn_estimate(line, SINCE_TURNED).is_some_and(|turn| turn.is_surely_none());
                let patient = waited < BLAME_AFTER || !stands;
                let wrong = others.clone().find(|&(other, moved)| {
                    !patient && is_about(moved, asked) && self.may_go_back(other, moved, detectors)
                });
                let right_way = |moved: Db| (moved < Db::ZERO) == (turn == Turn::Down);
                match (detectors.turned(line), wrong) {
                    (Some(moved), _) if is_about(moved, asked) => self.trim_done(current.input, moved, now),
                    // Less or more than a hand would err by: rather the performer than the knob.
                    (Some(moved), None) if patient || right_way(moved) => {
                        self.wait_for_turn(current, asked, detectors, now)
                    }
                    (Some(moved), None) => self.put_back(current.input, moved, now),
                    (_, Some((other, moved))) => {
                        self.resume = Some((current.input, current.step));
                        self.put_back(other.index(), moved, now);
                    }
                    (None, None) => self.wait_for_turn(current, asked, detectors, now),
                }
            }
            Step::PutBack { .. } => {
                let line = self.line(input).unwrap_or(ChannelId::new(0));
                let late = current.done_at.is_some_and(|at| now - at >= BELIEVE_DONE) || waited >= NO_MOVEMENT;
                let estimate =
                    detectors.turn_estimate(line, SINCE_TURNED).filter(|estimate| late && estimate.agree >= HALF_SURE);
                match detectors.knob_offset(line).or(estimate.map(|estimate| estimate.by)) {
                    Some(offset) if offset.abs() < BACK => self.back_again(current.input, offset, now),
                    // Moved, but not home: the remaining way is a new request.
                    Some(offset) if late && waited < NO_MOVEMENT + NO_MOVEMENT => {
                        self.put_back(current.input, offset, now);
                    }
                    Some(offset) if late => self.back_again(current.input, offset, now),
                    _ if waited >= NO_MOVEMENT + NO_MOVEMENT => self.back_again(current.input, Db::ZERO, now),
                    _ => {}
                }
            }
            Step::Listen { .. } => self.follow_listening(current, detectors, now),
            Step::PlayTogether => self.follow_run(current, detectors, now),
            Step::CheckSource if self.sounds(current.input, detectors) => self.drop_step(),
            Step::PressSolo => {
                let heard = detectors.heard(ChannelId::new(0));
                if current.done_at.is_some() || (waited >= Seconds::new(2.0) && heard.active > Seconds::new(1.0)) {
                    self.pressed = Some(current.input);
                    let expected = self.checks[current.input].input.expected();
                    self.requests.push(Request::Retarget(ChannelId::new(0), expected));
                    self.drop_step();
                }
            }
            Step::ReleaseSolo if self.is_released(detectors) => self.drop_step(),
            _ => {}
        }
    }

    /// No knob has surely moved yet. After "done", or when the time is up, a likely turn is good enough: if it
    /// was none, the next verdict asks again; asking at once would have a turned knob turned twice.
    pub(super) fn wait_for_turn(&mut self, current: Current, asked: Db, detectors: &Detectors, now: Seconds) {
        let Step::Trim { turn, by, cause, again } = current.step else { return };
        let line = self.line(ChannelId::from_index(current.input)).unwrap_or(ChannelId::new(0));
        let believed = current.done_at.is_some_and(|at| now - at >= BELIEVE_DONE);
        let overdue = current.done_at.is_none() && now - current.since >= NO_MOVEMENT;
        if !believed && !overdue {
            return;
        }
        let estimate = detectors.turn_estimate(line, SINCE_TURNED);
        let untouched = estimate.is_some_and(|estimate| estimate.is_surely_none());
        let likely = likely_turn(line, asked, detectors);
        let wrong = self
            .other_knobs(line, detectors)
            .filter(|&other| untouched && !self.is_fresh(other, now))
            // One that stands where it stood is no wrong knob.
            .filter(|&other| detectors.knob_offset(other).is_none_or(|offset| offset.abs() >= BACK))
            .filter_map(|other| Some((other, detectors.turn_estimate(other, SINCE_TURNED)?)))
            .filter(|(other, estimate)| {
                is_about(estimate.by, asked) && self.may_go_back(*other, estimate.by, detectors)
            })
            .filter(|(other, estimate)| {
                estimate.agree >= HALF_SURE || detectors.louder(*other).is_some_and(|louder| is_about(louder, asked))
            })
            .max_by(|a, b| a.1.agree.total_cmp(&b.1.agree));
        match (likely, wrong) {
            // What clips has lost its notes' height: a guess by them proves little.
            (Some(moved), _) if cause == TrimCause::Clipped => self.trim_unheard(current.input, turn, moved, now),
            (Some(moved), _) => self.trim_done(current.input, moved, now),
            (None, Some((other, estimate))) => {
                self.resume = Some((current.input, current.step));
                self.put_back(other.index(), estimate.by, now);
            }
            (None, None) if believed && !untouched => self.trim_unheard(current.input, turn, asked, now),
            (None, None) if again => self.show(current.input, Step::NoMovement { turn }, now),
            (None, None) => self.show(current.input, Step::Trim { turn, by, cause, again: true }, now),
        }
    }

    /// While an input is being listened to: judge it when enough was heard, look at its source when nothing is.
    pub(super) fn follow_listening(&mut self, current: Current, detectors: &Detectors, now: Seconds) {
        let waited = now - current.since;
        let Some(line) = self.line(ChannelId::from_index(current.input)) else { return self.drop_step() };
        let heard = detectors.heard(line);
        let check = &self.checks[current.input];
        let due = self.pending(current.input, detectors);
        let clipped = due.is_some_and(|step| urgency(&step) == 0);
        let patient = waited < LISTEN_AT_LEAST && !clipped;
        if check.outcome != Outcome::Open || (due.is_some() && !patient) {
            self.drop_step();
        } else if waited >= ONLY_THE_ROOM && heard.quiet >= ONLY_THE_ROOM {
            self.show(current.input, Step::CheckSource, now);
        }
    }

    pub(super) fn sounds(&self, input: usize, detectors: &Detectors) -> bool {
        self.line(ChannelId::from_index(input)).is_some_and(|line| detectors.heard(line).quiet == Seconds::ZERO)
    }

    /// Nothing sure was heard of the turn, but it was said to be done. If the same is due again, it was another knob.
    pub(super) fn trim_unheard(&mut self, input: usize, turn: Turn, change: Db, now: Seconds) {
        self.trim_done(input, change, now);
        self.checks[input].unheard = Some(turn);
    }

    pub(super) fn trim_done(&mut self, input: usize, change: Db, now: Seconds) {
        self.trimmed = Some((input, now));
        let check = &mut self.checks[input];
        check.trims += 1;
        check.knows.at_limit = None;
        check.knows.turned = true;
        check.asked = false;
        check.unheard = None;
        let clipped = matches!(self.current, Some(Current { step: Step::Trim { cause: TrimCause::Clipped, .. }, .. }));
        let known = check.confirmed && !clipped;
        check.expect = known.then(|| check.judged + change);
        check.turned_from = (known && change.abs() >= PLAIN_TURN).then_some(check.judged);
        check.confirmed = false;
        self.listen_anew(input);
        self.drop_step();
    }

    /// The lines on which a wrong knob could show: all others by USB, none by one feed, whose second line is the
    /// same sound again.
    fn other_knobs(&self, line: ChannelId, detectors: &Detectors) -> impl Iterator<Item = ChannelId> + Clone + use<> {
        let usb = self.connection == Connection::Usb;
        detectors.channels().filter(move |&other| usb && other != line)
    }

    /// What is over its window is never turned up, whatever brought it there: it was a performer, or it helped.
    fn may_go_back(&self, line: ChannelId, moved: Db, detectors: &Detectors) -> bool {
        let targets = self.checks.get(line.index()).map(|check| &check.input.targets);
        moved > Db::ZERO || targets.is_none_or(|targets| detectors.heard(line).loudest <= targets.window().1)
    }

    /// Whether the feed carries nothing any more: as quiet as ever, or for longer than performers rest. Nobody's
    /// word for it counts: a second button may be down.
    fn is_released(&self, detectors: &Detectors) -> bool {
        let heard = detectors.heard(ChannelId::new(0));
        let bare = self.bare_feed.is_some_and(|bare| heard.level <= bare + AS_BARE);
        heard.quiet >= LONG_REST || (heard.quiet >= RELEASED && bare)
    }

    /// Whether this input's own turn was counted a moment ago: it may only now be carried out.
    fn is_fresh(&self, input: ChannelId, now: Seconds) -> bool {
        self.trimmed.is_some_and(|(trimmed, at)| trimmed == input.index() && now - at < LATE_TURN)
    }

    pub(super) fn put_back(&mut self, input: usize, moved: Db, now: Seconds) {
        let turn = if moved > Db::ZERO { Turn::Down } else { Turn::Up };
        let by = Amount::nearest(moved, turn);
        self.show_quietly(input, Step::PutBack { turn, by }, now);
    }

    /// The wrong knob is back: its own books move by what is left, and the waiting request returns.
    pub(super) fn back_again(&mut self, input: usize, offset: Db, now: Seconds) {
        let check = &mut self.checks[input];
        if check.judged > Dbfs::SILENCE {
            check.judged = check.judged + offset;
            check.expect = check.expect.map(|expect| expect + offset);
        }
        if check.outcome == Outcome::Set && !decision::is_in_reach(check.judged, &check.input.targets) {
            check.outcome = Outcome::Open;
        }
        if check.outcome == Outcome::Open && check.confirmed {
            check.expect = Some(check.judged);
            check.confirmed = false;
        }
        self.listen_anew(input);
        self.drop_step();
        if let Some((waiting, step)) = self.resume.take() {
            self.show(waiting, step, now);
        }
    }
}

/// A movement about as large as asked, as far as the sound between the notes or the loudest notes tell.
fn likely_turn(line: ChannelId, asked: Db, detectors: &Detectors) -> Option<Db> {
    let estimate = detectors.turn_estimate(line, SINCE_TURNED);
    if estimate.is_some_and(|estimate| estimate.is_surely_none()) {
        return None;
    }
    let guesses = [estimate.map(|estimate| estimate.by), detectors.louder(line)];
    guesses.into_iter().flatten().find(|&moved| is_about(moved, asked))
}

/// Whether a movement is 40 to 160 % of what was asked, the same way.
fn is_about(moved: Db, asked: Db) -> bool {
    let share = moved.get() / asked.get();
    (0.4..=1.6).contains(&share)
}
