//! The simulated stage with loudspeakers, its loop opened at a spare return: taps of all microphones come back.

use super::{Place, PlaceError};
use crate::block::{BlockBuf, Format};
use crate::coach::ringout::Output;
use crate::engine::hall::{Hall, StageHall};
use crate::sink::Armed;
use crate::source::Source;
use crate::source::stage::{Opening, Stage};
use crate::units::{ChannelId, Db, Seconds};

const STRETCH: Seconds = Seconds::new(0.1);
const DOWN: Db = Db::new(-100.0);

pub struct StagePlace {
    stage: Stage,
    block: BlockBuf,
}

impl StagePlace {
    /// The hall of a number, with so many monitors, this output at its show mark and opened, the others down; `None`: it
    /// has no such one.
    pub fn new(seed: u64, monitors: usize, output: Output) -> Option<Self> {
        let mut hall = StageHall::new(seed, monitors)?;
        let wedges = (1..=monitors).filter_map(|number| u8::try_from(number).ok()).map(Output::Wedge);
        for other in std::iter::once(Output::Mains).chain(wedges) {
            hall.set_output(other, if other == output { Db::ZERO } else { DOWN });
        }
        let number = StageHall::number(output);
        let mut stage = hall.into_stage();
        if !stage.open_loop(number, Opening::Return { fader: Db::ZERO }) {
            return None;
        }
        let format = stage.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
        Some(Self { stage, block })
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

    fn stop(&mut self) {
        self.stage.play_into(&[]);
    }
}
