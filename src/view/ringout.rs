//! The ring-out in words: each step's sentence with its numbers, what follows, the proof; note names, bands, ends.
//!
//! One knob a sentence, direction words in capitals, bands as they are printed on the desk (ISO 266: 1.25k, 1.6k).
//! Notes by equal temperament from A4 = 440 Hz. Never blames.

use serde_json::{Value, json};

use super::numbers::{self, counted, seconds, span};
use super::sentence::{Arrow, NextStep, Reply};
use super::words::{problem_and_fix, unseen};
use crate::coach::Unseen;
use crate::coach::ringout::{
    Band, Change, Cure, Cut, End, Grab, Haste, Microphones, Output, Place, RingAdvice, RingStep, RingWhy, ShowAction,
    ShowAdvice, WORTH_IT,
};
use crate::detectors::Ring;
use crate::engine::ringout::Ended;
use crate::units::{ChannelId, Db, Hertz, Seconds};

/// Shown before anything sounds; they want a yes where loudspeakers are real.
pub const RING_CAUTIONS: [&str; 5] = [
    "Ear protection on for whoever stands at the desk.",
    "Nobody within 2 m of a loudspeaker; nobody touches a wedge.",
    "Say aloud that it may squeal. Children leave the hall.",
    "One hand stays on the fader until the end.",
    "Local rules and licensed practice come first.",
];

/// The keys of a step's line.
pub const RINGOUT_STEP_KEYS: &str = "\
ring_step, whenever the next step changes: time_s, output, step, then, proof, frequency_hz, level_dbfs, \
growth_db_per_s, fader_db and held_db (from the show mark), bought_db, bands

output, at the end: output, end, held_db, bought_db, left_at_db, check_again, rang_hz (all that rang, the first first), cuts (each with place, frequency_hz, q, \
depth_db), advice. What is not known is null.";

/// "Mains", "Wedge 2".
pub fn output_name(output: Output) -> String {
    match output {
        Output::Mains => "Mains".into(),
        Output::Wedge(number) => format!("Wedge {number}"),
    }
}

/// Three figures: "1.25 kHz", "630 Hz", "12.5 kHz".
pub fn frequency(frequency: Hertz) -> String {
    figures(frequency, 3)
}

/// Four figures, for a knob that is set: "1.234 kHz", "1006 Hz" as "1.006 kHz".
pub fn setting(frequency: Hertz) -> String {
    figures(frequency, 4)
}

fn figures(frequency: Hertz, figures: i32) -> String {
    let hz = frequency.get();
    if !(hz > 0.0 && hz.is_finite()) {
        return "an unknown frequency".into();
    }
    let unit = 10f64.powi(hz.log10().floor() as i32 + 1 - figures);
    let hz = (hz / unit).round() * unit;
    let (value, word) = if hz >= 1000.0 { (hz / 1000.0, "kHz") } else { (hz, "Hz") };
    let decimals = (figures - 1 - value.log10().floor() as i32).max(0) as usize;
    let text = format!("{value:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} {word}")
}

/// The nearest note: "D#6". Outside what a piano tuner would call a note, nothing.
pub fn note(frequency: Hertz) -> Option<String> {
    const NAMES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
    let key = (69.0 + 12.0 * (frequency.get() / 440.0).log2()).round();
    if !(0.0..=143.0).contains(&key) {
        return None;
    }
    let key = key as usize;
    Some(format!("{}{}", NAMES[key % 12], key as i32 / 12 - 1))
}

/// "1.25 kHz (D#6)".
pub fn tone(at: Hertz) -> String {
    match note(at) {
        Some(note) => format!("{} ({note})", frequency(at)),
        None => frequency(at),
    }
}

/// A band as it is printed on the desk: "1.25k", "630", "31.5".
pub fn band(band: Band) -> String {
    const NOMINAL: [&str; 31] = [
        "20", "25", "31.5", "40", "50", "63", "80", "100", "125", "160", "200", "250", "315", "400", "500", "630",
        "800", "1k", "1.25k", "1.6k", "2k", "2.5k", "3.15k", "4k", "5k", "6.3k", "8k", "10k", "12.5k", "16k", "20k",
    ];
    match band {
        Band::Graphic(band) => {
            let place = usize::try_from(i32::from(band.number()) + 17).unwrap_or(0);
            NOMINAL.get(place).copied().unwrap_or("").to_owned()
        }
        Band::Exact { frequency, .. } | Band::Swept { frequency } => setting(frequency),
    }
}

