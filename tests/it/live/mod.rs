//! Live input and the armed tone: the callback without a device, then the whole way through ALSA and through
//! a private sound server; a passage of a recording by that way; numbered sound for an hour; a server killed again and
//! again. Debian packages: libasound2-dev to build; pulseaudio and pulseaudio-utils for all but `callback` and `fifo`.

mod callback;
#[cfg(target_os = "linux")]
mod child;
mod fed;
#[cfg(target_os = "linux")]
pub mod fifo;
#[cfg(target_os = "linux")]
mod hour;
#[cfg(target_os = "linux")]
mod kills;
#[cfg(target_os = "linux")]
mod numbers;
#[cfg(target_os = "linux")]
mod passage;
#[cfg(target_os = "linux")]
mod server;
