//! Which channel: counted from 0 inside, from 1 wherever a person reads it.

/// A channel of the source, counted from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ChannelId(u16);

impl ChannelId {
    /// The most channels a source may have.
    pub const MAX_CHANNELS: usize = 64;

    pub const fn new(index: u16) -> Self {
        Self(index)
    }

    pub const fn from_index(index: usize) -> Self {
        Self(index as u16)
    }

    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// The number printed on the desk: counted from 1.
    pub const fn number(self) -> u16 {
        self.0 + 1
    }
}
