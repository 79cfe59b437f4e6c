//! K-weighting (ITU-R BS.1770-5 Annex 1) at any sample rate.
//!
//! The standard prints coefficients for 48 kHz and asks for the same frequency response at other rates.
//! Here both stages are redesigned by the bilinear transform from the analogue prototypes behind those
//! coefficients, and the high-pass is scaled so that its gain at high frequencies is that of the
//! printed one (whose numerator 1, −2, 1 has 0.04 dB more than unity). The transform bends the frequency
//! axis, the more the lower the rate; the shelf's axis is pinned where the standard calibrates, at 997 Hz.
//!
//! In: amplitudes. Out: sums of squares of the weighted signal. State decays to exact 0 in silence.
//! A recursion waits for its own last output. So both are rewritten to look back four and eight samples
//! instead of one and two, with more taps on the input (scattered look-ahead: K. K. Parhi, VLSI Digital
//! Signal Processing Systems, 1999, ch. 10): four samples are then computed side by side.

use crate::dsp::lanes;
use crate::units::{Hertz, SampleRate};
use multiversion::multiversion;

/// Samples of history that the filter looks back in its input.
pub const HISTORY: usize = 10;

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
    shelf: Recursion<{ HISTORY + 1 }>,
    high_pass: Recursion<7>,
    /// The input in `f64`, and what each stage makes of it, each with its history before it.
    input: Vec<f64>,
    shelved: Vec<f64>,
    weighted: Vec<f64>,
}

impl KWeighting {
    /// For at most `longest` samples at a time.
    pub fn new(rate: SampleRate, longest: usize) -> Self {
        let [shelf, high_pass] = stages(rate);
        let numerator: [f64; 5] = product(&shelf.b, &high_pass.b);
        Self {
            shelf: Recursion::new(&numerator, shelf.a),
            high_pass: Recursion::new(&[1.0], high_pass.a),
            input: vec![0.0; HISTORY + longest],
            shelved: vec![0.0; BACK + longest],
            weighted: vec![0.0; BACK + longest],
        }
    }

    /// Weights `samples[HISTORY..]`, at most as many as planned, and gives the sum of squares.
    pub fn energy(&mut self, samples: &[f32]) -> f64 {
        let count = samples.len().saturating_sub(HISTORY);
        for (wide, sample) in self.input.iter_mut().zip(samples) {
            *wide = f64::from(*sample);
        }
        recur(&self.shelf, &self.input[..HISTORY + count], &mut self.shelved[..BACK + count]);
        recur(&self.high_pass, &self.shelved[BACK - 6..BACK + count], &mut self.weighted[..BACK + count]);
        let energy = lanes::energy(&self.weighted[BACK..BACK + count]);
        for stage in [&mut self.shelved, &mut self.weighted] {
            stage.copy_within(count..count + BACK, 0);
            // Far under the smallest sample: only a tail that would end in subnormal numbers.
            stage[..BACK].iter_mut().filter(|value| value.abs() < 1e-30).for_each(|value| *value = 0.0);
        }
        energy
    }

    /// Forgets what it heard.
    pub fn reset(&mut self) {
        self.shelved[..BACK].fill(0.0);
        self.weighted[..BACK].fill(0.0);
    }
}

/// How far back the recursions look in their output.
const BACK: usize = 8;

/// y\[n\] = Σ taps\[i\] x\[n−i\] − c1 y\[n−4\] − c2 y\[n−8\]: four outputs that do not wait for each other.
#[derive(Clone, Debug)]
struct Recursion<const TAPS: usize> {
    taps: [f64; TAPS],
    c: [f64; 2],
}

impl<const TAPS: usize> Recursion<TAPS> {
    /// The same response as `numerator` over 1 + a1 z⁻¹ + a2 z⁻². Multiplying both by A(−z) leaves only even
    /// powers below, doing so again only every fourth.
    fn new(numerator: &[f64], a: [f64; 2]) -> Self {
        let b = [2.0 * a[1] - a[0] * a[0], a[1] * a[1]];
        let c = [2.0 * b[1] - b[0] * b[0], b[1] * b[1]];
        let above: [f64; 7] = product(&[1.0, -a[0], a[1]], &[1.0, 0.0, -b[0], 0.0, b[1]]);
        Self { taps: product(numerator, &above), c }
    }

