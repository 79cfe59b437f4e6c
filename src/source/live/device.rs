//! The input devices of this machine: listing them and picking one by name.
//!
//! Only what can be opened is listed, the system's default first, recordable outputs ("monitors") last. The
//! aliases, converters and null devices that Linux enumerates beside the real ones are left out; their ids
//! still work when typed. Listing opens every device for a moment (it may bring up the system's question for
//! the microphone, and takes up to some hundred milliseconds): never do it on a face's thread.

use std::str::FromStr;

use cpal::traits::{DeviceTrait, HostTrait};

use super::choice::{Offer, RateRange};
use super::error::LiveError;
use super::quiet::quiet;
use crate::units::SampleRate;

#[derive(Clone, Debug, PartialEq)]
pub struct InputDevice {
    /// To remember it by, `host:id`; it lasts across unplugging and restarts where the system can.
    pub id: String,
    /// To show.
    pub name: String,
    /// The sound system that it is reached through.
    pub host: String,
    /// How many channels it has.
    pub channels: usize,
    /// Every count of channels that may be asked for, rising.
    pub channel_counts: Vec<usize>,
    /// Its own rate.
    pub rate: SampleRate,
    /// What else it offers with all its channels.
    pub rates: Vec<RateRange>,
    /// Its own sample format: `i16`, `i24`, `f32` …
    pub format: String,
    /// The system's choice when none is named.
    pub is_default: bool,
    /// The sound server maps its channels by loudspeaker position, so an interface's channels may come
    /// mixed up or silent. Choose the same interface through another host.
    pub remixed: bool,
}

/// The devices that can be opened now.
pub fn devices() -> Result<Vec<InputDevice>, LiveError> {
    let found = scan().open;
    if found.is_empty() { Err(LiveError::NoDevice) } else { Ok(found) }
}

/// The device of this id or name, or the only one whose name has `name` in it, in capitals or not.
pub fn find(name: &str) -> Result<InputDevice, LiveError> {
    let found = scan();
    match pick(&found.open, name) {
        Err(unknown @ LiveError::Unknown { .. }) => {
            let busy = found.busy.iter().find(|busy| fits(&busy.name, name) || busy.id == name);
            match (hidden(name), busy) {
                (Some(device), _) => Ok(device),
                (None, Some(busy)) => Err(LiveError::Busy { device: busy.name.clone() }),
                (None, None) if found.open.is_empty() => Err(LiveError::NoDevice),
                (None, None) => Err(unknown),
            }
        }
        picked => picked.cloned(),
    }
}

/// `find` in a list that is at hand.
pub fn pick<'a>(devices: &'a [InputDevice], name: &str) -> Result<&'a InputDevice, LiveError> {
    let name = name.trim();
    if let Some(device) = devices.iter().find(|device| device.id == name) {
        return Ok(device);
    }
    let exact: Vec<&InputDevice> = devices.iter().filter(|device| device.name == name).collect();
    let part = || devices.iter().filter(|device| fits(&device.name, name)).collect();
    let fitting: Vec<&InputDevice> = if exact.is_empty() { part() } else { exact };
    match fitting[..] {
        [device] => Ok(device),
        [] => Err(LiveError::Unknown { asked: name.to_owned(), offered: listed(devices.iter()) }),
        _ => Err(LiveError::Ambiguous { asked: name.to_owned(), fitting: listed(fitting.into_iter()) }),
    }
}

fn fits(name: &str, part: &str) -> bool {
    !part.is_empty() && name.to_lowercase().contains(&part.to_lowercase())
}

fn listed<'a>(devices: impl Iterator<Item = &'a InputDevice>) -> String {
    let lines: Vec<String> = devices.map(|device| format!("  {} ({})", device.name, device.id)).collect();
    lines.join("\n")
}

/// The system's device of this id, as it stands now.
pub(super) fn resolve(id: &str) -> Option<cpal::Device> {
    let id = cpal::DeviceId::from_str(id).ok()?;
    let host = cpal::host_from_id(id.host()).ok()?;
    let named = host.device_by_id(&id);
    named.or_else(|| host.default_input_device().filter(|device| device.id().is_ok_and(|own| own == id)))
}

/// A device of this name: unplugged and plugged in again, it may have another id.
pub(super) fn renamed(name: &str) -> Option<cpal::Device> {
    devices().ok()?.iter().find(|device| device.name == name).and_then(|device| resolve(&device.id))
}

