//! Loudspeakers in a hall, whose sound comes back to the microphones: a real feedback loop.
//!
//! Taps (behind the converters) → channels of the desk → outputs → loudspeakers, which bend when they are
//! driven hard → room → microphones → preamps → taps. Once round takes the converters' and buffers' delay
//! and the way through the air, together at least one hop (about 1.3 ms). Everything else works sample by
//! sample, so that the cut into blocks does not matter. `hear` and `play` allocate nothing.
//! Band limits and bumps of a loudspeaker, its distance and its level are part of the room's responses, so
//! that the computed truth and the sound come from the same numbers.

mod best;
mod controls;
mod desk;
mod matrix;
mod paths;
mod room;
mod truth;

use std::sync::Arc;

pub use best::{Choice, Yardstick};
use desk::{Bus, OFF, Share, Strip};
use matrix::MAX_OUTPUTS;
use paths::Paths;
pub use room::BoxRoom;
use room::Placed;
use truth::{ChannelSetting, OutputSetting};
pub use truth::{InPhase, TrueRing, Truth};

use super::dice::Dice;
use crate::dsp::biquad::{Biquad, EqBand};
use crate::dsp::convolve::Convolver;
use crate::dsp::equaliser::Curve;
use crate::units::{ChannelId, Db, Dbfs, Hertz, SampleRate, Seconds};

/// Where the sound goes back to the microphones.
#[derive(Clone, Debug)]
pub struct Hall {
    pub seed: u64,
    pub room: Room,
    /// The microphones that hear the loudspeakers; others do not.
    pub microphones: Vec<MicrophonePlace>,
    /// At most 6.
    pub outputs: Vec<Output>,
    /// Converters and buffers, once round.
    pub delay: Seconds,
    /// The room's own noise at each of these microphones' taps, RMS at the trims of the beginning.
    pub noise: Dbfs,
}

#[derive(Clone, Debug)]
pub enum Room {
    Box(BoxRoom),
    /// Responses at hand, `[output][microphone]`, the loudspeaker's among them; empty ones are silent.
    Responses(Vec<Vec<Vec<f32>>>),
}

/// Metres: to the audience's right of the middle, upstage of the front edge, above the floor.
pub type Place = (f64, f64, f64);

#[derive(Clone, Copy, Debug)]
pub struct MicrophonePlace {
    pub channel: ChannelId,
    pub place: Place,
}

/// An output of the desk and its loudspeakers.
#[derive(Clone, Debug)]
pub struct Output {
    pub name: &'static str,
    pub feed: Feed,
    pub loudspeakers: Vec<Loudspeaker>,
    /// How loud the amplifier is: where the fader stands when the loop through this output alone begins to
    /// ring, with all microphones open, channel faders at 0 dB, everything flat and the trims of the
    /// beginning. `None`: a full-scale output gives the responses as they are.
    pub rings_at: Option<Db>,
    /// Where the fader begins.
    pub fader: Db,
    /// The level at which the loudspeaker bends.
    pub limit: Dbfs,
}

/// What goes into an output.
#[derive(Clone, Debug)]
pub enum Feed {
    /// Every open channel after its fader: the mains.
    Mix,
    /// These channels before their faders: a monitor.
    Sends(Vec<(ChannelId, Db)>),
}

#[derive(Clone, Copy, Debug)]
pub struct Loudspeaker {
    pub place: Place,
    /// Towards the audience, or back to the stage as a monitor.
    pub to_audience: bool,
}