/// "4 Soloist", "4".
pub fn microphone(channel: ChannelId, names: &[String]) -> String {
    match names.get(channel.index()) {
        Some(name) if !name.is_empty() => format!("{} {name}", channel.number()),
        _ => channel.number().to_string(),
    }
}

fn place(place: Place, names: &[String]) -> String {
    match place {
        Place::Output(output) => output_name(output),
        Place::Channel(channel) => microphone(channel, names),
    }
}

/// A cut on its list: "Wedge 2: 1.6k −3"; a parametric one with its Q.
pub fn cut_label(cut: &Cut, names: &[String]) -> String {
    let q = match cut.band {
        Band::Exact { q, .. } => format!(", Q {q:.0}"),
        Band::Graphic(_) | Band::Swept { .. } => String::new(),
    };
    format!("{}: {} {}{q}", place(cut.place, names), band(cut.band), depth(cut.depth))
}

/// "−3", "0".
fn depth(depth: Db) -> String {
    let text = span(depth);
    let number = text.trim_end_matches(" dB");
    if depth < Db::ZERO { format!("−{number}") } else { number.to_owned() }
}

/// "3 dB below its show mark", "at its show mark".
fn from_the_mark(fader: Db) -> String {
    match fader.get() {
        at if at.abs() < 0.05 => "at its show mark".into(),
        at if at < 0.0 => format!("{} below its show mark", span(fader)),
        _ => format!("{} above its show mark", span(fader)),
    }
}

