//! The input list edited in the window: by keys and by fields, undone, pasted, dropped, saved at once and read back.

use std::path::Path;

use beforedoors::engine::Mood;
use beforedoors::event::Event;
use beforedoors::gui::{App, Look};
use beforedoors::units::SourceKind;
use beforedoors::view::Setup;
use eframe::egui::{Event as UiEvent, Key, Modifiers};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::recordings::drop_on;
use super::{Rehearsal, window_in_any_script};

const LIST: &str = "channel,name,kind,connection,show_lift_db,colour\n\
                    1,Lectern,speech,mic,,red\n\
                    2,Soloist,solo vocal,radio,9,blue\n";

fn event_in(folder: &Path) {
    let event = "version = 1\nname = \"Spring concert\"\n\n[[song]]\nname = \"First\"\nopen = [2]\n";
    std::fs::write(folder.join("event.toml"), event).unwrap();
    std::fs::write(folder.join("inputs.csv"), LIST).unwrap();
}

fn window_on(setup: Setup, width: f32, height: f32) -> Harness<'static, App> {
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window_in_any_script(&playing, setup, Look::default(), width, height);
    harness.step();
    press(&mut harness, Key::E);
    harness
}

fn window_on_folder(folder: &Path) -> Harness<'static, App> {
    window_on(Setup::of(Event::open(folder).unwrap().0), 1280.0, 800.0)
}

fn press(harness: &mut Harness<App>, key: Key) {
    harness.key_press(key);
    harness.step();
    harness.step();
}

fn command(harness: &mut Harness<App>, key: Key) {
    harness.key_press_modifiers(Modifiers::COMMAND, key);
    harness.step();
    harness.step();
}

fn says(harness: &Harness<App>, words: &str) -> bool {
    harness.query_all_by_label_contains(words).next().is_some()
}

/// What the folder says, read anew.
fn saved(folder: &Path) -> Vec<(u16, String, SourceKind)> {
    let event = Event::open(folder).unwrap().0;
    event.inputs.into_iter().map(|input| (input.channel.number(), input.name, input.kind)).collect()
}

#[test]
fn a_list_is_written_by_keys_alone_saved_at_once_and_undone() {
    let folder = tempfile::tempdir().unwrap();
    event_in(folder.path());
    let mut harness = window_on_folder(folder.path());
    assert!(says(&harness, "Input list: 2 inputs"));
    assert!(says(&harness, "2 Soloist, solo vocal · radio"));
    // The second line; its name is written over; Enter counts it.
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::Enter);
    command(&mut harness, Key::A);
    harness.get_by_label("Name").type_text("Anna");
    harness.step();
    press(&mut harness, Key::Enter);
    assert_eq!(saved(folder.path())[1], (2, "Anna".into(), SourceKind::SoloVocal));
    // A line more, named at once.
    press(&mut harness, Key::A);
    harness.get_by_label("Name").type_text("Drums");
    harness.step();
    press(&mut harness, Key::Enter);
    assert_eq!(saved(folder.path())[2], (3, "Drums".into(), SourceKind::Other));
    // Up past its neighbour: they exchange channels, and the song follows Anna.
    harness.key_press_modifiers(Modifiers::ALT, Key::ArrowUp);
    harness.step();
    harness.step();
    assert_eq!(
        saved(folder.path())[1..],
        [(2, "Drums".into(), SourceKind::Other), (3, "Anna".into(), SourceKind::SoloVocal)]
    );
    assert_eq!(Event::open(folder.path()).unwrap().0.settings.songs[0].open[0].number(), 3);
    press(&mut harness, Key::Delete);
    assert_eq!(saved(folder.path()).len(), 2);
    assert!(says(&harness, "Channel 2 removed"));
    for _ in 0..5 {
        command(&mut harness, Key::Z);
    }
    assert_eq!(saved(folder.path())[1], (2, "Soloist".into(), SourceKind::SoloVocal));
    assert_eq!(saved(folder.path()).len(), 2);
    for _ in 0..5 {
        command(&mut harness, Key::Y);
    }
    assert_eq!(saved(folder.path()).len(), 2);
    assert_eq!(saved(folder.path())[1].1, "Anna");
    // What this program does not know is kept.
    assert!(std::fs::read_to_string(folder.path().join("inputs.csv")).unwrap().contains("colour"));
    press(&mut harness, Key::Escape);
    assert!(says(&harness, "Skip  S"), "back at the soundcheck");
}

