//! The simulated stage with loudspeakers, whose desk is moved from here.

use super::ears::Ears;
use super::{FRAME, Hall};
use crate::block::BlockBuf;
use crate::coach::linecheck::LineInput;
use crate::coach::ringout::{Band, Microphone, Output, Place};
use crate::detectors::Ring;
use crate::dsp::biquad::EqBand;
use crate::source::Source;
use crate::source::stage::{self, MicrophonePlace, Mood, RigFault, Stage, StageConfig, StageInput};
use crate::units::{ChannelId, Db, Dbfs, Hertz, SampleRate, Seconds};

/// The width of a sweepable mid, as desks have it.
const SWEPT_Q: f64 = 1.4;

pub struct StageHall {
    stage: Stage,
    ears: Ears,
    block: BlockBuf,
    /// Where the soundcheck left the knobs, if that is known.
    knobs: Vec<Option<Db>>,
    /// The mains' and monitors' show mark, on the fader's scale.
    mark: Db,
}

impl StageHall {
    /// Before the ring-out the loop of all microphones begins to ring this much above the mark where the show needs the
    /// fader; after it, this much is left.
    const BEFORE: Db = Db::new(2.0);
    const AFTER: Db = Db::new(6.0);
    /// The loop's limit on the fader's scale: low, so that there is travel above it.
    const LIMIT: Db = Db::new(-16.0);
    const LOUDSPEAKER_BENDS: Dbfs = Dbfs::new(-24.0);
    /// Show night peaks here once the gains are set.
    const SET: Dbfs = Dbfs::new(-6.0);
    const RATE: u32 = 48_000;

    /// The school's stage with its gains set, all muted, in a hall that is drawn by `seed`, with so many monitors. Its
    /// performers are quiet.
    pub fn new(seed: u64, monitors: usize) -> Option<Self> {
        Some(Self::of(seed, monitors, Self::BEFORE, false, &[])?.muted())
    }

    /// The same without monitors, with measuring microphones at these seats.
    pub fn with_measuring(seed: u64, seats: &[(f64, f64)]) -> Option<Self> {
        Some(Self::of(seed, 0, Self::BEFORE, false, seats)?.muted())
    }

    /// The same with a second loudspeaker halfway to the last row, the output behind the mains.
    pub fn with_second(seed: u64, seats: &[(f64, f64)]) -> Option<Self> {
        Some(Self::with(seed, stage::Hall::with_second, Self::BEFORE, false, seats)?.muted())
    }

    /// The hall's seats: names, and places in metres.
    pub fn seats(seed: u64) -> Vec<(String, (f64, f64))> {
        stage::Hall::drawn(seed, Vec::new(), 0).seats()
    }

    fn muted(mut self) -> Self {
        (0..self.stage.inputs().len()).for_each(|channel| self.stage.mute(ChannelId::from_index(channel)));
        self
    }

    /// The same on show night, rung out: they play, all are open, the mains stand at their mark.
    pub fn on_show_night(seed: u64) -> Option<Self> {
        let mut hall = Self::of(seed, 0, Self::AFTER, true, &[])?;
        hall.set_output(Output::Mains, Db::ZERO);
        Some(hall)
    }

    fn of(seed: u64, monitors: usize, left: Db, playing: bool, measured: &[(f64, f64)]) -> Option<Self> {
        let drawn = |seed, microphones| stage::Hall::drawn(seed, microphones, monitors);
        Self::with(seed, drawn, left, playing, measured)
    }

    fn with(
        seed: u64,
        drawn: impl Fn(u64, Vec<MicrophonePlace>) -> stage::Hall,
        left: Db,
        playing: bool,
        measured: &[(f64, f64)],
    ) -> Option<Self> {
        let rate = SampleRate::new(Self::RATE)?;
        let mut stage = Stage::new(StageConfig { playing, ..StageConfig::new(seed, Mood::ShowNight, rate) });
        for channel in (0..stage.inputs().len()).map(ChannelId::from_index) {
            stage.turn_trim(channel, Self::SET - stage.true_show_peak(channel));
        }
        let mut hall = drawn(seed, stage.microphones());
        hall.microphones.extend(stage.add_measuring(measured));
        for output in &mut hall.outputs {
            output.rings_at = Some(Self::LIMIT);
            output.limit = Self::LOUDSPEAKER_BENDS;
        }
        Some(Self::hearing(stage.with_loudspeakers(&hall), Vec::new(), Self::LIMIT - left))
    }