/// Words for a step; `names` are the channels'.
pub fn ring_step(advice: &RingAdvice, names: &[String]) -> NextStep {
    let why = &advice.why;
    let output = advice.output.map_or_else(|| "Mains".to_owned(), output_name);
    let ring = why.ring.map_or_else(|| "a tone".to_owned(), |ring| tone(ring.frequency));
    let none = Arrow::None;
    let (arrow, reply, sentence, then): (Arrow, Reply, String, String) = match advice.step {
        RingStep::Cautions => {
            let then = "yes: we begin; no: not now";
            (none, Reply::YesNo, "It may squeal. Is everyone safe?".into(), then.into())
        }
        RingStep::Prepare { noted: 0 } => {
            let then = "microphones where they will be, low-cuts on, at show trims";
            (none, Reply::Done, format!("Equaliser of {output} flat"), then.into())
        }
        RingStep::Prepare { noted } => {
            let noted = counted(noted as u64, "noted cut", "noted cuts");
            let sentence = format!("Equaliser of {output} flat, or at its {noted}");
            (none, Reply::Done, sentence, "notes of another evening are a guess, not a fact".into())
        }
        RingStep::SetFader { to } => {
            let sentence = format!("{output} fader to {}", from_the_mark(to).trim_start_matches("at "));
            (none, Reply::Done, sentence, "one hand stays on it".into())
        }
        RingStep::Open(which) => {
            let open = match which {
                Microphones::One(channel) => format!("Open {} only", microphone(channel, names)),
                Microphones::Two(first, second) => {
                    format!("Open {} and {} only", microphone(first, names), microphone(second, names))
                }
                Microphones::Show => "Open every microphone of the show".into(),
            };
            (none, Reply::Done, open, "quiet on stage, please".into())
        }
        RingStep::Up { by, hanging } => {
            let then = if hanging { "a tone hangs on: small steps from here" } else { "then leave it for 3 s" };
            (Arrow::Up, Reply::Knob, format!("{output} fader UP {by} dB"), then.into())
        }
        RingStep::Wait => (none, Reply::Wait, "Listening".into(), "hand on the fader".into()),
        RingStep::DropToTest { by } => {
            let sentence = format!("Possible ring at {ring}: {output} fader DOWN {by} dB to test");
            (Arrow::Down, Reply::Done, sentence, "a ring dies with the fader, a note does not".into())
        }
        RingStep::Down { by, haste, again } => {
            let more = if again { "another " } else { "" };
            let sentence = match haste {
                Haste::Now => format!("DOWN NOW: {output} fader {more}{by} dB"),
                Haste::Calm => format!("{output} fader DOWN {more}{by} dB"),
            };
            (Arrow::Down, Reply::Done, sentence, format!("ring at {ring}"))
        }
        RingStep::AskQuiet => {
            let then = "is someone playing? Ask for quiet, then done";
            (none, Reply::Done, format!("{ring} does not follow the fader"), then.into())
        }
        RingStep::LowCut { at, place: on } => {
            let whose = match on {
                Place::Output(_) => "every open microphone".to_owned(),
                Place::Channel(channel) => microphone(channel, names),
            };
            let sentence = format!("Ring at {ring}. Low-cut of {whose} ON, about {:.0} Hz.", at.get());
            (none, Reply::Knob, sentence, "so low, the low-cut comes before any band".into())
        }
        RingStep::Cut(change) => {
            let sentence = format!("Ring at {ring}. {}.", cut_words(&change.main, names));
            (Arrow::Down, Reply::Knob, sentence, after_the_cut(&change, why))
        }
        RingStep::Free(Grab { place: on, band: at, by, .. }) => {
            let sentence = format!("The {} band of {} UP {}", band(at), place(on, names), span(by));
            (Arrow::Up, Reply::Knob, sentence, format!("{ring} needs it more: the next cut does more there"))
        }
        RingStep::PutBack(change) => {
            let Grab { place: on, band: at, by, .. } = change.main;
            let sentence = match change.main.instead_of {
                Some(before) => format!("Put the {} band of {} back to {}", band(at), place(on, names), band(before)),
                None => format!("Put the {} band of {} back UP {}", band(at), place(on, names), span(by)),
            };
            let then = match change.neighbour {
                Some(other) => format!("and its {} band UP {}", band(other.band), span(other.by)),
                None => "it is not asked for again".into(),
            };
            (Arrow::Up, Reply::Done, sentence, then)
        }
        RingStep::BackUp { by } => {
            let sentence = format!("{output} fader UP {by} dB, back to where it was");
            (Arrow::Up, Reply::Done, sentence, "same level as before, to hear what changed".into())
        }
        RingStep::Leave { by, end } => {
            let turn = if by < Db::ZERO { "DOWN" } else { "UP" };
            let arrow = if by < Db::ZERO { Arrow::Down } else { Arrow::Up };
            let sentence = format!("{output} fader {turn} {} and leave it there", span(by));
            (arrow, Reply::Done, sentence, end_words(end).into())
        }
        RingStep::AskDull => {
            let then = "yes: one cut goes back; no: all stays";
            (none, Reply::YesNo, "Ask someone to speak. Did the words get dull?".into(), then.into())
        }
        RingStep::GiveBack(cut) => {
            let sentence = format!("The {} band of {} UP {}", band(cut.band), place(cut.place, names), span(cut.depth));
            (Arrow::Up, Reply::Knob, sentence, "the shallowest cut goes back first".into())
        }
        RingStep::CutAgain(cut) => {
            let (at, on) = (band(cut.band), place(cut.place, names));
            let sentence = format!("It rings without it. The {at} band of {on} DOWN {}", span(cut.depth));
            (Arrow::Down, Reply::Knob, sentence, "this one is needed".into())
        }
        RingStep::Over => {
            (none, Reply::Over, "The ring-out is over".into(), "a trim that is turned wants a new check".into())
        }
    };
    NextStep { arrow, reply, sentence, then, proof: proof(advice) }
}

