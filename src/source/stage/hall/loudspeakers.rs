//! The loop at work: from the taps through desk, loudspeakers and room back to the microphones.
//!
//! In and out: amplitudes. Once round takes the converters' and buffers' delay and the way through the air,
//! together at least one hop (about 1.3 ms), which is convolved at a time. Everything else works sample by sample, so
//! that the cut into blocks does not matter. `hear` and `play` allocate nothing.

use std::sync::Arc;

use super::super::dice::Dice;
use super::desk::{Bus, OFF, Share, Strip};
use super::matrix::MAX_OUTPUTS;
use super::opened::Opened;
use super::paths::Paths;
use super::truth::{ChannelSetting, OutputSetting, Truth};
use super::{Feed, Hall, Output, Room};
use crate::dsp::convolve::Convolver;
use crate::dsp::equaliser::Curve;
use crate::units::{ChannelId, Db, Dbfs, SampleRate};

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
    pub(super) strips: Vec<Strip>,
    pub(super) buses: Vec<Bus>,
    pub(super) opened: Option<Opened>,
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
        let lead = lead(&mut responses, (hall.delay.get().clamp(0.0, 1.0) * hz).round() as usize, hop);
        let microphones: Vec<usize> = heard.iter().map(|(index, _)| hall.microphones[*index].channel.index()).collect();
        let buses: Vec<Bus> =
            hall.outputs.iter().take(responses.len()).map(|output| bus(output, channels, rate)).collect();
        let trims: Vec<Db> = heard.iter().map(|(_, heard)| heard.trim).collect();
        let mut paths = Paths::new(responses, lead, rate);
        for (index, output) in hall.outputs.iter().take(buses.len()).enumerate() {
            let Some(rings_at) = output.rings_at.filter(|at| at.get().is_finite()) else { continue };
            let flat = OutputSetting { bands: Vec::new(), fader: Db::ZERO };
            let mut outputs = vec![OutputSetting { fader: OFF, ..flat.clone() }; buses.len()];
            outputs[index] = flat;
            let mixed = |at: usize| !hall.microphones[heard[at].0].measures;
            let settings = settings(&microphones, &buses, |_| Curve::default(), |at| (trims[at], Db::ZERO, mixed(at)));
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
            Noise::new(
                hall.noise.min(Dbfs::new(0.0)).amplitude() / trim.ratio(),
                Dice::new(hall.seed, 950 + index as u64),
                hz,
            )
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
            opened: None,
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
        for (index, (bus, sent)) in self.buses.iter_mut().zip(&mut self.sent).enumerate() {
            let out = &mut sent[self.at..self.at + frames];
            match self.opened.as_mut().filter(|opened| opened.output == index) {
                Some(opened) => opened.process(bus, &self.strips, out),
                None => bus.process(&self.strips, out),
            }
        }
        self.at += frames;
        if self.at == self.hop {
            self.at = 0;
            self.convolver.process(&self.sent, &mut self.back);
        }
    }

    /// From an output's feed to a channel before its trim, with the output flat.
    pub fn response(&self, output: usize, channel: ChannelId) -> Option<Vec<f64>> {
        let microphone = self.microphones.iter().position(|at| *at == channel.index())?;
        let gain = self.buses.get(output)?.fader.at().ratio();
        let response = self.paths.responses.get(output)?.get(microphone)?;
        Some(response.iter().map(|sample| gain * f64::from(*sample)).collect())
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

/// Where loudspeakers may bend.
const LEAST_LIMIT: Dbfs = Dbfs::new(-80.0);
const MOST_LIMIT: Dbfs = Dbfs::new(80.0);

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
                    *share = Share::BeforeFader(level.ratio().max(0.0) as f32);
                }
            }
            feed
        }
    };
    // What is not a number is off; a loudspeaker that gives nothing at all has no use.
    let fader = if output.fader.get().is_nan() { OFF } else { output.fader };
    let limit = output.limit.max(LEAST_LIMIT).min(MOST_LIMIT);
    Bus::new(output.name, feed, fader, limit.amplitude(), rate)
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
}
