//! Folders as a whole: tracks matched to the input list, the sixteen-track take with six faults, cue lists, a phone beside the
//! desk's feed, links in circles, originals that stay what they were.

use std::collections::hash_map::DefaultHasher;
use std::fs;
use std::hash::{Hash, Hasher};
use std::path::Path;

use beforedoors::detectors::{Evidence, Severity};
use beforedoors::engine::takes::{CueKind, MatchedBy, Track};

use super::{Place, RATE, check, programme, write};
use crate::support::signals::{Noise, amplitude};

const TRACKS: [&str; 16] = [
    "Lectern",
    "Soloist",
    "Headset Ana",
    "Headset Ben",
    "Choir left",
    "Choir right",
    "Guitar",
    "Bass",
    "Keys left",
    "Keys right",
    "Kick",
    "Snare",
    "Overhead",
    "Trumpet",
    "Piano",
    "Laptop",
];

fn hash(path: &Path) -> u64 {
    let mut hasher = DefaultHasher::new();
    fs::read(path).expect("the file is there").hash(&mut hasher);
    hasher.finish()
}

/// Six faults in sixteen tracks: all six are found, at most one more, and the files stay what they were.
#[test]
fn sixteen_tracks_with_six_faults() {
    let place = Place::new();
    let mut planes: Vec<Vec<f32>> = (0..16).map(|track| programme(20.0, 100 + track)).collect();
    // Clipped at full scale.
    planes[1].iter_mut().for_each(|x| *x = (*x * 4.0).clamp(-1.0, 1.0));
    // Hum of 50 Hz and its multiples.
    for (n, x) in planes[6].iter_mut().enumerate() {
        let t = n as f64 / f64::from(RATE) * std::f64::consts::TAU * 50.0;
        *x += (amplitude(-44.0) * (t.sin() + 0.7 * (2.0 * t).sin() + 0.5 * (3.0 * t).sin())) as f32;
    }
    // Dead but for its own noise.
    let mut noise = Noise::new(9);
    planes[7] = (0..20 * RATE).map(|_| (amplitude(-98.0) * noise.next().unwrap()) as f32).collect();
    // Dropouts of 20 ms.
    for hole in [3.1, 9.4, 15.2] {
        let from = loud_place(&planes[12], (hole * f64::from(RATE)) as usize);
        planes[12][from..from + RATE as usize / 50].fill(0.0);
    }
    // The right keys are the left ones upside down.
    planes[9] = planes[8].iter().map(|x| -x).collect();
    // Ends five seconds early.
    planes[14].truncate(15 * RATE as usize);
    let paths: Vec<_> = TRACKS
        .iter()
        .zip(&planes)
        .enumerate()
        .map(|(index, (name, plane))| place.with(&format!("{:02} {name}.wav", index + 1), std::slice::from_ref(plane)))
        .collect();
    let before: Vec<u64> = paths.iter().map(|path| hash(path)).collect();
    let (recordings, gatherings) = check(&paths, &TRACKS);
    let told: Vec<(usize, &str)> = recordings
        .iter()
        .enumerate()
        .flat_map(|(track, recording)| {
            let mut kinds: Vec<&str> =
                recording.findings.iter().filter(|it| !it.evidence.is_note()).map(|it| it.evidence.kind()).collect();
            kinds.dedup();
            kinds.into_iter().map(move |kind| (track, kind))
        })
        .collect();
    for seeded in [(1, "clipped"), (6, "hum"), (7, "silent"), (12, "dropout"), (9, "polarity"), (14, "truncated")] {
        assert!(told.contains(&seeded), "{seeded:?} is not in {told:?}");
    }
    assert!(told.len() <= 7, "{told:?}");
    assert_eq!(paths.iter().map(|path| hash(path)).collect::<Vec<u64>>(), before);

    let [all] = &gatherings[..] else { panic!("{gatherings:?}") };
    assert!(all.is_multitrack && all.rows.len() == 16);
    for (index, row) in all.rows.iter().enumerate() {
        assert_eq!(row.track, Some(Track::Input(index, MatchedBy::Name)));
    }
    assert_eq!(all.rows[7].severities, [Severity::Lost]);
}