    /// The stage before doors, as its soundcheck left it but for these faults: nobody plays, no loudspeaker is on.
    pub fn before_doors(seed: u64, knobs: Vec<Option<Db>>, faults: &[RigFault]) -> Option<Self> {
        let rate = SampleRate::new(Self::RATE)?;
        let mut stage = Stage::new(StageConfig { playing: false, ..StageConfig::new(seed, Mood::Normal, rate) });
        turn_back(&mut stage, &knobs, 0..knobs.len());
        let stage = faults.iter().fold(stage, |stage, fault| stage.with_fault(*fault));
        Some(Self::hearing(stage, knobs, Self::LIMIT))
    }

    fn hearing(stage: Stage, knobs: Vec<Option<Db>>, mark: Db) -> Self {
        let format = stage.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(FRAME).get() as usize);
        Self { stage, ears: Ears::new(format), block, knobs, mark }
    }

    /// Somebody's hand at a knob.
    pub fn turn_trim(&mut self, channel: ChannelId, by: Db) {
        self.stage.turn_trim(channel, by);
    }

    /// Its microphones, in the order of the list.
    pub fn microphones(&self) -> Vec<Microphone> {
        let inputs = self.stage.inputs().iter().enumerate().filter(|(_, input)| input.microphone);
        inputs.map(|(at, input)| Microphone { channel: ChannelId::from_index(at), kind: input.kind }).collect()
    }

    pub fn names(&self) -> Vec<String> {
        self.stage.inputs().iter().map(|input| input.name.to_owned()).collect()
    }

    /// Of the stage's outputs: the mains, then the monitors.
    pub const fn number(output: Output) -> usize {
        match output {
            Output::Mains => 0,
            Output::Wedge(number) => number as usize,
        }
    }

    pub fn into_stage(self) -> Stage {
        self.stage
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
        Some((self.ears.now(), self.ears.rings()))
    }

    fn ears(&self) -> Option<&Ears> {
        Some(&self.ears)
    }

    fn ears_mut(&mut self) -> Option<&mut Ears> {
        Some(&mut self.ears)
    }

    fn line_inputs(&self) -> Vec<LineInput> {
        let input = |(at, input): (usize, &StageInput)| {
            LineInput::new(ChannelId::from_index(at), input.kind, LineInput::usual_wire(input.kind), input.phantom)
        };
        self.stage.inputs().iter().enumerate().map(input).collect()
    }

    fn mend(&mut self, channel: ChannelId) {
        let rig = self.stage.rig();
        rig.new_cable(channel);
        rig.lift(channel);
        rig.quieten(channel);
        rig.phantom_on(channel);
        rig.plug(channel, channel);
        turn_back(&mut self.stage, &self.knobs, channel.index()..channel.index() + 1);
    }

    fn has_a_desk(&self) -> bool {
        true
    }

    fn set_output(&mut self, output: Output, to: Db) {
        self.stage.set_output_fader(Self::number(output), self.mark + to);
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
            Place::Output(output) => self.stage.cut(Self::number(output), band),
            Place::Channel(channel) => self.stage.cut_channel(channel, band),
        };
    }
}

/// Knobs to where the soundcheck left them.
fn turn_back(stage: &mut Stage, knobs: &[Option<Db>], channels: std::ops::Range<usize>) {
    for index in channels {
        let channel = ChannelId::from_index(index);
        if let Some(knob) = knobs.get(index).copied().flatten() {
            stage.turn_trim(channel, knob - stage.trim(channel));
        }
    }
}
