//! The last look in the window's show, by keys alone, on the simulated stage; and the soundcheck that it is held against.

use std::path::Path;

use beforedoors::coach::ready::{Baseline, Was};
use beforedoors::engine::Mood;
use beforedoors::event::{Event, keep_checked, read_checked};
use beforedoors::gui::{App, Look, World};
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::units::{ChannelId, Db, SampleRate, Seconds};
use beforedoors::view::Setup;
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::halls::Hall;
use super::{Rehearsal, opener, painter, world};

pub fn event() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), "version = 1\nname = \"Spring\"\n").unwrap();
    folder
}

/// A window on the stage, with this event.
pub fn window(
    playing: &Rehearsal,
    hall: &Hall,
    event: &Path,
    (width, height, look): (f32, f32, Look),
) -> Harness<'static, App> {
    let world = World { hall: hall.opener(), ..world(opener(playing)) };
    let setup = Setup::of(Event::open(event).unwrap().0);
    Harness::builder()
        .with_size(vec2(width, height))
        .renderer(painter::Painter::default())
        .build_eframe(|context| App::new(&context.egui_ctx, setup, look, world))
}

/// As if the soundcheck had left the first stage so, but for the floors that are said: by so much over what they are now.
pub fn store(event: &Path, off: &[(usize, f64)]) {
    let rate = SampleRate::new(48_000).unwrap();
    let stage = Stage::new(StageConfig::new(1, Mood::Normal, rate));
    let line = |line: usize| {
        let channel = ChannelId::from_index(line);
        let by = off.iter().find(|(other, _)| *other == line).map_or(0.0, |(_, by)| *by);
        let floor = Some(stage.true_floor(channel) + Db::new(by));
        Was { heard: true, floor, typical: None, knob: Some(stage.trim(channel)) }
    };
    let lines = (0..stage.inputs().len()).map(line).collect();
    keep_checked(event, Baseline { device: "simulated stage 1".into(), rate, lines }, true, |_| true).unwrap();
}

fn press(harness: &mut Harness<'static, App>, key: Key) {
    harness.key_press(key);
    harness.run_steps(2);
}

fn said(harness: &Harness<'static, App>) -> String {
    harness.get_by_label_contains("Next step").value().unwrap_or_default()
}

#[test]
fn ready_by_keys_alone() {
    let (folder, hall, playing) = (event(), Hall::default(), Rehearsal::new(1, Mood::Normal));
    let mut harness = window(&playing, &hall, folder.path(), (1280.0, 800.0, Look::default()));
    press(&mut harness, Key::F5);
    press(&mut harness, Key::R);
    harness.get_by_label_contains("No soundcheck of this event is stored yet");
    // Its floors were softer on 5, and softer still on 1; both are a room’s, over −95 dBFS.
    store(folder.path(), &[(4, -8.0), (0, -13.0)]);
    press(&mut harness, Key::R);
    hall.listen(50);
    harness.run_steps(2);
    assert!(said(&harness).contains("Quiet on stage, please, for 20 s"), "{}", said(&harness));
    hall.listen(152);
    harness.run_steps(2);
    assert!(said(&harness).contains("1 Lectern is 13 dB noisier than at the soundcheck"), "{}", said(&harness));
    assert!(said(&harness).contains("then 1 more"), "{}", said(&harness));
    press(&mut harness, Key::S);
    assert!(said(&harness).contains("5 Choir right is 8 dB noisier"), "{}", said(&harness));
    press(&mut harness, Key::S);
    hall.listen(1);
    harness.run_steps(2);
    assert!(said(&harness).contains("Ready, with 2 things left as they are"), "{}", said(&harness));
    // A whole look anew, with all that was left.
    press(&mut harness, Key::R);
    hall.listen(1);
    harness.run_steps(2);
    assert!(said(&harness).contains("Quiet on stage"), "{}", said(&harness));
    press(&mut harness, Key::Escape);
    hall.listen(20);
    harness.run_steps(2);
    harness.get_by_label_contains("As rehearsed");
}

#[test]
fn what_the_soundcheck_in_the_window_found_is_stored_as_it_is_left() {
    let (folder, hall, playing) = (event(), Hall::default(), Rehearsal::new(1, Mood::Normal));
    let mut harness = window(&playing, &hall, folder.path(), (1280.0, 800.0, Look::default()));
    let is_stored = || read_checked(folder.path(), true).unwrap();
    press(&mut harness, Key::F5);
    assert_eq!(is_stored(), None, "nothing was heard yet");
    press(&mut harness, Key::F3);
    for _ in 0..90 {
        playing.play(Seconds::new(1.0));
        harness.step();
    }
    press(&mut harness, Key::F5);
    let lines = is_stored().expect("stored").left.lines;
    let set = |line: usize| playing.snapshot().inputs[line].state == beforedoors::engine::ChannelState::Set;
    assert!((0..12).any(set), "nothing is set after a minute and a half");
    for (line, was) in lines.iter().enumerate() {
        assert_eq!(was.heard, set(line), "line {line}: {was:?}");
    }
}
