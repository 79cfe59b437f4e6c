//! The next step as it is read from two metres: the channel's number in place of its name, few and short words.
//!
//! Same order as the full sentence: knob, channel, DIRECTION, amount. At most 26 letters, so that it stands in two
//! lines; the name, and what to do with it, stand in the line below.

use super::sentence::DeskWords;
use super::words::direction;
use crate::coach::{Advice, Passage, Step};

pub fn headline(advice: &Advice, desk: &DeskWords) -> String {
    let who = advice.channel.map_or(String::new(), |channel| channel.number().to_string());
    let DeskWords { knob, lamp, marks, .. } = desk;
    let knob: String = knob.chars().take(8).collect();
    let lamp: String = lamp.chars().take(8).collect();
    match advice.step {
        Step::Listen { passage, .. } => format!("{who}: {}", short(passage)),
        Step::ConfirmLoudest => format!("{who}: was that all?"),
        Step::ConfirmMeant { .. } => format!("{who}: was that meant?"),
        Step::CheckSource => format!("{who}: only the room"),
        Step::Trim { turn, by, .. } if *marks => format!("{knob} of {who} {} {}", direction(turn), by.db()),
        Step::Trim { turn, .. } => format!("{knob} of {who} slowly {}", direction(turn)),
        Step::PutBack { turn, by } if *marks => format!("Back: {who} {} {}", direction(turn), by.db()),
        Step::PutBack { turn, .. } => format!("Back: {who} slowly {}", direction(turn)),
        Step::NoMovement { .. } => format!("{knob} of {who}: no change"),
        Step::SourceOverload => format!("{who}: DOWN at the source"),
        Step::AskLampLit => format!("{who}: does {lamp} flash?"),
        Step::Pad => format!("Pad of {who} IN"),
        Step::WrongInput => format!("{who}: look at its plug"),
        Step::MoveCloser => format!("{who}: mic closer"),
        Step::LowCut { at } => format!("Low-cut {who} ON, {:.0} Hz", at.get()),
        Step::LeaveIt { .. } => format!("Leave {who} as it is"),
        Step::PressSolo => format!("Solo {who} only"),
        Step::ReleaseSolo => "Release every solo".into(),
        Step::AskLamp => format!("{who}: did {lamp} flash?"),
        Step::PlayTogether => "Everyone together".into(),
        Step::AllSet => "All set".into(),
    }
}

/// What is asked for, in two or three words.
const fn short(passage: Passage) -> &'static str {
    match passage {
        Passage::ToTheBackWall => "speak to the back wall",
        Passage::ShoutedLine => "the shouted line",
        Passage::LoudestChorus => "loudest chorus",
        Passage::EveryoneWithPiano => "all, with piano",
        Passage::LoudestCue => "loudest cue",
        Passage::LoudestPatch => "loudest patch",
        Passage::LoudestStyle => "loudest style",
        Passage::LoudestHits => "loudest hits",
        Passage::FullGroove => "full groove",
        Passage::StrumAndPick => "strum, then pick",
        Passage::Fortissimo => "fortissimo",
        Passage::LoudestPart => "the loudest part",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two lines of some thirteen letters at the size that is read from two metres, the channel’s number included.
    #[test]
    fn whatever_is_asked_for_is_short() {
        use Passage::*;
        let passages = [
            ToTheBackWall,
            LoudestChorus,
            ShoutedLine,
            EveryoneWithPiano,
            StrumAndPick,
            LoudestStyle,
            LoudestPatch,
            LoudestHits,
            FullGroove,
            Fortissimo,
            LoudestCue,
            LoudestPart,
        ];
        for passage in passages {
            assert!("64: ".len() + short(passage).len() <= 26, "{passage:?}");
        }
    }
}
