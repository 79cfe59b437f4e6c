//! `margin` live: a quiet sweep step by step, with a device or on the simulated stage.
//!
//! Typed lines: `yes`, `no`, `stop`; while it sounds, any line stops it. On a terminal any key does, unseen. Exit codes: 0
//! enough is left, 1 less than wanted, 2 nothing was measured.

use std::io::{self, Write};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

use anyhow::Context;
use crossterm::event::KeyCode;

use super::args::{MarginArgs, OpenedArg};
use super::end::EndRequest;
use super::keys::Keys;
use super::{Exit, notes, out, setup};
use crate::engine::quiet::{
    LivePlace, Opened, Place, QuietAnswer, QuietResult, QuietStep, QuietSweep, QuietWish, StagePlace, TAP, find_output,
    input,
};
use crate::engine::ringout::Output;
use crate::event::Date;
use crate::units::{ChannelId, Db, Dbfs, Hertz};
use crate::view::quiet::{quiet_headline, quiet_lines, quiet_record, quiet_step, quiet_then};
use crate::view::safe_sweep::SWEEP_CAUTIONS;
use crate::view::venue_notes::{known_lines, sweep_notes};
use crate::view::{numbers, sweeps, words};

/// Of the simulated stage.
const MONITORS: usize = 3;
/// A step on the simulated stage.
const STAGE_STEP: Duration = Duration::from_millis(100);

pub fn run(args: &MarginArgs) -> anyhow::Result<Exit> {
    let opened = match args.opened {
        OpenedArg::Return => Opened::AtReturn,
        OpenedArg::Main => Opened::AtMainOut,
    };
    let output = args.loudspeaker.unwrap_or(Output::Mains);
    let usual = QuietWish::usual(opened);
    let wish = QuietWish {
        output,
        most: args.loudest.map_or(usual.most, Dbfs::new),
        channels: args.channels.iter().map(|number| ChannelId::new(number - 1)).collect(),
        main_mix: args.main_mix.map(|number| ChannelId::new(number - 1)),
        return_fader: Db::new(args.at_return.unwrap_or(0.0)),
        faders: args.faders.iter().copied().map(Db::new).collect(),
        ..usual
    };
    let unfit = || anyhow::anyhow!("a channel that is not there can't be measured. `devices` tells how many there are");
    match &args.device {
        Some(device) => {
            let setup = setup::read(args.event.as_deref())?;
            let source = input(device)?;
            let place = LivePlace::new(source, args.output.as_deref().map(find_output).transpose()?);
            let all: Vec<ChannelId> = (0..place.format().channels).map(ChannelId::from_index).collect();
            let microphones: Vec<ChannelId> = setup.microphones().iter().map(|it| it.channel).collect();
            let wish = wish.or_for(if microphones.is_empty() { &all } else { &microphones });
            let notes = notes::of(&setup)?;
            let (exit, result) = follow(QuietSweep::new(place, wish).ok_or_else(unfit)?, &setup.names, args, None)?;
            if let Some(result) = result {
                let first: Vec<Hertz> = result.first_rings().collect();
                if !args.json {
                    known_lines(&notes, output, &first).iter().try_for_each(|line| out::line(line))?;
                }
                let cuts_for = (args.eq.equaliser(), wanted(args));
                let found = sweep_notes(&result, (opened, output), &setup.names, cuts_for, Date::today());
                notes::keep(&setup, &found, args.json)?;
            }
            Ok(exit)
        }
        None => {
            if !args.json {
                out::line(words::SIMULATED)?;
            }
            let place = StagePlace::new(args.seed.unwrap_or(1), MONITORS, output);
            let place = place.with_context(|| {
                format!("the simulated stage has mains and wedge 1 to {MONITORS}. Name one of these")
            })?;
            let (names, wish) = (place.names(), wish.or_for(&place.microphones()));
            let sweep = QuietSweep::new(place, wish).ok_or_else(unfit)?;
            follow(sweep, &names, args, Some(STAGE_STEP)).map(|(exit, _)| exit)
        }
    }
}

