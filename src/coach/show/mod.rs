//! The show: what deserves a hand, and when to keep silent.
//!
//! `alerts` lets at most one thing be seen at a time and keeps the rules against fatigue. Rings are watched by
//! `ringout::ShowWatch`, the level in the room by `sound::SoundWatch`, each input by `detectors::LineWatch`.

mod alerts;

pub use alerts::{Alert, Alerts};
