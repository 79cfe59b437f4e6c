//! The desk's columns of `inputs.csv`: what each channel is plugged from, where it goes, how it stands.
//!
//! `to` holds `main`, `group 1` or `none`, `sends` `aux 1 pre + aux 2 post`, several with `+`; `pan` L, C, R or a number
//! from −100 to 100; `fader` `down`; `insert` `half in`; `cue` what the audience must never hear. Edge cases: without
//! these columns every channel goes to the mains, open and in the middle; a cue goes nowhere until somebody says so.

use super::sheet::{Heading, Row, Sheet, heading, needed};
use crate::event::error::{Doubt, EventWarning, Fault, Findings, Mistake};
use crate::event::inputs::Input;
use crate::event::words::{Column, Connection};
use crate::plan::gear::{Gear, GearKind, Spec};
use crate::plan::kind::OutKind;
use crate::plan::quantity::Metres;
use crate::plan::rig::{Cue, Place, Strip, Tap};
use crate::units::{ChannelId, Db, SourceKind};

/// What the input list says of the rig's channels, and of the sources on them.
pub struct Channel {
    pub strip: Strip,
    /// A word of gear, or the name of a thing in the gear list.
    pub gear: Option<String>,
    /// Where that word stands.
    pub gear_at: (usize, usize),
}

const HEADINGS: &[Heading] = &[
    needed(
        "channel",
        &["ch", "chan", "channel number", "channel no", "desk channel", "no", "nr", "number", "#", "input"],
    ),
    heading("gear", &["microphone", "mic model"]),
    heading("to", &["assign", "routed to"]),
    heading("sends", &["aux", "auxes", "monitor sends"]),
    heading("mute", &[]),
    heading("pan", &[]),
    heading("fader", &[]),
    heading("solo", &[]),
    heading("low_cut", &[]),
    heading("insert", &[]),
    heading("cue", &[]),
    heading("distance_m", &["mic distance"]),
];

const CUES: &[(&str, Cue)] = &[("click", Cue::Click), ("talkback", Cue::Talkback), ("spoken cue", Cue::SpokenCue)];

/// One for each input of the list. `bytes` are the list's own.
pub fn read(
    bytes: &[u8],
    inputs: &[Input],
    crest_and_lift: fn(SourceKind) -> (Db, Db),
    findings: &mut Findings,
) -> Vec<Channel> {
    let mut quiet = Findings::new(findings.file().to_owned());
    // What is wrong with the sheet itself is told by who reads the list.
    let sheet = Sheet::of(bytes, HEADINGS, "channel,name,kind", &mut quiet);
    tell_of_headings(quiet, findings);
    let rows: Vec<Row> = sheet.as_ref().map(|sheet| sheet.rows().collect()).unwrap_or_default();
    inputs
        .iter()
        .map(|input| {
            let row = rows.iter().find(|row| channel_of(row) == Some(input.channel));
            channel(input, row, crest_and_lift(input.kind), findings)
        })
        .collect()
}

/// Of the sheet itself only what the list's own reader can't know: two of these columns, or a slip in the word of one.
fn tell_of_headings(quiet: Findings, findings: &mut Findings) {
    let twice = |mistake: &Mistake| matches!(mistake.fault, Fault::SameColumn { .. });
    findings.mistakes.extend(quiet.mistakes.into_iter().filter(twice));
    let strange = |warning: &EventWarning| match &warning.doubt {
        Doubt::UnknownKey { word, .. } => Column::candidates(word).is_empty(),
        _ => false,
    };
    findings.warnings.extend(quiet.warnings.into_iter().filter(strange));
}

fn channel_of(row: &Row) -> Option<ChannelId> {
    let text = row.text(0).to_lowercase();
    let digits = text.trim_start_matches(|c: char| !c.is_ascii_digit());
    let whole = digits.strip_suffix(".0").or(digits.strip_suffix(",0")).unwrap_or(digits);
    let number = whole.parse::<u16>().ok().filter(|number| (1..=64).contains(number))?;
    Some(ChannelId::new(number - 1))
}

fn channel(input: &Input, row: Option<&Row>, (crest, lift): (Db, Db), findings: &mut Findings) -> Channel {
    let place = input.place_x_m.zip(input.place_y_m).map(|(x, y)| Place { x, y });
    let cue = row.and_then(|row| row.word(10, "a cue", CUES, findings));
    let mut strip = Strip {
        channel: input.channel,
        name: input.label(),
        kind: input.kind,
        to_main: cue.is_none(),
        groups: Vec::new(),
        sends: Vec::new(),
        mute: false,
        fader_down: false,
        pan: 0.0,
        solo: false,
        phantom: input.phantom,
        low_cut: None,
        insert_half_in: false,
        cue,
        crest,
        show_lift: input.show_lift.unwrap_or(lift),
        distance: None,
        place,
        person: input.person.clone(),
        stand: input.stand.clone(),
    };
    let Some(row) = row else { return Channel { strip, gear: None, gear_at: (1, 1) } };
    assign(row, &mut strip, findings);
    sends(row, &mut strip, findings);
    strip.mute = row.answer(4, findings).unwrap_or(false);
    strip.pan = pan(row, findings);
    strip.fader_down =
        row.word(6, "a fader", &[("down", true), ("up", false), ("0", false)], findings).unwrap_or(false);
    strip.solo = row.answer(7, findings).unwrap_or(false);
    strip.low_cut = row.answer(8, findings);
    strip.insert_half_in = row
        .word(9, "an insert", &[("half in", true), ("no", false), ("none", false), ("full", false)], findings)
        .unwrap_or(false);
    strip.distance = row.number(11, "m", 0.01..=50.0, findings).map(Metres::new);
    Channel { strip, gear: row.said(1), gear_at: row.at(1) }
}

