//! The level in the room compared once with a real meter, through a device.

use crate::block::BlockBuf;
pub use crate::coach::sound::{Calibration, Refusal};
use crate::coach::sound::{Comparison, Microphone, Standard};
use crate::meters::sound::SoundMeter;
use crate::source::live::{self, LiveConfig, LiveError, LiveSource};
use crate::source::{Flow, Source};
use crate::units::{ChannelId, Seconds, Spl};

/// Long enough for a mean, short enough for a held chord.
const HEARD: Seconds = Seconds::new(8.0);
const STRETCH: Seconds = Seconds::new(0.1);

#[derive(Debug, thiserror::Error)]
pub enum CompareError {
    #[error(transparent)]
    Input(#[from] LiveError),
    #[error("there is no channel {channel}: the device has {channels}. Name one of those")]
    NoSuchChannel { channel: u16, channels: usize },
}

/// Hears 8 s of `room`, while a meter beside the microphone shows `shown`.
pub fn compare(device: &str, room: ChannelId, shown: Spl) -> Result<Result<Calibration, Refusal>, CompareError> {
    let mut source = LiveSource::open(&live::find(device)?, LiveConfig::default())?;
    let format = source.format();
    if room.index() >= format.channels {
        return Err(CompareError::NoSuchChannel { channel: room.number(), channels: format.channels });
    }
    let mut block = BlockBuf::new(format.channels, format.rate.frames(STRETCH).get() as usize);
    let (mut meter, mut comparison) = (SoundMeter::new(format.rate), Comparison::new());
    let mut heard = Seconds::ZERO;
    while heard < HEARD && source.read(&mut block)? == Flow::More {
        let came = block.as_block();
        meter.push(came.gap(), came.channel(room.index()), &mut |readings| {
            comparison.observe(readings);
            heard = readings.time();
        });
    }
    Ok(comparison.with(shown, Standard::OtherMeter, Microphone::Ordinary))
}
