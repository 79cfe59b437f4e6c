//! The checker must be able to fail: each house rule broken in a few lines, with the refusal word for word.

use super::*;

fn faults(inside: &str, code: &str) -> Vec<String> {
    let readings = given_out_from_readings("mod readings;\npub use readings::{Frame, Readings};\npub use rms::Rms;");
    check(inside, &format!("//! A file.\n{code}"), &readings)
}

#[track_caller]
fn refused(inside: &str, code: &str, expected: &[&str]) {
    let expected: Vec<String> = expected.iter().map(|fault| format!("src/{inside}:{fault}")).collect();
    assert_eq!(faults(inside, code), expected, "{code}");
}

#[track_caller]
fn passes(inside: &str, code: &str) {
    assert_eq!(faults(inside, code), Vec::<String>::new(), "{code}");
}

#[test]
fn arrows_of_the_table_pass() {
    passes("dsp/fft.rs", "use crate::units::Hertz;\nuse crate::dsp::window::Window;\nuse std::sync::Arc;");
    passes("detectors/clip.rs", "use crate::meters::{Frame, Readings};\nfn f(r: &crate::meters::Readings) {}");
    passes("engine/mod.rs", "use crate::source::stage::Stage;\nuse crate::coach::{Advice, Target};");
    passes(
        "cli/run.rs",
        "use crate::engine::{Pipeline, sources};\nuse crate::view::line;\nfn f() { println!(\"{}\", line()); }",
    );
    passes("view/line.rs", "use crate::engine::Snapshot;\nuse crate::event::Input;");
    passes("main.rs", "fn main() { beforedoors::cli::main() }");
    passes("source/file/wav.rs", "use super::super::Source;\npub(crate) fn f() {}");
    passes("lib.rs", "pub mod units;");
}

#[test]
fn forbidden_arrows_are_refused() {
    refused(
        "units/level.rs",
        "use crate::dsp::fft;",
        &["2: `units` may not name `dsp` (`crate::dsp::fft`). It may name no other room"],
    );
    refused(
        "meters/peak.rs",
        "\nfn f() -> crate::source::Flow { crate::source::Flow::End }",
        &[
            "3: `meters` may not name `source` (`crate::source::Flow::End`). It may name: units, block, dsp",
            "3: `meters` may not name `source` (`crate::source::Flow`). It may name: units, block, dsp",
        ],
    );
    refused(
        "source/live/mod.rs",
        "use crate::engine as loud;\nfn f() { loud::run() }",
        &["2: `source` may not name `engine` (`crate::engine`). It may name: units, block, dsp"],
    );
    refused(
        "cli/run.rs",
        "use crate::source::file;",
        &["2: `cli` may not name `source` (`crate::source::file`). It may name: units, view, engine, event"],
    );
    refused(
        "engine/mod.rs",
        "pub use crate::view::Line;",
        &[
            "2: `engine` may not name `view` (`crate::view::Line`). It may name: units, block, dsp, source, sink, meters, detectors, measure, plan, coach",
        ],
    );
    refused(
        "gui/app.rs",
        "impl crate::cli::Face for App {}",
        &["2: `gui` may not name `cli` (`crate::cli::Face`). It may name: units, view, engine, event"],
    );
    refused(
        "main.rs",
        "use beforedoors::engine::run;",
        &["2: `main` may not name `engine` (`beforedoors::engine::run`). It may name: cli, gui, report"],
    );
    refused(
        "lib.rs",
        "pub use crate::engine::Pipeline;",
        &["2: `lib` may not name `engine` (`crate::engine::Pipeline`). It may name no other room"],
    );
}

#[test]
fn arrows_in_macros_attributes_and_tests_are_seen() {
    let refusal = "`dsp` may not name `meters` (`crate::meters::Rms`). It may name: units";
    for code in [
        "fn f() { assert!(vec![crate::meters::Rms].is_empty()) }",
        "macro_rules! m { () => { $crate::meters::Rms } }",
        "#[doc(alias = \"x\", with(crate::meters::Rms))] fn f() {}",
        "#[cfg(test)] mod tests { use crate::meters::Rms; }",
        "fn f() { use crate::meters::Rms; }",
    ] {
        refused("dsp/fft.rs", code, &[&format!("2: {refusal}")]);
    }
}

