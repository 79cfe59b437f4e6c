//! A recording that is opened: as many marks as faults, keys that walk them, nothing heard before the volume is said to
//! be down; many recordings; long names.

use std::cell::{Cell, RefCell};
use std::path::Path;
use std::rc::Rc;

use beforedoors::engine::Mood;
use beforedoors::engine::excerpt::{Passage, Played, Playing};
use beforedoors::engine::recording::measure;
use beforedoors::gui::{App, Look};
use beforedoors::units::Seconds;
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use super::recordings::{drop_on, wait_for, write, write_tone};
use super::{Rehearsal, window, window_in_any_script, world};

/// What was asked to be played, and whether it still plays.
#[derive(Clone, Default)]
struct Heard {
    passages: Rc<RefCell<Vec<Passage>>>,
    stopped: Rc<Cell<usize>>,
    fails: bool,
}

struct Playback(Heard);

impl Playing for Playback {
    fn played(&self) -> Played {
        if self.0.fails {
            return Played::Failed("no sound output was found. Connect one, switch it on, and try again".into());
        }
        Played::Sounding(Seconds::new(1.0))
    }

    fn stop(&self) {
        self.0.stopped.set(self.0.stopped.get() + 1);
    }
}

fn window_that_plays(heard: &Heard) -> Harness<'static, App> {
    let playing = Rehearsal::new(1, Mood::Normal);
    let opener = super::opener(&playing);
    let heard = heard.clone();
    Harness::builder().with_size(vec2(1280.0, 800.0)).build_eframe(|context| {
        App::new(&context.egui_ctx, beforedoors::view::Setup::default(), Look::default(), world(opener)).with_player(
            Box::new(move |_armed, passage| {
                heard.passages.borrow_mut().push(passage);
                Box::new(Playback(heard.clone()))
            }),
        )
    })
}

/// Clips in two places far apart.
fn hot(path: &Path) {
    write_tone(path, 30, |second| if matches!(second, 5 | 20) { 3.0 } else { 0.2 });
}

fn press(harness: &mut Harness<App>, key: Key) {
    harness.key_press(key);
    harness.step();
    harness.step();
}

fn says(harness: &Harness<App>, words: &str) -> bool {
    harness.query_all_by_label_contains(words).next().is_some()
}

#[test]
fn every_fault_has_its_mark_and_is_walked_by_keys() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("hot take.wav");
    hot(&path);
    let findings = measure(&path, &[], &|_| {}).unwrap().findings;
    assert!(findings.len() >= 2, "{findings:?}");
    let mut harness = window_that_plays(&Heard::default());
    harness.step();
    drop_on(&mut harness, path);
    wait_for(&mut harness, "hot take.wav: hides sound");
    press(&mut harness, Key::Enter);
    assert!(says(&harness, "Level of hot take.wav over"));
    let marks = harness.query_all_by_label_contains(", channel 1").filter(|node| {
        let name = node.accesskit_node().label().unwrap_or_default();
        name.contains(", at 0:") && !name.contains(": ")
    });
    assert_eq!(marks.count(), findings.len());
    assert!(says(&harness, &format!(" of {} faults", findings.len())), "the worst is at hand");
    for _ in 0..findings.len() {
        press(&mut harness, Key::ArrowLeft);
    }
    assert!(says(&harness, &format!("1 of {} faults", findings.len())));
    press(&mut harness, Key::ArrowRight);
    assert!(says(&harness, &format!("2 of {} faults", findings.len())));
    press(&mut harness, Key::ArrowLeft);
    press(&mut harness, Key::ArrowLeft);
    assert!(says(&harness, &format!("1 of {} faults", findings.len())), "the first has none before it");
    press(&mut harness, Key::Escape);
    assert!(says(&harness, "hot take.wav: hides sound"));
}

#[test]
fn nothing_sounds_before_the_volume_is_said_to_be_down() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("hot take.wav");
    hot(&path);
    let heard = Heard::default();
    let mut harness = window_that_plays(&heard);
    harness.step();
    drop_on(&mut harness, path.clone());
    wait_for(&mut harness, "hot take.wav: hides sound");
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::P);
    assert!(says(&harness, "Headphones off your ears, volume down?"));
    assert!(heard.passages.borrow().is_empty());
    // Esc is a no, and leaves nothing behind.
    press(&mut harness, Key::Escape);
    assert!(!says(&harness, "Headphones off your ears"));
    assert!(heard.passages.borrow().is_empty());
    press(&mut harness, Key::P);
    press(&mut harness, Key::Y);
    let first = heard.passages.borrow()[0].clone();
    assert_eq!((first.path, first.channel.number()), (path, 1));
    assert!((first.from.get() - 3.0).abs() < 0.1 && (first.to.get() - 9.0).abs() < 0.1, "two seconds before second 5");
    assert!(says(&harness, "Sounds: 0:01"));
    press(&mut harness, Key::Escape);
    assert_eq!(heard.stopped.get(), 1);
    assert!(says(&harness, "Hear it  P"), "still open");
    // Asked once for each that is opened; another fault ends what plays.
    press(&mut harness, Key::P);
    assert_eq!(heard.passages.borrow().len(), 2);
    press(&mut harness, Key::ArrowRight);
    assert_eq!(heard.stopped.get(), 2);
    press(&mut harness, Key::P);
    // Another view is silent.
    press(&mut harness, Key::F3);
    assert_eq!((heard.passages.borrow().len(), heard.stopped.get()), (3, 3));
}

