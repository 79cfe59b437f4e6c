//! How fast the meters are, beside the `ebur128` crate in all its modes on the same audio.
//!
//! Prints channel-seconds per core-second (one second of one channel at 48 kHz, on one thread) of both
//! and their ratio, then the load of 32 live channels; then divan's statistics.

use beforedoors::block::Block;
use beforedoors::block::Format;
use beforedoors::meters::Meters;
use beforedoors::units::{FrameCount, SampleRate};
use ebur128::{EbuR128, Mode};
use std::hint::black_box;
use std::time::Instant;

const RATE: u32 = 48_000;
const SECONDS: usize = 20;

fn main() {
    for channels in [1, 2, 8] {
        let sound = sound(channels);
        let (ours, theirs) = (best(|| meters(&sound, 480)), best(|| yardstick(&sound)));
        let work = (channels * SECONDS) as f64;
        println!(
            "{channels} channels: meters {:.0}, ebur128 {:.0} channel-seconds per core-second, ratio {:.2}; {:.2} ns a sample",
            work / ours,
            work / theirs,
            theirs / ours,
            ours * 1e9 / work / f64::from(RATE),
        );
    }
    let live = sound(32);
    println!(
        "32 live channels, blocks of 256: {:.1} % of one core",
        best(|| meters(&live, 256)) / SECONDS as f64 * 100.0
    );
    let stereo = sound(2);
    let parallel = best(|| meters_parallel(&stereo)) / SECONDS as f64;
    println!("2 channels in parallel: {:.0} channel-seconds a second", 2.0 / parallel);
    divan::main();
}

#[divan::bench(args = [1, 2, 32], sample_count = 5)]
fn meters_push(bencher: divan::Bencher, channels: usize) {
    let sound = sound(channels);
    bencher.counter(divan::counter::ItemsCount::new(channels * sound[0].len())).bench_local(|| meters(&sound, 480));
}

#[divan::bench(args = [1, 2, 32], sample_count = 5)]
fn ebur128_all_modes(bencher: divan::Bencher, channels: usize) {
    let sound = sound(channels);
    bencher.counter(divan::counter::ItemsCount::new(channels * sound[0].len())).bench_local(|| yardstick(&sound));
}

/// Seconds of the fastest of several runs: the others measure the neighbours.
fn best(mut run: impl FnMut()) -> f64 {
    (0..7)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64()
        })
        .fold(f64::INFINITY, f64::min)
}

fn meters(sound: &[Vec<f32>], block: usize) {
    let format = Format { rate: SampleRate::new(RATE).unwrap(), channels: sound.len() };
    let mut meters = Meters::new(format, &[]);
    let mut rest = Block::new(sound, FrameCount::ZERO, FrameCount::ZERO);
    while rest.frames() > 0 {
        let (part, later) = rest.split_at(block);
        meters.push(&part, &mut |readings| {
            black_box(readings);
        });
        rest = later;
    }
    meters.finish(&mut |_| {});
    black_box(meters.summary());
}

fn meters_parallel(sound: &[Vec<f32>]) {
    let format = Format { rate: SampleRate::new(RATE).unwrap(), channels: sound.len() };
    let mut meters = Meters::new(format, &[]);
    let mut rest = Block::new(sound, FrameCount::ZERO, FrameCount::ZERO);
    while rest.frames() > 0 {
        let (part, later) = rest.split_at(RATE as usize);
        meters.push_parallel(&part, &mut |readings| {
            black_box(readings);
        });
        rest = later;
    }
    meters.finish(&mut |_| {});
    black_box(meters.summary());
}

/// Fed in blocks of 10 ms like the meters, and asked for everything once at the end.
fn yardstick(sound: &[Vec<f32>]) {
    let modes = Mode::M | Mode::S | Mode::I | Mode::LRA | Mode::SAMPLE_PEAK | Mode::TRUE_PEAK;
    let mut meter = EbuR128::new(sound.len() as u32, RATE, modes).unwrap();
    let mut planes = Vec::with_capacity(sound.len());
    for start in (0..sound[0].len()).step_by(480) {
        planes.clear();
        planes.extend(sound.iter().map(|plane| &plane[start..start + 480]));
        meter.add_frames_planar_f32(&planes).unwrap();
    }
    black_box((meter.loudness_global().unwrap(), meter.loudness_range().unwrap(), meter.true_peak(0).unwrap()));
}

/// A chord, its loudness breathing, with noise: 16-bit values as of a recording.
fn sound(channels: usize) -> Vec<Vec<f32>> {
    let voice = |channel: usize| {
        let mut seed = 1 + channel as u32;
        move |i: usize| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = (seed >> 8) as f32 / 8_388_608.0 - 1.0;
            let t = i as f32 / RATE as f32 * std::f32::consts::TAU;
            let chord = (t * 220.0).sin() + (t * 277.0).sin() + (t * 330.0).sin();
            let level = 0.12 + 0.1 * (t * 0.3 + channel as f32).sin();
            (((chord + 0.3 * noise) * level) * 32_767.0).round() / 32_767.0
        }
    };
    (0..channels).map(|channel| (0..RATE as usize * SECONDS).map(voice(channel)).collect()).collect()
}
