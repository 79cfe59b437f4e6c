//! Ring-out and show in the window: halls whose time the test makes go by.

use std::cell::RefCell;
use std::rc::Rc;

use beforedoors::engine::Mood;
use beforedoors::engine::quiet::{NoSweep, QuietStep, TAP};
use beforedoors::engine::ringout::RingStep;
use beforedoors::engine::show::{Alert, ShowAction};
use beforedoors::engine::watched::{Moment, Picture, Say, Told, WatchLink, Watched, Where, watched};
use beforedoors::gui::{App, HallOpener, Look};
use eframe::egui::Key;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::{Rehearsal, window_with_halls};

/// The hall that was opened last.
#[derive(Clone, Default)]
pub struct Hall(Rc<RefCell<Option<Box<dyn Watched>>>>);

impl Hall {
    pub fn opener(&self) -> HallOpener {
        let hall = self.clone();
        Box::new(move |moment: &Moment, place: Where, _| {
            let (opened, names) = watched(moment, place)?;
            *hall.0.borrow_mut() = Some(opened);
            Ok(Box::new(Ear { hall: hall.clone(), names }) as Box<dyn WatchLink>)
        })
    }

    pub fn listen(&self, frames: usize) {
        let mut hall = self.0.borrow_mut();
        let hall = hall.as_mut().expect("a hall was opened");
        (0..frames).for_each(|_| assert!(hall.go_on()));
    }

    pub fn picture(&self) -> Picture {
        self.0.borrow().as_ref().expect("a hall was opened").picture()
    }

    pub fn step(&self) -> RingStep {
        match self.picture().told {
            Told::RingOut { advice, .. } => advice.step,
            Told::Show { .. } | Told::Quiet { .. } => panic!("this is no ring-out"),
        }
    }

    pub fn action(&self) -> ShowAction {
        match self.picture().told {
            Told::Show { alert: Some(Alert::Ring(advice)), .. } => advice.action,
            Told::Show { .. } => ShowAction::Nothing,
            Told::RingOut { .. } | Told::Quiet { .. } => panic!("this is no show"),
        }
    }

    fn quiet_step(&self) -> QuietStep {
        match self.picture().told {
            Told::Quiet { step, .. } => step,
            Told::RingOut { .. } | Told::Show { .. } => panic!("this is no quiet sweep"),
        }
    }

    /// Hears on until a quiet sweep comes to such a step.
    pub fn hear_until(&self, wanted: impl Fn(&QuietStep) -> bool) {
        for _ in 0..LONGEST {
            if wanted(&self.quiet_step()) {
                return;
            }
            self.0.borrow_mut().as_mut().expect("a hall was opened").go_on();
        }
        panic!("it never comes: {:?}", self.quiet_step());
    }
}

struct Ear {
    hall: Hall,
    names: Vec<String>,
}

impl WatchLink for Ear {
    fn picture(&self) -> Picture {
        self.hall.picture()
    }

    fn say(&self, say: Say) -> bool {
        self.hall.0.borrow_mut().as_mut().expect("a hall was opened").hear(say).is_ok()
    }

    fn names(&self) -> &[String] {
        &self.names
    }
}

fn window(hall: &Hall) -> Harness<'static, App> {
    let playing = Rehearsal::new(1, Mood::Normal);
    window_with_halls(&playing, hall.opener(), Look::default(), 1280.0, 800.0)
}

/// Half an hour, at most.
const LONGEST: usize = 18_000;

#[test]
fn a_ring_out_from_start_to_stop_by_keys_alone() {
    let hall = Hall::default();
    let mut harness = window(&hall);
    harness.key_press(Key::F4);
    harness.step();
    harness.get_by_label("31 bands");
    harness.key_press(Key::Space);
    harness.step();
    let mut cut = None;
    let mut marked = false;
    for frame in 0..LONGEST {
        hall.listen(1);
        let step = hall.step();
        if step == RingStep::Over {
            break;
        }
        // A hand takes 0.7 s.
        if frame % 7 != 0 || step == RingStep::Wait {
            continue;
        }
        harness.step();
        if matches!(step, RingStep::Down { .. }) {
            marked |= harness.query_by_label_contains("Spectrum: ringing").is_some();
        }
        if let RingStep::Cut(_) = step {
            let said = harness.get_by_label_contains("Next step").value().unwrap_or_default();
            assert!(said.contains("band of Mains by 3 dB"), "{said}");
            cut.get_or_insert(said);
        }
        harness.key_press(Key::Space);
        harness.step();
    }
    assert_eq!(hall.step(), RingStep::Over);
    assert!(cut.is_some(), "nothing was cut");
    assert!(marked, "no ring was marked on the picture");
    harness.step();
    harness.get_by_label("Ring out again  Space");
    assert!(harness.query_all_by_label_contains("Mains: ").count() > 0);
}

