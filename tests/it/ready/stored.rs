//! `soundcheck.toml`: what is stored comes back, what others wrote stays, what is damaged is told and never written over.

use std::fs;
use std::path::Path;

use beforedoors::coach::ready::{Baseline, Was};
use beforedoors::event::{keep_checked, read_checked};
use beforedoors::units::{Dbfs, SampleRate};

fn left(floors: &[f64]) -> Baseline {
    let line =
        |floor: &f64| Was { heard: true, floor: Some(Dbfs::new(*floor)), typical: Some(Dbfs::new(-14.0)), knob: None };
    Baseline { device: "Desk".into(), rate: SampleRate::new(48_000).unwrap(), lines: floors.iter().map(line).collect() }
}

fn read(folder: &Path) -> Baseline {
    read_checked(folder, false).unwrap_or_else(|error| panic!("{error}")).expect("stored").left
}

#[test]
fn what_is_stored_comes_back_and_a_part_leaves_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(read_checked(folder.path(), false).unwrap(), None);
    keep_checked(folder.path(), left(&[-70.0, -60.0]), false, |_| true).unwrap();
    assert_eq!(read(folder.path()), left(&[-70.0, -60.0]));
    assert!(read_checked(folder.path(), false).unwrap().unwrap().ended.is_some());
    // The stage's own never touches the desk's.
    keep_checked(folder.path(), left(&[-30.0]), true, |_| true).unwrap();
    keep_checked(folder.path(), left(&[-50.0, -50.0]), false, |line| line == 1).unwrap();
    assert_eq!(read(folder.path()), left(&[-70.0, -50.0]));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);
}

#[test]
fn what_others_wrote_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("soundcheck.toml");
    keep_checked(folder.path(), left(&[-70.0, -60.0]), false, |_| true).unwrap();
    let text = fs::read_to_string(&path).unwrap();
    let ours = text
        .replace("version = 1", "# ours\nversion = 1\nby = \"Ana\"")
        .replace("channel = 2", "channel = 2\nclock = \"3\"");
    fs::write(&path, ours).unwrap();
    keep_checked(folder.path(), left(&[-71.0, -61.0]), false, |_| true).unwrap();
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.contains("# ours") && text.contains("by = \"Ana\"") && text.contains("clock = \"3\""), "{text}");
    assert_eq!(read(folder.path()), left(&[-71.0, -61.0]));
}

#[test]
fn what_is_damaged_is_told_with_its_place_and_stays() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("soundcheck.toml");
    let head = "version = 1\ndevice = \"Desk\"\nrate_hz = 48000\n";
    for (text, told) in [
        ("version = 1\ndevice = \"Des".to_owned(), "soundcheck.toml:2:"),
        ("version = 1\n".into(), "damaged: there is no device"),
        ("version = 2\n".to_owned() + head.trim_start_matches("version = 1\n"), "written for version 2"),
        (format!("{head}[[line]]\nchannel = 70\nheard = true\n"), "soundcheck.toml:5:11 (line 1, channel): “70”"),
        (format!("{head}[[line]]\nchannel = 1\nfloor_dbfs = \"low\"\n"), "(line 1, floor_dbfs): “low” is not a level"),
        (format!("{head}[[line]]\nchannel = 1\nfloor_dbfs = nan\n"), "is not a level"),
        ("\u{0}\u{1}".into(), "not text"),
    ] {
        fs::write(&path, &text).unwrap();
        let error = read_checked(folder.path(), false).expect_err(&text).to_string();
        assert!(error.contains(told), "{told}\nin\n{error}");
        assert!(keep_checked(folder.path(), left(&[-70.0]), false, |_| true).is_err(), "{text}");
        assert_eq!(fs::read_to_string(&path).unwrap(), text);
    }
    fs::write(&path, "[[line").unwrap();
    let error = read_checked(folder.path(), false).expect_err("damaged").to_string();
    assert!(error.contains("delete the file and repeat the soundcheck"), "{error}");
}
