//! The desk reference at the terminal: the tone file, the measurement, its result in the event.

use std::path::Path;

use anyhow::bail;

use super::end::EndRequest;
use super::keys::Keys;
use super::soundcheck::ask;
use super::{Exit, out};
use crate::engine::desk_zero::{self, Awaited, Caution, DeskZeroEnd, Progress, Refusal, ToneFrom};
use crate::event::Date;
use crate::units::{ChannelId, Db};
use crate::view::Setup;
use crate::view::numbers;

/// Writes the tone file for a player that is not this machine.
pub fn write_tone(path: &Path) -> anyhow::Result<Exit> {
    desk_zero::write_tone_wav(path)?;
    out::line(&format!("Wrote {}. Turn the player’s volume down before it plays.", path.display()))?;
    Ok(Exit::Fine)
}

/// Measures what the desk's 0 reads on a line of a device.
pub fn measure(device: &str, line: u16, own_tone: bool, setup: &mut Setup) -> anyhow::Result<Exit> {
    let Some(line) = line.checked_sub(1).map(ChannelId::new) else {
        bail!("channels are counted from 1. Name the one that carries the desk’s feed, such as --desk-zero 1");
    };
    out::line("First turn OFF everything that rides the input’s level: enhancements, noise suppression, auto gain.")?;
    let tone = if own_tone {
        out::line("A 1 kHz tone will play from this machine at −30, then −20 dBFS. Take headphones off.")?;
        out::line("Turn the volume, and the channel it goes to, all the way down; nobody near a loudspeaker.")?;
        let sure = ask("Is the volume down? yes or no", "no")?;
        ToneFrom::Output(desk_zero::arm(sure.to_lowercase().starts_with('y'))?)
    } else {
        out::line("Play the tone file (beforedoors soundcheck --tone-file tone.wav writes it) from somewhere else.")?;
        ToneFrom::Elsewhere
    };
    out::line("Any key stops it.")?;
    let (mut shown, mut somebody_reads) = (None, true);
    let told_to_end = EndRequest::watch()?;
    let keys = Keys::new();
    let end = desk_zero::measure(device, line, tone, &mut |progress: Progress| {
        if shown != Some(progress.awaited) {
            shown = Some(progress.awaited);
            // With raw keys a new line does not begin at the left edge by itself.
            let edge = if keys.are_there() { "\r" } else { "" };
            let (awaited, now) = (awaited(progress.awaited), numbers::dbfs(progress.level));
            somebody_reads = out::line(&format!("{edge}{awaited}  (now {now})")).is_ok();
        }
        somebody_reads && keys.pressed().is_none() && !told_to_end.came()
    })?;
    drop(keys);
    match end {
        DeskZeroEnd::Found(zero) => {
            out::line(&format!("0 on the desk reads {} here", numbers::dbfs(zero.level)))?;
            let headroom = ask("How many dB above its 0 does the desk’s clip lamp light?", "18")?;
            let headroom = headroom.trim_end_matches("dB").trim().parse::<f64>().ok().filter(|db| db.is_finite());
            if let Some(headroom) = headroom.map(Db::new) {
                match zero.caution(headroom) {
                    Some(Caution::ClipsBeforeTheDesk) => {
                        out::line("This input is full before the desk is: lower the feed, then measure again")?;
                    }
                    Some(Caution::Noisy) => out::line("The desk’s 0 lies near the noise here: raise the feed")?,
                    None => {}
                }
            }
            if let Some(event) = &mut setup.event {
                event.settings.desk.reference = Some(zero.level);
                event.settings.desk.headroom = headroom.map(Db::new);
                event.settings.desk.date = Date::today();
                event.save()?;
                out::line("Stored in the event. Tape the feed’s knob; measure again if it is touched.")?;
            }
            Ok(Exit::Fine)
        }
        DeskZeroEnd::Refused(refusal) => {
            out::line(&refused(refusal))?;
            Ok(Exit::Findings)
        }
        DeskZeroEnd::Stopped => {
            out::line("Stopped; nothing was stored.")?;
            Ok(Exit::CannotTell)
        }
    }
}

const fn awaited(awaited: Awaited) -> &'static str {
    match awaited {
        Awaited::Silence => "Silence, please",
        Awaited::Tone => "Waiting for the tone",
        Awaited::HigherTone => "Now 10 dB more",
        Awaited::SilenceAgain => "Tone off",
        Awaited::DeskAtZero => "Honest line. Now set the desk’s meter to exactly 0 with the tone, and hold it for 5 s",
    }
}

fn refused(refusal: Refusal) -> String {
    match refusal {
        Refusal::RidesItsLevel { step } => format!(
            "This input rides its own level: 10 dB more came in as {}. It can’t be used for gain",
            numbers::span(step)
        ),
        Refusal::FloorMoved { by } => format!(
            "This input rides its own level: its noise moved by {} with the tone. It can’t be used for gain",
            numbers::span(by)
        ),
        Refusal::Clips => "The tone clips here: lower the feed, then measure again".into(),
    }
}
