//! The procedure of a ring-out: which step follows which.
//!
//! A state machine: [`RingOut::observe`] with each frame's rings, [`RingOut::answer`] with what the person says.
//! Whatever it waits for, a ring comes first: down, and only then the rest. Loud or fast means "now": growth over 6 dB/s,
//! or past −20 dBFS on the microphone. What no step expects (an answer to nothing, a frame out of order) changes nothing.

mod listening;
mod telling;

use super::advice::{Haste, OutputResult, RingAdvice, RingAnswer, RingStep, RingWhy};
use super::cures::{self, Cure};
use super::cuts::{Band, Change, Cut, Grab};
use super::equaliser::Equaliser;
use super::setup::{Microphone, Place, RingOutPlan};
use super::stop::{Books, End};
use super::tones::Tones;
use crate::detectors::Ring;
use crate::units::{ChannelId, Db, Hertz, Seconds, SourceKind};

/// A test, and what is left in hand after a calm ring.
const TEST: u8 = 3;
const CALM: Db = Db::new(3.0);
/// A movement counts as the one asked for from half of it on.
const CARRIED_OUT: f64 = 0.5;
/// The next round begins this far under the last.
const NEXT_ROUND: Db = Db::new(-6.0);
/// Cuts that bought less were not worth it: moving things helps more.
pub const WORTH_IT: Db = Db::new(2.0);

#[derive(Clone, Copy, Debug, PartialEq)]
enum Phase {
    Cautions,
    Prepare,
    Start {
        to: Db,
    },
    Open,
    Up {
        by: u8,
    },
    Hold {
        since: Seconds,
        goal: Goal,
    },
    Test {
        done: Option<Seconds>,
    },
    Down {
        by: u8,
        haste: Haste,
        again: bool,
        done: Option<Seconds>,
        after: After,
    },
    Quiet,
    LowCut {
        at: Hertz,
        place: Place,
    },
    Cut(Change),
    /// A band makes room for the next cut.
    Free {
        free: Grab,
        cut: Grab,
    },
    Back {
        by: Db,
    },
    Leave {
        to: Db,
    },
    OpenAll,
    Dull,
    GiveBack(Cut),
    CutAgain(Cut),
    Over,
}

/// What a step is listened to for.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Goal {
    Climb,
    /// Left at the end of the output.
    Left,
    /// A cut was given back.
    Given(Cut),
}

/// What follows when a ring has died.
#[derive(Clone, Copy, Debug, PartialEq)]
enum After {
    Cut,
    /// Begin anew: the fader's place was not known.
    Start,
    /// Leave it lower.
    Lower,
    CutAgain(Cut),
}

/// The ring-out of one hall.
#[derive(Clone, Debug)]
pub struct RingOut {
    plan: RingOutPlan,
    books: Vec<Books>,
    cures: Vec<Option<Cure>>,
    output: usize,
    round: usize,
    phase: Phase,
    undoing: Option<Change>,
    fader: Db,
    /// Known movement of the fader since the step came up.
    moved: Db,
    /// Movements of the fader are told: what was not told did not happen.
    sees_fader: bool,
    /// When the step came up.
    shown: Seconds,
    /// The same for the two bands of the cut asked for.
    turned: (Db, Db),
    fine: bool,
    /// The last step up.
    stepped: u8,
    tones: Tones,
    /// The ring at hand, and where the fader stood.
    rang: Option<Ring>,
    rang_at: Db,
    /// When it had died.
    died: Seconds,
    /// The tone that a turn of the bands is about, where that is another; and turns made since it rang.
    about: Option<Ring>,
    turns: u8,
    /// Why it ends once they are made.
    ending: Option<End>,
    /// It was heard on more than one microphone.
    shared: bool,
    now: Seconds,
    advice: RingAdvice,
}

impl RingOut {
    pub fn new(plan: RingOutPlan) -> Self {
        let outputs = plan.outputs.len();
        let why = RingWhy {
            ring: None,
            fader: plan.numbers.start,
            held: None,
            target: plan.target,
            bought: Db::ZERO,
            bands: 0,
            left: Seconds::ZERO,
            cure: None,
            blunt: false,
        };
        let phase = match (outputs, plan.live) {
            (0, _) => Phase::Over,
            (_, true) => Phase::Cautions,
            (_, false) => Phase::Prepare,
        };
        let mut ring_out = Self {
            fader: plan.numbers.start,
            books: (0..outputs).map(|_| Books::new()).collect(),
            cures: vec![None; outputs],
            plan,
            output: 0,
            round: 0,
            phase,
            undoing: None,
            moved: Db::ZERO,
            sees_fader: false,
            shown: Seconds::ZERO,
            turned: (Db::ZERO, Db::ZERO),
            fine: false,
            stepped: 0,
            tones: Tones::new(),
            rang: None,
            rang_at: Db::ZERO,
            died: Seconds::ZERO,
            about: None,
            turns: 0,
            ending: None,
            shared: false,
            now: Seconds::ZERO,
            advice: RingAdvice { step: RingStep::Over, output: None, why },
        };
        ring_out.explain();
        ring_out
    }

