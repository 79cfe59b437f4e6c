//! `[sound]`: the comparison with a meter and the limits, read, kept and refused word for word.

use std::fs;

use beforedoors::coach::sound::{ActionValue, Calibration, Duty, Limits, Microphone, Standard};
use beforedoors::event::{Date, Event, Sound};
use beforedoors::units::{ChannelId, Db, Spl};

fn folder(sound: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("event.toml"), format!("version = 1\nname = \"Hall\"\n{sound}")).expect("written");
    fs::write(folder.path().join("inputs.csv"), "channel,name,kind\n1,Lectern,speech\n").expect("written");
    folder
}

fn read(sound: &str) -> Sound {
    let folder = folder(sound);
    let (event, warnings) = Event::open(folder.path()).unwrap_or_else(|error| panic!("{error}"));
    assert!(warnings.is_empty(), "{warnings:?}");
    event.settings.sound
}

fn mistakes(sound: &str) -> Vec<String> {
    let folder = folder(sound);
    let error = Event::open(folder.path()).expect_err("there is a mistake in it");
    let path = format!("{}/", folder.path().display());
    error.to_string().lines().map(|line| line.replace(&path, "")).collect()
}

const WRITTEN: &str = r#"
[sound]  # of the hall
room_mic = 16
full_scale_db = 118.4
compared_with = "class 2 meter"  # the school's
microphone = "measuring"
spread_db = 0.8
date = 2027-03-10
note_dba = 85
act_dba = 90.5
instant_dba = 100
cap_dba = 93
daily_dba = [79, 84, 86]
peak_dbc = [130, 135, 137]
"#;

fn duty(daily: [f64; 3], peak: [f64; 3]) -> Duty {
    let value = |at: usize| ActionValue { daily: Spl::new(daily[at]), peak: Spl::new(peak[at]) };
    Duty { lower: value(0), upper: value(1), limit: value(2) }
}

#[test]
fn everything_is_read() {
    let expected = Sound {
        room: Some(ChannelId::new(15)),
        calibration: Some(Calibration {
            full_scale: Spl::new(118.4),
            with: Standard::MeterOfClass2,
            microphone: Microphone::Measuring,
            spread: Db::new(0.8),
        }),
        date: Date::new(2027, 3, 10),
        limits: Limits {
            note: Spl::new(85.0),
            act: Spl::new(90.5),
            instant: Spl::new(100.0),
            cap: Spl::new(93.0),
            duty: duty([79.0, 84.0, 86.0], [130.0, 135.0, 137.0]),
        },
    };
    assert_eq!(read(WRITTEN), expected);
    assert_eq!(read(""), Sound::default());
    assert_eq!(read("[sound]\n"), Sound::default());
}

/// What is not said of a comparison counts as the least sure; without a level there was none.
#[test]
fn what_is_not_said_is_the_least_sure() {
    let sound = read("[sound]\nfull_scale_db = 118\n");
    let calibration = sound.calibration.expect("compared");
    assert_eq!((calibration.with, calibration.microphone), (Standard::OtherMeter, Microphone::Ordinary));
    assert_eq!(calibration.spread, Calibration::WIDEST_SPREAD);
    assert_eq!(read("[sound]\ncompared_with = \"Class-1_meter\"\n").calibration, None);
}

