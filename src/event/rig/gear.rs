//! `gear.csv`: the store cupboard, one line a kind of thing, shared between events.
//!
//! Units in the headings: ohms, watts, dB (1 W, 1 m; peak at 1 m), mV/Pa, metres, mm², hours. Edge cases: an empty cell
//! is "not said"; two lines of one name are a mistake.

use super::sheet::{Heading, Row, Sheet, heading, needed};
use super::words::{KINDS, PHANTOM};
use crate::event::error::{Fault, Findings, quote};
use crate::plan::gear::{AmpFeed, Gear, Spec};
use crate::plan::quantity::{Area, Metres, Ohms, Volts, Watts};

/// The least that is needed.
pub const EXAMPLE: &str = "item,kind,count";

const HEADINGS: &[Heading] = &[
    needed("item", &["name", "thing"]),
    needed("kind", &["type"]),
    needed("count", &["number", "how many", "quantity"]),
    heading("ohms", &["impedance", "impedance ohm"]),
    heading("least_ohms", &[]),
    heading("watts", &[]),
    heading("draw_w", &["power draw"]),
    heading("sensitivity_db", &["sensitivity"]),
    heading("max_db", &["max spl"]),
    heading("mv_pa", &["mv pa"]),
    heading("length_m", &["length", "metres"]),
    heading("area_mm2", &["area", "mm2"]),
    heading("battery_h", &["battery hours"]),
    heading("mic_inputs", &[]),
    heading("channels", &[]),
    heading("auxes", &["aux sends"]),
    heading("phantom", &[]),
    heading("amp_feeds", &[]),
    heading("line_volts", &[]),
    heading("notes", &["note"]),
];

/// Everything that could be read, with every mistake.
pub fn read(bytes: &[u8], findings: &mut Findings) -> Vec<Gear> {
    let Some(sheet) = Sheet::of(bytes, HEADINGS, EXAMPLE, findings) else { return Vec::new() };
    let mut all: Vec<Gear> = Vec::new();
    let mut lines: Vec<usize> = Vec::new();
    for row in sheet.rows() {
        row.check(findings);
        let Some(gear) = item(&row, findings) else { continue };
        match all.iter().position(|other| other.name.eq_ignore_ascii_case(&gear.name)) {
            Some(first) => {
                let fault = Fault::SameName { name: quote(&gear.name), first: lines[first] };
                row.mistake(0, fault, findings);
            }
            None => {
                lines.push(row.line);
                all.push(gear);
            }
        }
    }
    all
}

fn item(row: &Row, findings: &mut Findings) -> Option<Gear> {
    let name = row.said(0);
    if name.is_none() {
        row.mistake(0, Fault::Missing("a name for the thing, such as Main left"), findings);
    }
    let kind = row.word(1, "a kind of gear", KINDS, findings);
    if kind.is_none() && row.text(1).is_empty() {
        row.mistake(1, Fault::Missing("a kind of gear, such as dynamic mic"), findings);
    }
    let count = row.whole(2, 0..=1000, findings);
    if count.is_none() && row.text(2).is_empty() {
        row.mistake(2, Fault::Missing("how many there are"), findings);
    }
    let number = |column, unit, range, findings: &mut Findings| row.number(column, unit, range, findings);
    let spec = Spec {
        ohms: number(3, "ohm", 0.1..=10_000_000.0, findings).map(Ohms::new),
        least_ohms: number(4, "ohm", 0.5..=1_000.0, findings).map(Ohms::new),
        watts: number(5, "W", 0.1..=20_000.0, findings).map(Watts::new),
        draw: number(6, "W", 0.1..=20_000.0, findings).map(Watts::new),
        sensitivity_db: number(7, "dB", 60.0..=120.0, findings),
        max_db: number(8, "dB", 70.0..=160.0, findings),
        millivolts_a_pascal: number(9, "mV/Pa", 0.01..=200.0, findings),
        length: number(10, "m", 0.1..=500.0, findings).map(Metres::new),
        area: number(11, "mm2", 0.1..=50.0, findings).map(Area::new),
        battery_hours: number(12, "h", 0.1..=1_000.0, findings),
        mic_inputs: row.whole(13, 0..=64, findings).map(|n| n as u8),
        channels: row.whole(14, 1..=64, findings).map(|n| n as u8),
        auxes: row.whole(15, 0..=64, findings).map(|n| n as u8),
        phantom: row.word(16, "a way to switch phantom power", PHANTOM, findings),
        amp_feeds: amp_feeds(row, findings),
        line_volts: number(18, "V", 20.0..=120.0, findings).map(Volts::new),
    };
    Some(Gear { name: name?, kind: kind?, count: count?, spec })
}

/// "main + aux 1".
fn amp_feeds(row: &Row, findings: &mut Findings) -> Vec<AmpFeed> {
    let text = row.text(17).to_lowercase();
    let mut feeds = Vec::new();
    for part in text.split('+').map(str::trim).filter(|part| !part.is_empty()) {
        let aux = part.strip_prefix("aux").and_then(|n| n.trim().parse::<u8>().ok()).filter(|n| (1..=64).contains(n));
        match (part, aux) {
            ("main", _) => feeds.push(AmpFeed::Main),
            (_, Some(aux)) => feeds.push(AmpFeed::Aux(aux)),
            _ => row.wrong(17, "what feeds the amplifiers", "words such as main + aux 1", None, findings),
        }
    }
    feeds
}
