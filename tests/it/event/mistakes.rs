//! Every mistake, word for word: where it stands, what stood there, what was expected.

use std::fs;

use beforedoors::event::{Event, EventError, parse_inputs, read_inputs};
use proptest::prelude::*;

const KINDS: &str = "speech, solo vocal, headset, choir, acoustic guitar, bass, keys, kick, snare, overhead, brass, \
    woodwind, piano, percussion, playback, other";

/// The mistakes of an input list, a line each.
fn mistakes(bytes: impl AsRef<[u8]>) -> Vec<String> {
    match parse_inputs("inputs.csv", bytes.as_ref()) {
        Ok((inputs, _)) => panic!("read as {inputs:?}"),
        Err(error) => error.to_string().lines().map(str::to_owned).collect(),
    }
}

fn warnings(text: &str) -> Vec<String> {
    let (_, warnings) = parse_inputs("inputs.csv", text.as_bytes()).expect("readable");
    warnings.iter().map(ToString::to_string).collect()
}

/// An event folder; `None` leaves a file out.
fn folder(event: Option<&str>, inputs: Option<&str>) -> tempfile::TempDir {
    let folder = tempfile::Builder::new().prefix("hall").tempdir().expect("a folder");
    for (name, text) in [("event.toml", event), ("inputs.csv", inputs)] {
        if let Some(text) = text {
            fs::write(folder.path().join(name), text).expect("written");
        }
    }
    folder
}

const THREE: &str = "channel,name,kind\n1,Lectern,speech\n2,Choir,choir\n3,Piano,piano\n";

/// What is wrong with an event whose list has channels 1 to 3, without the folder's path.
fn event_mistakes(event: &str) -> Vec<String> {
    let folder = folder(Some(event), Some(THREE));
    let error = Event::open(folder.path()).expect_err("there is a mistake in it");
    let path = format!("{}/", folder.path().display());
    error.to_string().lines().map(|line| line.replace(&path, "")).collect()
}

fn event_warnings(event: &str, inputs: Option<&str>) -> Vec<String> {
    let folder = folder(Some(event), inputs);
    let (_, warnings) = Event::open(folder.path()).unwrap_or_else(|error| panic!("{error}"));
    let path = folder.path().to_string_lossy().into_owned();
    let name = folder.path().file_name().expect("a name").to_string_lossy().into_owned();
    warnings
        .iter()
        .map(|warning| warning.to_string().replace(&format!("{path}/"), "").replace(&name, "FOLDER"))
        .collect()
}

#[test]
fn everything_wrong_in_a_list_is_told_at_once() {
    let text = "channel,name,kind,connection,show_lift_db,phantom,place_x_m\n\
        1,Lectern,speech,mic,6,yes,\n\
        \n\
        two,Soloist,vokal,micc,-1,perhaps,left\n\
        0,,drums,,20.5,,1000\n\
        65,Choir,choir,,six,,\n\
        1,\"Choir\nleft\",choir,,NaN,,\n\
        9,Keys,keys,,,,,spare\n";
    assert_eq!(
        mistakes(text),
        [
            "inputs.csv:4:1 (channel): “two” is not a channel. Expected one whole number from 1 to 64".to_owned(),
            format!(
                "inputs.csv:4:3 (kind): “vokal” is not a kind of source. Did you mean “solo vocal”? Expected one of: {KINDS}"
            ),
        ]
        .into_iter()
        .chain([
            "inputs.csv:4:4 (connection): “micc” is not a connection. Did you mean “mic”? Expected one of: mic, di, line, radio, usb".to_owned(),
            "inputs.csv:4:5 (show_lift_db): “-1” is not a show lift. Expected a number from 0 to 20 (dB, empty for the kind's own)".to_owned(),
            "inputs.csv:4:6 (phantom): “perhaps” is not an answer. Expected yes or no".to_owned(),
            "inputs.csv:4:7 (place_x_m): “left” is not a place on the stage. Expected a number from -100 to 100 (metres)".to_owned(),
            "inputs.csv:5:1 (channel): “0” is not a channel. Expected one whole number from 1 to 64".to_owned(),
            format!("inputs.csv:5:3 (kind): “drums” is not a kind of source. Expected one of: {KINDS}"),
            "inputs.csv:5:5 (show_lift_db): “20.5” is not a show lift. Expected a number from 0 to 20 (dB, empty for the kind's own)".to_owned(),
            "inputs.csv:5:7 (place_x_m): “1000” is not a place on the stage. Expected a number from -100 to 100 (metres)".to_owned(),
            "inputs.csv:6:1 (channel): “65” is not a channel. Expected one whole number from 1 to 64".to_owned(),
            "inputs.csv:6:5 (show_lift_db): “six” is not a show lift. Expected a number from 0 to 20 (dB, empty for the kind's own)".to_owned(),
            "inputs.csv:8:5 (show_lift_db): “NaN” is not a show lift. Expected a number from 0 to 20 (dB, empty for the kind's own)".to_owned(),
            "inputs.csv:7:1 (channel): channel 1 is listed twice, first on line 2. Expected each channel once".to_owned(),
            "inputs.csv:9:8: “spare” stands under no heading. Expected at most one cell a heading; put text that holds the separator in \"quotes\"".to_owned(),
        ])
        .collect::<Vec<_>>()
    );
}

