//! The wires between the stage and the desk, and what can be wrong with them: the truth of a line check.
//!
//! In: what each microphone or instrument gives, before the preamps. Out: what arrives at each socket. Faults belong to
//! a wire (a dead cable, a reversed leg, hum) or to a socket (no phantom, another socket's signal, noise); plugs can sit in
//! each other's sockets. Knocks (a tap on a microphone, a clap between two) are added here: other microphones hear them
//! through the air, 34 dB and more under a tap, later by the way. Levels in dB re the preamps' noise or the performer's
//! show peak. A channel that is not there is left alone. Nothing is allocated while it plays.

use std::f64::consts::TAU;

use super::air::SOUND_METRES_PER_SECOND;
use super::dice::Dice;
use crate::units::{ChannelId, Db, Dbfs, Hertz};

/// Something wrong between the stage and the hall.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RigFault {
    /// Two plugs sit in each other's sockets.
    Swapped(ChannelId, ChannelId),
    /// Three went round: the first sits in the second's socket, that one in the third's, the third in the first's.
    Rotated(ChannelId, ChannelId, ChannelId),
    DeadCable(ChannelId),
    /// One leg of a balanced wire the wrong way: upside down.
    LegReversed(ChannelId),
    Hum {
        channel: ChannelId,
        mains: Hertz,
        /// Over the line's own noise.
        over: Db,
        /// A buzz that goes on to high multiples.
        comb: bool,
    },
    /// The desk gives `from`'s signal to `to` as well, in the place of its own.
    Copied {
        from: ChannelId,
        to: ChannelId,
    },
    /// A condenser microphone without its +48 V.
    NoPhantom(ChannelId),
    /// A line that hisses, with this much noise.
    Noisy(ChannelId, Dbfs),
    SpeakersSwapped,
    SpeakerReversed,
    SpeakerDead(Side),
}

/// Of the hall, as the audience sees the stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Left,
    Right,
}

/// What is knocked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Knock {
    Tap,
    Clap,
}

/// Strongest multiples of the mains first come second: a rectifier's or a transformer's field.
const SMOOTH: [f64; 4] = [0.5, 1.0, 0.12, 0.08];
const COMB: [f64; 10] = [0.4, 1.0, 0.5, 0.7, 0.4, 0.5, 0.35, 0.4, 0.3, 0.35];
/// A tap reaches another microphone a metre away so far under the tapped one.
const TAP_AT_A_METRE: Db = Db::new(-34.0);
const KNOCKS: usize = 96;

/// The wires, as they are plugged and broken.
pub struct Rig {
    rate: f64,
    /// By socket: whose plug sits there.
    plugged: Vec<usize>,
    wires: Vec<Wire>,
    sockets: Vec<Socket>,
    planes: Vec<Vec<f32>>,
    sounds: [Vec<f32>; 2],
    knocks: Vec<Knocking>,
    /// Whether the loudspeakers' plugs are swapped, one is upside down, and which are silent.
    pub swapped: bool,
    pub reversed: bool,
    pub dead: [bool; 2],
    dice: Dice,
}

#[derive(Clone, Default)]
struct Wire {
    dead: bool,
    reversed: bool,
    hum: Option<HumSource>,
}

#[derive(Clone)]
struct HumSource {
    /// Phase of the fundamental, in turns.
    phase: f64,
    step: f64,
    level: f64,
    shape: &'static [f64],
}

#[derive(Clone, Copy, Default)]
struct Socket {
    needs_phantom: bool,
    copies: Option<usize>,
    /// Amplitude of white noise before the knob, evenly spread.
    noise: f64,
}

#[derive(Clone, Copy)]
struct Knocking {
    microphone: usize,
    sound: Knock,
    wait: usize,
    at: usize,
    gain: f32,
}

impl Rig {
    pub(super) fn new(channels: usize, rate: f64, chunk: usize, seed: u64) -> Self {
        let mut dice = Dice::new(seed, 400);
        let sounds = [tap(&mut dice, rate), hands(&mut dice, rate)];
        Self {
            rate,
            plugged: (0..channels).collect(),
            wires: vec![Wire::default(); channels],
            sockets: vec![Socket::default(); channels],
            planes: vec![vec![0.0; chunk]; channels],
            sounds,
            knocks: Vec::with_capacity(KNOCKS),
            swapped: false,
            reversed: false,
            dead: [false; 2],
            dice,
        }
    }

