//! `beforedoors plan` as its user meets it: from a new folder to the printed sheets, exit codes, JSON, cautions.
//!
//! Words and codes are the program's own; the cautions are those that any venue gives (common practice).

use std::fs;
use std::path::Path;
use std::process::Output;

use assert_cmd::Command;
use serde_json::Value;

use super::folder::{Files, VOICE};

fn run(arguments: &[&str], folder: &Path) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_beforedoors"));
    program.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").env_remove("WAYLAND_SOCKET");
    program.arg("plan").args(arguments).arg(folder).output().expect("a run")
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).expect("UTF-8")
}

fn lines(output: &Output) -> Vec<Value> {
    said(output).lines().map(|line| serde_json::from_str(line).expect(line)).collect()
}

/// Whoever writes a *never* into `accepted` is told that it stays, and the exit code stays 1.
#[test]
fn a_never_cannot_be_accepted() {
    let accepted = |about: &str, what: &str| {
        format!("[[accepted]]\nabout = \"{about}\"\nwhat = \"{what}\"\nbecause = \"no time\"")
    };
    let folder = tempfile::tempdir().expect("a folder");
    let muted = Files::whole().change(VOICE, &VOICE.replace(",aux 1 pre,,", ",aux 1 pre,yes,"));
    muted.event(&accepted("channel 1", "not-heard")).write(folder.path());
    let output = run(&["check", "--json"], folder.path());
    assert_eq!(output.status.code(), Some(1));
    let said = lines(&output);
    let never = said.iter().find(|line| line["what"] == "not-heard").expect("the finding");
    assert_eq!((&never["accepted"], &never["verdict"]), (&Value::Null, &Value::from("never")));
    assert_eq!(said.iter().filter(|line| line["type"] == "refused").count(), 1, "{said:?}");
    // A *works, but* may be; then nothing is open.
    let solo = Files::whole().change(VOICE, &VOICE.replace(",,,,,,", ",,,,yes,,"));
    let because = accepted("channel 1", "solo-on");
    solo.event(&because).write(folder.path());
    let output = run(&["check", "--json"], folder.path());
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(lines(&output).iter().any(|line| line["what"] == "solo-on" && line["accepted"] == "no time"));
    // What accepts nothing is told as well.
    Files::whole().event(&accepted("wire 99", "too-hot")).write(folder.path());
    assert_eq!(run(&["check"], folder.path()).status.code(), Some(1));
}

/// `new`, `check`, `show`, `print`, with their exit codes and the keys of every line.
#[test]
fn from_a_new_folder_to_the_sheets() {
    let above = tempfile::tempdir().expect("a folder");
    let folder = above.path().join("winter");
    assert_eq!(run(&["new"], &folder).status.code(), Some(0));
    assert_eq!(run(&["new"], &folder).status.code(), Some(3), "nothing is written over what is there");
    let check = run(&["check", "--json"], &folder);
    assert_eq!(check.status.code(), Some(1));
    let kinds = |output: &Output| {
        let keys: std::collections::BTreeSet<String> = lines(output)
            .iter()
            .map(|line| {
                let mut keys: Vec<&str> = line.as_object().expect("an object").keys().map(String::as_str).collect();
                keys.sort_unstable();
                format!("{}: {}", line["type"].as_str().expect("a type"), keys.join(" "))
            })
            .collect();
        keys.into_iter().collect::<Vec<_>>()
    };
    let finding = "finding: about accepted fix sentence subject type verdict what";
    let plan = "plan: channels name never sentence type wires works_but";
    assert_eq!(kinds(&check), ["caution: sentence type", finding, plan]);
    let show = kinds(&run(&["show", "--json"], &folder));
    for line in [
        "channel: channel sentence type",
        "seat: level_db needed_db seat type",
        "sum: about result sentence type",
        "wire: from label lead remarks to type verdict",
    ] {
        assert!(show.iter().any(|kind| kind == line), "{line} is not among {show:?}");
    }
    let print = run(&["print", "--json", "--paper", "letter"], &folder);
    assert_eq!(print.status.code(), Some(1));
    let written = lines(&print);
    assert!(written.len() >= 16, "{written:?}");
    for line in &written {
        let path = Path::new(line["path"].as_str().expect("a path"));
        assert!(fs::metadata(path).is_ok_and(|file| file.len() > 0), "{line}");
    }
    // A bad name has its place, and the nearest good one.
    let patch = fs::read_to_string(folder.join("patch.csv")).expect("there");
    fs::write(folder.join("patch.csv"), patch.replacen("Hall desk,mic 1,", "Hall dusk,mic 1,", 1)).expect("a file");
    let bad = run(&["check"], &folder);
    assert_eq!(bad.status.code(), Some(3));
    let error = String::from_utf8_lossy(&bad.stderr).into_owned();
    assert!(error.contains("patch.csv:2:4 (to): “Hall dusk” is not a thing of this event"), "{error}");
    assert!(error.contains("Did you mean “Hall desk”?"), "{error}");
    let nowhere = run(&["check"], &above.path().join("nowhere"));
    assert_eq!(nowhere.status.code(), Some(3));
    assert!(!nowhere.stderr.is_empty());
    // Inputs, and nothing plugged: nothing can be told.
    fs::remove_file(folder.join("patch.csv")).expect("removed");
    fs::write(folder.join("event.toml"), "version = 1\nname = \"Bare\"\n").expect("a file");
    fs::write(folder.join("inputs.csv"), "channel,name,kind\n1,Voice,speech\n").expect("a file");
    assert_eq!(run(&["check"], &folder).status.code(), Some(2));
}

