//! What the tests share: generators of signals with known values, slow obvious references, and a way
//! to run the meters over whole takes.

pub mod howling;
pub mod loops;
pub mod reference;
pub mod signals;
pub mod takes;
