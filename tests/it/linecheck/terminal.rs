//! `beforedoors linecheck` as its user meets it: lines, JSON, exit codes, faults by name, ticks.

use assert_cmd::Command;
use serde_json::Value;

fn linecheck(args: &[&str]) -> (i32, String, String) {
    let nowhere = tempfile::tempdir().expect("an empty folder");
    let mut program = Command::new(env!("CARGO_BIN_EXE_beforedoors"));
    program.env_remove("NO_COLOR").env("TERM", "xterm-256color").current_dir(nowhere.path());
    let output = program.arg("linecheck").args(args).output().expect("a run");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    (output.status.code().expect("a code"), text(output.stdout), text(output.stderr))
}

fn records(text: &str) -> Vec<Value> {
    text.lines().map(|line| serde_json::from_str(line).expect(line)).collect()
}

#[test]
fn a_swap_is_told_in_lines_and_the_end_is_fine() {
    let (code, told, _) = linecheck(&["--stage", "--fault", "swap:4,5"]);
    assert_eq!(code, 0, "{told}");
    for line in [
        "Tap mic 4 Choir left",
        "4 came in on 5. Tap mic 5 Choir right",
        "Swap 4 and 5 at the box",
        "Every line is right",
    ] {
        assert!(told.contains(line), "“{line}” in\n{told}");
    }
    assert!(told.contains("  4  Choir left   ✓  arrived, put right"), "{told}");
}

/// The words that name both channels come within 5 s of the tap, by the records' own times.
#[test]
fn records_hold_the_times_of_taps_and_words() {
    let (code, told, _) = linecheck(&["--stage", "--fault", "swap:4,5", "--json"]);
    assert_eq!(code, 0);
    let records = records(&told);
    let swap = records.iter().find(|record| record["kind"] == "swap").expect("a swap");
    assert_eq!((&swap["channel"], &swap["step"]), (&4.into(), &"Swap 4 and 5 at the box".into()));
    let named = records.iter().find(|record| record["heard_on"] == 5 && record["channel"] == 5).expect("named");
    let late = named["time_s"].as_f64().expect("a time") - named["heard_at_s"].as_f64().expect("a time");
    assert!((0.0..=5.0).contains(&late), "{late}");
    let lines: Vec<&Value> = records.iter().filter(|record| record["type"] == "line").collect();
    assert_eq!(lines.len(), 12);
    assert!(lines.iter().all(|line| line["right"] == true));
    assert_eq!(records.last().expect("an end")["type"], "loudspeakers");
}

#[test]
fn the_same_number_gives_the_same_lines() {
    let run = || linecheck(&["--stage", "--seed", "3"]);
    assert_eq!(run(), run());
    assert_ne!(run().1, linecheck(&["--stage", "--seed", "4"]).1);
}

#[test]
fn an_assembly_needs_no_list() {
    let (code, told, _) = linecheck(&["--stage", "--assembly", "--fault", "none"]);
    assert_eq!(code, 0, "{told}");
    for line in [
        "Tap the microphone",
        "Microphone  channel 1",
        "Video       channel 12",
        "In the hall on both sides",
        "Ready: microphone and video are heard",
    ] {
        assert!(told.contains(line), "“{line}” in\n{told}");
    }
}

#[test]
fn bad_input_is_told_with_what_is_expected() {
    for (args, expected) in [
        (&["--stage", "--fault", "flood:1"][..], "swap:4,5"),
        (&["--stage", "--device", "Desk"], "cannot be used with"),
        (&["--device", "No such desk"], "beforedoors:"),
        (&["--room-mic", "0"], "1..=64"),
        (&["--event", "no-such-folder"], "no folder"),
    ] {
        let (code, _, told) = linecheck(args);
        assert_eq!(code, 3, "{args:?}: {told}");
        assert!(told.contains(expected), "{args:?}: {told}");
    }
}
