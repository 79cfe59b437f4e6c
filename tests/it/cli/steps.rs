//! The soundcheck in a pipe: the simulated stage with a helper, told step by step until all is set.

use super::{beforedoors, json_lines};

#[test]
fn lines_end_in_all_set_and_a_table() {
    let folder = tempfile::tempdir().unwrap();
    // Without arguments, in a folder without an event: the simulated stage.
    let output = beforedoors().current_dir(folder.path()).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    assert!(lines[0].contains("Simulated stage") && lines[0].contains("helper"), "{}", lines[0]);
    assert!(lines[1].contains("beforedoors soundcheck --device NAME"), "{}", lines[1]);
    let steps: Vec<&&str> = lines.iter().filter(|line| line.contains(" → ") || line.contains(" ↓ ")).collect();
    assert!(steps.len() > 5, "{text}");
    assert!(steps[0].trim_start().starts_with("0:0"), "time on the audio clock: {}", steps[0]);
    let table: Vec<&&str> = lines.iter().filter(|line| line.contains("  loudest ")).collect();
    assert!(table.len() >= 8, "{text}");
    let all_set = table.iter().all(|row| row.contains("_■_ set"));
    let end = if all_set { "→ All set" } else { "→ Nothing more to ask" };
    assert!(lines.iter().any(|line| line.ends_with(end)), "{text}");
    assert_eq!(output.status.code(), Some(if all_set { 0 } else { 1 }), "{text}");
    assert!(!text.contains('\u{1b}'), "no control codes in a pipe");
}

#[test]
fn the_same_evening_twice() {
    let run = || beforedoors().args(["soundcheck", "--stage", "--seed", "7", "--mood", "shy"]).output().unwrap().stdout;
    assert_eq!(run(), run());
}

#[test]
fn json_tells_every_change_and_every_input() {
    let output = beforedoors().args(["soundcheck", "--stage", "--seed", "2", "--json"]).output().unwrap();
    let lines = json_lines(&output.stdout);
    let steps: Vec<_> = lines.iter().filter(|line| line["type"] == "step").collect();
    let inputs: Vec<_> = lines.iter().filter(|line| line["type"] == "input").collect();
    assert_eq!(steps.len() + inputs.len(), lines.len());
    let mut time = 0.0;
    for step in &steps {
        for key in ["time_s", "channel", "step", "then", "proof", "peak_dbfs", "active_s", "hits", "show_lift_db"] {
            assert!(step.get(key).is_some(), "{key} in {step}");
        }
        assert!(step["time_s"].as_f64().unwrap() >= time, "{step}");
        time = step["time_s"].as_f64().unwrap();
    }
    let all_set = inputs.iter().all(|input| input["state"] == "set");
    assert_eq!(steps.last().unwrap()["step"], if all_set { "All set" } else { "Nothing more to ask" });
    assert_eq!(steps.last().unwrap()["channel"], serde_json::Value::Null);
    // Before anything was heard the loudest peak is not known.
    assert_eq!(steps[0]["peak_dbfs"], serde_json::Value::Null);
    assert!(inputs.len() >= 8);
    for (index, input) in inputs.iter().enumerate() {
        assert_eq!(input["channel"].as_u64(), Some(index as u64 + 1));
        assert!(input["trims"].as_u64().unwrap() <= 3, "{input}");
    }
}
