//! Recording what is heard, for the faces: what to record, and what happens to it.
//!
//! A soundcheck's session and a live hall begin one with `record`, at any moment; dropping or ending the `Recording` ends it.

pub use crate::sink::record::{Cause, Gap, RecordError, RecordEvent, RecordPlan, Recording, Stop, room};