/// "Cut the 1.25k band of Mains by 3 dB".
fn cut_words(grab: &Grab, names: &[String]) -> String {
    let (on, at, by) = (place(grab.place, names), band(grab.band), span(grab.by));
    let first = grab.depth >= grab.by;
    match (grab.band, grab.instead_of) {
        (Band::Exact { q, .. }, Some(before)) => {
            format!("Widen the {} cut of {on} to {at}, Q {q:.0}", band(before))
        }
        (Band::Exact { q, .. }, None) if first => format!("Cut {at} of {on} by {by}, Q {q:.0}"),
        (Band::Swept { .. }, _) if first => format!("Mid of {on} to {at}, then DOWN {by}"),
        (Band::Swept { .. }, _) => format!("Mid of {on} DOWN {by} more"),
        (Band::Graphic(_), _) if first => format!("Cut the {at} band of {on} by {by}"),
        (Band::Graphic(_) | Band::Exact { .. }, _) => format!("Cut the {at} band of {on} by {by} more"),
    }
}

fn after_the_cut(change: &Change, why: &RingWhy) -> String {
    match (change.neighbour, change.main.band) {
        (Some(other), _) => {
            format!("and its {} band by {}: it rings between the two", band(other.band), span(other.by))
        }
        (None, _) if why.blunt => "a wide band: this also dulls the voices".into(),
        (None, Band::Swept { .. }) => "wide: it changes the tone of this microphone only".into(),
        (None, _) => why.cure.map_or_else(|| "then back to where it rang".into(), |cure| format!("or {}", hint(cure))),
    }
}

/// The one line of numbers.
fn proof(advice: &RingAdvice) -> String {
    let why = &advice.why;
    if matches!(advice.step, RingStep::Cautions | RingStep::Over) {
        return unseen(Unseen::RoomLevel).into();
    }
    let mut parts = why.ring.as_ref().map(ring_numbers).unwrap_or_default();
    parts.push(format!("fader {}", from_the_mark(why.fader)));
    if advice.step == RingStep::Wait && why.left > Seconds::ZERO {
        parts.push(format!("{} to go", seconds(Seconds::new(why.left.get().ceil()))));
    }
    if why.bands > 0 {
        parts.push(format!("{} cut", counted(why.bands as u64, "band", "bands")));
    }
    if why.bought > Db::ZERO {
        parts.push(format!("{} bought", span(why.bought)));
    }
    parts.join(" · ")
}

/// "−32.0 dBFS", "growing 22 dB a second", "about 3 dB over the limit", "full in 1.5 s".
fn ring_numbers(ring: &Ring) -> Vec<String> {
    let mut parts = vec![numbers::dbfs(ring.level)];
    if ring.growth.is_finite() {
        let pace = if ring.growth >= 0.0 { "growing" } else { "dying" };
        parts.push(format!("{pace} {:.0} dB a second", ring.growth.abs()));
    }
    if let Some(excess) = ring.excess.filter(|excess| excess.get() >= 0.5) {
        parts.push(format!("about {:.0} dB over the limit", excess.get()));
    }
    if let Some(left) = ring.clips_in.filter(|left| left.get() < 10.0) {
        parts.push(format!("full in {:.1} s", left.get().max(0.0)));
    }
    parts
}

/// Why an output is over.
pub const fn end_words(end: End) -> &'static str {
    match end {
        End::NoCutsNeeded => "enough in hand: no cuts needed",
        End::TargetReached => "target reached",
        End::BandsUsed => "enough bands are cut; more would thin the sound",
        End::ManyTones => "many tones ring at once: cuts can’t win",
        End::NearDeepCut => "it rings beside a deep cut: cuts can’t win",
        End::BoughtLittle => "the last cuts bought less than 1 dB",
        End::DeepNeighbours => "two neighbouring bands are deep already",
        End::FullDepth => "the band is as deep as it may be",
        End::NoEqualiser => "shelves cure no ring: fader, distance, angle",
        End::Declined => "that cut was not wanted",
        End::FaderAtEnd => "the fader is at its end",
        End::Stopped => "stopped here",
    }
}

/// What to move, as one request.
pub const fn cure_words(cure: Cure) -> &'static str {
    match cure {
        Cure::CloserMicrophone => "Move the microphone closer: half the distance is worth 6 dB",
        Cure::FewerOpen => "Keep fewer microphones open: half of them is worth 3 dB",
        Cure::OutOfTheHorn => "Turn the microphone away: it sees the loudspeaker’s horn",
        Cure::AwayFromTheWall => "Move the microphone away from the wall or balcony",
        Cure::OpenTheHand => "Open the hand around the microphone, or free the lapel",
        Cure::GuitarBody => "Cover the guitar’s hole, or turn its polarity",
        Cure::ThisMicrophone => "Move or turn this one microphone by 30 cm",
    }
}

