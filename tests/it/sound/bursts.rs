//! Time weightings, exposure and peaks on tone bursts: IEC 61672-1:2013, Tables 4 and 5.

use beforedoors::meters::SoundReadings;
use beforedoors::units::FrameCount;

use super::{after, close, meter};
use crate::support::signals::stepped_sine;

const STEADY: f64 = -20.0;

/// Table 4, class 1: length in ms, LAFmax, LASmax and LAE re the steady level; limits above and below of F, of S.
type Burst = (f64, f64, Option<f64>, f64, [f64; 2], [f64; 2]);

/// The printed limits were at hand to 1 ms (F, LAE) and 2 ms (S); those of 0.5 and 0.25 ms are from memory.
const TABLE: [Burst; 12] = [
    (1000.0, 0.0, Some(-2.0), 0.0, [0.5, -0.5], [0.5, -0.5]),
    (500.0, -0.1, Some(-4.1), -3.0, [0.5, -0.5], [0.5, -0.5]),
    (200.0, -1.0, Some(-7.4), -7.0, [0.5, -0.5], [0.5, -0.5]),
    (100.0, -2.6, Some(-10.2), -10.0, [1.0, -1.0], [1.0, -1.0]),
    (50.0, -4.8, Some(-13.1), -13.0, [1.0, -1.0], [1.0, -1.0]),
    (20.0, -8.3, Some(-17.0), -17.0, [1.0, -1.0], [1.0, -1.5]),
    (10.0, -11.1, Some(-20.0), -20.0, [1.0, -1.0], [1.0, -2.0]),
    (5.0, -14.1, Some(-23.0), -23.0, [1.0, -1.0], [1.0, -2.5]),
    (2.0, -18.0, Some(-27.0), -27.0, [1.0, -1.5], [1.0, -3.0]),
    (1.0, -21.0, None, -30.0, [1.0, -2.0], [0.0, 0.0]),
    (0.5, -24.0, None, -33.0, [1.0, -2.5], [0.0, 0.0]),
    (0.25, -27.0, None, -36.0, [1.0, -3.0], [0.0, 0.0]),
];

/// A burst of 4 kHz that ends 2 s after the beginning, where a stretch ends.
fn burst(rate: u32, milliseconds: f64) -> (SoundReadings, f64) {
    let quiet = (2.0 - milliseconds / 1000.0, f64::NEG_INFINITY);
    let mut samples = stepped_sine(rate, 4000.0, &[quiet, (milliseconds / 1000.0, STEADY)]);
    samples.resize(3 * rate as usize, 0.0);
    let mut meter = meter(rate);
    let mut slowest = f64::NEG_INFINITY;
    meter.push(FrameCount::ZERO, &samples, &mut |readings| slowest = slowest.max(readings.las.get()));
    (*meter.readings(), slowest)
}

#[test]
fn table_4_within_class_one() {
    for rate in [44_100, 48_000, 96_000] {
        let steady = after(rate, &stepped_sine(rate, 4000.0, &[(4.0, STEADY)])).second.level.get();
        for (milliseconds, fast, slow, exposure, fast_limits, slow_limits) in TABLE {
            let (readings, slowest) = burst(rate, milliseconds);
            let within = |got: f64, printed: f64, [most, least]: [f64; 2], what: &str| {
                let error = got - steady - printed;
                assert!((least..=most).contains(&error), "{milliseconds} ms, {what}, {rate}: {error:+.2} dB");
                // Closer than the class: the printed tenth. One or two cycles are no longer 4 kHz alone.
                assert!(error.abs() < 0.15 || milliseconds < 1.0, "{milliseconds} ms, {what}, {rate}: {error:+.2} dB");
            };
            within(readings.laf_max.get(), fast, fast_limits, "F");
            if let Some(slow) = slow {
                within(slowest, slow, slow_limits, "S");
            }
            let sound_exposure = readings.whole.level.get() + 10.0 * readings.whole.heard.get().log10();
            within(sound_exposure, exposure, fast_limits, "LAE");
        }
    }
}

/// 5.8.2: after the sound stops F falls by at least 25 dB/s and S by 3.4 to 5.3 dB/s; by their constants 34.7 and 4.34.
#[test]
fn decay() {
    let rate = 48_000;
    let mut samples = stepped_sine(rate, 4000.0, &[(10.0, STEADY)]);
    samples.resize(11 * rate as usize, 0.0);
    let mut levels = Vec::new();
    meter(rate).push(FrameCount::ZERO, &samples, &mut |r| levels.push((r.laf.get(), r.las.get())));
    close(levels[99].0 - levels[109].0, 34.74, 0.02);
    close(levels[99].1 - levels[109].1, 4.343, 0.02);
}

/// Table 5: LCpeak less the steady LC, for one cycle and for half cycles of 500 Hz; the values come from the C weighting
/// computed by a fine simulation (printed 2.5, 3.5, 3.4, 2.4), the limits are those of class 1.
#[test]
fn table_5_peaks() {
    for rate in [44_100, 48_000, 96_000] {
        for (hz, cycles, expected, limit) in
            [(31.5, 1.0, 2.5, 2.0), (500.0, 1.0, 3.5, 1.0), (8000.0, 1.0, 3.4, 2.0), (500.0, 0.5, 2.4, 1.0)]
        {
            let steady = after(rate, &stepped_sine(rate, hz, &[(2.0, STEADY)])).lcf.get();
            for late in 0..8 {
                for sign in [1.0, -1.0] {
                    let begin = f64::from(late) / 8.0;
                    let samples: Vec<f32> = (0..rate)
                        .map(|n| {
                            let turns = hz * (f64::from(n) - 4800.0 - begin) / f64::from(rate);
                            let inside = (0.0..cycles).contains(&turns);
                            let wave = if inside { 0.1 * (std::f64::consts::TAU * turns).sin() } else { 0.0 };
                            (sign * wave) as f32
                        })
                        .collect();
                    let over = after(rate, &samples).lc_peak_max.get() - steady;
                    close(over, expected, limit);
                    // The standard lets 8 kHz stray by 2 dB; this meter looks between the samples.
                    close(over, expected, if hz > 1000.0 { 0.6 } else { 0.15 });
                }
            }
        }
    }
}
