//! The input chosen, tested and kept; a device that goes and comes back.

use std::cell::RefCell;
use std::rc::Rc;

use beforedoors::engine::Mood;
use beforedoors::engine::session::{Hearing, Status};
use beforedoors::event::Event;
use beforedoors::gui::{App, Device, Look, World};
use beforedoors::units::Seconds;
use beforedoors::view::Setup;
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};

use super::recordings::wait_for;
use super::{Rehearsal, opener, world};

fn desk() -> Result<Vec<Device>, String> {
    Ok(vec![Device { name: "Hall desk".into(), about: "12 channels · 48.0 kHz · ALSA".into() }])
}

/// A window on `setup` whose devices sound as the rehearsal does; and what was opened.
fn window(playing: &Rehearsal, setup: Setup) -> (Harness<'static, App>, Rc<RefCell<Vec<Hearing>>>) {
    let opened = Rc::new(RefCell::new(Vec::new()));
    let (told, mut open) = (opened.clone(), opener(playing));
    let listen = Box::new(move |hearing: &Hearing, setup: &Setup, connection, wake| {
        told.borrow_mut().push(hearing.clone());
        open(hearing, setup, connection, wake)
    });
    let world = World { devices: desk, ..world(listen) };
    let harness = Harness::builder()
        .with_size(vec2(1280.0, 800.0))
        .build_eframe(|context| App::new(&context.egui_ctx, setup, Look::default(), world));
    (harness, opened)
}

#[test]
fn a_device_is_chosen_heard_and_kept_and_the_desks_words_are_asked_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut event = Event::new(folder.path(), "Spring concert");
    event.save().unwrap();
    let playing = Rehearsal::new(1, Mood::Normal);
    let (mut harness, opened) = window(&playing, Setup::of(event));
    assert!(matches!(opened.borrow()[..], [Hearing::Stage { .. }]));
    harness.key_press(Key::I);
    wait_for(&mut harness, "12 channels · 48.0 kHz");
    harness.get_by_label("Hall desk").click();
    harness.step();
    harness.step();
    let last = opened.borrow().last().cloned();
    assert!(matches!(last, Some(Hearing::Live { device: Some(name) }) if name == "Hall desk"));
    harness.get_by_label_contains("Listening …");
    playing.play(Seconds::new(6.0));
    harness.step();
    harness.get_by_label_contains("Sound arrives on ");
    // The desk's own words, from here on in the next step.
    let field = harness.get_by_label("Which word stands by the input knob?");
    field.focus();
    harness.step();
    harness.key_press_modifiers(eframe::egui::Modifiers::COMMAND, Key::A);
    harness.get_by_label("Which word stands by the input knob?").type_text("Gain");
    harness.step();
    harness.get_by_label("no marks").click();
    harness.step();
    harness.get_by_label("Keep these words").click();
    harness.step();
    let (kept, _) = Event::open(folder.path()).unwrap();
    let settings = &kept.settings;
    assert_eq!(settings.device.as_deref(), Some("Hall desk"));
    assert_eq!((settings.desk.knob.as_deref(), settings.desk.marks), (Some("Gain"), Some(false)));
    harness.step();
    assert!(harness.get_by_label("Keep these words").accesskit_node().is_disabled(), "asked again");
    // The next start hears the same.
    let (_, opened) = window(&playing, Setup::of(kept));
    assert!(matches!(&opened.borrow()[..], [Hearing::Live { device: Some(name) }] if name == "Hall desk"));
}

#[test]
fn a_device_goes_and_comes_back() {
    let playing = Rehearsal::new(1, Mood::Normal);
    let (mut harness, _) = window(&playing, Setup::default());
    playing.play(Seconds::new(3.0));
    harness.step();
    let before = harness.get_by_label_contains("Next step").value();
    let why = "Hall desk is gone (unplugged). Check its cable and its power, then open it again";
    playing.set_status(Status::Lost(why.into()));
    harness.step();
    harness.get_by_label_contains(why);
    // Back again, with a gap.
    playing.miss(Seconds::new(2.1));
    playing.set_status(Status::Running);
    playing.play(Seconds::new(1.0));
    harness.step();
    harness.step();
    assert!(harness.query_by_label_contains(why).is_none());
    harness.get_by_label_contains("2.1 s of sound missing");
    assert!(before.is_some());
}
