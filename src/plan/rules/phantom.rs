//! Phantom power (IEC 61938) and headset bias: who needs it, who is harmed, where it meets what it should not.
//!
//! Only a microphone input gives it. `None` as its state is "nobody said": then it is told what to do, not that it is
//! wrong. Edge cases: a box with a transformer keeps it off the source ([`crate::plan::wire::InLine::after`]).

use crate::plan::port::{Carries, Input, Mode, ModeKind, OnPhantom, Output, Supply};
use crate::plan::verdict::{Judgement, Reason, Verdict};

pub(super) fn judge(feeds: &Output, mode: &Mode, input: &Input, judgement: &mut Judgement) {
    let supply = if mode.kind == ModeKind::Mic { input.supply } else { Supply::Nothing };
    match supply {
        Supply::Nothing => {
            if matches!(feeds.phantom, OnPhantom::Needs | OnPhantom::CutOff) {
                judgement.never(Reason::NoPhantom);
            }
        }
        Supply::Bias => {
            match feeds.phantom {
                OnPhantom::Needs | OnPhantom::CutOff => judgement.never(Reason::NoPhantom),
                OnPhantom::IsHarmed => judgement.never(Reason::BiasHarms),
                OnPhantom::Ignores | OnPhantom::MayBeHarmed => {}
            }
            judgement.but(Reason::HeadsetJack);
        }
        Supply::Phantom(on) => with_phantom(feeds, on, judgement),
    }
}

fn with_phantom(feeds: &Output, on: Option<bool>, judgement: &mut Judgement) {
    use OnPhantom as P;
    match (feeds.phantom, on) {
        (P::Needs, Some(false)) => judgement.never(Reason::PhantomIsOff),
        (P::Needs, _) => judgement.note(Reason::PhantomOn),
        (P::CutOff, _) => judgement.never(Reason::NoPhantom),
        (P::Ignores, _) => {}
        (P::IsHarmed, Some(true)) => judgement.never(Reason::PhantomHarms),
        (P::IsHarmed, None) => judgement.but(Reason::PhantomHarms),
        (P::IsHarmed, Some(false)) => judgement.note(Reason::PhantomHarms),
        (P::MayBeHarmed, on) => {
            let reason = match (feeds.balanced, feeds.carries) {
                (false, _) => Reason::PhantomReachesSource,
                (true, Carries::Mix) => Reason::PhantomMeetsLine,
                (true, Carries::OneSource) => Reason::PhantomHarms,
            };
            // Balanced sources stand it; through an adapter it goes where it never should.
            let unsaid = if reason == Reason::PhantomHarms { Verdict::Fits } else { Verdict::WorksBut };
            let weight = on.map_or(unsaid, |on| if on { Verdict::WorksBut } else { Verdict::Fits });
            judgement.add(weight, reason);
        }
    }
}