    /// `floor`: a socket's noise before the knob; `trim`: its gain.
    pub(super) fn break_it(
        &mut self,
        fault: RigFault,
        floor: impl Fn(ChannelId) -> Dbfs,
        trim: impl Fn(ChannelId) -> Db,
    ) {
        let channels = self.wires.len();
        let there = |channel: ChannelId| channel.index() < channels;
        match fault {
            RigFault::Swapped(a, b) if there(a) && there(b) => self.plugged.swap(a.index(), b.index()),
            RigFault::Rotated(a, b, c) if there(a) && there(b) && there(c) => {
                (self.plugged[b.index()], self.plugged[c.index()], self.plugged[a.index()]) =
                    (a.index(), b.index(), c.index());
            }
            RigFault::DeadCable(a) if there(a) => self.wires[a.index()].dead = true,
            RigFault::LegReversed(a) if there(a) => self.wires[a.index()].reversed = true,
            RigFault::Hum { channel, mains, over, comb } if there(channel) => {
                let shape: &[f64] = if comb { &COMB } else { &SMOOTH };
                let whole = (shape.iter().map(|part| part * part).sum::<f64>() / 2.0).sqrt();
                self.wires[channel.index()].hum = Some(HumSource {
                    phase: self.dice.unit(),
                    step: mains.get() / self.rate,
                    level: (floor(channel) + over).amplitude() / whole,
                    shape,
                });
            }
            RigFault::Copied { from, to } if there(from) && there(to) => {
                self.sockets[to.index()].copies = Some(from.index());
            }
            RigFault::NoPhantom(a) if there(a) => self.sockets[a.index()].needs_phantom = true,
            RigFault::Noisy(a, level) if there(a) => {
                self.sockets[a.index()].noise = (level - trim(a)).amplitude() * 3f64.sqrt();
            }
            RigFault::SpeakersSwapped => self.swapped = true,
            RigFault::SpeakerReversed => self.reversed = true,
            RigFault::SpeakerDead(side) => self.dead[side as usize] = true,
            _ => {}
        }
    }

    /// Where the plug of a microphone sits.
    pub fn socket_of(&self, microphone: ChannelId) -> ChannelId {
        let at = self.plugged.iter().position(|plug| *plug == microphone.index());
        at.map_or(microphone, ChannelId::from_index)
    }

    /// Moves a microphone's plug to a socket; what sat there goes where it came from.
    pub fn plug(&mut self, microphone: ChannelId, socket: ChannelId) {
        if microphone.index() < self.plugged.len() && socket.index() < self.plugged.len() {
            let old = self.socket_of(microphone);
            self.plugged.swap(old.index(), socket.index());
        }
    }

    /// Another cable for a microphone.
    pub fn new_cable(&mut self, microphone: ChannelId) {
        if let Some(wire) = self.wires.get_mut(microphone.index()) {
            (wire.dead, wire.reversed) = (false, false);
        }
    }

    /// Nothing is at the other end of what is plugged into a socket.
    pub(super) fn is_bare(&self, socket: usize) -> bool {
        self.plugged.get(socket).is_some_and(|wire| self.wires[*wire].dead)
    }

    pub fn lift(&mut self, microphone: ChannelId) {
        if let Some(wire) = self.wires.get_mut(microphone.index()) {
            wire.hum = None;
        }
    }

    pub fn phantom_on(&mut self, socket: ChannelId) {
        if let Some(socket) = self.sockets.get_mut(socket.index()) {
            socket.needs_phantom = false;
        }
    }

    /// Whether a socket's microphone waits for its +48 V.
    pub fn lacks_phantom(&self, socket: ChannelId) -> bool {
        self.sockets.get(socket.index()).is_some_and(|socket| socket.needs_phantom)
    }

    pub fn quieten(&mut self, socket: ChannelId) {
        if let Some(socket) = self.sockets.get_mut(socket.index()) {
            socket.noise = 0.0;
        }
    }

    /// The polarity switch of a wire.
    pub fn turn_over(&mut self, microphone: ChannelId) {
        if let Some(wire) = self.wires.get_mut(microphone.index()) {
            wire.reversed = !wire.reversed;
        }
    }

    pub fn unroute(&mut self, socket: ChannelId) {
        if let Some(socket) = self.sockets.get_mut(socket.index()) {
            socket.copies = None;
        }
    }

    /// Which loudspeakers sound when the desk plays on one side: left, right.
    pub fn sounding(&self, side: Side) -> [bool; 2] {
        let at = if self.swapped { 1 - side as usize } else { side as usize };
        let mut sounding = [false; 2];
        sounding[at] = !self.dead[at];
        sounding
    }

    /// A knock at a microphone, before the knob.
    pub(super) fn knock(&mut self, microphone: ChannelId, sound: Knock, level: Dbfs, metres: f64) {
        if self.knocks.len() < KNOCKS && microphone.index() < self.wires.len() {
            let wait = (metres.max(0.0) / SOUND_METRES_PER_SECOND * self.rate) as usize;
            let gain = level.amplitude() as f32;
            self.knocks.push(Knocking { microphone: microphone.index(), sound, wait, at: 0, gain });
        }
    }