/// Cautions come with every result; nothing at the mains, overhead or inside a box is ever a step.
#[test]
fn cautions_stand_with_every_result() {
    let above = tempfile::tempdir().expect("a folder");
    let folder = above.path().join("winter");
    run(&["new"], &folder);
    for command in ["check", "show", "print"] {
        let text = said(&run(&[command], &folder));
        for words in ["A mains earth stays on, always", "nothing overhead", "Hearing:", "NIOSH", "Local rules"] {
            assert!(text.contains(words), "{command}: “{words}”");
        }
    }
    let cautions = lines(&run(&["check", "--json"], &folder)).into_iter().filter(|line| line["type"] == "caution");
    assert_eq!(cautions.count(), 8);
    let lifted =
        Files::whole().change("1,Voice,,Desk,mic 1,mic cable,10,", "1,Voice,,Desk,mic 1,mic cable,10,earth removed");
    let folder = tempfile::tempdir().expect("a folder");
    lifted.write(folder.path());
    let output = run(&["check", "--json"], folder.path());
    assert_eq!(output.status.code(), Some(1));
    let said = lines(&output);
    let never = said.iter().find(|line| line["what"] == "earth-removed").expect("it is told");
    assert_eq!((&never["verdict"], &never["fix"]), (&Value::from("never"), &Value::Array(Vec::new())));
}

/// Check and show say the same; each computation shows its formula, what went in and what it assumes.
#[test]
fn json_lines_carry_the_same_words() {
    let above = tempfile::tempdir().expect("a folder");
    let folder = above.path().join("winter");
    run(&["new"], &folder);
    let text = said(&run(&["check"], &folder));
    let records = lines(&run(&["show", "--json"], &folder));
    let of = |kind: &str| records.iter().filter(|one| one["type"] == kind).collect::<Vec<_>>();
    assert_eq!((of("wire").len(), of("channel").len(), of("seat").len()), (24, 12, 2));
    for finding in of("finding") {
        let sentence = finding["sentence"].as_str().expect("a sentence");
        assert!(text.contains(sentence), "{sentence}");
        for fix in finding["fix"].as_array().expect("a list") {
            assert!(text.contains(fix.as_str().expect("a sentence")), "{fix}");
        }
    }
    let sums = of("sum");
    assert!(sums.len() > 40, "{} computations", sums.len());
    for sum in sums {
        let sentence = sum["sentence"].as_str().expect("a sentence");
        assert!(sentence.contains(" = ") && sentence.contains("; ") && sentence.contains("Assumed: "), "{sentence}");
    }
}

/// Feet beside metres, on the page and on paper, for whoever asks; files and formulas stay metric. 1 ft = 0.3048 m.
#[test]
fn feet_beside_metres() {
    let above = tempfile::tempdir().expect("a folder");
    let folder = above.path().join("winter");
    assert_eq!(run(&["new"], &folder).status.code(), Some(0));
    let metric = said(&run(&["show"], &folder));
    let both = said(&run(&["show", "--feet"], &folder));
    assert!(!metric.contains(" ft)"), "{metric}");
    let beside = |told: &str| {
        let (metres, feet) = told.split_once(" m (")?;
        let number = |text: &str| text.rsplit([' ', '(']).next()?.parse::<f64>().ok();
        Some((number(metres)?, number(feet.split_once(" ft)")?.0)?))
    };
    let pairs: Vec<(f64, f64)> = both.split(", ").filter_map(beside).collect();
    assert!(pairs.len() > 5, "{both}");
    for (metres, feet) in pairs {
        assert!((feet * 0.3048 - metres).abs() <= 0.16, "{metres} m, {feet} ft");
    }
    run(&["print", "--feet"], &folder);
    let plot = fs::read_to_string(folder.join("print/stage-plot.csv")).expect("the plot");
    assert!(plot.contains(" ft)"), "{plot}");
}
