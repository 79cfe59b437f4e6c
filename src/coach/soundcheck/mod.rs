//! The soundcheck: one next step for the whole stage, with patience and without chasing.
//!
//! Fed after every complete 100 ms frame. Every input listens all the time; the step on the screen is the
//! most urgent one (clipped, no signal, too high, too low, low-cut, then whoever was not heard yet, voices
//! first and drums last), and it stays until it is carried out, answered or overtaken by clipping. After a
//! request the knobs are watched: the right one moved → listen anew; a wrong one moved → put it back; none
//! moved in 15 s → ask once more, then offer to skip. At most three trims an input: after that the player
//! varies, and the fader rides. After the last turn everyone is heard once more, together. Common practice.

mod order;
mod together;
mod turns;

use crate::coach::advice::{Advice, ChannelState, Step, Turn, Unseen, Why};
use crate::coach::decision::{self, Knows};
use crate::coach::targets::Targets;
use crate::detectors::{Detectors, Expected, Heard, Tops};
use crate::units::{ChannelId, Db, Dbfs, Seconds, SourceKind};

pub use order::most_urgent;
pub(super) use order::turn_of;

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
    /// Listen anew on every line.
    RestartAll,
    /// Look for turned knobs from now on.
    ExpectTurn,
    RestKnobs,
    /// Another input is heard on this line from now on.
    Retarget(ChannelId, Expected),
}

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
/// A turn of this much or more is heard to have been made …
const PLAIN_TURN: Db = Db::new(3.0);
/// … and was not if the loudest passage comes back within this.
const UNMOVED: Db = Db::new(1.0);
const REOPEN: Db = Db::new(2.0);
/// A steady player's passages differ by this; 3 dB above the ceiling the show would clip.
const VARIES: Db = Db::new(2.5);
const REOPEN_AT_MOST: Db = Db::new(2.9);

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
    /// Where the loudest passage stood before the last turn, if that was to be heard.
    turned_from: Option<Dbfs>,
    /// The last turn was said to be done, but not heard.
    unheard: Option<Turn>,
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
    /// The input whose turn was counted last, and when.
    trimmed: Option<(usize, Seconds)>,
    /// A knob was to be turned since everyone was last heard together.
    turned: bool,
    /// One feed: the input that is pressed.
    pressed: Option<usize>,
    /// One feed: the quietest that it ever was, so with nothing pressed.
    bare_feed: Option<Dbfs>,
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
            turned_from: None,
            unheard: None,
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
        Self {
            connection,
            checks,
            current: None,
            resume: None,
            trimmed: None,
            turned: false,
            pressed: None,
            bare_feed: None,
            requests: Vec::with_capacity(8),
            advice,
        }
    }

    pub fn advice(&self) -> &Advice {
        &self.advice
    }

    /// Whether every input is set or left alone, and was heard so.
    pub fn is_over(&self) -> bool {
        !self.owes_a_run() && self.is_decided()
    }

    fn is_decided(&self) -> bool {
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
                let level = detectors.heard(ChannelId::new(0)).level;
                self.bare_feed = Some(self.bare_feed.map_or(level, |bare| bare.min(level)));
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
        if self
            .requests
            .iter()
            .any(|request| matches!(request, Request::Restart(_) | Request::RestartAll | Request::Retarget(..)))
        {
            return;
        }
        self.overtake(detectors, now);
        if self.current.is_none() {
            self.choose(detectors, now);
        }
        self.explain(detectors, now);
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
            (Step::PlayTogether, _) | (Step::Trim { .. } | Step::PutBack { .. } | Step::PressSolo, Answer::Done) => {
                current.done_at = Some(now);
                self.current = Some(current);
            }
            // "I did turn it": then it is heard anew.
            (Step::NoMovement { turn }, Answer::Done) => self.trim_unheard(current.input, turn, Db::ZERO, now),
            (Step::Trim { .. } | Step::NoMovement { .. } | Step::LeaveIt { .. }, _) => self.leave(current.input),
            // Nobody touched it: it was the performer.
            (Step::PutBack { .. }, _) => self.back_again(current.input, Db::ZERO, now),
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
            (Step::ReleaseSolo, Answer::Skip) => self.drop_step(),
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
        // The same passage at the same level: that turn was none, or was another knob's.
        if check.confirmed
            && check.enough(heard)
            && let Some(from) = check.turned_from.take()
        {
            check.trims = check.trims.saturating_sub(u8::from((heard.loudest - from).abs() < UNMOVED));
            check.unheard = None;
        }
        if let Some(said) = check.unheard
            && let Some(Step::Trim { turn, .. }) = check.verdict(heard, &tops)
            && turn == said
            && (tops.clipped > 0 || check.enough(heard))
        {
            check.trims = check.trims.saturating_sub(1);
            check.unheard = None;
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
        self.turned |= matches!(step, Step::Trim { .. });
        self.show_quietly(input, step, now);
    }

    /// Shows a step and leaves the watch on the knobs as it is.
    fn show_quietly(&mut self, input: usize, step: Step, now: Seconds) {
        self.current = Some(Current { input, step, since: now, done_at: None });
    }

    fn explain(&mut self, detectors: &Detectors, now: Seconds) {
        let unseen = self.advice.why.unseen;
        let Some(current) = self.current else {
            if self.is_over() {
                self.advice = Advice { step: Step::AllSet, channel: None, why: nothing(unseen) };
            }
            return;
        };
        if current.step == Step::PlayTogether {
            return self.explain_run(detectors, now);
        }
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

/// Before anything was heard.
fn nothing(unseen: Unseen) -> Why {
    Why::of(&Heard::default(), &Tops::default(), unseen)
}
