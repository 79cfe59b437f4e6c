//! The simulated stage: performers whose true levels are known, for a first run, practice and tests.
//!
//! Sound goes performers → air (spill) → preamps (noise, trim, converter) → block, and with loudspeakers in the
//! hall (`hall`) from there through the desk and the room back to the microphones. Levels are dBFS at the
//! present trims. The same seed and the same calls before the same frames give the same samples, however
//! they are cut into blocks: a call takes effect at the next frame that is read, and nothing else depends
//! on where a block ends. `read` allocates nothing. A channel that is not there is silent and ignores calls.

mod air;
mod cast;
mod dice;
mod hall;
mod material;
mod performer;
mod preamp;
mod rig;
mod sounds;

use std::convert::Infallible;

use air::{Air, Microphone};
pub use cast::Player;
use cast::{Part, SCHOOL_SHOW};
use dice::Dice;
use hall::Loudspeakers;
pub use hall::{
    BoxRoom, Choice, Computer, Feed, Hall, InPhase, Loudspeaker, MOST_MEASURING, MicrophonePlace, Opening, Output,
    Room, TrueRing, Truth, Yardstick,
};
use material::{Material, true_peak};
use performer::{Pace, Performer};
use preamp::{Preamp, TRIM_RANGE};
use rig::Knock;
pub use rig::{Rig, RigFault, Side};

use crate::block::{BlockBuf, Format};
pub use crate::dsp::biquad::{EqBand, Shape};
pub use crate::dsp::equaliser::Graphic;
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds, SourceKind};

/// How brave the performers are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Mood {
    /// Lower than on show night by about the whole show lift of each kind, at most 1 dB more.
    Shy,
    /// Lower by about half of it.
    Normal,
    ShowNight,
}

/// What makes one stage differ from another.
#[derive(Clone, Copy, Debug)]
pub struct StageConfig {
    pub seed: u64,
    pub mood: Mood,
    pub rate: SampleRate,
    /// How much each phrase and passage is off its level beyond the usual, ±; 0 for steady performers.
    pub restless: Db,
    /// Whether everyone plays from the beginning; else they wait to be asked.
    pub playing: bool,
}

impl StageConfig {
    pub fn new(seed: u64, mood: Mood, rate: SampleRate) -> Self {
        Self { seed, mood, rate, restless: Db::ZERO, playing: true }
    }
}

/// An input of a scripted stage, which does one thing, always alike.
#[derive(Clone, Copy, Debug)]
pub struct Script {
    pub player: Player,
    /// One hit (a drum, a triangle) or the loudest passage (others) each so often, first after half a
    /// second; `None`: the loudest passage over and over.
    pub every: Option<Seconds>,
    /// Its true peak at the trim that the stage begins with, in the mood `Normal`.
    pub peak: Dbfs,
    pub floor: Dbfs,
}

/// What is plugged into a channel.
#[derive(Clone, Debug)]
pub struct StageInput {
    pub name: &'static str,
    pub kind: SourceKind,
    /// Metres: to the audience's right of the middle, upstage of the front edge.
    pub place: (f64, f64),
    /// Metres from the performer to the microphone.
    pub reach: f64,
    /// A microphone hears others too and may have a pad; a line hears only its own.
    pub microphone: bool,
    pub has_pad: bool,
    /// A condenser that wants +48 V.
    pub phantom: bool,
    /// How much louder show night is than a shy rehearsal.
    pub show_lift: Db,
}

/// Frames that are mixed at a time.
const CHUNK: usize = 256;
/// Where show night peaks at the right trim.
const RIGHT_PEAK: Dbfs = Dbfs::new(-6.0);
/// A freak event over the performer's loudest at the present mood.
const FREAK_OVER: Db = Db::new(12.0);
/// The trim with which scripted inputs begin.
const SCRIPTED_TRIM: Db = Db::new(30.0);

