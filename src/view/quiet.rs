//! A quiet sweep in words: what is due, what it found, why it found nothing.
//!
//! Levels in dB. Why there is no result is worded in `safe_sweep`, as the cautions are.

use serde_json::{Value, json};

use super::numbers::{self, span, thousandths};
use super::ringout::{frequency, microphone, output_name};
use super::safe_sweep::{no_sweep, no_sweep_kind};
use super::sentence::{Arrow, NextStep, Reply};
use super::sweeps;
use crate::coach::ringout::{Equaliser, Output};
use crate::engine::quiet::{Opened, PlaceError, QuietResult, QuietStep, QuietWish, Which};
use crate::engine::sweep::Ring;
use crate::units::{ChannelId, Db, Hertz, Seconds};

/// "Channel 5".
fn who(channel: Option<ChannelId>) -> String {
    channel.map_or_else(|| "The input".into(), |channel| format!("Channel {}", channel.number()))
}

/// The next step.
pub fn quiet_step(step: &QuietStep, wish: &QuietWish) -> NextStep {
    let opened = wish.opened;
    let (reply, sentence, then): (Reply, String, String) = match step {
        QuietStep::Loopback => (
            Reply::Done,
            "Put the laptop's output straight into its input".into(),
            "loudspeakers off; the knobs stay as they are from here on".into(),
        ),
        QuietStep::Cautions => (
            Reply::YesNo,
            "It will sound, softly. Is everyone safe?".into(),
            match (opened, wish.output) {
                (Opened::AtReturn, Output::Mains) => {
                    "the laptop plays into a spare return; microphones off the main mix".into()
                }
                (Opened::AtReturn, wedge) => {
                    format!("the laptop plays into a spare return on {} only; microphones off it", output_name(wedge))
                }
                (Opened::AtMainOut, Output::Mains) => {
                    "the laptop's output to the loudspeakers, the desk's output to the laptop".into()
                }
                (Opened::AtMainOut, wedge) => {
                    format!("the laptop's output to {}, the desk's output for it to the laptop", output_name(wedge))
                }
            },
        ),
        QuietStep::Tap { rise } => (
            Reply::YesNo,
            match opened {
                Opened::AtReturn => "Tap a microphone: do the loudspeakers stay silent?".into(),
                Opened::AtMainOut => "Tap a microphone: are the loudspeakers silent, and does it show here?".into(),
            },
            format!("the tap stands {} over the quiet so far; 12 dB tell enough", span(*rise)),
        ),
        QuietStep::Countdown { seconds, level } => {
            (Reply::Wait, format!("Sweep in {seconds}"), format!("at {}; any key stops it", numbers::dbfs(*level)))
        }
        QuietStep::Sounding { level, which, share } => {
            let what = match which {
                Which::Loopback => "Straight from output to input",
                Which::Chirp => "Listening whether it stands out",
                Which::First => "Measuring",
                Which::Second => "Measuring again, softer",
            };
            let then = format!("{:.0} %, at {}; any key stops it", 100.0 * share, numbers::dbfs(*level));
            (Reply::Wait, what.into(), then)
        }
        QuietStep::Done => (Reply::Over, "Measured".into(), "microphones and plugs back, faders down first".into()),
        QuietStep::Refused(why) => {
            let text = no_sweep(*why, opened, &|at| who(wish.channels.get(at).copied()));
            let (what, mend) = text.split_once(". ").unwrap_or((text.as_str(), ""));
            (Reply::Over, what.into(), mend.into())
        }
        QuietStep::Failed(PlaceError::Gap) => {
            (Reply::Over, "Sound was lost".into(), "close other programs, then measure again".into())
        }
        QuietStep::Failed(PlaceError::Input(why) | PlaceError::Output(why)) => {
            (Reply::Over, "Not measured".into(), why.clone())
        }
    };
    NextStep { arrow: Arrow::None, sentence, then, proof: String::new(), reply }
}

/// What was found, all open together and the weakest microphone first, with the cuts that would help it; `marked`: the desk's faders are known.
pub fn quiet_lines(
    result: &QuietResult,
    wanted: Db,
    equaliser: Equaliser,
    names: &[String],
    marked: bool,
) -> Vec<String> {
    let weakest = result.weakest().map(|(channel, _)| channel);
    let mut all: Vec<_> = result.each().collect();
    all.sort_by_key(|(channel, _)| Some(*channel) != weakest);
    let together = result.loops.together.as_ref().map(|margin| sweeps::together_lines(margin, wanted, None));
    let mut lines = together.unwrap_or_default();
    for (channel, found) in all {
        let who = microphone(channel, names);
        match found {
            Ok(found) => {
                let cuts = found.cuts(equaliser, wanted).filter(|_| Some(channel) == weakest);
                lines.extend(sweeps::margin_lines(&who, found, wanted, cuts.as_ref(), equaliser, marked));
            }
            Err(why) => lines.push(format!("{who}: not measured: {}", sweeps::refused(*why))),
        }
    }
    lines.extend(result.round_trip.map(|trip| format!("The laptop's own way takes {:.1} ms", 1e3 * trip.get())));
    lines.push(UNCERTAIN.into());
    lines
}