#[test]
fn channels_that_are_no_channels() {
    for stood in ["-1", "1.5", "1-2", "1/2", "+1", "1e1", "99999999999999999999", "٣", "in 1", ""] {
        assert_eq!(
            mistakes(format!("channel,name,kind\n{stood},Choir,choir\n")),
            [format!("inputs.csv:2:1 (channel): “{stood}” is not a channel. Expected one whole number from 1 to 64")]
        );
    }
}

#[test]
fn show_lifts_that_are_no_show_lifts() {
    for stood in ["inf", "nan", "1e999", "20.01", "-0.5", "6 dBu", "1,2,3", "--6", "dB"] {
        assert_eq!(
            mistakes(format!("channel;name;kind;show lift\n1;Choir;choir;{stood}\n")),
            [format!(
                "inputs.csv:2:4 (show_lift_db): “{stood}” is not a show lift. Expected a number from 0 to 20 (dB, empty for the kind's own)"
            )]
        );
    }
}

#[test]
fn headings_that_cannot_be_used() {
    const LINE: &str = "channel,name,kind,connection,show_lift_db";
    let cases: [(&str, &[&str]); 7] = [
        (
            "",
            &[
                "inputs.csv:1:1: nothing is written here. Expected a heading line such as channel,name,kind,connection,show_lift_db, then one line a channel",
            ],
        ),
        (
            "\u{FEFF} \n ;;\n\t\n",
            &[
                "inputs.csv:1:1: nothing is written here. Expected a heading line such as channel,name,kind,connection,show_lift_db, then one line a channel",
            ],
        ),
        (
            "sep=;\n",
            &[
                "inputs.csv:1:1: nothing is written here. Expected a heading line such as channel,name,kind,connection,show_lift_db, then one line a channel",
            ],
        ),
        (
            "\"channel;name;kind\"\n\"1;Lectern;speech\"\n",
            &[
                "inputs.csv:1:1: the whole line stands in one cell: “channel;name;kind”. Expected cells separated by “,” or “;” or tabs",
            ],
        ),
        (
            "1,Lectern,speech\n2,Choir,choir\n",
            &[
                "inputs.csv:1:1: no column is headed “channel”. Expected a heading line such as channel,name,kind,connection,show_lift_db",
                "inputs.csv:1:1: no column is headed “name”. Expected a heading line such as channel,name,kind,connection,show_lift_db",
                "inputs.csv:1:1: no column is headed “kind”. Expected a heading line such as channel,name,kind,connection,show_lift_db",
            ],
        ),
        (
            "chanel,name,kind\n1,Lectern,speech\n",
            &[
                "inputs.csv:1:1: no column is headed “channel”. Expected a heading line such as channel,name,kind,connection,show_lift_db. Did you mean “chanel”?",
            ],
        ),
        (
            "ch,name,kind,Channel,box,box\n1,Lectern,speech,1,a,b\n",
            &[
                "inputs.csv:1:4 (Channel): the heading “Channel” means the same as column 1. Expected each column once",
                "inputs.csv:1:6 (box): the heading “box” means the same as column 5. Expected each column once",
            ],
        ),
    ];
    for (text, expected) in cases {
        assert!(expected.iter().all(|line| !line.contains("heading line") || line.contains(LINE)));
        assert_eq!(mistakes(text), expected, "{text}");
    }
}