impl Hall {
    /// A school's hall for these microphones, drawn by the seed: a room of 50 to 3500 m³ that reverberates for
    /// 0.3 to 2.8 s, mains at both sides of the stage and monitors before the first microphones.
    pub fn drawn(seed: u64, microphones: Vec<MicrophonePlace>, monitors: usize) -> Self {
        let dice = &mut Dice::new(seed, 900);
        let volume = 50.0 * 70f64.powf(dice.unit());
        let height = (0.42 * volume.powf(0.36)).clamp(2.4, 9.0) * dice.between(0.9, 1.15);
        let slim = dice.between(1.2, 2.1);
        let width = (volume / height / slim).sqrt();
        let t60 = (0.35 * (volume / 60.0).powf(0.42) * dice.between(0.7, 1.6)).clamp(0.3, 2.8);
        let size = [width, slim * width, height];
        let output = |name, feed, loudspeakers, dice: &mut Dice| {
            let rings_at = Db::new(dice.between(-12.0, 2.0));
            let limit = Dbfs::new(rings_at.get() + dice.between(-12.0, -3.0));
            Output { name, feed, loudspeakers, rings_at: Some(rings_at), fader: rings_at - Db::new(20.0), limit }
        };
        let side = (width / 2.0 - 0.7).min(5.0);
        let main = |x| Loudspeaker { place: (x, -0.8, 2.3), to_audience: true };
        let mut outputs = vec![output("Mains", Feed::Mix, vec![main(-side), main(side)], dice)];
        for (microphone, name) in microphones.iter().zip(["Monitor 1", "Monitor 2", "Monitor 3"]).take(monitors) {
            let (x, y, _) = microphone.place;
            let before = Loudspeaker { place: (x + dice.between(-0.4, 0.4), y - 1.3, 0.3), to_audience: false };
            let sends = vec![(microphone.channel, Db::ZERO)];
            outputs.push(output(name, Feed::Sends(sends), vec![before], dice));
        }
        let delay = Seconds::new(0.001 * 12f64.powf(dice.unit()));
        let noise = Dbfs::new(dice.between(-72.0, -56.0));
        Self { seed, room: Room::Box(BoxRoom { size, t60 }), microphones, outputs, delay, noise }
    }

    fn responses(&self, rate: SampleRate) -> Vec<Vec<Vec<f32>>> {
        let room = match &self.room {
            Room::Box(room) => room,
            Room::Responses(responses) => return responses.iter().take(MAX_OUTPUTS).cloned().collect(),
        };
        let hz = f64::from(rate.get());
        let ears: Vec<Placed> =
            self.microphones.iter().map(|microphone| placed(room, microphone.place, [0.0, -1.0, 0.0])).collect();
        let outputs = self.outputs.iter().take(MAX_OUTPUTS).enumerate();
        let response = |stream: u64, output: &Output, ear: &Placed, colour: &[EqBand]| -> Vec<f32> {
            let mut dice = Dice::new(self.seed, stream);
            let mut sum: Vec<f64> = Vec::new();
            for loudspeaker in &output.loudspeakers {
                let aim = [0.0, if loudspeaker.to_audience { 1.0 } else { -1.0 }, 0.0];
                let one = room.response(&placed(room, loudspeaker.place, aim), ear, &mut dice, hz);
                sum.resize(one.len().max(sum.len()), 0.0);
                sum.iter_mut().zip(one).for_each(|(sum, one)| *sum += one);
            }
            let mut filters: Vec<Biquad> = colour.iter().map(|band| Biquad::new(band.coefficients(rate))).collect();
            sum.iter().map(|&x| filters.iter_mut().fold(x, |x, filter| filter.next(x)) as f32).collect()
        };
        outputs
            .map(|(index, output)| {
                let colour = colour(&mut Dice::new(self.seed, 1000 + index as u64));
                let stream = |microphone: usize| 1100 + 100 * index as u64 + microphone as u64;
                let ears = ears.iter().enumerate();
                ears.map(|(microphone, ear)| response(stream(microphone), output, ear, &colour)).collect()
            })
            .collect()
    }
}

/// The sound of a loudspeaker and a microphone before it: band limits about 80 Hz and 14 kHz, and bumps.
fn colour(dice: &mut Dice) -> Vec<EqBand> {
    let mut bands = vec![
        EqBand::high_pass(Hertz::new(dice.between(60.0, 110.0))),
        EqBand::low_pass(Hertz::new(dice.between(10_000.0, 16_000.0))),
        EqBand::low_pass(Hertz::new(16_000.0)),
    ];
    for bump in 0..5 {
        let frequency = Hertz::new(150.0 * 50f64.powf(dice.unit()));
        let gain = if bump < 2 { dice.between(3.0, 8.0) } else { dice.between(-5.0, 4.0) };
        bands.push(EqBand::peak(frequency, dice.between(1.0, 4.0), Db::new(gain)));
    }
    bands
}

