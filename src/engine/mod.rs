//! Runs the house: the pipeline, the live engine around it, the batch over recordings, the practice stage.
//!
//! Names every room below it; no face, no sentence.

mod pipeline;
mod snapshot;

pub use pipeline::Pipeline;
pub use snapshot::{InputStatus, Snapshot};