#[test]
fn a_kind_is_chosen_and_a_wrong_cell_says_what_was_expected() {
    let folder = tempfile::tempdir().unwrap();
    event_in(folder.path());
    let mut harness = window_on_folder(folder.path());
    harness.get_by_label("Kind").click();
    harness.step();
    harness.step();
    harness.get_by_label("choir").click();
    harness.step();
    harness.step();
    assert_eq!(saved(folder.path())[0].2, SourceKind::Choir);
    harness.get_by_label("Channel").click();
    harness.step();
    command(&mut harness, Key::A);
    harness.get_by_label("Channel").type_text("2");
    harness.step();
    press(&mut harness, Key::Enter);
    assert!(says(&harness, "(channel): channel 2 is listed twice, first on line 2. Expected each channel once"));
    assert_eq!(saved(folder.path())[0].0, 1, "nothing wrong is saved");
    // The person stays with it until it is mended or left.
    press(&mut harness, Key::ArrowDown);
    assert!(says(&harness, "Expected each channel once"));
    harness.get_by_label("Channel").click();
    harness.step();
    command(&mut harness, Key::A);
    harness.get_by_label("Channel").type_text("9");
    harness.step();
    press(&mut harness, Key::Enter);
    assert_eq!(saved(folder.path())[0].0, 9);
    assert!(!says(&harness, "Expected each channel once"));
}

#[test]
fn cells_of_a_spreadsheet_are_pasted_and_every_mistake_names_its_line() {
    let folder = tempfile::tempdir().unwrap();
    event_in(folder.path());
    let mut harness = window_on_folder(folder.path());
    let paste = |harness: &mut Harness<App>, text: &str| {
        harness.input_mut().events.push(UiEvent::Paste(text.to_owned()));
        harness.step();
        harness.step();
    };
    paste(&mut harness, "channel\tname\tkind\n1\tFlute\tfloot\n70\tChoir\tchoir\n");
    assert!(says(&harness, "pasted cells:2:3 (kind): “floot” is not a kind of source. Expected one of:"));
    assert!(says(
        &harness,
        "pasted cells:3:1 (channel): “70” is not a channel. Expected one whole number from 1 to 64"
    ));
    assert_eq!(saved(folder.path()).len(), 2, "what was there stays");
    paste(&mut harness, "channel\tname\tkind\n1\tFlute\twoodwind\n2\tChoir\tchoir\n3\t合唱\tchoir\n");
    assert!(says(&harness, "3 inputs read"));
    assert_eq!(saved(folder.path())[2], (3, "合唱".into(), SourceKind::Choir));
    command(&mut harness, Key::Z);
    assert_eq!(saved(folder.path())[1].1, "Soloist");
}

#[test]
fn a_list_that_is_dropped_opens_the_editor() {
    let folder = tempfile::tempdir().unwrap();
    event_in(folder.path());
    let list = folder.path().join("from the office.csv");
    std::fs::write(&list, "No;Name;Type\n4;Narrator;speech\n").unwrap();
    let mut harness = window_on_folder(folder.path());
    press(&mut harness, Key::Escape);
    drop_on(&mut harness, list);
    harness.step();
    assert!(says(&harness, "Input list: 1 input"));
    assert_eq!(saved(folder.path()), [(4, "Narrator".into(), SourceKind::Speech)]);
}

