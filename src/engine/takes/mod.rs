//! Recordings beyond their levels: what is wrong with a take as a whole, and what takes tell of each other.
//!
//! [`gather`] finds them, [`check_all`] measures them in order. [`Listeners`] stand beside meters and detectors while one
//! recording is measured; [`Companions`] hold the recordings of a folder against each other as they come, and say what they
//! are together ([`Gathering`]). Originals are never written to; [`copies`] makes new files, on request.

mod align;
mod companions;
pub mod copies;
mod gather;
mod gathering;
mod listeners;
mod session;
mod shift;
mod timeline;
mod tracks;

pub use crate::sink::{Mark, Width};
pub use align::Alignment;
pub use companions::{Companions, Likeness};
pub use gather::{GatherError, Gathered, gather, in_order, looks_like_sound};
pub use gathering::{Better, Gathering, Pair, TrackRow};
pub use listeners::Listeners;
pub use session::{Listed, Rings, Told, check_all};
pub use timeline::{Cue, CueKind, Timeline};
pub use tracks::{Head, MatchedBy, Track, match_tracks};
