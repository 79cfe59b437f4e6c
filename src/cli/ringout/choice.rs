//! What is asked for on the command line of a ring-out: the equaliser, the outputs, how much is wanted.

use clap::{Args as ClapArgs, ValueEnum};
use thiserror::Error;

use crate::engine::ringout::{Equaliser, Microphone, Output, RingOutPlan, RingWish, SPARE_FOR_CHOIR, SPARE_FOR_VOICES};
use crate::event::VenueNotes;
use crate::units::Db;
use crate::view::venue_notes::noted_cuts;

/// The desk and the wish.
#[derive(Clone, Debug, ClapArgs)]
pub struct DeskArgs {
    /// The equaliser of the outputs
    #[arg(long, value_name = "KIND", default_value = "31")]
    pub eq: EqArg,
    /// An output to ring out: mains, wedge1, wedge2 … (can be given several times; the mains come first)
    #[arg(long = "output", value_name = "NAME")]
    pub outputs: Vec<String>,
    /// How much is wanted above the show mark: voices (6 dB), choir (10 dB), most, or a number of dB
    #[arg(long, value_name = "HOW MUCH", default_value = "voices", allow_hyphen_values = true)]
    pub target: String,
    /// The hall echoes: leave more room under the limit
    #[arg(long)]
    pub echoing: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum EqArg {
    /// 31 bands, a third of an octave each
    #[value(name = "31")]
    ThirtyOne,
    /// 15 bands, two thirds of an octave each
    #[value(name = "15")]
    Fifteen,
    /// 7 to 9 bands, an octave each
    #[value(name = "8", alias = "7", alias = "9")]
    Eight,
    /// Any frequency and width
    Parametric,
    /// A mid knob with a frequency on each channel, nothing on the outputs
    Sweep,
    /// Only Lo and Hi
    Shelves,
}

impl EqArg {
    pub const fn equaliser(self) -> Equaliser {
        match self {
            Self::ThirtyOne => Equaliser::ThirdOctave,
            Self::Fifteen => Equaliser::TwoThirds,
            Self::Eight => Equaliser::Octave,
            Self::Parametric => Equaliser::Parametric,
            Self::Sweep => Equaliser::Sweep,
            Self::Shelves => Equaliser::Shelves,
        }
    }
}

/// What can't be asked for, and what can.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum ChoiceError {
    #[error("“{0}” is no output. Give mains, wedge1, wedge2 and so on")]
    Output(String),
    #[error("“{0}” is no target. Give voices, choir, most, or a number of dB from 0 to 20")]
    Target(String),
    #[error(
        "there is no microphone to ring out. Name the event with --event FOLDER, or give inputs that are microphones"
    )]
    NoMicrophone,
}

impl DeskArgs {
    /// The plan for these microphones, the one that must work first.
    pub fn plan(&self, microphones: &[Microphone], notes: &VenueNotes, live: bool) -> Result<RingOutPlan, ChoiceError> {
        if microphones.is_empty() {
            return Err(ChoiceError::NoMicrophone);
        }
        let mut outputs: Vec<Output> = self.outputs.iter().map(|name| loudspeaker(name)).collect::<Result<_, _>>()?;
        if outputs.is_empty() {
            outputs.push(Output::Mains);
        }
        let (equaliser, target, echoing) = (self.eq.equaliser(), target(&self.target)?, self.echoing);
        let noted = outputs.iter().flat_map(|output| noted_cuts(notes, *output, equaliser)).collect();
        let wish = RingWish { equaliser, outputs, target, echoing, noted };
        Ok(RingOutPlan::of(&wish, microphones, live))
    }
}

/// Mains, or a wedge.
pub fn loudspeaker(name: &str) -> Result<Output, ChoiceError> {
    Output::of(name).ok_or_else(|| ChoiceError::Output(shown(name)))
}

fn target(text: &str) -> Result<Option<Db>, ChoiceError> {
    let number = text.trim().trim_end_matches("dB").trim().parse::<f64>().ok();
    match text.trim().to_lowercase().as_str() {
        "voices" => Ok(Some(SPARE_FOR_VOICES)),
        "choir" => Ok(Some(SPARE_FOR_CHOIR)),
        "most" => Ok(None),
        _ => match number.filter(|db| (0.0..=20.0).contains(db)) {
            Some(db) => Ok(Some(Db::new(db))),
            None => Err(ChoiceError::Target(shown(text))),
        },
    }
}

fn shown(word: &str) -> String {
    word.chars().filter(|c| !c.is_control()).take(24).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{ChannelId, SourceKind};

    fn args(eq: EqArg, outputs: &[&str], target: &str) -> DeskArgs {
        let outputs = outputs.iter().map(|name| (*name).to_owned()).collect();
        DeskArgs { eq, outputs, target: target.to_owned(), echoing: false }
    }

    const ONE: [Microphone; 1] = [Microphone { channel: ChannelId::new(0), kind: SourceKind::Speech }];

    #[test]
    fn mains_first_then_the_wedges() {
        let plan = args(EqArg::ThirtyOne, &["Wedge 2", "wedge1", "mains", "wedge1"], "choir")
            .plan(&ONE, &VenueNotes::default(), true)
            .unwrap();
        let outputs: Vec<Output> = plan.outputs.iter().map(|output| output.output).collect();
        assert_eq!(outputs, [Output::Mains, Output::Wedge(1), Output::Wedge(2)]);
        assert_eq!((plan.target, plan.live), (Some(Db::new(10.0)), true));
        let plan = args(EqArg::Sweep, &[], "most").plan(&ONE, &VenueNotes::default(), false).unwrap();
        assert_eq!((plan.outputs.len(), plan.target), (1, None));
        assert_eq!((plan.outputs[0].equaliser, plan.channel_equaliser), (Equaliser::Shelves, Equaliser::Sweep));
        assert_eq!(
            args(EqArg::Eight, &[], "7.5 dB").plan(&ONE, &VenueNotes::default(), false).unwrap().target,
            Some(Db::new(7.5))
        );
    }

    #[test]
    fn what_can_not_be_asked_for() {
        let told = |outputs: &[&str], target: &str, microphones: &[Microphone]| {
            args(EqArg::ThirtyOne, outputs, target)
                .plan(microphones, &VenueNotes::default(), false)
                .unwrap_err()
                .to_string()
        };
        assert_eq!(told(&["left"], "voices", &ONE), "“left” is no output. Give mains, wedge1, wedge2 and so on");
        assert_eq!(told(&["wedge0"], "voices", &ONE), "“wedge0” is no output. Give mains, wedge1, wedge2 and so on");
        let target = "“loud” is no target. Give voices, choir, most, or a number of dB from 0 to 20";
        assert_eq!(told(&[], "loud", &ONE), target);
        assert!(told(&[], "-3", &ONE).contains("no target"));
        assert!(told(&[], "NaN", &ONE).contains("no target"));
        assert!(told(&[], "voices", &[]).starts_with("there is no microphone to ring out. Name the event"));
    }
}
