//! What was heard up to now, for the eye: footprints, peaks, spectra, what has arrived.
//!
//! It is followed on the engine's own thread, with every snapshot, so that nothing is missed while another view is
//! looked at and nothing is painted. Following the same snapshot twice changes nothing that is shown.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::history::History;
use crate::engine::Snapshot;
use crate::view::Trail;
use crate::view::choice::Arrivals;
use crate::view::spectra::Spectra;

#[derive(Default)]
pub struct Past {
    pub trail: Trail,
    pub history: History,
    pub spectra: Spectra,
    pub arrivals: Arrivals,
}

/// The engine's thread and the window have the same.
#[derive(Clone, Default)]
pub struct SharedPast(Arc<Mutex<Past>>);

impl SharedPast {
    pub fn follow(&self, snapshot: &Snapshot) {
        let mut past = self.look();
        past.trail.follow(snapshot);
        past.history.follow(snapshot);
        past.spectra.follow(snapshot);
        past.arrivals.follow(snapshot);
    }

    pub fn look(&self) -> MutexGuard<'_, Past> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
