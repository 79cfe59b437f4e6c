//! Seat after seat: the measuring microphone is put there, a quiet sweep is made, what that place hears is kept.
//!
//! In: a [`Place`], the seats in the order in which they are measured, what the person says. Each seat, or as many at once
//! as there are microphones, has a sweep of its own, with cautions, tap and countdown (`engine::quiet`); nothing repeats by
//! itself. After a refusal the person chooses: the same seat again, or the next. A stop, and a device that goes, end it; what
//! was found until then stays. Edge cases: fewer seats than microphones leave the last ones out.

use super::quiet::{NoSweep, Place, QuietAnswer, QuietSweep, QuietWish};
pub use super::rounds::RoundStep;
use super::rounds::{Answered, Heard, Rounds};
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

pub struct SeatWalk<P> {
    rounds: Rounds<P>,
    talk: Talk,
    found: Vec<SeatFound>,
    /// So many seats at once.
    microphones: usize,
    /// The first seat of this round.
    at: usize,
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
        let mut walk = Self { rounds: Rounds::new(sweep), talk, found, microphones, at: 0 };
        walk.rounds.next(walk.left());
        Some(walk)
    }

    pub fn step(&self) -> RoundStep {
        self.rounds.step()
    }

    /// By the audio clock.
    pub fn now(&self) -> Seconds {
        self.rounds.sweep.now()
    }

    pub const fn sweep(&self) -> &QuietSweep<P> {
        &self.rounds.sweep
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
        match self.rounds.go_on() {
            Heard::Nothing => {}
            Heard::Measured => {
                self.keep();
                self.go_to_the_next();
            }
            Heard::Refused(why) => {
                let next = self.next();
                self.found[self.at..next].iter_mut().for_each(|seat| seat.heard = Some(Err(why)));
                self.rounds.again(why, self.left());
            }
            Heard::Over => return false,
        }
        !self.rounds.is_done()
    }

    pub fn answer(&mut self, answer: QuietAnswer) {
        match self.rounds.answer(answer) {
            Answered::Nothing => {}
            Answered::Begun => {
                let put: Vec<_> = self.round().iter().filter_map(|seat| Some((seat.channel, seat.seat.at?))).collect();
                put.into_iter().for_each(|(channel, at)| self.rounds.sweep.place_mut().ask_to_put(channel, at));
            }
            Answered::Next => self.go_to_the_next(),
        }
    }

    /// The first seat of the next round.
    fn next(&self) -> usize {
        (self.at + self.rounds.sweep.wish().channels.len()).min(self.found.len())
    }

    fn left(&self) -> usize {
        self.found.len() - self.at
    }

    fn go_to_the_next(&mut self) {
        self.at = self.next();
        if self.at == self.found.len() {
            self.rounds.end();
        } else {
            self.rounds.next(self.left());
        }
    }

    fn keep(&mut self) {
        let Some(result) = self.rounds.sweep.result().cloned() else { return };
        for ((channel, taken), seat) in result.taken.iter().enumerate().zip(&mut self.found[self.at..]) {
            let heard = taken.as_ref().map_err(|why| *why).and_then(|taken| Seat::new(taken, &self.talk));
            seat.heard = Some(heard.map_err(|why| NoSweep::Unfit { channel, why }));
        }
    }
}
