//! Pictures of the window, held against stored ones; the README shows them.
//!
//! `UPDATE_SNAPSHOTS=1` stores them anew. `BEFOREDOORS_PICTURES=FOLDER` writes every view there, at two sizes of window
//! and two of text, dim and bright, to be looked at.

use std::path::{Path, PathBuf};

use beforedoors::engine::quiet::{QuietStep, TAP, Which};
use beforedoors::engine::ringout::RingStep;
use beforedoors::engine::{Mood, show::ShowAction};
use beforedoors::event::rig;
use beforedoors::gui::{App, Look};
use beforedoors::units::Seconds;
use eframe::egui::Key;
use egui_kittest::{Harness, SnapshotOptions, SnapshotResults};

use super::halls::Hall;
use super::recordings::{drop_on, wait_for, write, write_tone};
use super::{Rehearsal, evening, linecheck, plan, ready, window_with_halls};

type Place = (f32, f32, Look);

const USUAL: fn() -> Place = || (1280.0, 800.0, Look::default());

/// A soundcheck under way, on the simulated stage.
fn soundcheck((width, height, look): Place) -> Harness<'static, App> {
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window_with_halls(&playing, Hall::default().opener(), look, width, height);
    for _ in 0..24 {
        playing.play(Seconds::new(0.5));
        harness.step();
    }
    harness
}

fn pressed(mut harness: Harness<'static, App>, keys: &[Key]) -> Harness<'static, App> {
    for key in keys {
        harness.key_press(*key);
        harness.step();
    }
    harness.step();
    harness
}

/// A ring-out that has just found what rings.
fn ringing((width, height, look): Place) -> Harness<'static, App> {
    let (playing, hall) = (Rehearsal::new(1, Mood::Normal), Hall::default());
    let mut harness = pressed(window_with_halls(&playing, hall.opener(), look, width, height), &[Key::F4, Key::Space]);
    for frame in 0..6000 {
        hall.listen(1);
        if matches!(hall.step(), RingStep::Cut(_)) && !hall.picture().cuts.is_empty() {
            break;
        }
        if frame % 7 == 0 && hall.step() != RingStep::Wait {
            harness.key_press(Key::Space);
            harness.step();
        }
    }
    pressed(harness, &[])
}

/// A quiet sweep while it sounds, and what it found.
fn quiet((width, height, look): Place, done: bool) -> Harness<'static, App> {
    let (playing, hall) = (Rehearsal::new(1, Mood::Normal), Hall::default());
    let harness = window_with_halls(&playing, hall.opener(), look, width, height);
    let harness = pressed(harness, &[Key::F4, Key::Q, Key::Space]);
    hall.hear_until(|step| matches!(step, QuietStep::Tap { rise } if *rise >= TAP));
    let harness = pressed(harness, &[Key::Space]);
    hall.hear_until(|step| match step {
        QuietStep::Sounding { which: Which::First, share, .. } => !done && *share > 0.4,
        step => *step == QuietStep::Done,
    });
    pressed(harness, &[])
}

fn show((width, height, look): Place, rings: bool) -> Harness<'static, App> {
    let (playing, hall) = (Rehearsal::new(1, Mood::Normal), Hall::default());
    let mut harness = pressed(window_with_halls(&playing, hall.opener(), look, width, height), &[Key::F5]);
    hall.listen(50);
    harness.step();
    if rings {
        harness = pressed(harness, &[Key::ArrowRight; 9]);
        for _ in 0..300 {
            hall.listen(2);
            if hall.action() != ShowAction::Nothing {
                break;
            }
        }
    }
    pressed(harness, &[])
}

/// The last look before doors, held against floors that were so far off.
fn last_look(place: Place, off: &[(usize, f64)]) -> Harness<'static, App> {
    let (playing, hall, folder) = (Rehearsal::new(1, Mood::Normal), Hall::default(), ready::event());
    ready::store(folder.path(), off);
    let harness = pressed(ready::window(&playing, &hall, folder.path(), place), &[Key::F5, Key::R]);
    hall.listen(203);
    pressed(harness, &[])
}