pub struct Stage {
    format: Format,
    mood: Mood,
    seed: u64,
    clock: u64,
    inputs: Vec<StageInput>,
    channels: Vec<Channel>,
    actors: Vec<Actor>,
    air: Air,
    loudspeakers: Option<Loudspeakers>,
    /// The wires, once anybody looked at them.
    rig: Option<Rig>,
    /// What each performer's own microphones get of them alone.
    dry: Vec<Vec<f32>>,
    /// The same with all that the air brings.
    heard: Vec<Vec<f32>>,
    cough: Vec<f32>,
    bump: Vec<f32>,
}

struct Channel {
    actor: usize,
    preamp: Preamp,
    freak: Option<Freak>,
}

/// A performer and how loud they will be.
struct Actor {
    player: Player,
    performer: Performer,
    first_channel: usize,
    /// The true peak of the loudest passage on show night, before the trim.
    show: Dbfs,
    lower_normal: Db,
    lower_shy: Db,
}

#[derive(Clone, Copy)]
struct Freak {
    bump: bool,
    at: usize,
    gain: f32,
}

impl Stage {
    /// The school show: twelve inputs, whose trims stand where the last user left them.
    pub fn new(config: StageConfig) -> Self {
        let rate = f64::from(config.rate.get());
        let mut stage = Self::empty(config.rate, config.mood, config.seed);
        for (stream, part) in SCHOOL_SHOW.iter().enumerate() {
            let mut dice = Dice::new(config.seed, 100 + stream as u64);
            let material = Material::new(part.player, &mut dice, rate);
            let right = part.player.right_gain() + Db::new(dice.between(-1.5, 1.5));
            let lift = part.player.show_lift().get();
            let jitter = (lift / 2.0).min(1.0);
            let actor = Actor {
                player: part.player,
                show: RIGHT_PEAK - right,
                lower_normal: Db::new(lift / 2.0 + dice.between(-jitter, jitter)),
                lower_shy: Db::new(lift + dice.between(-jitter, jitter)),
                first_channel: stage.channels.len(),
                performer: Performer::new(part.player, material, Pace::Free, config.restless.abs().get(), dice, rate),
            };
            stage.add(part, actor, config.seed, |dice| {
                let floor = part.player.floor() + Db::new(dice.between(-2.0, 2.0)) - right;
                (right + starting_error(dice), floor)
            });
        }
        stage.build_air(rate);
        if config.playing {
            stage.actors.iter_mut().for_each(|actor| actor.performer.ask_play());
        }
        stage
    }

    /// A stage of inputs that do one known thing each, without spill, in the mood `Normal`.
    pub fn scripted(rate: SampleRate, seed: u64, scripts: &[Script]) -> Self {
        let hz = f64::from(rate.get());
        let mut stage = Self::empty(rate, Mood::Normal, seed);
        for (stream, script) in scripts.iter().take(ChannelId::MAX_CHANNELS).enumerate() {
            let mut dice = Dice::new(seed, 100 + stream as u64);
            let (mut material, pace) = match script.every {
                Some(every) => {
                    let frames = rate.frames(every).get().max(1);
                    (Material::hits(script.player, &mut dice, hz), Pace::Every(frames))
                }
                None => (Material::steady(script.player, &mut dice, hz), Pace::Steady),
            };
            material.tracks.truncate(1);
            let lift = script.player.show_lift();
            let actor = Actor {
                player: script.player,
                show: script.peak + Db::new(lift.get() / 2.0) - SCRIPTED_TRIM,
                lower_normal: Db::new(lift.get() / 2.0),
                lower_shy: lift,
                first_channel: stage.channels.len(),
                performer: Performer::new(script.player, material, pace, 0.0, dice, hz),
            };
            let name = script.player.kind().word();
            let part = Part { player: script.player, inputs: &[("", (0.0, 0.0))] };
            stage.add(&part, actor, seed, |_| (SCRIPTED_TRIM, script.floor - SCRIPTED_TRIM));
            if let Some(input) = stage.inputs.last_mut() {
                input.name = name;
                // In a row along the front.
                input.place = (1.2 * (stream as f64 - (scripts.len() as f64 - 1.0) / 2.0), 1.0);
            }
        }
        stage.actors.iter_mut().for_each(|actor| actor.performer.ask_play());
        stage
    }

