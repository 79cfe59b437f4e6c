//! `soundcheck --file`: what would have been said while it was played, then the verdict on the whole of it; and what is
//! said where an event names no device.

use std::path::Path;

use super::{beforedoors, json_lines, sine, write_wav};

/// Three singers, each on a note of her own, with a pause in each four seconds: one fits, one clips, one is faint.
fn rehearsal(folder: &Path) {
    let list = "channel,name,kind\n1,Ana,solo vocal\n2,Ben,solo vocal\n3,Cleo,solo vocal\n";
    std::fs::write(folder.join("inputs.csv"), list).unwrap();
    std::fs::write(folder.join("event.toml"), "version = 1\nname = \"Rehearsal\"\n").unwrap();
    let [ana, ben, cleo] = [(440.0, 0.25), (523.0, 2.0), (659.0, 0.02)].map(|(hz, peak)| sine(hz, peak, 80.0));
    let sung = ana.zip(ben).zip(cleo).enumerate().flat_map(|(n, ((ana, ben), cleo))| {
        let breath = if n % 192_000 < 48_000 { 0.0 } else { 1.0 };
        [ana, ben, cleo].map(|sample| breath * sample.clamp(-1.0, 1.0))
    });
    write_wav(&folder.join("take.wav"), 3, sung);
}

#[test]
fn a_recording_is_heard_as_a_soundcheck() {
    let folder = tempfile::tempdir().unwrap();
    rehearsal(folder.path());
    let output = beforedoors().current_dir(folder.path()).args(["soundcheck", "--file", "take.wav"]).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(1), "{text}");
    let place = |words: &str| text.find(words).unwrap_or_else(|| panic!("no “{words}” in\n{text}"));
    let order = [
        "What would have been said while it was played:",
        "   0:00  → Ask 1 Ana for the loudest chorus",
        "↓ Turn Trim of 2 Ben DOWN 10 dB",
        "↑ Turn Trim of 3 Cleo UP 10 dB",
        "The whole of it:",
        "take.wav",
        "   2   ▨  clipped ",
    ]
    .map(place);
    assert!(order.is_sorted(), "{order:?}\n{text}");
    // Nobody turned a knob while it was made.
    assert!(text.contains("I heard no change yet; at its limit? Say so"), "{text}");

    let json = beforedoors().current_dir(folder.path()).args(["soundcheck", "--json", "--file", "take.wav"]).output();
    let lines = json_lines(&json.unwrap().stdout);
    let kinds: Vec<&str> = lines.iter().filter_map(|line| line["type"].as_str()).collect();
    let first_of = |kind| kinds.iter().position(|&other| other == kind).unwrap_or_else(|| panic!("{kind}: {kinds:?}"));
    assert!(first_of("step") == 0 && kinds.iter().rposition(|&kind| kind == "step") < Some(first_of("file")));
    let steps = text.lines().filter(|line| line.starts_with("   0:") || line.starts_with("   1:")).count();
    assert_eq!(first_of("file"), steps, "the same steps");
    let states: Vec<_> = lines.iter().filter(|line| line["type"] == "channel").map(|line| &line["state"]).collect();
    assert_eq!(states, ["set", "clipped", "low"]);
}

/// Too short to judge is not the same as silent.
#[test]
fn not_heard_enough_is_a_state_of_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    std::fs::write(at.join("event.toml"), "version = 1\nname = \"Rehearsal\"\n").unwrap();
    std::fs::write(at.join("inputs.csv"), "channel,name,kind\n1,Ana,solo vocal\n").unwrap();
    write_wav(&at.join("take.wav"), 1, sine(440.0, 0.25, 8.0));
    let output = beforedoors().current_dir(at).args(["soundcheck", "--file", "take.wav"]).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.status.code(), Some(2), "{text}");
    assert!(text.contains("   1   ◌  not enough  peak"), "{text}");
    assert!(text.contains("heard 7 of 20 s") || text.contains("heard 8 of 20 s"), "{text}");
    let json = beforedoors().current_dir(at).args(["recordings", "--json", "take.wav"]).output().unwrap();
    let lines = json_lines(&json.stdout);
    let states: Vec<_> = lines.iter().filter(|line| line["type"] == "channel").map(|line| &line["state"]).collect();
    assert_eq!(states, ["not enough"]);
}

#[test]
fn without_an_input_list_it_says_what_the_channels_are_taken_for() {
    let folder = tempfile::tempdir().unwrap();
    write_wav(&folder.path().join("take.wav"), 1, sine(440.0, 0.25, 2.0));
    let output = beforedoors().current_dir(folder.path()).args(["soundcheck", "--file", "take.wav"]).output().unwrap();
    let (text, note) = (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap());
    assert!(note.contains("No input list: every channel is taken for “other”. Name the event"), "{note}");
    assert!(text.contains("→ Ask channel 1 for the loudest part"), "{text}");
}

/// An event without a device is never silently replaced by the simulated stage.
#[test]
fn an_event_without_a_device_says_what_is_heard_instead() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), "version = 1\nname = \"Rehearsal\"\n").unwrap();
    std::fs::write(folder.path().join("inputs.csv"), "channel,name,kind\n1,Ana,solo vocal\n").unwrap();
    let run = |args: &[&str]| beforedoors().arg("soundcheck").args(args).arg("--event").arg(folder.path()).output();
    let told = "The event names no device: this is the simulated stage, with inputs of its own";
    let plain = String::from_utf8(run(&[]).unwrap().stderr).unwrap();
    assert!(plain.contains(told) && plain.contains("--device NAME"), "{plain}");
    let first = json_lines(&run(&["--json"]).unwrap().stdout)[0].clone();
    assert_eq!((&first["type"], &first["message"]), (&"warning".into(), &told.into()), "{first}");
    assert!(first["fix"].as_str().unwrap().contains("--device NAME"), "{first}");
    // Whoever asks for the stage knows.
    let asked = String::from_utf8(run(&["--stage"]).unwrap().stderr).unwrap();
    assert!(!asked.contains("names no device"), "{asked}");
}
