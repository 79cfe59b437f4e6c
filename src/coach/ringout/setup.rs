//! What is rung out: outputs, microphones, equalisers, how much is wanted, and the numbers of the procedure.
//!
//! Fader positions are dB re the mark where the show needs the output's fader. The numbers are common practice and
//! stand here to be changed, not as laws. Edge cases: an output without a microphone is left out; a target that is no
//! number counts as none.

use super::cuts::Cut;
use super::equaliser::Equaliser;
use crate::units::{ChannelId, Db, Seconds, SourceKind};

/// Something that sounds in the hall and has a fader and an equaliser of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Output {
    Mains,
    /// Counted from 1.
    Wedge(u8),
}

impl Output {
    /// As it is typed and kept: "mains", "wedge 2".
    pub fn word(self) -> String {
        match self {
            Self::Mains => "mains".into(),
            Self::Wedge(number) => format!("wedge {number}"),
        }
    }

    /// Case and blanks make no difference; "main" is as good.
    pub fn of(word: &str) -> Option<Self> {
        let clean: String = word.to_lowercase().split_whitespace().collect();
        let number = clean.strip_prefix("wedge").and_then(|number| number.parse().ok()).filter(|number| *number > 0);
        match clean.as_str() {
            "main" | "mains" => Some(Self::Mains),
            _ => number.map(Self::Wedge),
        }
    }
}

/// On which equaliser.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    Output(Output),
    Channel(ChannelId),
}

/// A microphone that goes to an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Microphone {
    pub channel: ChannelId,
    pub kind: SourceKind,
}

/// One output, as the list has it.
#[derive(Clone, Debug, PartialEq)]
pub struct OutputPlan {
    pub output: Output,
    pub equaliser: Equaliser,
    /// Those open in the show, the one that must work first.
    pub microphones: Vec<Microphone>,
    /// Cuts of another evening here: shown, never taken for granted.
    pub noted: Vec<Cut>,
}

/// The whole ring-out.
#[derive(Clone, Debug, PartialEq)]
pub struct RingOutPlan {
    /// The mains first, then each wedge.
    pub outputs: Vec<OutputPlan>,
    /// What a single channel has.
    pub channel_equaliser: Equaliser,
    /// What is wanted above the show mark; `None`: as much as the hall gives.
    pub target: Option<Db>,
    /// An echoing hall wants more room under the limit.
    pub reverberant: bool,
    /// Real loudspeakers: the cautions want a yes.
    pub live: bool,
    pub numbers: Numbers,
}

/// What the person tells before it begins.
#[derive(Clone, Debug, PartialEq)]
pub struct RingWish {
    /// What the desk has: on its outputs, or (a sweepable mid) on its channels.
    pub equaliser: Equaliser,
    pub outputs: Vec<Output>,
    /// Wanted above the show mark; `None`: as much as the hall gives.
    pub target: Option<Db>,
    pub echoing: bool,
    /// Cuts of another evening here.
    pub noted: Vec<Cut>,
}

impl Default for RingWish {
    fn default() -> Self {
        let outputs = vec![Output::Mains];
        Self {
            equaliser: Equaliser::ThirdOctave,
            outputs,
            target: Some(SPARE_FOR_VOICES),
            echoing: false,
            noted: Vec::new(),
        }
    }
}

/// Wanted above the show mark for voices.
pub const SPARE_FOR_VOICES: Db = Db::new(6.0);
/// … for a choir, or where it is recorded.
pub const SPARE_FOR_CHOIR: Db = Db::new(10.0);

/// The numbers of the procedure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbers {
    /// Where the fader begins.
    pub start: Db,
    /// Up by this, and by this once a tone hangs on.
    pub coarse: u8,
    pub fine: u8,
    /// Each step is listened to for so long, and at most so long while something grows.
    pub wait: Seconds,
    pub wait_at_most: Seconds,
    /// The last step is listened to for longer: no higher one will tell.
    pub wait_at_the_target: Seconds,
    /// No fader goes higher.
    pub top: Db,
    /// Bands on one output.
    pub bands: usize,
    /// So many different tones that ring within this range of the fader are a wall, if bands are not left for all.
    pub tones: usize,
    pub tones_within: Db,
    /// So many cuts in a row that buy less than this all together have bought nothing. Cuts at one fader level count
    /// together: of two tones that ring at one level both must go before the fader can rise.
    pub poor_cuts: usize,
    pub poor: Db,
    /// Another spread of the same bands must promise so much more.
    pub worth: Db,
    /// So many rings in a row between which the fader rose less than `poor` end it, whatever is promised.
    pub poor_rings: usize,
    /// Below the limit at the end: speech, the same in an echoing hall, monitors.
    pub give: Db,
    pub give_reverberant: Db,
    pub give_monitors: Db,
}

impl Default for Numbers {
    fn default() -> Self {
        Self {
            start: Db::new(-12.0),
            coarse: 3,
            fine: 1,
            wait: Seconds::new(3.0),
            wait_at_most: Seconds::new(8.0),
            wait_at_the_target: Seconds::new(20.0),
            top: Db::new(24.0),
            bands: 6,
            tones: 3,
            tones_within: Db::new(2.0),
            poor_cuts: 3,
            poor: Db::new(1.0),
            worth: Db::new(0.5),
            poor_rings: 10,
            give: Db::new(6.0),
            give_reverberant: Db::new(8.0),
            give_monitors: Db::new(4.0),
        }
    }
}

impl RingOutPlan {
    pub fn new(outputs: Vec<OutputPlan>, target: Option<Db>) -> Self {
        Self {
            outputs: outputs.into_iter().filter(|output| !output.microphones.is_empty()).collect(),
            channel_equaliser: Equaliser::Shelves,
            target: target.filter(|target| target.get().is_finite()),
            reverberant: false,
            live: false,
            numbers: Numbers::default(),
        }
    }

    /// As it is wished, for these microphones, the one that must work first. The mains come first.
    pub fn of(wish: &RingWish, microphones: &[Microphone], live: bool) -> Self {
        let (equaliser, channel_equaliser) = match wish.equaliser {
            Equaliser::Sweep => (Equaliser::Shelves, Equaliser::Sweep),
            Equaliser::Parametric => (Equaliser::Parametric, Equaliser::Parametric),
            other => (other, Equaliser::Shelves),
        };
        let mut outputs = wish.outputs.clone();
        outputs.sort_unstable();
        outputs.dedup();
        let plan = |output| {
            let noted = wish.noted.iter().filter(|cut| cut.place == Place::Output(output)).copied().collect();
            OutputPlan { output, equaliser, microphones: microphones.to_vec(), noted }
        };
        let plan = Self::new(outputs.into_iter().map(plan).collect(), wish.target);
        Self { channel_equaliser, reverberant: wish.echoing, live, ..plan }
    }

    /// Down by this from the limit, at the end.
    pub(super) fn give(&self, output: Output) -> Db {
        match output {
            Output::Wedge(_) => self.numbers.give_monitors,
            Output::Mains if self.reverberant => self.numbers.give_reverberant,
            Output::Mains => self.numbers.give,
        }
    }
}

impl OutputPlan {
    /// How many microphones are open in each round: one, then two, then all.
    pub(super) fn rounds(&self) -> usize {
        self.microphones.len().min(3)
    }

    pub(super) fn open(&self, round: usize) -> usize {
        if round < 2 { round + 1 } else { self.microphones.len() }.min(self.microphones.len())
    }
}
