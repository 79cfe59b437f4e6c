//! Recordings beyond their levels: what is wrong with a take as a whole, and what takes tell of each other.
//!
//! [`Listeners`] stand beside meters and detectors while one recording is measured; [`Companions`] hold the recordings
//! of a folder against each other as they come. Nothing is ever written here.

mod align;
mod companions;
mod listeners;

pub use companions::{Companions, Likeness};
pub use listeners::Listeners;