/// `pace`: how long a step takes where the sound itself does not take that long.
fn follow<P: Place>(
    mut sweep: QuietSweep<P>,
    names: &[String],
    args: &MarginArgs,
    pace: Option<Duration>,
) -> anyhow::Result<(Exit, Option<Arc<QuietResult>>)> {
    let end = EndRequest::watch()?;
    let mut hands = Hands::new(pace.is_some())?;
    if !args.json {
        SWEEP_CAUTIONS.iter().try_for_each(|caution| hands.line(caution))?;
        hands.line("")?;
        hands.line(hands.help())?;
    }
    let mut shown: Option<String> = None;
    loop {
        let began = Instant::now();
        let step = sweep.step();
        tell(&hands, &sweep, args.json, &mut shown)?;
        if !sweep.go_on() {
            break;
        }
        let told_to_end = end.came().then_some(QuietAnswer::Stop);
        if let Some(answer) = told_to_end.or_else(|| hands.answer(&step)) {
            sweep.answer(answer);
        }
        if let Some(ahead) = pace.and_then(|pace| pace.checked_sub(began.elapsed())) {
            std::thread::sleep(ahead);
        }
    }
    tell(&hands, &sweep, args.json, &mut shown)?;
    drop(hands);
    Ok((results(&sweep, names, args)?, sweep.result().cloned()))
}

/// The step, where it is another.
fn tell<P: Place>(hands: &Hands, sweep: &QuietSweep<P>, json: bool, shown: &mut Option<String>) -> io::Result<()> {
    let step = sweep.step();
    let next = quiet_step(&step, sweep.wish());
    if shown.as_ref() == Some(&next.sentence) {
        return Ok(());
    }
    if json {
        out::json(&quiet_record(sweep.now(), &step, &next))?;
    } else {
        hands.line(&format!("{:>7}    {}", numbers::clock(sweep.now()), next.sentence))?;
        hands.line(&format!("           {}", next.then))?;
    }
    *shown = Some(next.sentence);
    Ok(())
}

fn results<P: Place>(sweep: &QuietSweep<P>, names: &[String], args: &MarginArgs) -> anyhow::Result<Exit> {
    let wanted = wanted(args);
    let Some(result) = sweep.result() else { return Ok(Exit::CannotTell) };
    let equaliser = args.eq.equaliser();
    if args.json {
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
    Ok(match result.least() {
        None => Exit::CannotTell,
        Some(least) if least < wanted => Exit::Findings,
        Some(_) => Exit::Fine,
    })
}

fn wanted(args: &MarginArgs) -> Db {
    Db::new(args.spare.unwrap_or(sweeps::USUAL_SPARE.get()))
}

/// Where answers come from.
struct Hands {
    keys: Keys,
    lines: Option<Receiver<String>>,
    simulated: bool,
    /// A yes that was said before the tap came.
    early: bool,
}

impl Hands {
    fn new(simulated: bool) -> io::Result<Self> {
        let keys = Keys::new();
        let lines = if keys.are_there() { None } else { Some(out::typed_lines()?) };
        Ok(Self { keys, lines, simulated, early: false })
    }

    const fn help(&self) -> &'static str {
        match self.lines {
            None => "Y yes, N no; while it sounds, any key stops it.",
            Some(_) => "Type yes, no or stop; while it sounds, any line stops it.",
        }
    }

    fn line(&self, text: &str) -> io::Result<()> {
        if !self.keys.are_there() {
            return out::line(text);
        }
        let mut out = io::stdout().lock();
        write!(out, "{text}\r\n")?;
        out.flush()
    }

    fn answer(&mut self, step: &QuietStep) -> Option<QuietAnswer> {
        let no_tap = matches!(step, QuietStep::Tap { rise } if *rise < TAP);
        let said = match &self.lines {
            None => key(self.keys.pressed()?, step),
            Some(_) if self.early && !no_tap => QuietAnswer::Yes,
            Some(lines) => match lines.try_recv() {
                Ok(line) => typed(&line, step),
                Err(TryRecvError::Empty) => return None,
                // Nobody is there who could stop it.
                Err(TryRecvError::Disconnected) if self.simulated && (self.early || sounds(step)) => return None,
                Err(TryRecvError::Disconnected) => QuietAnswer::Stop,
            },
        };
        self.early = said == QuietAnswer::Yes && no_tap;
        (!self.early).then_some(said)
    }
}

fn typed(line: &str, step: &QuietStep) -> QuietAnswer {
    match line.trim().to_lowercase().as_str() {
        _ if sounds(step) => QuietAnswer::Stop,
        "yes" | "y" | "done" | "" => QuietAnswer::Yes,
        "no" | "n" => QuietAnswer::No,
        _ => QuietAnswer::Stop,
    }
}

fn key(key: KeyCode, step: &QuietStep) -> QuietAnswer {
    match key {
        _ if sounds(step) => QuietAnswer::Stop,
        KeyCode::Char('y' | 'Y' | ' ') | KeyCode::Enter => QuietAnswer::Yes,
        KeyCode::Char('n' | 'N') => QuietAnswer::No,
        _ => QuietAnswer::Stop,
    }
}

const fn sounds(step: &QuietStep) -> bool {
    matches!(step, QuietStep::Countdown { .. } | QuietStep::Sounding { .. })
}
