//! The computations of the plan: each a small function with its units and source.
//!
//! What a person is shown comes as [`Worked`]: which formula, what went in, what came out, what it assumes; `view`
//! writes it. Functions that other rules build on give the bare quantity as well. Edge cases stand in each file;
//! no input panics, and what cannot be computed is NaN or ∞, which `view` shows as a dash.

pub mod air;
pub mod cable;
pub mod exposure;
pub mod feedback;
pub mod levels;
pub mod loads;
pub mod mains;
pub mod room;
pub mod seats;
pub mod time;

/// Which formula.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sum {
    StartGain,
    Headroom,
    Loading,
    Parallel,
    CableLoss,
    Damping,
    LineLoad,
    SeatLevel,
    Needed,
    CriticalDistance,
    Eyring,
    PotentialGain,
    NeededGain,
    MonitorLevel,
    Delay,
    ThreeToOne,
    Current,
    AirLoss,
    NioshTime,
}

/// What a number is: its symbol and unit follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Quantity {
    SoundLevel,
    Sensitivity,
    SensitivityOfSpeaker,
    Level,
    /// The highest that something gives.
    MostLevel,
    TargetLevel,
    Gain,
    ClipLevel,
    Crest,
    ShowLift,
    Headroom,
    LoadOf(u8),
    TotalLoad,
    LeastLoad,
    Length,
    ConductorArea,
    Load,
    LoopResistance,
    Loss,
    OutputImpedance,
    DampingFactor,
    LineVoltage,
    TotalPower,
    Distance,
    CriticalDistance,
    Directivity,
    Volume,
    ReverbTime,
    Surface,
    Absorption,
    NoiseLevel,
    OverNoise,
    NeededLevel,
    SourceToListener,
    MicToSpeaker,
    SourceToMic,
    SpeakerToListener,
    OpenMics,
    EquivalentDistance,
    PotentialGain,
    NeededGain,
    PatternCredit,
    VoiceAtMic,
    MonitorToMic,
    MonitorLevel,
    Temperature,
    Humidity,
    Frequency,
    SpeedOfSound,
    Delay,
    PrecedenceDelay,
    SpacingRatio,
    Spill,
    Ripple,
    FirstNotch,
    Voltage,
    PowerFactor,
    Current,
    Breaker,
    AirLoss,
    Exposure,
}

/// A number that went in or came out, in the unit of its quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Given {
    pub what: Quantity,
    pub value: f64,
}

/// What a result takes for granted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Assumption {
    SpeechOneMetre,
    UsualSensitivity,
    CrestAndLiftOfKind,
    CrestAndLiftOfMix,
    NominalImpedance,
    CopperAt20,
    NothingInTheWay,
    DiffuseRoom,
    HallOfPeopleAbsorbsMore,
    OmniMicAndSpeaker,
    SixDecibelsSpare,
    PatternsCounted,
    AudienceNotCounted,
    EarsAtTheMic,
    StillAir,
    ThenByEar,
    AverageThirdOfRated,
    NoOtherLoad,
    PeakIsNotAverage,
    WorkingValue,
    BoxOfABox,
    AtFullPower,
}

/// A computation to show.
#[derive(Clone, Debug, PartialEq)]
pub struct Worked {
    pub sum: Sum,
    pub given: Vec<Given>,
    pub result: Given,
    pub assumes: Vec<Assumption>,
}

impl Worked {
    pub(super) fn new(sum: Sum, given: &[(Quantity, f64)], result: (Quantity, f64), assumes: &[Assumption]) -> Self {
        let one = |&(what, value): &(Quantity, f64)| Given { what, value };
        Self { sum, given: given.iter().map(one).collect(), result: one(&result), assumes: assumes.to_vec() }
    }

    pub fn value(&self) -> f64 {
        self.result.value
    }
}