/// From the stage's metres to the room's, kept clear of the walls. The stage is at one end.
fn placed(room: &BoxRoom, (x, y, z): Place, aim: [f64; 3]) -> Placed {
    let [width, length, height] = room.size;
    let edge = (0.35 * length).min(6.5);
    let keep = |at: f64, side: f64, clear: f64| at.min(side - clear).max(clear);
    Placed { place: [keep(width / 2.0 + x, width, 0.4), keep(edge - y, length, 0.4), keep(z, height, 0.25)], aim }
}

/// A microphone's channel as the loop finds it.
pub struct Heard {
    /// What it makes of sound, against the others, before its trim.
    pub sensitivity: f64,
    pub trim: Db,
}

/// The loop at work.
pub struct Loudspeakers {
    hop: usize,
    at: usize,
    strips: Vec<Strip>,
    buses: Vec<Bus>,
    /// Channels of the microphones.
    microphones: Vec<usize>,
    noises: Vec<Noise>,
    convolver: Convolver,
    /// What the loudspeakers send in this hop, and what comes back of the last.
    sent: Vec<Vec<f32>>,
    back: Vec<Vec<f32>>,
    paths: Arc<Paths>,
}

impl Loudspeakers {
    /// `channel` tells of a microphone's channel; `None`: it is not on this stage.
    pub fn new(hall: &Hall, channels: usize, rate: SampleRate, channel: impl Fn(ChannelId) -> Option<Heard>) -> Self {
        let hz = f64::from(rate.get());
        let hop = hop(rate);
        let heard: Vec<(usize, Heard)> = hall
            .microphones
            .iter()
            .enumerate()
            .filter_map(|(index, microphone)| channel(microphone.channel).map(|heard| (index, heard)))
            .collect();
        let mut responses: Vec<Vec<Vec<f32>>> = hall
            .responses(rate)
            .into_iter()
            .map(|mut row| {
                row.resize(hall.microphones.len(), Vec::new());
                heard.iter().map(|(index, _)| std::mem::take(&mut row[*index])).collect()
            })
            .collect();
        responses.resize(hall.outputs.len().min(MAX_OUTPUTS), vec![Vec::new(); heard.len()]);
        if let Room::Box(_) = hall.room {
            for row in &mut responses {
                for (response, (_, heard)) in row.iter_mut().zip(&heard) {
                    response.iter_mut().for_each(|sample| *sample *= heard.sensitivity as f32);
                }
            }
        }
        let lead = lead(&mut responses, (hall.delay.get() * hz).round().max(0.0) as usize, hop);
        let microphones: Vec<usize> = heard.iter().map(|(index, _)| hall.microphones[*index].channel.index()).collect();
        let buses: Vec<Bus> =
            hall.outputs.iter().take(responses.len()).map(|output| bus(output, channels, rate)).collect();
        let trims: Vec<Db> = heard.iter().map(|(_, heard)| heard.trim).collect();
        let mut paths = Paths::new(responses, lead, rate);
        for (index, output) in hall.outputs.iter().take(buses.len()).enumerate() {
            let Some(rings_at) = output.rings_at else { continue };
            let flat = OutputSetting { bands: Vec::new(), fader: Db::ZERO };
            let mut outputs = vec![OutputSetting { fader: OFF, ..flat.clone() }; buses.len()];
            outputs[index] = flat;
            let settings = settings(&microphones, &buses, |_| Curve::default(), |at| (trims[at], Db::ZERO, true));
            let shared = Arc::new(paths);
            let margin = Truth::new(Arc::clone(&shared), settings, outputs).margin();
            paths = Arc::into_inner(shared).unwrap_or_else(|| unreachable!("the truth above is gone"));
            if margin.get().is_finite() {
                paths.scale(index, (margin - rings_at).ratio());
            }
        }
        let by_microphone: Vec<Vec<Vec<f32>>> = (0..microphones.len())
            .map(|microphone| paths.responses.iter().map(|row| row[microphone].clone()).collect())
            .map(|row: Vec<Vec<f32>>| row.into_iter().map(|response| delayed(response, lead - hop)).collect())
            .collect();
        let noise = |(index, trim): (usize, &Db)| {
            Noise::new(hall.noise.amplitude() / trim.ratio(), Dice::new(hall.seed, 950 + index as u64), hz)
        };
        Self {
            hop,
            at: 0,
            strips: (0..channels).map(|_| Strip::new(rate, hop)).collect(),
            sent: vec![vec![0.0; hop]; buses.len()],
            back: vec![vec![0.0; hop]; microphones.len()],
            noises: trims.iter().enumerate().map(noise).collect(),
            convolver: Convolver::new(&by_microphone, hop),
            buses,
            microphones,
            paths: Arc::new(paths),
        }
    }

