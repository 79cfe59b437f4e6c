//! `ringout`: the ring-out of a hall, step by step, with what is typed.

mod commands;
pub mod live;
