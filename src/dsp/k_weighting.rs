//! K-weighting (ITU-R BS.1770-5 Annex 1) at any sample rate.
//!
//! The standard prints coefficients for 48 kHz and asks for the same frequency response at other rates.
//! Here both stages are redesigned by the bilinear transform from the analogue prototypes behind those
//! coefficients, and the high-pass is scaled so that its gain at high frequencies is that of the
//! printed one (whose numerator 1, −2, 1 has 0.04 dB more than unity). The transform bends the frequency
//! axis, the more the lower the rate; the shelf's axis is pinned where the standard calibrates, at 997 Hz.
//!
//! In: amplitudes. Out: sums of squares of the weighted signal. State decays to exact 0 in silence.
//! Four samples at a time: with the impulse response and the two homogeneous solutions of each recursion
//! written out four steps ahead, the chain from sample to sample is four times shorter.

use crate::units::{Hertz, SampleRate};
use multiversion::multiversion;

/// Samples of history that the filter looks back in its input.
pub const HISTORY: usize = 4;

/// Coefficients of one second-order stage, a0 = 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    pub b: [f64; 3],
    pub a: [f64; 2],
}

/// Stage 1 (head: high shelf) and stage 2 (RLB: high-pass) for `rate`.
pub fn stages(rate: SampleRate) -> [Stage; 2] {
    let rate = f64::from(rate.get());
    let (a0, a) = high_pass(rate);
    let (printed_a0, _) = high_pass(PRINTED_RATE);
    [shelf(rate), Stage { b: [1.0, -2.0, 1.0].map(|b| b * printed_a0 / a0), a }]
}

/// Gain of both stages at `frequency`, as a factor on amplitude.
pub fn gain(rate: SampleRate, frequency: Hertz) -> f64 {
    let angle = std::f64::consts::TAU * frequency.get() / f64::from(rate.get());
    let magnitude = |c: [f64; 3]| {
        let re = c[0] + c[1] * angle.cos() + c[2] * (2.0 * angle).cos();
        let im = c[1] * angle.sin() + c[2] * (2.0 * angle).sin();
        re.hypot(im)
    };
    stages(rate).iter().map(|stage| magnitude(stage.b) / magnitude([1.0, stage.a[0], stage.a[1]])).product()
}

/// The rate of the printed coefficients, and the frequency at which a full-scale sine reads −3.01 LUFS.
const PRINTED_RATE: f64 = 48_000.0;
const CALIBRATION: f64 = 997.0;

fn shelf(rate: f64) -> Stage {
    const FREQUENCY: f64 = 1681.974450955533;
    const GAIN_DB: f64 = 3.999843853973347;
    const Q: f64 = 0.7071752369554196;
    let warp = |frequency: f64, rate: f64| (std::f64::consts::PI * frequency / rate).tan();
    let k = warp(FREQUENCY, PRINTED_RATE) * warp(CALIBRATION, rate) / warp(CALIBRATION, PRINTED_RATE);
    let high = 10f64.powf(GAIN_DB / 20.0);
    let band = high.powf(0.4996667741545416);
    let a0 = 1.0 + k / Q + k * k;
    Stage {
        b: [(high + band * k / Q + k * k) / a0, 2.0 * (k * k - high) / a0, (high - band * k / Q + k * k) / a0],
        a: [2.0 * (k * k - 1.0) / a0, (1.0 - k / Q + k * k) / a0],
    }
}

/// Its a0 before normalising, and a1, a2 after.
fn high_pass(rate: f64) -> (f64, [f64; 2]) {
    const FREQUENCY: f64 = 38.13547087602444;
    const Q: f64 = 0.5003270373238773;
    let k = (std::f64::consts::PI * FREQUENCY / rate).tan();
    let a0 = 1.0 + k / Q + k * k;
    (a0, [2.0 * (k * k - 1.0) / a0, (1.0 - k / Q + k * k) / a0])
}

/// The filter of one channel.
#[derive(Clone, Debug)]
pub struct KWeighting {
    plan: Plan,
    shelf: [f64; 2],
    high_pass: [f64; 2],
}

impl KWeighting {
    pub fn new(rate: SampleRate) -> Self {
        let [shelf, high_pass] = stages(rate);
        let mut numerator = [0.0; HISTORY + 1];
        for (i, b) in shelf.b.iter().enumerate() {
            for (j, c) in high_pass.b.iter().enumerate() {
                numerator[i + j] += b * c;
            }
        }
        let plan = Plan { numerator, shelf: Recursion::new(shelf.a), high_pass: Recursion::new(high_pass.a) };
        Self { plan, shelf: [0.0; 2], high_pass: [0.0; 2] }
    }

