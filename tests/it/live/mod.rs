//! Live input and the armed tone: the callback without a device, then the whole way through ALSA and through
//! a private sound server; a passage of a recording by that way. Debian packages: libasound2-dev to build; pulseaudio for
//! `server` and `passage`.

mod callback;
#[cfg(target_os = "linux")]
mod child;
#[cfg(target_os = "linux")]
pub mod fifo;
#[cfg(target_os = "linux")]
mod passage;
#[cfg(target_os = "linux")]
mod server;
