//! The soundcheck: one next step for the whole stage, with patience and without chasing.
//!
//! Fed after every complete 100 ms frame. Every input listens all the time; the step on the screen is the
//! most urgent one (clipped, no signal, too high, too low, low-cut, then whoever was not heard yet, voices
//! first and drums last), and it stays until it is carried out, answered or overtaken by clipping. After a
//! request the knobs are watched: the right one moved → listen anew; a wrong one moved → put it back; none
//! moved in 15 s → ask once more, then offer to skip. At most three trims an input: after that the player
//! varies, and the fader rides. Common practice.

use super::advice::{Advice, Amount, ChannelState, Step, TrimCause, Turn, Unseen, Why};
use super::decision::{self, Knows};
use super::targets::Targets;
use crate::detectors::{Detectors, Expected, Heard, Tops};
use crate::units::{ChannelId, Db, Dbfs, Seconds, SourceKind};

/// How the laptop hears the desk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Connection {
    /// All channels by USB: input n is line n.
    Usb,
    /// One feed, one channel at a time.
    Feed,
    /// A microphone in the room.
    Room,
}

/// An input of the list, as far as the coach needs it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    pub kind: SourceKind,
    pub targets: Targets,
}

impl Input {
    pub fn new(kind: SourceKind, show_lift: Option<Db>) -> Self {
        Self { kind, targets: Targets::of(kind).with_show_lift(show_lift) }
    }

    pub fn expected(&self) -> Expected {
        Expected { kind: self.kind, low_cut: self.targets.low_cut }
    }
}

/// What the person says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Answer {
    /// The step was carried out; or "yes" to a question.
    Done,
    /// "There's louder", "it wasn't meant", "the lamp is dark": no.
    No,
    /// The knob is at its end.
    AtLimit,
    /// Can't do that, go on.
    Skip,
    /// How often the lamp flashed (room microphone only).
    Lamp(Flashes),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flashes {
    Never,
    Sometimes,
    Often,
}

/// What the pipeline has to do for the coach, since the coach touches no meter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Request {
    /// Listen anew on this line.
    Restart(ChannelId),
    /// Look for turned knobs from now on.
    ExpectTurn,
    RestKnobs,
    /// Another input is heard on this line from now on.
    Retarget(ChannelId, Expected),
}

/// No sound for this long after being asked for is worth a look at the source.
const ONLY_THE_ROOM: Seconds = Seconds::new(20.0);
/// No knob moved for this long: ask again, then give up.
const NO_MOVEMENT: Seconds = Seconds::new(15.0);
/// After "done", the knob is watched this much longer before it is believed.
const BELIEVE_DONE: Seconds = Seconds::new(6.0);
/// By then the knob has stood this long.
const SINCE_TURNED: Seconds = Seconds::new(5.0);
const TRIMS: u8 = 3;
/// A performer who was asked gets this long before something else takes the screen.
const LISTEN_AT_LEAST: Seconds = Seconds::new(12.0);
/// "There's louder" was said: it is waited for this much longer, in active time.
const WAIT_FOR_LOUDER: Seconds = Seconds::new(20.0);
/// It came if the peak rose by this.
const LOUDER: Db = Db::new(1.0);
const LOUDER_TO_COME: Db = Db::new(3.0);
/// The loudest passage came again if it reaches this near to where it should stand.
const SAME_PASSAGE: Db = Db::new(3.0);
const REOPEN: Db = Db::new(2.0);
/// A steady player's passages differ by this; 3 dB above the ceiling the show would clip.
const VARIES: Db = Db::new(2.5);
const REOPEN_AT_MOST: Db = Db::new(2.9);
/// A knob put back within this is back.
const BACK: Db = Db::new(1.5);
/// Shares of the evidence from which a wrong knob is believed: when the right one surely stands, and else.
const HALF_SURE: f64 = 0.4;
const NEARLY_SURE: f64 = 0.6;
const HOT_ENOUGH: Seconds = Seconds::new(6.0);
const HOT_HITS: u32 = 4;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Outcome {
    Open,
    Set,
    /// Left alone after three trims, or skipped.
    Left,
}

