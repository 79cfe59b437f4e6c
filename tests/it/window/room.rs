//! The microphone in the room, chosen in the show's page: the event keeps it, and the show attends to it.

use std::cell::RefCell;
use std::rc::Rc;

use beforedoors::engine::Mood;
use beforedoors::engine::watched::{Moment, WatchLink, Where};
use beforedoors::event::Event;
use beforedoors::gui::{App, HallOpener, Look, World};
use beforedoors::units::ChannelId;
use beforedoors::view::Setup;
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::evening::Asking;
use super::ready::event;
use super::{Rehearsal, opener, painter, world};

#[test]
fn the_microphone_in_the_room_is_chosen_and_kept() {
    let (folder, playing) = (event(), Rehearsal::new(1, Mood::Normal));
    let attended: Rc<RefCell<Vec<Option<ChannelId>>>> = Rc::default();
    let begun = Rc::clone(&attended);
    let hall: HallOpener = Box::new(move |moment: &Moment, _: Where, _| {
        if let Moment::Show(_, attending) = moment {
            begun.borrow_mut().push(attending.room);
        }
        Ok(Box::new(Asking::default()) as Box<dyn WatchLink>)
    });
    let world = World { hall, ..world(opener(&playing)) };
    let setup = Setup::of(Event::open(folder.path()).unwrap().0);
    let mut harness = Harness::builder()
        .with_size(vec2(1280.0, 800.0))
        .renderer(painter::Painter::default())
        .build_eframe(|context| App::new(&context.egui_ctx, setup, Look::default(), world));
    harness.key_press(Key::F5);
    harness.run_steps(2);
    harness.get_by_label("Microphone in the room: none  L");
    harness.key_press(Key::L);
    harness.run_steps(2);
    harness.get_by_label("2").click();
    harness.run_steps(2);
    harness.get_by_label("Microphone in the room: 2  L").click();
    harness.run_steps(2);
    harness.get_by_label("none").click();
    harness.run_steps(2);
    assert_eq!(*attended.borrow(), [None, Some(ChannelId::new(1)), None]);
    let text = || std::fs::read_to_string(folder.path().join("event.toml")).unwrap();
    assert!(text().contains("[sound]") && !text().contains("room_mic"), "{}", text());
    harness.key_press(Key::L);
    harness.run_steps(2);
    harness.get_by_label("12").click();
    harness.run_steps(2);
    assert!(text().contains("room_mic = 12"), "{}", text());
    let _: Harness<'_, App> = harness;
}
