//! `devices`: what can be listened to.

use serde_json::{Map, json};

use super::args::DevicesArgs;
use super::{Exit, out};
use crate::engine::session;
use crate::view::numbers::counted;
use crate::view::records;
use crate::view::words::plain;

/// Lists the input devices. None at all: cannot tell.
pub fn run(args: &DevicesArgs) -> anyhow::Result<Exit> {
    let devices = match session::devices() {
        Ok(devices) => devices,
        Err(error) => {
            out::note(&error.to_string());
            return Ok(Exit::CannotTell);
        }
    };
    for device in devices {
        let rates: Vec<_> = device.rates.iter().map(|range| (range.lowest.get(), range.highest.get())).collect();
        if args.json {
            let fields = json!({
                "id": device.id, "name": device.name, "host": device.host, "channels": device.channels,
                "rate_hz": device.rate.get(), "rates_hz": rates, "format": device.format,
                "default": device.is_default,
            });
            let fields = fields.as_object().cloned().unwrap_or_else(Map::new);
            out::json(&records::device(fields))?;
            continue;
        }
        let usual = if device.is_default { " (the system's usual one)" } else { "" };
        out::line(&format!("{}{usual}", plain(&device.name)))?;
        let spans =
            rates.iter().map(|&(low, high)| if low == high { format!("{low}") } else { format!("{low}–{high}") });
        let spans: Vec<String> = spans.collect();
        out::line(&format!(
            "    {} · {} Hz (offers {}) · {} · {}",
            counted(device.channels as u64, "channel", "channels"),
            device.rate.get(),
            spans.join(", "),
            device.format,
            device.id
        ))?;
        if device.remixed {
            out::line("    its channels may come mixed up through this sound server: choose another way in")?;
        }
    }
    if !args.json {
        out::line("Listen with: beforedoors soundcheck --device NAME")?;
    }
    Ok(Exit::Fine)
}
