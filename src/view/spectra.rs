//! The spectrum of each line over the last seconds, in the third-octave bands that desks and handbooks use.
//!
//! Places are shares of the picture: left to right the thirty bands 25 Hz to 20 kHz (IEC 61260-1), equally wide; bottom
//! to top −90 dBFS to full scale. Edge cases: a line that was never heard has no spectrum; silence lies on the bottom.

use crate::engine::Snapshot;
use crate::meters::{BANDS, Readings};
use crate::units::ChannelId;

/// What newest 100 ms count for: the mean follows within two seconds and stands still enough to be read.
const NEWEST: f32 = 0.05;
const QUIETEST: f64 = -90.0;
/// Bands that are lettered, with what is printed on them (ISO 266).
const PRINTED: [(usize, &str); 5] = [(4, "63"), (10, "250"), (16, "1k"), (22, "4k"), (28, "16k")];

#[derive(Clone, Debug, Default)]
pub struct Spectra {
    lines: Vec<[f32; BANDS]>,
    frames: u64,
}

impl Spectra {
    pub fn follow(&mut self, snapshot: &Snapshot) {
        let readings: &Readings = &snapshot.readings;
        if readings.frames == self.frames {
            return;
        }
        self.frames = readings.frames;
        self.lines.resize(readings.channels.len(), [0.0; BANDS]);
        for (mean, reading) in self.lines.iter_mut().zip(&readings.channels) {
            for (mean, newest) in mean.iter_mut().zip(reading.frame.bands) {
                *mean += NEWEST * (newest - *mean);
            }
        }
    }

    /// How high each band stands, low to high.
    pub fn heights(&self, line: ChannelId) -> Option<[f64; BANDS]> {
        let level = |power: f32| 10.0 * f64::from(power).max(1e-30).log10();
        let bands = self.lines.get(line.index())?;
        Some(bands.map(|power| (1.0 - level(power) / QUIETEST).clamp(0.0, 1.0)))
    }
}

/// Where letters stand under the bands: the middle of a band, and what is printed.
pub fn printed() -> impl Iterator<Item = (f64, &'static str)> {
    PRINTED.into_iter().map(|(band, name)| ((band as f64 + 0.5) / BANDS as f64, name))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meters::band_centre;

    #[test]
    fn letters_stand_under_their_bands() {
        for (band, name) in PRINTED {
            let printed: f64 = name.replace('k', "000").parse().unwrap();
            let ratio = band_centre(band).get() / printed;
            assert!((0.98..1.02).contains(&ratio), "{name}: {ratio}");
        }
    }

    #[test]
    fn a_band_stands_as_high_as_it_is_loud() {
        let mut bands = [0.0; BANDS];
        (bands[16], bands[20]) = (1.0, 10f32.powf(-4.5));
        let spectra = Spectra { lines: vec![bands], frames: 1 };
        let heights = spectra.heights(ChannelId::new(0)).unwrap();
        assert_eq!((heights[0], heights[16]), (0.0, 1.0));
        assert!((heights[20] - 0.5).abs() < 1e-6, "{}", heights[20]);
        assert_eq!(spectra.heights(ChannelId::new(1)), None);
    }
}
