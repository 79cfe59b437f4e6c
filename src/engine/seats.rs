//! Seat after seat: the measuring microphone is put there, a quiet sweep is made, what that place hears is kept.
//!
//! In: a [`Place`], the seats in the order in which they are measured, what the person says. Each seat, or as many at once
//! as there are microphones, has a sweep of its own, with cautions, tap and countdown (`engine::quiet`); nothing repeats by
//! itself. After a refusal the person chooses: the same seat again, or the next. A stop, and a device that goes, end it; what
//! was found until then stays. Edge cases: fewer seats than microphones leave the last ones out.

use super::quiet::{NoSweep, Place, QuietAnswer, QuietStep, QuietSweep, QuietWish};
use super::seat::{Seat, Talk};
use crate::units::{ChannelId, Seconds};

/// A seat that is to be measured.
#[derive(Clone, Debug, PartialEq)]
pub struct SeatWish {
    pub name: String,
    /// x to the audience's right of the middle of the stage's edge, y away from the audience; metres.
    pub at: Option<(f64, f64)>,
}

/// What became of it.
#[derive(Clone, Debug)]
pub struct SeatFound {
    pub seat: SeatWish,
    pub channel: ChannelId,
    /// `None`: not measured.
    pub heard: Option<Result<Seat, NoSweep>>,
}

/// How things stand.
#[derive(Clone, Debug, PartialEq)]
pub enum SeatStep {
    /// The microphones are to be put to these seats.
    Put,
    Sweep(QuietStep),
    /// Nothing was measured at these seats: the same again, or the next.
    Again(NoSweep),
    /// All that was wanted has been asked for.
    Done,
}

pub struct SeatWalk<P> {
    sweep: QuietSweep<P>,
    talk: Talk,
    found: Vec<SeatFound>,
    /// So many seats at once.
    microphones: usize,
    /// The first seat of this round.
    at: usize,
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum State {
    Put,
    Sweeping,
    Again(NoSweep),
    Done,
}

impl<P: Place> SeatWalk<P> {
    /// `None`: no seat, or a wish that can't be met there.
    pub fn new(place: P, wish: QuietWish, seats: Vec<SeatWish>, talk: Talk) -> Option<Self> {
        let talk = Talk { at_return: wish.return_fader, ..talk };
        let microphones = wish.channels.len();
        let channels = wish.channels.clone().into_iter().cycle();
        let found: Vec<SeatFound> =
            seats.into_iter().zip(channels).map(|(seat, channel)| SeatFound { seat, channel, heard: None }).collect();
        let sweep = QuietSweep::new(place, wish).filter(|_| !found.is_empty())?;
        let mut walk = Self { sweep, talk, found, microphones, at: 0, state: State::Put };
        walk.arm(State::Put);
        Some(walk)
    }

    pub fn step(&self) -> SeatStep {
        match self.state {
            State::Put => SeatStep::Put,
            State::Sweeping => SeatStep::Sweep(self.sweep.step()),
            State::Again(why) => SeatStep::Again(why),
            State::Done => SeatStep::Done,
        }
    }

    /// By the audio clock.
    pub fn now(&self) -> Seconds {
        self.sweep.now()
    }

    pub const fn sweep(&self) -> &QuietSweep<P> {
        &self.sweep
    }

    /// The seats at which microphones stand now, or are to stand.
    pub fn round(&self) -> &[SeatFound] {
        &self.found[self.at..self.next()]
    }

    /// The names of those that are measured together with this one.
    pub fn measured_with(&self, seat: usize) -> Vec<String> {
        let first = seat / self.microphones * self.microphones;
        self.found[first..].iter().take(self.microphones).map(|found| found.seat.name.clone()).collect()
    }

    /// Every seat, in the order in which they were wished for.
    pub fn found(&self) -> &[SeatFound] {
        &self.found
    }

    /// Hears a little more; `false`: it is over.
    pub fn go_on(&mut self) -> bool {
        if self.sweep.go_on() {
            return self.state != State::Done;
        }
        match self.sweep.step() {
            QuietStep::Done => {
                self.keep();
                self.go_to_the_next();
            }
            QuietStep::Refused(NoSweep::Stopped) => return false,
            QuietStep::Refused(why) => {
                self.refuse(why);
                self.arm(State::Again(why));
            }
            _ => return false,
        }
        self.state != State::Done
    }

    pub fn answer(&mut self, answer: QuietAnswer) {
        match (self.state, answer) {
            (State::Sweeping, _) | (State::Put | State::Again(_), QuietAnswer::Stop) => {
                self.state = State::Sweeping;
                self.sweep.answer(answer);
            }
            (State::Put, QuietAnswer::Yes) => {
                let put: Vec<_> = self.round().iter().filter_map(|seat| Some((seat.channel, seat.seat.at?))).collect();
                put.into_iter().for_each(|(channel, at)| self.sweep.place_mut().ask_to_put(channel, at));
                self.state = State::Sweeping;
            }
            (State::Again(_), QuietAnswer::Yes) => self.state = State::Sweeping,
            (State::Put | State::Again(_), QuietAnswer::No) => self.go_to_the_next(),
            (State::Done, _) => {}
        }
    }

    /// The first seat of the next round.
    fn next(&self) -> usize {
        (self.at + self.sweep.wish().channels.len()).min(self.found.len())
    }

    fn go_to_the_next(&mut self) {
        self.at = self.next();
        if self.at == self.found.len() {
            self.state = State::Done;
        } else {
            self.arm(State::Put);
        }
    }

    fn arm(&mut self, state: State) {
        self.sweep.begin_anew(self.found.len() - self.at);
        self.state = state;
    }

    fn keep(&mut self) {
        let Some(result) = self.sweep.result().cloned() else { return };
        for ((channel, taken), seat) in result.taken.iter().enumerate().zip(&mut self.found[self.at..]) {
            let heard = taken.as_ref().map_err(|why| *why).and_then(|taken| Seat::new(taken, &self.talk));
            seat.heard = Some(heard.map_err(|why| NoSweep::Unfit { channel, why }));
        }
    }

    fn refuse(&mut self, why: NoSweep) {
        let next = self.next();
        self.found[self.at..next].iter_mut().for_each(|seat| seat.heard = Some(Err(why)));
    }
}
