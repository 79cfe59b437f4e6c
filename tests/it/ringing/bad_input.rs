//! What goes wrong on the way: no panic, no false ring, no ring lost.

use super::{cents, listen, listen_with_gaps};
use crate::support::loops::{Loop, Note, RATE, hiss};
use crate::support::signals::{Noise, amplitude};

#[test]
fn silence_constants_noise_and_squares_do_not_ring() {
    let seconds = 6 * RATE as usize;
    let square = |period: usize| (0..seconds).map(move |n| if n % period < period / 2 { 1.0 } else { -1.0 });
    let sounds: Vec<Vec<f32>> = vec![
        vec![0.0; seconds],
        vec![0.7; seconds],
        vec![f32::NAN; seconds],
        Noise::new(1).take(seconds).map(|x| x as f32).collect(),
        Noise::new(2).take(seconds).map(|x| 1e-4 * x as f32).collect(),
        square(48).collect(),
        square(109).collect(),
        // Switched on in the middle.
        square(96).enumerate().map(|(n, x)| if n > seconds / 2 { x } else { 0.0 }).collect(),
        vec![],
        vec![0.5; 3],
    ];
    for (index, sound) in sounds.iter().enumerate() {
        let said = listen(RATE, sound);
        assert!(said.first.is_empty(), "sound {index}: {:?}", said.first);
    }
}

/// Two rings 5 Hz apart are one tone that beats, or two: something rings there, and nothing anywhere else.
#[test]
fn two_rings_a_few_hertz_apart() {
    let (a, mut b) = (Loop::near(1000.0, 1.0), Loop::near(1000.0, 1.0));
    b.frequency = a.frequency + 5.0;
    let noise = hiss(7.0, -60.0, 4);
    let sound: Vec<f32> = a.run(&noise).iter().zip(b.run(&noise)).map(|(a, b)| a + b).collect();
    let said = listen(RATE, &sound);
    assert!(!said.first.is_empty());
    assert!(said.first.iter().all(|ring| (ring.frequency.get() - a.frequency).abs() < 12.0), "{:?}", said.first);
}

/// Two rings well apart are both found.
#[test]
fn two_rings_at_once() {
    let (a, b) = (Loop::near(700.0, 0.8), Loop::near(2500.0, 0.8));
    let noise = hiss(8.0, -60.0, 4);
    let sound: Vec<f32> = a.run(&noise).iter().zip(b.run(&noise)).map(|(a, b)| a + b).collect();
    let said = listen(RATE, &sound);
    for truth in [a.frequency, b.frequency] {
        assert!(said.ringing().any(|ring| cents(ring.frequency.get(), truth) < 10.0), "{truth}: {:?}", said.first);
    }
}

/// A fifth above a held note with harmonics, so that the note's own third partial lies close by.
#[test]
fn on_a_held_note() {
    let case = Loop::near(1310.0, 1.2);
    let mut source = hiss(8.0, -60.0, 4);
    let note = Note {
        frequency: 440.0,
        start: 0.5,
        seconds: 7.0,
        level: -24.0,
        roll_off: 1.2,
        partials: 12,
        attack: 0.05,
        vibrato: 0.003,
        crescendo: 0.0,
    };
    note.add(&mut source);
    let said = listen(RATE, &case.run(&source));
    let rings: Vec<f64> = said.ringing().map(|ring| ring.frequency.get()).collect();
    assert!(rings.iter().any(|&f| cents(f, case.frequency) < 10.0), "{rings:?}");
    assert!(rings.iter().all(|&f| cents(f, case.frequency) < 60.0), "only the ring: {rings:?}");
}

/// Steady hum is no ring; a ring at its fourth or fifth multiple is one.
#[test]
fn at_multiples_of_the_mains() {
    for mains in [50.0, 60.0] {
        let hum = |source: &mut Vec<f64>| {
            for (n, x) in source.iter_mut().enumerate() {
                let phase = std::f64::consts::TAU * mains * n as f64 / f64::from(RATE);
                *x += (1..8).map(|k| amplitude(-45.0) / f64::from(k) * (phase * f64::from(k)).sin()).sum::<f64>();
            }
        };
        let mut quiet = hiss(8.0, -65.0, 4);
        hum(&mut quiet);
        assert!(listen(RATE, &quiet.iter().map(|&x| x as f32).collect::<Vec<f32>>()).first.is_empty());
        let case = Loop { frequency: 5.0 * mains, delay: RATE as usize / mains as usize, ..Loop::near(250.0, 2.0) };
        let said = listen(RATE, &case.run(&quiet));
        assert!(said.ringing().any(|ring| cents(ring.frequency.get(), case.frequency) < 10.0), "{:?}", said.first);
    }
}

/// Other rates: the same loop is found at each.
#[test]
fn other_rates() {
    for rate in [8_000, 11_025, 22_050, 44_100, 96_000] {
        let periods = 12.0;
        let delay = (periods / 1000.0 * f64::from(rate)).round() as usize;
        let frequency = periods * f64::from(rate) / delay as f64;
        let case = Loop { rate, delay, frequency, ..Loop::near(1000.0, 1.0) };
        let noise: Vec<f64> = Noise::new(5).take(7 * rate as usize).map(|x| 0.0017 * x).collect();
        let said = listen(rate, &case.run(&noise));
        let found: Vec<f64> = said.ringing().map(|ring| ring.frequency.get()).collect();
        assert!(found.len() == 1 && cents(found[0], frequency) < 10.0, "{rate} Hz: {:?}", said.first);
    }
}

/// A gap in a ring: it stays the same ring. A gap in a held tone: none begins.
#[test]
fn gaps_end_no_ring_and_start_none() {
    let case = Loop { limit: -12.0, ..Loop::near(1000.0, 1.0) };
    let sound = case.run(&hiss(9.0, -60.0, 4));
    let whole = listen(RATE, &sound);
    let said_at = whole.ringing().next().expect("a ring").reported.get();
    for lost in [0.01, 0.1, 0.8] {
        let cut = ((said_at + 0.3) * f64::from(RATE)) as usize;
        let on = cut + (lost * f64::from(RATE)) as usize;
        let said = listen_with_gaps(RATE, &[(0.0, sound[..cut].to_vec()), (lost, sound[on..].to_vec())]);
        assert_eq!(said.ringing().count(), 1, "{lost} s lost: {:?}", said.first);
        assert_eq!(said.ended.iter().filter(|ring| ring.certainty == said.first.last().unwrap().certainty).count(), 1);
        assert!((said.ended.last().unwrap().end.unwrap().get() - 9.0).abs() < 0.3, "{:?}", said.ended);
    }
    let tone: Vec<f32> = (0..5 * RATE)
        .map(|n| (0.1 * (0.13 * f64::from(n)).sin()) as f32)
        .zip(Noise::new(3))
        .map(|(x, n)| x + 1e-4 * n as f32)
        .collect();
    let pieces: Vec<(f64, Vec<f32>)> =
        tone.chunks(RATE as usize / 3).enumerate().map(|(k, piece)| (0.05 * (k % 4) as f64, piece.to_vec())).collect();
    assert!(listen_with_gaps(RATE, &pieces).first.is_empty());
}

/// A ring driven into hard clipping has harmonics that rise three times as fast: still one ring.
#[test]
fn clipped_ring() {
    let case = Loop { limit: 20.0, ..Loop::near(440.0, 2.0) };
    let said = listen(RATE, &case.run(&hiss(8.0, -60.0, 4)));
    assert_eq!(said.ringing().count(), 1, "{:?}", said.first);
    assert!(cents(said.ringing().next().unwrap().frequency.get(), case.frequency) < 10.0);
}
