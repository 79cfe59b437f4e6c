//! Saving keeps what a person wrote, changes only what changed, and never leaves half a file.

use std::fs;
use std::path::{Path, PathBuf};

use beforedoors::event::{Date, Doors, Event, EventError, Input, Listening, Song};
use beforedoors::units::{ChannelId, Db, Dbfs, SourceKind};

const EVENT: &str = r#"# Written by hand.
version = 1
name = "Spring concert"  # the old name
doors = "18:30"
helper_count = 2         # ours

[desk]
knob = "Trim"
tape = "white"           # ours too

# The choir comes first.
[[song]]
name = "Morning song"
open = [1, 2]            # both choir mics
key = "D major"

[[song]]
name = "Finale"
open = [3]
"#;

const INPUTS: &str = "Ch;Source;Type\n1;Choir left;choir\n2;Choir right;choir\n3;Piano;piano\n";

fn folder_with(event: &str, inputs: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("event.toml"), event).expect("written");
    fs::write(folder.path().join("inputs.csv"), inputs).expect("written");
    folder
}

fn opened(folder: &Path) -> Event {
    Event::open(folder).unwrap_or_else(|error| panic!("{error}")).0
}

fn texts(folder: &Path) -> (String, String) {
    let text = |name| fs::read_to_string(folder.join(name)).expect("readable");
    (text("event.toml"), text("inputs.csv"))
}

#[test]
fn nothing_changed_changes_nothing() {
    let folder = folder_with(EVENT, INPUTS);
    opened(folder.path()).save().expect("saved");
    assert_eq!(texts(folder.path()), (EVENT.to_owned(), INPUTS.to_owned()));
}

#[test]
fn a_change_keeps_comments_order_and_what_is_unknown() {
    let folder = folder_with(EVENT, INPUTS);
    let mut event = opened(folder.path());
    event.settings.name = "Summer concert".to_owned();
    event.settings.doors = Doors::new(Date::new(2027, 6, 20), 19, 0);
    event.settings.connection = Some(Listening::OneFeed);
    event.settings.desk.reference = Some(Dbfs::new(-21.5));
    event.settings.desk.headroom = Some(Db::new(20.0));
    event.settings.desk.date = Date::new(2027, 6, 19);
    event.settings.desk.knob = None;
    event.settings.songs.swap(0, 1);
    event.settings.songs[0].name = "Last song".to_owned();
    event.settings.songs.push(Song { name: "Encore".to_owned(), open: vec![ChannelId::new(1)] });
    event.save().expect("saved");
    let expected = r#"# Written by hand.
version = 1
name = "Summer concert"  # the old name
doors = 2027-06-20T19:00:00
helper_count = 2         # ours
connection = "feed"

[desk]
tape = "white"           # ours too
reference_dbfs = -21.5
headroom_db = 20.0
date = 2027-06-19

[[song]]
name = "Last song"
open = [3]

# The choir comes first.
[[song]]
name = "Morning song"
open = [1, 2]            # both choir mics
key = "D major"

[[song]]
name = "Encore"
open = [2]
"#;
    let (event_text, inputs_text) = texts(folder.path());
    assert_eq!(event_text, expected);
    assert_eq!(inputs_text, INPUTS, "the list did not change");
    assert_eq!(opened(folder.path()).settings, event.settings);
}

#[test]
fn songs_in_one_line_become_songs_of_their_own() {
    let folder = folder_with("name = \"A\"\nsong = [{ name = \"One\", open = [1] }]\n", INPUTS);
    let mut event = opened(folder.path());
    assert_eq!(event.settings.songs[0].open, [ChannelId::new(0)]);
    event.settings.songs[0].open.push(ChannelId::new(2));
    event.save().expect("saved");
    assert_eq!(opened(folder.path()).settings, event.settings);
}

#[test]
fn a_changed_list_is_written_anew() {
    let folder = folder_with(EVENT, INPUTS);
    let mut event = opened(folder.path());
    event.inputs[2].show_lift = Some(Db::new(4.0));
    event.inputs.push(Input::new(ChannelId::new(3), "Lectern", SourceKind::Speech));
    event.save().expect("saved");
    let expected = "channel,name,kind,connection,show_lift_db\n1,Choir left,choir,,\n2,Choir right,choir,,\n\
        3,Piano,piano,,4\n4,Lectern,speech,,\n";
    assert_eq!(texts(folder.path()), (EVENT.to_owned(), expected.to_owned()));
    event.save().expect("saved again");
    assert_eq!(opened(folder.path()).inputs, event.inputs);
}

#[test]
fn a_new_event_makes_its_folder() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("events").join("assembly");
    let mut event = Event::new(&path, "Assembly");
    event.settings.doors = Doors::new(None, 9, 5);
    event.inputs.push(Input::new(ChannelId::new(0), "Lectern", SourceKind::Speech));
    event.save().expect("saved");
    let (event_text, _) = texts(&path);
    assert_eq!(event_text, "version = 1\nname = \"Assembly\"\ndoors = \"09:05\"\n");
    let again = opened(&path);
    assert_eq!((again.settings, again.inputs), (event.settings, event.inputs));
}

#[test]
fn what_somebody_changed_meanwhile_is_not_overwritten() {
    for changed in ["event.toml", "inputs.csv"] {
        let folder = folder_with(EVENT, INPUTS);
        let mut event = opened(folder.path());
        let path = folder.path().join(changed);
        let theirs = format!("{}\n", fs::read_to_string(&path).expect("readable"));
        fs::write(&path, &theirs).expect("written");
        event.settings.name = "Mine".to_owned();
        let error = event.save().expect_err("changed meanwhile");
        assert!(matches!(&error, EventError::ChangedMeanwhile(file) if *file == path), "{error}");
        assert_eq!(fs::read_to_string(&path).expect("readable"), theirs);
    }
    let folder = folder_with(EVENT, INPUTS);
    let error = Event::new(folder.path(), "Another").save().expect_err("there is an event already");
    assert!(matches!(error, EventError::ChangedMeanwhile(_)), "{error}");
}

/// A song that opens a channel which is not listed could not be opened again.
#[test]
fn what_could_not_be_opened_again_is_not_saved() {
    let folder = folder_with(EVENT, INPUTS);
    let mut event = opened(folder.path());
    event.settings.songs[0].open.push(ChannelId::new(40));
    assert!(matches!(event.save(), Err(EventError::Mistakes(_))));
    event.settings.songs[0].open.pop();
    event.settings.desk.reference = Some(Dbfs::SILENCE);
    assert!(matches!(event.save(), Err(EventError::Mistakes(_))));
    assert_eq!(texts(folder.path()), (EVENT.to_owned(), INPUTS.to_owned()));
}

/// A folder that takes no new file (its path is taken by a file) leaves everything as it was.
#[test]
fn a_write_that_fails_is_said_and_loses_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let taken: PathBuf = folder.path().join("taken");
    fs::write(&taken, "a file").expect("written");
    let error = Event::new(taken.join("event"), "Assembly").save().expect_err("no folder can stand there");
    assert!(matches!(error, EventError::Unwritable { .. }), "{error}");
    assert_eq!(fs::read_to_string(&taken).expect("readable"), "a file");
}
