//! How loud it is in the room: from readings re full scale to levels, doses and what to do about them.
//!
//! `calibration` turns readings into levels once they were compared with a real meter or a calibrator (`compare`,
//! `tone`), and says how sure they are; `limits` holds what is allowed, `dose` what was taken, `watch` asks for less.
//! Levels in dB(A) re 20 µPa, peaks in dB(C). This is no sound-level meter of any class, and local rules come first:
//! limits are editable, and without a comparison nothing is claimed about the room.

mod calibration;
mod compare;
mod dose;
mod gate;
mod limits;
mod tone;
mod watch;

pub use calibration::{Calibration, Microphone, Standard, Uncertainty};
pub use compare::{Comparison, Refusal};
pub use dose::{Dose, Exposure};
pub use limits::{ActionValue, Duty, Limits};
pub use tone::{CalibratorLevel, ToneCalibration};
pub use watch::{Cause, SoundAction, SoundAdvice, SoundWatch};