#[derive(Clone, Debug)]
struct Check {
    input: Input,
    outcome: Outcome,
    trims: u8,
    knows: Knows,
    /// The person said that this was the loudest.
    confirmed: bool,
    /// Where the loudest passage should stand after the last turn.
    expect: Option<Dbfs>,
    /// The loudest peak when it was last judged.
    judged: Dbfs,
    /// The performer was asked for the loudest passage.
    asked: bool,
    /// "There's louder" was said at this peak, after this much active time.
    louder_than: Option<(Dbfs, Seconds)>,
    meant: bool,
    lamp: Option<Flashes>,
    heard_once: bool,
}

/// A step on the screen.
#[derive(Clone, Copy, Debug)]
struct Current {
    input: usize,
    step: Step,
    since: Seconds,
    done_at: Option<Seconds>,
}

/// The soundcheck of one stage.
#[derive(Clone, Debug)]
pub struct Soundcheck {
    connection: Connection,
    checks: Vec<Check>,
    current: Option<Current>,
    /// A trim that waits while a wrong knob is put back.
    resume: Option<(usize, Step)>,
    /// One feed: the input that is pressed.
    pressed: Option<usize>,
    requests: Vec<Request>,
    advice: Advice,
}

impl Soundcheck {
    pub fn new(inputs: &[Input], connection: Connection) -> Self {
        let check = |input: &Input| Check {
            input: *input,
            outcome: Outcome::Open,
            trims: 0,
            knows: Knows { mastered: input.kind == SourceKind::Playback, ..Knows::default() },
            confirmed: false,
            expect: None,
            judged: Dbfs::SILENCE,
            asked: false,
            louder_than: None,
            meant: false,
            lamp: None,
            heard_once: false,
        };
        let unseen = match connection {
            Connection::Usb => Unseen::RoomLevel,
            Connection::Feed => Unseen::OtherChannels,
            Connection::Room => Unseen::Inputs,
        };
        let checks: Vec<Check> = inputs.iter().map(check).collect();
        let first = (0..checks.len()).min_by_key(|&input| (turn_of(checks[input].input.kind), input));
        let advice = Advice {
            step: first.map_or(Step::AllSet, |input| checks[input].listen()),
            channel: first.map(ChannelId::from_index),
            why: nothing(unseen),
        };
        Self { connection, checks, current: None, resume: None, pressed: None, requests: Vec::with_capacity(8), advice }
    }

    pub fn advice(&self) -> &Advice {
        &self.advice
    }

    /// Whether every input is set or left alone.
    pub fn is_over(&self) -> bool {
        self.checks.iter().all(|check| check.outcome != Outcome::Open)
    }

    /// Trims asked of an input so far.
    pub fn trims(&self, input: ChannelId) -> u8 {
        self.checks[input.index()].trims
    }

    pub fn targets(&self, input: ChannelId) -> &Targets {
        &self.checks[input.index()].input.targets
    }

    /// The line on which an input is heard now.
    pub fn line(&self, input: ChannelId) -> Option<ChannelId> {
        match self.connection {
            Connection::Usb => Some(input),
            Connection::Feed => (self.pressed == Some(input.index())).then_some(ChannelId::new(0)),
            Connection::Room => None,
        }
    }

