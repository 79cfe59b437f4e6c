//! `recordings` as its user meets it: what somebody tries first is found, a take without a list is judged as a take, reports
//! and copies are written whole, takes are checked as they land.

use std::fs;
use std::path::Path;

use super::{beforedoors, json_lines, sine, write_wav};
use crate::support::signals::{Noise, amplitude, music};

const RATE: usize = 48_000;

/// Music over a room's noise.
fn programme(seconds: f64, seed: u64) -> Vec<f64> {
    let mut room = Noise::new(seed + 7);
    let noise = amplitude(-80.0);
    music(RATE as u32, seconds, seed).into_iter().map(|x| 0.6 * f64::from(x) + noise * room.next().unwrap()).collect()
}

fn stereo(path: &Path, left: &[f64], right: &[f64]) {
    write_wav(path, 2, left.iter().zip(right).flat_map(|(left, right)| [*left, *right]));
}

fn kinds(path: &Path) -> Vec<String> {
    let output = beforedoors().args(["recordings", "--json"]).arg(path).output().unwrap();
    let lines = json_lines(&output.stdout);
    let told = lines.iter().filter(|line| line["type"] == "finding" || line["type"] == "ring");
    told.map(|line| line["kind"].as_str().unwrap_or("ring").to_owned()).collect()
}

#[test]
fn what_somebody_tries_first_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let (left, right) = (programme(30.0, 1), programme(30.0, 2));
    let upside_down: Vec<f64> = left.iter().map(|x| -x).collect();
    stereo(&at("inverted.wav"), &left, &upside_down);
    let offset: Vec<f64> = left.iter().map(|x| x + 0.1).collect();
    stereo(&at("offset.wav"), &offset, &right);
    let mut hole = left.clone();
    let from = (10 * RATE..).find(|&at| hole[at - 1].abs() > 0.05 && hole[at + 2112].abs() > 0.05).unwrap();
    hole[from..from + 2112].fill(0.0);
    stereo(&at("hole.wav"), &hole, &right);
    let tone = |hz: f64, n: usize| (std::f64::consts::TAU * hz * n as f64 / RATE as f64).sin();
    let level = amplitude(-34.0) * std::f64::consts::SQRT_2;
    let hum: Vec<f64> = left.iter().enumerate().map(|(n, x)| x + level * tone(50.0, n)).collect();
    stereo(&at("hum.wav"), &hum, &right);
    // Nine seconds that grow by 12 dB each, from −60 dBFS to a limit.
    let ring = |n: usize| match n as f64 / RATE as f64 - 12.0 {
        since if (0.0..9.0).contains(&since) => amplitude((12.0 * since - 60.0).min(-8.0)) * tone(2_440.0, n),
        _ => 0.0,
    };
    let rang: Vec<f64> = left.iter().enumerate().map(|(n, x)| x + ring(n)).collect();
    stereo(&at("ring.wav"), &rang, &right);
    let held = |n: usize| if (12 * RATE..21 * RATE).contains(&n) { 0.1 * tone(2_440.0, n) } else { 0.0 };
    let held: Vec<f64> = left.iter().enumerate().map(|(n, x)| x + held(n)).collect();
    stereo(&at("held.wav"), &held, &right);
    for (name, kind) in [
        ("inverted.wav", "polarity"),
        ("offset.wav", "dc"),
        ("hole.wav", "dropout"),
        ("hum.wav", "hum"),
        ("ring.wav", "ring"),
        ("held.wav", "whine"),
    ] {
        let told = kinds(&at(name));
        assert!(told.iter().any(|told| told == kind), "{name}: {told:?}");
    }
    stereo(&at("clean.wav"), &left, &right);
    let told = kinds(&at("clean.wav"));
    assert!(told.is_empty(), "{told:?}");
}

/// Without a list: too low, clipped, fine; never "set".
#[test]
fn a_take_is_judged_as_a_take() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let sound = programme(20.0, 3);
    let peak = sound.iter().fold(0.0, |peak: f64, x| peak.max(x.abs()));
    write_wav(&at("low.wav"), 1, sound.iter().map(|x| x / peak * amplitude(-39.0)));
    write_wav(&at("hard.wav"), 1, sound.iter().map(|x| 0.5 * (x / peak * 6.0).clamp(-1.0, 1.0)));
    write_wav(&at("fine.wav"), 1, sound.iter().map(|x| x / peak * amplitude(-9.0)));
    for (name, state, line) in [
        ("low.wav", "too low", "Too low: Next time feed it 10 dB more"),
        ("hard.wav", "clipped", "Flat top: Turn DOWN at the source"),
        ("fine.wav", "fine", "Fine as it is"),
    ] {
        let output = beforedoors().arg("recordings").arg(at(name)).output().unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        assert!(text.contains(state) && text.contains(line), "{name}:\n{text}");
        assert!(!text.contains("Nothing to turn") && !text.contains(" set "), "{name}:\n{text}");
    }
    // A soundcheck's steps and its table are of one mind.
    let output = beforedoors().args(["soundcheck", "--file"]).arg(at("low.wav")).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let (steps, whole) = text.split_once("The whole of it:").unwrap();
    assert!(steps.contains("UP 10 dB") && whole.contains("UP 10 dB") && whole.contains("○  low"), "{text}");
}

