//! A channel's noise, its trim knob and the converter behind it.
//!
//! Sound and noise before the knob are amplified by the trim; the converter adds a small noise of its
//! own and clips at the full scale of 24 bits (−1 to 1 − 2⁻²³). A turned knob glides for 0.3 s, evenly in dB.

use super::dice::Dice;
use crate::units::{Db, Dbfs};

/// The knob's travel.
pub const TRIM_RANGE: (Db, Db) = (Db::new(0.0), Db::new(60.0));
const GLIDE_SECONDS: f64 = 0.3;
/// The converter's own noise, RMS.
const CONVERTER_FLOOR: Dbfs = Dbfs::new(-112.0);
const FULL_SCALE: f32 = 1.0 - 1.0 / 8_388_608.0;
/// An input's own noise with nothing at its other end, before the knob: some −128 dBu (20 kHz) where +20 dBu are full scale.
const BARE: Dbfs = Dbfs::new(-148.0);
/// Noise is dull above, Hz.
const NOISE_CORNER: f64 = 6000.0;

pub struct Preamp {
    trim: Db,
    gain: f64,
    target: f64,
    step: f64,
    glide_left: u32,
    glide_frames: u32,
    /// RMS of the noise before the knob.
    floor: f64,
    noise_gain: f32,
    bare_gain: f32,
    noise_pass: f32,
    noise_state: f32,
    converter_gain: f32,
    dice: Dice,
}

impl Preamp {
    /// `floor`: the noise before the knob, as dBFS at a trim of 0 dB.
    pub fn new(trim: Db, floor: Dbfs, dice: Dice, rate: f64) -> Self {
        let trim = trim.max(TRIM_RANGE.0).min(TRIM_RANGE.1);
        let pass = 1.0 - (-std::f64::consts::TAU * NOISE_CORNER.min(0.4 * rate) / rate).exp();
        // An even spread has the mean square 1/3; the first-order low-pass keeps k/(2 − k) of it.
        let kept = (pass / (2.0 - pass) / 3.0).sqrt();
        Self {
            trim,
            gain: trim.ratio(),
            target: trim.ratio(),
            step: 1.0,
            glide_left: 0,
            glide_frames: (GLIDE_SECONDS * rate) as u32,
            floor: floor.amplitude(),
            noise_gain: (floor.amplitude() / kept) as f32,
            bare_gain: (BARE.amplitude() / kept) as f32,
            noise_pass: pass as f32,
            noise_state: 0.0,
            converter_gain: (CONVERTER_FLOOR.amplitude() * 3f64.sqrt()) as f32,
            dice,
        }
    }

    /// Where the knob stands, or will stand when it has glided there.
    pub fn trim(&self) -> Db {
        self.trim
    }

    /// Turns the knob as far as its ends allow; what it moved.
    pub fn turn(&mut self, by: Db) -> Db {
        let by = if by.get().is_nan() { Db::ZERO } else { by };
        let to = (self.trim + by).max(TRIM_RANGE.0).min(TRIM_RANGE.1);
        let moved = to - self.trim;
        self.trim = to;
        self.target = to.ratio();
        self.glide_left = self.glide_frames.max(1);
        self.step = (self.target / self.gain).powf(1.0 / f64::from(self.glide_left));
        moved
    }

    /// RMS of the noise at the present trim.
    pub fn floor(&self) -> Dbfs {
        Dbfs::from_power((self.floor * self.trim.ratio()).powi(2) + CONVERTER_FLOOR.power())
    }

    /// From what the input hears to what the converter gives; a bare one has neither a microphone's noise nor a room's.
    pub fn convert(&mut self, heard: &mut [f32], bare: bool) {
        let noise_gain = if bare { self.bare_gain } else { self.noise_gain };
        for sample in heard {
            if self.glide_left > 0 {
                self.glide_left -= 1;
                self.gain = if self.glide_left == 0 { self.target } else { self.gain * self.step };
            }
            let (hiss, converter) = self.dice.two_noises();
            self.noise_state += self.noise_pass * (hiss - self.noise_state);
            let before = *sample + noise_gain * self.noise_state;
            let after = self.gain as f32 * before + self.converter_gain * converter;
            *sample = after.clamp(-1.0, FULL_SCALE);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quiet(trim: f64) -> Preamp {
        Preamp::new(Db::new(trim), Dbfs::new(-100.0), Dice::new(1, 1), 48_000.0)
    }

    /// A knob gives its dB exactly: +20 dB is a factor of 10.
    #[test]
    fn the_trim_is_exact_and_ends_at_its_stops() {
        let mut preamp = quiet(10.0);
        assert_eq!(preamp.turn(Db::new(20.0)).get(), 20.0);
        preamp.convert(&mut vec![0.0; 14_400], false);
        let mut one = vec![0.01; 4800];
        preamp.convert(&mut one, false);
        let mean = one.iter().map(|x| f64::from(*x)).sum::<f64>() / 4800.0;
        assert!((20.0 * (mean / 0.01).log10() - 30.0).abs() < 0.01, "{mean}");
        assert_eq!(preamp.turn(Db::new(99.0)).get(), 30.0);
        assert_eq!(preamp.turn(Db::new(f64::NAN)).get(), 0.0);
        assert_eq!(preamp.turn(Db::new(-99.0)).get(), -60.0);
    }

    /// Full scale of a 24-bit converter: the codes −2²³ to 2²³ − 1.
    #[test]
    fn it_clips_at_full_scale() {
        let mut hot = vec![3.0, -3.0];
        quiet(20.0).convert(&mut hot, false);
        assert_eq!(hot, [8_388_607.0 / 8_388_608.0, -1.0]);
    }

    #[test]
    fn its_floor_is_what_it_says() {
        let mut preamp = quiet(30.0);
        let mut noise = vec![0.0; 96_000];
        preamp.convert(&mut noise, false);
        let power = noise.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / noise.len() as f64;
        assert!((Dbfs::from_power(power) - preamp.floor()).abs().get() < 0.1, "{power}");
    }
}
