//! Recordings dropped on the window: read, the worst first; a folder without any says how to mend it.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use beforedoors::engine::Mood;
use beforedoors::gui::App;
use eframe::egui::{DroppedFile, Key};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::{Rehearsal, window};

/// A file as the system hands it over.
#[derive(Debug)]
struct Dropped(PathBuf);

impl DroppedFile for Dropped {
    fn path(&self) -> &Path {
        &self.0
    }

    fn bytes(&self) -> Result<Vec<u8>, String> {
        std::fs::read(&self.0).map_err(|error| error.to_string())
    }
}

pub fn drop_on(harness: &mut Harness<App>, path: PathBuf) {
    harness.input_mut().dropped_files.push(Arc::new(Dropped(path)));
    harness.step();
    harness.input_mut().dropped_files.clear();
}

/// Steps until the words are there: the files are read on other threads.
pub fn wait_for(harness: &mut Harness<App>, words: &str) {
    for _ in 0..2000 {
        harness.step();
        if harness.query_all_by_label_contains(words).next().is_some() {
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    panic!("never said: {words}");
}

/// Four seconds of a tone.
pub fn write(path: &Path, peak: f32) {
    write_tone(path, 4, |_| peak);
}

/// A tone with a peak of its own in each second.
pub fn write_tone(path: &Path, seconds: u32, peak: impl Fn(u32) -> f32) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 48_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for n in 0..48_000 * seconds {
        let sample = peak(n / 48_000) * (n as f32 * 0.0576).sin();
        writer.write_sample((sample.clamp(-1.0, 1.0) * 32_767.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
}

#[test]
fn dropped_recordings_are_read_and_the_worst_stands_first() {
    let folder = tempfile::tempdir().unwrap();
    write(&folder.path().join("quiet take.wav"), 0.2);
    write(&folder.path().join("hot take.wav"), 3.0);
    std::fs::write(folder.path().join("broken.wav"), b"no sound at all").unwrap();
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    harness.step();
    drop_on(&mut harness, folder.path().to_owned());
    wait_for(&mut harness, "quiet take.wav");
    wait_for(&mut harness, "hot take.wav: hides sound");
    wait_for(&mut harness, "broken.wav: unreadable");
    let at = |name: &str| harness.query_all_by_label_contains(name).next().unwrap().rect().top();
    let order = [at("broken.wav: unreadable"), at("hot take.wav: hides sound"), at("quiet take.wav:")];
    assert!(order.is_sorted(), "{order:?}");
    // A row opens on its numbers.
    harness.query_all_by_label_contains("hot take.wav: hides sound").next().unwrap().click();
    wait_for(&mut harness, "true peak");
}

/// All tracks and their problems, by a key; each shape speaks its word.
#[test]
fn tracks_and_problems_are_a_key_away() {
    let folder = tempfile::tempdir().unwrap();
    for (name, peak) in [("keys.wav", 0.2), ("lectern.wav", 3.0), ("soloist.wav", 0.0)] {
        write(&folder.path().join(name), peak);
    }
    let playing = Rehearsal::new(1, Mood::Normal);
    for more_text in [0, 6] {
        let mut harness = window(&playing, 1280.0, 800.0);
        harness.step();
        drop_on(&mut harness, folder.path().to_owned());
        wait_for(&mut harness, "Tracks and problems  T");
        for _ in 0..more_text {
            harness.key_press(Key::Plus);
            harness.step();
        }
        harness.key_press(Key::T);
        wait_for(&mut harness, ": 3 tracks");
        for said in ["lectern.wav: hides sound", "soloist.wav: lost", "keys.wav: fine", "clipped: hides sound"] {
            assert!(harness.query_all_by_label_contains(said).next().is_some(), "{said}");
        }
        harness.key_press(Key::Escape);
        harness.step();
        harness.step();
        assert!(harness.query_all_by_label_contains(": 3 tracks").next().is_none());
    }
}

#[test]
fn a_folder_without_recordings_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    harness.step();
    drop_on(&mut harness, folder.path().to_owned());
    // The one instruction carries it: a label's words are its value.
    for _ in 0..500 {
        harness.step();
        let told = harness.get_by_label_contains("Next step").value().unwrap_or_default();
        if told.contains("no recordings in this folder. Name another") {
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    panic!("never said");
}