    pub fn inputs(&self) -> &[StageInput] {
        &self.inputs
    }

    /// Neighbouring inputs that take up one source, left and right.
    pub fn pairs(&self) -> Vec<(ChannelId, ChannelId)> {
        let pairs = self.channels.windows(2).enumerate().filter(|(_, pair)| pair[0].actor == pair[1].actor);
        pairs.map(|(index, _)| (ChannelId::from_index(index), ChannelId::from_index(index + 1))).collect()
    }

    /// The ends of every trim knob.
    pub fn trim_range(&self) -> (Db, Db) {
        TRIM_RANGE
    }

    /// Where the knob stands, as dB of gain.
    pub fn trim(&self, channel: ChannelId) -> Db {
        self.channel(channel).map_or(Db::ZERO, |channel| channel.preamp.trim())
    }

    /// Turns a knob, in 0.3 s; what it moved before it met its end.
    pub fn turn_trim(&mut self, channel: ChannelId, by: Db) -> Db {
        self.channels.get_mut(channel.index()).map_or(Db::ZERO, |channel| channel.preamp.turn(by))
    }

    /// "The loudest passage again, please": it comes 1 to 3 s later.
    pub fn ask_loudest(&mut self, channel: ChannelId) {
        self.tell(channel, Performer::ask_loudest);
    }

    /// "Just play."
    pub fn ask_play(&mut self, channel: ChannelId) {
        self.tell(channel, Performer::ask_play);
    }

    /// "Quiet, please": what sounds is broken off.
    pub fn ask_quiet(&mut self, channel: ChannelId) {
        self.tell(channel, Performer::ask_quiet);
    }

    /// From each performer's next phrase on.
    pub fn set_mood(&mut self, mood: Mood) {
        self.mood = mood;
        for actor in &mut self.actors {
            actor.performer.set_level(actor.level(mood).amplitude());
        }
    }

    /// From each performer's next phrase on: how much each is off its level beyond the usual, ±.
    pub fn set_restless(&mut self, restless: Db) {
        for actor in &mut self.actors {
            actor.performer.set_restless(restless.abs().get());
        }
    }

    /// Someone coughs into the microphone, 12 dB over the performer's loudest.
    pub fn cough(&mut self, channel: ChannelId) {
        self.freak(channel, false);
    }

    /// Someone knocks against the stand: a thump below 60 Hz, 12 dB over the performer's loudest.
    pub fn bump(&mut self, channel: ChannelId) {
        self.freak(channel, true);
    }

    /// With something wrong between stage, desk and hall.
    pub fn with_fault(mut self, fault: RigFault) -> Self {
        let floor = |channel| self.true_floor(channel) - self.trim(channel);
        let (floors, trims): (Vec<Dbfs>, Vec<Db>) = (0..self.channels.len())
            .map(ChannelId::from_index)
            .map(|channel| (floor(channel), self.trim(channel)))
            .unzip();
        let rig = self.rig();
        rig.break_it(fault, |channel| floors[channel.index()], |channel| trims[channel.index()]);
        self
    }

    /// The wires between stage and desk, to be looked at and mended.
    pub fn rig(&mut self) -> &mut Rig {
        let (channels, rate, seed) = (self.channels.len(), f64::from(self.format.rate.get()), self.seed);
        self.rig.get_or_insert_with(|| Rig::new(channels, rate, CHUNK, seed))
    }

    /// Someone taps a microphone with a finger, at its loudest passage's level and `by`; others hear it through the air.
    pub fn tap(&mut self, microphone: ChannelId, by: Db) {
        let Some(tapped) = self.inputs.get(microphone.index()).map(|input| input.place) else { return };
        for index in 0..self.inputs.len() {
            let (input, channel) = (&self.inputs[index], ChannelId::from_index(index));
            if channel == microphone {
                let level = self.actors[self.channels[index].actor].show + by;
                self.rig().knock(channel, Knock::Tap, level, 0.0);
            } else if input.microphone {
                let metres = (input.place.0 - tapped.0).hypot(input.place.1 - tapped.1);
                let level = self.actors[self.channels[index].actor].show + by + Rig::tap_from_afar(metres);
                self.rig().knock(channel, Knock::Tap, level, metres);
            }
        }
    }

