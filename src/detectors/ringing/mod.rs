//! Rings: acoustic feedback, heard while it is still quiet, told from a held note.

mod ring;
pub mod signs;
mod track;

pub use ring::{Certainty, Ring, Signs};

use crate::meters::Readings;

/// exploration
pub struct Explore { tracks: track::Tracks, count: u64, pub out: Vec<(u32, u64, [f32; 46])> }
impl Explore {
    pub fn new() -> Self { Self { tracks: track::Tracks::new(), count: 0, out: vec![] } }
    pub fn observe(&mut self, readings: &Readings) {
        let spectrum = &readings.channels[0].spectrum;
        if spectrum.count == self.count { return; }
        self.count = spectrum.count;
        self.tracks.follow(spectrum);
        let all: Vec<_> = self.tracks.iter().map(|t| (t.peak.frequency.get(), t.pace, t.age, t.point(0).map_or(0.0, |p| f64::from(p.height)))).collect();
        for t in self.tracks.iter() {
            if let Some(v) = signs::features(t, &all) { self.out.push((t.id, readings.at.get(), v)); }
        }
    }
}
