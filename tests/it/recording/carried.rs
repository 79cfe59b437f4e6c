//! The folder that carries the program: made by the program, run from there by its script with a home that can't be
//! written, in a folder whose name has blanks.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use beforedoors::event::Recent;

/// No folder of one's own can be made there, not even by root.
const NO_HOME: &str = "/proc/nobody";
const SETTINGS: &str = "CARRIED_TEST_EVENT";

fn without_home(command: &mut Command) -> Output {
    for name in ["XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME", "DISPLAY", "WAYLAND_DISPLAY", "WAYLAND_SOCKET"] {
        command.env_remove(name);
    }
    command.env("HOME", NO_HOME).output().expect("a run")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn all_files(folder: &Path) -> Vec<String> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("readable").path();
        let name = path.file_name().expect("a name").to_string_lossy().into_owned();
        if path.is_dir() {
            files.extend(all_files(&path).into_iter().map(|inside| format!("{name}/{inside}")));
        } else {
            files.push(name);
        }
    }
    files.sort();
    files
}

#[test]
fn it_runs_from_the_folder_and_keeps_everything_there() {
    let folder = tempfile::tempdir().expect("a folder");
    let stick = folder.path().join("a stick");
    let program = env!("CARGO_BIN_EXE_beforedoors");
    let carry = || without_home(Command::new(program).arg("carry").arg(&stick));
    let made = carry();
    assert!(made.status.success(), "{}", text(&made.stderr));
    let files = all_files(&stick);
    assert_eq!(
        files,
        [
            "beforedoors",
            "beforedoors-settings/kept-here.txt",
            "example/event.toml",
            "example/gear.csv",
            "example/inputs.csv",
            "example/patch.csv",
            "example/venue.toml",
            "read-me.txt",
            "start.sh",
        ]
    );
    assert!(fs::read(stick.join("beforedoors")).expect("read") == fs::read(program).expect("read"), "byte by byte");
    let again = carry();
    assert_eq!(again.status.code(), Some(3));
    assert!(text(&again.stderr).contains("is there already; nothing was written"), "{}", text(&again.stderr));

    let start = |arguments: &[&str]| {
        without_home(Command::new("sh").arg(stick.join("start.sh")).args(arguments).current_dir(folder.path()))
    };
    let check = start(&["plan", "check", stick.join("example").to_str().expect("UTF-8")]);
    assert_eq!(check.status.code(), Some(1), "its faults are found: {}", text(&check.stderr));
    // Without a display: the soundcheck of the example, in lines.
    let first = start(&[]);
    assert!(text(&first.stderr).contains("No window"), "{}", text(&first.stderr));
    assert!(text(&first.stdout).contains("trims"), "{}", text(&first.stdout));
    let mut then = files;
    then.push("example/soundcheck-simulated.toml".into());
    then.sort_unstable();
    assert_eq!(all_files(&stick), then, "nothing but how that soundcheck left the lines was written");
}

/// Where the stick forbids programs, a copy runs elsewhere and is taken away again.
#[test]
fn a_stick_that_forbids_programs() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().expect("a folder");
    let (stick, short_lived) = (folder.path().join("stick"), folder.path().join("tmp"));
    fs::create_dir(&short_lived).expect("a folder");
    let made = without_home(Command::new(env!("CARGO_BIN_EXE_beforedoors")).arg("carry").arg(&stick));
    assert!(made.status.success(), "{}", text(&made.stderr));
    fs::set_permissions(stick.join("beforedoors"), fs::Permissions::from_mode(0o644)).expect("set");
    let run = Command::new("sh")
        .arg(stick.join("start.sh"))
        .arg("--version")
        .env("XDG_RUNTIME_DIR", &short_lived)
        .output()
        .expect("a run");
    assert!(run.status.success() && text(&run.stdout).starts_with("beforedoors "), "{}", text(&run.stderr));
    assert_eq!(fs::read_dir(&short_lived).expect("a folder").count(), 0, "the copy is gone");
}

/// What the window keeps goes where the script says; the test binary runs itself as the carried program.
#[test]
fn settings_are_kept_in_the_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    let (settings, event) = (folder.path().join("beforedoors-settings"), folder.path().join("example"));
    fs::create_dir_all(&event).expect("a folder");
    fs::write(event.join("event.toml"), "version = 1\n").expect("written");
    let child = without_home(
        Command::new(std::env::current_exe().expect("this binary"))
            .args(["--exact", "recording::carried::child_keeps", "--nocapture"])
            .env("BEFOREDOORS_SETTINGS", &settings)
            .env(SETTINGS, &event),
    );
    assert!(child.status.success(), "{}{}", text(&child.stdout), text(&child.stderr));
    let kept = fs::read_to_string(settings.join("recent.json")).expect("kept");
    assert!(kept.contains("\"event\":\"example\""), "{kept}");
}

#[test]
fn child_keeps() {
    let Some(event) = std::env::var_os(SETTINGS).map(std::path::PathBuf::from) else { return };
    Recent { event: Some(event.clone()), ..Recent::default() }.keep().expect("kept");
    assert_eq!(Recent::read().event, Some(event));
}