    /// Weights `samples[HISTORY..]` and gives the sum of squares.
    pub fn energy(&mut self, samples: &[f32]) -> f64 {
        let energy = weigh(&self.plan, &mut self.shelf, &mut self.high_pass, samples);
        for state in self.shelf.iter_mut().chain(&mut self.high_pass) {
            // Far under the smallest sample: only a tail that would end in subnormal numbers.
            if state.abs() < 1e-30 {
                *state = 0.0;
            }
        }
        energy
    }

    /// Forgets what it heard.
    pub fn reset(&mut self) {
        self.shelf = [0.0; 2];
        self.high_pass = [0.0; 2];
    }
}

/// Both numerators as one, then the two recursions.
#[derive(Clone, Debug)]
struct Plan {
    numerator: [f64; HISTORY + 1],
    shelf: Recursion,
    high_pass: Recursion,
}

/// y\[n\] = u\[n\] − a1 y\[n−1\] − a2 y\[n−2\], four steps ahead.
#[derive(Clone, Debug)]
struct Recursion {
    a: [f64; 2],
    /// What u\[n + column\] adds to the four outputs.
    columns: [[f64; 4]; 4],
    /// What y\[n−1\] and y\[n−2\] add to them.
    before: [[f64; 4]; 2],
}

impl Recursion {
    fn new(a: [f64; 2]) -> Self {
        let run = |mut y1: f64, mut y2: f64, input: [f64; 4]| {
            input.map(|u| {
                let y = u - a[0] * y1 - a[1] * y2;
                (y2, y1) = (y1, y);
                y
            })
        };
        let columns = std::array::from_fn(|column| {
            run(0.0, 0.0, std::array::from_fn(|row| if row == column { 1.0 } else { 0.0 }))
        });
        Self { a, columns, before: [run(1.0, 0.0, [0.0; 4]), run(0.0, 1.0, [0.0; 4])] }
    }

    #[inline(always)]
    fn four(&self, input: [f64; 4], state: &mut [f64; 2]) -> [f64; 4] {
        let out = std::array::from_fn(|row| {
            let driven = (self.columns[0][row] * input[0] + self.columns[1][row] * input[1])
                + (self.columns[2][row] * input[2] + self.columns[3][row] * input[3]);
            driven + self.before[1][row] * state[1] + self.before[0][row] * state[0]
        });
        *state = [out[3], out[2]];
        out
    }

    #[inline(always)]
    fn one(&self, input: f64, state: &mut [f64; 2]) -> f64 {
        let out = input - self.a[0] * state[0] - self.a[1] * state[1];
        *state = [out, state[0]];
        out
    }
}

