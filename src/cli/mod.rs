//! The terminal face: the same words as every other face, on a screen, as plain lines, or as JSON Lines.
//!
//! Exit codes: 0 nothing wrong, 1 findings, 2 cannot tell (nothing was heard, or not enough), 3 bad input. Of several
//! files bad input counts first, then findings, then what could not be told.

mod args;
mod carry;
mod compare;
mod desk;
mod devices;
mod end;
mod evening;
mod hands;
mod keys;
mod linecheck;
mod lines;
mod notes;
mod out;
mod plan;
mod quiet;
mod ready;
mod recordings;
pub mod ringout;
mod screen;
mod seats;
mod second;
mod setup;
mod show;
mod soundcheck;
mod sweeps;

use std::process::ExitCode;

use clap::{CommandFactory, Parser};

use crate::view::Setup;
use args::{Args, Command, SoundcheckArgs};

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    Fine = 0,
    Findings = 1,
    CannotTell = 2,
    BadInput = 3,
}

impl Exit {
    /// Of two: bad input before findings, findings before what could not be told.
    const fn and(self, other: Self) -> Self {
        if other.rank() > self.rank() { other } else { self }
    }

    const fn rank(self) -> u8 {
        match self {
            Self::Fine => 0,
            Self::CannotTell => 1,
            Self::Findings => 2,
            Self::BadInput => 3,
        }
    }
}

/// Opens the window on what an event tells; an error says why there is none.
pub type Window = fn(Setup, Printer, TakesPrinter) -> anyhow::Result<()>;

pub use plan::Printer;
pub use recordings::TakesPrinter;

/// Runs the program.
pub fn main(window: Window, printer: Printer, takes_printer: TakesPrinter) -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            let asked_for = !error.use_stderr();
            let _ = error.print();
            return ExitCode::from(if asked_for { Exit::Fine } else { Exit::BadInput } as u8);
        }
    };
    let result = match args.command {
        None => windowed(window, printer, takes_printer),
        Some(Command::Soundcheck(args)) => soundcheck::run(&args),
        Some(Command::Linecheck(args)) => linecheck::run(&args),
        Some(Command::Recordings(args)) => recordings::run(&args, takes_printer),
        Some(Command::Ringout(args)) => ringout::run(&args),
        Some(Command::Show(args)) => show::run(&args),
        Some(Command::Margin(args)) => sweeps::margin(&args),
        Some(Command::Seats(args)) => seats::run(&args),
        Some(Command::Delay(args)) => sweeps::delay(&args),
        Some(Command::Notes(args)) => notes::run(&args),
        Some(Command::Plan(args)) => plan::run(&args.what, printer),
        Some(Command::Carry { folder }) => carry::run(&folder),
        Some(Command::Devices(args)) => devices::run(&args),
        Some(Command::Completions { shell }) => {
            // Into memory first: the generator does not forgive a closed pipe.
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Args::command(), "beforedoors", &mut script);
            out::line(&String::from_utf8_lossy(&script)).map(|()| Exit::Fine).map_err(Into::into)
        }
    };
    match result {
        Ok(exit) => ExitCode::from(exit as u8),
        Err(error) if is_broken_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            out::note(&format!("beforedoors: {error:#}"));
            ExitCode::from(Exit::BadInput as u8)
        }
    }
}

/// The window; without one the soundcheck in the terminal, and why.
fn windowed(window: Window, printer: Printer, takes_printer: TakesPrinter) -> anyhow::Result<Exit> {
    match window(setup::last()?, printer, takes_printer) {
        Ok(()) => Ok(Exit::Fine),
        Err(why) => {
            out::note(&format!("No window: {why:#}. Going on in the terminal."));
            soundcheck::run(&SoundcheckArgs::default())
        }
    }
}

/// Whoever read our lines has had enough.
fn is_broken_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause.downcast_ref::<std::io::Error>().is_some_and(|io| io.kind() == std::io::ErrorKind::BrokenPipe)
    })
}
