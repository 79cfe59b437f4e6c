//! From what was sent and what came back to what it means: how far a loop is from ringing, what a seat hears.
//!
//! `sweep` turns a sent and a captured signal into an impulse response, or says why it does not; `margin` and
//! `cuts` judge a loop by it, `decay`, `background` and `speech` a seat. Everything here is a pure function of samples and
//! numbers: no clock, no device, no text. What cannot be measured is `None`, or a refusal with its numbers.
//! Names only `units`, `block` and `dsp`.

pub mod background;
pub mod cuts;
pub mod decay;
pub mod delay;
mod fourier;
pub mod impulse;
mod knee;
pub mod margin;
mod octave;
pub mod pauses;
pub mod speech;
pub mod sweep;