#[derive(Default)]
struct Scan {
    open: Vec<InputDevice>,
    busy: Vec<Busy>,
}

struct Busy {
    id: String,
    name: String,
}

fn scan() -> Scan {
    quiet();
    let mut found = Scan::default();
    let hosts = cpal::available_hosts();
    for host in hosts.into_iter().filter_map(|id| cpal::host_from_id(id).ok()) {
        let default = host.default_input_device();
        let default_id = default.as_ref().and_then(|device| device.id().ok());
        let mut all: Vec<cpal::Device> = host.input_devices().map(Iterator::collect).unwrap_or_default();
        let listed = |device: &cpal::Device| device.id().ok() == default_id;
        if !all.iter().any(listed) {
            all.extend(default);
        }
        let ids: Vec<String> = all.iter().filter_map(|device| device.id().ok()).map(|id| id.to_string()).collect();
        // The default of the first sound system is the machine's; the next ones reach the same hardware.
        let first = found.open.is_empty();
        for device in all {
            let Ok(id) = device.id() else { continue };
            if !worth_listing(&id.to_string(), &ids) || (!first && is_server_alias(&id.to_string())) {
                continue;
            }
            match describe(&device, first && Some(&id) == default_id.as_ref()) {
                Ok(described) => found.open.push(described),
                Err(error) if error.kind() == cpal::ErrorKind::DeviceBusy => {
                    found.busy.push(Busy { id: id.to_string(), name: name_of(&device) });
                }
                Err(_) => {}
            }
        }
    }
    found.open.sort_by_key(|device| (!device.is_default, is_monitor(&device.id)));
    found
}

fn describe(device: &cpal::Device, is_default: bool) -> Result<InputDevice, cpal::Error> {
    let id = device.id()?;
    let offer = Offer::of(device)?;
    let channels = offer.channels();
    let rate = offer.rate(channels).ok_or(cpal::ErrorKind::UnsupportedConfig)?;
    let host = id.host().name().to_owned();
    Ok(InputDevice {
        remixed: is_remixed(&host, channels),
        id: id.to_string(),
        name: name_of(device),
        host,
        channels,
        channel_counts: offer.channel_counts(),
        rate,
        rates: offer.rates(channels),
        format: offer.default.sample_format().to_string(),
        is_default,
    })
}

fn name_of(device: &cpal::Device) -> String {
    match (device.description(), device.id()) {
        (Ok(description), _) => description.name().to_owned(),
        (Err(_), Ok(id)) => id.id().to_owned(),
        (Err(_), Err(_)) => "an unnamed device".to_owned(),
    }
}

/// A device that the list leaves out, by its exact id.
fn hidden(id: &str) -> Option<InputDevice> {
    quiet();
    describe(&resolve(id)?, false).ok()
}

/// The server lays 3 to 8, 10 and 12 channels out as surround sound; other counts pass in order.
fn is_remixed(host: &str, channels: usize) -> bool {
    host == "PulseAudio" && matches!(channels, 3..=8 | 10 | 12)
}

fn is_monitor(id: &str) -> bool {
    id.starts_with("pulseaudio:") && id.ends_with(".monitor")
}

/// What ALSA lists beside the hardware and what the user defined: aliases, converters and nulls.
const ALSA_ALIASES: [&str; 28] = [
    "null",
    "sysdefault",
    "front",
    "rear",
    "center_lfe",
    "side",
    "surround21",
    "surround40",
    "surround41",
    "surround50",
    "surround51",
    "surround71",
    "iec958",
    "spdif",
    "hdmi",
    "dmix",
    "dsnoop",
    "plughw",
    "usbstream",
    "lavrate",
    "samplerate",
    "speexrate",
    "speex",
    "upmix",
    "vdownmix",
    "oss",
    "jack",
    "modem",
];

/// `others` are the ids that the same host lists.
fn worth_listing(id: &str, others: &[String]) -> bool {
    let Some(pcm) = id.strip_prefix("alsa:") else { return true };
    let (kind, rest) = pcm.split_once(':').unwrap_or((pcm, ""));
    // The hardware is listed by the card's name and again by its number, which changes with the next start.
    let numbered =
        |rest: &str| rest.strip_prefix("CARD=").is_some_and(|card| card.starts_with(|c: char| c.is_ascii_digit()));
    let named_too = || {
        let named = |other: &String| other.strip_prefix("alsa:hw:").is_some_and(|rest| !numbered(rest));
        others.iter().any(named)
    };
    let twice = kind == "hw" && numbered(rest) && named_too();
    !ALSA_ALIASES.contains(&kind) && !twice
}

