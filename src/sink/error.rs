//! What can go wrong on the way out, in words that say how to mend it.

use std::path::PathBuf;

use thiserror::Error;

#[derive(Clone, Debug, PartialEq, Error)]
pub enum SinkError {
    #[error(
        "no tone without a confirmed volume. Turn this computer's volume and the desk's fader all the way down, \
         see that nobody stands at a loudspeaker, then confirm"
    )]
    NotArmed,

    #[error("a tone of {pitch} cannot be played at {rate}. Choose 20 Hz to {highest:.0} Hz; 1000 Hz is usual")]
    Pitch { pitch: String, rate: String, highest: f64 },

    #[error("no sound output was found. Connect one, switch it on, and try again")]
    NoDevice,

    #[error("no output device is called \"{asked}\". These are there:\n{offered}")]
    Unknown { asked: String, offered: String },

    #[error("{device} cannot play ({detail}). Close other sound programs, or choose another output")]
    Device { device: String, detail: String },

    #[error("{device} has one channel only: left and right cannot be told apart. Choose an output with two")]
    OneSided { device: String },

    #[error("{device} did not answer within {seconds} seconds. Choose another output, or plug it in again")]
    NoAnswer { device: String, seconds: u64 },

    #[error("{} could not be written ({detail}). Choose a folder that you may write to, with 12 MB free", path.display())]
    Write { path: PathBuf, detail: String },
}
