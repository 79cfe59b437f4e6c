//! `margin` live: a quiet sweep step by step, with a device or on the simulated stage.
//!
//! Exit codes: 0 enough is left, 1 less than wanted, 2 nothing was measured.

use std::sync::Arc;

use anyhow::Context;
use serde_json::Value;

use super::args::{MarginArgs, OpenedArg, SweepArgs};
use super::hands::{Asking, follow};
use super::{Exit, notes, out, setup};
use crate::engine::quiet::{
    LivePlace, Opened, Place, QuietAnswer, QuietResult, QuietStep, QuietSweep, QuietWish, StagePlace, find_output,
    input,
};
use crate::engine::ringout::Output;
use crate::event::{Date, Event};
use crate::units::{ChannelId, Db, Dbfs, Hertz, Seconds};
use crate::view::quiet::{quiet_headline, quiet_lines, quiet_record, quiet_step, quiet_then};
use crate::view::venue_notes::{known_lines, sweep_notes};
use crate::view::{NextStep, sweeps, words};

/// Of the simulated stage.
const MONITORS: usize = 3;

pub fn run(args: &MarginArgs) -> anyhow::Result<Exit> {
    let opened = match args.opened {
        OpenedArg::Return => Opened::AtReturn,
        OpenedArg::Main => Opened::AtMainOut,
    };
    let faders = args.faders.iter().copied().map(Db::new).collect();
    let output = args.loudspeaker.unwrap_or(Output::Mains);
    let wish = QuietWish { faders, output, ..wish(&args.sweep, &args.channels, opened) };
    match &args.sweep.device {
        Some(device) => {
            let setup = setup::read(args.event.as_deref())?;
            let place = place(device, args.sweep.output.as_deref())?;
            let all: Vec<ChannelId> = (0..place.format().channels).map(ChannelId::from_index).collect();
            let microphones: Vec<ChannelId> = setup.microphones().iter().map(|it| it.channel).collect();
            let wish = wish.or_for(if microphones.is_empty() { &all } else { &microphones });
            let notes = notes::of(&setup)?;
            let (exit, result) = measured(QuietSweep::new(place, wish), &setup.names, args, false)?;
            if let Some(result) = result {
                let first: Vec<Hertz> = result.first_rings().collect();
                if !args.sweep.json {
                    known_lines(&notes, output, &first).iter().try_for_each(|line| out::line(line))?;
                }
                let cuts_for = (args.eq.equaliser(), wanted(args));
                let found = sweep_notes(&result, (opened, output), &setup.names, cuts_for, Date::today());
                notes::keep(setup.event.as_ref().map(Event::folder), &found, args.sweep.json)?;
            }
            Ok(exit)
        }
        None => {
            if !args.sweep.json {
                out::line(words::SIMULATED)?;
            }
            let seed = args.sweep.seed.unwrap_or(1);
            let place = StagePlace::new(seed, MONITORS, output).with_context(|| {
                format!("the simulated stage has mains and wedge 1 to {MONITORS}. Name one of these")
            })?;
            let (names, wish) = (place.names(), wish.or_for(&place.microphones()));
            measured(QuietSweep::new(place, wish), &names, args, true).map(|(exit, _)| exit)
        }
    }
}

/// What is asked of a sweep that is made now.
pub fn wish(args: &SweepArgs, channels: &[u16], opened: Opened) -> QuietWish {
    let usual = QuietWish::usual(opened);
    QuietWish {
        most: args.loudest.map_or(usual.most, Dbfs::new),
        channels: channels.iter().map(|number| ChannelId::new(number - 1)).collect(),
        main_mix: args.main_mix.map(|number| ChannelId::new(number - 1)),
        return_fader: Db::new(args.at_return.unwrap_or(0.0)),
        ..usual
    }
}

/// The device that hears, and the output that plays.
pub fn place(device: &str, output: Option<&str>) -> anyhow::Result<impl Place + use<>> {
    let source = input(device)?;
    Ok(LivePlace::new(source, output.map(find_output).transpose()?))
}

/// Of a wish that can't be met.
pub fn unfit() -> anyhow::Error {
    anyhow::anyhow!("a channel that is not there can't be measured. `devices` tells how many there are")
}

impl<P: Place> Asking for QuietSweep<P> {
    fn now(&self) -> Seconds {
        self.now()
    }

    fn asks(&self) -> QuietStep {
        self.step()
    }

    fn next(&self) -> NextStep {
        quiet_step(&self.step(), self.wish())
    }

    fn record(&self) -> Value {
        quiet_record(self.now(), &self.step(), &Asking::next(self))
    }

    fn go_on(&mut self) -> bool {
        self.go_on()
    }

    fn answer(&mut self, answer: QuietAnswer) {
        self.answer(answer);
    }
}

fn measured<P: Place>(
    sweep: Option<QuietSweep<P>>,
    names: &[String],
    args: &MarginArgs,
    simulated: bool,
) -> anyhow::Result<(Exit, Option<Arc<QuietResult>>)> {
    let mut sweep = sweep.ok_or_else(unfit)?;
    follow(&mut sweep, simulated, args.sweep.json)?;
    let wanted = wanted(args);
    let Some(result) = sweep.result() else { return Ok((Exit::CannotTell, None)) };
    let equaliser = args.eq.equaliser();
    if args.sweep.json {
        for (channel, found) in result.each() {
            let number = usize::from(channel.number());
            out::json(&match found {
                Ok(found) => sweeps::margin_record(number, found, wanted, found.cuts(equaliser, wanted).as_ref()),
                Err(why) => sweeps::refused_record("margin", number, *why),
            })?;
        }
        if let Some(together) = &result.loops.together {
            out::json(&sweeps::together_record(together, wanted, result.loops.weakest()))?;
        }
    } else {
        out::line("")?;
        out::line(&format!("{}; {}", quiet_headline(result, wanted), quiet_then(result, wanted)))?;
        quiet_lines(result, wanted, equaliser, names, !args.faders.is_empty())
            .iter()
            .try_for_each(|line| out::line(line))?;
        out::line(words::HEARING)?;
    }
    let exit = match result.least() {
        None => Exit::CannotTell,
        Some(least) if least < wanted => Exit::Findings,
        Some(_) => Exit::Fine,
    };
    Ok((exit, Some(Arc::clone(result))))
}

fn wanted(args: &MarginArgs) -> Db {
    Db::new(args.spare.unwrap_or(sweeps::USUAL_SPARE.get()))
}