#[test]
fn of_the_meters_only_readings_are_seen_further_on() {
    let refusal = |whole| format!("2: `coach` may name of `meters` only its readings, one by one, not `{whole}`");
    refused("coach/mod.rs", "use crate::meters::Rms;", &[&refusal("crate::meters::Rms")]);
    refused("coach/mod.rs", "use crate::meters;", &[&refusal("crate::meters")]);
    refused("coach/mod.rs", "use crate::meters::*;", &[&refusal("crate::meters::*")]);
}

#[test]
fn ways_around_are_closed() {
    let grouped = "2: groups rooms in one `use crate::{…}`. Write one `use crate::room::…` line a room";
    refused("engine/mod.rs", "use crate::{meters::Rms, units::Db};", &[grouped]);
    refused("dsp/mod.rs", "use crate::{units::Db};", &[grouped]);
    refused("dsp/mod.rs", "use crate::*;", &["2: `crate::*` names every room at once. Name what is needed"]);
    let whole = "2: `use crate` as a whole names every room at once. Name what is needed";
    refused("dsp/mod.rs", "use crate as house;\nfn f() { house::meters::f() }", &[whole]);
    let climbs = |path: &str| format!("2: `{path}` climbs out of its room. Write crate::room::…");
    refused("dsp/mod.rs", "use super::meters::Rms;", &[&climbs("super::meters::Rms")]);
    refused("dsp/fft.rs", "use super::super::meters::Rms;", &[&climbs("super::super::meters::Rms")]);
    refused("dsp/fft.rs", "use self::super::super::units::Db;", &[&climbs("self::super::super::units::Db")]);
    refused(
        "source/file/wav.rs",
        "fn f() { super::super::super::dsp::f() }",
        &[&climbs("super::super::super::dsp::f")],
    );
    refused(
        "dsp/fft.rs",
        "mod tests { fn f() { super::super::super::units::f() } }",
        &[&climbs("super::super::super::units::f")],
    );
    passes("dsp/fft.rs", "mod tests { use super::super::window; use super::*; }");
    refused(
        "dsp/mod.rs",
        "#[path = \"../meters/rms.rs\"] mod rms;",
        &["2: #[path] puts a module where nobody looks for it. Keep files where modules are"],
    );
}

#[test]
fn outsiders_stay_at_home() {
    passes("source/live/device.rs", "use cpal::Stream;");
    passes("source/live.rs", "use cpal::Stream;");
    passes("sink/live.rs", "use cpal::Stream;");
    let devices = "`cpal` may not be named in `source`. Keep devices behind source/live and sink";
    refused("source/file/mod.rs", "use cpal::Stream;", &[&format!("2: {devices}")]);
    refused("source/mod.rs", "extern crate cpal;", &[&format!("2: {devices}")]);
    refused("source/lively.rs", "fn f(s: ::cpal::Stream) {}", &[&format!("2: {devices}")]);
    refused(
        "engine/mod.rs",
        "#[derive(clap::Parser)] struct A;",
        &["2: `clap` may not be named in `engine`. Parse arguments in cli"],
    );
    let nothing_fails = "Nothing fails here: validate in a constructor and return an Option";
    for room in ["units", "dsp", "meters", "detectors", "measure", "coach"] {
        let inside = format!("{room}/mod.rs");
        refused(
            &inside,
            "fn f() -> anyhow::Result<()> { anyhow::bail!(\"no\") }\n#[derive(thiserror::Error)] enum E {}",
            &[
                &format!("2: `anyhow` may not be named in `{room}`. {nothing_fails}"),
                &format!("3: `thiserror` may not be named in `{room}`. {nothing_fails}"),
            ],
        );
    }
    passes("event/error.rs", "#[derive(thiserror::Error)] enum E {}");
    passes("cli/mod.rs", "use anyhow::Context;");
}

