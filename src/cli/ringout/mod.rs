//! `ringout`: what rings, and what to do about it.

mod files;

use super::Exit;
use super::args::RingoutArgs;

pub fn run(args: &RingoutArgs) -> anyhow::Result<Exit> {
    files::run(args)
}
