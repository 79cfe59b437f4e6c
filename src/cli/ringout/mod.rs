//! `ringout`: what rings in recordings, or the ring-out of a hall, step by step, with what is typed.

mod choice;
mod commands;
mod files;
mod halls;
pub mod live;

pub use choice::{DeskArgs, EqArg, loudspeaker};

use super::Exit;
use super::args::RingoutArgs;

pub fn run(args: &RingoutArgs) -> anyhow::Result<Exit> {
    if args.paths.is_empty() { halls::run(args) } else { files::run(args) }
}
