//! What an engine listens to: the simulated stage, a device, or what another engine hears of a device.
//!
//! On the stage time goes by as it does in a hall, or, where a helper does it all, as fast as can be.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

use super::hall::Overheard;
use crate::block::{BlockBuf, Format};
use crate::source::live::{self, InputDevice, InputState, Intake, LiveConfig, LiveError, Returning};
use crate::source::stage::Stage;
use crate::source::{Flow, Source};
use crate::units::Seconds;

/// An input's name on the simulated stage or on a device without an input list.
pub type Name = String;

/// How the source is.
#[derive(Clone, Debug, PartialEq)]
pub enum Status {
    Running,
    /// The measuring failed a moment ago and began anew.
    BegunAnew,
    /// The device gives nothing at all.
    Quiet,
    /// Exact zeros on every line: often a missing permission.
    AllZero,
    /// The device is gone, until it comes back; what happened and what to do.
    Lost(String),
    Ended,
}

pub(super) enum Ears {
    Stage { stage: Box<Stage>, seed: u64, helped: bool, began: Instant },
    Live(Box<Returning>),
    Overheard { source: Overheard, names: Vec<Name> },
}

const BLOCK: Seconds = Seconds::new(0.02);
const LIVE_BLOCK: Seconds = Seconds::new(0.5);

impl Ears {
    pub fn on_the_stage(stage: Stage, seed: u64, helped: bool) -> Self {
        Self::Stage { stage: Box::new(stage), seed, helped, began: Instant::now() }
    }

    /// By name; `None`: the system's usual input.
    pub fn on_a_device(device: Option<&str>) -> Result<Self, LiveError> {
        let device = match device {
            Some(name) => live::find(name)?,
            None => usual_device()?,
        };
        Ok(Self::Live(Box::new(Returning::open(&device, LiveConfig::default())?)))
    }

    /// What the caller gives to the `Intake`, as a device's callback would.
    pub fn fed(format: Format) -> (Intake, Self) {
        let (intake, source) = Returning::fed(format);
        (intake, Self::Live(Box::new(source)))
    }

    pub const fn overheard(source: Overheard, names: Vec<Name>) -> Self {
        Self::Overheard { source, names }
    }

    pub fn stage(&mut self) -> Option<&mut Stage> {
        match self {
            Self::Stage { stage, .. } => Some(stage),
            Self::Live(_) | Self::Overheard { .. } => None,
        }
    }

    pub fn format(&self) -> Format {
        match self {
            Self::Stage { stage, .. } => stage.format(),
            Self::Live(source) => source.format(),
            Self::Overheard { source, .. } => source.format(),
        }
    }

    /// The names of the source's own lines.
    pub fn names(&self) -> Vec<Name> {
        match self {
            Self::Stage { stage, .. } => stage.inputs().iter().map(|input| input.name.to_owned()).collect(),
            Self::Live(source) => {
                (1..=source.format().channels).map(|line| format!("{} {line}", source.name())).collect()
            }
            Self::Overheard { names, .. } => names.clone(),
        }
    }

    /// What is heard, by name.
    pub fn source(&self) -> String {
        match self {
            Self::Stage { seed, .. } => stage_name(*seed),
            Self::Live(source) => source.name().to_owned(),
            Self::Overheard { .. } => String::new(),
        }
    }

    /// Room for what one reading gives: a live source gives whatever has come, a late engine's half second.
    pub fn block(&self) -> BlockBuf {
        let span = if matches!(self, Self::Stage { .. }) { BLOCK } else { LIVE_BLOCK };
        let Format { rate, channels } = self.format();
        BlockBuf::new(channels, rate.frames(span).get() as usize)
    }

    pub fn read(&mut self, block: &mut BlockBuf) -> Flow {
        let Ok(flow) = match self {
            Self::Stage { stage, .. } => stage.read(block),
            Self::Live(source) => source.read(block),
            Self::Overheard { source, .. } => source.read(block),
        };
        flow
    }

    /// In real time: waits until the audience's clock has come as far as the audio clock.
    pub fn keep_pace(&self, at: Seconds) {
        if let Self::Stage { helped: false, began, .. } = self
            && let Some(ahead) = Duration::from_secs_f64(at.get()).checked_sub(began.elapsed())
        {
            std::thread::sleep(ahead);
        }
    }

    pub fn status(&self) -> Status {
        match self {
            Self::Stage { .. } | Self::Overheard { .. } => Status::Running,
            Self::Live(source) => match (source.lost(), source.health().state) {
                (Some(why), _) => Status::Lost(why),
                (None, InputState::Starved) => Status::Quiet,
                (None, InputState::OnlyZeros) => Status::AllZero,
                (None, InputState::Running | InputState::Lost) => Status::Running,
            },
        }
    }

    /// Becomes true where the system may fall asleep meanwhile.
    pub fn may_sleep(&self) -> Arc<AtomicBool> {
        match self {
            Self::Live(source) => source.may_sleep(),
            Self::Stage { .. } | Self::Overheard { .. } => Arc::default(),
        }
    }

    pub const fn is_live(&self) -> bool {
        matches!(self, Self::Live(_))
    }

    /// Nobody waits for this sound.
    pub const fn is_helped(&self) -> bool {
        matches!(self, Self::Stage { helped: true, .. })
    }
}

/// The simulated stage, of which there are many.
pub fn stage_name(seed: u64) -> String {
    format!("simulated stage {seed}")
}

/// The system's usual input, or the first that it offers.
fn usual_device() -> Result<InputDevice, LiveError> {
    let devices = live::devices()?;
    devices.iter().find(|device| device.is_default).or(devices.first()).cloned().ok_or(LiveError::NoDevice)
}
