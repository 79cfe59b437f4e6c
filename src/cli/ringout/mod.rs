//! `ringout`: the ring-out of a hall, step by step, with what is typed.

pub mod choice;
mod commands;
pub mod live;