#[test]
fn sheets_of_something_else_are_refused_as_a_whole() {
    let wide = format!("channel,name,kind{}\n1,Lectern,speech\n", ",own".repeat(198));
    assert_eq!(
        mistakes(wide),
        ["inputs.csv:1:1: 201 columns are headed. Expected at most 200; check that the right file is named"]
    );
    let padded = format!("channel,name,kind{0}\n1,Lectern,speech{0}\n", ",".repeat(16_381));
    assert_eq!(parse_inputs("inputs.csv", padded.as_bytes()).expect("empty columns are none").0.len(), 1);
}

#[test]
fn cells_that_cannot_be_used() {
    assert_eq!(
        mistakes("channel,name,kind\n1,\"Lectern,speech\n2,Choir,choir\n3,Piano,piano\n"),
        [
            "inputs.csv:2:2: a quote opens here and never closes. Expected a second \" at the end of the cell, or none at all"
        ]
    );
    assert_eq!(
        mistakes("channel,name,kind\n1,Lec\u{1b}[2Jtern,speech\n"),
        ["inputs.csv:2:2 (name): holds the invisible character U+001B. Delete the cell and type it anew"]
    );
    assert_eq!(
        mistakes(format!("channel,name,kind\n1,Lectern,\u{7}{}\n", "long".repeat(30)))[1],
        format!(
            "inputs.csv:2:3 (kind): “\\u{{7}}{}lon…” is not a kind of source. Expected one of: {KINDS}",
            "long".repeat(8)
        )
    );
    assert_eq!(
        mistakes(b"channel,name,kind\n1,Fl\xF6te,woodwind\n"),
        [
            "inputs.csv:2:5: byte 23 is 0xF6, which is not UTF-8 text. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)"
        ]
    );
    assert_eq!(
        mistakes(b"channel\0,name"),
        [
            "inputs.csv:1:8: not text: byte 8 is 0x00. Expected plain text; from a spreadsheet, export the sheet as CSV (UTF-8)"
        ]
    );
}

#[test]
fn a_page_of_mistakes_is_enough_to_read_and_all_are_in_the_list() {
    let error = parse_inputs("inputs.csv", format!("channel,name,kind\n{}", "x,A,choir\n".repeat(50)).as_bytes())
        .expect_err("fifty mistakes");
    assert_eq!(error.mistakes().len(), 50);
    let text = error.to_string();
    assert_eq!(text.lines().count(), 21);
    assert!(text.ends_with("… and 30 more like these"), "{text}");
}

#[test]
fn doubts_about_a_list() {
    assert_eq!(
        warnings("Our concert\nchannel,name,kind\n3,,keys\n4,Spare,\n"),
        [
            "inputs.csv:1:1: the line above the headings is not read",
            "inputs.csv:3:2 (name): channel 3 has no name; it will be called “channel 3”",
            "inputs.csv:4:3 (kind): channel 4 has no kind; it is taken as “other”",
        ]
    );
    assert_eq!(warnings("channel,name,kind\n"), ["inputs.csv:1:1: no channel is listed under the headings"]);
}

