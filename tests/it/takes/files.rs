//! Files that lie or end early: headers that were never finished, ends that were never written, tracks of a folder.

use beforedoors::detectors::{EndForm, Evidence, HeaderFault, Severity};
use beforedoors::engine::recording::{Recording, measure};
use beforedoors::engine::takes::copies;

use super::{Place, RATE, check, of, programme, take};

fn folder(planes: &[(&str, Vec<f32>)]) -> Vec<Recording> {
    let place = Place::new();
    let paths: Vec<_> = planes.iter().map(|(name, plane)| place.with(name, std::slice::from_ref(plane))).collect();
    check(&paths, &[]).0
}

#[test]
fn an_unfinished_header_is_a_finding() {
    let place = Place::new();
    let path = place.with("take.wav", &[programme(4.0, 1)]);
    let mut bytes = std::fs::read(&path).expect("the take");
    // RIFF and data sizes as a recorder leaves them that lost power.
    bytes[4..8].fill(0);
    let data = bytes.windows(4).position(|name| name == b"data").expect("a data chunk");
    bytes[data + 4..data + 8].fill(0);
    std::fs::write(&path, bytes).expect("a writable file");
    let recording = measure(&path, &[], &|_| {}).expect("a readable take");
    let fault = HeaderFault::Unfinished { held: 4 * u64::from(RATE) };
    assert_eq!(of(&recording, "header")[0].evidence, Evidence::Header { fault });
}

/// The header promises ten seconds, the file holds eight and a part of a frame.
#[test]
fn a_file_that_ends_before_its_header_says() {
    let place = Place::new();
    let path = place.with("take.wav", &[programme(10.0, 1)]);
    let bytes = std::fs::read(&path).expect("the take");
    std::fs::write(&path, &bytes[..bytes.len() - 2 * 3 * RATE as usize - 1]).expect("a writable file");
    let recording = measure(&path, &[], &|_| {}).expect("a readable take");
    let found = of(&recording, "header");
    let [cut] = found[..] else { panic!("{:?}", recording.findings) };
    assert_eq!(cut.severity(), Severity::Lost);
    let Evidence::Truncated { missing: Some(missing), form: EndForm::CutShort } = cut.evidence else {
        panic!("{cut:?}")
    };
    assert!((missing.get() - 2.0).abs() < 1e-3, "{missing:?}");
    assert!(cut.start.get().abs_diff(8 * u64::from(RATE)) <= 1, "{cut:?}");
    assert!(copies::has_wrong_header(&recording));
}

#[test]
fn left_and_right_in_turn_behind_a_mono_header() {
    for (left, right) in [(programme(6.0, 1), programme(6.0, 2)), (programme(6.0, 3), programme(6.0, 3))] {
        let turns: Vec<f32> = left.iter().zip(&right).flat_map(|(l, r)| [*l, 0.9 * *r]).collect();
        let recording = take(&[turns]);
        let found = of(&recording, "header");
        assert!(
            matches!(found[..], [finding] if matches!(finding.evidence, Evidence::Header { fault: HeaderFault::TwoAsOne { .. } })),
            "{:?}",
            recording.findings
        );
    }
    assert!(of(&take(&[programme(6.0, 1)]), "header").is_empty());
}

#[test]
fn space_that_was_never_written() {
    let mut plane = programme(10.0, 1);
    // In the middle of a note.
    let loud = (6 * RATE as usize..).find(|&at| plane[at].abs() > 0.1).expect("a note");
    plane[loud..].fill(0.0);
    let recording = take(&[plane]);
    let found = of(&recording, "truncated");
    assert_eq!(found.len(), 1, "{:?}", recording.findings);
    assert!(found[0].start.get().abs_diff(loud as u64) <= 480);
    // A fade into digital silence is an ending.
    let mut faded = programme(10.0, 1);
    for (index, sample) in faded.iter_mut().enumerate() {
        *sample *= (1.0 - index as f32 / (7.0 * RATE as f32)).max(0.0).powi(3);
    }
    assert!(of(&take(&[faded]), "truncated").is_empty());
}

#[test]
fn tracks_of_one_take() {
    let voice = programme(12.0, 1);
    let mut short = programme(12.0, 2);
    short.truncate(9 * RATE as usize);
    let upside_down: Vec<f32> = programme(12.0, 3).iter().map(|x| -0.7 * x).collect();
    let found = folder(&[
        ("1.wav", short),
        ("2.wav", voice.clone()),
        ("3.wav", voice.iter().map(|x| 0.8 * x).collect()),
        ("4.wav", programme(12.0, 3)),
        ("5.wav", upside_down),
    ]);
    let kinds: Vec<Vec<&str>> = found.iter().map(super::wrong).collect();
    assert_eq!(kinds, [vec!["truncated"], vec![], vec!["duplicate"], vec![], vec!["polarity"]]);
    assert!(matches!(
        of(&found[0], "truncated")[0].evidence,
        Evidence::Truncated { missing: Some(missing), form: EndForm::BeforeOthers } if (missing.get() - 3.0).abs() < 0.01
    ));
    assert!(found[2].partners[0].ends_with("2.wav") && found[4].partners[0].ends_with("4.wav"));
}
