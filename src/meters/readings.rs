//! What the meters say: plain values that detectors, coach and faces read.
//!
//! Two grids of time, both counted in frames from the start: a *hop* is 10 ms, a *frame* 100 ms (ten
//! hops). Powers are mean squares re full scale (a full-scale sine has 0.5). Silence is −∞ dBFS, and no
//! value is ever NaN: invalid samples (NaN, ±∞) count as 0 and are counted.

pub use super::sound::readings::{BandLevels, Leq, Percentiles, SoundReadings, Tone};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, Hertz, Lufs, SampleRate, Seconds};

/// Third-octave bands 25 Hz … 20 kHz (IEC 61260-1, base 10): band `b` is centred on 1000 · 10^((b − 16)/10) Hz.
pub const BANDS: usize = 30;

/// Everything after the newest hop.
#[derive(Clone, Debug)]
pub struct Readings {
    pub rate: SampleRate,
    /// The end of the newest hop.
    pub at: FrameCount,
    /// Frames lost just before the newest hop; readings that span them are marked by `since`.
    pub gap: FrameCount,
    /// Complete 100 ms frames so far.
    pub frames: u64,
    /// Whether the newest hop completed one, so that the channels' `frame` and `recent` are new.
    pub frame_complete: bool,
    pub channels: Vec<ChannelReadings>,
    pub programme: Programme,
    /// The newest answer of the pair meter, if it looked at a pair in this hop.
    pub pair: Option<PairLag>,
}

/// One channel.
#[derive(Clone, Debug, Default)]
pub struct ChannelReadings {
    pub hop: Hop,
    pub frame: Frame,
    pub whole: Whole,
    pub recent: Activity,
    /// Flat runs that ended in the newest hop.
    pub runs: Vec<FlatRun>,
    /// The newest short-time spectrum; stays empty unless the meters were asked for it.
    pub spectrum: Spectrum,
    /// The newest frame at the multiples of the mains; stays zero unless the meters were asked for it.
    pub mains: MainsLines,
}

/// Multiples of 50 and of 60 Hz, ten of each; 300 Hz belongs to both.
pub const MAINS_HERTZ: [u16; 19] =
    [50, 60, 100, 120, 150, 180, 200, 240, 250, 300, 350, 360, 400, 420, 450, 480, 500, 540, 600];

/// What the newest 100 ms hold at each of [`MAINS_HERTZ`]: real and imaginary part, a full-scale sine being 1 long.
/// 100 ms are whole periods of all of them, so none leaks into another.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MainsLines {
    /// How many frames there have been: a change tells a new one.
    pub count: u64,
    pub lines: [[f32; 2]; MAINS_HERTZ.len()],
}

/// The newest 10 ms.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hop {
    pub sample_peak: Dbfs,
    pub true_peak: Dbfs,
    pub rms: Dbfs,
}

/// The newest complete 100 ms.
#[derive(Clone, Copy, Debug, Default)]
pub struct Frame {
    pub sample_peak: Dbfs,
    pub true_peak: Dbfs,
    pub rms: Dbfs,
    /// Mean square in each third-octave band.
    pub bands: [f32; BANDS],
}

/// Since the source began (or since `Meters::restart`), gaps left out.
#[derive(Clone, Copy, Debug, Default)]
pub struct Whole {
    pub length: Seconds,
    pub sample_peak: Dbfs,
    pub true_peak: Dbfs,
    /// Plain root mean square: a full-scale sine reads −3.01 dBFS.
    pub rms: Dbfs,
    /// Mean of the samples, full scale = 1.
    pub dc: f64,
    /// NaN and ±∞ samples, read as 0.
    pub invalid_samples: u64,
}

impl Whole {
    /// Sample peak − RMS; `None` in silence.
    pub fn crest(&self) -> Option<Db> {
        (!self.rms.is_silence()).then(|| self.sample_peak - self.rms)
    }
}