/// ALSA's ways to the sound server, which is reached directly where it answers.
fn is_server_alias(id: &str) -> bool {
    ["alsa:default", "alsa:pulse", "alsa:pipewire"].contains(&id)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn device(id: &str, name: &str) -> InputDevice {
        InputDevice {
            id: id.to_owned(),
            name: name.to_owned(),
            host: "ALSA".to_owned(),
            channels: 2,
            channel_counts: vec![2],
            rate: SampleRate::new(48_000).expect("a rate"),
            rates: Vec::new(),
            format: "i16".to_owned(),
            is_default: false,
            remixed: false,
        }
    }

    fn hall() -> Vec<InputDevice> {
        vec![
            device("alsa:hw:CARD=Desk,DEV=0", "Hall Desk USB"),
            device("alsa:hw:CARD=Desk,DEV=1", "Hall Desk USB Return"),
            device("alsa:hw:CARD=PCH,DEV=0", "Built-in Microphone"),
        ]
    }

    #[test]
    fn by_id_by_name_by_part() {
        let hall = hall();
        let found = |name| pick(&hall, name).map(|device| device.id.as_str());
        assert_eq!(found("alsa:hw:CARD=PCH,DEV=0"), Ok("alsa:hw:CARD=PCH,DEV=0"));
        // A whole name wins over a longer one that begins with it.
        assert_eq!(found("Hall Desk USB"), Ok("alsa:hw:CARD=Desk,DEV=0"));
        assert_eq!(found("built-IN"), Ok("alsa:hw:CARD=PCH,DEV=0"));
        assert_eq!(found(" return "), Ok("alsa:hw:CARD=Desk,DEV=1"));
    }

    #[test]
    fn doubt_lists_what_fits() {
        let hall = hall();
        let Err(LiveError::Ambiguous { fitting, .. }) = pick(&hall, "hall") else { panic!("not in doubt") };
        assert_eq!(fitting.lines().count(), 2);
        assert!(!fitting.contains("Built-in"), "{fitting}");
        let twins = [device("a:1", "USB Audio"), device("a:2", "USB Audio")];
        assert!(matches!(pick(&twins, "USB Audio"), Err(LiveError::Ambiguous { .. })));
    }

    #[test]
    fn the_unknown_lists_all() {
        for name in ["viola", "", "  "] {
            let Err(LiveError::Unknown { offered, .. }) = pick(&hall(), name) else { panic!("{name} is known") };
            assert_eq!(offered.lines().count(), 3);
        }
        assert!(matches!(pick(&[], "desk"), Err(LiveError::Unknown { .. })));
    }

    /// What a laptop with one USB desk lists through ALSA's hints and its numbers.
    #[test]
    fn aliases_are_left_out() {
        let all = [
            "null",
            "default",
            "sysdefault",
            "pulse",
            "hw:CARD=Desk,DEV=0",
            "hw:CARD=1,DEV=0",
            "plughw:CARD=Desk,DEV=0",
            "front:CARD=Desk,DEV=0",
            "dsnoop:CARD=Desk,DEV=0",
            "usbstream:CARD=Desk",
            "stage_box",
        ]
        .map(|pcm| format!("alsa:{pcm}"));
        let kept: Vec<&str> =
            (all.iter()).filter(|id| worth_listing(id, &all)).map(|id| &id["alsa:".len()..]).collect();
        assert_eq!(kept, ["default", "pulse", "hw:CARD=Desk,DEV=0", "stage_box"]);
        assert!(worth_listing("alsa:hw:CARD=1,DEV=0", &["alsa:hw:CARD=1,DEV=0".to_owned()]));
        assert!(worth_listing("wasapi:front", &[]));
    }

    #[test]
    fn surround_counts_are_marked() {
        let marked: Vec<usize> = (1..=16).filter(|channels| is_remixed("PulseAudio", *channels)).collect();
        assert_eq!(marked, [3, 4, 5, 6, 7, 8, 10, 12]);
        assert!(!is_remixed("ALSA", 8));
    }
}
