//! One ring, as the detector knows it: what it is, how fast it grows, how sure that is.

use crate::units::{ChannelId, Db, Dbfs, Hertz, Seconds};

/// A tone on a line that is, or may be, feedback.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// The same as long as it is the same ring; another ring never has it.
    pub id: u32,
    pub channel: ChannelId,
    pub certainty: Certainty,
    /// The best estimate so far; it rests once the ring no longer grows.
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

/// Something that happened to a ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RingEvent {
    /// Reported for the first time with this certainty.
    Said(Ring),
    /// Gone, or no ring after all.
    Ended(Ring),
}

/// The evidence for a ring, each a number of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Signs {
    /// Width 10 dB below its top, as a share of its frequency.
    pub width: f64,
    /// Departure from its mean frequency (root mean square along the line), as a share of it.
    pub wander: f64,
    /// The same over what the surrounding noise would make it.
    pub unsteady: f64,
    /// Straightness of its level in dB over time: r² of the line through it.
    pub straight: f64,
    /// Height over the median of its surroundings (a third of an octave each way).
    pub height: Db,
    /// The strongest harmonic below it; `None`: none can be seen.
    pub harmonics: Option<Db>,
    /// The strongest line whose harmonic it could be, below it.
    pub under: Option<Db>,
    /// How long it has stood.
    pub stood: Seconds,
    /// How long the newest straight line of its level in dB is.
    pub line: Seconds,
    /// Its slope, dB per second.
    pub growth: f64,
    /// What it climbed along that line.
    pub rise: Db,
    /// Root mean square departure from the line.
    pub rough: Db,
    /// By how much the line has bent at its end: change of slope, as a share of it.
    pub bend: f64,
    /// How far it stands over all it was when it was first seen.
    pub climbed: Db,
    /// Share of the last second in which it rose.
    pub rising: f64,
    /// Largest rise within 60 ms since it began: an attack.
    pub leap: Db,
    /// The strongest tone at a whole multiple of it, below it.
    pub partials: Option<Db>,
    /// Tones at whole multiples of one fundamental with it, over what chance would put there.
    pub comb: f64,
    /// Over its surroundings where its line begins.
    pub foot: Db,
    /// What it climbed since that rise.
    pub after_leap: Db,
    /// Share of the line's points that other sound covered.
    pub covered: f64,
    /// Its age over that of the other tones (their median), lb.
    pub older: f64,
    /// Tones in small ratios to it that have stood as long as its line.
    pub kin: u8,
    /// Those that climbed as it did along its line.
    pub kin_rising: u8,
    /// All tones that climbed as it did along its line.
    pub peers: u8,
    /// Over all other sound of the channel.
    pub share: Db,
    /// Other tones of the channel in small whole-number ratios to it that rise as it does.
    pub family_rising: u8,
    /// Partials of one sound with it: tones in equal steps around it, one of which at least rises as it does.
    pub series: u8,
    /// Other tones that rise as it does.
    pub alike: u8,
    /// Other channels with the same tone.
    pub elsewhere: u8,
    /// A ring at this frequency ended here before.
    pub returned: bool,
}
