//! Voices: pulses of the vocal folds and noise through a moving tract.
//!
//! Source and filter after G. Fant (1960): the glottal flow of A. E. Rosenberg (JASA 49, 1971),
//! differentiated, through a cascade of formants (D. H. Klatt, JASA 67(3), 1980); vowel formants of
//! the size measured by Peterson and Barney (JASA 24, 1952), scaled for shorter tracts. Speech has
//! 3 to 5 syllables a second in phrases with a breath before them; singing holds its notes with vibrato.

use super::filters::{Formant, HighPass, LowPass};
use super::{Passage, Track};
use crate::source::stage::dice::Dice;

/// Formants 1 to 3 of the vowels of heed, hid, head, had, hod, hawed, hood, who'd, hud, heard; Hz, men.
const VOWELS: [[f64; 3]; 10] = [
    [270.0, 2290.0, 3010.0],
    [390.0, 1990.0, 2550.0],
    [530.0, 1840.0, 2480.0],
    [660.0, 1720.0, 2410.0],
    [730.0, 1090.0, 2440.0],
    [570.0, 840.0, 2410.0],
    [440.0, 1020.0, 2240.0],
    [300.0, 870.0, 2240.0],
    [640.0, 1190.0, 2390.0],
    [490.0, 1350.0, 1690.0],
];
const BANDWIDTHS: [f64; 5] = [80.0, 100.0, 140.0, 220.0, 320.0];

/// Seconds between two settings of the tract.
const TICK: f64 = 0.002;

/// Who speaks.
pub struct Person {
    pub pitch: f64,
    /// How much higher the formants lie than a man's.
    pub tract: f64,
    pub syllables_per_second: (f64, f64),
    /// Unevenness of the syllables, dB.
    pub stress: f64,
}

impl Person {
    pub const SPEAKER: Self = Self { pitch: 165.0, tract: 1.12, syllables_per_second: (3.2, 4.8), stress: 8.0 };
    pub const NARRATOR: Self = Self { pitch: 235.0, tract: 1.22, syllables_per_second: (3.4, 5.0), stress: 11.0 };
}

pub fn speech(person: &Person, passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    let (phrases, effort) = if passage == Passage::Ordinary { (6, 0.35) } else { (3, 1.0) };
    let mut singer = Tract::new(person.tract, effort, rate);
    let mut track = Track::default();
    for _ in 0..phrases {
        let start = track.samples.len();
        singer.breathe(&mut track.samples, dice);
        let syllables = 5 + dice.pick(5);
        let accent = dice.pick(syllables);
        for index in 0..syllables {
            let along = index as f64 / syllables as f64;
            let stressed = index == accent || dice.chance(0.3);
            // The melody of a sentence falls; stress lifts it.
            let bend = 1.12 - 0.3 * along + if stressed { 0.12 } else { 0.0 } + dice.between(-0.04, 0.04);
            let pitch = person.pitch * (1.0 + 0.28 * effort) * bend;
            let rate_now = dice.between(person.syllables_per_second.0, person.syllables_per_second.1);
            let level = if stressed { dice.between(-2.0, 0.0) } else { dice.between(-person.stress, -3.0) };
            let last = index + 1 == syllables;
            let syllable = Syllable {
                consonant: Consonant::any(dice),
                vowel: VOWELS[dice.pick(VOWELS.len())],
                seconds: if last { 1.3 } else { 1.0 } / rate_now,
                pitch: (pitch, pitch * dice.between(0.9, 1.02)),
                level: 10f64.powf(level / 20.0),
                held: false,
            };
            singer.utter(&mut track.samples, dice, &syllable);
        }
        singer.rest(&mut track.samples, dice, 0.12);
        track.phrases.push(start..track.samples.len());
    }
    track
}

/// A song's lines on five notes of a scale; the loudest is its chorus, higher and with more voice.
pub fn song(passage: Passage, dice: &mut Dice, rate: f64) -> Track {
    /// Open vowels carry.
    const SUNG: [usize; 6] = [2, 3, 4, 5, 6, 8];
    const SCALE: [f64; 6] = [-5.0, -3.0, 0.0, 2.0, 4.0, 7.0];
    let (phrases, effort, home) = if passage == Passage::Ordinary { (3, 0.4, 300.0) } else { (2, 1.0, 370.0) };
    let mut singer = Tract::new(1.2, effort, rate);
    // A harmonic that meets a sharp formant would be nearly a pure tone.
    singer.damping = 1.5;
    let mut track = Track::default();
    for _ in 0..phrases {
        let start = track.samples.len();
        singer.breathe(&mut track.samples, dice);
        let notes = 5 + dice.pick(3);
        let mut step = dice.pick(SCALE.len());
        for index in 0..notes {
            step = (step + 5 + dice.pick(3)) % SCALE.len();
            let pitch = home * 2f64.powf(SCALE[step] / 12.0);
            let last = index + 1 == notes;
            let syllable = Syllable {
                consonant: Consonant::any(dice),
                vowel: VOWELS[SUNG[dice.pick(SUNG.len())]],
                seconds: if last { dice.between(0.9, 1.3) } else { dice.between(0.32, 0.7) },
                pitch: (pitch, pitch),
                level: 10f64.powf(dice.between(-8.0, 0.0) / 20.0),
                held: true,
            };
            singer.utter(&mut track.samples, dice, &syllable);
        }
        singer.rest(&mut track.samples, dice, 0.15);
        track.phrases.push(start..track.samples.len());
    }
    track
}

