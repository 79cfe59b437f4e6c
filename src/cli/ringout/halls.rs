//! Which hall is rung out: the simulated one, or the one behind a device.

use std::io::{self, BufRead, IsTerminal};
use std::sync::mpsc::{self, Receiver};

use super::live::{self, Pace, Telling};
use crate::cli::Exit;
use crate::cli::args::RingoutArgs;
use crate::engine::hall::{Hall, LiveHall, StageHall};
use crate::engine::ringout::{Microphone, Output, RingOutDesk, RingOutPlan};
use crate::units::{ChannelId, SourceKind};

pub fn run(args: &RingoutArgs) -> anyhow::Result<Exit> {
    match &args.device {
        Some(device) => in_the_hall(args, device),
        None => on_the_stage(args),
    }
}

fn on_the_stage(args: &RingoutArgs) -> anyhow::Result<Exit> {
    const MONITORS: usize = 3;
    let Some(hall) = StageHall::new(args.seed.unwrap_or(1), MONITORS) else { return Ok(Exit::CannotTell) };
    let plan = args.desk.plan(&hall.microphones(), false)?;
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
    ring_out(hall, plan, &names, args.json)
}

fn in_the_hall(args: &RingoutArgs, device: &str) -> anyhow::Result<Exit> {
    let hall = LiveHall::open(device)?;
    let microphone = |channel| Microphone { channel: ChannelId::from_index(channel), kind: SourceKind::Other };
    let microphones: Vec<Microphone> = (0..hall.channels()).map(microphone).collect();
    let plan = args.desk.plan(&microphones, true)?;
    let names: Vec<String> = (1..=hall.channels()).map(|number| format!("channel {number}")).collect();
    ring_out(hall, plan, &names, args.json)
}

fn ring_out(hall: impl Hall, plan: RingOutPlan, names: &[String], json: bool) -> anyhow::Result<Exit> {
    let pace = if plan.live || io::stdin().is_terminal() { Pace::RealTime } else { Pace::ByTurns };
    let mut desk = RingOutDesk::new(hall, plan, names.len());
    let exit = live::run(&mut desk, &typed_lines()?, &mut io::stdout().lock(), Telling { names, json, pace })?;
    match desk.hall().lost() {
        Some(error) => Err(anyhow::anyhow!(error)),
        None => Ok(exit),
    }
}

/// What is typed, as it comes.
fn typed_lines() -> io::Result<Receiver<String>> {
    let (send, lines) = mpsc::channel();
    std::thread::Builder::new().name("typed".into()).spawn(move || {
        for line in io::stdin().lock().lines() {
            if line.is_err() || line.is_ok_and(|line| send.send(line).is_err()) {
                break;
            }
        }
    })?;
    Ok(lines)
}
