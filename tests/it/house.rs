//! The house rules, read from the source itself: who may name whom, what lives in one place only, what a
//! file and the top level look like.
//!
//! The tables are the rules; a new room is a new line in [`ROOMS`]. Paths are taken from `use`, from types
//! and expressions, from attributes and from inside macros (`syn`); `use a as b` is followed. A path in a
//! comment or a string is none. Edge cases: a file that cannot be parsed is a fault; `super` may climb
//! inside a room, not out of it.

mod checker;

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
const MAIN: Room = room("main", &["cli", "gui", "report"]);
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
