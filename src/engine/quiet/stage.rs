//! The simulated stage with loudspeakers, its loop opened at a spare return: taps of all microphones come back, or those of
//! measuring microphones that somebody carries from seat to seat.

use super::{Alone, Place, PlaceError};
use crate::block::{BlockBuf, Format};
use crate::coach::ringout::Output;
use crate::engine::hall::{Hall, StageHall};
use crate::sink::Armed;
use crate::source::Source;
use crate::source::stage::{MOST_MEASURING, Opening, Stage};
use crate::units::{ChannelId, Db, Seconds};

const STRETCH: Seconds = Seconds::new(0.1);
/// Where the second loudspeaker is an output.
const SECOND: Output = Output::Wedge(1);
const DOWN: Db = Db::new(-100.0);

pub struct StagePlace {
    seed: u64,
    stage: Stage,
    block: BlockBuf,
    /// Where the measuring microphones stand.
    measured: Vec<(f64, f64)>,
    /// There is one halfway down the hall.
    second: bool,
}

impl StagePlace {
    /// The hall of a number, with so many monitors, this output at its show mark and opened, the others down; `None`: it
    /// has no such one.
    pub fn new(seed: u64, monitors: usize, output: Output) -> Option<Self> {
        let mut hall = StageHall::new(seed, monitors)?;
        let wedges = (1..=monitors).filter_map(|number| u8::try_from(number).ok()).map(Output::Wedge);
        std::iter::once(Output::Mains).chain(wedges).for_each(|other| hall.set_output(other, DOWN));
        Self::of(seed, hall, output, Vec::new())
    }

    /// The hall of a number with measuring microphones at these places, as far as there are any, its mains opened.
    pub fn in_seats(seed: u64, mut measured: Vec<(f64, f64)>) -> Option<Self> {
        measured.truncate(MOST_MEASURING);
        Self::of(seed, StageHall::with_measuring(seed, &measured)?, Output::Mains, measured)
    }

    /// The same with a second loudspeaker halfway down the hall; these play alone.
    pub fn with_second(seed: u64, mut measured: Vec<(f64, f64)>, alone: Alone) -> Option<Self> {
        measured.truncate(MOST_MEASURING);
        let mut hall = StageHall::with_second(seed, &measured)?;
        let (open, down) = match alone {
            Alone::Mains => (Output::Mains, SECOND),
            Alone::Second => (SECOND, Output::Mains),
        };
        hall.set_output(down, DOWN);
        Some(Self { second: true, ..Self::of(seed, hall, open, measured)? })
    }

    fn of(seed: u64, mut hall: StageHall, output: Output, measured: Vec<(f64, f64)>) -> Option<Self> {
        hall.set_output(output, Db::ZERO);
        let mut stage = hall.into_stage();
        let opened = stage.open_loop(StageHall::number(output), Opening::Return { fader: Db::ZERO });
        let format = stage.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
        opened.then_some(Self { seed, stage, block, measured, second: false })
    }

    /// The measuring microphones' channels: the last ones.
    pub fn measuring(&self) -> Vec<ChannelId> {
        let channels = self.stage.inputs().len();
        (channels - self.measured.len()..channels).map(ChannelId::from_index).collect()
    }

    /// What knows the truth.
    pub fn stage(&self) -> &Stage {
        &self.stage
    }

    pub fn names(&self) -> Vec<String> {
        self.stage.inputs().iter().map(|input| input.name.to_owned()).collect()
    }

    /// Those that feed back.
    pub fn microphones(&self) -> Vec<ChannelId> {
        let inputs = self.stage.inputs().iter().enumerate();
        inputs.filter(|(_, input)| input.microphone).map(|(at, _)| ChannelId::from_index(at)).collect()
    }
}

impl Place for StagePlace {
    fn format(&self) -> Format {
        self.stage.format()
    }

    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError> {
        let Ok(_) = self.stage.read(&mut self.block);
        let block = self.block.as_block();
        into.iter_mut().enumerate().for_each(|(channel, plane)| plane.extend_from_slice(block.channel(channel)));
        Ok(())
    }

    fn play(&mut self, _leave: Armed, samples: Vec<f32>) -> Result<(), PlaceError> {
        self.stage.play_into(&samples);
        Ok(())
    }

    fn ask_for_a_tap(&mut self, microphone: ChannelId) {
        self.stage.tap(microphone, Db::ZERO);
    }

    fn ask_to_put(&mut self, microphone: ChannelId, at: (f64, f64)) {
        let Some(index) = self.measuring().iter().position(|channel| *channel == microphone) else { return };
        if std::mem::replace(&mut self.measured[index], at) == at {
            return;
        }
        if let Some(moved) = Self::in_seats(self.seed, self.measured.clone()) {
            *self = moved;
        }
    }

    fn ask_for_alone(&mut self, loudspeakers: Alone) {
        if let Some(switched) =
            Self::with_second(self.seed, self.measured.clone(), loudspeakers).filter(|_| self.second)
        {
            *self = switched;
        }
    }

    fn stop(&mut self) {
        self.stage.play_into(&[]);
    }
}
