//! The house rules, read from the source itself: who may name whom, what lives in one place only, what a
//! file and the top level look like.
//!
//! The tables are the rules; a new room is a new line in [`ROOMS`]. Paths are taken from `use`, from types
//! and expressions, from attributes and from inside macros (`syn`); `use a as b` is followed. A path in a
//! comment or a string is none. Edge cases: a file that cannot be parsed is a fault; `super` may climb
//! inside a room, not out of it.

use std::collections::{BTreeSet, HashMap};
use std::fs;
use std::path::Path;

use proc_macro2::{TokenStream, TokenTree};
use syn::spanned::Spanned;
use syn::visit::{self, Visit};

/// A room and the rooms that it may name, itself aside. "readings" are the types which `meters` gives out
/// from its file of that name, and nothing else of `meters`.
struct Room {
    name: &'static str,
    may: &'static [&'static str],
}

const fn room(name: &'static str, may: &'static [&'static str]) -> Room {
    Room { name, may }
}

const ROOMS: &[Room] = &[
    room("units", &[]),
    room("dsp", &["units"]),
    room("block", &["units"]),
    room("source", &["units", "block", "dsp"]),
    room("sink", &["units", "block", "dsp"]),
    room("meters", &["units", "block", "dsp"]),
    room("detectors", &["units", "dsp", "readings"]),
    room("measure", &["units", "block", "dsp"]),
    room("plan", &["units"]),
    room("coach", &["units", "readings", "detectors", "measure", "plan"]),
    room("engine", &["units", "block", "dsp", "source", "sink", "meters", "detectors", "measure", "plan", "coach"]),
    room("event", &["units", "plan", "coach"]),
    room("view", &["units", "readings", "detectors", "measure", "plan", "coach", "engine", "event"]),
    room("gui", &["units", "view", "engine", "event"]),
    room("cli", &["units", "view", "engine", "event"]),
    room("report", &["units", "view", "engine", "event"]),
];

/// The two files that stand above the rooms.
const MAIN: Room = room("main", &["cli"]);
const LIB: Room = room("lib", &[]);

/// Where a crate or a part of the standard library may be named: rooms, or folders of rooms.
enum Where {
    OnlyIn(&'static [&'static str]),
    NotIn(&'static [&'static str]),
}

const MEASURING: &[&str] = &["units", "dsp", "block", "meters", "detectors", "coach"];

const OUTSIDERS: &[(&str, Where, &str)] = &[
    ("cpal", Where::OnlyIn(&["source/live", "sink"]), "Keep devices behind source/live and sink"),
    ("clap", Where::OnlyIn(&["cli"]), "Parse arguments in cli"),
    ("clap_complete", Where::OnlyIn(&["cli"]), "Parse arguments in cli"),
    ("crossterm", Where::OnlyIn(&["cli"]), "Draw on the terminal in cli"),
    ("indicatif", Where::OnlyIn(&["cli"]), "Draw on the terminal in cli"),
    ("egui", Where::OnlyIn(&["gui"]), "Draw the window in gui"),
    ("eframe", Where::OnlyIn(&["gui"]), "Draw the window in gui"),
    (
        "anyhow",
        Where::NotIn(&["units", "dsp", "meters", "detectors", "measure", "coach"]),
        "Nothing fails here: validate in a constructor and return an Option",
    ),
    (
        "thiserror",
        Where::OnlyIn(&["source", "sink", "event", "plan", "cli", "engine"]),
        "Nothing fails here: validate in a constructor and return an Option",
    ),
    ("std::time::Instant", Where::NotIn(MEASURING), "Time is the frame count"),
    ("std::time::SystemTime", Where::NotIn(MEASURING), "Time is the frame count"),
    ("std::thread", Where::NotIn(MEASURING), "Threads belong to engine"),
    ("std::fs", Where::NotIn(MEASURING), "Files belong to source, sink, event and the faces"),
];

/// Printing is for the terminal face alone; tests may.
const PRINTING: [&str; 5] = ["print", "println", "eprint", "eprintln", "dbg"];

const TOP_LEVEL: [&str; 9] =
    ["Cargo.toml", "Cargo.lock", "README.md", "DEVELOPERS.md", "LICENSE", "src", "tests", "fixtures", "target"];

/// A file longer than this says why in its first lines, in the words "Long because".
const LONG: usize = 600;

