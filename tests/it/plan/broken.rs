//! Broken event folders: whatever was done to the worked example, it is refused with file and line, or it shows.
//!
//! Each case takes the example and breaks it in one of [`KINDS`] ways, at a place and with a value that `proptest` chooses
//! (always the same ones). A plain run takes 200, `BEFOREDOORS_FULL=1` a thousand. Forms: RFC 4180, TOML 1.0, RFC 3629
//! and 2781 for the encodings.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use beforedoors::event::EventError;
use beforedoors::plan::rig::Rig;
use beforedoors::view::plan::{Plan, pages, plan_records, stage_plot};
use proptest::prelude::*;
use proptest::sample::Index;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

const FILES: [&str; 5] = ["event.toml", "inputs.csv", "patch.csv", "gear.csv", "venue.toml"];
const SHEETS: [&str; 3] = ["inputs.csv", "patch.csv", "gear.csv"];
const FORMS: [&str; 2] = ["event.toml", "venue.toml"];

/// Numbers that are none, or none of this unit, or beyond all sense.
const NO_NUMBERS: [&str; 12] =
    ["NaN", "inf", "-inf", "1e999", "99999999999999999999", "-7777", "12 ft", "20 cm", "5 kΩ", "0x10", "many", "½"];
const NO_WORDS: [&str; 6] = ["zebra", "??", "hölzern", "🎤", "NaN", "mic 99"];
/// Right for no key.
const NO_VALUES: [&str; 6] = ["nan", "-inf", "1e300", "[[1]]", "{ a = 1 }", "1979-05-27"];

const NUMBERS: [&str; 16] = [
    "channel",
    "distance_m",
    "place_x_m",
    "place_y_m",
    "length_m",
    "count",
    "ohms",
    "least_ohms",
    "watts",
    "draw_w",
    "sensitivity_db",
    "max_db",
    "mv_pa",
    "area_mm2",
    "battery_h",
    "mic_inputs",
];
const WORDS: [&str; 12] =
    ["kind", "connection", "phantom", "gear", "sends", "pan", "cue", "from", "out", "to", "in", "cable"];
const NEEDED: [(&str, &str); 7] = [
    ("inputs.csv", "channel"),
    ("patch.csv", "from"),
    ("patch.csv", "to"),
    ("gear.csv", "item"),
    ("gear.csv", "kind"),
    ("gear.csv", "count"),
    ("inputs.csv", "kind"),
];

