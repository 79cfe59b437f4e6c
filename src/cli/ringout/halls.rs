//! Which hall is rung out: the simulated one, or the one behind a device.

use std::io::{self, IsTerminal};

use super::live::{self, Pace, Telling};
use crate::cli::Exit;
use crate::cli::args::RingoutArgs;
use crate::cli::out::typed_lines;
use crate::cli::{notes, setup};
use crate::engine::hall::{Hall, LiveHall, StageHall};
use crate::engine::ringout::{Ended, Microphone, Output, RingOutDesk, RingOutPlan};
use crate::event::{Date, Event, VenueNotes};
use crate::units::{ChannelId, SourceKind};
use crate::view::venue_notes::ring_out_notes;

pub fn run(args: &RingoutArgs) -> anyhow::Result<Exit> {
    match &args.device {
        Some(device) => in_the_hall(args, device),
        None => on_the_stage(args),
    }
}

fn on_the_stage(args: &RingoutArgs) -> anyhow::Result<Exit> {
    const MONITORS: usize = 3;
    let Some(hall) = StageHall::new(args.seed.unwrap_or(1), MONITORS) else { return Ok(Exit::CannotTell) };
    let plan = args.desk.plan(&hall.microphones(), &VenueNotes::default(), false)?;
    let missing =
        plan.outputs.iter().find(|it| matches!(it.output, Output::Wedge(number) if usize::from(number) > MONITORS));
    anyhow::ensure!(
        missing.is_none(),
        "the simulated stage has mains and wedge1 to wedge{MONITORS}. Name one of these"
    );
    let names = hall.names();
    if !args.json {
        println!(
            "Simulated stage: no device is used. Your hall: beforedoors devices, then beforedoors ringout --device NAME\n"
        );
    }
    ring_out(hall, plan, &names, args.json).map(|(exit, _)| exit)
}

fn in_the_hall(args: &RingoutArgs, device: &str) -> anyhow::Result<Exit> {
    let setup = setup::read(args.event.as_deref())?;
    let hall = LiveHall::open(device)?;
    let microphone = |channel| Microphone { channel: ChannelId::from_index(channel), kind: SourceKind::Other };
    let mut microphones = setup.microphones();
    microphones.retain(|it| it.channel.index() < hall.channels());
    if setup.event.is_none() {
        microphones = (0..hall.channels()).map(microphone).collect();
    }
    let plan = args.desk.plan(&microphones, &notes::of(&setup)?, true)?;
    let name = |number: usize| match setup.name(ChannelId::from_index(number - 1)) {
        "" => format!("channel {number}"),
        name => name.to_owned(),
    };
    let names: Vec<String> = (1..=hall.channels()).map(name).collect();
    let (exit, ended) = ring_out(hall, plan, &names, args.json)?;
    notes::keep(setup.event.as_ref().map(Event::folder), &ring_out_notes(&ended, Date::today()), args.json)?;
    Ok(exit)
}

fn ring_out(hall: impl Hall, plan: RingOutPlan, names: &[String], json: bool) -> anyhow::Result<(Exit, Vec<Ended>)> {
    let pace = if plan.live || io::stdin().is_terminal() { Pace::RealTime } else { Pace::ByTurns };
    let mut desk = RingOutDesk::new(hall, plan, names.len());
    let exit = live::run(&mut desk, &typed_lines()?, &mut io::stdout().lock(), Telling { names, json, pace })?;
    match desk.hall().lost() {
        Some(error) => Err(anyhow::anyhow!(error)),
        None => Ok((exit, desk.ended())),
    }
}
