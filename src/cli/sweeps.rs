//! `margin` of recordings: what a quiet sweep tells of a loop.
//!
//! Of two recordings of the same moment on: what was sent, and what was captured, a microphone each channel. Edge cases: a
//! capture that is unfit is refused with its reason and ends with 2; a loop without its spare ends with 1.

use super::args::MarginArgs;
use super::{Exit, out, quiet};
use crate::engine::sweep::{self, Clocks, Refusal, Setup};
use crate::units::Db;
use crate::view::sweeps;
use crate::view::words::HEARING;

pub fn margin(args: &MarginArgs) -> anyhow::Result<Exit> {
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
            Err(refusal) => refused(number, *refusal, args.sweep.json)?,
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

pub const fn clocks(one_device: bool) -> Clocks {
    if one_device { Clocks::Same } else { Clocks::Unknown }
}

fn refused(channel: usize, refusal: Refusal, json: bool) -> std::io::Result<Exit> {
    if json {
        out::json(&sweeps::refused_record("margin", channel, refusal))?;
    } else {
        out::line(&format!("Channel {channel}: not measured: {}", sweeps::refused(refusal)))?;
    }
    Ok(Exit::CannotTell)
}

fn lines(all: &[String]) -> std::io::Result<()> {
    all.iter().try_for_each(|line| out::line(line))
}

fn caution(json: bool) -> std::io::Result<()> {
    if json { Ok(()) } else { out::line(HEARING) }
}
