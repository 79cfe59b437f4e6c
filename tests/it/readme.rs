//! The README shows what the program says: the first run is stored whole in `fixtures/first-run.txt`, and the README shows
//! its beginning and its end. `BLESS_FIXTURES=1` writes both anew; look at the difference then.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;

/// Steps shown before what is left out.
const STEPS: usize = 4;
const LINES_A_STEP: usize = 3;
const LEFT_OUT: &str = "   …";
const FIRST_RUN: &str = "```text\n";

fn in_the_project(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn read(name: &str) -> String {
    fs::read_to_string(in_the_project(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// The first fenced block after `opening`, and where it stands.
fn block<'a>(text: &'a str, opening: &str) -> (usize, &'a str) {
    let from = text.find(opening).unwrap_or_else(|| panic!("README.md has no {opening:?}")) + opening.len();
    let length = text[from..].find("```").expect("the end of the block");
    (from, &text[from..from + length])
}

/// The heading and the first steps; the last step and the table.
fn extract(run: &str) -> String {
    let lines: Vec<&str> = run.lines().collect();
    let heading = lines.iter().position(|line| line.is_empty()).expect("a blank line below the heading") + 1;
    let table = lines.iter().position(|line| line.contains("  window ") && line.ends_with("trims")).expect("a table");
    let table = lines[..table].iter().rposition(|line| line.trim_start().starts_with("Can’t see")).expect("an end") + 1;
    let shown = [&lines[..heading + STEPS * LINES_A_STEP], &[LEFT_OUT], &lines[table - LINES_A_STEP..]].concat();
    shown.iter().map(|line| format!("{line}\n")).collect()
}

/// Without arguments, in a folder without an event, in a pipe.
#[test]
fn the_first_run_is_the_stored_one_and_the_readme_shows_it() {
    let nowhere = tempfile::tempdir().expect("an empty folder");
    let mut program = Command::new(env!("CARGO_BIN_EXE_beforedoors"));
    // With a display it would open a window.
    program.env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY").env_remove("WAYLAND_SOCKET");
    let program = program.current_dir(nowhere.path()).output().expect("a run");
    let said = String::from_utf8(program.stdout).expect("UTF-8");
    let shown = extract(&said);
    if std::env::var_os("BLESS_FIXTURES").is_some() {
        fs::write(in_the_project("fixtures/first-run.txt"), &said).expect("a folder that can be written");
        let readme = read("README.md");
        let (from, old) = block(&readme, FIRST_RUN);
        let renewed = [&readme[..from], &shown, &readme[from + old.len()..]].concat();
        fs::write(in_the_project("README.md"), renewed).expect("a README that can be written");
    }
    let stored = read("fixtures/first-run.txt");
    let differs = said.lines().zip(stored.lines()).enumerate().find(|(_, (said, stored))| said != stored);
    assert_eq!(differs, None, "line (from 0), what the program says, what is stored");
    assert_eq!(said.lines().count(), stored.lines().count());
    assert_eq!(block(&read("README.md"), FIRST_RUN).1, shown, "what the README shows");
}

/// Each is one line that can be pasted, does without `sudo` where there is none, and ends in what it is for.
#[test]
fn two_commands_do_all_the_set_up() {
    let readme = read("README.md");
    for (mark, end) in [("<!-- run -->\n", "&& cargo run --release"), ("<!-- test -->\n", "&& cargo test")] {
        let command = block(&readme, &format!("{mark}```sh\n")).1.trim_end();
        assert!(!command.contains('\n') && command.ends_with(end), "{command}");
        for part in command.split("&&").filter(|part| part.contains("apt-get")) {
            let part = part.trim_start().trim_start_matches("{ ");
            assert!(part.starts_with("$(command -v sudo) apt-get "), "{part}");
        }
    }
}

/// Every state is explained in the words of the program.
#[test]
fn every_state_is_explained() {
    let readme = read("README.md");
    let words = beforedoors::view::STATES.map(beforedoors::view::word);
    for word in words.into_iter().chain([beforedoors::view::NOT_ENOUGH]) {
        assert!(readme.contains(&format!("| {word} |")), "{word}");
    }
}
