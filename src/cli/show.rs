//! The show at the terminal: one calm line, and a step where something wants a hand.
//!
//! Typed lines: `done`, `leave`, `ignore`, `song`, `sound`, `mark`, `quit`; on the simulated stage also `mains +3`. Exit
//! codes: 0 nothing was asked for, 1 something was, 2 nothing was heard.

use std::io::{self, Write};
use std::sync::mpsc::{Receiver, TryRecvError};
use std::time::{Duration, Instant};

use super::args::ShowArgs;
use super::end::EndRequest;
use super::evening;
use super::out::{self, typed_lines};
use super::{Exit, compare, ready, setup};
use crate::engine::hall::{Hall, LiveHall, StageHall};
use crate::engine::show::{Alert, Attending, ShowDesk};
use crate::units::{ChannelId, Db, Seconds};
use crate::view::evening::{Evening, plan};
use crate::view::hall::SHOW_HELP;
use crate::view::show::{self, room_line, show_record, show_step, so_far};
use crate::view::sound::{dose_record, exposure_lines, sound_lines, sound_record};
use crate::view::{labels, multitrack, numbers, words};

const FRAME: Duration = Duration::from_millis(100);
/// Records of the level come so often.
const LEVELS: Seconds = Seconds::new(1.0);

pub fn run(args: &ShowArgs) -> anyhow::Result<Exit> {
    if args.ready {
        return ready::run(args);
    }
    let equaliser = args.eq.equaliser();
    let room = args.room_mic.map(|number| ChannelId::new(number - 1));
    match &args.device {
        Some(device) => {
            let mut setup = setup::read(args.event.as_deref())?;
            if let (Some(shown), Some(room)) = (args.compare, room) {
                return compare::run(device, room, shown, &mut setup, args.json);
            }
            let consent = args.record.as_ref().map(|_| evening::consent(&mut setup)).transpose()?;
            let mut hall = LiveHall::open(device)?;
            let mut evening = Evening::of(&setup)?;
            if let (Some(folder), Some(consent)) = (&args.record, &consent) {
                let recording = hall.record(plan(folder, multitrack::SHOW, consent))?;
                evening::tell(&evening.keep(recording, consent), args.json)?;
            }
            let channels = hall.channels();
            let there = |room: &ChannelId| room.index() < channels;
            if let Some(room) = room.filter(|room| !there(room)) {
                anyhow::bail!("there is no channel {}: the device has {channels}. Name one of those", room.number());
            }
            let taps = !setup.microphones().is_empty();
            let desk = ShowDesk::new(hall, equaliser, channels, taps)
                .attending(&setup.attending(room.or(setup.room().filter(there))))
                .on_a_laptop();
            watch(desk, evening, &setup.names, args.json)
        }
        None => {
            let Some(hall) = StageHall::on_show_night(args.seed.unwrap_or(1)) else { return Ok(Exit::CannotTell) };
            if !args.json {
                out::line(words::SIMULATED)?;
            }
            let names = hall.names();
            let desk = ShowDesk::new(hall, equaliser, names.len(), true).attending(&Attending::default());
            watch(desk, Evening::default(), &names, args.json)
        }
    }
}

fn watch<H: Hall>(mut desk: ShowDesk<H>, mut evening: Evening, names: &[String], json: bool) -> anyhow::Result<Exit> {
    let (lines, end) = (typed_lines()?, EndRequest::watch()?);
    let mut out = io::stdout().lock();
    let exit = follow(&mut desk, &mut evening, &lines, &end, &mut out, names, json)?;
    let lost = desk.hall().lost();
    // What it holds of the recording is handed on.
    drop(desk);
    evening.end().iter().try_for_each(|news| evening::tell(news, json))?;
    match lost {
        Some(error) => Err(anyhow::anyhow!(error)),
        None => Ok(exit),
    }
}