    /// What a tap at `metres` is under one on the microphone itself.
    pub(super) fn tap_from_afar(metres: f64) -> Db {
        TAP_AT_A_METRE - Db::from_ratio(metres.max(0.3))
    }

    /// From what the microphones give to what arrives at the sockets.
    pub(super) fn carry(&mut self, frames: usize, heard: &mut [Vec<f32>]) {
        for knock in &mut self.knocks {
            let sound = &self.sounds[knock.sound as usize];
            let skip = knock.wait.min(frames);
            knock.wait -= skip;
            for (out, sample) in heard[knock.microphone][skip..frames].iter_mut().zip(&sound[knock.at..]) {
                *out += knock.gain * sample;
            }
            knock.at = (knock.at + frames - skip).min(sound.len());
        }
        let sounds = &self.sounds;
        self.knocks.retain(|knock| knock.at < sounds[knock.sound as usize].len());
        for (wire, plane) in self.wires.iter_mut().zip(heard.iter_mut()) {
            wire.carry(&mut plane[..frames]);
        }
        for (socket, plane) in self.planes.iter_mut().enumerate() {
            let source = self.plugged[socket];
            if self.sockets[socket].needs_phantom {
                plane[..frames].fill(0.0);
            } else {
                plane[..frames].copy_from_slice(&heard[source][..frames]);
            }
            let noise = self.sockets[socket].noise;
            if noise > 0.0 {
                plane[..frames].iter_mut().for_each(|sample| *sample += (noise * self.dice.noise()) as f32);
            }
        }
        for (plane, heard) in self.planes.iter().zip(heard) {
            heard[..frames].copy_from_slice(&plane[..frames]);
        }
    }

    /// From what the converters give to the channels.
    pub(super) fn route(&mut self, frames: usize, converted: &mut [Vec<f32>]) {
        for (to, plane) in self.planes.iter_mut().enumerate() {
            if let Some(from) = self.sockets[to].copies {
                plane[..frames].copy_from_slice(&converted[from][..frames]);
            }
        }
        for (to, plane) in self.planes.iter().enumerate() {
            if self.sockets[to].copies.is_some() {
                converted[to][..frames].copy_from_slice(&plane[..frames]);
            }
        }
    }
}

impl Wire {
    fn carry(&mut self, samples: &mut [f32]) {
        if let Some(hum) = &mut self.hum {
            for sample in samples.iter_mut() {
                let turns = |multiple: usize| (TAU * hum.phase * multiple as f64).sin();
                let wave: f64 = hum.shape.iter().enumerate().map(|(n, part)| part * turns(n + 1)).sum();
                *sample += (hum.level * wave) as f32;
                hum.phase = (hum.phase + hum.step).fract();
            }
        }
        if self.dead {
            samples.fill(0.0);
        } else if self.reversed {
            samples.iter_mut().for_each(|sample| *sample = -*sample);
        }
    }
}

/// A finger on a grille: three modes and a burst, gone in 60 ms; true peak about 1.
fn tap(dice: &mut Dice, rate: f64) -> Vec<f32> {
    let modes = [(130.0, 0.5, 0.09), (340.0, 0.35, 0.06), (900.0, 0.2, 0.04)];
    let shape = |n: usize| {
        let time = n as f64 / rate;
        let fall = |sixty: f64| 10f64.powf(-3.0 * time / sixty);
        let tones: f64 = modes.iter().map(|&(hz, part, sixty)| part * fall(sixty) * (TAU * hz * time).cos()).sum();
        let rise = (time / 0.001).min(1.0);
        (rise * tones, 0.3 * rise * fall(0.03))
    };
    (0..(0.12 * rate) as usize)
        .map(|n| {
            let (tone, burst) = shape(n);
            (tone + burst * dice.noise()) as f32
        })
        .collect()
}