/// How a syllable begins.
enum Consonant {
    None,
    /// Noise about a frequency, for so many seconds.
    Hiss(f64, f64),
    /// A closed tract, then a burst about a frequency.
    Burst(f64),
    /// Voice through a closed mouth.
    Hum,
}

impl Consonant {
    fn any(dice: &mut Dice) -> Self {
        match dice.pick(10) {
            0 | 1 => Self::None,
            2 | 3 => Self::Hiss(dice.between(4200.0, 5800.0), dice.between(0.06, 0.11)),
            4 => Self::Hiss(dice.between(2200.0, 3200.0), dice.between(0.05, 0.09)),
            5..=7 => Self::Burst(dice.between(900.0, 4000.0)),
            _ => Self::Hum,
        }
    }
}

struct Syllable {
    consonant: Consonant,
    vowel: [f64; 3],
    seconds: f64,
    /// Hz at its beginning and its end.
    pitch: (f64, f64),
    level: f64,
    /// Sung: the vowel keeps its level and gets a vibrato.
    held: bool,
}

/// What the tract should do at a moment.
#[derive(Clone, Copy, Default)]
struct Aim {
    voice: f64,
    breath: f64,
    hiss: f64,
    hiss_hz: f64,
    pitch: f64,
}

struct Tract {
    rate: f64,
    size: f64,
    /// How much wider the formants are than a man's.
    damping: f64,
    tilt: LowPass,
    glottis: Glottis,
    formants: [Formant; 5],
    aims: [f64; 3],
    at: [f64; 3],
    hiss: Formant,
    hiss_thin: HighPass,
    now: Aim,
    vibrato: f64,
    vibrato_hz: f64,
}

impl Tract {
    /// `effort`: 0 murmurs, 1 calls.
    fn new(size: f64, effort: f64, rate: f64) -> Self {
        Self {
            rate,
            size,
            damping: 1.2,
            tilt: LowPass::new(900.0 + 3600.0 * effort, rate),
            glottis: Glottis::default(),
            formants: Default::default(),
            aims: VOWELS[8],
            at: VOWELS[8],
            hiss: Formant::default(),
            hiss_thin: HighPass::new(1500.0, rate),
            now: Aim { pitch: 200.0, hiss_hz: 3000.0, ..Aim::default() },
            vibrato: 0.0,
            vibrato_hz: 5.5,
        }
    }

    fn breathe(&mut self, out: &mut Vec<f32>, dice: &mut Dice) {
        let seconds = dice.between(0.2, 0.3);
        self.run(out, dice, seconds, |along, now| Aim {
            breath: 0.05 * (std::f64::consts::PI * along).sin(),
            voice: 0.0,
            hiss: 0.0,
            ..now
        });
        self.rest(out, dice, 0.05);
    }

    fn rest(&mut self, out: &mut Vec<f32>, dice: &mut Dice, seconds: f64) {
        self.run(out, dice, seconds, |_, now| Aim { voice: 0.0, breath: 0.0, hiss: 0.0, ..now });
    }

