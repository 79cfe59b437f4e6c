//! The event folder as a person writes it and a spreadsheet exports it.
//!
//! Expected values are those written in the files themselves; the form of CSV is RFC 4180's, of TOML that of
//! TOML 1.0, and the ranges are the format's own.

mod files;
mod mistakes;
mod save;
mod sound;
mod venue_notes;