#[test]
fn every_file_keeps_the_house_rules() {
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    rust_files(&manifest.join("src"), &mut files);
    let meters = fs::read_to_string(manifest.join("src/meters/mod.rs")).expect("the meters' room");
    let readings = given_out_from_readings(&meters);
    assert!(readings.contains("Readings"), "meters/mod.rs gives out no Readings: {readings:?}");
    let mut faults = Vec::new();
    for file in &files {
        let inside = file.strip_prefix(manifest.join("src")).expect("under src").to_string_lossy().replace('\\', "/");
        let text = fs::read_to_string(file).expect("readable source");
        faults.extend(check(&inside, &text, &readings));
    }
    assert!(files.len() > 10, "only {} files were found", files.len());
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}

#[test]
fn the_top_level_holds_what_it_may() {
    let entries = fs::read_dir(env!("CARGO_MANIFEST_DIR")).expect("the top level");
    let names: Vec<String> =
        entries.map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned()).collect();
    let faults = check_top_level(&names);
    assert!(faults.is_empty(), "\n{}\n", faults.join("\n"));
}

fn rust_files(folder: &Path, files: &mut Vec<std::path::PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder of source") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            rust_files(&path, files);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
    files.sort();
}

fn check_top_level(names: &[String]) -> Vec<String> {
    let strangers = names.iter().filter(|name| !name.starts_with('.') && !TOP_LEVEL.contains(&name.as_str()));
    strangers
        .map(|name| format!("{name}: does not belong at the top level. Move it into src, tests or fixtures"))
        .collect()
}

/// The names that `meters` gives out from its file `readings`.
fn given_out_from_readings(meters: &str) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for item in syn::parse_file(meters).map(|file| file.items).unwrap_or_default() {
        if let syn::Item::Use(item) = item {
            for import in imports(&item.tree) {
                if import.path.first().is_some_and(|first| first == "readings") && import.path.len() == 2 {
                    names.insert(import.path[1].clone());
                }
            }
        }
    }
    names
}

/// What is wrong with one file; `inside` is its path within `src`.
fn check(inside: &str, text: &str, readings: &BTreeSet<String>) -> Vec<String> {
    let mut faults = check_shape(inside, text);
    let room = match inside.split_once('/') {
        Some((name, _)) => ROOMS.iter().find(|room| room.name == name),
        None if inside == "main.rs" => Some(&MAIN),
        None if inside == "lib.rs" => Some(&LIB),
        None => None,
    };
    let Some(room) = room else {
        faults.push(format!(
            "src/{inside}:1: stands in no room. Move it into one, or add its room to the table in tests/it/house.rs"
        ));
        return faults;
    };
    let file = match syn::parse_file(text) {
        Ok(file) => file,
        Err(error) => {
            faults.push(format!("src/{inside}:{}: cannot be parsed: {error}", error.span().start().line));
            return faults;
        }
    };
    let mut reader = Reader {
        inside,
        room,
        readings,
        depth: depth(inside),
        in_tests: inside.ends_with("/tests.rs"),
        short: HashMap::new(),
        faults: BTreeSet::new(),
    };
    reader.visit_file(&file);
    faults.extend(reader.faults.into_iter().map(|(line, fault)| format!("src/{inside}:{line}: {fault}")));
    faults
}

/// The rules for a file as text.
fn check_shape(inside: &str, text: &str) -> Vec<String> {
    let mut faults = Vec::new();
    if !text.starts_with("//!") {
        faults.push(format!(
            "src/{inside}:1: does not open with //!. Say what the file is for, its inputs, units and source"
        ));
    }
    let lines = text.lines().count();
    let says_why = text.lines().take_while(|line| line.starts_with("//!")).any(|line| line.contains("Long because"));
    if lines > LONG && !says_why {
        faults.push(format!(
            "src/{inside}:{LONG}: has {lines} lines. Split it, or say “Long because …” in its first lines"
        ));
    }
    faults
}

/// How many modules deep a file lies: 0 is the crate itself, 1 the room.
fn depth(inside: &str) -> usize {
    let parts = inside.split('/').count();
    let own_folder = inside.ends_with("/mod.rs") || !inside.contains('/');
    if own_folder { parts - 1 } else { parts }
}

struct Reader<'a> {
    inside: &'a str,
    room: &'static Room,
    readings: &'a BTreeSet<String>,
    depth: usize,
    in_tests: bool,
    /// Names that a harmless `use` made short, and their whole paths.
    short: HashMap<String, Vec<String>>,
    faults: BTreeSet<(usize, String)>,
}

