//! What the tests share: generators of signals with known values, slow obvious references, a way to
//! run the meters over whole takes, signals to other processes.

pub mod howling;
pub mod loops;
pub mod process;
pub mod reference;
pub mod signals;
pub mod takes;
