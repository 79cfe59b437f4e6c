//! What the sound meter says of the room, every 100 ms.
//!
//! Levels are dB re full scale: what they are in the room only a comparison with a real meter tells. The names are those
//! of IEC 61672-1: L, the frequency weighting, the time weighting; `eq` is the mean of the energy. Silence is −∞, and no
//! value is ever NaN.

use crate::meters::BANDS;
use crate::units::{Dbfs, FrameCount, Hertz, SampleRate, Seconds};

/// Octave bands 31.5 Hz … 16 kHz (IEC 61260-1, base 10).
pub const OCTAVE_BANDS: usize = 10;

/// A mean over what was heard of a span.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Leq {
    pub level: Dbfs,
    /// How long was heard.
    pub heard: Seconds,
    /// How long the span is, holes included; at the beginning shorter than was asked for.
    pub span: Seconds,
}

impl Leq {
    /// The share of the span that was not heard, 0 to 1; all of nothing.
    pub fn missing(&self) -> f64 {
        if self.span > Seconds::ZERO { (1.0 - self.heard.get() / self.span.get()).max(0.0) } else { 1.0 }
    }
}

/// LAF, looked at every 100 ms: what it exceeded for 10, 50 and 90 % of the time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Percentiles {
    pub l10: Dbfs,
    pub l50: Dbfs,
    pub l90: Dbfs,
}

/// What stands in the third-octave around 1 kHz.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// By its crossings of zero.
    pub frequency: Hertz,
    /// Its share of the whole energy (Z), 0 to 1.
    pub share: f64,
}

/// Mean levels in bands; `None` where the sample rate is too low for one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BandLevels {
    pub octaves: [Option<Dbfs>; OCTAVE_BANDS],
    pub thirds: [Option<Dbfs>; BANDS],
}

impl Default for BandLevels {
    fn default() -> Self {
        Self { octaves: [None; OCTAVE_BANDS], thirds: [None; BANDS] }
    }
}

/// After a stretch of 100 ms of which something was heard.
#[derive(Clone, Copy, Debug)]
pub struct SoundReadings {
    pub rate: SampleRate,
    /// The end of the stretch, lost frames included.
    pub at: FrameCount,
    /// At its end.
    pub laf: Dbfs,
    pub las: Dbfs,
    pub lcf: Dbfs,
    pub lzf: Dbfs,
    /// The highest LAF within it.
    pub laf_highest: Dbfs,
    /// The highest LAF so far.
    pub laf_max: Dbfs,
    /// The highest C-weighted peak within it, between samples too.
    pub lc_peak: Dbfs,
    /// The highest so far.
    pub lc_peak_max: Dbfs,
    /// LAeq of the 100 ms themselves, the last second, minute, quarter of an hour, and all.
    pub newest: Leq,
    pub second: Leq,
    pub minute: Leq,
    pub quarter: Leq,
    pub whole: Leq,
    /// `None` while nothing was heard.
    pub percentiles: Option<Percentiles>,
    /// Not weighted; 0 dBFS is as far as the input goes.
    pub sample_peak: Dbfs,
    /// NaN and ±∞ samples so far, read as 0.
    pub invalid_samples: u64,
    pub tone: Option<Tone>,
    /// Of the 100 ms.
    pub bands: BandLevels,
    /// Of all that was heard.
    pub whole_bands: BandLevels,
}

impl SoundReadings {
    pub(super) fn new(rate: SampleRate) -> Self {
        Self {
            rate,
            at: FrameCount::ZERO,
            laf: Dbfs::SILENCE,
            las: Dbfs::SILENCE,
            lcf: Dbfs::SILENCE,
            lzf: Dbfs::SILENCE,
            laf_highest: Dbfs::SILENCE,
            laf_max: Dbfs::SILENCE,
            lc_peak: Dbfs::SILENCE,
            lc_peak_max: Dbfs::SILENCE,
            newest: Leq::default(),
            second: Leq::default(),
            minute: Leq::default(),
            quarter: Leq::default(),
            whole: Leq::default(),
            percentiles: None,
            sample_peak: Dbfs::SILENCE,
            invalid_samples: 0,
            tone: None,
            bands: BandLevels::default(),
            whole_bands: BandLevels::default(),
        }
    }

    /// Seconds since the source began.
    pub fn time(&self) -> Seconds {
        self.at.at(self.rate)
    }
}
