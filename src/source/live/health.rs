//! How a live input is doing: counters that the audio callback bumps, and what they mean.
//!
//! The counters are relaxed atomics: each is right for itself, and a reader may see one a moment before
//! another. Frames are per channel. Nothing here waits.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::time::Duration;

use crate::units::{FrameCount, Seconds};

/// No callback for so long means that nothing comes any more.
pub const STARVED_AFTER: Duration = Duration::from_secs(1);
/// Nothing but exact zeros for so long is no room that is quiet.
pub const ZEROS_AFTER: Seconds = Seconds::new(2.0);

/// What the face should say about the input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputState {
    /// Samples come.
    Running,
    /// Samples come, but every one of the last 2 s was exactly zero: no converter is that quiet. The
    /// system may withhold the microphone (it does so without an error where permission is missing), the
    /// device is muted digitally, or nothing plays into a virtual one. Never call it silence.
    OnlyZeros,
    /// No callback for 1 s. The device may be unplugged, asleep, or held by another program.
    Starved,
    /// The device reported its end; reading gives the error.
    Lost,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Health {
    pub state: InputState,
    pub callbacks: u64,
    /// Frames that the device delivered, dropped ones included.
    pub frames: FrameCount,
    /// Frames that found the ring full, because `read` was not called for about 2 s.
    pub dropped: FrameCount,
    /// Losses of unknown length that the system reported.
    pub overruns: u64,
    /// Times that the system moved the stream to another device by itself.
    pub rerouted: u64,
    /// Times that the device was opened again after a loss.
    pub reopened: u32,
    /// Time since a callback was last seen.
    pub since_callback: Duration,
}

/// Shared by the callbacks (which bump) and the source (which reads).
#[derive(Debug, Default)]
pub(super) struct Counters {
    pub callbacks: AtomicU64,
    pub frames: AtomicU64,
    pub dropped: AtomicU64,
    pub overruns: AtomicU64,
    pub rerouted: AtomicU64,
    failure: OnceLock<cpal::Error>,
}

impl Counters {
    /// What the stream's error callback does. Only the first fatal error is kept: a dying sound server may
    /// send hundreds of thousands.
    pub fn note(&self, error: cpal::Error) {
        match error.kind() {
            cpal::ErrorKind::Xrun => _ = self.overruns.fetch_add(1, Relaxed),
            cpal::ErrorKind::DeviceChanged => _ = self.rerouted.fetch_add(1, Relaxed),
            // Sound goes on; only a busy machine may lose some, and that is counted when it happens.
            cpal::ErrorKind::RealtimeDenied => {}
            _ => _ = self.failure.set(error),
        }
    }

    pub fn failure(&self) -> Option<&cpal::Error> {
        self.failure.get()
    }

    /// How often frames were lost that nobody can count.
    pub fn breaks(&self) -> u64 {
        self.overruns.load(Relaxed) + self.rerouted.load(Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use cpal::ErrorKind;

    #[test]
    fn what_is_not_fatal_is_counted() {
        let counters = Counters::default();
        for kind in [ErrorKind::Xrun, ErrorKind::Xrun, ErrorKind::DeviceChanged, ErrorKind::RealtimeDenied] {
            counters.note(kind.into());
        }
        assert_eq!((counters.overruns.load(Relaxed), counters.rerouted.load(Relaxed)), (2, 1));
        assert_eq!(counters.breaks(), 3);
        assert!(counters.failure().is_none());
    }

    #[test]
    fn the_first_fatal_error_is_kept() {
        let counters = Counters::default();
        counters.note(ErrorKind::StreamInvalidated.into());
        for _ in 0..1000 {
            counters.note(ErrorKind::BackendError.into());
        }
        assert_eq!(counters.failure().map(cpal::Error::kind), Some(ErrorKind::StreamInvalidated));
    }
}