/// The same, to stand beside a cut.
const fn hint(cure: Cure) -> &'static str {
    match cure {
        Cure::CloserMicrophone => "move the microphone closer: worth more than a cut",
        Cure::FewerOpen => "open fewer microphones: worth more than a cut",
        Cure::OutOfTheHorn => "turn the microphone: it sees the horn",
        Cure::AwayFromTheWall => "move the microphone from the wall",
        Cure::OpenTheHand => "open the hand around the microphone",
        Cure::GuitarBody => "cover the guitar’s hole or turn its polarity",
        Cure::ThisMicrophone => "move this one microphone by 30 cm",
    }
}

/// How an output ended, line by line: the end, what it gives, its cuts, what to move.
pub fn result_lines(ended: &Ended, names: &[String]) -> Vec<String> {
    let Ended { result, cuts, .. } = ended;
    let name = output_name(result.output);
    let Some(end) = result.end else { return vec![format!("{name}: not rung out")] };
    let mut lines = vec![format!("{name}: {}", end_words(end))];
    if let Some(held) = result.held {
        let left = result.left_at.map(|left| format!("; left {}", from_the_mark(left)));
        lines.push(format!(
            "  quiet up to {}{}",
            from_the_mark(held).replace("at its", "its"),
            left.unwrap_or_default()
        ));
    }
    lines.extend(cuts.iter().map(|cut| format!("  {}", cut_label(cut, names))));
    if !cuts.is_empty() {
        let worth = if result.bought < WORTH_IT { ": little; moving helps more" } else { "" };
        lines.push(format!("  the cuts bought {}{worth}", span(result.bought)));
    }
    lines.extend(result.cure.map(|cure| format!("  {}", cure_words(cure))));
    if result.check_again {
        lines.push("  check again: a trim was turned since".into());
    }
    lines
}

/// A step, when it changes.
pub fn ring_step_record(at: Seconds, advice: &RingAdvice, next: &NextStep) -> Value {
    let why = &advice.why;
    let ring = why.ring;
    json!({
        "type": "ring_step", "time_s": rounded(at.get()), "output": advice.output.map(output_name),
        "step": plain_minus(&next.sentence), "then": plain_minus(&next.then), "proof": plain_minus(&next.proof),
        "frequency_hz": ring.map(|ring| rounded(ring.frequency.get())),
        "level_dbfs": ring.map(|ring| rounded(ring.level.get())),
        "growth_db_per_s": ring.map(|ring| rounded(ring.growth)),
        "fader_db": rounded(why.fader.get()), "held_db": why.held.map(|held| rounded(held.get())),
        "bought_db": rounded(why.bought.get()), "bands": why.bands,
    })
}

/// An output at the end.
pub fn output_record(ended: &Ended) -> Value {
    let Ended { result, cuts, rang } = ended;
    let db = |db: Option<Db>| db.map(|db| rounded(db.get()));
    let cut = |cut: &Cut| {
        let q = match cut.band {
            Band::Exact { q, .. } => rounded(q),
            Band::Graphic(_) | Band::Swept { .. } => Value::Null,
        };
        json!({
            "place": place(cut.place, &[]), "frequency_hz": rounded(cut.band.centre().get()), "q": q,
            "depth_db": rounded(cut.depth.get()),
        })
    };
    json!({
        "type": "output", "output": output_name(result.output), "end": result.end.map(|end| plain_minus(end_words(end))),
        "held_db": db(result.held), "bought_db": rounded(result.bought.get()), "left_at_db": db(result.left_at),
        "check_again": result.check_again, "rang_hz": rang.iter().map(|ring| rounded(ring.get())).collect::<Vec<_>>(),
        "cuts": cuts.iter().map(cut).collect::<Vec<_>>(),
        "advice": result.cure.map(cure_words),
    })
}