impl Reader<'_> {
    /// Whether a whole path may stand here.
    fn judge(&mut self, line: usize, path: &[String]) -> bool {
        let before = self.faults.len();
        let climbs = path.iter().skip_while(|part| *part == "self").take_while(|part| *part == "super").count();
        let from_main = self.room.name == MAIN.name && path.first().is_some_and(|part| part == "beforedoors");
        if climbs > 0 {
            if climbs >= self.depth {
                self.fault(line, format!("`{}` climbs out of its room. Write crate::room::…", path.join("::")));
            }
        } else if path.first().is_some_and(|part| part == "crate") || from_main {
            self.judge_room(line, path);
        } else {
            self.judge_outsider(line, path);
        }
        self.faults.len() == before
    }

    fn judge_room(&mut self, line: usize, path: &[String]) {
        let Some(named) = path.get(1).map(String::as_str) else { return };
        let room = self.room;
        let may = |name: &str| room.may.contains(&name);
        let only_readings = named == "meters" && may("readings");
        if named == room.name || may(named) {
            return;
        }
        let whole = path.join("::");
        if only_readings {
            if !path.get(2).is_some_and(|item| self.readings.contains(item)) {
                self.fault(
                    line,
                    format!("`{}` may name of `meters` only its readings, one by one, not `{whole}`", room.name),
                );
            }
        } else if named == "*" {
            self.fault(line, format!("`{whole}` names every room at once. Name what is needed"));
        } else {
            let instead = if room.may.is_empty() {
                "It may name no other room".to_owned()
            } else {
                format!("It may name: {}", room.may.join(", "))
            };
            self.fault(line, format!("`{}` may not name `{named}` (`{whole}`). {instead}", room.name));
        }
    }

    fn judge_outsider(&mut self, line: usize, path: &[String]) {
        let whole = path.join("::");
        for (outsider, place, instead) in OUTSIDERS {
            let named = whole == *outsider
                || whole.strip_prefix(outsider).is_some_and(|rest| rest.starts_with("::"))
                || whole.strip_suffix('*').is_some_and(|before| outsider.starts_with(before));
            let at_home = match place {
                Where::OnlyIn(homes) => homes.iter().any(|home| self.stands_in(home)),
                Where::NotIn(places) => !places.iter().any(|place| self.stands_in(place)),
            };
            if named && !at_home {
                self.fault(line, format!("`{outsider}` may not be named in `{}`. {instead}", self.room.name));
            }
        }
    }

    /// Whether the file is of this room, or of this folder or file of a room.
    fn stands_in(&self, place: &str) -> bool {
        self.inside.strip_prefix(place).is_some_and(|rest| rest.starts_with('/') || rest == ".rs")
    }

    fn judge_macro(&mut self, line: usize, name: &str) {
        if PRINTING.contains(&name) && self.room.name != "cli" && !self.in_tests {
            self.fault(line, format!("`{name}!` prints from `{}`. Only cli prints: hand the text on", self.room.name));
        }
    }

    /// A path as it stands in the code: its first name may be short for more.
    fn judge_written(&mut self, line: usize, mut path: Vec<String>) {
        if let Some(whole) = path.first().and_then(|first| self.short.get(first)) {
            path = whole.iter().chain(&path[1..]).cloned().collect();
        }
        self.judge(line, &path);
    }

    /// Paths and printing inside macros and attributes, whose insides are not parsed.
    fn judge_tokens(&mut self, tokens: TokenStream) {
        let tokens: Vec<TokenTree> = tokens.into_iter().collect();
        let punct = |at: usize, mark: char| matches!(tokens.get(at), Some(TokenTree::Punct(p)) if p.as_char() == mark);
        let mut at = 0;
        while at < tokens.len() {
            match &tokens[at] {
                TokenTree::Group(group) => self.judge_tokens(group.stream()),
                TokenTree::Ident(first) => {
                    let line = first.span().start().line;
                    let mut path = vec![first.to_string()];
                    while let (true, true, Some(TokenTree::Ident(next))) =
                        (punct(at + 1, ':'), punct(at + 2, ':'), tokens.get(at + 3))
                    {
                        path.push(next.to_string());
                        at += 3;
                    }
                    if punct(at + 1, '!') {
                        self.judge_macro(line, &path[path.len() - 1]);
                    }
                    self.judge_written(line, path);
                }
                _ => {}
            }
            at += 1;
        }
    }

    fn fault(&mut self, line: usize, fault: String) {
        self.faults.insert((line, fault));
    }

    /// Runs `inner` one module deeper, or as a test, where the item is one.
    fn within(&mut self, attributes: &[syn::Attribute], deeper: usize, inner: impl FnOnce(&mut Self)) {
        let was = (self.depth, self.in_tests);
        self.depth += deeper;
        self.in_tests |= attributes.iter().any(|attribute| match &attribute.meta {
            syn::Meta::List(list) => list.path.is_ident("cfg") && list.tokens.to_string() == "test",
            _ => false,
        });
        inner(self);
        (self.depth, self.in_tests) = was;
    }
}

