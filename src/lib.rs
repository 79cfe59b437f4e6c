//! beforedoors: a live audio metering and gain-staging coach for the person who
//! runs a school hall's small PA.
//!
//! One way through the house, for a live device, a recording and the simulated stage alike:
//!
//! ```text
//! source ──Block──▶ meters ──Readings──▶ detectors ──Findings──▶ coach ──Advice──▶ Snapshot ──▶ view ──▶ gui | cli
//! ```
//!
//! Each room's first lines say what lives there and what it may name; `DEVELOPERS.md` has the map,
//! and a test reads the source and fails on an arrow that the map forbids.

pub mod block;
pub mod cli;
pub mod coach;
pub mod detectors;
pub mod dsp;
pub mod engine;
pub mod event;
pub mod gui;
pub mod measure;
pub mod meters;
pub mod plan;
pub mod report;
pub mod sink;
pub mod source;
pub mod units;
pub mod view;
