//! Seeded chance: the same numbers for a seed on every machine and in later versions.
//!
//! PCG-XSH-RR 64/32 (M. E. O'Neill, 2014); the fractions are drawn here, so that no distribution of
//! another library can change them.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;

pub struct Dice(Pcg32);

impl Dice {
    /// Streams of one seed are independent of each other.
    pub fn new(seed: u64, stream: u64) -> Self {
        Self(Pcg32::new(mixed(seed), mixed(stream ^ seed.rotate_left(32))))
    }

    /// 0 ≤ x < 1.
    pub fn unit(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 4_294_967_296.0
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// One of `count` things; 0 of none.
    pub fn pick(&mut self, count: usize) -> usize {
        ((self.unit() * count as f64) as usize).min(count.saturating_sub(1))
    }

    /// White noise, evenly spread over ±1 (mean square 1/3).
    pub fn noise(&mut self) -> f64 {
        f64::from(self.0.next_u32() as i32) / 2_147_483_648.0
    }

    /// Two independent noises, each evenly spread over ±1 in 16-bit steps.
    pub fn two_noises(&mut self) -> (f32, f32) {
        let bits = self.0.next_u32();
        (f32::from(bits as i16) / 32768.0, f32::from((bits >> 16) as i16) / 32768.0)
    }
}

/// Spreads neighbouring seeds apart (the finaliser of SplitMix64, Steele and others, 2014).
fn mixed(seed: u64) -> u64 {
    let mut x = seed.wrapping_add(0x9E37_79B9_7F4A_7C15);
    x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ (x >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An even spread over ±1 has the mean 0 and the mean square 1/3.
    #[test]
    fn noise_has_its_moments() {
        let mut dice = Dice::new(1, 2);
        let draws: Vec<f64> = (0..100_000).map(|_| dice.noise()).collect();
        let mean = draws.iter().sum::<f64>() / 1e5;
        let square = draws.iter().map(|x| x * x).sum::<f64>() / 1e5;
        assert!(mean.abs() < 0.01 && (square - 1.0 / 3.0).abs() < 0.005, "{mean} {square}");
    }

    #[test]
    fn a_seed_gives_its_own_numbers_again() {
        let draws = |seed, stream| (0..8).map(|_| Dice::new(seed, stream).unit()).sum::<f64>();
        assert_eq!(draws(7, 1), draws(7, 1));
        assert_ne!(draws(7, 1), draws(7, 2));
        assert_ne!(draws(7, 1), draws(8, 1));
    }
}
