//! `delay` live: the mains alone, then the second loudspeaker alone, with a device or on the simulated stage.
//!
//! Exit codes: 0 told, 2 nothing was measured.

use anyhow::Context;
use serde_json::Value;

use super::args::DelayArgs;
use super::hands::{Asking, follow};
use super::{Exit, out, quiet, sweeps};
use crate::engine::hall::StageHall;
use crate::engine::quiet::{Alone, Opened, Place, QuietAnswer, QuietStep, QuietWish, StagePlace};
use crate::engine::second::{RoundStep, SecondWalk};
use crate::units::{ChannelId, Dbfs, Seconds};
use crate::view::second::{no_delay, no_delay_record, second_step, second_step_record};
use crate::view::{NextStep, words};

pub fn run(args: &DelayArgs) -> anyhow::Result<Exit> {
    let usual = QuietWish::usual(Opened::AtReturn);
    let channel = |number: u16| ChannelId::new(number - 1);
    let wish = QuietWish {
        most: args.loudest.map_or(usual.most, Dbfs::new),
        channels: args.channels.iter().copied().map(channel).collect(),
        reference: args.reference.map(channel),
        ..usual
    };
    if let Some(device) = &args.device {
        return measured(SecondWalk::new(quiet::place(device, args.output.as_deref())?, wish), args);
    }
    if !args.json {
        out::line(words::SIMULATED)?;
    }
    let seed = args.seed.unwrap_or(1);
    let last = StageHall::seats(seed).into_iter().map(|(_, at)| at).rfind(|at| at.0 == 0.0);
    let place = StagePlace::with_second(seed, last.into_iter().collect(), Alone::Mains).context("no such hall")?;
    let wish = wish.or_for(&place.measuring());
    measured(SecondWalk::new(place, wish), args)
}

fn measured<P: Place>(walk: Option<SecondWalk<P>>, args: &DelayArgs) -> anyhow::Result<Exit> {
    let mut walk = walk.ok_or_else(quiet::unfit)?;
    follow(&mut walk, args.stage, args.json)?;
    let Some(found) = walk.found() else { return Ok(Exit::CannotTell) };
    let mut end = Exit::Fine;
    for (channel, apart) in found {
        let number = usize::from(channel.number());
        end = end.and(match apart {
            Ok(apart) => sweeps::told(number, &apart, args.json)?,
            Err(why) => {
                let reason = no_delay(why, walk.wish());
                if args.json {
                    out::json(&no_delay_record(number, why, &reason))?;
                } else {
                    out::line(&format!("Channel {number}: not measured: {reason}"))?;
                }
                Exit::CannotTell
            }
        });
    }
    sweeps::caution(args.json)?;
    Ok(end)
}

impl<P: Place> Asking for SecondWalk<P> {
    fn now(&self) -> Seconds {
        self.now()
    }

    fn asks(&self) -> QuietStep {
        match self.step() {
            RoundStep::Sweep(step) => step,
            RoundStep::Prepare | RoundStep::Again(_) | RoundStep::Done => QuietStep::Cautions,
        }
    }

    fn next(&self) -> NextStep {
        second_step(&self.step(), self.alone(), self.wish())
    }

    fn record(&self) -> Value {
        second_step_record(self.now(), &self.step(), self.alone(), self.wish())
    }

    fn go_on(&mut self) -> bool {
        self.go_on()
    }

    fn answer(&mut self, answer: QuietAnswer) {
        self.answer(answer);
    }
}