#[test]
fn measuring_knows_no_clock_thread_or_file() {
    for (code, outsiders) in [
        ("use std::time::{Duration, Instant};", &["std::time::Instant"][..]),
        ("use std::time;\nfn f() -> Duration { time::SystemTime::now() }", &["std::time::SystemTime"]),
        ("use std::time::*;", &["std::time::Instant", "std::time::SystemTime"]),
        ("use std::{fs::File, thread};", &["std::fs", "std::thread"]),
        ("fn f() { std::thread::spawn(g); }", &["std::thread"]),
    ] {
        for room in MEASURING {
            let faults = faults(&format!("{room}/mod.rs"), code);
            assert_eq!(faults.len(), outsiders.len(), "{code}: {faults:?}");
            for (fault, outsider) in faults.iter().zip(outsiders) {
                assert!(fault.contains(&format!("`{outsider}` may not be named in `{room}`")), "{fault}");
            }
        }
        passes("engine/mod.rs", code);
    }
    passes("meters/mod.rs", "use std::time::Duration;\nuse std::sync::Arc;");
}

#[test]
fn only_the_terminal_face_prints() {
    for name in PRINTING {
        refused(
            "event/mod.rs",
            &format!("fn f() {{ {name}!(\"x\") }}"),
            &[&format!("2: `{name}!` prints from `event`. Only cli prints: hand the text on")],
        );
    }
    refused(
        "main.rs",
        "fn f() { if_so!(std::eprintln!(\"x\")) }",
        &["2: `eprintln!` prints from `main`. Only cli prints: hand the text on"],
    );
    passes("event/mod.rs", "#[cfg(test)] mod tests { fn f() { eprintln!(\"measured\") } }");
    passes("cli/mod.rs", "fn f() { println!(\"x\") }");
}

#[test]
fn files_say_what_they_are_and_stay_short() {
    let none = BTreeSet::new();
    assert_eq!(
        check("dsp/fft.rs", "use std::sync::Arc;\n//! Late.\n", &none)[0],
        "src/dsp/fft.rs:1: does not open with //!. Say what the file is for, its inputs, units and source"
    );
    let long = format!("//! A table.\n{}", "\n".repeat(600));
    assert_eq!(
        check("dsp/fft.rs", &long, &none),
        ["src/dsp/fft.rs:600: has 601 lines. Split it, or say “Long because …” in its first lines"]
    );
    assert!(check("dsp/fft.rs", &long.replace("table.", "table. Long because it is one."), &none).is_empty());
    assert!(check("dsp/fft.rs", &format!("//! A table.\n{}", "\n".repeat(599)), &none).is_empty());
}

#[test]
fn every_file_stands_in_a_known_room() {
    for inside in ["attic/mod.rs", "loose.rs"] {
        refused(
            inside,
            "",
            &["1: stands in no room. Move it into one, or add its room to the table in tests/it/house.rs"],
        );
    }
    assert!(faults("dsp/fft.rs", "fn {")[0].starts_with("src/dsp/fft.rs:2: cannot be parsed: "));
}

#[test]
fn rooms_are_named_once_and_only_known_ones_are_allowed() {
    let names: BTreeSet<&str> = ROOMS.iter().map(|room| room.name).collect();
    assert_eq!(names.len(), ROOMS.len());
    for room in ROOMS {
        assert!(room.may.iter().all(|may| names.contains(may) || *may == "readings"), "{}", room.name);
    }
}

#[test]
fn strangers_at_the_top_level_are_refused() {
    let names = ["Cargo.toml", ".ci", "src", "notes.txt"].map(str::to_owned);
    assert_eq!(
        check_top_level(&names),
        ["notes.txt: does not belong at the top level. Move it into src, tests or fixtures"]
    );
}