#[test]
fn everything_wrong_in_an_event_is_told_at_once() {
    let event = r#"version = 1
name = 7
doors = "half past six"
connection = "usbb"
device = ["Desk"]

[desk]
knob = true
lamp = "Pe\u0007ak"
marks = "yes"
reference_dbfs = 3
headroom_db = inf
date = "12 March"

[[song]]
name = "First"
open = [1, 4, "2", 0, 65]

[[song]]
name = "Second"
open = "all"
"#;
    assert_eq!(
        event_mistakes(event),
        [
            "event.toml:2:8 (name): “7” is not text. Expected text in \"quotes\"",
            "event.toml:3:9 (doors): “half past six” is not a time. Expected 2027-03-12T18:30:00 or \"18:30\", by the hall's clock",
            "event.toml:4:14 (connection): “usbb” is not a way to listen. Did you mean “usb”? Expected \"usb\" (all channels), \"feed\" (one feed) or \"room\" (room mic only)",
            "event.toml:5:10 (device): “[\"Desk\"]” is not text. Expected text in \"quotes\"",
            "event.toml:17:12 (song 1, open): channel 4 is not in inputs.csv. Expected only channels that are listed there",
            "event.toml:17:15 (song 1, open): “2” is not a channel. Expected one whole number from 1 to 64",
            "event.toml:17:20 (song 1, open): “0” is not a channel. Expected one whole number from 1 to 64",
            "event.toml:17:23 (song 1, open): “65” is not a channel. Expected one whole number from 1 to 64",
            "event.toml:21:8 (song 2, open): “all” is not a list of channels. Expected channel numbers such as [1, 2, 6]",
            "event.toml:8:8 (desk, knob): “true” is not text. Expected text in \"quotes\"",
            "event.toml:9:8 (desk, lamp): holds the invisible character U+0007. Delete the cell and type it anew",
            "event.toml:10:9 (desk, marks): “yes” is not an answer. Expected true or false",
            "event.toml:11:18 (desk, reference_dbfs): “3” is not a level. Expected a number from -80 to 0 (dBFS)",
            "event.toml:12:15 (desk, headroom_db): “inf” is not a headroom. Expected a number from 0 to 40 (dB)",
            "event.toml:13:8 (desk, date): “12 March” is not a date. Expected a day such as 2027-03-12",
        ]
    );
}

#[test]
fn both_files_are_told_of_together() {
    let folder = folder(Some("name = 1\n[[song]]\nname = \"A\"\nopen = [9]\n"), Some("channel,name,kind\nx,A,choir\n"));
    let error = Event::open(folder.path()).expect_err("two mistakes").to_string();
    let path = format!("{}/", folder.path().display());
    let lines: Vec<String> = error.lines().map(|line| line.replace(&path, "")).collect();
    // What a song opens is not judged by a list that could not be read whole.
    assert_eq!(
        lines,
        [
            "event.toml:1:8 (name): “1” is not text. Expected text in \"quotes\"",
            "inputs.csv:2:1 (channel): “x” is not a channel. Expected one whole number from 1 to 64",
        ]
    );
}

#[test]
fn doors_that_are_no_time() {
    for (written, stood) in [
        ("\"24:00\"", "24:00"),
        ("\"18.30\"", "18.30"),
        ("2027-03-12", "2027-03-12"),
        ("2027-03-12T18:30:00Z", "2027-03-12T18:30:00Z"),
        ("\"2027-02-29 18:30\"", "2027-02-29 18:30"),
        ("1830", "1830"),
        ("\"\"", ""),
    ] {
        assert_eq!(
            event_mistakes(&format!("name = \"A\"\ndoors = {written}\n")),
            [format!(
                "event.toml:2:9 (doors): “{stood}” is not a time. Expected 2027-03-12T18:30:00 or \"18:30\", by the hall's clock"
            )]
        );
    }
}

#[test]
fn versions_and_parts() {
    assert_eq!(
        event_mistakes("version = 2\nname = 7\n"),
        [
            "event.toml:1:11 (version): written for version 2 of this format; this program reads version 1. Open it with the newer program that wrote it"
        ]
    );
    for version in ["0", "-1", "\"1\"", "1.0"] {
        assert_eq!(
            event_mistakes(&format!("version = {version}\n")),
            [format!(
                "event.toml:1:11 (version): “{}” is not a version of this format. Expected the number 1",
                version.trim_matches('"')
            )]
        );
    }
    assert_eq!(
        event_mistakes("name = \"A\"\ndesk = 3\n"),
        ["event.toml:2:8 (desk): “3” is not a part of the file. Expected a line [desk] above knob, lamp and marks"]
    );
    assert_eq!(
        event_mistakes("name = \"A\"\nsong = \"One\"\n"),
        [
            "event.toml:2:8 (song): “One” is not a list of songs. Expected a line [[song]] above each song's name and open"
        ]
    );
}