/// Where it sounds, at or after a place.
fn loud_place(plane: &[f32], from: usize) -> usize {
    let loud = |at: &usize| {
        let peak = |part: &[f32]| part.iter().fold(0f32, |peak, x| peak.max(x.abs()));
        peak(&plane[*at - 100..*at]) > 0.1 && peak(&plane[*at + 960..*at + 1060]) > 0.1
    };
    (from..plane.len() - 2000).find(loud).expect("sound")
}

/// A track of another rate, one that begins late by its time stamp, and one that the list does not have.
#[test]
fn tracks_that_do_not_belong() {
    let place = Place::new();
    let names = ["Lectern", "Soloist", "Keys", "Bass"];
    let stamped = |name: &str, seconds: f64, stamp: u64, rate: u32| {
        let path = place.folder.path().join(name);
        write(&path, rate, &[programme(seconds, stamp + 7)]);
        let bytes = fs::read(&path).unwrap();
        // A bext chunk before fmt: 338 bytes of text, then the frames since midnight.
        let mut bext = vec![0; 602];
        bext[338..346].copy_from_slice(&(4_000_000 + stamp).to_le_bytes());
        let mut whole = bytes[..12].to_vec();
        whole.extend(b"bext");
        whole.extend((bext.len() as u32).to_le_bytes());
        whole.extend(bext);
        whole.extend(&bytes[12..]);
        let size = (whole.len() as u32 - 8).to_le_bytes();
        whole[4..8].copy_from_slice(&size);
        fs::write(&path, whole).unwrap();
        path
    };
    let paths = [
        stamped("bass.wav", 8.0, 0, 44_100),
        stamped("keys.wav", 8.0, 0, RATE),
        stamped("lectern.wav", 8.0, 0, RATE),
        stamped("mystery.wav", 8.0, 0, RATE),
        stamped("soloist.wav", 8.0, 2 * u64::from(RATE), RATE),
    ];
    let (recordings, _) = check(&paths, &names);
    let kinds =
        |index: usize| -> Vec<&str> { recordings[index].findings.iter().map(|it| it.evidence.kind()).collect() };
    assert!(kinds(0).contains(&"rate"), "{:?}", kinds(0));
    assert_eq!((kinds(1).contains(&"rate"), kinds(2).contains(&"truncated")), (false, false));
    assert!(kinds(3).contains(&"wrong_track"), "{:?}", kinds(3));
    assert!(kinds(4).contains(&"truncated"), "{:?}", kinds(4));
}

/// Two songs with clapping behind them. Claps: short bursts of band-limited noise, 300 a second, by chance.
#[test]
fn a_cue_list_at_silences_and_applause() {
    let place = Place::new();
    let rate = RATE as usize;
    let mut tracks = vec![vec![0f32; 60 * rate]; 3];
    for (track, plane) in tracks.iter_mut().enumerate() {
        let mut noise = Noise::new(track as u64 + 1);
        plane.iter_mut().for_each(|x| *x = (amplitude(-75.0) * noise.next().unwrap()) as f32);
        for (from, seed) in [(2, 5), (32, 6)] {
            let song = programme(20.0, seed + 10 * track as u64);
            plane[from * rate..(from + 20) * rate].iter_mut().zip(&song).for_each(|(x, y)| *x += y);
        }
    }
    let mut chance = Noise::new(77);
    let mut applause = vec![0f32; 6 * rate];
    for _ in 0..6 * 300 {
        let at = ((chance.next().unwrap() * 0.5 + 0.5) * (applause.len() - 400) as f64) as usize;
        let height = 0.05 * (1.0 + 0.5 * chance.next().unwrap());
        for n in 0..300 {
            applause[at + n] += (height * chance.next().unwrap() * (-(n as f64) / 60.0).exp()) as f32;
        }
    }
    tracks[0][22 * rate..28 * rate].iter_mut().zip(&applause).for_each(|(x, y)| *x += y);
    let paths: Vec<_> = tracks
        .iter()
        .enumerate()
        .map(|(n, plane)| place.with(&format!("{n}.wav"), std::slice::from_ref(plane)))
        .collect();
    let (_, gatherings) = check(&paths, &[]);
    let cues = &gatherings[0].cues;
    let told: Vec<(CueKind, f64)> = cues.iter().map(|cue| (cue.kind, cue.start.get())).collect();
    let expected = [
        (CueKind::Quiet, 0.0),
        (CueKind::Sound, 2.0),
        (CueKind::Applause, 22.0),
        (CueKind::Quiet, 28.0),
        (CueKind::Sound, 32.0),
        (CueKind::Quiet, 52.0),
    ];
    assert_eq!(told.iter().map(|cue| cue.0).collect::<Vec<_>>(), expected.map(|cue| cue.0), "{told:?}");
    assert!(told.iter().zip(expected).all(|(a, b)| (a.1 - b.1).abs() <= 1.0), "{told:?}");
}

