//! The ring-out: one output at a time, one step at a time, until the hall gives no more or enough is there.
//!
//! Fed with the rings of each 100 ms frame and with answers; gives typed advice. Up 3 dB a step, 1 dB once a tone hangs
//! on, 3 s of listening each; down at once at any ring; cut; back to the level where it rang; again. Where the next cut
//! breaks a rule, the bands are spread anew over all that rang, one turn at a time. A merely possible tone is tested by 3 dB
//! down, never cut unproved, and a tone that does not follow the fader is set aside. Common practice. Observing
//! allocates nothing; time is the audio clock. Fader positions are dB re the show mark, kept by what was asked and
//! answered, or by what is known of the fader ([`RingOut::fader_moved`]).

mod advice;
mod cures;
mod cuts;
mod equaliser;
mod procedure;
mod rings;
mod setup;
mod show;
mod spread;
mod stop;
mod tones;

pub use advice::{Haste, Microphones, OutputResult, RingAdvice, RingAnswer, RingStep, RingWhy};
pub use cures::Cure;
pub use cuts::{Band, Change, Cut, CutList, Grab, NoCut, Remedy, same_tone};
pub use equaliser::{Equaliser, GraphicBand};
pub use procedure::{RingOut, WORTH_IT};
pub use setup::{
    Microphone, Numbers, Output, OutputPlan, Place, RingOutPlan, RingWish, SPARE_FOR_CHOIR, SPARE_FOR_VOICES,
};
pub use show::{ShowAction, ShowAdvice, ShowEntry, ShowWatch, Urgency};
pub use stop::{Books, End, Onset};