    pub fn advice(&self) -> &RingAdvice {
        &self.advice
    }

    pub fn is_over(&self) -> bool {
        self.phase == Phase::Over
    }

    pub fn plan(&self) -> &RingOutPlan {
        &self.plan
    }

    pub fn books(&self, output: usize) -> Option<&Books> {
        self.books.get(output)
    }

    /// How each output stands.
    pub fn results(&self) -> impl Iterator<Item = OutputResult> + '_ {
        self.plan.outputs.iter().zip(&self.books).zip(&self.cures).map(|((plan, books), cure)| OutputResult {
            output: plan.output,
            end: books.end,
            before: books.before,
            held: books.held,
            bought: books.bought(),
            left_at: books.left_at,
            check_again: books.check_again,
            cure: books.end.and_then(|end| {
                let reached = books.held.unwrap_or(self.plan.numbers.start);
                let short = self.plan.target.map_or(Db::ZERO, |target| target - reached);
                let poor = !end.is_target() && books.bought() < WORTH_IT;
                cures::for_the_end(short, poor, plan.microphones.len(), *cure)
            }),
        })
    }

    /// A trim was turned or a microphone moved: outputs that it goes to want to be checked again.
    pub fn trim_changed(&mut self, channel: ChannelId) {
        for (plan, books) in self.plan.outputs.iter().zip(&mut self.books) {
            if books.end.is_some() && plan.microphones.iter().any(|microphone| microphone.channel == channel) {
                books.check_again = true;
            }
        }
    }

    /// The rings of a complete frame.
    pub fn observe(&mut self, rings: &[Ring], now: Seconds) {
        self.now = now;
        if self.phase != Phase::Over {
            self.follow(rings);
            self.explain();
        }
    }

    /// It is known that this output's fader moved by so much.
    pub fn fader_moved(&mut self, by: Db) {
        if !by.get().is_finite() {
            return;
        }
        self.sees_fader = true;
        self.moved += by;
        let Some(asked) = self.asked() else {
            self.fader += by;
            self.moved = Db::ZERO;
            if let Phase::Hold { since, .. } = &mut self.phase {
                *since = self.now;
            }
            self.explain();
            return;
        };
        let share = self.moved.get() / asked.get();
        if share >= CARRIED_OUT {
            self.done();
            self.explain();
        }
    }

    /// It is known where this output's fader stands.
    pub fn fader_is(&mut self, at: Db) {
        self.fader_moved(at - (self.fader + self.moved));
    }

    /// It is known that a band was turned by so much: the one asked for, or another.
    pub fn band_turned(&mut self, place: Place, band: Band, by: Db) {
        if !by.get().is_finite() || self.books.is_empty() {
            return;
        }
        let turned = |grab: &Grab| grab.place == place && grab.band == band;
        match self.phase {
            Phase::Cut(change) if self.undoing.is_none() && change.grabs().any(turned) => {
                let Change { main, neighbour } = change;
                self.turned.0 += if turned(&main) { by } else { Db::ZERO };
                self.turned.1 += if neighbour.as_ref().is_some_and(turned) { by } else { Db::ZERO };
                let enough = |grab: &Grab, by: Db| by.get() <= grab.by.get() * CARRIED_OUT;
                if enough(&main, self.turned.0) && neighbour.is_none_or(|grab| enough(&grab, self.turned.1)) {
                    self.done();
                }
            }
            Phase::Free { free, .. } if self.undoing.is_none() && turned(&free) => {
                self.turned.0 += by;
                if self.turned.0.get() >= free.by.get() * CARRIED_OUT {
                    self.turned = (Db::ZERO, Db::ZERO);
                    self.done();
                }
            }
            _ => self.books[self.output].cuts.turned(place, band, by),
        }
        self.explain();
    }

    /// The person's answer to the step on the screen.
    pub fn answer(&mut self, answer: RingAnswer) {
        match (answer, self.phase) {
            (_, Phase::Over) => {}
            (RingAnswer::Undo, _) => {
                if self.undoing.is_none()
                    && let Some(books) = self.books.get(self.output)
                    && !matches!(self.phase, Phase::Down { .. } | Phase::Dull | Phase::GiveBack(_) | Phase::CutAgain(_))
                {
                    self.undoing = books.cuts.last();
                }
            }
            (RingAnswer::Stop, Phase::Cautions) => self.phase = Phase::Over,
            (RingAnswer::Stop, Phase::Down { .. }) => {}
            (RingAnswer::Stop, _) => {
                if self.books[self.output].end.is_none() {
                    self.finish(End::Stopped)
                } else {
                    self.next_output()
                }
            }
            (RingAnswer::Yes, Phase::Cautions) => self.phase = Phase::Prepare,
            (RingAnswer::No | RingAnswer::Cannot, Phase::Cautions) => self.phase = Phase::Over,
            (_, Phase::Cautions) => {}
            (RingAnswer::Yes, Phase::Dull) => match self.books[self.output].cuts.shallowest() {
                Some(cut) => self.phase = Phase::GiveBack(cut),
                None => self.next_output(),
            },
            (_, Phase::Dull) => self.next_output(),
            (RingAnswer::Done | RingAnswer::Yes, _) => self.done(),
            (RingAnswer::No | RingAnswer::Cannot, _) => self.cannot(),
        }
        self.explain();
    }

    /// The fader's way that the step asks for.
    fn asked(&self) -> Option<Db> {
        let db = |by: u8| Db::new(f64::from(by));
        let by = match self.phase {
            _ if self.undoing.is_some() => return None,
            Phase::Start { to } | Phase::Leave { to } => to - self.fader,
            Phase::Up { by } => db(by),
            Phase::Back { by } => by,
            Phase::Test { done: None } => -db(TEST),
            Phase::Down { by, done: None, .. } => -db(by),
            _ => return None,
        };
        (by != Db::ZERO).then_some(by)
    }

    /// The step was carried out.
    fn done(&mut self) {
        if self.undoing.take().is_some() {
            self.books[self.output].cuts.undo();
            if let Phase::Hold { goal, .. } = self.phase {
                self.hold(goal);
            }
            return;
        }
        if let Some(asked) = self.asked() {
            self.fader += if self.moved == Db::ZERO { asked } else { self.moved };
            self.moved = Db::ZERO;
        }
        let now = self.now;
        match self.phase {
            Phase::Prepare => self.phase = Phase::Start { to: self.plan.numbers.start },
            Phase::Start { .. } => {
                if self.books[self.output].end.is_some() {
                    self.hold(Goal::Left)
                } else {
                    self.phase = Phase::Open
                }
            }
            Phase::Open | Phase::Up { .. } | Phase::Back { .. } => self.hold(Goal::Climb),
            Phase::Quiet => self.back(),
            Phase::Test { done: done @ None } => self.phase = Phase::Test { done: done.or(Some(now)) },
            Phase::Down { by, haste, again, after, done: None } => {
                self.phase = Phase::Down { by, haste, again, after, done: Some(now) };
            }
            Phase::LowCut { at, .. } => {
                self.books[self.output].cut_low(at);
                self.back();
            }
            Phase::Free { free, cut } => {
                self.books[self.output].free(&free, self.fader);
                self.phase = Phase::Cut(Change { main: cut, neighbour: None });
            }
            Phase::Cut(change) => {
                self.turned = (Db::ZERO, Db::ZERO);
                self.books[self.output].cut(change, self.rang_at);
                // What is known to ring there again is not raised to ring.
                let again = self.ending.is_some() || self.books[self.output].limit() < self.rang_at;
                let worth = self.plan.numbers.worth;
                if !(self.about.is_some() && again && self.turn_next(change.main.place, worth)) {
                    match self.ending {
                        Some(end) => self.finish(end),
                        None => self.back(),
                    }
                }
            }
            Phase::Leave { .. } => {
                let all_open = self.plan.outputs[self.output].open(self.round) == self.microphones().len();
                if all_open { self.hold(Goal::Left) } else { self.phase = Phase::OpenAll }
            }
            Phase::OpenAll => self.hold(Goal::Left),
            Phase::GiveBack(cut) => {
                self.books[self.output].cuts.give_back(cut);
                self.hold(Goal::Given(cut));
            }
            Phase::CutAgain(cut) => {
                self.books[self.output].cuts.cut_again(cut);
                self.next_output();
            }
            _ => {}
        }
    }

    /// It can't be done.
    fn cannot(&mut self) {
        if self.undoing.take().is_some() {
            return;
        }
        match self.phase {
            Phase::Up { .. } => self.finish(End::FaderAtEnd),
            Phase::LowCut { .. } => {
                self.books[self.output].low_cut = true;
                self.remedy();
            }
            Phase::Cut(change) => {
                self.books[self.output].cuts.decline(&change.main);
                self.finish(End::Declined);
            }
            Phase::Free { .. } => self.finish(End::BandsUsed),
            Phase::GiveBack(_) | Phase::CutAgain(_) => self.next_output(),
            // A fader that does not come down, a microphone that does not open: nothing more can be said here.
            Phase::Down { .. } | Phase::Test { .. } | Phase::Start { .. } | Phase::Leave { .. } => {}
            Phase::Hold { .. } => {}
            _ => self.finish(End::Stopped),
        }
    }

    /// Back to the level where it rang; with the bands spread anew a step less, and no higher than should be quiet.
    fn back(&mut self) {
        if self.about.take().is_some() {
            let limit = Db::new(self.books[self.output].limit().get().floor());
            self.rang_at = limit.min(self.rang_at - Db::new(f64::from(self.plan.numbers.fine)));
        }
        let by = self.rang_at - self.fader;
        if by > Db::ZERO { self.phase = Phase::Back { by } } else { self.hold(Goal::Climb) }
    }

    /// Nothing rang here: higher, or enough.
    fn climb(&mut self) {
        let numbers = self.plan.numbers;
        let books = &mut self.books[self.output];
        books.hold(self.fader);
        let aim = self.plan.target.unwrap_or(numbers.top);
        let left = (aim - self.fader).get();
        if left > 0.0 {
            let by = if self.fine { numbers.fine } else { numbers.coarse };
            self.stepped = by.min(left.ceil() as u8).max(1);
            self.phase = Phase::Up { by: self.stepped };
            return;
        }
        if self.round + 1 < self.plan.outputs[self.output].rounds() {
            self.rang_at = self.fader;
            return self.open_more();
        }
        let end = match self.plan.target {
            None => End::FaderAtEnd,
            Some(_) if books.cuts.cuts().is_empty() => End::NoCutsNeeded,
            Some(_) => End::TargetReached,
        };
        self.finish(end);
    }

    /// More microphones, from further down.
    fn open_more(&mut self) {
        self.round += 1;
        self.books[self.output].open_more();
        let to = (self.rang_at + NEXT_ROUND).min(self.fader);
        self.phase = if to == self.fader { Phase::Open } else { Phase::Start { to } };
    }

    /// The output is over: under the limit, and left there.
    fn finish(&mut self, end: End) {
        self.books[self.output].end = Some(end);
        (self.about, self.ending) = (None, None);
        let to = self.resting_place();
        self.leave_at(to);
    }

    /// Never higher than it stands now.
    fn leave(&mut self) {
        let to = self.resting_place().min(self.fader);
        self.leave_at(to);
    }

    fn leave_at(&mut self, to: Db) {
        self.phase = Phase::Leave { to };
        if to == self.fader {
            self.done();
        }
    }

    /// So far under the limit, and no higher than the show needs.
    fn resting_place(&self) -> Db {
        let limit = self.books[self.output].held.unwrap_or(self.fader - CALM);
        let under = limit - self.plan.give(self.plan.outputs[self.output].output);
        if self.plan.target.is_some() { under.min(Db::ZERO) } else { under }
    }

    fn next_output(&mut self) {
        let books = &mut self.books[self.output];
        books.left_at = Some(self.fader);
        books.end = books.end.or(Some(End::Stopped));
        self.output += 1;
        self.round = 0;
        self.fine = false;
        self.rang = None;
        self.tones.forget();
        self.fader = self.plan.numbers.start;
        self.phase = if self.output < self.plan.outputs.len() { Phase::Prepare } else { Phase::Over };
        self.output = self.output.min(self.plan.outputs.len() - 1);
    }

    fn hold(&mut self, goal: Goal) {
        self.phase = Phase::Hold { since: self.now, goal };
    }

    /// On the channel if its microphone rings alone among several and has an equaliser; else on the output.
    fn place(&self, ring: &Ring) -> Place {
        let plan = &self.plan.outputs[self.output];
        let many = plan.open(self.round) > 1;
        let channel_can = self.plan.channel_equaliser.depth().is_some();
        let output_can = plan.equaliser.depth().is_some();
        if channel_can && ((many && !self.shared) || !output_can || plan.equaliser == Equaliser::Sweep) {
            Place::Channel(ring.channel)
        } else {
            Place::Output(plan.output)
        }
    }

    fn equaliser(&self, place: Place) -> Equaliser {
        match place {
            Place::Channel(_) => self.plan.channel_equaliser,
            Place::Output(_) => self.plan.outputs[self.output].equaliser,
        }
    }

    fn kind(&self, channel: ChannelId) -> Option<SourceKind> {
        self.plan.outputs[self.output].microphones.iter().find(|it| it.channel == channel).map(|it| it.kind)
    }

    fn microphones(&self) -> &[Microphone] {
        &self.plan.outputs[self.output].microphones
    }
}
