//! The last look before doors: what the soundcheck left is stored, and held against what is heard 20 s before anybody
//! comes. On simulated stages with a soundcheck made the usual way; at the terminal; on a device.

mod stages;
mod stored;
#[cfg(target_os = "linux")]
mod terminal;
mod words;
