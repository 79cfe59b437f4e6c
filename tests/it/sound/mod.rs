//! The level in the room: weightings, bursts, bands by their standards; promises; calibration, dose, advice, words.

mod bands;
mod bursts;
mod calibrate;
mod dose;
mod promises;
mod watch;
mod weighting;
mod words;

use beforedoors::meters::SoundReadings;
use beforedoors::meters::sound::SoundMeter;
use beforedoors::units::{FrameCount, SampleRate};

fn meter(rate: u32) -> SoundMeter {
    SoundMeter::new(SampleRate::new(rate).expect("a rate"))
}

/// The last readings after all of it.
fn after(rate: u32, samples: &[f32]) -> SoundReadings {
    let mut meter = meter(rate);
    meter.push(FrameCount::ZERO, samples, &mut |_| {});
    *meter.readings()
}

#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got} is not {expected} ± {tolerance}");
}
