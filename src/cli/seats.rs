//! `seats`: what places in the hall hear, from two recordings, with a device, or on the simulated stage.
//!
//! Of recordings each captured channel is a seat's microphone; measured now, the microphones go from seat to seat. Exit
//! codes: 0 words arrive well everywhere, 1 a seat hears badly, 2 one was not measured.

use serde_json::Value;

use super::args::SeatsArgs;
use super::hands::{Asking, follow};
use super::{Exit, notes, out, quiet, sweeps};
use crate::engine::hall::StageHall;
use crate::engine::quiet::{Opened, Place, QuietAnswer, QuietStep, QuietWish, StagePlace};
use crate::engine::seat::{Calibration, Seat, Talk, USUAL_SPEECH};
use crate::engine::seats::{RoundStep, SeatWalk, SeatWish};
use crate::engine::sweep;
use crate::event::{Date, rig};
use crate::units::{ChannelId, Db, Dbfs, Seconds};
use crate::view::seats::{
    fix, no_seat, no_seat_record, seat_lines, seat_record, seat_step, seat_step_record, talk_words,
};
use crate::view::venue_notes::seat_notes;
use crate::view::{NextStep, sweeps::refused, sweeps::refused_record, words};

pub fn run(args: &SeatsArgs) -> anyhow::Result<Exit> {
    if let Some(path) = &args.sweep.sweep_file {
        return sweeps::write(path, &args.sweep);
    }
    let from_event = FromEvent::read(args)?;
    let talk = Talk {
        level: args.speech.map_or(USUAL_SPEECH, Dbfs::new),
        at_return: Db::new(args.sweep.at_return.unwrap_or(0.0)),
        over_noise: args.over_noise.map(Db::new),
        calibration: from_event.calibration,
    };
    if let (Some(sent), Some(captured)) = (&args.sweep.sent, &args.sweep.captured) {
        let found = sweep::seats(sent, captured, sweeps::clocks(args.sweep.one_device), &talk)?;
        return files(&found, args, &talk);
    }
    match &args.sweep.device {
        Some(device) => {
            let seats = from_event.wished(&args.seats)?;
            let place = quiet::place(device, args.sweep.output.as_deref())?;
            let all = place.format().channels;
            if args.channels.is_empty() && all > 1 {
                anyhow::bail!("{device} has {all} channels. Say which is the measuring microphone’s: --channels 5");
            }
            let wish = quiet::wish(&args.sweep, &args.channels, Opened::AtReturn).or_for(&[ChannelId::new(0)]);
            walk(place, wish, seats, args, &talk)
        }
        None => {
            let seed = args.sweep.seed.unwrap_or(1);
            let there: Vec<SeatWish> =
                StageHall::seats(seed).into_iter().map(|(name, at)| SeatWish { name, at: Some(at) }).collect();
            let seats = on_the_stage(&there, &args.seats)?;
            if !args.sweep.json {
                out::line(words::SIMULATED)?;
            }
            let microphones = args.channels.len().max(1);
            let at = seats.iter().chain(&there).filter_map(|seat| seat.at).take(microphones).collect();
            let Some(place) = StagePlace::in_seats(seed, at) else { return Ok(Exit::CannotTell) };
            let own = place.measuring();
            let wish = quiet::wish(&args.sweep, &args.channels, Opened::AtReturn).or_for(&own);
            if let Some(other) = wish.channels.iter().find(|channel| !own.contains(channel)) {
                let own: Vec<String> = own.iter().map(|channel| channel.number().to_string()).collect();
                anyhow::bail!(
                    "channel {} of the stage is no measuring microphone. They come in from {} on: --channels {}",
                    other.number(),
                    own[0],
                    own.join(",")
                );
            }
            walk(place, wish, seats, args, &talk)
        }
    }
}

/// What the event tells of its hall.
#[derive(Default)]
struct FromEvent {
    seats: Vec<SeatWish>,
    calibration: Option<Calibration>,
}

impl FromEvent {
    fn read(args: &SeatsArgs) -> anyhow::Result<Self> {
        let Some(folder) = &args.event else { return Ok(Self::default()) };
        let (event, rig, warnings) = rig::open(folder)?;
        warnings.iter().for_each(|warning| out::note(&warning.to_string()));
        let calibration = event.settings.sound.calibration;
        if args.compared && calibration.is_none() {
            anyhow::bail!(
                "no microphone was compared with a meter in this event. Compare it in a show (--room-mic, --compare), or leave --compared out"
            );
        }
        let seats = rig.venue.map_or_else(Vec::new, |venue| venue.seats);
        let seats = seats.into_iter().map(|seat| SeatWish { name: seat.name, at: Some((seat.place.x, seat.place.y)) });
        Ok(Self { seats: seats.collect(), calibration: calibration.filter(|_| args.compared) })
    }

    /// The named ones, with their places where the hall tells them; else all of the hall.
    fn wished(&self, names: &[String]) -> anyhow::Result<Vec<SeatWish>> {
        if names.is_empty() && self.seats.is_empty() {
            anyhow::bail!(
                "no seat is named. Name each with --seat \"row 12\", or put [[seat]] into the venue.toml of an event and name it with --event"
            );
        }
        Ok(named(&self.seats, names))
    }
}

