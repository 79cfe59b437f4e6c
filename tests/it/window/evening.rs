//! A recording from the show's page: asked once who may be recorded, begun, told on every page, stopped; and the event's log.

use std::cell::RefCell;
use std::rc::Rc;

use beforedoors::engine::Mood;
use beforedoors::engine::ringout::Equaliser;
use beforedoors::engine::show::Alert;
use beforedoors::engine::watched::{Moment, Picture, Say, Told, WatchLink, Where};
use beforedoors::event::{Date, Event};
use beforedoors::gui::{App, HallOpener, Look, World};
use beforedoors::units::{ChannelId, Seconds};
use beforedoors::view::{Setup, who};
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::{Rehearsal, opener, painter, world};

/// A hall that asks for what it is told to, whose desk is not moved from here.
#[derive(Clone, Default)]
pub struct Asking {
    alert: Rc<RefCell<Option<Alert>>>,
    said: Rc<RefCell<Vec<Say>>>,
}

impl WatchLink for Asking {
    fn picture(&self) -> Picture {
        let alert = *self.alert.borrow();
        Picture {
            at: Seconds::ZERO,
            told: Told::Show { alert, room: None, counts: (0, 0), ready: None, log: Default::default() },
            rings: Vec::new(),
            spectrum: Vec::new(),
            equaliser: Equaliser::ThirdOctave,
            cuts: Vec::new(),
            has_a_desk: false,
            refused: None,
            over: None,
        }
    }

    fn say(&self, say: Say) -> bool {
        self.said.borrow_mut().push(say);
        true
    }

    fn names(&self) -> &[String] {
        &[]
    }
}

fn window(
    playing: &Rehearsal,
    hall: &Asking,
    setup: Setup,
    (width, height, look): (f32, f32, Look),
) -> Harness<'static, App> {
    let hall = hall.clone();
    let hall: HallOpener = Box::new(move |_: &Moment, _: Where, _| Ok(Box::new(hall.clone()) as Box<dyn WatchLink>));
    let world = World { hall, ..world(opener(playing)) };
    Harness::builder()
        .with_size(vec2(width, height))
        .renderer(painter::Painter::default())
        .build_eframe(|context| App::new(&context.egui_ctx, setup, look, world))
}

fn press(harness: &mut Harness<'static, App>, key: Key) {
    harness.key_press(key);
    harness.run_steps(2);
}

fn usual() -> (f32, f32, Look) {
    (1280.0, 800.0, Look::default())
}

/// Who may be recorded is asked, or it is recorded.
pub fn recording(place: (f32, f32, Look), begun: bool) -> Harness<'static, App> {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), EVENT).unwrap();
    let playing = Rehearsal::new(1, Mood::Normal);
    let setup = Setup::of(Event::open(folder.path()).unwrap().0);
    let mut harness = window(&playing, &Asking::default(), setup, place);
    press(&mut harness, Key::F5);
    press(&mut harness, Key::K);
    let name = who(Some(ChannelId::new(1)), &playing.0.borrow().names);
    harness.get_by_label(&name).click();
    harness.run_steps(2);
    if begun {
        press(&mut harness, Key::Space);
        playing.play(Seconds::new(2.0));
        harness.run_steps(2);
    }
    harness
}

const EVENT: &str =
    "version = 1\nname = \"Spring\"\ndevice = \"Desk\"\n[[song]]\nname = \"Opening\"\n[[song]]\nname = \"Finale\"\n";

#[test]
fn a_recording_is_asked_for_once_told_and_stopped() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), EVENT).unwrap();
    let (playing, hall) = (Rehearsal::new(1, Mood::Normal), Asking::default());
    let setup = || Setup::of(Event::open(folder.path()).unwrap().0);
    let mut harness = window(&playing, &hall, setup(), usual());
    press(&mut harness, Key::F5);
    press(&mut harness, Key::ArrowDown);
    press(&mut harness, Key::K);
    harness.get_by_label("30 days").click();
    harness.run_steps(2);
    let name = who(Some(ChannelId::new(1)), &playing.0.borrow().names);
    harness.get_by_label(&name).click();
    harness.run_steps(2);
    let recordings = folder.path().join("recordings");
    assert!(!recordings.exists(), "nothing is recorded before it is said who may be");
    press(&mut harness, Key::Space);
    harness.get_by_label_contains("Recording 0:00");
    let consent = Event::open(folder.path()).unwrap().0.settings.recording.expect("it is kept");
    assert_eq!(consent.barred, [ChannelId::new(1)]);
    assert_eq!(consent.delete_after, Date::today().unwrap().after(30));
    // Two seconds that are heard are in the file, without the barred line.
    playing.play(Seconds::new(2.0));
    *hall.alert.borrow_mut() = Some(Alert::Battery { left: Seconds::new(720.0) });
    harness.run_steps(2);
    press(&mut harness, Key::Space);
    harness.get_by_label_contains("Recording 0:02");
    press(&mut harness, Key::F3);
    harness.get_by_label_contains("Recording 0:02");
    press(&mut harness, Key::F5);
    press(&mut harness, Key::K);
    let file = std::fs::read_dir(&recordings).unwrap().next().unwrap().unwrap().path();
    for _ in 0..200 {
        harness.run_steps(1);
        if harness.query_by_label("Record  K").is_some() {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(10));
    }
    harness.get_by_label("Record  K");
    let wav = hound::WavReader::open(&file).unwrap();
    assert_eq!((usize::from(wav.spec().channels), wav.duration()), (playing.snapshot().inputs.len() - 1, 96_000));
    // Another recording is not asked about.
    press(&mut harness, Key::K);
    harness.get_by_label_contains("Recording 0:00");
    drop(harness);
    assert_eq!(std::fs::read_dir(&recordings).unwrap().count(), 2);
    let log = std::fs::read_to_string(folder.path().join("log.jsonl")).unwrap();
    let lines: Vec<serde_json::Value> = log.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let events: Vec<&str> = lines.iter().map(|line| line["event"].as_str().unwrap()).collect();
    assert!(events.len() >= 5, "{log}");
    println!("{log}");
    assert!(lines.iter().any(|line| line["song"] == "Finale"), "{log}");
    assert!(hall.said.borrow().contains(&Say::Show(true)));
}

/// The simulated stage, and a device without an event: why not, and how to mend it.
#[test]
fn what_cannot_be_recorded_says_why() {
    let (playing, hall) = (Rehearsal::new(1, Mood::Normal), Asking::default());
    let mut harness = window(&playing, &hall, Setup::default(), usual());
    press(&mut harness, Key::F5);
    press(&mut harness, Key::K);
    harness.get_by_label_contains("The simulated stage is not recorded");
    let device = Setup { device: Some("Desk".into()), ..Setup::default() };
    let mut harness = window(&playing, &hall, device, usual());
    press(&mut harness, Key::F5);
    press(&mut harness, Key::K);
    harness.get_by_label_contains("A recording needs an event");
}