/// Always said.
pub const UNCERTAIN: &str = "Hands, people, doors and warmth move this by up to 3 dB either way.";

/// The headline of a result, at most 26 letters: "6.4 dB before it rings".
pub fn quiet_headline(result: &QuietResult, wanted: Db) -> String {
    match result.least() {
        None => "Nothing could be measured".into(),
        Some(least) if least >= wanted => format!("{} left: no cuts", span(least)),
        Some(least) if least >= Db::ZERO => format!("{} before it rings", span(least)),
        Some(least) => format!("It would ring by {}", span(least)),
    }
}

/// What to do with it.
pub fn quiet_then(result: &QuietResult, wanted: Db) -> String {
    let back = "microphones and plugs back, faders down first";
    match result.least() {
        Some(least) if least < wanted => format!("{} are wanted; {back}", span(wanted)),
        _ => back.into(),
    }
}

/// A step between sweeps, as a record.
pub(super) fn between_record(at: Seconds, word: &str, next: &NextStep) -> Value {
    json!({
        "type": "sweep_step", "time_s": thousandths(at.get()), "step": word, "level_dbfs": null,
        "sentence": next.sentence, "then": next.then,
    })
}

/// A step as a record.
pub fn quiet_record(at: Seconds, step: &QuietStep, next: &NextStep) -> Value {
    let level = match step {
        QuietStep::Countdown { level, .. } | QuietStep::Sounding { level, .. } => Some(thousandths(level.get())),
        _ => None,
    };
    let word = match step {
        QuietStep::Loopback => "loopback",
        QuietStep::Cautions => "cautions",
        QuietStep::Tap { .. } => "tap",
        QuietStep::Countdown { .. } => "countdown",
        QuietStep::Sounding { which: Which::Loopback, .. } => "sounding_loopback",
        QuietStep::Sounding { which: Which::Chirp, .. } => "sounding_chirp",
        QuietStep::Sounding { which: Which::First, .. } => "sounding_first",
        QuietStep::Sounding { which: Which::Second, .. } => "sounding_second",
        QuietStep::Done => "done",
        QuietStep::Refused(_) => "refused",
        QuietStep::Failed(_) => "failed",
    };
    let mut record = json!({
        "type": "sweep_step", "time_s": thousandths(at.get()), "step": word, "level_dbfs": level,
        "sentence": next.sentence, "then": next.then,
    });
    if let QuietStep::Refused(why) = step {
        record["refused"] = true.into();
        record["kind"] = no_sweep_kind(*why).into();
        record["reason"] = format!("{}. {}", next.sentence, next.then).into();
    }
    record
}

/// The gain around the weakest microphone's loop, as a picture: places and heights from 0 to 1.
pub struct LoopGraph {
    pub title: String,
    pub line: Vec<(f64, f64)>,
    /// The height at which it rings.
    pub rings_at: f64,
    pub rings: Vec<GraphRing>,
    pub octaves: Vec<(f64, String)>,
}

/// What would ring.
pub struct GraphRing {
    pub place: f64,
    pub height: f64,
    pub name: String,
}

/// Columns of the line.
const COLUMNS: usize = 400;
/// dB from the bottom to the top, and how far the ringing line stands under the top.
const SPAN: f64 = 56.0;
const OVER: f64 = 16.0;

impl LoopGraph {
    pub fn of(result: &QuietResult, names: &[String]) -> Option<Self> {
        let (channel, found) = result.weakest()?;
        let (low, high) = found.gain.band();
        let octaves = (high.get() / low.get()).log2();
        let place = |hertz: f64| (hertz / low.get()).log2() / octaves;
        // What rings already must stay in the picture.
        let top = OVER.max(-found.margin.safe.get() + 2.0);
        let height = |gain: Db| (1.0 - (top - gain.get()) / SPAN).clamp(0.0, 1.0);
        let line = found.gain.outline(COLUMNS).into_iter().map(|(at, gain)| (place(at.get()), height(gain))).collect();
        let ring = |ring: &Ring| GraphRing {
            place: place(ring.frequency.get()),
            height: height(ring.gain),
            name: frequency(ring.frequency),
        };
        let marks = [125.0, 250.0, 500.0, 1_000.0, 2_000.0, 4_000.0, 8_000.0];
        let marks = marks.into_iter().filter(|hertz| (low.get()..=high.get()).contains(hertz));
        Some(Self {
            title: format!("Gain around the loop of {}; at 0 it rings", microphone(channel, names)),
            line,
            rings_at: height(Db::ZERO),
            rings: found.margin.next.iter().take(3).map(ring).collect(),
            octaves: marks.map(|hertz| (place(hertz), frequency(Hertz::new(hertz)))).collect(),
        })
    }

    /// For who does not see it.
    pub fn spoken(&self) -> String {
        let names: Vec<&str> = self.rings.iter().map(|ring| ring.name.as_str()).collect();
        format!("Gain around the loop against frequency. It would ring first at {}", names.join(", then "))
    }
}
