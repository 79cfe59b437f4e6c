//! New files made of recordings: bytes that stay, headers put right, loudness held against the `ebur128` crate.

use std::fs;

use beforedoors::engine::recording::measure;
use beforedoors::engine::takes::copies::{CopyError, copy_name, levelled, marked, mended};
use beforedoors::engine::takes::{Mark, Width};
use beforedoors::units::Lufs;
use ebur128::{EbuR128, Mode};

use super::{Place, RATE, of, programme};

/// The sound of a WAV file as the library reads it.
fn sound(path: &std::path::Path) -> (u32, u16, Vec<i32>) {
    let mut wav = hound::WavReader::open(path).expect("a WAV file");
    let spec = wav.spec();
    (spec.sample_rate, spec.channels, wav.samples::<i32>().map(|code| code.expect("a sample")).collect())
}

#[test]
fn a_marked_copy_holds_the_same_sound() {
    let place = Place::new();
    let path = place.with("take.wav", &[programme(6.0, 1), programme(6.0, 2)]);
    let before = fs::read(&path).unwrap();
    let recording = measure(&path, &[], &|_| {}).unwrap();
    let target = copy_name(&path, "marked", &place.folder.path().join("new/deep"));
    let mark = Mark { at: 48_000, length: 4_800, text: "here".into() };
    marked(&recording, std::slice::from_ref(&mark), &target).unwrap();
    assert_eq!(target.file_name().unwrap(), "take (marked).wav");
    assert_eq!(sound(&target), sound(&path));
    assert!(fs::read(&target).unwrap().windows(4).any(|part| part == b"cue "));
    assert_eq!(fs::read(&path).unwrap(), before);
    // A second time it would replace something.
    let again = marked(&recording, &[mark], &target).unwrap_err();
    assert!(
        matches!(again, CopyError::Exists(_)) && again.to_string().contains("nothing is replaced. Choose"),
        "{again}"
    );
}

#[test]
fn headers_are_put_right_on_a_copy() {
    let place = Place::new();
    let path = place.with("take.wav", &[programme(6.0, 1)]);
    let whole = sound(&path);
    let mut bytes = fs::read(&path).unwrap();
    bytes[4..8].fill(0);
    let data = bytes.windows(4).position(|name| name == b"data").unwrap();
    bytes[data + 4..data + 8].fill(0);
    fs::write(&path, bytes).unwrap();
    let recording = measure(&path, &[], &|_| {}).unwrap();
    let target = copy_name(&path, "right header", place.folder.path());
    mended(&recording, &target).unwrap();
    assert_eq!(sound(&target), whole);
    assert!(of(&measure(&target, &[], &|_| {}).unwrap(), "header").is_empty());
    // Left and right in turn behind the header of one channel.
    let (left, right) = (programme(6.0, 1), programme(6.0, 2));
    let turns: Vec<f32> = left.iter().zip(&right).flat_map(|(left, right)| [*left, *right]).collect();
    let path = place.with("turns.wav", &[turns]);
    let recording = measure(&path, &[], &|_| {}).unwrap();
    let target = copy_name(&path, "right header", place.folder.path());
    mended(&recording, &target).unwrap();
    assert_eq!((sound(&target).1, &sound(&target).2), (2, &sound(&path).2));
}

/// Loudness and true peak of the copies by the crate; BS.1770 lets meters differ by 0.1 LU and 0.2 dB.
#[test]
fn copies_at_a_loudness() {
    let place = Place::new();
    let path = place.with("take.wav", &[programme(12.0, 1), programme(12.0, 2)]);
    let recording = measure(&path, &[], &|_| {}).unwrap();
    let read = |path: &std::path::Path, bits: u32| {
        let (rate, channels, codes) = sound(path);
        let mut meter = EbuR128::new(u32::from(channels), rate, Mode::I | Mode::TRUE_PEAK).unwrap();
        let full = f64::from(1u32 << (bits - 1));
        meter.add_frames_f64(&codes.iter().map(|&code| f64::from(code) / full).collect::<Vec<_>>()).unwrap();
        let peak = (0..u32::from(channels)).map(|at| meter.true_peak(at).unwrap()).fold(0.0, f64::max);
        (meter.loudness_global().unwrap(), 20.0 * peak.log10())
    };
    for (wanted, width, bits) in [(-30.0, None, 24), (-24.0, Some(Width::Bits16), 16), (-6.0, None, 24)] {
        let target = copy_name(&path, &format!("{wanted}"), place.folder.path());
        let made = levelled(&recording, Lufs::new(wanted), width, &target).unwrap().unwrap();
        let (loudness, peak) = read(&target, bits);
        assert!((loudness - made.loudness.get()).abs() < 0.1, "{loudness} {made:?}");
        assert!(peak <= -0.95, "{wanted}: {peak} dBTP");
        assert_eq!(made.held_back, wanted == -6.0);
        assert!(made.held_back || (loudness - wanted).abs() < 0.1, "{loudness} {wanted}");
        assert_eq!(sound(&target).2.len(), 2 * 12 * RATE as usize);
    }
    let silent = place.with("silent.wav", &[vec![0.0; RATE as usize]]);
    let silent = measure(&silent, &[], &|_| {}).unwrap();
    let target = copy_name(&silent.path, "x", place.folder.path());
    assert_eq!(levelled(&silent, Lufs::new(-18.0), None, &target).unwrap(), None);
    assert!(!target.exists());
}
