//! The rig's files: what is read of each cell, in every form that a spreadsheet writes, and each mistake with its place.
//!
//! Forms: RFC 4180, TOML 1.0; ranges are the format's own.

use std::fs;

use beforedoors::event::EventError;
use beforedoors::event::rig::{FILES, KINDS, open, write_example};
use beforedoors::plan::gear::{GearKind, InPort, OutPort, Side};
use beforedoors::plan::kind::OutKind;
use beforedoors::plan::port::Plug;
use beforedoors::plan::quantity::Metres;
use beforedoors::plan::wire::{Cable, InLine};
use beforedoors::view::plan::{Outcome, computed_lines};

use super::folder::{Files, example_with, found, mistakes, plan};

#[test]
fn the_example_is_written_once_and_checks_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let event = folder.path().join("winter");
    write_example(&event).expect("written");
    let (_, rig, warnings) = open(&event).unwrap_or_else(|error| panic!("{error}"));
    assert!(warnings.is_empty(), "{warnings:?}");
    assert_eq!((rig.strips.len(), rig.wires.len()), (12, 24));
    let plan = plan(&event);
    assert!(plan.checked.unknown.is_empty(), "{:?}", plan.checked.unknown);
    assert!(plan.checked.refused.is_empty(), "{:?}", plan.checked.refused);
    let found = found(&plan);
    // What it is there to teach.
    for expected in [
        "wire 11: never subtracts-stereo",
        "channel 12: never cue-summed",
        "channel 3: but gain-short",
        "wire 9: but long-unbalanced",
        "event: but short-of-gear",
    ] {
        assert!(found.contains(&expected.to_owned()), "{expected}: {found:?}");
    }
    assert_eq!(plan.outcome(), Outcome::Findings);
    // It is never written over.
    fs::write(event.join("patch.csv"), "mine").expect("written");
    assert!(matches!(write_example(&event), Err(EventError::AlreadyThere(_))));
    assert_eq!(fs::read_to_string(event.join("patch.csv")).expect("there"), "mine");
}

#[test]
fn every_cell_is_read() {
    let folder = example_with(&[]);
    let (_, rig, _) = open(folder.path()).expect("read");
    let wire = |label: &str| rig.wires.iter().find(|wired| wired.label == label).expect("a wire");
    let keys = wire("8");
    assert_eq!((keys.from.1, keys.to.1), (OutPort::Own(Some(Side::Left)), InPort::Mic(8)));
    assert_eq!((keys.wire.cable, keys.wire.length), (Cable::Pair, Metres::new(20.0)));
    assert_eq!((keys.wire.from_plug, keys.wire.to_plug), (Plug::Ts, Plug::Xlr));
    assert_eq!(keys.wire.through, [InLine::PassiveDi]);
    assert_eq!(rig.thing(keys.from.0).kind, GearKind::Source(OutKind::StereoKeys));
    let main = wire("A");
    assert_eq!((main.from.1, main.to.1), (OutPort::Main(Some(Side::Left)), InPort::In(1)));
    assert_eq!((wire("P1").from.1, wire("P1").to.1), (OutPort::Mains, InPort::Power));
    let venue = rig.venue.as_ref().expect("a hall");
    assert_eq!((venue.seats.len(), venue.circuits.len(), venue.volume()), (2, 2, Some(18.0 * 12.0 * 6.0)));
    assert_eq!(rig.show_hours, Some(2.0));
    assert_eq!(rig.songs, [vec![1], vec![3, 4, 5], vec![2, 6, 7, 8, 9, 10]]);
}

/// A cross-section may be a wire gauge (16 AWG is 1.309 mm², ASTM B258), and a hall nobody clapped in has an echo by
/// its mean absorption (C. F. Eyring).
#[test]
fn gauges_and_absorption() {
    let gauge = |text: &str| {
        let folder = tempfile::tempdir().expect("a folder");
        let wires = Files::whole().change("length_m,through", "length_m,through,area_mm2");
        let wires = wires.gear("Amp,amplifier,1").gear("Box,passive speaker,1");
        wires.wire(&format!("E,Amp,speaker 1,Box,in,speaker cable,5,,{text}")).write(folder.path());
        folder
    };
    let read = gauge("16 AWG");
    let (_, rig, _) = open(read.path()).unwrap_or_else(|error| panic!("{error}"));
    let Some(Cable::Speaker(area)) = rig.wires.last().map(|wired| wired.wire.cable) else { panic!("a cable") };
    assert!((area.get() - 1.309).abs() < 0.001, "{area:?}");
    assert!(mistakes(gauge("99 AWG").path())[0].contains("6 to 26 AWG"));

    let venue = FILES[4].1.replace("reverb_s = 1.4", "absorption = 0.2");
    let hall = example_with(&[("venue.toml", &venue)]);
    let lines = computed_lines(&plan(hall.path()));
    // 18 × 12 × 6 m: 0.161 · 1296 / (792 · 0.2231) = 1.18 s.
    assert!(lines.iter().any(|line| line.starts_with("The event: T 1.18 s = 0.161 V / (−S ln(1 − α))")), "{lines:#?}");
}

