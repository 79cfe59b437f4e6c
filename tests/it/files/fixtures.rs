//! The committed WAV files are what this generator makes. `BLESS_FIXTURES=1` writes them anew.
//!
//! `tone-*.wav`: 997 Hz (prime to the rate, as AES17 wants it) of −18 dBFS peak, 0.1 s mono at 48 kHz, one per width.
//! `phrase.wav`: 0.3 s of two different chords in stereo, the original of every coded fixture.

use super::fixture;
use super::make::Width;
use std::f64::consts::TAU;

pub const RATE: u32 = 48_000;
pub const TONE_PEAK_DBFS: f64 = -18.0;

pub fn tone(frame: usize) -> f64 {
    f64::powf(10.0, TONE_PEAK_DBFS / 20.0) * (TAU * 997.0 * frame as f64 / f64::from(RATE)).sin()
}

pub fn tone_name(width: Width) -> String {
    let word = match width {
        Width::U8 => "8-bit",
        Width::S16 => "16-bit",
        Width::S24 => "24-bit",
        Width::S24In32 => "24-in-32-bit",
        Width::S32 => "32-bit",
        Width::F32 => "32-bit-float",
        Width::F64 => "64-bit-float",
    };
    format!("tone-{word}.wav")
}

const PHRASE_FRAMES: usize = 14_400;

/// Left and right of a phrase that swells and fades.
fn phrase(frame: usize) -> [f64; 2] {
    let time = frame as f64 / f64::from(RATE);
    let swell = (TAU / 2.0 * frame as f64 / PHRASE_FRAMES as f64).sin();
    let chord = |notes: [f64; 3]| notes.iter().map(|hz| (TAU * hz * time).sin()).sum::<f64>() / 3.0;
    [0.5 * swell * chord([220.0, 554.4, 1_318.5]), 0.25 * swell * chord([293.7, 880.0, 2_217.5])]
}

fn made() -> Vec<(String, Vec<u8>, Width)> {
    let mut files: Vec<_> = Width::ALL
        .into_iter()
        .map(|width| {
            let sound: Vec<u8> = (0..RATE as usize / 10).flat_map(|frame| width.store(tone(frame))).collect();
            (tone_name(width), width.header(1, RATE).with(&sound), width)
        })
        .collect();
    let sound: Vec<u8> =
        (0..PHRASE_FRAMES).flat_map(|frame| phrase(frame).map(|x| Width::S16.store(x)).concat()).collect();
    files.push(("phrase.wav".into(), Width::S16.header(2, RATE).with(&sound), Width::S16));
    files
}

/// Sine functions differ in their last bit between systems, so a sample may land one step off.
#[test]
fn committed_wav_files_are_what_the_generator_makes() {
    for (name, bytes, width) in made() {
        if std::env::var_os("BLESS_FIXTURES").is_some() {
            std::fs::write(fixture(&name), &bytes).unwrap();
        }
        let committed = std::fs::read(fixture(&name)).unwrap();
        assert_eq!(committed.len(), bytes.len(), "{name}");
        let (was, now) = (super::open_bytes(committed), super::open_bytes(bytes));
        let (mut was, mut now) = (was.unwrap(), now.unwrap());
        assert_eq!(was.info(), now.info(), "{name}");
        for (was, now) in super::hear(&mut was).unwrap().iter().zip(super::hear(&mut now).unwrap()) {
            let off = was.iter().zip(&now).map(|(a, b)| f64::from((a - b).abs())).fold(0.0, f64::max);
            assert!(off <= 2.0 * width.half_step(), "{name}: off by {off}");
        }
    }
}