    fn utter(&mut self, out: &mut Vec<f32>, dice: &mut Dice, syllable: &Syllable) {
        let level = syllable.level;
        let mut left = syllable.seconds;
        let quiet = |now: Aim| Aim { voice: 0.0, breath: 0.0, hiss: 0.0, ..now };
        self.vibrato = 0.0;
        match syllable.consonant {
            Consonant::None => {}
            Consonant::Hiss(hiss_hz, seconds) => {
                self.run(out, dice, seconds, |along, now| Aim {
                    hiss: 0.35 * level * (4.0 * along).min(1.0),
                    hiss_hz,
                    ..quiet(now)
                });
                left -= seconds;
            }
            Consonant::Burst(hiss_hz) => {
                self.run(out, dice, 0.045, |_, now| Aim { hiss_hz, ..quiet(now) });
                self.run(out, dice, 0.012, |_, now| Aim { hiss: 0.6 * level, ..quiet(now) });
                left -= 0.057;
            }
            Consonant::Hum => {
                self.aims = [250.0, 1100.0, 2200.0];
                self.run(out, dice, 0.06, |_, now| Aim { voice: 0.25 * level, pitch: syllable.pitch.0, ..quiet(now) });
                left -= 0.06;
            }
        }
        self.aims = syllable.vowel;
        let seconds = left.max(0.08);
        self.vibrato_hz = dice.between(5.0, 6.0);
        let (from, to) = syllable.pitch;
        self.run(out, dice, seconds, |along, now| {
            let fall = if syllable.held { 1.0 - 0.35 * along } else { 1.0 - 0.45 * along };
            let close = ((1.0 - along) * seconds / 0.05).min(1.0);
            let voice = level * fall * (0.3 + 0.7 * close);
            Aim { voice, breath: 0.03 * voice, hiss: 0.0, pitch: from + (to - from) * along, ..now }
        });
        if syllable.held {
            self.vibrato = 0.0;
        }
    }

    /// Sounds for so long, aiming anew each tick at what `aim` says of how far along it is (0 to 1).
    fn run(&mut self, out: &mut Vec<f32>, dice: &mut Dice, seconds: f64, aim: impl Fn(f64, Aim) -> Aim) {
        let ticks = (seconds / TICK).round().max(1.0) as usize;
        let frames = (TICK * self.rate) as usize;
        let ease = 1.0 - (-TICK / 0.012f64).exp();
        let glide = 1.0 - (-TICK / 0.03f64).exp();
        for tick in 0..ticks {
            let along = tick as f64 / ticks as f64;
            let wanted = aim(along, self.now);
            self.now = Aim {
                voice: self.now.voice + ease * (wanted.voice - self.now.voice),
                breath: self.now.breath + ease * (wanted.breath - self.now.breath),
                hiss: self.now.hiss + 1.8 * ease * (wanted.hiss - self.now.hiss),
                hiss_hz: wanted.hiss_hz,
                pitch: self.now.pitch + glide * (wanted.pitch - self.now.pitch),
            };
            for (at, aim) in self.at.iter_mut().zip(self.aims) {
                *at += glide * (aim - *at);
            }
            self.tune(along);
            for _ in 0..frames {
                let sample = self.next(dice);
                out.push(sample as f32);
            }
        }
    }

    fn tune(&mut self, along: f64) {
        // Vibrato sets in when a note has settled.
        self.vibrato += TICK * self.vibrato_hz;
        let depth = 0.018 * (3.0 * along - 0.6).clamp(0.0, 1.0);
        let wobble = 1.0 + depth * (std::f64::consts::TAU * self.vibrato).sin();
        self.glottis.step = self.now.pitch * wobble / self.rate;
        let high = [3500.0, 4500.0];
        for (index, formant) in self.formants.iter_mut().enumerate() {
            let hz = if index < 3 { self.at[index] } else { high[index - 3] };
            // A sung or called first formant does not lie under the pitch.
            let hz = if index == 0 { (hz * self.size).max(1.05 * self.now.pitch) } else { hz * self.size };
            formant.tune(hz, BANDWIDTHS[index] * self.damping, self.rate);
        }
        self.hiss.tune(self.now.hiss_hz, 1200.0, self.rate);
    }

    fn next(&mut self, dice: &mut Dice) -> f64 {
        let noise = dice.noise();
        let pulse = self.tilt.next(self.now.voice * self.glottis.next());
        let mut sound = pulse + self.now.breath * noise;
        for formant in &mut self.formants {
            sound = formant.next(sound);
        }
        sound + self.hiss_thin.next(self.hiss.next(self.now.hiss * noise))
    }
}

/// The derivative of Rosenberg's glottal flow, averaged over each sample, which keeps aliases low.
#[derive(Clone, Default)]
pub struct Glottis {
    phase: f64,
    flow: f64,
    /// Cycles per sample.
    pub step: f64,
}

impl Glottis {
    const OPENING: f64 = 0.42;
    const CLOSING: f64 = 0.18;

    pub fn next(&mut self) -> f64 {
        self.phase += self.step;
        self.phase -= self.phase.floor();
        let flow = if self.phase < Self::OPENING {
            let x = self.phase / Self::OPENING;
            x * x * (3.0 - 2.0 * x)
        } else {
            let x = ((self.phase - Self::OPENING) / Self::CLOSING).min(1.0);
            1.0 - x * x
        };
        let change = (flow - self.flow) / self.step.max(1e-6);
        self.flow = flow;
        0.1 * change
    }
}
