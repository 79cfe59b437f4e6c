//! The rig before it is carried in: what is plugged into what, whether that is right, loud enough, and all there.
//!
//! Names `units` only; no I/O, no text. Ports and wires are properties ([`port`], [`wire`]), verdicts follow from them
//! ([`rules`]); a rig is a graph of things and wires ([`rig`]), and [`checks`] goes through all of it.
//! Levels in dBu, lengths in metres, impedances in ohms. Edge cases: a rig may hold anything, loops and nonsense
//! included; every check ends and none panics.

mod channels;
pub mod checks;
pub mod counts;
mod cues;
pub mod cures;
pub mod gear;
pub mod hall;
pub mod kind;
pub mod loading;
pub mod port;
pub mod quantity;
pub mod rig;
pub mod routing;
pub mod rules;
pub mod signals;
pub mod sums;
pub mod verdict;
pub mod wire;