/// Two hands: a burst of noise about 1 kHz and above, gone in 0.1 s.
fn hands(dice: &mut Dice, rate: f64) -> Vec<f32> {
    let mut low = 0.0;
    let pass = 1.0 - (-TAU * 900.0 / rate).exp();
    (0..(0.2 * rate) as usize)
        .map(|n| {
            let time = n as f64 / rate;
            let white = dice.noise() * 10f64.powf(-3.0 * time / 0.14) * (time / 0.001).min(1.0);
            low += pass * (white - low);
            (white - 0.7 * low) as f32
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rig() -> Rig {
        Rig::new(4, 48_000.0, 256, 1)
    }

    fn broken(fault: RigFault) -> Rig {
        let mut rig = rig();
        rig.break_it(fault, |_| Dbfs::new(-100.0), |_| Db::ZERO);
        rig
    }

    /// Each microphone gives its own number.
    fn arrived(rig: &mut Rig) -> Vec<f32> {
        let mut heard: Vec<Vec<f32>> = (1..=4).map(|number| vec![number as f32; 256]).collect();
        rig.carry(256, &mut heard);
        heard.iter().map(|plane| plane[255]).collect()
    }

    const fn at(index: u16) -> ChannelId {
        ChannelId::new(index)
    }

    #[test]
    fn plugs_sit_where_they_were_put_and_go_back() {
        assert_eq!(arrived(&mut rig()), [1.0, 2.0, 3.0, 4.0]);
        let mut rig = broken(RigFault::Swapped(at(0), at(2)));
        assert_eq!(arrived(&mut rig), [3.0, 2.0, 1.0, 4.0]);
        assert_eq!(rig.socket_of(at(0)), at(2));
        rig.plug(at(0), at(0));
        assert_eq!(arrived(&mut rig), [1.0, 2.0, 3.0, 4.0]);
        let mut rig = broken(RigFault::Rotated(at(0), at(1), at(2)));
        assert_eq!(arrived(&mut rig), [3.0, 1.0, 2.0, 4.0]);
        assert_eq!([0, 1, 2].map(|mic| rig.socket_of(at(mic))), [at(1), at(2), at(0)]);
    }

    #[test]
    fn wires_and_sockets_break_and_are_mended() {
        let mut rig = broken(RigFault::DeadCable(at(1)));
        assert_eq!(arrived(&mut rig)[1], 0.0);
        rig.new_cable(at(1));
        assert_eq!(arrived(&mut rig)[1], 2.0);
        assert_eq!(arrived(&mut broken(RigFault::LegReversed(at(3))))[3], -4.0);
        let mut rig = broken(RigFault::Copied { from: at(0), to: at(3) });
        let routed = |rig: &mut Rig| {
            let mut converted: Vec<Vec<f32>> = (1..=4).map(|number| vec![number as f32; 256]).collect();
            rig.route(256, &mut converted);
            converted.iter().map(|plane| plane[9]).collect::<Vec<f32>>()
        };
        assert_eq!(routed(&mut rig), [1.0, 2.0, 3.0, 1.0]);
        rig.unroute(at(3));
        assert_eq!(routed(&mut rig)[3], 4.0);
        let mut rig = broken(RigFault::NoPhantom(at(2)));
        assert_eq!(arrived(&mut rig)[2], 0.0);
        rig.phantom_on(at(2));
        assert_eq!(arrived(&mut rig)[2], 3.0);
        // What is not there is left alone.
        assert_eq!(arrived(&mut broken(RigFault::DeadCable(at(9)))), [1.0, 2.0, 3.0, 4.0]);
    }

    /// −100 dBFS and 20 dB over: the hum's RMS is −80 dBFS.
    #[test]
    fn hum_has_the_level_that_was_asked_for() {
        for comb in [false, true] {
            let hum = RigFault::Hum { channel: at(0), mains: Hertz::new(50.0), over: Db::new(20.0), comb };
            let mut rig = broken(hum);
            let mut power = 0.0;
            for _ in 0..375 {
                let mut heard = vec![vec![0.0; 256]; 4];
                rig.carry(256, &mut heard);
                power += heard[0].iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / 96_000.0;
            }
            assert!((Dbfs::from_power(power).get() + 80.0).abs() < 0.05, "{power}");
        }
    }

    #[test]
    fn a_tap_is_heard_where_it_is_made_and_is_over_soon() {
        let mut rig = rig();
        rig.knock(at(1), Knock::Tap, Dbfs::new(-20.0), 0.0);
        let mut heard = vec![vec![0.0; 6000]; 4];
        rig.planes = heard.clone();
        rig.carry(6000, &mut heard);
        let peak = heard[1].iter().fold(0f32, |peak, x| peak.max(x.abs()));
        assert!((-26.0..=-17.0).contains(&Dbfs::from_amplitude(f64::from(peak)).get()), "{peak}");
        assert!(heard[0].iter().all(|x| *x == 0.0) && rig.knocks.is_empty());
    }

    #[test]
    fn loudspeakers() {
        assert_eq!(rig().sounding(Side::Left), [true, false]);
        assert_eq!(broken(RigFault::SpeakersSwapped).sounding(Side::Left), [false, true]);
        assert_eq!(broken(RigFault::SpeakerDead(Side::Right)).sounding(Side::Right), [false, false]);
    }
}