#[test]
fn reports_and_copies_are_new_files() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::create_dir(at("takes")).unwrap();
    let clipped = sine(440.0, 2.0, 6.0).map(|x| x.clamp(-1.0, 1.0));
    write_wav(&at("takes/<b>Ж & \"clipped\".wav"), 1, clipped);
    write_wav(&at("takes/=fine.wav"), 1, programme(6.0, 1).into_iter());
    let before: Vec<Vec<u8>> =
        ["takes/<b>Ж & \"clipped\".wav", "takes/=fine.wav"].map(|name| fs::read(at(name)).unwrap()).into();
    let run = |report: &str| {
        let mut command = beforedoors();
        command.current_dir(folder.path()).args(["recordings", "takes", "--report", report]);
        command.args(["--out", "new", "--markers", "--loudness", "-20"]);
        command.output().unwrap()
    };
    let output = run("report.html");
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stderr));
    let html = fs::read_to_string(at("report.html")).unwrap();
    for wanted in ["hides sound", "&lt;b&gt;Ж &amp; &quot;clipped&quot;.wav", "<svg", "clipped: flat at full scale"] {
        assert!(html.contains(wanted), "{wanted}");
    }
    assert!(!html.contains("http") && !html.contains("<b>Ж"), "nothing from outside");
    let marks = fs::read_to_string(at("new/<b>Ж & \"clipped\" (marked).csv")).unwrap();
    assert!(marks.starts_with("start_s,end_s,track,text\r\n0.0"), "{marks}");
    assert!(fs::read(at("new/=fine (marked).wav")).is_ok() && fs::read(at("new/=fine (-20 LUFS).wav")).is_ok());
    // The copies stand there now: nothing is replaced, and it is said.
    let again = run("report.csv");
    assert_eq!(again.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&again.stderr).contains("a file is there already, and nothing is replaced"));
    for form in ["report.csv", "report.json"] {
        beforedoors().current_dir(folder.path()).args(["recordings", "takes", "--report", form]).assert().code(1);
    }
    let csv = fs::read_to_string(at("report.csv")).unwrap();
    assert!(csv.starts_with("file,track,start_s,end_s,severity,kind,evidence,advice\n"), "{csv}");
    assert!(!json_lines(fs::read(at("report.json")).unwrap().as_slice()).is_empty());
    let after: Vec<Vec<u8>> =
        ["takes/<b>Ж & \"clipped\".wav", "takes/=fine.wav"].map(|name| fs::read(at(name)).unwrap()).into();
    assert_eq!(before, after);
    // A report that can't be written leaves the old one, and says so.
    fs::create_dir(at("taken.html")).unwrap();
    let refused = beforedoors()
        .current_dir(folder.path())
        .args(["recordings", "takes", "--report", "taken.html"])
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("untouched"));
    for wrong in
        [&["--markers"][..], &["--report", "report.doc"], &["--out", "x", "--loudness", "3"], &["--bits", "16"]]
    {
        beforedoors().current_dir(folder.path()).args(["recordings", "takes"]).args(wrong).assert().code(3);
    }
}

/// Many short files, some of them gone when their turn comes.
#[test]
fn many_files_and_some_that_vanish() {
    let full = std::env::var_os("BEFOREDOORS_FULL").is_some();
    let count = if full { 10_000 } else { 300 };
    let folder = tempfile::tempdir().unwrap();
    let first = folder.path().join("00000.wav");
    write_wav(&first, 1, sine(440.0, 0.2, 0.2));
    for number in 1..count {
        fs::copy(&first, folder.path().join(format!("{number:05}.wav"))).unwrap();
    }
    #[cfg(unix)]
    std::os::unix::fs::symlink(folder.path().join("nowhere"), folder.path().join("gone.wav")).unwrap();
    let output = beforedoors().args(["recordings", "--json"]).arg(folder.path()).arg("no such.wav").output().unwrap();
    let lines = json_lines(&output.stdout);
    assert_eq!(lines.iter().filter(|line| line["type"] == "file").count(), count);
    assert_eq!(lines.iter().filter(|line| line["type"] == "error").count(), 1);
    assert_eq!(output.status.code(), Some(3));
}

