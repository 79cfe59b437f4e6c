//! The level in the room compared once with a real meter: what the meter shows, while something steady sounds.
//!
//! The event keeps the result. Edge cases: unsteady, clipped or too soft sound is refused with its reason, and nothing is
//! stored; without an event it is told, and not kept.

use super::{Exit, out};
use crate::engine::sound;
use crate::units::{ChannelId, Spl};
use crate::view::Setup;
use crate::view::sound::{calibration_line, calibration_record, refusal_words};

pub fn run(device: &str, room: ChannelId, shown: f64, setup: &mut Setup, json: bool) -> anyhow::Result<Exit> {
    if !json {
        out::line("Something steady for 8 s, please: a held chord, or noise from the loudspeakers.")?;
    }
    let found = sound::compare(device, room, Spl::new(shown))?;
    if json {
        out::json(&calibration_record(found.as_ref()))?;
    }
    match found {
        Ok(calibration) => {
            setup.keep_calibration(room, calibration)?;
            if !json {
                out::line(&calibration_line(&calibration))?;
            }
            Ok(Exit::Fine)
        }
        Err(refusal) => {
            if !json {
                out::line(&refusal_words(&refusal))?;
            }
            Ok(Exit::CannotTell)
        }
    }
}