#[test]
fn the_big_stop_and_the_last_cut_back() {
    let hall = Hall::default();
    let mut harness = window(&hall);
    harness.key_press(Key::F4);
    harness.step();
    harness.get_by_label("Begin  Space").click();
    harness.step();
    for _ in 0..LONGEST {
        hall.listen(7);
        if !hall.picture().cuts.is_empty() {
            break;
        }
        if hall.step() != RingStep::Wait {
            harness.key_press(Key::Space);
        }
        harness.step();
    }
    harness.step();
    assert_eq!(hall.picture().cuts.len(), 1);
    harness.get_by_label("Last cut back  B").click();
    harness.step();
    assert_eq!(hall.picture().cuts, []);
    harness.get_by_label("STOP  Esc").click();
    harness.step();
    hall.listen(1);
    assert!(
        matches!(hall.step(), RingStep::Leave { .. } | RingStep::Over | RingStep::Down { .. }),
        "{:?}",
        hall.step()
    );
}

#[test]
fn a_ring_in_the_show_is_now_and_calm_comes_back() {
    let hall = Hall::default();
    let mut harness = window(&hall);
    harness.key_press(Key::F5);
    harness.step();
    hall.listen(50);
    assert_eq!(hall.action(), ShowAction::Nothing);
    harness.step();
    harness.get_by_label_contains("As rehearsed");
    for _ in 0..9 {
        harness.key_press(Key::ArrowRight);
        harness.step();
    }
    let mut asked = Vec::new();
    for _ in 0..300 {
        hall.listen(2);
        if hall.action() == ShowAction::Nothing && !asked.is_empty() {
            break;
        }
        if hall.action() != ShowAction::Nothing {
            harness.step();
            asked.push(harness.get_by_label_contains("Next step").value().unwrap_or_default());
            harness.key_press(Key::Space);
            harness.step();
        }
    }
    assert!(asked.first().is_some_and(|said| said.contains("DOWN") && said.contains("now")), "{asked:#?}");
    assert_eq!(hall.action(), ShowAction::Nothing, "{asked:#?}");
    harness.step();
    harness.get_by_label_contains("so far");
}

/// Q measures quietly: cautions, a tap, the sweeps, then the picture of the loop and every microphone's line.
#[test]
fn a_quiet_sweep_by_keys_alone() {
    let hall = Hall::default();
    let mut harness = window(&hall);
    let press = |harness: &mut Harness<'static, App>, key| {
        harness.key_press(key);
        harness.step();
    };
    press(&mut harness, Key::F4);
    press(&mut harness, Key::Q);
    assert_eq!(hall.quiet_step(), QuietStep::Cautions);
    harness.step();
    harness.get_by_label_contains("any key stops the sound");
    press(&mut harness, Key::Space);
    hall.hear_until(|step| matches!(step, QuietStep::Tap { rise } if *rise >= TAP));
    harness.step();
    press(&mut harness, Key::Space);
    hall.hear_until(|step| *step == QuietStep::Done);
    harness.run_steps(2);
    harness.get_by_label_contains("Gain around the loop against frequency. It would ring first at");
    harness.get_by_label_contains("All of them open: ");
    // Once more, and stopped by whatever key comes first.
    press(&mut harness, Key::Q);
    press(&mut harness, Key::Space);
    hall.hear_until(|step| matches!(step, QuietStep::Tap { rise } if *rise >= TAP));
    harness.step();
    press(&mut harness, Key::Space);
    hall.hear_until(|step| matches!(step, QuietStep::Sounding { .. }));
    harness.step();
    press(&mut harness, Key::G);
    assert_eq!(hall.quiet_step(), QuietStep::Refused(NoSweep::Stopped));
}
