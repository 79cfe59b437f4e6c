//! Spill: every acoustic source reaches the other open microphones, later, weaker and a little duller.
//!
//! Lag = (way to that microphone − way to the own one) / 343 m/s. The nearest other microphone gets the
//! source 18 to 20.5 dB down by the distances, farther ones less by 20 lg of theirs: both trims at their
//! right place. As these lie within 3 dB of each other, it is 15 to 24 dB down with equal trims.

use super::cast::Player;

/// At about 20 °C.
pub(super) const SOUND_METRES_PER_SECOND: f64 = 343.0;

/// The strongest spill of a source, dB under its own microphone.
const STRONGEST: (f64, f64) = (18.0, 20.5);
/// First-order, Hz: off the microphone's axis and round bodies.
const CORNER: f64 = 7000.0;

/// A microphone on the stage.
#[derive(Clone, Copy)]
pub struct Microphone {
    pub channel: usize,
    pub place: (f64, f64),
    /// Who owns it: performers do not spill into their own second microphone.
    pub performer: usize,
    pub player: Player,
    /// Its right gain as a factor: a louder source has a less sensitive microphone.
    pub gain: f64,
}

pub struct Air {
    throws: Vec<Throw>,
}

/// One source and its ways to the other microphones.
struct Throw {
    channel: usize,
    low_pass: f32,
    state: f32,
    line: Vec<f32>,
    write: usize,
    longest: usize,
    paths: Vec<Path>,
}

struct Path {
    channel: usize,
    lag: usize,
    gain: f32,
}

impl Air {
    /// `chunk` is the most frames that one call of `carry` brings.
    pub fn new(microphones: &[Microphone], rate: f64, chunk: usize) -> Self {
        let mut throws: Vec<Throw> = Vec::new();
        for source in first_of_each(microphones) {
            let others: Vec<&Microphone> =
                microphones.iter().filter(|other| other.performer != source.performer).collect();
            let reach = source.player.reach();
            let nearest = others.iter().map(|other| way(source, other)).fold(f64::INFINITY, f64::min);
            let strongest = (20.0 * (nearest / reach).log10()).clamp(STRONGEST.0, STRONGEST.1);
            let paths: Vec<Path> = others
                .iter()
                .map(|other| {
                    let way = way(source, other);
                    let down = strongest + 20.0 * (way / nearest).log10();
                    Path {
                        channel: other.channel,
                        lag: ((way - reach).max(0.0) / SOUND_METRES_PER_SECOND * rate).round() as usize,
                        gain: (10f64.powf(-down / 20.0) * source.gain / other.gain) as f32,
                    }
                })
                .collect();
            let longest = paths.iter().map(|path| path.lag).max().unwrap_or(0);
            throws.push(Throw {
                channel: source.channel,
                low_pass: (1.0 - (-std::f64::consts::TAU * CORNER.min(0.4 * rate) / rate).exp()) as f32,
                state: 0.0,
                line: vec![0.0; longest + 8 * chunk],
                write: longest,
                longest,
                paths,
            });
        }
        Self { throws }
    }

    /// Adds to `mics` what the microphones hear of the others' `dry` sound.
    pub fn carry(&mut self, frames: usize, dry: &[Vec<f32>], mics: &mut [Vec<f32>]) {
        for throw in &mut self.throws {
            throw.carry(&dry[throw.channel][..frames], mics);
        }
    }
}

impl Throw {
    fn carry(&mut self, dry: &[f32], mics: &mut [Vec<f32>]) {
        if self.write + dry.len() > self.line.len() {
            self.line.copy_within(self.write - self.longest..self.write, 0);
            self.write = self.longest;
        }
        for (slot, sample) in self.line[self.write..].iter_mut().zip(dry) {
            self.state += self.low_pass * (sample - self.state);
            *slot = self.state;
        }
        for path in &self.paths {
            let heard = &self.line[self.write - path.lag..][..dry.len()];
            for (mic, sample) in mics[path.channel].iter_mut().zip(heard) {
                *mic += path.gain * sample;
            }
        }
        self.write += dry.len();
    }
}

fn first_of_each(microphones: &[Microphone]) -> impl Iterator<Item = &Microphone> {
    microphones.iter().enumerate().filter_map(|(index, microphone)| {
        let first = microphones[..index].iter().all(|earlier| earlier.performer != microphone.performer);
        first.then_some(microphone)
    })
}

fn way(source: &Microphone, other: &Microphone) -> f64 {
    (source.place.0 - other.place.0).hypot(source.place.1 - other.place.1).max(source.player.reach())
}