    /// Someone claps between two microphones, `aside` metres nearer to the first than to the middle.
    pub fn clap(&mut self, first: ChannelId, second: ChannelId, aside: f64) {
        for (channel, metres) in [(first, 1.0 - aside), (second, 1.0 + aside)] {
            if let Some(actor) = self.channels.get(channel.index()).map(|channel| channel.actor) {
                let level = self.actors[actor].show - Db::new(6.0);
                self.rig().knock(channel, Knock::Clap, level, metres);
            }
        }
    }

    /// The highest true peak of the loudest passage at the present trim and mood, own sound alone, had
    /// the converter no end.
    pub fn true_peak_of_loudest(&self, channel: ChannelId) -> Dbfs {
        self.peak_in(channel, self.mood)
    }

    /// The same on show night: what will really come.
    pub fn true_show_peak(&self, channel: ChannelId) -> Dbfs {
        self.peak_in(channel, Mood::ShowNight)
    }

    /// RMS of the channel's own noise at the present trim.
    pub fn true_floor(&self, channel: ChannelId) -> Dbfs {
        self.channel(channel).map_or(Dbfs::SILENCE, |channel| channel.preamp.floor())
    }

    fn empty(rate: SampleRate, mood: Mood, seed: u64) -> Self {
        let hz = f64::from(rate.get());
        let unit = |mut samples: Vec<f32>| {
            let peak = true_peak(&samples) as f32;
            samples.iter_mut().for_each(|sample| *sample /= peak);
            samples
        };
        Self {
            format: Format { rate, channels: 0 },
            mood,
            seed,
            clock: 0,
            inputs: Vec::new(),
            channels: Vec::new(),
            actors: Vec::new(),
            air: Air::new(&[], hz, CHUNK),
            loudspeakers: None,
            rig: None,
            dry: Vec::new(),
            heard: Vec::new(),
            cough: unit(sounds::cough(&mut Dice::new(seed, 1), hz).samples),
            bump: unit(sounds::bump(hz).samples),
        }
    }

    /// `knob` gives the starting trim of a channel and the noise before its knob.
    fn add(&mut self, part: &Part, mut actor: Actor, seed: u64, knob: impl Fn(&mut Dice) -> (Db, Dbfs)) {
        let rate = f64::from(self.format.rate.get());
        actor.performer.set_level(actor.level(self.mood).amplitude());
        for &(name, place) in part.inputs {
            let stream = self.channels.len() as u64;
            let (trim, floor) = knob(&mut Dice::new(seed, 200 + stream));
            self.inputs.push(StageInput {
                name,
                kind: part.player.kind(),
                place,
                reach: part.player.reach(),
                microphone: part.player.acoustic(),
                has_pad: part.player.acoustic(),
                phantom: matches!(part.player, Player::Choir | Player::Overhead),
                show_lift: part.player.show_lift(),
            });
            self.channels.push(Channel {
                actor: self.actors.len(),
                preamp: Preamp::new(trim, floor, Dice::new(seed, 300 + stream), rate),
                freak: None,
            });
            self.dry.push(vec![0.0; CHUNK]);
            self.heard.push(vec![0.0; CHUNK]);
        }
        self.format.channels = self.channels.len();
        self.actors.push(actor);
    }

    fn build_air(&mut self, rate: f64) {
        let players = SCHOOL_SHOW.iter().flat_map(|part| part.inputs.iter().map(|_| part.player));
        let microphones: Vec<Microphone> = self
            .channels
            .iter()
            .enumerate()
            .zip(players)
            .filter(|(_, player)| player.acoustic())
            .map(|((index, channel), player)| Microphone {
                channel: index,
                place: self.inputs[index].place,
                performer: channel.actor,
                player,
                gain: (RIGHT_PEAK - self.actors[channel.actor].show).ratio(),
            })
            .collect();
        self.air = Air::new(&microphones, rate, CHUNK);
    }

