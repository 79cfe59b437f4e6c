//! A real hall: a device that hears, an output that plays.

use super::{Place, PlaceError};
use crate::block::{BlockBuf, Format};
pub use crate::sink::find_output;
use crate::sink::{Armed, OutputDevice, SampleOutput};
use crate::source::live::{self, LiveConfig, LiveError, LiveSource};
use crate::source::{Flow, Source};
use crate::units::Seconds;

/// A key that was pressed waits for no more than this.
const STRETCH: Seconds = Seconds::new(0.02);
/// Each waits 20 ms at most.
const READS: usize = 25;

pub struct LivePlace<S> {
    source: S,
    block: BlockBuf,
    /// The system's default where none was named.
    output: Option<OutputDevice>,
    playing: Option<SampleOutput>,
}

/// A device by name, a part of it, or its id.
pub fn input(device: &str) -> Result<LiveSource, LiveError> {
    LiveSource::open(&live::find(device)?, LiveConfig::default())
}

impl<S: Source> LivePlace<S> {
    pub fn new(source: S, output: Option<OutputDevice>) -> Self {
        let format = source.format();
        let block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
        Self { source, block, output, playing: None }
    }
}

impl<S: Source> Place for LivePlace<S> {
    fn format(&self) -> Format {
        self.source.format()
    }

    fn hear(&mut self, into: &mut [Vec<f32>]) -> Result<(), PlaceError> {
        if let Some(failure) = self.playing.as_ref().and_then(SampleOutput::failure) {
            return Err(PlaceError::Output(failure.to_string()));
        }
        let wanted = self.source.format().rate.frames(STRETCH).get() as usize;
        let (mut came, mut gap) = (0, false);
        for _ in 0..READS {
            let flow = self.source.read(&mut self.block).map_err(|error| PlaceError::Input(error.to_string()))?;
            if let Some(why) = self.source.lost() {
                return Err(PlaceError::Input(why));
            }
            if flow == Flow::End {
                return Err(PlaceError::Input("the input was closed. Choose it again, then begin anew".into()));
            }
            let block = self.block.as_block();
            gap |= block.gap().get() > 0;
            for (channel, plane) in into.iter_mut().enumerate() {
                plane.extend_from_slice(block.channel(channel));
            }
            came += block.frames();
            if came >= wanted {
                break;
            }
        }
        if gap { Err(PlaceError::Gap) } else { Ok(()) }
    }

    fn play(&mut self, leave: Armed, samples: Vec<f32>) -> Result<(), PlaceError> {
        let rate = self.source.format().rate;
        let output = SampleOutput::signal(leave, self.output.as_ref(), samples, rate);
        self.playing = Some(output.map_err(|error| PlaceError::Output(error.to_string()))?);
        Ok(())
    }

    fn stop(&mut self) {
        if let Some(playing) = self.playing.take() {
            playing.stop();
        }
    }
}
