//! The sheets as they come out of a printer: a headless browser turns them into PDF, and what stands on the pages is read
//! back (`chromium`, `pdfinfo`, `pdftotext`).
//!
//! On Linux the browser must be there unless `CI_BROWSER` is `none`; elsewhere, without one, the HTML alone is checked. The
//! event: the worked example, grown to 14 channels.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use beforedoors::event::rig::write_example;
use beforedoors::plan::gear::OutPort;
use beforedoors::plan::verdict::Verdict;
use beforedoors::report;
use beforedoors::view::plan::{BoxKind, Drawing, Plan, end, plug};

use super::folder::{example_with, plan};

/// The event, and what stands at both ends of its wires.
fn fourteen_channels() -> (Plan, Vec<String>) {
    let folder = tempfile::tempdir().expect("a folder");
    write_example(folder.path()).expect("the example");
    let grow = |name: &str, old: &str, new: &str, lines: &str| {
        let path = folder.path().join(name);
        let text = fs::read_to_string(&path).expect("a file");
        assert!(text.contains(old), "{name}: {old}");
        fs::write(&path, text.replacen(old, new, 1) + lines).expect("written");
    };
    grow("gear.csv", "12,16,4,each", "16,16,4,each", "");
    grow(
        "inputs.csv",
        "Lectern",
        "Lectern <main>",
        "13,Trumpet,brass,mic,Year 12 player,straight,no,dynamic mic,,,,0.3,3,2.5\n\
         14,Reader,speech,mic,Year 8 reader,straight,no,dynamic mic,,,,0.2,-2,0.5\n",
    );
    grow(
        "patch.csv",
        "1,Lectern,",
        "1,Lectern <main>,",
        "13,Trumpet,,Hall desk,mic 13,mic cable,20,,\n14,Reader,,Hall desk,mic 14,mic cable,15,,\n",
    );
    let plan = Plan::open(folder.path()).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(plan.rig.strips.len(), 14);
    let signals = plan.rig.wires.iter().filter(|wired| wired.from.1 != OutPort::Mains);
    let ends = signals.flat_map(|wired| {
        let (from, to) = (end(&plan.rig, wired.from), end(&plan.rig, wired.to));
        [format!("{from} ({})", plug(wired.wire.from_plug)), format!("{to} ({})", plug(wired.wire.to_plug))]
    });
    let ends: Vec<String> = ends.collect();
    (plan, ends)
}

fn file(plan: &Plan, name: &str, letter: bool) -> String {
    let files = report::files(plan, letter);
    files.into_iter().find(|(own, _)| own == name).map(|(_, text)| text).expect(name)
}

#[test]
fn the_pages_hold_both_ends_and_the_mirror_label() {
    let (plan, ends) = fourteen_channels();
    for letter in [false, true] {
        let html = file(&plan, "patch-walk.html", letter);
        for end in &ends {
            let escaped = end.replace('<', "&lt;").replace('>', "&gt;");
            assert!(html.contains(&format!(">{escaped}</td>")), "{end}");
        }
        assert!(html.contains("audience side DOWN") && !html.contains("<main>"));
        assert!(html.contains(if letter { "size:letter" } else { "size:A4" }));
        // Black on white, nothing fetched, at least 11 points.
        assert_eq!(html.matches("http").count(), html.matches("http://www.w3.org/2000/svg").count());
        let after = html.match_indices('#').filter_map(|(at, _)| html.get(at + 1..at + 4));
        let colours: Vec<&str> = after.filter(|word| word.bytes().all(|byte| byte.is_ascii_hexdigit())).collect();
        assert!(!colours.is_empty() && colours.iter().all(|colour| ["000", "fff"].contains(colour)), "{colours:?}");
    }
    // The strike list takes everything out in the other order; every sheet comes as CSV as well.
    let strike = file(&plan, "strike-list.csv", false);
    assert!(strike.find("Band wedge 2") < strike.find("Lectern"), "{strike}");
    // Mains leads stand on the power sheet.
    let signals = plan.rig.wires.iter().filter(|wired| wired.from.1 != OutPort::Mains).count();
    assert_eq!(file(&plan, "patch-sheet.csv", false).lines().count(), 1 + signals);
    assert_eq!(file(&plan, "input-list.csv", false).lines().count(), 1 + 14);
}

#[test]
fn three_pages_of_paper_are_enough_for_fourteen_channels() {
    let Some(browser) = browser() else { return };
    let (plan, ends) = fourteen_channels();
    let folder = tempfile::tempdir().expect("a folder");
    for (letter, paper) in [(false, (595.0, 842.0)), (true, (612.0, 792.0))] {
        let pdf = printed(&browser, folder.path(), &file(&plan, "patch-walk.html", letter));
        let (pages, size) = about(&pdf);
        assert!(pages <= 3, "{pages} pages, Letter: {letter}");
        // To the point: browsers round the millimetres.
        assert!((size.0 - paper.0).abs() < 1.5 && (size.1 - paper.1).abs() < 1.5, "{size:?}");
        let text = words(&pdf);
        for end in &ends {
            assert!(text.contains(&squeezed(end)), "{end} is not on the paper");
        }
        assert!(text.contains(&squeezed("▼ audience side DOWN ▼")));
        for title in ["Input list", "Patch sheet", "Stage plot"] {
            assert_eq!(text.matches(&squeezed(title)).count(), 1, "{title}");
        }
        // All seven sheets: none is cut, each begins its own page.
        let all = printed(&browser, folder.path(), &file(&plan, "all.html", letter));
        assert!((7..=9).contains(&about(&all).0), "{} pages", about(&all).0);
    }
}

