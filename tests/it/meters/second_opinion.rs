//! The `ebur128` crate as a second opinion on loudness: within 0.05 LU on seeded signals.
//!
//! Rates from 32 kHz: under that, the crate's high-pass lies up to 0.2 dB above the response that
//! BS.1770-5 prints for 48 kHz, which the test of the anchor at every rate shows ours keeps.

use crate::support::signals::{Noise, music};
use crate::support::takes::measure;
use ebur128::{Channel, EbuR128, Mode};

/// What the crate says in the end, and its short-term values every 100 ms.
struct Second {
    momentary: f64,
    short_term: f64,
    integrated: f64,
    short_terms: Vec<f64>,
}

fn second(rate: u32, planes: &[Vec<f32>]) -> Second {
    let mut meter = EbuR128::new(planes.len() as u32, rate, Mode::M | Mode::S | Mode::I).unwrap();
    if planes.len() == 5 {
        let map = [Channel::Left, Channel::Right, Channel::Center, Channel::LeftSurround, Channel::RightSurround];
        meter.set_channel_map(&map).unwrap();
    }
    let step = rate as usize / 10;
    let mut short_terms = Vec::new();
    for start in (0..planes[0].len()).step_by(step) {
        let slices: Vec<&[f32]> = planes.iter().map(|plane| &plane[start..start + step]).collect();
        meter.add_frames_planar_f32(&slices).unwrap();
        if start + step >= 30 * step {
            short_terms.push(meter.loudness_shortterm().unwrap());
        }
    }
    Second {
        momentary: meter.loudness_momentary().unwrap(),
        short_term: meter.loudness_shortterm().unwrap(),
        integrated: meter.loudness_global().unwrap(),
        short_terms,
    }
}

/// EBU Tech 3342 by its words: gates at −70 LUFS and 20 LU under the mean power, then 10th to 95th
/// percentile. (The crate's own range looks at short-term values only once a second.)
fn range(short_terms: &[f64]) -> f64 {
    let mut loud: Vec<f64> = short_terms.iter().copied().filter(|&level| level > -70.0).collect();
    let mean = loud.iter().map(|level| 10f64.powf(level / 10.0)).sum::<f64>() / loud.len() as f64;
    loud.retain(|&level| level > 10.0 * mean.log10() - 20.0);
    loud.sort_by(f64::total_cmp);
    let at = |fraction: f64| loud[((loud.len() - 1) as f64 * fraction).round() as usize];
    at(0.95) - at(0.10)
}

#[track_caller]
fn agree(rate: u32, planes: &[Vec<f32>]) {
    let ours = measure(rate, planes).programme;
    let theirs = second(rate, planes);
    let close = |name: &str, a: f64, b: f64| assert!((a - b).abs() <= 0.05, "{rate} Hz, {name}: {a} and {b}");
    close("momentary", ours.momentary.get(), theirs.momentary);
    close("short-term", ours.short_term.get(), theirs.short_term);
    close("integrated", ours.integrated.get(), theirs.integrated);
    close("range", ours.range.expect("a range").get(), range(&theirs.short_terms));
}

#[test]
fn music_in_stereo() {
    for (rate, seed) in [(32_000, 1), (44_100, 2), (48_000, 3), (96_000, 4), (192_000, 5)] {
        agree(rate, &[music(rate, 12.0, seed), music(rate, 12.0, seed + 50)]);
    }
}

#[test]
fn noise_mono_and_surround() {
    for (rate, channels) in [(44_100, 1), (48_000, 5), (48_000, 3)] {
        let noise = |channel: usize| {
            let breathing = move |i: usize| 0.02 + 0.2 * (i as f64 / f64::from(rate) + channel as f64).sin().powi(4);
            Noise::new(channel as u64 + 7)
                .take(rate as usize * 15)
                .enumerate()
                .map(move |(i, x)| (x * breathing(i)) as f32)
        };
        let planes: Vec<Vec<f32>> = (0..channels).map(|channel| noise(channel).collect()).collect();
        agree(rate, &planes);
    }
}