    /// What the input from `TAPS − 1` samples back adds to the next outputs.
    #[inline(always)]
    fn driven<const LANES: usize>(&self, input: &[f64]) -> [f64; LANES] {
        let input = &input[..TAPS - 1 + LANES];
        let mut driven = [0f64; LANES];
        for (tap, weight) in self.taps.iter().enumerate() {
            for lane in 0..LANES {
                driven[lane] += weight * input[TAPS - 1 - tap + lane];
            }
        }
        driven
    }
}

/// `input` begins `TAPS − 1` samples, `output` `BACK` samples before the first new one.
#[multiversion(targets("x86_64+avx2"))]
fn recur<const TAPS: usize>(recursion: &Recursion<TAPS>, input: &[f64], output: &mut [f64]) {
    let c = recursion.c;
    let (before, output) = output.split_at_mut(BACK);
    let mut eight_ago = [before[0], before[1], before[2], before[3]];
    let mut four_ago = [before[4], before[5], before[6], before[7]];
    let (fours, rest) = output.as_chunks_mut::<4>();
    let whole = 4 * fours.len();
    for (i, four) in fours.iter_mut().enumerate() {
        let driven = recursion.driven::<4>(&input[4 * i..]);
        for lane in 0..4 {
            four[lane] = (driven[lane] - c[1] * eight_ago[lane]) - c[0] * four_ago[lane];
        }
        (eight_ago, four_ago) = (four_ago, *four);
    }
    for (i, out) in rest.iter_mut().enumerate() {
        let [driven] = recursion.driven(&input[whole + i..]);
        *out = (driven - c[1] * eight_ago[i]) - c[0] * four_ago[i];
    }
}

/// The product of two polynomials, as many terms as asked for.
fn product<const TERMS: usize>(a: &[f64], b: &[f64]) -> [f64; TERMS] {
    let mut out = [0.0; TERMS];
    for (i, a) in a.iter().enumerate() {
        for (j, b) in b.iter().enumerate() {
            out[i + j] += a * b;
        }
    }
    out
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

    /// The look-ahead form against the plain recursion of both stages in turn, over hops of uneven length.
    #[test]
    fn look_ahead_equals_the_plain_recursion() {
        for hz in [8_000, 48_000, 192_000] {
            let samples: Vec<f32> = (0..3000).map(|i| (i * 7919 % 1000) as f32 / 500.0 - 0.9).collect();
            let (mut expected, mut state) = (0.0, [[0f64; 2]; 2]);
            for &sample in &samples {
                let mut x = f64::from(sample);
                for (stage, z) in stages(rate(hz)).iter().zip(&mut state) {
                    let y = stage.b[0] * x + z[0];
                    z[0] = stage.b[1] * x - stage.a[0] * y + z[1];
                    z[1] = stage.b[2] * x - stage.a[1] * y;
                    x = y;
                }
                expected += x * x;
            }
            let mut padded = vec![0f32; HISTORY];
            padded.extend(samples);
            let mut filter = KWeighting::new(rate(hz), 480);
            let (mut energy, mut at) = (0.0, 0);
            for length in [1, 110, 111, 3, 480, 441, 7].into_iter().cycle() {
                let end = (at + length).min(3000);
                energy += filter.energy(&padded[at..HISTORY + end]);
                at = end;
                if at == 3000 {
                    break;
                }
            }
            assert!((energy / expected - 1.0).abs() < 1e-9, "{hz} Hz: {energy} is not {expected}");
        }
    }

    #[test]
    fn silence_ends_in_exact_zero() {
        let mut filter = KWeighting::new(rate(48_000), 480);
        filter.energy(&[1.0; HISTORY + 480]);
        let mut silence = [0f32; HISTORY + 480];
        silence[..HISTORY].fill(1.0);
        filter.energy(&silence);
        let hops = (0..2000).take_while(|_| filter.energy(&[0.0; HISTORY + 480]) > 0.0).count();
        assert!(hops < 100, "{hops} hops");
        assert!(filter.weighted.iter().all(|&value| value == 0.0));
    }
}