fn recordings((width, height, look): Place, opened: bool) -> Harness<'static, App> {
    let folder = tempfile::tempdir().unwrap();
    write(&folder.path().join("choir, balcony.wav"), 0.2);
    write_tone(&folder.path().join("desk feed.wav"), 6, |second| if second == 3 { 1.6 } else { 0.3 });
    write(&folder.path().join("soloist.wav"), 0.0);
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window_with_halls(&playing, Hall::default().opener(), look, width, height);
    drop_on(&mut harness, folder.path().to_owned());
    for name in ["choir", "desk feed", "soloist"] {
        wait_for(&mut harness, name);
    }
    pressed(harness, if opened { &[Key::Enter] } else { &[] })
}

/// The worked example's plan, at what is worst.
fn example((width, height, look): Place) -> Harness<'static, App> {
    let folder = tempfile::tempdir().unwrap();
    rig::write_example(folder.path()).unwrap();
    // The picture shall not tell how late it is where it is drawn.
    let file = folder.path().join("event.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    assert!(text.contains("doors = \"18:30\"\n"));
    std::fs::write(&file, text.replace("doors = \"18:30\"\n", "")).unwrap();
    pressed(plan::window(Some(folder.path()), folder.path(), look, (width, height)), &[Key::F1])
}

/// The worked example, just made.
fn made((width, height, look): Place) -> Harness<'static, App> {
    let folder = tempfile::tempdir().unwrap();
    pressed(plan::window(None, folder.path(), look, (width, height)), &[Key::F1, Key::X])
}

fn lines((width, height, look): Place) -> Harness<'static, App> {
    pressed(linecheck::swapped(look, (width, height)), &[])
}

#[test]
fn the_stored_pictures_are_what_is_drawn() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/window");
    let options = SnapshotOptions::new().threshold(2.0).max_failed_pixels(40_usize).output_path(folder);
    let mut results = SnapshotResults::new();
    let shown = [
        ("plan", example(USUAL())),
        ("linecheck", lines(USUAL())),
        ("soundcheck", soundcheck(USUAL())),
        ("ringout", ringing(USUAL())),
        ("show-now", show(USUAL(), true)),
    ];
    for (name, mut harness) in shown {
        harness.snapshot_options(name, &options);
        results.extend_harness(&mut harness);
    }
    results.unwrap();
}

#[test]
fn every_view_is_drawn_for_whoever_wants_to_look() {
    let Some(folder) = std::env::var_os("BEFOREDOORS_PICTURES").map(PathBuf::from) else { return };
    for (width, height) in [(1280.0, 800.0), (1920.0, 1080.0)] {
        for (bright, text) in [(false, 1.0), (true, 1.0), (false, 2.0), (true, 2.0)] {
            let at = || (width, height, Look { bright, text, ..Look::default() });
            let views: [(&str, Harness<App>); 22] = [
                ("plan", example(at())),
                ("plan-made", made(at())),
                ("plan-hall", pressed(example(at()), &[Key::H])),
                ("plan-why", pressed(example(at()), &[Key::W])),
                ("linecheck", lines(at())),
                ("soundcheck", soundcheck(at())),
                ("why", pressed(soundcheck(at()), &[Key::W])),
                ("table", pressed(soundcheck(at()), &[Key::T])),
                ("help", pressed(soundcheck(at()), &[Key::Questionmark])),
                ("input", pressed(soundcheck(at()), &[Key::I])),
                ("list", pressed(soundcheck(at()), &[Key::E])),
                ("ringout", ringing(at())),
                ("quiet", quiet(at(), false)),
                ("quiet-done", quiet(at(), true)),
                ("show", show(at(), false)),
                ("show-now", show(at(), true)),
                ("show-recording-asked", evening::recording(at(), false)),
                ("show-recording", evening::recording(at(), true)),
                ("ready", last_look(at(), &[])),
                ("ready-noisier", last_look(at(), &[(0, -13.0)])),
                ("recordings", recordings(at(), false)),
                ("recording", recordings(at(), true)),
            ];
            for (name, mut harness) in views {
                let light = if bright { "bright" } else { "dim" };
                let picture = harness.render().expect("a picture");
                picture
                    .save(folder.join(format!("{name}-{width}-{light}-{text}.png")))
                    .expect("a folder that is there");
            }
        }
    }
}
