//! A soft noise for two sides: which loudspeaker is which, and do they pull together?
//!
//! In: rate in Hz, a seed, which sides sound. Out: two planes of amplitudes, 1.0 = full scale. White noise through a
//! first-order high-pass (100 Hz) and low-pass (1 kHz): high enough to be placed by ear, low enough that two
//! loudspeakers against each other lose their body. Its peaks never pass −30 dBFS. Every change takes 50 ms.
//! `Sides::Reversed` turns the right side upside down. Pure arithmetic: no clock, no allocation.

use std::f64::consts::TAU;

use crate::units::{Dbfs, SampleRate, Seconds};

/// No sample is ever louder.
pub const SIDE_NOISE_PEAK: Dbfs = Dbfs::new(-30.0);
const RAMP: Seconds = Seconds::new(0.05);
const HIGH_PASS: f64 = 100.0;
const LOW_PASS: f64 = 1000.0;

/// What sounds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sides {
    #[default]
    Neither,
    Left,
    Right,
    /// Both alike.
    Same,
    /// Both, the right one upside down.
    Reversed,
}

impl Sides {
    pub const ALL: [Self; 5] = [Self::Neither, Self::Left, Self::Right, Self::Same, Self::Reversed];

    const fn gains(self) -> [f64; 2] {
        match self {
            Self::Neither => [0.0, 0.0],
            Self::Left => [1.0, 0.0],
            Self::Right => [0.0, 1.0],
            Self::Same => [1.0, 1.0],
            Self::Reversed => [1.0, -1.0],
        }
    }
}

#[derive(Clone, Debug)]
pub struct SideNoise {
    seed: u32,
    high: f64,
    low: f64,
    passes: [f64; 2],
    gains: [f64; 2],
    target: [f64; 2],
    /// The most that a gain moves in one sample.
    step: f64,
    peak: f64,
}

impl SideNoise {
    /// Silent until `play`.
    pub fn new(rate: SampleRate, seed: u32) -> Self {
        let hz = f64::from(rate.get());
        Self {
            seed,
            high: 0.0,
            low: 0.0,
            passes: [HIGH_PASS, LOW_PASS].map(|corner| 1.0 - (-TAU * corner / hz).exp()),
            gains: [0.0; 2],
            target: [0.0; 2],
            step: 1.0 / (RAMP.get() * hz),
            peak: SIDE_NOISE_PEAK.amplitude(),
        }
    }

    pub fn play(&mut self, sides: Sides) {
        self.target = sides.gains();
    }

    /// Neither side sounds any more.
    pub fn is_silent(&self) -> bool {
        self.target == [0.0; 2] && self.gains == [0.0; 2]
    }

    /// The next frame: left, right.
    pub fn next_frame(&mut self) -> [f32; 2] {
        self.seed = self.seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let white = f64::from(self.seed >> 8) / 8_388_608.0 - 1.0;
        self.low += self.passes[1] * (white - self.low);
        self.high += self.passes[0] * (self.low - self.high);
        // Twice as loud: the low-pass leaves little of the peaks.
        let sound = (2.0 * (self.low - self.high)).clamp(-1.0, 1.0) * self.peak;
        for (gain, target) in self.gains.iter_mut().zip(self.target) {
            *gain += (target - *gain).clamp(-self.step, self.step);
        }
        self.gains.map(|gain| (gain * sound) as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn played(noise: &mut SideNoise, sides: Sides) -> Vec<[f32; 2]> {
        noise.play(sides);
        (0..2500).for_each(|_| _ = noise.next_frame());
        (0..4800).map(|_| noise.next_frame()).collect()
    }

    #[test]
    fn each_choice_sounds_where_it_should_and_never_loud() {
        for rate in [8_000, 48_000, 192_000] {
            let mut noise = SideNoise::new(SampleRate::new(rate).unwrap(), 1);
            let mut power = |sides| {
                let frames = played(&mut noise, sides);
                assert!(frames.iter().flatten().all(|x| x.abs() <= 0.031_623));
                let of = |side: fn(&[f32; 2]) -> f32| frames.iter().map(|f| f64::from(side(f)).powi(2)).sum::<f64>();
                [of(|f| f[0]), of(|f| f[1]), of(|f| f[0] + f[1])]
            };
            // A slower ramp than 2500 frames at 192 kHz is still under way: this many more.
            (0..4).for_each(|_| _ = power(Sides::Same));
            let [left, right, sum] = power(Sides::Same);
            assert!(left > 0.0 && left == right && (sum / left - 4.0).abs() < 1e-6, "{rate}");
            (0..8).for_each(|_| _ = power(Sides::Reversed));
            let [left, _, sum] = power(Sides::Reversed);
            assert!(left > 0.0 && sum < 1e-9 * left, "{rate}: {sum}");
            (0..8).for_each(|_| _ = power(Sides::Left));
            let [left, right, _] = power(Sides::Left);
            assert!(left > 0.0 && right == 0.0);
            (0..8).for_each(|_| _ = power(Sides::Neither));
            assert_eq!(power(Sides::Neither), [0.0; 3]);
            assert!(noise.is_silent());
        }
    }
}
