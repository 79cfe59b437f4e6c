//! Cautions that stand with every result they belong to and cannot be switched off.
//!
//! Sources: duties that electrical, rigging and hearing rules share (HSE guidance for places of entertainment, NIOSH
//! 98-126, WHO 2022); local law comes first. Nothing here is a step to carry out at the mains or overhead.

use crate::view::words::{HEARING, LOCAL_RULES};

/// What a caution is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Caution {
    Electric,
    Tingle,
    Rigging,
    Hearing,
    Exposure,
    PowerOrder,
    Phantom,
    LocalRules,
}

/// In the order in which they are shown.
pub const CAUTIONS: [Caution; 8] = [
    Caution::Electric,
    Caution::Tingle,
    Caution::Rigging,
    Caution::PowerOrder,
    Caution::Phantom,
    Caution::Hearing,
    Caution::Exposure,
    Caution::LocalRules,
];

impl Caution {
    pub const fn words(self) -> &'static str {
        match self {
            Self::Electric => {
                "Electric: a tested supply with a residual-current breaker, reels uncoiled, no extension behind an \
                 extension, no drinks near leads. A mains earth stays on, always. Wiring is for a licensed electrician."
            }
            Self::Tingle => {
                "A tingle from a microphone or strings: let go, touch nothing metal, an adult cuts the power at the \
                 breaker, then call an electrician."
            }
            Self::Rigging => {
                "Rigging: nothing overhead; loudspeakers on rated stands, legs spread, weighted, out of the crowd’s \
                 reach, cables taped. Overhead is for a competent rigger with the venue’s leave."
            }
            Self::PowerOrder => {
                "Power: desk first, loudspeakers last; down in reverse. Loudspeakers stay OFF while anything is plugged."
            }
            Self::Phantom => "Phantom: +48 V OFF while you patch; wait 10 s after switching it off.",
            Self::Hearing => HEARING,
            Self::Exposure => {
                "Exposure: 85 dBA for 8 h, 88 for 4 h, 91 for 2 h, 94 for 1 h, 100 for 15 min (NIOSH); rehearsals count \
                 too. Computed levels are no measurement."
            }
            Self::LocalRules => LOCAL_RULES,
        }
    }
}