/// Active level and noise floor. 100 ms frames are *active* above max(floor + 12 dB, loud level − 30 dB);
/// the floor is the 10th, the loud level the 95th percentile of the frames' RMS.
#[derive(Clone, Copy, Debug, Default)]
pub struct Activity {
    /// `None`: it lies less than 12 dB under the median, so no pause was heard yet.
    pub floor: Option<Dbfs>,
    pub loud: Dbfs,
    /// Level above which a frame is active.
    pub threshold: Dbfs,
    /// RMS of the active frames (A).
    pub active_level: Dbfs,
    /// 95th percentile of the 400 ms windows' true peaks in active time (P95).
    pub peak_95: Dbfs,
    pub active_time: Seconds,
    /// Whether the newest frame was active.
    pub active_now: bool,
}

impl Activity {
    /// P95 − A; `None` before anything was active.
    pub fn crest(&self) -> Option<Db> {
        (!self.active_level.is_silence() && !self.peak_95.is_silence()).then(|| self.peak_95 - self.active_level)
    }
}

/// A run of three or more equal samples at a local extreme: at full scale, or below it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlatRun {
    pub start: FrameCount,
    pub samples: u32,
    /// Its value; the sign tells which half-wave.
    pub value: f32,
    /// How far the slopes of its neighbours would have carried the wave above it.
    pub overshoot: Db,
}

/// The tones that stand out of the newest 171 ms.
#[derive(Clone, Debug, Default)]
pub struct Spectrum {
    /// How many there have been: a change tells a new one.
    pub count: u64,
    /// The first of a stretch without a gap: what is in it may have begun before.
    pub fresh: bool,
    /// Everything together.
    pub level: Dbfs,
    /// In order of frequency.
    pub peaks: Vec<Peak>,
    /// For the eye: the highest line of each 24th of an octave, from [`Spectrum::LOWEST`] up; mean square, full
    /// scale = 1. As many as the rate has room for.
    pub columns: Vec<f32>,
}

impl Spectrum {
    /// Where the columns begin.
    pub const LOWEST: Hertz = Hertz::new(70.0);
    pub const PER_OCTAVE: usize = 24;
}

/// A tone that stands at least 9 dB over its surroundings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Peak {
    pub frequency: Hertz,
    /// The tone alone: a full-scale sine reads −3.01.
    pub level: Dbfs,
    /// 10 dB below its top; a steady tone has about 15 Hz.
    pub width: Hertz,
    /// What noise like that around it (median of a third of an octave each way) would read in its place.
    pub surroundings: Dbfs,
    /// The stronger of the lines at twice and three times its frequency, if one stands out.
    pub over: Dbfs,
    /// The strongest line at 1/3, 1/2, 2/3 and 3/2 of it: is it itself a harmonic?
    pub under: Dbfs,
}

/// Loudness of all channels together (ITU-R BS.1770-5, EBU Tech 3341 and 3342).
#[derive(Clone, Copy, Debug, Default)]
pub struct Programme {
    /// Last 400 ms and its highest, on a 10 ms grid.
    pub momentary: Lufs,
    pub momentary_max: Lufs,
    /// Last 3 s and its highest, on a 10 ms grid.
    pub short_term: Lufs,
    pub short_term_max: Lufs,
    /// Gated, since the start.
    pub integrated: Lufs,
    /// EBU Tech 3342; `None` until there is something above the gates.
    pub range: Option<Db>,
    pub true_peak: Dbfs,
}

/// How the quieter of two channels resembles the louder, over the last 100 ms and more.
#[derive(Clone, Copy, Debug)]
pub struct PairLag {
    pub quiet: ChannelId,
    pub loud: ChannelId,
    /// How much later the quiet one has it; negative: earlier.
    pub lag: Seconds,
    /// Normalised correlation at that lag, 0 to 1.
    pub correlation: f64,
    /// One is the other upside down.
    pub inverted: bool,
}

/// The exact midband frequency of third-octave band `band`.
pub fn band_centre(band: usize) -> Hertz {
    Hertz::new(1000.0 * 10f64.powf((band as f64 - 16.0) / 10.0))
}

/// The whole take, when it is over.
#[derive(Clone, Debug)]
pub struct Summary {
    pub channels: Vec<ChannelSummary>,
    pub programme: Programme,
}

/// One channel of a take: `take` is `Activity` over all of it.
#[derive(Clone, Copy, Debug, Default)]
pub struct ChannelSummary {
    pub whole: Whole,
    pub take: Activity,
}