    pub fn take_requests(&mut self) -> impl Iterator<Item = Request> + '_ {
        self.requests.drain(..)
    }

    /// A complete frame at `now`.
    pub fn observe(&mut self, detectors: &Detectors, now: Seconds) {
        match self.connection {
            Connection::Usb => {
                for input in 0..self.checks.len() {
                    self.update(input, detectors);
                }
            }
            Connection::Feed => {
                if let Some(input) = self.pressed {
                    self.update(input, detectors);
                }
            }
            Connection::Room => {}
        }
        if let Some(current) = self.current {
            self.follow(current, detectors, now);
        }
        // What is to be heard anew says nothing yet.
        if self.requests.iter().any(|request| matches!(request, Request::Restart(_) | Request::Retarget(..))) {
            return;
        }
        self.overtake(detectors, now);
        if self.current.is_none() {
            self.choose(detectors, now);
        }
        self.explain(detectors);
    }

    /// The person answered the step on the screen, at `now`.
    pub fn answer(&mut self, answer: Answer, now: Seconds) {
        let Some(mut current) = self.current else { return };
        let check = &mut self.checks[current.input];
        match (current.step, answer) {
            (Step::Trim { turn, .. } | Step::NoMovement { turn }, Answer::AtLimit) => {
                check.knows.at_limit = Some(turn);
                self.drop_step();
            }
            (Step::Trim { .. } | Step::PutBack { .. } | Step::PressSolo, Answer::Done) => {
                current.done_at = Some(now);
                self.current = Some(current);
            }
            // "I did turn it": then it is heard anew.
            (Step::NoMovement { .. }, Answer::Done) => self.trim_done(current.input, Db::ZERO),
            (Step::Trim { .. } | Step::NoMovement { .. } | Step::LeaveIt { .. }, _) => self.leave(current.input),
            (Step::PutBack { .. }, _) => self.drop_step(),
            (Step::ConfirmLoudest, Answer::No) => {
                check.knows.extra_lift = LOUDER_TO_COME;
                check.louder_than = Some((self.advice.why.peak, self.advice.why.active));
                self.drop_step();
            }
            (Step::ConfirmLoudest, Answer::Done) => {
                check.confirmed = true;
                self.drop_step();
            }
            (Step::ConfirmMeant { .. }, answer) => {
                check.meant = answer == Answer::Done;
                if !check.meant {
                    self.listen_anew(current.input);
                }
                self.drop_step();
            }
            (Step::SourceOverload, answer) => {
                check.knows.source_asked = true;
                if answer == Answer::Done {
                    self.listen_anew(current.input);
                }
                self.drop_step();
            }
            (Step::AskLampLit, answer) => {
                check.knows.desk_overload = answer == Answer::Done;
                check.knows.source_asked = false;
                self.drop_step();
                if answer != Answer::Done {
                    self.show(current.input, Step::SourceOverload, now);
                }
            }
            (Step::MoveCloser, _) => {
                check.knows.closer_asked = true;
                self.drop_step();
                if answer == Answer::Done {
                    self.listen_anew(current.input);
                }
            }
            (Step::LowCut { .. }, _) => {
                check.knows.low_cut_asked = true;
                self.drop_step();
            }
            (Step::Pad | Step::WrongInput, Answer::Done) => {
                check.knows.at_limit = None;
                self.listen_anew(current.input);
                self.drop_step();
            }
            (Step::AskLamp, Answer::Lamp(flashes)) => {
                check.lamp = Some(flashes);
                self.drop_step();
            }
            (Step::ReleaseSolo, _) => self.drop_step(),
            (Step::AllSet, _) => {}
            (_, Answer::Skip) => self.leave(current.input),
            _ => {}
        }
    }

    /// The state that a face shows for an input.
    pub fn state(&self, input: ChannelId, detectors: &Detectors) -> ChannelState {
        let check = &self.checks[input.index()];
        if self.connection == Connection::Room {
            return match check.lamp {
                Some(Flashes::Often) => ChannelState::Clipped,
                Some(Flashes::Sometimes) => ChannelState::High,
                Some(Flashes::Never) => ChannelState::Set,
                None => ChannelState::NotHeard,
            };
        }
        let Some(line) = self.line(input) else { return check.state_from_memory() };
        let heard = detectors.heard(line);
        let tops = detectors.tops(line);
        let targets = &check.input.targets;
        if heard.dead {
            ChannelState::Lost
        } else if tops.clipped > 0 || tops.near_full_scale || (tops.flat > 0 && !check.knows.mastered) {
            ChannelState::Clipped
        } else if check.outcome == Outcome::Set {
            ChannelState::Set
        } else if heard.loudest > targets.too_high() {
            ChannelState::High
        } else if !check.enough(heard) {
            ChannelState::NotHeard
        } else if heard.loudest < targets.too_low() {
            ChannelState::Low
        } else {
            ChannelState::Set
        }
    }

    /// Keeps an input's books: confirmed again after a turn, set, or reopened.
    fn update(&mut self, input: usize, detectors: &Detectors) {
        let Some(line) = self.line(ChannelId::from_index(input)) else { return };
        let heard = detectors.heard(line);
        let tops = detectors.tops(line);
        let check = &mut self.checks[input];
        check.heard_once |= heard.active > Seconds::ZERO;
        if check.expect.is_some_and(|expect| heard.loudest >= expect - SAME_PASSAGE) && check.enough(heard) {
            check.confirmed = true;
            check.expect = None;
        }
        if let Some((peak, active)) = check.louder_than {
            if heard.loudest >= peak + LOUDER {
                check.knows.extra_lift = Db::ZERO;
                check.louder_than = None;
            } else if heard.active - active >= WAIT_FOR_LOUDER {
                check.confirmed = true;
                check.louder_than = None;
            }
        }
        match check.outcome {
            Outcome::Open if check.enough(heard) && check.confirmed && check.verdict(heard, &tops).is_none() => {
                check.outcome = Outcome::Set;
                check.judged = heard.loudest;
            }
            Outcome::Set => {
                let ceiling = check.input.targets.ceiling();
                let above = (ceiling + REOPEN).max((check.judged + VARIES).min(ceiling + REOPEN_AT_MOST));
                let hot = heard.loudest > above && detectors.events_above(line, above) >= 2;
                if hot || tops.clipped > 0 || tops.near_full_scale {
                    check.outcome = if check.trims < TRIMS { Outcome::Open } else { Outcome::Left };
                }
            }
            _ => {}
        }
    }

    /// The step on the screen: carried out, timed out, or still to be waited for?
    fn follow(&mut self, current: Current, detectors: &Detectors, now: Seconds) {
        let input = ChannelId::from_index(current.input);
        let waited = now - current.since;
        match current.step {
            Step::Trim { turn, by, .. } => {
                let line = self.line(input).unwrap_or(ChannelId::new(0));
                let asked = by.change(turn);
                let wrong = detectors.channels().find_map(|other| {
                    let moved = detectors.turned(other).filter(|&moved| other != line && is_about(moved, asked))?;
                    Some((other, moved))
                });
                match (detectors.turned(line), wrong) {
                    (Some(moved), _) if (moved < Db::ZERO) == (turn == Turn::Down) => {
                        self.trim_done(current.input, moved);
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
            Step::ReleaseSolo if detectors.heard(ChannelId::new(0)).quiet >= Seconds::new(1.0) => self.drop_step(),
            _ => {}
        }
    }

    /// No knob has surely moved yet. After "done", or when the time is up, a likely turn is good enough: if it
    /// was none, the next verdict asks again; asking at once would have a turned knob turned twice.
    fn wait_for_turn(&mut self, current: Current, asked: Db, detectors: &Detectors, now: Seconds) {
        let Step::Trim { turn, by, cause, again } = current.step else { return };
        let line = self.line(ChannelId::from_index(current.input)).unwrap_or(ChannelId::new(0));
        let believed = current.done_at.is_some_and(|at| now - at >= BELIEVE_DONE);
        let overdue = current.done_at.is_none() && now - current.since >= NO_MOVEMENT;
        if !believed && !overdue {
            return;
        }
        let estimate = detectors.turn_estimate(line, SINCE_TURNED);
        let untouched = estimate.is_some_and(|estimate| estimate.is_surely_none());
        let guesses = [estimate.map(|estimate| estimate.by), detectors.louder(line)];
        let likely = guesses.into_iter().flatten().find(|&moved| !untouched && is_about(moved, asked));
        let enough = if untouched { HALF_SURE } else { NEARLY_SURE };
        let wrong = detectors
            .channels()
            .filter(|&other| other != line && likely.is_none())
            .filter_map(|other| Some((other, detectors.turn_estimate(other, SINCE_TURNED)?)))
            .filter(|(_, estimate)| is_about(estimate.by, asked))
            .filter(|(other, estimate)| {
                estimate.agree >= enough || detectors.louder(*other).is_some_and(|louder| is_about(louder, asked))
            })
            .max_by(|a, b| a.1.agree.total_cmp(&b.1.agree));
        match (likely, wrong) {
            (Some(moved), _) => self.trim_done(current.input, moved),
            (None, Some((other, estimate))) => {
                self.resume = Some((current.input, current.step));
                self.put_back(other.index(), estimate.by, now);
            }
            (None, None) if believed && !untouched => self.trim_done(current.input, asked),
            (None, None) if again => self.show(current.input, Step::NoMovement { turn }, now),
            (None, None) => self.show(current.input, Step::Trim { turn, by, cause, again: true }, now),
        }
    }

    /// While an input is being listened to: judge it when enough was heard, look at its source when nothing is.
    fn follow_listening(&mut self, current: Current, detectors: &Detectors, now: Seconds) {
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

    fn sounds(&self, input: usize, detectors: &Detectors) -> bool {
        self.line(ChannelId::from_index(input)).is_some_and(|line| detectors.heard(line).quiet == Seconds::ZERO)
    }

    fn trim_done(&mut self, input: usize, change: Db) {
        let check = &mut self.checks[input];
        check.trims += 1;
        check.knows.at_limit = None;
        check.knows.turned = true;
        check.asked = false;
        let clipped = matches!(self.current, Some(Current { step: Step::Trim { cause: TrimCause::Clipped, .. }, .. }));
        check.expect = (check.confirmed && !clipped).then(|| check.judged + change);
        check.confirmed = false;
        self.listen_anew(input);
        self.drop_step();
    }

    fn put_back(&mut self, input: usize, moved: Db, now: Seconds) {
        let turn = if moved > Db::ZERO { Turn::Down } else { Turn::Up };
        let by = Amount::nearest(moved, turn);
        self.show_quietly(input, Step::PutBack { turn, by }, now);
    }

    /// The wrong knob is back: its own books move by what is left, and the waiting request returns.
    fn back_again(&mut self, input: usize, offset: Db, now: Seconds) {
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

    fn listen_anew(&mut self, input: usize) {
        if let Some(line) = self.line(ChannelId::from_index(input)) {
            self.requests.push(Request::Restart(line));
        }
    }

    fn leave(&mut self, input: usize) {
        self.checks[input].outcome = Outcome::Left;
        self.drop_step();
    }

    fn drop_step(&mut self) {
        if matches!(self.current, Some(Current { step: Step::Trim { .. } | Step::PutBack { .. }, .. })) {
            self.requests.push(Request::RestKnobs);
        }
        self.current = None;
    }

    fn show(&mut self, input: usize, step: Step, now: Seconds) {
        match step {
            Step::Trim { again: false, .. } => self.requests.push(Request::ExpectTurn),
            Step::Listen { .. } => self.checks[input].asked = true,
            _ => {}
        }
        self.show_quietly(input, step, now);
    }

    /// Shows a step and leaves the watch on the knobs as it is.
    fn show_quietly(&mut self, input: usize, step: Step, now: Seconds) {
        self.current = Some(Current { input, step, since: now, done_at: None });
    }

    /// Clipping on any line takes the screen from whatever only waits; after a while, anything that is due
    /// takes it from mere listening.
    fn overtake(&mut self, detectors: &Detectors, now: Seconds) {
        let Some(current) = self.current else { return };
        if self.connection != Connection::Usb || !is_patient(&current.step) {
            return;
        }
        let listens = matches!(current.step, Step::Listen { .. }) && now - current.since >= LISTEN_AT_LEAST;
        let due = (0..self.checks.len()).any(|input| {
            input != current.input
                && self.checks[input].outcome == Outcome::Open
                && self.pending(input, detectors).is_some_and(|step| listens || urgency(&step) == 0)
        });
        if due {
            self.current = None;
        }
    }

    fn choose(&mut self, detectors: &Detectors, now: Seconds) {
        match self.connection {
            Connection::Usb => self.choose_for_stage(detectors, now),
            Connection::Feed => self.choose_for_feed(detectors, now),
            Connection::Room => self.choose_for_room(now),
        }
    }

    fn choose_for_stage(&mut self, detectors: &Detectors, now: Seconds) {
        let open = (0..self.checks.len()).filter(|&input| self.checks[input].outcome == Outcome::Open);
        let step = |input: usize| self.pending(input, detectors).unwrap_or_else(|| self.checks[input].listen());
        let best = open
            .map(|input| (input, step(input)))
            .min_by_key(|(input, step)| (urgency(step), turn_of(self.checks[*input].input.kind), *input));
        if let Some((input, step)) = best {
            self.show(input, step, now);
        }
    }

    fn choose_for_feed(&mut self, detectors: &Detectors, now: Seconds) {
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
    fn choose_for_room(&mut self, now: Seconds) {
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
    fn pending(&self, input: usize, detectors: &Detectors) -> Option<Step> {
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
    fn limited(&self, input: usize, step: Step, heard: &Heard) -> Step {
        match step {
            Step::Trim { .. } if self.checks[input].trims >= TRIMS => {
                Step::LeaveIt { varies: heard.loudest - heard.typical }
            }
            step => step,
        }
    }

    fn explain(&mut self, detectors: &Detectors) {
        let unseen = self.advice.why.unseen;
        let Some(current) = self.current else {
            if self.is_over() {
                self.advice = Advice { step: Step::AllSet, channel: None, why: nothing(unseen) };
            }
            return;
        };
        let input = ChannelId::from_index(current.input);
        let check = &self.checks[current.input];
        let targets = &check.input.targets;
        let why = match self.line(input) {
            Some(line) => Why::of(detectors.heard(line), &detectors.tops(line), unseen),
            None => nothing(unseen),
        };
        let show_lift = targets.show_lift + check.knows.extra_lift;
        let why = Why { show_lift, ..why.against(targets) };
        let check = &mut self.checks[current.input];
        if matches!(current.step, Step::Trim { .. }) && check.confirmed {
            check.judged = why.peak;
        }
        self.advice = Advice { step: current.step, channel: Some(input), why };
    }
}

impl Check {
    fn enough(&self, heard: &Heard) -> bool {
        self.input.targets.need.is_met(heard) && heard.settled
    }

    fn verdict(&self, heard: &Heard, tops: &Tops) -> Option<Step> {
        decision::decide(heard, tops, &self.input.targets, &self.knows)
    }

    fn listen(&self) -> Step {
        Step::Listen { passage: self.input.targets.passage, again: self.trims > 0 }
    }

    /// One feed: what is known of an input that is not being listened to.
    fn state_from_memory(&self) -> ChannelState {
        match self.outcome {
            Outcome::Set => ChannelState::Set,
            _ if self.judged.is_silence() => ChannelState::NotHeard,
            _ if self.judged > self.input.targets.too_high() => ChannelState::High,
            _ if self.judged < self.input.targets.too_low() => ChannelState::Low,
            _ => ChannelState::Set,
        }
    }
}

/// Whether a movement is 40 to 160 % of what was asked, the same way.
fn is_about(moved: Db, asked: Db) -> bool {
    let share = moved.get() / asked.get();
    (0.4..=1.6).contains(&share)
}

/// Before anything was heard.
fn nothing(unseen: Unseen) -> Why {
    Why::of(&Heard::default(), &Tops::default(), unseen)
}

/// Steps that only wait, so that clipping elsewhere may overtake them.
fn is_patient(step: &Step) -> bool {
    matches!(step, Step::Listen { .. } | Step::ConfirmLoudest | Step::CheckSource | Step::LowCut { .. })
}

/// Danger and clipping, no signal, too high, too low, low-cut, tidy; questions go with what they decide.
fn urgency(step: &Step) -> u8 {
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
fn turn_of(kind: SourceKind) -> u8 {
    match kind {
        SourceKind::Speech => 0,
        SourceKind::SoloVocal | SourceKind::Headset => 1,
        SourceKind::Choir => 2,
        SourceKind::Playback => 3,
        SourceKind::Kick | SourceKind::Snare | SourceKind::Overhead | SourceKind::Percussion => 5,
        _ => 4,
    }
}