fn named(there: &[SeatWish], names: &[String]) -> Vec<SeatWish> {
    if names.is_empty() {
        return there.to_vec();
    }
    let known = |name: &String| there.iter().find(|seat| seat.name.eq_ignore_ascii_case(name)).cloned();
    names.iter().map(|name| known(name).unwrap_or_else(|| SeatWish { name: name.clone(), at: None })).collect()
}

/// Seats that the simulated hall has.
fn on_the_stage(there: &[SeatWish], names: &[String]) -> anyhow::Result<Vec<SeatWish>> {
    let seats = named(there, names);
    if let Some(stranger) = seats.iter().find(|seat| seat.at.is_none()) {
        let all: Vec<String> = there.iter().map(|seat| format!("\"{}\"", seat.name)).collect();
        anyhow::bail!("the simulated hall has no seat “{}”. It has: {}", stranger.name, all.join(", "));
    }
    Ok(seats)
}

fn files(found: &[Result<Seat, sweep::Refusal>], args: &SeatsArgs, talk: &Talk) -> anyhow::Result<Exit> {
    if !args.seats.is_empty() && args.seats.len() != found.len() {
        anyhow::bail!(
            "{} seats are named, and {} channels were captured. Name one --seat for each channel, in their order",
            args.seats.len(),
            found.len()
        );
    }
    let mut end = Exit::Fine;
    for (index, heard) in found.iter().enumerate() {
        let (number, name) = (index + 1, args.seats.get(index).map(String::as_str));
        let who = name.map_or_else(|| format!("Channel {number}"), str::to_owned);
        match (heard, args.sweep.json) {
            (Ok(seat), _) => tell(&who, name, number, seat, args.sweep.json)?,
            (Err(why), true) => {
                let mut record = refused_record("seat", number, *why);
                record["seat"] = name.into();
                out::json(&record)?;
            }
            (Err(why), false) => out::line(&format!("{who}: not measured: {}", refused(*why)))?,
        }
        end = end.and(heard.as_ref().map_or(Exit::CannotTell, ended));
    }
    foot(talk, args.sweep.json)?;
    Ok(end)
}

fn tell(who: &str, name: Option<&str>, number: usize, seat: &Seat, json: bool) -> std::io::Result<()> {
    if json {
        out::json(&seat_record(name, number, seat))
    } else {
        seat_lines(who, seat).iter().try_for_each(|line| out::line(line))
    }
}

fn ended(seat: &Seat) -> Exit {
    if fix(seat).is_some() { Exit::Findings } else { Exit::Fine }
}

fn foot(talk: &Talk, json: bool) -> std::io::Result<()> {
    if json {
        return Ok(());
    }
    out::line(&talk_words(talk.level, talk.calibration.is_some()))?;
    out::line(words::HEARING)
}

fn walk<P: Place>(
    place: P,
    wish: QuietWish,
    seats: Vec<SeatWish>,
    args: &SeatsArgs,
    talk: &Talk,
) -> anyhow::Result<Exit> {
    if seats.len() < wish.channels.len() {
        anyhow::bail!(
            "{} microphones, but only {} to be measured. Name a --seat for each of them, or fewer --channels",
            wish.channels.len(),
            if seats.len() == 1 { "1 seat".to_owned() } else { format!("{} seats", seats.len()) }
        );
    }
    let simulated = args.sweep.stage;
    let mut walk = SeatWalk::new(place, wish, seats, *talk).ok_or_else(quiet::unfit)?;
    follow(&mut walk, simulated, args.sweep.json)?;
    if !args.sweep.json {
        out::line("")?;
    }
    let mut end = Exit::Fine;
    for (at, found) in walk.found().iter().enumerate() {
        let (name, number) = (found.seat.name.as_str(), usize::from(found.channel.number()));
        let json = args.sweep.json;
        end = end.and(match &found.heard {
            Some(Ok(seat)) => {
                tell(name, Some(name), number, seat, json)?;
                ended(seat)
            }
            Some(Err(why)) => {
                let round = walk.measured_with(at);
                if json {
                    out::json(&no_seat_record(found, *why, &round))?;
                } else {
                    out::line(&format!("{name}: not measured: {}", no_seat(*why, &round)))?;
                }
                Exit::CannotTell
            }
            None => {
                if !json {
                    out::line(&format!("{name}: not measured"))?;
                }
                Exit::CannotTell
            }
        });
    }
    foot(talk, args.sweep.json)?;
    let event = args.event.as_deref().filter(|_| !simulated);
    notes::keep(event, &seat_notes(walk.found(), Date::today()), args.sweep.json)?;
    Ok(end)
}

impl<P: Place> Asking for SeatWalk<P> {
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
        seat_step(&self.step(), self.round())
    }

    fn record(&self) -> Value {
        seat_step_record(self.now(), &self.step(), self.round())
    }

    fn go_on(&mut self) -> bool {
        self.go_on()
    }

    fn answer(&mut self, answer: QuietAnswer) {
        self.answer(answer);
    }
}