/// A take is told once it has landed; told to end, the program says how the worst of them was.
#[cfg(unix)]
#[test]
fn takes_are_checked_as_they_land() {
    use std::io::{BufRead, BufReader};
    use std::process::{Command, Stdio};
    let folder = tempfile::tempdir().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_beforedoors"))
        .args(["recordings", "--json", "--watch"])
        .arg(folder.path())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut told = BufReader::new(child.stderr.take().unwrap());
    let mut line = String::new();
    told.read_line(&mut line).unwrap();
    assert!(line.contains("Waiting for recordings"), "{line}");
    write_wav(&folder.path().join("landed.wav"), 1, sine(440.0, 2.0, 3.0).map(|x| x.clamp(-1.0, 1.0)));
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let first: serde_json::Value = serde_json::from_str(&lines.next().unwrap().unwrap()).unwrap();
    assert!(first["type"] == "file" && first["file"].as_str().unwrap().ends_with("landed.wav"), "{first}");
    let pid = i32::try_from(child.id()).unwrap();
    assert!(Command::new("kill").arg(pid.to_string()).status().unwrap().success());
    assert_eq!(child.wait().unwrap().code(), Some(1));
}

/// A copy that stands there stays; the others are made, and the program's own copies are no takes.
#[test]
fn a_copy_that_is_there_stops_no_other() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    write_wav(&at("a.wav"), 1, programme(4.0, 1).into_iter());
    write_wav(&at("b.wav"), 1, programme(4.0, 2).into_iter());
    fs::write(at("a (-20 LUFS).wav"), "mine").unwrap();
    let run = |more: &[&str]| {
        let mut command = beforedoors();
        command.current_dir(folder.path()).args(["recordings", "a.wav", "b.wav", "--out", "."]).args(more);
        command.output().unwrap()
    };
    let output = run(&["--loudness", "-20", "--markers"]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(3), "{said}");
    for wanted in
        ["a (-20 LUFS).wav: a file is there already", "1 copy was not made", "Choose another folder with --out"]
    {
        assert!(said.contains(wanted), "{wanted} in {said}");
    }
    assert_eq!(fs::read(at("a (-20 LUFS).wav")).unwrap(), b"mine");
    for made in ["a (marked).wav", "a (marked).csv", "b (marked).wav", "b (-20 LUFS).wav"] {
        assert!(at(made).exists(), "{made}");
    }
    fs::remove_file(at("a (-20 LUFS).wav")).unwrap();
    let output = beforedoors().args(["recordings", "--json"]).arg(folder.path()).output().unwrap();
    let lines = json_lines(&output.stdout);
    let files: Vec<&str> =
        lines.iter().filter(|line| line["type"] == "file").filter_map(|line| line["file"].as_str()).collect();
    assert!(files.len() == 2 && files[0].ends_with("a.wav") && files[1].ends_with("b.wav"), "{files:?}");
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("3 copies that this program made are no takes and were left out"), "{said}");
    // Named, it is checked.
    let output = beforedoors().args(["recordings", "--json"]).arg(at("b (marked).wav")).output().unwrap();
    assert_eq!(json_lines(&output.stdout)[0]["type"], "file");
}

/// Killed at any moment, whatever has its name is whole.
#[cfg(unix)]
#[test]
fn what_has_its_name_is_whole_whenever_it_is_killed() {
    let folder = tempfile::tempdir().unwrap();
    let take = folder.path().join("take.wav");
    write_wav(&take, 1, programme(30.0, 1).into_iter());
    let out = folder.path().join("out");
    for delay in [0, 40, 90, 150, 250, 400] {
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_beforedoors"))
            .arg("recordings")
            .arg(&take)
            .args(["--markers", "--loudness", "-20", "--out"])
            .arg(&out)
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(std::time::Duration::from_millis(delay));
        child.kill().unwrap();
        child.wait().unwrap();
        for entry in fs::read_dir(&out).into_iter().flatten() {
            let path = entry.unwrap().path();
            let is_named = !path.file_name().unwrap().to_string_lossy().starts_with('.');
            if is_named && path.extension().is_some_and(|ending| ending == "wav") {
                let wav = hound::WavReader::open(&path).unwrap();
                assert_eq!(wav.len() as usize, 30 * RATE, "{}", path.display());
            }
        }
        let _ = fs::remove_dir_all(&out);
    }
}
