//! Exit codes: 0 nothing wrong, 1 findings, 2 cannot tell, 3 bad input. A closed pipe is no fault.

use std::io::Read;
use std::process::{Command, Stdio};

use super::{beforedoors, sine, write_wav};

#[test]
fn nothing_wrong_findings_and_bad_input() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name);
    write_wav(&path("fine.wav"), 1, sine(1000.0, 0.25, 6.0));
    write_wav(&path("clipped.wav"), 1, sine(1000.0, 2.0, 6.0).map(|sample| sample.clamp(-1.0, 1.0)));
    std::fs::write(path("text.wav"), "no sound at all").unwrap();
    std::fs::write(path("empty.wav"), "").unwrap();
    for (name, code) in [("fine.wav", 0), ("clipped.wav", 1), ("text.wav", 3), ("empty.wav", 3), ("missing.wav", 3)] {
        beforedoors().arg("recordings").arg(path(name)).assert().code(code);
        beforedoors().args(["recordings", "--json"]).arg(path(name)).assert().code(code);
        // As a soundcheck six seconds are not enough to say that it is set.
        let heard = if name == "fine.wav" { 2 } else { code };
        beforedoors().args(["soundcheck", "--file"]).arg(path(name)).assert().code(heard);
    }
    beforedoors().arg("recordings").arg(folder.path()).assert().code(3);
}

/// Of many files: bad input, then findings, then what can't be told.
#[test]
fn of_many_files_the_gravest_counts() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    write_wav(&at.join("clean.wav"), 1, sine(1000.0, 0.25, 6.0));
    write_wav(&at.join("clipped.wav"), 1, sine(1000.0, 2.0, 6.0).map(|sample| sample.clamp(-1.0, 1.0)));
    write_wav(&at.join("silent.wav"), 2, std::iter::repeat_n(0.0, 2 * 25 * 48_000));
    write_wav(&at.join("half.wav"), 2, sine(1000.0, 0.25, 25.0).flat_map(|sample| [sample, 0.0]));
    for (files, code) in [
        (&["clean.wav"][..], 0),
        (&["silent.wav"], 2),
        (&["half.wav"], 1),
        (&["clean.wav", "silent.wav"], 2),
        (&["silent.wav", "clipped.wav", "clean.wav"], 1),
        (&["clipped.wav", "silent.wav"], 1),
        (&["absent.wav", "clipped.wav", "silent.wav"], 3),
    ] {
        let output = beforedoors().current_dir(at).arg("recordings").args(files).output().unwrap();
        assert_eq!(output.status.code(), Some(code), "{files:?}: {}", String::from_utf8_lossy(&output.stdout));
    }
}

#[test]
fn odd_arguments_are_bad_input_and_never_a_panic() {
    for args in [
        &["--unheard-of"][..],
        &["soundchek"],
        &["recordings"],
        &["recordings", ""],
        &["recordings", "\u{1b}[2J"],
        &["soundcheck", "--seed", "-1"],
        &["soundcheck", "--seed", "many"],
        &["soundcheck", "--mood", "furious"],
        &["soundcheck", "--stage", "--device", "Desk"],
        &["soundcheck", "--stage", "--connection", "room"],
        &["soundcheck", "--connection", "telepathy"],
        &["soundcheck", "--event", "/no/such/folder"],
        &["soundcheck", "--device", "a device that nobody has"],
        &["soundcheck", "--device", ""],
        &["soundcheck", "--file", "/"],
        &["soundcheck", "--tone-file", "/no/such/folder/tone.wav"],
        &["soundcheck", "--device", "x", "--connection", "feed"],
        &["soundcheck", "--device", "x", "--desk-zero", "0"],
        &["soundcheck", "--desk-zero", "1"],
        &["completions"],
        &["completions", "no-shell"],
        &["devices", "extra"],
        &["--", "-"],
        &["", ""],
    ] {
        let output = beforedoors().args(args).output().unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{args:?}: {told}");
        assert!(!told.contains("panicked"), "{args:?}: {told}");
        assert!(!told.trim().is_empty() && !told.contains("\u{1b}[2J"), "{args:?}: {told:?}");
    }
}

#[cfg(unix)]
#[test]
fn names_that_are_no_text_are_read_like_others() {
    use std::os::unix::ffi::OsStrExt;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(std::ffi::OsStr::from_bytes(b"chor\xff\n.wav"));
    write_wav(&path, 1, sine(1000.0, 0.25, 2.0));
    let output = beforedoors().arg("recordings").arg(&path).output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let first = String::from_utf8_lossy(&output.stdout).lines().next().unwrap_or_default().to_owned();
    assert!(first.ends_with(".wav"), "a name is one line: {first:?}");
}

#[test]
fn an_error_says_what_where_and_how_to_mend_it() {
    let output = beforedoors().args(["recordings", "/no/such/take.wav"]).output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("/no/such/take.wav") && told.contains("no such file") && told.contains("Check"), "{told}");
    let output = beforedoors().args(["soundcheck", "--event", "/no/such/folder"]).output().unwrap();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(told.contains("/no/such/folder") && told.contains("Give the folder of an event"), "{told}");
    for (args, cure) in [
        (&["soundcheck", "--stage", "--connection", "room"][..], "Leave --connection away, or name a --device"),
        (&["soundcheck", "--device", "x", "--connection", "feed"], "Name the event with --event FOLDER"),
        (&["soundcheck", "--device", "x", "--desk-zero", "0"], "such as --desk-zero 1"),
        (&["soundcheck", "--tone-file", "/no/such/folder/tone.wav"], "Choose a folder that you may write to"),
        (&["soundcheck", "--mood", "loud"], "shy, normal, show"),
        (&["soundcheck", "--file", "/"], "Name one recording"),
    ] {
        let output = beforedoors().args(args).output().unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(told.contains(cure), "{args:?}: {told}");
    }
}

/// Whoever reads the first line only gets it, and the program ends without complaint.
#[test]
fn a_closed_pipe_is_a_quiet_success() {
    let folder = tempfile::tempdir().unwrap();
    let take = folder.path().join("take.wav");
    write_wav(&take, 1, sine(1000.0, 0.25, 2.0));
    let take = take.to_str().unwrap();
    let many: Vec<&str> = std::iter::repeat_n(take, 60).collect();
    let recordings = [&["recordings", "--json"][..], &many].concat();
    for args in [&["soundcheck", "--stage", "--json"][..], &["completions", "bash"], &recordings] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
            .args(args)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut first = [0u8; 8];
        child.stdout.take().unwrap().read_exact(&mut first).unwrap();
        let output = child.wait_with_output().unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(output.status.success() && told.is_empty(), "{args:?}: {:?} {told}", output.status);
    }
}
