//! Runs the house: the pipeline, the live engine around it, the batch over recordings, the practice stage.
//!
//! Names every room below it; no face, no sentence.

pub mod desk_zero;
mod ears;
pub mod envelope;
pub mod excerpt;
pub mod folder;
pub mod hall;
pub mod linecheck;
mod pipeline;
mod power;
pub mod quiet;
pub mod record;
pub mod recording;
mod replay;
pub mod ring_recording;
pub mod ringout;
mod rounds;
mod running;
pub mod seat;
pub mod seats;
pub mod second;
pub mod session;
pub mod show;
mod snapshot;
pub mod sound;
mod stagehand;
pub mod sweep;
pub mod takes;
pub mod watched;

pub use crate::coach::{Advice, Answer, ChannelState, Connection, Flashes, Input, Step, Unseen};
pub use crate::source::stage::Mood;
pub use pipeline::Pipeline;
pub use replay::replay;
pub use snapshot::{InputStatus, Snapshot};
pub use stagehand::{Skill, Stagehand};
