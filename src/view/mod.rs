//! What the faces show, as plain values: sentences, rounding, shapes and words for states, marks, records.
//!
//! One wording for the terminal, machine-readable lines and, later, window and pages. Names `units` and result types
//! only; no drawing, no I/O.

mod findings;
pub mod numbers;
pub mod records;
pub mod ringout;
mod sentence;
mod shelf;
mod states;
pub mod words;

pub use crate::coach::Need;
pub use findings::{finding_advice, finding_words};
pub use sentence::{Arrow, DeskWords, NextStep, Reply, heard_of, next_step, why_lines};
pub use shelf::{Shelf, place};
pub use states::{STATES, meaning, shape, word};
