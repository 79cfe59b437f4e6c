//! A small set with known truth: loops that ring in silence and under notes, and notes alone. The published features
//! find most rings too, but cry at every held note; ours must find them all and be far ahead of every combination.

use super::{cents, listen};
use crate::support::howling::{Features, howls};
use crate::support::loops::{Loop, RATE, held_notes, hiss};

const ALONE: usize = 6;
const SECONDS: f64 = 30.0;

struct Score {
    found: usize,
    rings: usize,
    cries: usize,
}

fn score(detector: impl Fn(&[f32]) -> Vec<(f64, f64)>) -> Score {
    let mut score = Score { found: 0, rings: 0, cries: 0 };
    for (index, near) in [311.0, 523.0, 872.0, 1370.0, 2210.0, 3620.0, 5900.0, 7400.0].into_iter().enumerate() {
        let case = Loop { from: 3.0, ..Loop::near(near, [0.6, 1.0, 2.0, 3.0][index % 4]) };
        let source =
            if index % 2 == 0 { hiss(9.0, -60.0, 40 + index as u64) } else { held_notes(9.0, 40 + index as u64) };
        let found = detector(&case.run(&source));
        score.rings += 1;
        score.found += usize::from(found.iter().any(|&(t, hz)| t > 2.5 && cents(hz, case.frequency) < 25.0));
    }
    for seed in 0..ALONE as u64 {
        let notes: Vec<f32> = held_notes(SECONDS, seed).into_iter().map(|x| x as f32).collect();
        score.cries += detector(&notes).len();
    }
    score
}

#[test]
fn far_ahead_of_the_published_features() {
    let ours =
        score(|sound| listen(RATE, sound).ringing().map(|ring| (ring.reported.get(), ring.frequency.get())).collect());
    let hours = ALONE as f64 * SECONDS / 3600.0;
    println!("ours: {} of {} rings, {:.0} cries an hour", ours.found, ours.rings, ours.cries as f64 / hours);
    assert_eq!((ours.found, ours.cries), (ours.rings, 0));
    for (name, features) in [
        ("harmonics, neighbours", Features { harmonics: true, neighbours: true, persistence: false, slope: false }),
        ("harmonics, persistence", Features { harmonics: true, neighbours: false, persistence: true, slope: false }),
        ("neighbours, slope", Features { harmonics: false, neighbours: true, persistence: false, slope: true }),
        ("all", Features { harmonics: true, neighbours: true, persistence: true, slope: true }),
    ] {
        let theirs = score(|sound| howls(sound, RATE, features));
        let cries = theirs.cries as f64 / hours;
        println!("{name}: {} of {} rings, {cries:.0} cries an hour", theirs.found, theirs.rings);
        assert!(cries > 60.0 || theirs.found + 3 <= theirs.rings, "{name} does as well: {cries} cries an hour");
    }
}
