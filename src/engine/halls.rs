//! The halls that can be rung out: the simulated one, whose desk is moved from here, and the real one behind a device.
//!
//! Both hear 100 ms at a time through the same meters and the same detector. Time is the audio clock. A lost device
//! ends the sound; what it was is kept for the face.

use super::ringout::{Band, Hall, Microphone, Output, Place};
use crate::block::{BlockBuf, Format};
use crate::detectors::{Ring, Ringing};
use crate::dsp::biquad::EqBand;
use crate::meters::Meters;
use crate::source::live::{self, LiveConfig, LiveError, LiveSource};
use crate::source::stage::{self, Mood, Stage, StageConfig};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Db, Dbfs, Hertz, SampleRate, Seconds};

const FRAME: Seconds = Seconds::new(0.1);
/// Each waits 20 ms at most.
const READS: usize = 25;
/// The width of a sweepable mid, as desks have it.
const SWEPT_Q: f64 = 1.4;

/// Meters and detector on one stream.
struct Ears {
    meters: Meters,
    ringing: Ringing,
    format: Format,
}

impl Ears {
    fn new(format: Format) -> Self {
        let meters = Meters::new(format, &vec![1.0; format.channels]).with_spectra();
        Self { meters, ringing: Ringing::new(format.channels), format }
    }

    fn hear(&mut self, block: &BlockBuf) {
        let Self { meters, ringing, .. } = self;
        meters.push(&block.as_block(), &mut |readings| ringing.observe(readings));
        ringing.drain().for_each(drop);
    }

    fn now(&self) -> Seconds {
        self.meters.readings().at.at(self.format.rate)
    }
}

/// The simulated stage with loudspeakers; its performers are quiet.
pub struct StageHall {
    stage: Stage,
    ears: Ears,
    block: BlockBuf,
}

impl StageHall {
    /// Where the show needs the fader of each output: the loop of all microphones begins to ring this much above it.
    const MARK_UNDER_THE_LIMIT: Db = Db::new(2.0);
    /// The loop's limit on the fader's scale: low, so that there is travel above it.
    const LIMIT: Db = Db::new(-16.0);
    const LOUDSPEAKER_BENDS: Dbfs = Dbfs::new(-24.0);
    /// Show night peaks here once the gains are set.
    const SET: Dbfs = Dbfs::new(-6.0);
    const RATE: u32 = 48_000;

    /// The school's stage with its gains set, in a hall that is drawn by `seed`, with so many monitors.
    pub fn new(seed: u64, monitors: usize) -> Option<Self> {
        let rate = SampleRate::new(Self::RATE)?;
        let mut stage = Stage::new(StageConfig { playing: false, ..StageConfig::new(seed, Mood::ShowNight, rate) });
        for channel in (0..stage.inputs().len()).map(ChannelId::from_index) {
            stage.turn_trim(channel, Self::SET - stage.true_show_peak(channel));
        }
        let mut hall = stage::Hall::drawn(seed, stage.microphones(), monitors);
        for output in &mut hall.outputs {
            output.rings_at = Some(Self::LIMIT);
            output.limit = Self::LOUDSPEAKER_BENDS;
        }
        let mut stage = stage.with_loudspeakers(&hall);
        (0..stage.inputs().len()).for_each(|channel| stage.mute(ChannelId::from_index(channel)));
        let format = stage.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(FRAME).get() as usize);
        Some(Self { stage, ears: Ears::new(format), block })
    }

    /// Its microphones, in the order of the list.
    pub fn microphones(&self) -> Vec<Microphone> {
        let inputs = self.stage.inputs().iter().enumerate().filter(|(_, input)| input.microphone);
        inputs.map(|(at, input)| Microphone { channel: ChannelId::from_index(at), kind: input.kind }).collect()
    }

    pub fn names(&self) -> Vec<String> {
        self.stage.inputs().iter().map(|input| input.name.to_owned()).collect()
    }

    /// What rings now.
    pub fn rings(&self) -> &[Ring] {
        self.ears.ringing.rings()
    }

    /// The stage itself, which knows the truth.
    pub fn stage(&self) -> &Stage {
        &self.stage
    }
}

impl Hall for StageHall {
    fn listen(&mut self) -> Option<(Seconds, &[Ring])> {
        let Ok(_) = self.stage.read(&mut self.block);
        self.ears.hear(&self.block);
        Some((self.ears.now(), self.ears.ringing.rings()))
    }

    fn has_a_desk(&self) -> bool {
        true
    }

    fn set_output(&mut self, output: Output, to: Db) {
        self.stage.set_output_fader(number(output), Self::LIMIT - Self::MARK_UNDER_THE_LIMIT + to);
    }

    fn set_channel(&mut self, channel: ChannelId, to: Db) {
        self.stage.set_fader(channel, to);
    }

    fn set_open(&mut self, channel: ChannelId, open: bool) {
        if open { self.stage.open(channel) } else { self.stage.mute(channel) }
    }

    fn set_low_cut(&mut self, channel: ChannelId, at: Hertz) {
        self.stage.cut_channel(channel, EqBand::high_pass(at));
    }

    fn set_band(&mut self, place: Place, band: Band, depth: Db) {
        let band = match band {
            Band::Graphic(band) => EqBand::peak(band.centre(), band.q(), depth),
            Band::Exact { frequency, q } => EqBand::peak(frequency, q, depth),
            Band::Swept { frequency } => EqBand::peak(frequency, SWEPT_Q, depth),
        };
        match place {
            Place::Output(output) => self.stage.cut(number(output), band),
            Place::Channel(channel) => self.stage.cut_channel(channel, band),
        };
    }
}

/// The stage's outputs: the mains, then the monitors.
fn number(output: Output) -> usize {
    match output {
        Output::Mains => 0,
        Output::Wedge(number) => usize::from(number),
    }
}

/// A real hall, heard through a device; its desk is moved by hand.
pub struct LiveHall {
    source: LiveSource,
    ears: Ears,
    block: BlockBuf,
    lost: Option<LiveError>,
}

impl LiveHall {
    /// A device by name, a part of it, or its id.
    pub fn open(device: &str) -> Result<Self, LiveError> {
        let source = LiveSource::open(&live::find(device)?, LiveConfig::default())?;
        let format = source.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(Seconds::new(0.5)).get() as usize);
        Ok(Self { source, ears: Ears::new(format), block, lost: None })
    }

    pub fn channels(&self) -> usize {
        self.ears.format.channels
    }
}

impl Hall for LiveHall {
    fn listen(&mut self) -> Option<(Seconds, &[Ring])> {
        let end = self.ears.now() + FRAME;
        // A device that has fallen silent gives nothing: then the old rings are told again, and no time goes by.
        for _ in 0..READS {
            if self.ears.now() >= end {
                break;
            }
            match self.source.read(&mut self.block) {
                Ok(Flow::More) => self.ears.hear(&self.block),
                Ok(Flow::End) => return None,
                Err(error) => {
                    self.lost = Some(error);
                    return None;
                }
            }
        }
        Some((self.ears.now(), self.ears.ringing.rings()))
    }

    fn has_a_desk(&self) -> bool {
        false
    }

    fn lost(&self) -> Option<String> {
        self.lost.as_ref().map(ToString::to_string)
    }

    fn set_output(&mut self, _: Output, _: Db) {}
    fn set_channel(&mut self, _: ChannelId, _: Db) {}
    fn set_open(&mut self, _: ChannelId, _: bool) {}
    fn set_low_cut(&mut self, _: ChannelId, _: Hertz) {}
    fn set_band(&mut self, _: Place, _: Band, _: Db) {}
}