    /// Frames that may be played at once now.
    pub fn room_for(&self) -> usize {
        self.hop - self.at
    }

    /// Adds what the microphones hear of the room in the next `frames`.
    pub fn hear(&mut self, frames: usize, mics: &mut [Vec<f32>]) {
        for ((&channel, back), noise) in self.microphones.iter().zip(&self.back).zip(&mut self.noises) {
            for (mic, sample) in mics[channel][..frames].iter_mut().zip(&back[self.at..]) {
                *mic += sample + noise.next();
            }
        }
    }

    /// Plays what the taps gave in these frames.
    pub fn play(&mut self, frames: usize, taps: &[Vec<f32>]) {
        for (strip, tap) in self.strips.iter_mut().zip(taps) {
            strip.process(&tap[..frames]);
        }
        for (bus, sent) in self.buses.iter_mut().zip(&mut self.sent) {
            bus.process(&self.strips, &mut sent[self.at..self.at + frames]);
        }
        self.at += frames;
        if self.at == self.hop {
            self.at = 0;
            self.convolver.process(&self.sent, &mut self.back);
        }
    }

    /// `trim` of a channel, once it has glided there.
    pub fn truth(&self, trim: impl Fn(usize) -> Db) -> Truth {
        let curve = |channel: usize| Curve::new(self.strips[channel].eq.bands(), self.paths.rate);
        let state = |at: usize| {
            let channel = self.microphones[at];
            let strip = &self.strips[channel];
            (trim(channel), strip.fader.at(), strip.is_open())
        };
        let channels = settings(&self.microphones, &self.buses, curve, state);
        let outputs =
            self.buses.iter().map(|bus| OutputSetting { bands: bus.eq.bands().collect(), fader: bus.fader.at() });
        Truth::new(Arc::clone(&self.paths), channels, outputs.collect())
    }
}

/// Of the microphones' channels; `state` gives trim, fader and whether it is open, by the microphone.
fn settings(
    microphones: &[usize],
    buses: &[Bus],
    curve: impl Fn(usize) -> Curve,
    state: impl Fn(usize) -> (Db, Db, bool),
) -> Vec<ChannelSetting> {
    let setting = |(at, &channel): (usize, &usize)| {
        let (trim, fader, open) = state(at);
        let gain = |bus: &Bus| match bus.feed[channel] {
            _ if !open => 0.0,
            Share::AfterFader => trim.ratio() * fader.ratio(),
            Share::BeforeFader(share) => trim.ratio() * f64::from(share),
        };
        ChannelSetting {
            channel: ChannelId::from_index(channel),
            curve: curve(channel),
            gains: buses.iter().map(gain).collect(),
        }
    };
    microphones.iter().enumerate().map(setting).collect()
}

fn bus(output: &Output, channels: usize, rate: SampleRate) -> Bus {
    let feed = match &output.feed {
        Feed::Mix => vec![Share::AfterFader; channels],
        Feed::Sends(sends) => {
            let mut feed = vec![Share::BeforeFader(0.0); channels];
            for (channel, level) in sends {
                if let Some(share) = feed.get_mut(channel.index()) {
                    *share = Share::BeforeFader(level.ratio() as f32);
                }
            }
            feed
        }
    };
    Bus::new(output.name, feed, output.fader, output.limit.amplitude(), rate)
}