#[test]
fn without_an_event_one_is_made_in_plain_words() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path().join("spring");
    let mut harness = window_on(Setup::default(), 1280.0, 800.0);
    assert!(says(&harness, "Not saved yet: name an event and its folder"));
    press(&mut harness, Key::A);
    harness.get_by_label("Name").type_text("Lectern");
    harness.step();
    press(&mut harness, Key::Enter);
    harness.get_by_label("Make the event folder").click();
    harness.step();
    harness.step();
    assert!(says(&harness, "name the event first"));
    harness.get_by_label("Name of the event").click();
    harness.step();
    harness.get_by_label("Name of the event").type_text("Spring concert");
    harness.step();
    harness.get_by_label("Folder it is kept in").click();
    harness.step();
    command(&mut harness, Key::A);
    harness.get_by_label("Folder it is kept in").type_text(&home.display().to_string());
    harness.step();
    harness.get_by_label("Make the event folder").click();
    harness.step();
    harness.step();
    assert!(says(&harness, "Spring concert, saved in"));
    assert_eq!(saved(&home), [(1, "Lectern".into(), SourceKind::Other)]);
    assert_eq!(Event::open(&home).unwrap().0.settings.name, "Spring concert");
}

#[test]
fn a_folder_that_somebody_changed_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    event_in(folder.path());
    let mut harness = window_on_folder(folder.path());
    let theirs = "channel,name,kind,connection,show_lift_db\n2,Soloist,solo vocal,radio,9\n7,Theirs,speech,mic,\n";
    std::fs::write(folder.path().join("inputs.csv"), theirs).unwrap();
    press(&mut harness, Key::Delete);
    assert!(says(&harness, "Not saved: "));
    assert_eq!(std::fs::read_to_string(folder.path().join("inputs.csv")).unwrap(), theirs);
    harness.get_by_label("Read the folder again").click();
    harness.step();
    harness.step();
    assert!(says(&harness, "7 Theirs, speech · mic"));
    assert!(!says(&harness, "Not saved: "));
}

/// At 200 % text the longest names stand in lines inside the window, none over another.
#[test]
fn long_names_in_any_script_are_whole() {
    let folder = tempfile::tempdir().unwrap();
    event_in(folder.path());
    let names = ["n".repeat(200), "Ж".repeat(200), "合唱".repeat(100), "many words ".repeat(18)];
    let rows: Vec<String> =
        names.iter().enumerate().map(|(at, name)| format!("{},{name},choir,mic,", at + 1)).collect();
    let list = format!("channel,name,kind,connection,show_lift_db\n{}\n", rows.join("\n"));
    std::fs::write(folder.path().join("inputs.csv"), list).unwrap();
    for (width, height) in [(1280.0, 800.0), (900.0, 600.0), (1920.0, 1080.0)] {
        let mut harness = window_on(Setup::of(Event::open(folder.path()).unwrap().0), width, height);
        for _ in 0..4 {
            press(&mut harness, Key::Plus);
        }
        let rows: Vec<_> = harness.query_all_by_label_contains(", choir · mic").map(|node| node.rect()).collect();
        assert_eq!(rows.len(), 4);
        for rect in &rows {
            assert!(rect.left() >= 0.0 && rect.right() <= width, "{rect:?}");
            // 198 letters at least, 9 points wide at least, in lines of 34.
            assert!(rect.height() * rect.width() >= 198.0 * 9.0 * 34.0, "{rect:?}");
        }
        assert!(rows.windows(2).all(|pair| pair[0].bottom() <= pair[1].top() + 0.5), "{rows:?}");
        for button in ["Add  A", "Remove  Del", "Undo  Ctrl Z", "Back  Esc", "Paste a sheet  Ctrl V"] {
            let rect = harness.get_by_label(button).rect();
            assert!(rect.left() >= 0.0 && rect.right() <= width && rect.height() >= 55.9, "{button}: {rect:?}");
        }
    }
}