impl<'ast> Visit<'ast> for Reader<'_> {
    fn visit_item_use(&mut self, item: &'ast syn::ItemUse) {
        let line = item.span().start().line;
        for import in imports(&item.tree) {
            if import.path == ["crate"] {
                self.fault(line, "`use crate` as a whole names every room at once. Name what is needed".to_owned());
            } else if import.grouped {
                self.fault(
                    line,
                    "groups rooms in one `use crate::{…}`. Write one `use crate::room::…` line a room".to_owned(),
                );
            } else if self.judge(line, &import.path)
                && let Some(name) = import.name
            {
                self.short.insert(name, import.path);
            }
        }
    }

    fn visit_item_extern_crate(&mut self, item: &'ast syn::ItemExternCrate) {
        self.judge(item.span().start().line, &[item.ident.to_string()]);
    }

    fn visit_path(&mut self, path: &'ast syn::Path) {
        let parts = path.segments.iter().map(|part| part.ident.to_string()).collect();
        self.judge_written(path.span().start().line, parts);
        visit::visit_path(self, path);
    }

    fn visit_macro(&mut self, mac: &'ast syn::Macro) {
        if let Some(last) = mac.path.segments.last() {
            self.judge_macro(last.ident.span().start().line, &last.ident.to_string());
        }
        self.judge_tokens(mac.tokens.clone());
        visit::visit_macro(self, mac);
    }

    fn visit_attribute(&mut self, attribute: &'ast syn::Attribute) {
        if attribute.path().is_ident("path") {
            let line = attribute.span().start().line;
            self.fault(
                line,
                "#[path] puts a module where nobody looks for it. Keep files where modules are".to_owned(),
            );
        }
        if let syn::Meta::List(list) = &attribute.meta {
            self.judge_tokens(list.tokens.clone());
        }
        visit::visit_attribute(self, attribute);
    }

    fn visit_item_mod(&mut self, item: &'ast syn::ItemMod) {
        let deeper = usize::from(item.content.is_some());
        self.within(&item.attrs, deeper, |reader| visit::visit_item_mod(reader, item));
    }

    fn visit_item_fn(&mut self, item: &'ast syn::ItemFn) {
        self.within(&item.attrs, 0, |reader| visit::visit_item_fn(reader, item));
    }
}

/// One name that a `use` brings in.
struct Import {
    path: Vec<String>,
    /// What it is called from then on.
    name: Option<String>,
    /// Whether it stands in braces right behind `crate`.
    grouped: bool,
}

fn imports(tree: &syn::UseTree) -> Vec<Import> {
    let mut found = Vec::new();
    walk(tree, &mut Vec::new(), false, &mut found);
    found
}

fn walk(tree: &syn::UseTree, before: &mut Vec<String>, grouped: bool, found: &mut Vec<Import>) {
    let mut bring = |last: String, name: Option<String>| {
        let mut path = before.clone();
        if last != "self" || path.is_empty() {
            path.push(last);
        }
        let name = name.or_else(|| path.last().filter(|last| *last != "*").cloned());
        found.push(Import { path, name, grouped });
    };
    match tree {
        syn::UseTree::Name(name) => bring(name.ident.to_string(), None),
        syn::UseTree::Rename(rename) => bring(rename.ident.to_string(), Some(rename.rename.to_string())),
        syn::UseTree::Glob(_) => bring("*".to_owned(), None),
        syn::UseTree::Path(path) => {
            before.push(path.ident.to_string());
            walk(&path.tree, before, grouped, found);
            before.pop();
        }
        syn::UseTree::Group(group) => {
            let behind_crate = before.len() == 1 && before[0] == "crate";
            for inner in &group.items {
                walk(inner, before, grouped || behind_crate, found);
            }
        }
    }
}

/// The checker must be able to fail: each rule broken in a few lines.
mod checker {
    use super::*;

    fn faults(inside: &str, code: &str) -> Vec<String> {
        let readings =
            given_out_from_readings("mod readings;\npub use readings::{Frame, Readings};\npub use rms::Rms;");
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
            &["2: `main` may not name `engine` (`beforedoors::engine::run`). It may name: cli"],
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
}
