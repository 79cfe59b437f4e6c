//! A children's choir in two sections, heard by two microphones before it.
//!
//! Each singer has their own pitch error, vibrato and start; a section shares its vowels. Each
//! microphone hears its own section in the room and, later and weaker, the other one.

use super::filters::{Diffuser, Formant, LowPass};
use super::voice::Glottis;
use super::{Passage, Track};
use crate::source::stage::dice::Dice;

const SINGERS: usize = 8;

/// The far section: 1.6 m more to go (4.7 ms at 343 m/s), 7 dB weaker.
const FAR_SECONDS: f64 = 1.6 / 343.0;
const FAR_GAIN: f32 = 0.45;

/// Chords of the upper and of the lower section, semitones from A4.
const CHORDS: [([f64; 2], [f64; 2]); 5] = [
    ([3.0, -2.0], [-5.0, -9.0]),
    ([5.0, 0.0], [-4.0, -7.0]),
    ([7.0, 2.0], [-2.0, -5.0]),
    ([3.0, 0.0], [-5.0, -9.0]),
    ([2.0, -2.0], [-5.0, -10.0]),
];
/// Open vowels, as a choir is taught to sing them.
const VOWELS: [[f64; 3]; 4] =
    [[640.0, 1180.0, 2600.0], [560.0, 1000.0, 2500.0], [540.0, 1700.0, 2700.0], [600.0, 1450.0, 2650.0]];

/// The left and the right microphone.
pub fn choir(passage: Passage, dice: &mut Dice, rate: f64) -> Vec<Track> {
    let phrases = if passage == Passage::Ordinary { 2 } else { 1 };
    let mut sections = [Track::default(), Track::default()];
    for _ in 0..phrases {
        let notes: Vec<Note> = (0..7)
            .map(|index| Note {
                chord: dice.pick(CHORDS.len()),
                vowel: dice.pick(VOWELS.len()),
                seconds: if index == 6 { 1.6 } else { dice.between(0.5, 0.95) },
                level: 10f64.powf(dice.between(-2.0, 0.0) / 20.0),
            })
            .collect();
        for (side, section) in sections.iter_mut().enumerate() {
            sing(section, &notes, side, passage, dice, rate);
        }
    }
    let lag = (FAR_SECONDS * rate).round() as usize;
    let hears = |near: &Track, far: &Track| {
        let mut track = near.clone();
        for (sample, far) in track.samples[lag..].iter_mut().zip(&far.samples) {
            *sample += FAR_GAIN * far;
        }
        even_out(&mut track.samples, rate);
        track
    };
    vec![hears(&sections[0], &sections[1]), hears(&sections[1], &sections[0])]
}

/// Singers hear each other and keep together: what swells over a fifth of a second is held back, what
/// sinks is helped, by two thirds of its decibels and 3 dB at most.
fn even_out(samples: &mut [f32], rate: f64) {
    let power = |sample: f32| f64::from(sample).powi(2);
    let mean = samples.iter().map(|&sample| power(sample)).sum::<f64>() / samples.len().max(1) as f64;
    let mut follow = LowPass::new(1.2, rate);
    for sample in samples {
        let over = 1.0 + follow.next(power(*sample) / mean.max(1e-12) - 1.0);
        *sample *= over.max(1e-3).powf(-0.45).clamp(0.7, 1.4) as f32;
    }
}

struct Note {
    chord: usize,
    vowel: usize,
    seconds: f64,
    level: f64,
}

struct Singer {
    glottis: Glottis,
    detune: f64,
    late: f64,
    vibrato: f64,
    vibrato_hz: f64,
    depth: f64,
    strength: f64,
    pitch: f64,
    level: f64,
}

fn sing(track: &mut Track, notes: &[Note], side: usize, passage: Passage, dice: &mut Dice, rate: f64) {
    let start = track.samples.len();
    let (brightness, key) = if passage == Passage::Ordinary { (1200.0, 0.0) } else { (2500.0, 2.0) };
    let mut singers: [Singer; SINGERS] = std::array::from_fn(|_| Singer {
        glottis: Glottis::default(),
        detune: 2f64.powf(dice.between(-25.0, 25.0) / 1200.0),
        late: dice.between(0.0, 0.06),
        vibrato: dice.unit(),
        vibrato_hz: dice.between(4.8, 6.4),
        depth: dice.between(0.002, 0.009),
        strength: dice.between(0.6, 1.0),
        pitch: 300.0,
        level: 0.0,
    });
    let mut tilt = LowPass::new(brightness, rate);
    let mut room = Diffuser::new(rate);
    let mut formants: [Formant; 4] = Default::default();
    let mut at = VOWELS[notes.first().map_or(0, |note| note.vowel)];
    const TICK: f64 = 0.004;
    let frames = (TICK * rate) as usize;
    for (index, note) in notes.iter().enumerate() {
        let last = index + 1 == notes.len();
        // The last note dies within the phrase, the far section's part of it too.
        let ticks = ((note.seconds + if last { 0.5 } else { 0.0 }) / TICK) as usize;
        for tick in 0..ticks {
            let now = tick as f64 * TICK;
            for (at, aim) in at.iter_mut().zip(VOWELS[note.vowel]) {
                *at += 0.06 * (1.2 * aim - *at);
            }
            for (index, formant) in formants.iter_mut().enumerate() {
                let hz = if index < 3 { at[index] } else { 4000.0 };
                formant.tune(hz, [200.0, 230.0, 300.0, 400.0][index], rate);
            }
            for (index, singer) in singers.iter_mut().enumerate() {
                let chord = if side == 0 { CHORDS[note.chord].0 } else { CHORDS[note.chord].1 };
                let aim = super::tones::pitch(chord[index % 2] + key) * singer.detune;
                let sounding = now > singer.late && now < note.seconds - 0.05 - singer.late;
                let level = if sounding { note.level * singer.strength } else { 0.5 * note.level };
                let level = if last && now > note.seconds - 0.1 { 0.0 } else { level };
                singer.level += 0.08 * (level - singer.level);
                singer.pitch += 0.15 * (aim - singer.pitch);
                singer.vibrato += TICK * singer.vibrato_hz;
                let wobble = 1.0 + singer.depth * (std::f64::consts::TAU * singer.vibrato).sin();
                singer.glottis.step = singer.pitch * wobble / rate;
            }
            for _ in 0..frames {
                let voices: f64 = singers.iter_mut().map(|singer| singer.level * singer.glottis.next()).sum();
                let air = 0.02 * note.level * dice.noise();
                let sound = formants.iter_mut().fold(tilt.next(voices + air), |sound, formant| formant.next(sound));
                track.samples.push(room.next(sound) as f32);
            }
        }
    }
    track.phrases.push(start..track.samples.len());
}
