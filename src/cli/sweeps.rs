//! `margin` and `delay` of recordings: what a quiet sweep tells of a loop, and how late a second loudspeaker has to play.
//!
//! Of two recordings of the same moment on: what was sent, and what was captured, a microphone each channel. Edge cases: a
//! capture that is unfit is refused with its reason and ends with 2; a loop without its spare ends with 1.

use std::path::Path;

use super::args::{DelayArgs, MarginArgs, SweepArgs};
use super::{Exit, out, quiet, second};
use crate::engine::quiet::Opened;
use crate::engine::sweep::{self, Apart, Clocks, Refusal, Setup};
use crate::units::Db;
use crate::view::words::HEARING;
use crate::view::{numbers, sweeps};

pub fn margin(args: &MarginArgs) -> anyhow::Result<Exit> {
    if let Some(path) = &args.sweep.sweep_file {
        return write(path, &args.sweep);
    }
    let (Some(sent), Some(captured)) = (&args.sweep.sent, &args.sweep.captured) else { return quiet::run(args) };
    let setup = Setup {
        faders: args.faders.iter().copied().map(Db::new).collect(),
        at_return: Db::new(args.sweep.at_return.unwrap_or(0.0)),
        loopback: args.loopback.clone(),
    };
    let found = sweep::loops(sent, captured, clocks(args.sweep.one_device), &setup)?;
    let wanted = Db::new(args.spare.unwrap_or(sweeps::USUAL_SPARE.get()));
    let mut end = Exit::Fine;
    for (index, channel) in found.channels.iter().enumerate() {
        let number = index + 1;
        end = end.and(match channel {
            Ok(found) => {
                let equaliser = args.eq.equaliser();
                let cuts = found.cuts(equaliser, wanted);
                if args.sweep.json {
                    out::json(&sweeps::margin_record(number, found, wanted, cuts.as_ref()))?;
                } else {
                    lines(&sweeps::margin_lines(
                        &format!("Channel {number}"),
                        found,
                        wanted,
                        cuts.as_ref(),
                        equaliser,
                        !setup.faders.is_empty(),
                    ))?;
                }
                if found.margin.safe < wanted { Exit::Findings } else { Exit::Fine }
            }
            Err(refusal) => refused("margin", number, *refusal, args.sweep.json)?,
        });
    }
    if let Some(together) = &found.together {
        if args.sweep.json {
            out::json(&sweeps::together_record(together, wanted, found.weakest()))?;
        } else {
            lines(&sweeps::together_lines(together, wanted, found.weakest()))?;
        }
    }
    caution(args.sweep.json)?;
    Ok(end)
}

pub fn delay(args: &DelayArgs) -> anyhow::Result<Exit> {
    let (Some(sent), Some(mains), Some(second_one)) = (&args.sent, &args.mains, &args.second) else {
        return second::run(args);
    };
    let found = sweep::delays(sent, mains, second_one, clocks(args.one_device))?;
    let mut end = Exit::Fine;
    for (index, channel) in found.iter().enumerate() {
        let number = index + 1;
        end = end.and(match channel {
            Ok(apart) => told(number, apart, args.json)?,
            Err(refusal) => refused("delay", number, *refusal, args.json)?,
        });
    }
    caution(args.json)?;
    Ok(end)
}

pub fn told(channel: usize, apart: &Apart, json: bool) -> std::io::Result<Exit> {
    if json {
        out::json(&sweeps::delay_record(channel, apart))?;
    } else {
        lines(&sweeps::delay_lines(channel, apart))?;
    }
    Ok(Exit::Fine)
}

/// The sound that `margin`, `seats` and `delay` want as sent.
pub fn write(path: &Path, args: &SweepArgs) -> anyhow::Result<Exit> {
    let peak = quiet::wish(args, &[], Opened::AtReturn).most;
    sweep::write_sweeps(path, peak)?;
    out::line(&format!(
        "Wrote {}: two sweeps, 18 s, peak {}. Turn the player’s volume down before it plays.",
        path.display(),
        numbers::dbfs(peak)
    ))?;
    Ok(Exit::Fine)
}

pub const fn clocks(one_device: bool) -> Clocks {
    if one_device { Clocks::Same } else { Clocks::Unknown }
}

fn refused(what: &str, channel: usize, refusal: Refusal, json: bool) -> std::io::Result<Exit> {
    if json {
        out::json(&sweeps::refused_record(what, channel, refusal))?;
    } else {
        out::line(&format!("Channel {channel}: not measured: {}", sweeps::refused(refusal)))?;
    }
    Ok(Exit::CannotTell)
}

fn lines(all: &[String]) -> std::io::Result<()> {
    all.iter().try_for_each(|line| out::line(line))
}

pub fn caution(json: bool) -> std::io::Result<()> {
    if json { Ok(()) } else { out::line(HEARING) }
}