/// Names from outside can steer neither page nor spreadsheet.
#[test]
fn names_are_escaped() {
    let event = example_with(&[]);
    let inputs = event.path().join("inputs.csv");
    let text = fs::read_to_string(&inputs).expect("there");
    let text = text.replace("Head teacher", "\"<script>alert(1)</script>\"").replace("Year 9 singer", "=1+1");
    fs::write(&inputs, text).expect("written");
    for (name, text) in report::files(&plan(event.path()), false) {
        assert!(name.ends_with(".csv") || !text.contains("<script>"), "{name}");
        assert!(!text.contains(",=1+1"), "{name}");
    }
}

/// Nothing is smaller than 11 points; 3.9 mm of a plot that fills the page's width are 11 points.
#[test]
fn every_letter_is_large_enough() {
    let event = example_with(&[]);
    for (name, text) in report::files(&plan(event.path()), false) {
        for size in text.split("font-size:").skip(1).chain(text.split("{font:").skip(1)) {
            let points = size.split("pt").next().and_then(|points| points.parse().ok()).unwrap_or(0.0);
            assert!(points >= 11.0, "{name}: {points} pt");
        }
        for size in text.split("font-size=\"").skip(1) {
            let millimetres = size.split('"').next().and_then(|number| number.parse().ok()).unwrap_or(0.0);
            assert!(millimetres >= 3.9, "{name}: {millimetres} mm");
        }
    }
}

/// The window's drawing: columns from left to right, and the same words on its wires.
#[test]
fn the_drawing_has_the_words_of_the_check() {
    let event = example_with(&[]);
    let plan = plan(event.path());
    let drawing = Drawing::of(&plan);
    for kind in BoxKind::ALL {
        assert!(drawing.boxes.iter().any(|one| one.kind == kind), "{kind:?}");
    }
    let laptop = drawing.wires.iter().find(|wire| wire.label.as_deref() == Some("11")).expect("wire 11");
    assert_eq!(laptop.verdict, Verdict::Never);
    assert_eq!(drawing.boxes[laptop.from].title, "Laptop");
    assert_eq!(drawing.boxes[laptop.to].title, "11 Laptop");
    assert!(laptop.words.iter().any(|words| words.contains("they cancel")), "{:?}", laptop.words);
    // A box stands once in its column.
    let mut places: Vec<_> = drawing.boxes.iter().map(|one| (one.kind, one.row)).collect();
    let all = places.len();
    places.sort();
    places.dedup();
    assert_eq!(places.len(), all);
}

/// The browser, where one must or can be had.
fn browser() -> Option<PathBuf> {
    if std::env::var("CI_BROWSER").is_ok_and(|word| word == "none") {
        return None;
    }
    let path = std::env::var_os("PATH").unwrap_or_default();
    let names = ["chromium", "chromium-browser", "chromium.exe"];
    let mut candidates = std::env::split_paths(&path).flat_map(|folder| names.map(|name| folder.join(name)));
    let found = candidates.find(|candidate| candidate.is_file());
    assert!(
        found.is_some() || !cfg!(target_os = "linux"),
        "no chromium on the path: install chromium and poppler-utils, or set CI_BROWSER=none to check the HTML alone"
    );
    found
}

fn printed(browser: &Path, folder: &Path, html: &str) -> PathBuf {
    let (page, pdf) = (folder.join("page.html"), folder.join("page.pdf"));
    let _ = fs::remove_file(&pdf);
    fs::write(&page, html).expect("a file");
    let output = Command::new(browser)
        .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-pdf-header-footer"])
        .arg(format!("--user-data-dir={}", folder.join("profile").display()))
        .arg(format!("--print-to-pdf={}", pdf.display()))
        .arg(&page)
        .output()
        .expect("a browser that runs");
    assert!(pdf.is_file(), "{}", String::from_utf8_lossy(&output.stderr));
    pdf
}

fn tool(name: &str, arguments: &[&str], pdf: &Path) -> String {
    let output = Command::new(name).args(arguments).arg(pdf).arg("-").output();
    let output = output.unwrap_or_else(|error| panic!("{name} of poppler-utils: {error}"));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Pages; width and height in points.
fn about(pdf: &Path) -> (usize, (f64, f64)) {
    let output = Command::new("pdfinfo").arg(pdf).output().expect("pdfinfo of poppler-utils");
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let value = |key: &str| text.lines().find_map(|line| line.strip_prefix(key)).expect(key).trim().to_owned();
    let size: Vec<f64> = value("Page size:").split_whitespace().filter_map(|word| word.parse().ok()).collect();
    (value("Pages:").parse().expect("a number"), (size[0], size[1]))
}

/// Everything on the paper, without white space: cells break their lines anywhere.
fn words(pdf: &Path) -> String {
    squeezed(&tool("pdftotext", &["-raw"], pdf))
}

fn squeezed(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}
