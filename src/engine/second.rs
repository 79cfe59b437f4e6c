//! How late a second loudspeaker has to play, measured now: the mains alone, then the second one alone, the microphones where
//! they are.
//!
//! In: a [`Place`], its measuring microphones, a reference that brings the sweep the same whichever loudspeaker plays (the
//! return's own tap, the main mix, or the computer's output straight into an input): two sounds have no common beginning,
//! each is counted from its reference. On the simulated stage what is played and what is heard begin together. Out:
//! [`Apart`] for each microphone. Edge cases: a round that was left out leaves nothing to tell.

use super::quiet::{Alone, NoSweep, Place, QuietAnswer, QuietResult, QuietSweep, QuietWish};
pub use super::rounds::RoundStep;
use super::rounds::{Answered, Heard, Rounds};
use super::sweep::Refusal;
use crate::measure::delay::{Apart, arrival};
use crate::units::{ChannelId, Seconds};

/// When each microphone heard it.
type Arrivals = Vec<Result<Seconds, NoSweep>>;

pub struct SecondWalk<P> {
    rounds: Rounds<P>,
    channels: Vec<ChannelId>,
    mains: Option<Arrivals>,
    second: Option<Arrivals>,
}

impl<P: Place> SecondWalk<P> {
    /// `None`: a wish that can't be met there.
    pub fn new(place: P, wish: QuietWish) -> Option<Self> {
        let channels = wish.channels.clone();
        let sweep = QuietSweep::new(place, wish)?;
        Some(Self { rounds: Rounds::new(sweep), channels, mains: None, second: None })
    }

    pub fn step(&self) -> RoundStep {
        self.rounds.step()
    }

    /// Whose round it is.
    pub fn alone(&self) -> Alone {
        if self.mains.is_none() { Alone::Mains } else { Alone::Second }
    }

    /// By the audio clock.
    pub fn now(&self) -> Seconds {
        self.rounds.sweep.now()
    }

    pub fn wish(&self) -> &QuietWish {
        self.rounds.sweep.wish()
    }

    /// Hears a little more; `false`: it is over.
    pub fn go_on(&mut self) -> bool {
        match self.rounds.go_on() {
            Heard::Nothing => {}
            Heard::Measured => match self.rounds.sweep.result().map(|result| arrivals(result)) {
                // The reference counts behind the microphones.
                Some(Err(why)) => self.again(NoSweep::Unfit { channel: self.channels.len(), why }),
                arrivals => self.keep(arrivals.and_then(Result::ok)),
            },
            Heard::Refused(why) => self.again(why),
            Heard::Over => return false,
        }
        !self.rounds.is_done()
    }

    fn again(&mut self, why: NoSweep) {
        self.rounds.again(why, self.channels.len());
    }

    fn keep(&mut self, arrivals: Option<Arrivals>) {
        if self.mains.is_none() {
            self.mains = arrivals;
            self.rounds.next(self.channels.len());
        } else {
            self.second = arrivals;
            self.rounds.end();
        }
    }

    pub fn answer(&mut self, answer: QuietAnswer) {
        match self.rounds.answer(answer) {
            Answered::Nothing => {}
            Answered::Begun => {
                let alone = self.alone();
                self.rounds.sweep.place_mut().ask_for_alone(alone);
            }
            // Without one of them there is nothing to tell.
            Answered::Next => self.rounds.end(),
        }
    }

    /// Microphone by microphone, once both were measured.
    pub fn found(&self) -> Option<Vec<(ChannelId, Result<Apart, NoSweep>)>> {
        let (mains, second) = (self.mains.as_ref()?, self.second.as_ref()?);
        let apart = |(mains, second): (&Result<Seconds, _>, &Result<Seconds, _>)| Ok(Apart::of((*mains)?, (*second)?));
        Some(self.channels.iter().copied().zip(mains.iter().zip(second).map(apart)).collect())
    }
}

/// Counted from the reference; refused where that is unfit.
fn arrivals(result: &QuietResult) -> Result<Arrivals, Refusal> {
    let begin = result.reference.unwrap_or(Ok(Seconds::ZERO))?;
    let silent = NoSweep::NotConnected { level: result.level };
    let each = result.taken.iter().enumerate().map(|(channel, taken)| {
        let taken = taken.as_ref().map_err(|why| NoSweep::Unfit { channel, why: *why })?;
        Ok(arrival(&taken.response).ok_or(silent)? - begin)
    });
    Ok(each.collect())
}
