//! Applause: many hands, close to noise.
//!
//! In: readings every 100 ms, all channels together. It is *clapping* where, over the last second, each third octave from 1
//! to 6.3 kHz keeps its level (standard deviation 2.2 dB in the mean; a hundred hands come close to noise, whose bands stray
//! by 1 dB) and none stands 16 dB over another. *Applause* is clapping 12 dB and more
//! over the quietest of before, since the steady noise of an empty pause claps, too. Own working values. Edge cases: noise
//! that is played counts.

use crate::meters::Readings;
use crate::units::{Db, Dbfs};

/// Third octaves 1 kHz to 6.3 kHz.
const BANDS: std::ops::Range<usize> = 16..25;
const COUNT: usize = BANDS.end - BANDS.start;
const STEADY: f64 = 2.2;
const EVEN: f64 = 16.0;
/// Power of a band in which there is nothing.
const NOTHING: f64 = 1e-12;

/// The last second of it.
#[derive(Clone, Debug, Default)]
pub struct Clapping {
    /// dB, in a ring.
    newest: [[f64; COUNT]; Self::LOOK],
    frames: usize,
}

impl Clapping {
    /// Frames that tell.
    pub const LOOK: usize = 10;

    /// A complete frame: whether the second that ends with it is clapping.
    pub fn observe(&mut self, readings: &Readings) -> bool {
        let mut bands = [NOTHING; COUNT];
        for channel in &readings.channels {
            for (sum, band) in bands.iter_mut().zip(&channel.frame.bands[BANDS]) {
                *sum += f64::from(*band);
            }
        }
        self.newest[self.frames % Self::LOOK] = bands.map(|power| 10.0 * power.log10());
        self.frames += 1;
        self.frames >= Self::LOOK && self.is_clapping()
    }

    fn is_clapping(&self) -> bool {
        let (mut strays, mut highest, mut lowest) = (0.0, f64::NEG_INFINITY, f64::INFINITY);
        for band in 0..COUNT {
            let mean = self.newest.iter().map(|frame| frame[band]).sum::<f64>() / Self::LOOK as f64;
            let square = self.newest.iter().map(|frame| (frame[band] - mean).powi(2)).sum::<f64>() / Self::LOOK as f64;
            strays += square.sqrt() / COUNT as f64;
            (highest, lowest) = (highest.max(mean), lowest.min(mean));
        }
        strays < STEADY && highest - lowest < EVEN
    }
}

/// Applause stands this far over the quietest of before, which is forgotten at half a decibel a minute.
const OVER_QUIET: Db = Db::new(12.0);
const FORGETS: Db = Db::new(0.1 * 0.5 / 60.0);
const SILENCE: Dbfs = Dbfs::new(-100.0);

/// Clapping that is loud.
#[derive(Clone, Debug, Default)]
pub struct Applause {
    clapping: Clapping,
    quiet: Option<Dbfs>,
}

impl Applause {
    /// A complete frame: whether people clap.
    pub fn observe(&mut self, readings: &Readings) -> bool {
        let level = readings.channels.iter().map(|channel| channel.frame.rms).fold(SILENCE, Dbfs::max);
        let quiet = self.quiet.map_or(level, |quiet| (quiet + FORGETS).min(level));
        self.quiet = Some(quiet);
        self.clapping.observe(readings) && level > quiet + OVER_QUIET
    }
}
