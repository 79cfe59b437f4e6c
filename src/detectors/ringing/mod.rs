//! Rings: acoustic feedback, heard while it is still quiet, told from a held note.

mod ring;

pub use ring::{Certainty, Ring, Signs};
