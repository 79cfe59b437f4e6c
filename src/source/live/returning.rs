//! A device that may go and come back: it is opened again by itself, and what was missed is a gap.
//!
//! While it is gone reading gives nothing, and `lost` says why. It is asked for again every half second, on a
//! thread of its own, in the form that was asked for at first: what follows is on the same clock of frames, counted on by
//! the time that went by. A device that comes back with another form stays lost, and the words say so.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::thread;
use std::time::{Duration, Instant};

use super::awake::Awake;
use super::device::InputDevice;
use super::keeper::{self, Opening};
use super::ring::{Intake, Outlet};
use super::{Before, Health, LiveConfig, LiveError, LiveSource, WAIT, start};
use crate::block::{BlockBuf, Format};
use crate::source::{Flow, Source};
use crate::units::FrameCount;

const AGAIN_AFTER: Duration = Duration::from_millis(500);

/// A device, through its losses.
pub struct Returning {
    device: InputDevice,
    want: LiveConfig,
    source: LiveSource,
    loss: Option<Loss>,
    /// None where there is no device.
    awake: Option<Awake>,
}

struct Loss {
    why: LiveError,
    since: Instant,
    opening: Option<Opening<(Format, Outlet)>>,
    asked: Instant,
}

impl Returning {
    pub fn open(device: &InputDevice, want: LiveConfig) -> Result<Self, LiveError> {
        let source = LiveSource::open(device, want)?;
        Ok(Self { device: device.clone(), want, source, loss: None, awake: Some(Awake::hold()) })
    }

    /// Without a device: what the caller gives to the `Intake` comes out.
    pub fn fed(format: Format) -> (Intake, Self) {
        let (intake, source) = LiveSource::fed(format);
        let device = InputDevice {
            id: String::new(),
            name: source.name.clone(),
            host: String::new(),
            channels: format.channels,
            channel_counts: vec![format.channels],
            rate: format.rate,
            rates: Vec::new(),
            format: "f32".to_owned(),
            is_default: false,
            remixed: false,
        };
        (intake, Self { device, want: LiveConfig::default(), source, loss: None, awake: None })
    }

    pub fn name(&self) -> &str {
        &self.device.name
    }

    /// Becomes true where the system may fall asleep while the device is heard.
    pub fn may_sleep(&self) -> Arc<AtomicBool> {
        self.awake.as_ref().map(Awake::may_sleep).unwrap_or_default()
    }

    pub fn health(&self) -> Health {
        self.source.health()
    }

    /// One more step on the way back; does not wait for longer than a read does.
    fn come_back(&mut self) {
        let Some(loss) = &mut self.loss else { return };
        let Some(opening) = &loss.opening else {
            if loss.asked.elapsed() < AGAIN_AFTER {
                return thread::sleep(WAIT);
            }
            loss.asked = Instant::now();
            let before = Before { since: loss.since, format: self.source.format };
            let (id, name, want) = (self.device.id.clone(), self.device.name.clone(), self.want);
            let began = keeper::begin(&self.device.name, move || start(&id, &name, &want, Some(before)));
            loss.opening = began.ok();
            return;
        };
        match opening.wait(WAIT) {
            None => {}
            Some(Ok((keeper, (_, outlet)))) => {
                self.source.outlet = outlet;
                self.source.keeper = Some(keeper);
                self.source.reopened += 1;
                self.source.begin_to_watch();
                self.loss = None;
            }
            Some(Err(why)) => {
                // Only a device that is there can say that it is another.
                if matches!(
                    why,
                    LiveError::Changed { .. } | LiveError::NotOffered { .. } | LiveError::NoPermission { .. }
                ) {
                    loss.why = why;
                }
                loss.opening = None;
            }
        }
    }
}

impl Source for Returning {
    type Error = std::convert::Infallible;

    fn format(&self) -> Format {
        self.source.format
    }

    fn read(&mut self, block: &mut BlockBuf) -> Result<Flow, Self::Error> {
        if self.loss.is_none() {
            match self.source.read(block) {
                Ok(flow) => return Ok(flow),
                Err(why) => {
                    let now = Instant::now();
                    self.loss = Some(Loss { why, since: now, opening: None, asked: now });
                }
            }
        }
        block.restart(self.source.next, FrameCount::ZERO);
        self.come_back();
        Ok(Flow::More)
    }

    fn lost(&self) -> Option<String> {
        self.loss.as_ref().map(|loss| loss.why.to_string())
    }
}