    fn channel(&self, channel: ChannelId) -> Option<&Channel> {
        self.channels.get(channel.index())
    }

    fn tell(&mut self, channel: ChannelId, what: fn(&mut Performer)) {
        if let Some(channel) = self.channels.get(channel.index()) {
            what(&mut self.actors[channel.actor].performer);
        }
    }

    fn peak_in(&self, channel: ChannelId, mood: Mood) -> Dbfs {
        self.channel(channel).map_or(Dbfs::SILENCE, |channel| {
            let actor = &self.actors[channel.actor];
            actor.level(mood) + channel.preamp.trim()
        })
    }

    fn freak(&mut self, channel: ChannelId, bump: bool) {
        let loudest = self.peak_in(channel, self.mood) - self.trim(channel);
        if let Some(channel) = self.channels.get_mut(channel.index()) {
            channel.freak = Some(Freak { bump, at: 0, gain: (loudest + FREAK_OVER).amplitude() as f32 });
        }
    }

    fn mix(&mut self, frames: usize) {
        for actor in &mut self.actors {
            let last = actor.first_channel + actor.performer.tracks();
            actor.performer.play(frames, &mut self.dry[actor.first_channel..last]);
        }
        for (dry, heard) in self.dry.iter().zip(&mut self.heard) {
            heard[..frames].copy_from_slice(&dry[..frames]);
        }
        self.air.carry(frames, &self.dry, &mut self.heard);
        if let Some(loudspeakers) = &mut self.loudspeakers {
            loudspeakers.hear(frames, &mut self.heard);
        }
        for (channel, heard) in self.channels.iter_mut().zip(&mut self.heard) {
            if let Some(freak) = &mut channel.freak {
                let sound = if freak.bump { &self.bump } else { &self.cough };
                for (heard, sample) in heard[..frames].iter_mut().zip(&sound[freak.at..]) {
                    *heard += freak.gain * sample;
                }
                freak.at = (freak.at + frames).min(sound.len());
                if freak.at == sound.len() {
                    channel.freak = None;
                }
            }
        }
        if let Some(rig) = &mut self.rig {
            rig.carry(frames, &mut self.heard);
        }
        for (socket, (channel, heard)) in self.channels.iter_mut().zip(&mut self.heard).enumerate() {
            let bare = self.rig.as_ref().is_some_and(|rig| rig.is_bare(socket));
            channel.preamp.convert(&mut heard[..frames], bare);
        }
        if let Some(rig) = &mut self.rig {
            rig.route(frames, &mut self.heard);
        }
        if let Some(loudspeakers) = &mut self.loudspeakers {
            loudspeakers.play(frames, &self.heard);
        }
        self.clock += frames as u64;
    }
}

impl Source for Stage {
    type Error = Infallible;

    fn format(&self) -> Format {
        self.format
    }

    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, Infallible> {
        block.restart(FrameCount::new(self.clock), FrameCount::ZERO);
        let mut left = block.capacity();
        while left > 0 {
            let most = self.loudspeakers.as_ref().map_or(CHUNK, |loudspeakers| loudspeakers.room_for().min(CHUNK));
            let frames = left.min(most);
            self.mix(frames);
            for (plane, heard) in block.planes_mut().iter_mut().zip(&self.heard) {
                plane.extend_from_slice(&heard[..frames]);
            }
            left -= frames;
        }
        Ok(Flow::More)
    }
}

impl Actor {
    /// The true peak of the loudest passage in a mood, before the trim.
    fn level(&self, mood: Mood) -> Dbfs {
        match mood {
            Mood::Shy => self.show - self.lower_shy,
            Mood::Normal => self.show - self.lower_normal,
            Mood::ShowNight => self.show,
        }
    }
}

/// How far a knob is off when the day begins: some right, some low, some hot enough to clip.
fn starting_error(dice: &mut Dice) -> Db {
    let third = dice.unit();
    Db::new(match third {
        x if x < 0.25 => dice.between(-1.5, 1.5),
        x if x < 0.65 => dice.between(-20.0, -6.0),
        _ => dice.between(5.0, 14.0),
    })
}
