//! What the faces show, as plain values: sentences, rounding, shapes and words for states, table rows, records.
//!
//! One wording for the terminal, machine-readable lines and, later, window and pages. Names `units` and result types
//! only; no drawing, no I/O.

mod findings;
pub mod numbers;
pub mod records;
mod sentence;
mod shelf;
mod states;

pub use findings::{finding_advice, finding_words};
pub use sentence::{Arrow, DeskWords, NextStep, next_step, unseen, wanted, why_lines};
pub use shelf::shelf;
pub use states::{STATES, shape, word};
