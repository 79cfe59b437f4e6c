//! Where samples come from: recordings (`file`), a device (`live`), simulated performers (`stage`).
//!
//! All three give blocks through one trait, so that nothing further on knows which it hears.
//! Names `units`, `block` and `dsp` only.

pub mod file;
pub mod live;
pub mod stage;

use crate::block::{BlockBuf, Format};

/// Whether more will come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    More,
    /// The recording is over, or the stage was struck.
    End,
}

/// Something that gives samples.
pub trait Source {
    /// What is wrong when it stops giving them.
    type Error: std::error::Error + Send + Sync + 'static;

    fn format(&self) -> Format;

    /// Restarts `block` at the next frame and fills it up to its capacity, or with what there is.
    /// A live source waits a moment for samples and may return none.
    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, Self::Error>;

    /// Why nothing comes for now, and how to mend it.
    fn lost(&self) -> Option<String> {
        None
    }
}