#[multiversion(targets("x86_64+avx2"))]
fn weigh(plan: &Plan, shelf: &mut [f64; 2], high_pass: &mut [f64; 2], samples: &[f32]) -> f64 {
    let count = samples.len().saturating_sub(HISTORY);
    let (mut shelf_state, mut high_pass_state) = (*shelf, *high_pass);
    let mut energy = [0f64; 4];
    let whole = count - count % 4;
    for start in (0..whole).step_by(4) {
        let window: &[f32; 8] = samples[start..].first_chunk().unwrap_or(&[0.0; 8]);
        let mut driven = [0f64; 4];
        for tap in 0..=HISTORY {
            for row in 0..4 {
                driven[row] += plan.numerator[tap] * f64::from(window[HISTORY + row - tap]);
            }
        }
        let shelved = plan.shelf.four(driven, &mut shelf_state);
        let weighted = plan.high_pass.four(shelved, &mut high_pass_state);
        for row in 0..4 {
            energy[row] += weighted[row] * weighted[row];
        }
    }
    for end in whole + HISTORY..count + HISTORY {
        let driven = (0..=HISTORY).map(|tap| plan.numerator[tap] * f64::from(samples[end - tap])).sum();
        let shelved = plan.shelf.one(driven, &mut shelf_state);
        let weighted = plan.high_pass.one(shelved, &mut high_pass_state);
        energy[0] += weighted * weighted;
    }
    (*shelf, *high_pass) = (shelf_state, high_pass_state);
    energy.iter().sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate(hz: u32) -> SampleRate {
        SampleRate::new(hz).unwrap()
    }

    /// BS.1770-5 Annex 1, Tables 1 and 2.
    #[test]
    fn printed_coefficients() {
        let [shelf, high_pass] = stages(rate(48_000));
        let printed = [
            (shelf.b, [1.53512485958697, -2.69169618940638, 1.19839281085285]),
            ([1.0, shelf.a[0], shelf.a[1]], [1.0, -1.69065929318241, 0.73248077421585]),
            (high_pass.b, [1.0, -2.0, 1.0]),
            ([1.0, high_pass.a[0], high_pass.a[1]], [1.0, -1.99004745483398, 0.99007225036621]),
        ];
        for (ours, theirs) in printed {
            for (a, b) in ours.iter().zip(theirs) {
                assert!((a - b).abs() < 1e-9, "{a} is not {b}");
            }
        }
    }

    /// Gain of the printed coefficients at 48 kHz, computed from their transfer function.
    #[test]
    fn printed_response() {
        let table = [
            (25.0, -10.393),
            (50.0, -3.934),
            (100.0, -1.134),
            (200.0, -0.265),
            (500.0, 0.043),
            (997.0, 0.6910),
            (1000.0, 0.6977),
            (2000.0, 3.071),
            (4000.0, 3.968),
            (10000.0, 4.042),
            (20000.0, 4.043),
        ];
        for (frequency, expected) in table {
            let db = 20.0 * gain(rate(48_000), Hertz::new(frequency)).log10();
            assert!((db - expected).abs() < 1e-3, "{frequency} Hz: {db} dB, expected {expected}");
        }
    }

    /// The standard asks for the same response at every rate: within 0.05 dB up to its calibration
    /// frequency, within 0.1 dB to 4 kHz from 32 kHz on.
    #[test]
    fn same_response_at_other_rates() {
        for hz in [8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 88_200, 96_000, 192_000] {
            for frequency in [25.0, 50.0, 100.0, 200.0, 500.0, 997.0] {
                let here = 20.0 * gain(rate(hz), Hertz::new(frequency)).log10();
                let there = 20.0 * gain(rate(48_000), Hertz::new(frequency)).log10();
                assert!((here - there).abs() < 0.05, "{hz} Hz, {frequency} Hz: {here} and {there} dB");
            }
            for frequency in [1500.0, 2000.0, 3000.0, 4000.0] {
                let here = 20.0 * gain(rate(hz), Hertz::new(frequency)).log10();
                let there = 20.0 * gain(rate(48_000), Hertz::new(frequency)).log10();
                assert!(hz < 32_000 || (here - there).abs() < 0.1, "{hz} Hz, {frequency} Hz: {here} and {there} dB");
            }
        }
    }

    /// The four-step form against the plain recursion of both stages in turn.
    #[test]
    fn four_steps_equal_one() {
        for length in [1, 3, 4, 110, 441, 480] {
            let mut samples = vec![0f32; HISTORY];
            samples.extend((0..length).map(|i| ((i * 7919 % 1000) as f32 / 500.0) - 1.0));
            let mut energy = 0.0;
            let mut state = [[0f64; 2]; 2];
            for &sample in &samples[HISTORY..] {
                let mut x = f64::from(sample);
                for (stage, z) in stages(rate(48_000)).iter().zip(&mut state) {
                    let y = stage.b[0] * x + z[0];
                    z[0] = stage.b[1] * x - stage.a[0] * y + z[1];
                    z[1] = stage.b[2] * x - stage.a[1] * y;
                    x = y;
                }
                energy += x * x;
            }
            let ours = KWeighting::new(rate(48_000)).energy(&samples);
            assert!((ours / energy - 1.0).abs() < 1e-9, "{length}: {ours} is not {energy}");
        }
    }

    #[test]
    fn silence_ends_in_exact_zero() {
        let mut filter = KWeighting::new(rate(48_000));
        filter.energy(&[1.0; 484]);
        let mut silence = vec![0f32; 484];
        silence[..HISTORY].fill(1.0);
        filter.energy(&silence);
        let hops = (0..2000).take_while(|_| filter.energy(&[0.0; 484]) > 0.0).count();
        assert!(hops < 100, "{hops} hops");
        assert_eq!((filter.shelf, filter.high_pass), ([0.0; 2], [0.0; 2]));
    }
}