/// A typed line that was not carried out.
pub fn typed_error_record(message: &str) -> Value {
    let (problem, fix) = problem_and_fix(message);
    json!({ "type": "error", "message": plain_minus(problem), "fix": fix.map(plain_minus) })
}

fn rounded(value: f64) -> Value {
    if value.is_finite() { json!((value * 1000.0).round() / 1000.0 + 0.0) } else { Value::Null }
}

fn plain_minus(text: &str) -> String {
    text.replace('−', "-")
}

/// In the show.
pub fn show_step(advice: &ShowAdvice, names: &[String]) -> NextStep {
    let ring = advice.ring.map_or_else(|| "a tone".to_owned(), |ring| tone(ring.frequency));
    let (arrow, reply, sentence, then): (Arrow, Reply, String, String) = match advice.action {
        ShowAction::Nothing => (Arrow::None, Reply::Wait, "As rehearsed".into(), "nothing to turn".into()),
        ShowAction::FaderDown { channel, by } => {
            let sentence = format!("{} fader DOWN {by} now", microphone(channel, names));
            (Arrow::Down, Reply::Done, sentence, format!("ring at {ring}"))
        }
        ShowAction::MainsDown { by } => {
            (Arrow::Down, Reply::Done, format!("Mains fader DOWN {by} now"), format!("ring at {ring}"))
        }
        ShowAction::MuteIdle => {
            let then = format!("ring at {ring}: which one can’t be told");
            (Arrow::Down, Reply::Done, "Mute every microphone that is not in use".into(), then)
        }
        ShowAction::Cut(change) => {
            let sentence = format!("{}, at the next pause", cut_words(&change.main, names));
            (Arrow::Down, Reply::Done, sentence, format!("it rang at {ring}"))
        }
        ShowAction::CreepBack { channel, by } => {
            let whose = channel.map_or_else(|| "Mains".to_owned(), |channel| microphone(channel, names));
            let then = "quiet for a minute; slowly, or leave it";
            (Arrow::Up, Reply::Done, format!("{whose} fader may go UP {by} dB"), then.into())
        }
    };
    let proof = advice.ring.as_ref().map(ring_numbers).unwrap_or_default().join(" · ");
    NextStep { arrow, reply, sentence, then, proof }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::ringout::Equaliser;

    /// Equal temperament from A4 = 440 Hz: D#6 is 1244.5 Hz, B7 3951 Hz, C4 261.6 Hz.
    #[test]
    fn notes() {
        let name = |hz: f64| note(Hertz::new(hz)).unwrap_or_default();
        assert_eq!([440.0, 1250.0, 3951.0, 261.6, 27.5, 60.0].map(name), ["A4", "D#6", "B7", "C4", "A0", "B1"]);
        assert_eq!([0.0, -1.0, f64::NAN, f64::INFINITY].map(name), [""; 4]);
    }

    #[test]
    fn frequencies() {
        let told = |hz: f64| frequency(Hertz::new(hz));
        assert_eq!(
            [49.96, 250.2, 999.6, 1249.7, 2000.0, 12_490.0].map(told),
            ["50 Hz", "250 Hz", "1 kHz", "1.25 kHz", "2 kHz", "12.5 kHz"]
        );
        let told = |hz: f64| setting(Hertz::new(hz));
        assert_eq!([49.96, 250.16, 1234.4, 1100.0].map(told), ["49.96 Hz", "250.2 Hz", "1.234 kHz", "1.1 kHz"]);
        assert_eq!(frequency(Hertz::new(f64::NAN)), "an unknown frequency");
    }

    /// ISO 266.
    #[test]
    fn bands_as_printed() {
        let label = |hz: f64| band(Band::Graphic(Equaliser::ThirdOctave.nearest(Hertz::new(hz)).unwrap()));
        assert_eq!(
            [20.0, 31.5, 160.0, 630.0, 1000.0, 1250.0, 1600.0, 3150.0, 20_000.0].map(label),
            ["20", "31.5", "160", "630", "1k", "1.25k", "1.6k", "3.15k", "20k"]
        );
        let octave = band(Band::Graphic(Equaliser::Octave.nearest(Hertz::new(2100.0)).unwrap()));
        assert_eq!(octave, "2k");
    }
}