/// Frames from the loudspeakers to the microphones at least: a power of two, 1.3 ms at 48 kHz.
fn hop(rate: SampleRate) -> usize {
    let most = (rate.get() / 680).max(1);
    1 << most.ilog2()
}

/// Cuts off the silence that all responses begin with; with the delay it makes what is returned, at least a hop.
fn lead(responses: &mut [Vec<Vec<f32>>], delay: usize, hop: usize) -> usize {
    let silent = |response: &Vec<f32>| response.iter().position(|&x| x != 0.0);
    let first = responses.iter().flatten().filter_map(silent).min().unwrap_or(0);
    for response in responses.iter_mut().flatten() {
        response.drain(..first.min(response.len()));
    }
    (delay + first).max(hop)
}

fn delayed(response: Vec<f32>, frames: usize) -> Vec<f32> {
    let mut late = vec![0.0; frames];
    late.extend(response);
    late
}

/// The room's own noise: duller than white, as air and machines are (two first-order low-passes of white
/// noise, at 60 Hz and 700 Hz).
struct Noise {
    dice: Dice,
    passes: [f64; 2],
    gains: [f64; 2],
    states: [f64; 2],
}

impl Noise {
    fn new(rms: f64, dice: Dice, rate: f64) -> Self {
        let passes = [60.0, 700.0].map(|hz: f64| 1.0 - (-std::f64::consts::TAU * hz / rate).exp());
        // An even spread has the mean square 1/3; a first-order low-pass keeps k/(2 − k) of it, and the two
        // share p q / (p + q − p q) of it.
        let kept = |k: f64| (k / (2.0 - k) / 3.0).sqrt();
        let gains = passes.map(|k| 1.0 / kept(k));
        let [p, q] = passes;
        let shared = p * q / (p + q - p * q) / 3.0 * gains[0] * gains[1];
        let all = (2.0 + 2.0 * shared).sqrt();
        Self { dice, passes, gains: gains.map(|gain| rms * gain / all), states: [0.0; 2] }
    }

    fn next(&mut self) -> f32 {
        let white = self.dice.noise();
        let mut sum = 0.0;
        for ((state, pass), gain) in self.states.iter_mut().zip(self.passes).zip(self.gains) {
            *state += pass * (white - *state);
            sum += gain * *state;
        }
        sum as f32
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The hop is a power of two and no more than 1.5 ms (the least loop that a desk has).
    #[test]
    fn hops() {
        for (hz, frames) in [(8_000, 8), (16_000, 16), (44_100, 64), (48_000, 64), (96_000, 128), (192_000, 256)] {
            assert_eq!(hop(SampleRate::new(hz).unwrap()), frames);
        }
    }

    #[test]
    fn noise_has_its_level() {
        for rate in [16_000.0, 48_000.0] {
            let mut noise = Noise::new(0.01, Dice::new(1, 1), rate);
            let power = (0..1_000_000).map(|_| f64::from(noise.next()).powi(2)).sum::<f64>() / 1e6;
            assert!((10.0 * (power / 1e-4).log10()).abs() < 0.3, "{}", 10.0 * (power / 1e-4).log10());
        }
    }

    /// A drawn hall is one that a school may have.
    #[test]
    fn halls_are_plausible() {
        let places = |count: u16| {
            let place = |n: u16| MicrophonePlace { channel: ChannelId::new(n), place: (f64::from(n) - 1.0, 1.0, 1.5) };
            (0..count).map(place).collect()
        };
        for seed in 0..200 {
            let hall = Hall::drawn(seed, places(3), 2);
            let Room::Box(room) = hall.room else { panic!("a drawn hall is a box") };
            assert!((40.0..4500.0).contains(&room.volume()), "{room:?}");
            assert!(
                (0.3..=2.8).contains(&room.t60) && room.size.iter().all(|side| (2.1..40.0).contains(side)),
                "{room:?}"
            );
            assert!((0.001..0.0121).contains(&hall.delay.get()) && hall.outputs.len() == 3);
        }
    }
}
