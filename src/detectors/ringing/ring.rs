//! One ring, as the detector knows it: what it is, how fast it grows, how sure that is.

use crate::units::{ChannelId, Db, Dbfs, Hertz, Seconds};

/// A tone on a line that is, or may be, feedback.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// The same as long as it is the same ring; another ring never has it.
    pub id: u32,
    pub channel: ChannelId,
    pub certainty: Certainty,
    pub frequency: Hertz,
    /// The tone alone, as the RMS of a sine.
    pub level: Dbfs,
    /// dB per second; negative while it dies away.
    pub growth: f64,
    /// By how much the loop is over the limit: from the growth and the loop's delay, so a rough number.
    pub excess: Option<Db>,
    /// Until it meets full scale, if it goes on so.
    pub clips_in: Option<Seconds>,
    /// When its track begins: the first frame in which it can be seen.
    pub start: Seconds,
    /// When it was first reported with this certainty.
    pub reported: Seconds,
    pub end: Option<Seconds>,
    pub signs: Signs,
}

/// How sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Certainty {
    /// To be tested by dropping the fader 3 dB.
    Possible,
    /// To be acted on.
    Ringing,
}

/// The evidence for a ring, each a number of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Signs {
    /// Width 10 dB below its top, as a share of its frequency.
    pub width: f64,
    /// Largest departure from its mean frequency, as a share of it.
    pub wander: f64,
    /// Straightness of its level in dB over time: r² of the line through it.
    pub straight: f64,
    /// Height over the median of its surroundings (a third of an octave each way).
    pub height: Db,
    /// The strongest harmonic below it; `None`: none can be seen.
    pub harmonics: Option<Db>,
    /// How long it has stood.
    pub stood: Seconds,
}
