//! What the faces show, as plain values: sentences, rounding, shapes and words for states, marks, records.
//!
//! One wording for the terminal, machine-readable lines and, later, window and pages. Names `units` and result types
//! only; no drawing, no I/O.

mod bad;
pub mod carry;
pub mod choice;
pub mod evening;
mod findings;
pub mod hall;
pub mod headline;
pub mod inputs;
pub mod journal;
pub mod labels;
pub mod lengths;
pub mod linecheck;
pub mod lines;
mod marks;
pub mod multitrack;
pub mod numbers;
pub mod plan;
pub mod quiet;
pub mod ready;
pub mod recordings;
pub mod records;
mod ringing;
pub mod ringout;
pub mod safe_sweep;
pub mod seats;
pub mod second;
mod sentence;
mod setup;
mod shelf;
pub mod show;
pub mod sound;
pub mod spectra;
mod states;
pub mod sweeps;
mod takes;
mod takes_report;
mod together;
mod trail;
pub mod venue_notes;
pub mod words;

pub use crate::coach::Need;
pub use bad::Bad;
pub use findings::{FaultKind, finding_advice, finding_words};
pub use headline::headline;
pub use marks::{TimedMark, made_words, marks};
pub use ringing::{RING_KEYS, pitch, ring_advice, ring_record, ring_words};
pub use sentence::{Arrow, DeskWords, NextStep, Reply, heard_of, next_step, why_lines};
pub use setup::{Setup, who};
pub use shelf::{Shelf, place};
pub use states::{NOT_ENOUGH, NOT_ENOUGH_MEANING, STATES, meaning, shape, shown, word};
pub use takes::{
    Fault, Take, TakeVerdict, about, finding_lines, more_findings, state_word, take_verdict, track_name, verdict_step,
};
pub use takes_report::{ReportForm, TITLE, TakesReport};
pub use together::{CUE_LIST, TOGETHER_KEYS, Together, cue_lines, cue_word, together_records};
pub use trail::Trail;
