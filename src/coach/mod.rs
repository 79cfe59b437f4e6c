//! Readings and findings + targets → advice: typed values, no sentences.
//!
//! One file a moment. Names `units`, `meters`' readings, `detectors`, and later `measure` and `plan`.

mod advice;
mod decision;
pub mod linecheck;
pub mod ready;
mod reference;
pub mod ringout;
pub mod show;
pub mod sound;
mod soundcheck;
pub mod sweep;
mod targets;

pub use advice::{Advice, Amount, ChannelState, Step, TrimCause, Turn, Unseen, Why};
pub use decision::{Knows, decide, judge_input, judge_take};
pub use reference::{Awaited, Caution, DeskZero, Reference, Refusal};
pub use soundcheck::{Answer, Connection, Flashes, Input, Request, Soundcheck, most_urgent};
pub use targets::{Need, Passage, Targets};
