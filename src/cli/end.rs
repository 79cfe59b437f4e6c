//! Requests to end that come from outside: Ctrl-C where no screen takes the keys, a closing terminal, a shutdown.
//!
//! They are noted, and whoever holds the terminal gives it back. A second one ends the program at once. On systems
//! without such signals none is ever noted and the system's own way of ending stands.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether the program was told to end.
#[derive(Clone, Debug)]
pub struct EndRequest(Arc<AtomicBool>);

impl EndRequest {
    /// Notes such requests from now on.
    pub fn watch() -> io::Result<Self> {
        let noted = Arc::new(AtomicBool::new(false));
        #[cfg(unix)]
        for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP] {
            // By the shell's custom, 128 and the signal's number.
            signal_hook::flag::register_conditional_shutdown(signal, 128 + signal, Arc::clone(&noted))?;
            signal_hook::flag::register(signal, Arc::clone(&noted))?;
        }
        Ok(Self(noted))
    }

    pub fn came(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