/// What was expected is the TOML library's to say; where and how to go on is ours.
#[test]
fn text_that_is_no_toml() {
    let told = event_mistakes("version = 1\nname = \"Spring\nplace = 1\n");
    assert_eq!(told.len(), 1);
    assert!(told[0].starts_with("event.toml:2:15: not readable as TOML: "), "{}", told[0]);
    assert!(told[0].ends_with(". Expected lines such as name = \"Spring concert\""), "{}", told[0]);
    let told = event_mistakes("name = \"A\"\nname = \"B\"\n");
    assert!(told[0].starts_with("event.toml:2:1: not readable as TOML: "), "{}", told[0]);
}

#[test]
fn doubts_about_an_event() {
    assert_eq!(
        event_warnings("nmae = \"A\"\nour_key = 1\n[[song]]\nopen = [2, 2]\n[desk]\nknobs = \"Trim\"\n", Some(THREE)),
        [
            "event.toml:1:1 (nmae): the word “nmae” is not known here; it is kept but not used. Did you mean “name”?",
            "event.toml:2:1 (our_key): the word “our_key” is not known here; it is kept but not used",
            "event.toml:1:1 (name): the event has no name; it will be called “FOLDER” after its folder",
            "event.toml:4:8 (song 1): the song has no name; it will be called “song 1”",
            "event.toml:4:12 (song 1, open): channel 2 is opened twice by this song",
            "event.toml:6:1 (desk, knobs): the word “knobs” is not known here; it is kept but not used. Did you mean “knob”?",
        ]
    );
    assert_eq!(
        event_warnings("name = \"A\"\n[[song]]\nname = \"One\"\nopen = [60]\n", None),
        [
            "inputs.csv:1:1: the file is not there, so no channel has a name or a kind. Write one line a channel under the headings channel,name,kind,connection,show_lift_db"
        ]
    );
}

#[test]
fn folders_and_files_that_are_none() {
    let empty = folder(None, Some(THREE));
    let path = empty.path().display().to_string();
    let told = |error: EventError| error.to_string().replace(&path, "hall");
    assert_eq!(
        told(Event::open(empty.path()).expect_err("no event.toml")),
        "“hall” holds no event.toml, so it is no event folder. Expected a text file with at least the lines: version = 1 and name = \"…\""
    );
    for none in [empty.path().join("elsewhere"), empty.path().join("inputs.csv")] {
        assert_eq!(told(Event::open(&none).expect_err("no folder")), told(EventError::NoFolder(none)),);
    }
    assert_eq!(
        told(EventError::NoFolder("attic".into())),
        "there is no folder “attic”. Give the folder of an event, which holds event.toml and inputs.csv"
    );
    assert_eq!(
        told(read_inputs(empty.path()).expect_err("a folder")),
        "hall: is not a file that can be read. Expected a text file"
    );
    assert_eq!(
        told(read_inputs(empty.path().join("none.csv")).expect_err("not there")),
        "hall/none.csv: cannot be read (No such file or directory (os error 2)). Check that the file is there and that you may read it"
    );
    let long = empty.path().join("long.csv");
    fs::File::create(&long).and_then(|file| file.set_len(1 << 33)).expect("a file with a hole");
    assert_eq!(
        told(read_inputs(&long).expect_err("8 GB")),
        "hall/long.csv: longer than 262144 bytes, so it is no hand-written list. Check that the right file is named"
    );
}

/// The example with some of its bytes changed.
fn damaged_event() -> impl Strategy<Value = Vec<u8>> {
    let text = fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/events/spring-concert/event.toml"));
    let text = text.expect("the example");
    proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3u8), 0..12).prop_map(move |slips| {
        let mut bytes = text.clone();
        for (at, byte, how) in slips {
            let at = at.index(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => drop(bytes.remove(at)),
            }
        }
        bytes
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(128))]

    #[test]
    fn damaged_events_are_read_or_refused(bytes in damaged_event()) {
        let folder = folder(None, Some(THREE));
        fs::write(folder.path().join("event.toml"), &bytes).expect("written");
        match Event::open(folder.path()) {
            Ok((mut event, _)) => event.save().expect("what was read can be saved"),
            Err(error) => prop_assert!(!error.mistakes().is_empty(), "{}", error),
        }
    }
}