/// Semicolons and decimal commas, tabs, other orders and names of headings, byte-order marks.
#[test]
fn every_export_of_a_sheet_gives_the_same_wires() {
    let original = tempfile::tempdir().expect("a folder");
    Files::whole().write(original.path());
    let (_, expected, _) = open(original.path()).expect("read");
    let patch = fs::read_to_string(original.path().join("patch.csv")).expect("there");
    let headings = "wire,from,out,to,in,cable,length_m,through";
    let forms = [
        patch.replace(',', ";"),
        patch.replace(',', "\t"),
        patch.replace('\n', "\r\n"),
        format!("\u{feff}{patch}"),
        patch.replace(headings, "Label,Source,Output,Destination,Input,Lead,Length (m),Through"),
        patch.replace(",10,", ",\"10,0\","),
        patch.replace(',', ";").replace(";10;", ";10,0;"),
    ];
    for form in forms {
        fs::write(original.path().join("patch.csv"), &form).expect("written");
        let (_, rig, _) = open(original.path()).unwrap_or_else(|error| panic!("{error}\n{form}"));
        assert_eq!(rig.wires, expected.wires, "{form}");
    }
}

/// Gear and hall may lie in the folder above, or where the event says.
#[test]
fn gear_and_hall_are_shared_between_events() {
    let store = tempfile::tempdir().expect("a folder");
    let event = store.path().join("evening");
    fs::create_dir(&event).expect("made");
    for (name, text) in FILES {
        let shared = matches!(name, "gear.csv" | "venue.toml");
        let at = if shared { store.path().join(name) } else { event.join(name) };
        fs::write(at, text).expect("written");
    }
    let (_, rig, _) = open(&event).expect("read");
    assert!(rig.stock.is_some() && rig.venue.is_some());
    // Named, it must be there.
    let text = fs::read_to_string(event.join("event.toml"))
        .expect("there")
        .replace("version = 1", "version = 1\ngear = \"elsewhere.csv\"");
    fs::write(event.join("event.toml"), text).expect("written");
    let error = open(&event).expect_err("it is not there");
    assert!(error.to_string().contains("elsewhere.csv"), "{error}");
}

#[test]
fn everything_wrong_in_all_files_is_told_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    Files::whole()
        .event("show_hours = -1\n\n[[bus]]\nname = \"bus 7\"\n\n[[accepted]]\nabout = \"wire 1\"")
        .input("2,Soloist,solo vocal,mic,no,dynamic mik,mains,aux 99,perhaps,120,low,maybe,half in,clik")
        .gear("Mic,dynamik mic,2")
        .gear("Other mic,dynamic mic,-2")
        .wire("2,Voise,,Desk,mic 99,mike cable,-10,")
        .write(folder.path());
    let told = mistakes(folder.path());
    let expected = [
        "event.toml:6:8 (bus 1, name): “bus 7” is not a bus. Expected \"aux 1\", \"group 1\" or \"main\"",
        "event.toml:3:14 (show_hours): “-1” is not a length. Expected a number from 0.1 to 24 (hours)",
        "inputs.csv:3:6 (gear): “dynamic mik” is not a source. Did you mean “dynamic mic”? Expected a name from gear.csv, or one of: dynamic mic",
        "inputs.csv:3:7 (to): “mains” is not where a channel goes. Expected main, group 1 or none, several with +",
        "inputs.csv:3:8 (sends): “aux 99” is not a send. Expected aux 1 pre or aux 1 post, several with +",
        "inputs.csv:3:9 (mute): “perhaps” is not an answer. Expected yes or no",
        "inputs.csv:3:10 (pan): “120” is not a number in range. Expected a number from -100 to 100 (%)",
        "inputs.csv:3:11 (fader): “low” is not a fader. Expected one of: down, up, 0",
        "inputs.csv:3:12 (solo): “maybe” is not an answer. Expected yes or no",
        "inputs.csv:3:14 (cue): “clik” is not a cue. Did you mean “click”? Expected one of: click, talkback, spoken cue",
        "gear.csv:17:2 (kind): “dynamik mic” is not a kind of gear. Did you mean “dynamic mic”? Expected one of: dynamic mic",
        "gear.csv:18:3 (count): “-2” is not a count. Expected a whole number from 0 to 1000",
        "patch.csv:6:2 (from): “Voise” is not a thing of this event. Did you mean “Voice”? Expected a name from inputs.csv or gear.csv, or a circuit of venue.toml",
        "patch.csv:6:5 (in): “mic 99” is not a socket. Expected a socket such as: mic 1,",
        "patch.csv:6:6 (cable): “mike cable” is not a cable. Did you mean “mic cable”? Expected one of: mic cable",
        "patch.csv:6:7 (length_m): “-10” is not a number in range. Expected a number from 0.1 to 500 (m)",
    ];
    for line in expected {
        assert!(told.iter().any(|one| one.starts_with(line)), "{line}\nin\n{}", told.join("\n"));
    }
    let missing = "(accepted 1, because): nothing is said here. Expected the reason, in \"quotes\"";
    assert!(told.iter().any(|one| one.ends_with(missing)), "{}", told.join("\n"));
}

/// Words that are read are written in the form that the errors offer.
#[test]
fn every_kind_of_gear_has_a_word_of_its_own() {
    for (index, (word, kind)) in KINDS.iter().enumerate() {
        assert!(KINDS[index + 1..].iter().all(|(other, _)| other != word), "{word} stands twice");
        let folder = tempfile::tempdir().expect("a folder");
        Files::whole().gear(&format!("Own thing,{word},2")).write(folder.path());
        let (_, rig, _) = open(folder.path()).unwrap_or_else(|error| panic!("{word}: {error}"));
        let stock = rig.stock.expect("a list");
        assert!(stock.iter().any(|gear| gear.kind == *kind), "{word}");
    }
}