#[test]
fn a_new_comparison_keeps_comments_and_what_did_not_change() {
    let folder = folder(WRITTEN);
    let mut event = Event::open(folder.path()).expect("read").0;
    event.save().expect("saved");
    let text = || fs::read_to_string(folder.path().join("event.toml")).expect("there");
    assert!(text().ends_with(WRITTEN));
    event.settings.sound.calibration = Some(Calibration {
        full_scale: Spl::new(121.2345),
        with: Standard::CalibratorOfClass1,
        microphone: Microphone::Measuring,
        spread: Db::new(0.04),
    });
    event.settings.sound.limits.duty = duty([79.0, 84.0, 86.0], [131.0, 135.0, 137.0]);
    event.save().expect("saved");
    let expected = WRITTEN
        .replace("118.4", "121.2")
        .replace("\"class 2 meter\"  #", "\"class 1 calibrator\"  #")
        .replace("0.8", "0.0")
        .replace("[130, 135, 137]", "[131.0, 135.0, 137.0]");
    assert!(text().ends_with(&expected), "{}", text());
    let mut again = Event::open(folder.path()).expect("read").0;
    assert_eq!(again.settings.sound.calibration.expect("compared").full_scale, Spl::new(121.2));
    again.settings.sound = Sound::default();
    again.save().expect("saved");
    assert_eq!(Event::open(folder.path()).expect("read").0.settings.sound, Sound::default());
}

#[test]
fn a_first_comparison_makes_the_part() {
    let folder = folder("");
    let mut event = Event::open(folder.path()).expect("read").0;
    event.settings.sound.calibration = Some(Calibration {
        full_scale: Spl::new(117.0),
        with: Standard::OtherMeter,
        microphone: Microphone::Ordinary,
        spread: Db::new(2.5),
    });
    event.settings.sound.date = Date::new(2027, 3, 11);
    event.save().expect("saved");
    let text = fs::read_to_string(folder.path().join("event.toml")).expect("there");
    let part = "[sound]\nfull_scale_db = 117.0\ncompared_with = \"other meter\"\nmicrophone = \"ordinary\"\nspread_db = 2.5\n\
        date = 2027-03-11\n";
    assert!(text.ends_with(part), "{text}");
}

#[test]
fn every_mistake_word_for_word() {
    let text = "[sound]\n\
        full_scale_db = 250\n\
        compared_with = \"class 2 metre\"\n\
        microphone = 7\n\
        spread_db = -1\n\
        note_dba = nan\n\
        instant_dba = \"loud\"\n\
        daily_dba = [85, 80, 87]\n\
        peak_dbc = [135, 137]\n";
    const METERS: &str =
        "\"class 1 meter\", \"class 2 meter\", \"other meter\", \"class 1 calibrator\" or \"class 2 calibrator\"";
    assert_eq!(
        mistakes(text),
        [
            "event.toml:4:17 (sound, full_scale_db): “250” is not a level. Expected a number from 70 to 170 (dB)".to_owned(),
            format!(
                "event.toml:5:17 (sound, compared_with): “class 2 metre” is not something to compare with. Did you mean \
                 “class 2 meter”? Expected {METERS}"
            ),
            "event.toml:6:14 (sound, microphone): “7” is not a microphone. Expected \"measuring\" or \"ordinary\"".to_owned(),
            "event.toml:7:13 (sound, spread_db): “-1” is not a difference. Expected a number from 0 to 6 (dB)".to_owned(),
            "event.toml:8:12 (sound, note_dba): “nan” is not a level. Expected a number from 40 to 140 (dB)".to_owned(),
            "event.toml:9:15 (sound, instant_dba): “loud” is not a level. Expected a number from 40 to 140 (dB)".to_owned(),
            "event.toml:10:13 (sound, daily_dba): “[85, 80, 87]” is not three levels. Expected three levels that rise, such as [80, 85, 87] (dB)".to_owned(),
            "event.toml:11:12 (sound, peak_dbc): “[135, 137]” is not three levels. Expected three levels that rise, such as [80, 85, 87] (dB)".to_owned(),
        ]
    );
    assert_eq!(
        mistakes("[sound]\nnote_dba = 94\n"),
        [
            "event.toml:4:12 (sound, note_dba): “94” is not a level that fits. Expected a note_dba that is not over act_dba"
        ]
    );
    assert_eq!(
        mistakes("sound = 3\n"),
        [
            "event.toml:3:9 (sound): “3” is not a part of the file. Expected a line [sound] above full_scale_db and act_dba"
        ]
    );
}