/// Until it is left, or the sound is over.
fn follow<H: Hall>(
    desk: &mut ShowDesk<H>,
    evening: &mut Evening,
    lines: &Receiver<String>,
    end: &EndRequest,
    out: &mut impl Write,
    names: &[String],
    json: bool,
) -> io::Result<Exit> {
    if !json {
        writeln!(out, "{SHOW_HELP}\n")?;
    }
    let mut told = Told::default();
    let mut losses = out::Losses::default();
    while !end.came() {
        let began = Instant::now();
        if !desk.go_on() {
            break;
        }
        let lost = desk.hall().lost();
        let news = evening.follow(desk.now(), desk.hall().missed(), lost.as_deref());
        news.iter().try_for_each(|news| evening::tell(news, json))?;
        desk.tell_recording(evening.trouble());
        evening.watch(&desk.log());
        losses.look(lost);
        told.tell(desk, evening, out, names, json)?;
        match lines.try_recv() {
            Ok(line) if !hear(desk, evening, line.trim(), out)? => break,
            Ok(_) | Err(TryRecvError::Empty) => {}
            // Nobody types: it goes on until the sound is over. On the stage it would never be.
            Err(TryRecvError::Disconnected) if desk.hall().has_a_desk() => break,
            Err(TryRecvError::Disconnected) => {}
        }
        if let Some(ahead) = FRAME.checked_sub(began.elapsed()) {
            std::thread::sleep(ahead);
        }
    }
    let (shown, held) = desk.counts();
    let exposure = desk.room().and_then(|room| Some((room.exposure()?, room.limits())));
    if json {
        exposure.iter().try_for_each(|(exposure, limits)| writeln!(out, "{}", dose_record(exposure, limits)))?;
    } else {
        writeln!(out, "\n{}", so_far(shown, held))?;
        desk.room_now().iter().try_for_each(|room| writeln!(out, "{}", room_line(room)))?;
        let lines = exposure.map(|(exposure, limits)| exposure_lines(exposure, limits)).unwrap_or_default();
        lines.iter().try_for_each(|line| writeln!(out, "{line}"))?;
    }
    Ok(match (desk.now() > Seconds::ZERO, shown + held) {
        (false, _) => Exit::CannotTell,
        (true, 0) => Exit::Fine,
        (true, _) => Exit::Findings,
    })
}

/// One typed line; `false`: someone leaves.
fn hear<H: Hall>(desk: &mut ShowDesk<H>, evening: &mut Evening, line: &str, out: &mut impl Write) -> io::Result<bool> {
    match line.to_lowercase().as_str() {
        "quit" | "q" => return Ok(false),
        said @ ("done" | "d" | "yes" | "" | "leave" | "l" | "no") => {
            let done = !matches!(said, "leave" | "l" | "no");
            evening.answer(desk.watch().open_question(), desk.alert(), done);
            desk.answer(done);
        }
        "ignore" | "i" => desk.ignore(),
        "song" | "s" => {
            desk.song_begins();
            evening.song_begins();
            if let Some(song) = evening.song() {
                out::note(&show::song_begins(song));
            }
        }
        "sound" => match desk.room() {
            Some(room) => {
                let lines = sound_lines(room.readings(), room.calibration());
                lines.iter().try_for_each(|line| writeln!(out, "           {line}"))?;
            }
            None => writeln!(out, "           {}", labels::NO_ROOM_MICROPHONE)?,
        },
        mark if evening.has_log() && mark.split_whitespace().next() == Some("mark") => {
            evening.mark(line.trim_start_matches(|c: char| !c.is_whitespace()).trim());
            out::note(labels::MARKED);
        }
        other => match other.strip_prefix("mains").map(|by| by.trim().parse::<f64>()) {
            Some(Ok(by)) if desk.hall().has_a_desk() && by.abs() <= 24.0 => desk.move_mains(Db::new(by)),
            _ => writeln!(out, "           {SHOW_HELP}")?,
        },
    }
    Ok(true)
}

/// What was told last.
#[derive(Default)]
struct Told {
    began: bool,
    sentence: String,
    level_at: Seconds,
}

impl Told {
    /// The step, where it is another; with JSON also the level, every second.
    fn tell<H: Hall>(
        &mut self,
        desk: &ShowDesk<H>,
        evening: &mut Evening,
        out: &mut impl Write,
        names: &[String],
        json: bool,
    ) -> io::Result<()> {
        let (at, room) = (desk.now(), desk.room());
        if let Some(room) = room.filter(|_| json && at - self.level_at >= LEVELS) {
            self.level_at = at;
            writeln!(out, "{}", sound_record(room.readings(), room.calibration()))?;
        }
        let alert: Option<&Alert> = desk.alert();
        let next = show_step(alert, names, room.and_then(|room| room.calibration()));
        if self.began && self.sentence == next.sentence {
            return Ok(());
        }
        (self.began, self.sentence) = (true, next.sentence.clone());
        if let Some(alert) = alert {
            evening.alert(alert, &next);
        }
        if json {
            return writeln!(out, "{}", show_record(at, alert, &next));
        }
        writeln!(out, "{:>7}  {} {}", numbers::clock(at), next.arrow.sign(), next.sentence)?;
        let calm = desk.room_now().filter(|_| alert.is_none()).map(|room| room_line(&room)).unwrap_or_default();
        let parts: Vec<&str> =
            [next.then.as_str(), next.proof.as_str(), &calm].into_iter().filter(|part| !part.is_empty()).collect();
        writeln!(out, "           {}", parts.join(" · "))?;
        out.flush()
    }
}
