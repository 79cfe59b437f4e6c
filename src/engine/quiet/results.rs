//! What both sweeps tell: each microphone's loop at the show's faders, all of them together, the computer's own way.
//!
//! At the return a microphone's loop is its response, louder by the show's fader over the return's (both in the desk's dB);
//! at the main output it is the response over the loopback's. Edge cases: a loopback of another shape measures nothing.

use rayon::prelude::*;

use super::QuietWish;
use crate::coach::sweep::{Measured, Opened};
use crate::engine::sweep::{Loop, Loops, Refusal};
use crate::measure::delay::arrival;
use crate::measure::margin::LoopGain;
use crate::measure::sweep::{Clocks, Inverse, Pair, Sweep, Taken};
use crate::units::{ChannelId, Db, Dbfs, Hertz, SampleRate, Seconds};

/// Loops, channel by channel as they were wished for.
#[derive(Clone, Debug)]
pub struct QuietResult {
    /// Of the louder sweep.
    pub level: Dbfs,
    pub channels: Vec<ChannelId>,
    /// In the same order.
    pub loops: Loops,
    /// What they were computed from, in the same order.
    pub taken: Vec<Result<Taken, Refusal>>,
    /// Of the computer's own output and input, if they were measured.
    pub round_trip: Option<Seconds>,
    /// When the louder sweep came to the reference, if one was wished for.
    pub reference: Option<Result<Seconds, Refusal>>,
}

impl QuietResult {
    pub(super) fn new(measured: &Measured, wish: &QuietWish, loopback: Option<&Loopback>) -> Self {
        let at_main = wish.opened == Opened::AtMainOut;
        let of_channel = |(at, of): (usize, &Result<(Taken, LoopGain), Refusal>)| {
            let (taken, gain) = of.as_ref().map_err(|why| *why)?;
            // The whole loop counts its faders itself.
            let fader = wish.faders.get(at).copied().filter(|_| !at_main).unwrap_or(Db::ZERO);
            let at_return = if at_main { Db::ZERO } else { wish.return_fader };
            Loop::new(taken, gain.clone(), fader, at_return, loopback.map(|loopback| &loopback.gain))
        };
        let loops = Loops::new(measured.channels.par_iter().enumerate().map(of_channel).collect());
        let taken_alone =
            |of: &Result<(Taken, LoopGain), Refusal>| of.as_ref().map(|(taken, _)| taken.clone()).map_err(|why| *why);
        let taken = measured.channels.iter().map(taken_alone).collect();
        let round_trip = loopback.map(|loopback| loopback.round_trip);
        Self { level: measured.level, channels: wish.channels.clone(), loops, taken, round_trip, reference: None }
    }

    /// Channel by channel.
    pub fn each(&self) -> impl Iterator<Item = (ChannelId, &Result<Loop, Refusal>)> {
        self.channels.iter().copied().zip(&self.loops.channels)
    }

    /// The microphone with the least margin.
    pub fn weakest(&self) -> Option<(ChannelId, &Loop)> {
        let found = self.each().filter_map(|(channel, found)| Some((channel, found.as_ref().ok()?)));
        found.min_by(|a, b| a.1.margin.safe.get().total_cmp(&b.1.margin.safe.get()))
    }

    /// Where each microphone that was measured would ring first.
    pub fn first_rings(&self) -> impl Iterator<Item = Hertz> {
        self.loops.channels.iter().flatten().filter_map(|found| Some(found.margin.next.first()?.frequency))
    }

    /// The safe margin of all together, or of the only one.
    pub fn least(&self) -> Option<Db> {
        let alone = || self.weakest().map(|(_, found)| found.margin.safe);
        self.loops.together.as_ref().map(|margin| margin.safe).or_else(alone)
    }
}

/// When the louder of two sweeps came, on the clock that sent.
pub(super) fn came(sent: &[f32], captured: &[f32], rate: SampleRate) -> Result<Seconds, Refusal> {
    let taken = Pair::find(sent, rate).ok_or(Refusal::NotASweep)?.take(captured)?;
    arrival(&taken.response).ok_or(Refusal::NotASweep)
}

/// The computer's output straight into its input.
pub(super) struct Loopback {
    gain: LoopGain,
    round_trip: Seconds,
}

impl Loopback {
    /// What is played for it.
    pub fn signal(rate: SampleRate, level: Dbfs) -> Vec<f32> {
        let silence = vec![0.0; rate.get() as usize];
        let sweep = Sweep::usual(level).map_or(Vec::new(), |sweep| sweep.samples(rate));
        [silence.clone(), sweep, silence].concat()
    }

    pub fn of(captured: &[f32], rate: SampleRate, level: Dbfs) -> Result<Self, Refusal> {
        let taken = Inverse::new(&Self::signal(rate, level), rate)?.take(captured, Clocks::Same)?;
        let round_trip = arrival(&taken.response).ok_or(Refusal::NotASweep)?;
        Ok(Self { gain: LoopGain::new(&taken.response), round_trip })
    }
}
