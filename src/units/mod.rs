//! Newtypes for quantities whose mix-up would be silent, and the words for what is plugged in.
//!
//! A level (`Dbfs`, `Dbu`, `Lufs`) is a point, a `Db` is a difference: level − level = difference,
//! level ± difference = level, and two levels cannot be added. Frames are counted per channel.
//! Names only `std`.

mod id;
mod kind;
mod level;
mod time;

pub use id::ChannelId;
pub use kind::SourceKind;
pub use level::{Db, Dbfs, Dbu, Dbv, Lufs, Spl};
pub use time::{FrameCount, Hertz, SampleRate, Seconds};