/// A phone beside the desk: noisy, without lows, later; and the desk clips where the phone does not.
#[test]
fn a_phone_beside_the_desk() {
    let place = Place::new();
    let rate = RATE as usize;
    let sound = programme(60.0, 3);
    let mut desk = sound.clone();
    for pause in [15, 40] {
        desk[pause * rate..(pause + 2) * rate].iter_mut().for_each(|x| *x *= 0.001);
    }
    let quiet = desk.clone();
    desk[30 * rate..32 * rate].iter_mut().for_each(|x| *x = (*x * 6.0).clamp(-1.0, 1.0));
    let mut noise = Noise::new(4);
    let mut below = 0.0;
    let start = 2 * rate + 1234;
    let phone: Vec<f32> = quiet[start..]
        .iter()
        .map(|&x| {
            below += 0.02 * (x - below);
            0.5 * (x - below) + (amplitude(-62.0) * noise.next().unwrap()) as f32
        })
        .collect();
    let paths = [place.with("desk.wav", &[desk]), place.with("phone.wav", &[phone])];
    let (_, gatherings) = check(&paths, &[]);
    let pair = &gatherings[0].pairs[0];
    let offset = -(start as f64) / f64::from(RATE);
    assert!((pair.alignment.offset.get() - offset).abs() < 0.002, "{:?}", pair.alignment);
    assert!(pair.alignment.ppm.abs() < 2.0, "{:?}", pair.alignment);
    assert_eq!(pair.better.for_voices, Some(false), "{:?}", pair.better);
    let covered = &pair.better.covered;
    assert!(
        covered.iter().all(|it| !it.0 && it.1.get() > 29.9 && it.2.get() < 32.1) && !covered.is_empty(),
        "{covered:?}"
    );
}

/// Half of a pair that lies 23.4 ms later is told; spill that comes as late, and 12 dB down, is not.
#[test]
fn half_of_a_pair_that_lies_later() {
    let place = Place::new();
    let (late, spill) = (1123, 624);
    let shared = programme(20.0, 40);
    let half = |seed: u64, late: usize| -> Vec<f32> {
        let own = programme(20.0, seed);
        (0..own.len()).map(|n| 0.3 * own[n] + if n < late { 0.0 } else { 0.7 * shared[n - late] }).collect()
    };
    let [left, right, soloist] = [half(41, 0), half(42, late), programme(20.0, 43)];
    let keys = programme(20.0, 44);
    let quieter = amplitude(-12.0) as f32;
    let beside =
        (0..keys.len()).map(|n| keys[n] + if n < spill { 0.0 } else { quieter * soloist[n - spill] }).collect();
    let planes = [left, right, soloist, beside];
    let names = ["01 Keys left.wav", "02 Keys right.wav", "03 Soloist.wav", "04 Guitar.wav"];
    let paths: Vec<_> =
        names.iter().zip(&planes).map(|(name, plane)| place.with(name, std::slice::from_ref(plane))).collect();
    let (recordings, _) = check(&paths, &[]);
    let shifted: Vec<(usize, f64)> = recordings
        .iter()
        .enumerate()
        .flat_map(|(track, recording)| recording.findings.iter().map(move |finding| (track, finding.evidence)))
        .filter_map(|(track, evidence)| match evidence {
            Evidence::Shifted { late, .. } => Some((track, late.get())),
            _ => None,
        })
        .collect();
    let [(1, told)] = shifted[..] else { panic!("{shifted:?}") };
    assert!((told - late as f64 / f64::from(RATE)).abs() < 5e-5, "{told}");
}
