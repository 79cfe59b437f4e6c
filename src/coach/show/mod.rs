//! The show: what deserves a hand, and when to keep silent.
//!
//! `lines` watches each input (flat tops, lines that die), `alerts` lets at most one thing be seen at a time and keeps the
//! rules against fatigue. Rings are watched by `ringout::ShowWatch`, the level in the room by `sound::SoundWatch`.

mod alerts;
mod lines;

pub use alerts::{Alert, Alerts};
pub use lines::LineWatch;
