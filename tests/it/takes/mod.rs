//! What is wrong with a take: each fault made with known place and size, and what resembles it and is none.

mod between;
mod clicks;
mod copies;
mod files;
mod folders;
mod holes;
mod levels;
mod mains;
mod tops;
mod two_recorders;

use std::ops::ControlFlow;
use std::path::{Path, PathBuf};

use beforedoors::detectors::{Evidence, Finding};
use beforedoors::engine::Input;
use beforedoors::engine::recording::{Recording, measure};
use beforedoors::engine::takes::{Gathering, Listed, Rings, Told, check_all};
use beforedoors::units::SourceKind;

use crate::support::signals::{Noise, amplitude, music};

const RATE: u32 = 48_000;

/// Music over a room's noise 80 dB under full scale, as a recorder with 24 bits would have it.
fn programme(seconds: f64, seed: u64) -> Vec<f32> {
    let mut room = Noise::new(seed + 77);
    let noise = amplitude(-80.0);
    music(RATE, seconds, seed).into_iter().map(|x| 0.6 * x + (noise * room.next().unwrap()) as f32).collect()
}

/// Writes planes of equal length as 24-bit WAV.
fn write(path: &Path, rate: u32, planes: &[Vec<f32>]) {
    let spec = hound::WavSpec {
        channels: planes.len() as u16,
        sample_rate: rate,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(path, spec).expect("a writable file");
    for frame in 0..planes[0].len() {
        for plane in planes {
            let sample = (f64::from(plane[frame]) * 8_388_607.0).round().clamp(-8_388_608.0, 8_388_607.0);
            file.write_sample(sample as i32).expect("space for a sample");
        }
    }
    file.finalize().expect("a finished file");
}

/// A folder that goes away with the test, and a file in it.
struct Place {
    folder: tempfile::TempDir,
}

impl Place {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a folder") }
    }

    fn with(&self, name: &str, planes: &[Vec<f32>]) -> PathBuf {
        let path = self.folder.path().join(name);
        write(&path, RATE, planes);
        path
    }
}

fn take(planes: &[Vec<f32>]) -> Recording {
    let place = Place::new();
    measure(&place.with("take.wav", planes), &[], &|_| {}).expect("a readable take")
}

/// All of them, in order, and what they are together.
fn check(paths: &[PathBuf], names: &[&str]) -> (Vec<Recording>, Vec<Gathering>) {
    let inputs = vec![Input::new(SourceKind::Other, None); names.len()];
    let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    let listed = Listed { inputs: &inputs, names: &names };
    let (mut recordings, mut gatherings) = (Vec::new(), Vec::new());
    let mut tell = |told| {
        match told {
            Told::Take(_, result) => recordings.push(result.expect("a readable take")),
            Told::Together(gathering) => gatherings.push(*gathering),
        }
        ControlFlow::Continue(())
    };
    check_all(paths, listed, Rings::Suspected, &|_, _| {}, &|| {}, &mut tell).expect("a thread");
    (recordings, gatherings)
}

/// The findings of one kind.
fn of<'a>(recording: &'a Recording, kind: &'a str) -> Vec<&'a Finding> {
    recording.findings.iter().filter(|finding| finding.evidence.kind() == kind).collect()
}

/// What counts as wrong: notes aside.
fn wrong(recording: &Recording) -> Vec<&'static str> {
    let counts = |evidence: &Evidence| !evidence.is_note();
    recording.findings.iter().map(|finding| finding.evidence).filter(counts).map(|evidence| evidence.kind()).collect()
}

#[test]
fn clean_programme_has_no_fault() {
    for seed in [1, 2, 3] {
        let recording = take(&[programme(20.0, seed), programme(20.0, seed + 10)]);
        assert_eq!(wrong(&recording), Vec::<&str>::new(), "seed {seed}: {:?}", recording.findings);
    }
}