/// What must come of it.
#[derive(Clone, Debug, PartialEq)]
enum Expect {
    /// A mistake on this line of this file.
    At(&'static str, usize),
    /// A mistake in this file.
    In(&'static str),
    /// This finding.
    Found(&'static str),
    /// Refused, or read as before, or anything that is said or printed is another.
    Seen,
    /// Read as before.
    Same,
    /// Nothing but that it ends without a panic, and that a mistake has its place.
    Any,
}

#[derive(Clone, Debug)]
struct Broken {
    kind: &'static str,
    files: BTreeMap<&'static str, Vec<u8>>,
    expect: Expect,
}

/// The example, as cells and as text.
struct Whole(BTreeMap<&'static str, String>);

impl Whole {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        beforedoors::event::rig::write_example(folder.path()).expect("the example");
        let text = |name| fs::read_to_string(folder.path().join(name)).expect("a file");
        Self(FILES.into_iter().map(|name| (name, text(name))).collect())
    }

    fn cells(&self, file: &str) -> Vec<Vec<String>> {
        self.0[file].lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
    }

    fn with(&self, file: &'static str, bytes: impl Into<Vec<u8>>) -> BTreeMap<&'static str, Vec<u8>> {
        let mut files: BTreeMap<_, _> = self.0.iter().map(|(name, text)| (*name, text.clone().into_bytes())).collect();
        files.insert(file, bytes.into());
        files
    }

    fn with_cells(&self, file: &'static str, cells: &[Vec<String>]) -> BTreeMap<&'static str, Vec<u8>> {
        self.with(file, cells.iter().map(|row| row.join(",") + "\n").collect::<String>())
    }

    /// A cell under one of these headings, filled with something that does not belong there.
    fn cell(
        &self,
        headings: &[&str],
        values: &[&str],
        [a, b, c]: [Index; 3],
    ) -> (&'static str, usize, Vec<Vec<String>>) {
        let all: Vec<(&'static str, usize)> = SHEETS
            .into_iter()
            .flat_map(|file| {
                self.cells(file)[0]
                    .iter()
                    .cloned()
                    .enumerate()
                    .map(move |(at, word)| (file, at, word))
                    .collect::<Vec<_>>()
            })
            .filter(|(_, _, word)| headings.contains(&word.as_str()))
            .map(|(file, at, _)| (file, at))
            .collect();
        let (file, column) = all[a.index(all.len())];
        let mut cells = self.cells(file);
        let row = 1 + b.index(cells.len() - 1);
        values[c.index(values.len())].clone_into(&mut cells[row][column]);
        (file, row + 1, cells)
    }

    /// The lines of a TOML file that set a key: number from 0, key.
    fn keys(&self, file: &str) -> Vec<(usize, String)> {
        let lines = self.0[file].lines().enumerate();
        lines
            .filter_map(|(at, line)| Some((at, line.split_once(" = ")?.0.to_owned())))
            .filter(|(_, key)| !key.starts_with('#'))
            .collect()
    }

    fn with_line(&self, file: &'static str, at: usize, line: Option<&str>) -> BTreeMap<&'static str, Vec<u8>> {
        let mut lines: Vec<&str> = self.0[file].lines().collect();
        match line {
            Some(line) => lines[at] = line,
            None => {
                lines.remove(at);
            }
        }
        self.with(file, lines.join("\n") + "\n")
    }
}

const KINDS: usize = 24;

/// The example, broken in one way.
fn broken(whole: &Whole, kind: usize, [a, b, c]: [Index; 3]) -> Broken {
    let sheet = SHEETS[a.index(3)];
    let any = FILES[a.index(5)];
    let form = FORMS[a.index(2)];
    let text = &whole.0[any];
    let make = |kind, files, expect| Broken { kind, files, expect };
    let at = |(file, line, cells): (&'static str, usize, Vec<Vec<String>>)| {
        (whole.with_cells(file, &cells), Expect::At(file, line))
    };
    let wire = |line: String, expect| {
        make("wire added", whole.with("patch.csv", whole.0["patch.csv"].clone() + &line), expect)
    };
    match kind {
        0 => {
            let (files, expect) = at(whole.cell(&NUMBERS, &NO_NUMBERS, [a, b, c]));
            make("no number", files, expect)
        }
        1 => {
            let (files, expect) = at(whole.cell(&WORDS, &NO_WORDS, [a, b, c]));
            make("no word of this", files, expect)
        }
        2 => {
            let (file, heading) = NEEDED[a.index(6)];
            let mut cells = whole.cells(file);
            let column = cells[0].iter().position(|word| word == heading).expect(heading);
            let row = 1 + b.index(cells.len() - 1);
            cells[row][column].clear();
            make("needed cell empty", whole.with_cells(file, &cells), Expect::At(file, row + 1))
        }
        3 => {
            let (file, heading) = NEEDED[a.index(NEEDED.len())];
            let mut cells = whole.cells(file);
            *cells[0].iter_mut().find(|word| word.as_str() == heading).expect(heading) = "zzz".into();
            make("needed column missing", whole.with_cells(file, &cells), Expect::At(file, 1))
        }
        4 => {
            let mut cells = whole.cells(sheet);
            cells.push(cells[1 + b.index(cells.len() - 1)].clone());
            let line = cells.len();
            make("line twice", whole.with_cells(sheet, &cells), Expect::At(sheet, line))
        }
        5 => {
            let mut cells = whole.cells(sheet);
            let row = 1 + b.index(cells.len() - 1);
            cells[row].push("lost".into());
            make("cell under no heading", whole.with_cells(sheet, &cells), Expect::At(sheet, row + 1))
        }
        6 => {
            let mut cells = whole.cells(sheet);
            let row = 1 + b.index(cells.len() - 1);
            let column = c.index(cells[row].len());
            cells[row][column].push('\u{7}');
            make("invisible character", whole.with_cells(sheet, &cells), Expect::At(sheet, row + 1))
        }
        7 => {
            let mut cells = whole.cells(sheet);
            let row = 1 + b.index(cells.len() - 1);
            let column = c.index(cells[row].len());
            cells[row][column].insert(0, '"');
            make("open quote", whole.with_cells(sheet, &cells), Expect::At(sheet, row + 1))
        }
        8 => {
            let mut cells = whole.cells(sheet);
            let width = cells[0].len();
            let (from, to) = (b.index(width), c.index(width));
            let heading = cells[0][from].clone();
            let other = std::mem::replace(&mut cells[0][to], heading);
            let twice = other != cells[0][to] && from != to;
            make(
                "column twice",
                whole.with_cells(sheet, &cells),
                if twice { Expect::At(sheet, 1) } else { Expect::Same },
            )
        }
        9 => {
            // Not the cupboard's: a likely number under another likely heading is only another number.
            let sheet = SHEETS[a.index(2)];
            let mut cells = whole.cells(sheet);
            let width = cells[0].len();
            cells[0].swap(b.index(width), c.index(width));
            make("headings swapped", whole.with_cells(sheet, &cells), Expect::Seen)
        }
        10 => {
            let mut cells = whole.cells(sheet);
            let (one, other) = (b.index(cells[0].len()), c.index(cells[0].len()));
            cells.iter_mut().for_each(|row| row.swap(one, other));
            make("columns in another order", whole.with_cells(sheet, &cells), Expect::Same)
        }
        11 => {
            let (line, key) = whole.keys(form)[b.index(whole.keys(form).len())].clone();
            let value = NO_VALUES[c.index(NO_VALUES.len())];
            make(
                "no value of this",
                whole.with_line(form, line, Some(&format!("{key} = {value}"))),
                Expect::At(form, line + 1),
            )
        }
        12 => {
            let (line, key) = whole.keys(form)[b.index(whole.keys(form).len())].clone();
            let expect = match key.as_str() {
                "x_m" | "y_m" | "thing" | "about" | "what" | "because" => Expect::In(form),
                // Not said: the usual value is taken, and the sums say which.
                "name" | "for" | "celsius" | "humidity" | "volts" | "show_hours" => Expect::Any,
                _ => Expect::Seen,
            };
            make("key missing", whole.with_line(form, line, None), expect)
        }
        13 => {
            let (line, key) = whole.keys(form)[b.index(whole.keys(form).len())].clone();
            let slip = whole.0[form].lines().nth(line).expect("a line").replacen(&key, &format!("{key}s"), 1);
            make("slip in a key", whole.with_line(form, line, Some(&slip)), Expect::Seen)
        }
        14 => {
            let (line, key) = whole.keys(form)[b.index(whole.keys(form).len())].clone();
            let bad = [
                format!("{key} = = 1"),
                format!("{key} = \"open"),
                format!("{key} 1"),
                format!("{key} = 1\n{key} = 2"),
            ];
            let expect = if c.index(4) == 3 { Expect::In(form) } else { Expect::At(form, line + 1) };
            make("no TOML", whole.with_line(form, line, Some(&bad[c.index(4)])), expect)
        }
        15 => {
            let mut bytes = text.clone().into_bytes();
            let at = b.index(bytes.len());
            bytes.insert(at, [0xE9, 0x00, 0xFF, 0xC0][c.index(4)]);
            let line = 1 + text.as_bytes()[..at].iter().filter(|byte| **byte == b'\n').count();
            make("another encoding's byte", whole.with(any, bytes), Expect::At(any, line))
        }
        16 => {
            let wide = |unit: fn(u16) -> [u8; 2]| text.encode_utf16().flat_map(unit).collect::<Vec<u8>>();
            let bytes = match b.index(3) {
                0 => wide(u16::to_le_bytes),
                1 => [&[0xFF, 0xFE][..], text.as_bytes()].concat(),
                _ => [&b"PK\x03\x04"[..], text.as_bytes()].concat(),
            };
            make("another encoding", whole.with(any, bytes), Expect::In(any))
        }
        17 => {
            let wide = |mark: [u8; 2], unit: fn(u16) -> [u8; 2]| {
                [&mark[..], &text.encode_utf16().flat_map(unit).collect::<Vec<u8>>()].concat()
            };
            let bytes = match b.index(4) {
                0 => wide([0xFF, 0xFE], u16::to_le_bytes),
                1 => wide([0xFE, 0xFF], u16::to_be_bytes),
                2 => [&[0xEF, 0xBB, 0xBF][..], text.as_bytes()].concat(),
                _ => text.replace('\n', "\r\n").into_bytes(),
            };
            make("the same in another encoding", whole.with(any, bytes), Expect::Same)
        }
        18 => make("cut off", whole.with(any, &text.as_bytes()[..b.index(text.len())]), Expect::Seen),
        19 => {
            let other = FILES[(a.index(5) + 1 + b.index(4)) % 5];
            let both_forms = FORMS.contains(&any) && FORMS.contains(&other);
            let expect = if both_forms { Expect::Seen } else { Expect::In(any) };
            make("another file's text", whole.with(any, whole.0[other].clone()), expect)
        }
        20 => {
            let mut cells = whole.cells("patch.csv");
            let channels = [1, 2, 3, 4, 5, 6, 7, 10, 12];
            cells.remove(channels[b.index(channels.len())]);
            make("wire missing", whole.with_cells("patch.csv", &cells), Expect::Found("not-wired"))
        }
        21 => match b.index(3) {
            0 => wire(
                format!("X,Hall desk,main L,Hall desk,mic {},mic cable,3,,\n", 1 + c.index(7)),
                Expect::Found("loop"),
            ),
            1 => wire(
                format!("X,Band wedge 2,link,Band amplifier,in 1,jack cable,{},,\n", 1 + c.index(6)),
                Expect::Found("loop"),
            ),
            _ => wire(
                format!("X,Hall desk,aux {},Hall desk,line {},jack cable,3,,\n", 2, 6 + c.index(3)),
                Expect::Found("loop"),
            ),
        },
        22 => match b.index(4) {
            0 => wire(
                format!("X,Band amplifier,speaker 2,Hall desk,mic {},,3,,\n", 1 + c.index(12)),
                Expect::Found("speaker-level"),
            ),
            1 => wire(
                format!("X,Hall desk,main L,Hall desk,mic {},,3,,\n", 13 + c.index(40)),
                Expect::Found("too-many-channels"),
            ),
            2 => wire(
                format!("X,Hall desk,aux {},Main left,in,,3,,\n", 5 + c.index(50)),
                Expect::Found("too-many-auxes"),
            ),
            _ => wire(
                format!("X,Hall desk,aux 3,Hall desk,mic {},,3,,\n", [1, 3, 4, 5, 6, 7, 8, 9][c.index(8)]),
                Expect::Found("outputs-fight"),
            ),
        },
        _ => {
            let mut bytes = text.clone().into_bytes();
            let (from, to) = (b.index(bytes.len()), c.index(bytes.len()));
            bytes[from.min(to)..=from.max(to)].reverse();
            make("turned round", whole.with(any, bytes), Expect::Any)
        }
    }
}

/// All that is told of a rig or printed.
fn said(plan: &Plan) -> String {
    format!("{:?}{:?}{:?}", plan_records(plan, true), pages(plan), stage_plot(plan))
}

/// The rig and what was said of it, or why it was refused.
fn opened(files: &BTreeMap<&'static str, Vec<u8>>) -> Result<(Rig, String, Vec<&'static str>), EventError> {
    let folder = tempfile::tempdir().expect("a folder");
    files.iter().for_each(|(name, bytes)| fs::write(folder.path().join(name), bytes).expect("a file"));
    let plan = Plan::open(folder.path())?;
    let said = said(&plan).replace(&folder.path().display().to_string(), "");
    let codes = plan.checked.findings.iter().map(|finding| finding.trouble.code()).collect();
    Ok((plan.rig, said, codes))
}

/// What is wrong with the answer to a broken event, if anything.
fn fault(broken: &Broken, whole: &(Rig, String, Vec<&'static str>)) -> Option<String> {
    let told = |path: &Path, file: &str| path.ends_with(file);
    match (opened(&broken.files), &broken.expect) {
        (Err(error), _) if error.mistakes().is_empty() => Some(format!("no place in a file: {error}")),
        (Err(error), _) if error.mistakes().iter().any(|one| one.at.line == 0 || one.at.column == 0) => {
            Some(format!("no line: {error}"))
        }
        (Err(error), Expect::At(file, line)) => {
            let named = error.mistakes().iter().any(|one| told(&one.at.file, file) && one.at.line == *line);
            (!named).then(|| format!("line {line} of {file} is not named: {error}"))
        }
        (Err(error), Expect::In(file)) => {
            let named = error.mistakes().iter().any(|one| told(&one.at.file, file));
            (!named).then(|| format!("{file} is not named: {error}"))
        }
        (Err(_), Expect::Seen | Expect::Any) | (Ok(_), Expect::Any) => None,
        (Err(error), expected) => Some(format!("{expected:?}, but it was refused: {error}")),
        (Ok((_, _, codes)), Expect::Found(code)) => {
            (!codes.contains(code)).then(|| format!("{code} is not among {codes:?}"))
        }
        (Ok((rig, said, _)), Expect::Seen) => {
            (rig != whole.0 && said == whole.1).then(|| "another rig, and nothing shows it".to_owned())
        }
        (Ok((rig, ..)), Expect::Same) => (rig != whole.0).then(|| "not the same rig".to_owned()),
        (Ok(_), expected) => Some(format!("{expected:?}, but it was accepted")),
    }
}

#[test]
fn nothing_broken_is_taken_for_whole() {
    let cases = if std::env::var_os("BEFOREDOORS_FULL").is_some() { 1_000 } else { 200 };
    let whole = Whole::new();
    let unbroken = opened(&whole.with("event.toml", whole.0["event.toml"].clone())).expect("the example");
    let config = Config { cases, failure_persistence: None, max_shrink_iters: 64, ..Config::default() };
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let (mut faults, mut tried) = (Vec::new(), BTreeMap::<&str, usize>::new());
    for case in 0..cases {
        let places = any::<[Index; 3]>().new_tree(&mut runner).expect("places").current();
        let broken = broken(&whole, case as usize % KINDS, places);
        *tried.entry(broken.kind).or_default() += 1;
        if let Some(fault) = fault(&broken, &unbroken) {
            let changed = broken.files.iter().filter(|(name, bytes)| whole.0[*name].as_bytes() != bytes.as_slice());
            let shown: Vec<String> = changed.map(|(name, bytes)| first_difference(&whole.0[name], bytes)).collect();
            faults.push(format!("{case} {}: {fault}\n    {}", broken.kind, shown.join("\n    ")));
        }
    }
    println!("{cases} broken events: {tried:?}");
    assert!(faults.is_empty(), "{} of {cases}:\n{}", faults.len(), faults.join("\n"));
}

/// The first line that is another.
fn first_difference(whole: &str, bytes: &[u8]) -> String {
    let text = String::from_utf8_lossy(bytes);
    let differs = whole.lines().zip(text.lines()).find(|(one, other)| one != other);
    differs.map_or_else(|| "shorter or longer".to_owned(), |(one, other)| format!("{one:?} became {other:?}"))
}