#[test]
fn an_output_that_is_not_there_is_said_plainly() {
    let folder = tempfile::tempdir().unwrap();
    hot(&folder.path().join("hot take.wav"));
    let mut harness = window_that_plays(&Heard { fails: true, ..Heard::default() });
    harness.step();
    drop_on(&mut harness, folder.path().to_owned());
    wait_for(&mut harness, "hot take.wav: hides sound");
    press(&mut harness, Key::Enter);
    press(&mut harness, Key::P);
    harness.get_by_label("Yes, it is down  Y").click();
    wait_for(&mut harness, "Can’t be heard: no sound output was found. Connect one");
}

/// Only what can be seen is in the tree, so that a picture costs the same for five hundred as for ten.
#[test]
fn five_hundred_recordings_are_walked_without_drawing_them_all() {
    let folder = tempfile::tempdir().unwrap();
    let first = folder.path().join("take 000.wav");
    short(&first);
    for number in 1..500 {
        std::fs::copy(&first, folder.path().join(format!("take {number:03}.wav"))).unwrap();
    }
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    harness.step();
    drop_on(&mut harness, folder.path().to_owned());
    wait_for_value(&mut harness, "500 of 500 recordings read");
    let drawn = harness.query_all_by_label_contains("take ").filter(|node| node.rect().height() > 50.0).count();
    assert!((4..40).contains(&drawn), "{drawn} rows");
    for _ in 0..500 {
        harness.key_press(Key::ArrowDown);
        harness.step();
    }
    harness.step();
    let last = harness.query_all_by_label_contains("take 499.wav").next().expect("walked to").rect();
    assert!(last.bottom() <= 800.0, "{last:?}");
    press(&mut harness, Key::Enter);
    assert!(says(&harness, "Level of take 499.wav over"));
}

/// The one instruction's words are its value.
fn wait_for_value(harness: &mut Harness<App>, words: &str) {
    for _ in 0..6000 {
        harness.step();
        let told = harness.get_by_label_contains("Next step").value().unwrap_or_default();
        if told.contains(words) {
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    panic!("never said: {words}");
}

/// Half a second.
fn short(path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 8_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for n in 0..4_000 {
        writer.write_sample(((n as f32 * 0.3).sin() * 5_000.0) as i16).unwrap();
    }
    writer.finalize().unwrap();
}

/// Rows are as high as their words need: nothing stands beside the window, nothing over the row below.
#[test]
fn long_names_in_any_script_are_whole_at_every_size_of_text() {
    let folder = tempfile::tempdir().unwrap();
    // A file's name is at most 255 bytes.
    let names = ["n".repeat(200), "Ж".repeat(120), "名前".repeat(40), "so many words in one name ".repeat(8)];
    for name in &names {
        write(&folder.path().join(format!("{}.wav", name.trim())), 3.0);
    }
    let playing = Rehearsal::new(1, Mood::Normal);
    for (width, height) in [(1280.0, 800.0), (900.0, 600.0)] {
        let mut harness = window_in_any_script(&playing, Default::default(), Look::default(), width, height);
        harness.step();
        drop_on(&mut harness, folder.path().to_owned());
        wait_for_value(&mut harness, "4 of 4 recordings read");
        for _ in 0..4 {
            press(&mut harness, Key::Plus);
        }
        let mut seen = std::collections::BTreeSet::new();
        for _ in 0..8 {
            let rows: Vec<(String, eframe::egui::Rect)> = harness
                .query_all_by_label_contains(": hides sound")
                .map(|node| (node.accesskit_node().label().unwrap_or_default(), node.rect()))
                .collect();
            for (name, rect) in &rows {
                assert!(rect.left() >= 0.0 && rect.right() <= width, "{rect:?}");
                // 34 points a line, at most the row's width: a row that is too low would cut letters off.
                let letters = name.chars().count() as f32 * 8.0;
                assert!(rect.height() * rect.width() >= letters * 34.0, "{rect:?} for {name}");
                seen.insert(name.clone());
            }
            let mut edges: Vec<_> = rows.iter().map(|(_, rect)| (rect.top(), rect.bottom())).collect();
            edges.sort_by(|a, b| a.0.total_cmp(&b.0));
            assert!(edges.windows(2).all(|pair| pair[0].1 <= pair[1].0 + 0.5), "{edges:?}");
            press(&mut harness, Key::ArrowDown);
        }
        assert_eq!(seen.len(), 4, "{seen:?}");
        // An opened one has its name in full, in lines.
        press(&mut harness, Key::Enter);
        let name = harness.query_all_by_label_contains(".wav").map(|node| node.rect());
        assert!(name.into_iter().all(|rect| rect.left() >= 0.0 && rect.right() <= width));
    }
}

#[test]
fn files_are_picked_in_place_by_keys() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("takes")).unwrap();
    short(&folder.path().join("takes/first.wav"));
    short(&folder.path().join("takes/second.wav"));
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    harness.step();
    press(&mut harness, Key::F6);
    press(&mut harness, Key::O);
    let field = harness.get_by_label("Folder or file");
    field.type_text(&format!("{}/", folder.path().display()));
    harness.step();
    harness.step();
    assert!(says(&harness, "no folder or file is called that"), "typed behind what stood there");
    harness.key_press_modifiers(eframe::egui::Modifiers::COMMAND, Key::A);
    harness.step();
    harness.get_by_label("Folder or file").type_text(&format!("{}/ta", folder.path().display()));
    harness.step();
    harness.step();
    // The one line that begins with it completes the name; then the folder is read as a whole.
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::Enter);
    assert!(says(&harness, "Read all here: 2 recordings"));
    harness.get_by_label("Read all here: 2 recordings").click();
    wait_for(&mut harness, "first.wav: ");
    wait_for(&mut harness, "second.wav: ");
}