fn assign(row: &Row, strip: &mut Strip, findings: &mut Findings) {
    let Some(text) = row.said(2) else { return };
    strip.to_main = false;
    for part in parts(&text) {
        match (part.as_str(), number_after(&part, "group")) {
            ("main", _) => strip.to_main = true,
            ("none" | "-" | "–", _) => {}
            (_, Some(group)) => strip.groups.push(group),
            _ => row.wrong(2, "where a channel goes", "main, group 1 or none, several with +", None, findings),
        }
    }
}

fn sends(row: &Row, strip: &mut Strip, findings: &mut Findings) {
    for part in row.said(3).iter().flat_map(|text| parts(text)) {
        let (bus, tap) = match part.rsplit_once(' ') {
            Some((bus, "pre")) => (bus.to_owned(), Tap::BeforeFader),
            Some((bus, "post")) => (bus.to_owned(), Tap::AfterFader),
            _ => (part.clone(), Tap::BeforeFader),
        };
        match number_after(&bus, "aux") {
            Some(aux) => strip.sends.push((aux, tap)),
            None if matches!(part.as_str(), "none" | "-" | "–") => {}
            None => row.wrong(3, "a send", "aux 1 pre or aux 1 post, several with +", None, findings),
        }
    }
}

fn parts(text: &str) -> Vec<String> {
    let split = text.split(['+', ';']);
    split.map(|part| crate::event::row::one_line(&part.to_lowercase())).filter(|part| !part.is_empty()).collect()
}

fn number_after(text: &str, word: &str) -> Option<u8> {
    text.strip_prefix(word)?.trim().parse::<u8>().ok().filter(|number| (1..=64).contains(number))
}

fn pan(row: &Row, findings: &mut Findings) -> f64 {
    match row.text(5).to_lowercase().as_str() {
        "" | "c" | "centre" | "center" | "middle" => 0.0,
        "l" | "left" => -1.0,
        "r" | "right" => 1.0,
        _ => row.number(5, "%", -100.0..=100.0, findings).unwrap_or(0.0) / 100.0,
    }
}

/// What a channel is plugged from where nobody said: the usual thing for its kind and connection.
pub fn usual_gear(kind: SourceKind, connection: Option<Connection>, phantom: Option<bool>) -> OutKind {
    use SourceKind as K;
    match (connection, kind) {
        (Some(Connection::Radio), _) => OutKind::RadioLineLevel,
        (Some(Connection::Usb), _) | (_, K::Playback) => OutKind::LaptopPhones,
        (_, K::Keys) => OutKind::StereoKeys,
        (Some(Connection::Line), _) => OutKind::ActiveInstrument,
        (Some(Connection::Di), K::Bass) => OutKind::PassivePickup,
        (Some(Connection::Di), K::AcousticGuitar) => OutKind::PiezoPickup,
        (Some(Connection::Di), _) => OutKind::ActiveInstrument,
        _ if phantom == Some(true) => OutKind::CondenserMic,
        (_, K::Choir | K::Overhead) if phantom.is_none() => OutKind::CondenserMic,
        _ => OutKind::DynamicMic,
    }
}

/// The thing that a word of the column `gear` means; where the gear list has one line of that kind, with its figures.
pub fn gear_of(word: &str, stock: &[Gear]) -> Option<(GearKind, Spec)> {
    let named = stock.iter().find(|gear| gear.name.eq_ignore_ascii_case(word.trim()));
    if let Some(gear) = named.filter(|gear| matches!(gear.kind, GearKind::Source(_))) {
        return Some((gear.kind, gear.spec.clone()));
    }
    let written = crate::event::words::plain(word);
    let kind = super::words::KINDS.iter().find(|(own, _)| *own == written).map(|(_, kind)| *kind)?;
    matches!(kind, GearKind::Source(_)).then(|| (kind, only_of(kind, stock)))
}

/// The figures of the one line of this kind; where there are several nobody said which.
pub fn only_of(kind: GearKind, stock: &[Gear]) -> Spec {
    let mut same = stock.iter().filter(|gear| gear.kind == kind);
    same.next().filter(|_| same.next().is_none()).map_or_else(Spec::default, |gear| gear.spec.clone())
}
