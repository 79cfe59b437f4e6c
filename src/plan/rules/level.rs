//! Level and loading: is it lifted to where it should be, does it clip, does the input load the source.
//!
//! loss = 20 lg(Zin / (Zin + Zs)) (voltage divider; W. M. Leach and any circuit text). Wanted is Zin ≥ 10 Zs
//! (loss under 0.83 dB). A source that stands up to [`SLACK`] under the quietest usual level is no remark. Edge
//! cases: no load means no loss.

use crate::plan::port::{Input, Mode, ModeKind, Output};
use crate::plan::quantity::Ohms;
use crate::plan::verdict::{Judgement, Reason, Verdict};
use crate::plan::wire::Wire;
use crate::units::{Db, Dbu};

/// Shortfall and loss that nobody hears as one.
const SLACK: Db = Db::new(3.0);
/// From here on the gain that is missing is hiss, not sound.
const HOPELESSLY_QUIET: Db = Db::new(20.0);
/// A peak this little over is what a pad on the input, or a finger's width of fader, takes away.
const A_LITTLE_HOT: Db = Db::new(4.0);
/// No pad or knob takes away more.
const HOPELESSLY_HOT: Db = Db::new(35.0);
/// The source is loaded so much that nothing of its tone is left.
const HOPELESSLY_LOADED: Db = Db::new(30.0);
/// A microphone's level: below it, a balanced source is one.
const MIC_LEVEL: Dbu = Dbu::new(-22.0);

/// What the input loses of the source's level.
pub fn loading_loss(source: Ohms, load: Ohms) -> Db {
    if source.get() <= 0.0 { Db::ZERO } else { -Db::from_ratio(load.get() / (load.get() + source.get())) }
}

/// The signal after the boxes of the wire, each loading what comes before it.
pub(super) fn walk(out: &Output, wire: &Wire, judgement: &mut Judgement) -> Output {
    let mut feeds = *out;
    for inline in &wire.through {
        if let Some(load) = inline.load() {
            let loss = loading_loss(feeds.impedance, load);
            loads(loss, load, true, judgement);
            feeds = Output { usual: feeds.usual - loss, loudest: feeds.loudest - loss, ..feeds };
        }
        feeds = inline.after(feeds);
    }
    feeds
}

pub(super) fn judge(feeds: &Output, mode: &Mode, input: &Input, judgement: &mut Judgement) {
    let loss = loading_loss(feeds.impedance, mode.impedance);
    // A channel has gain and tone controls that make up for some of it; a bare input has not.
    loads(loss, mode.impedance, input.strip, judgement);
    let short = mode.quietest - (feeds.usual - loss);
    if short > HOPELESSLY_QUIET {
        judgement.never(Reason::TooQuiet { short });
    } else if short > SLACK {
        judgement.but(Reason::TooQuiet { short });
    }
    let over = feeds.loudest - mode.clips;
    if over > HOPELESSLY_HOT {
        judgement.never(Reason::TooHot { over });
    } else if over > A_LITTLE_HOT {
        judgement.but(Reason::TooHot { over });
    } else if over > Db::ZERO {
        judgement.note(Reason::TooHot { over });
    }
    if mode.kind == ModeKind::Instrument && feeds.balanced && feeds.usual < MIC_LEVEL {
        judgement.but(Reason::MicOnInstrumentInput);
    }
    if mode.kind == ModeKind::Mic && !input.strip && input.supply != crate::plan::port::Supply::Bias {
        judgement.but(Reason::SpeechMicOnly);
    }
    if feeds.by_knob {
        judgement.add(if mode.trim { Verdict::Fits } else { Verdict::WorksBut }, Reason::LevelByKnob);
    }
}

fn loads(loss: Db, load: Ohms, mended_behind: bool, judgement: &mut Judgement) {
    if loss >= SLACK {
        let hopeless = loss > HOPELESSLY_LOADED || !mended_behind;
        judgement.add(if hopeless { Verdict::Never } else { Verdict::WorksBut }, Reason::LoadsSource { loss, load });
    }
}
