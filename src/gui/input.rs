//! The choice of the input: devices by name with channels and rates, how the sound comes, whether any arrives, and the
//! words that stand on the desk.
//!
//! Devices are listed on a thread of their own, for some systems take their time; the list is asked for anew by a
//! button. The simulated stage is always there.

use std::sync::mpsc::{self, Receiver, TryRecvError};
use std::time::Duration;

use eframe::egui::{Button, RichText, ScrollArea, TextEdit, Ui, vec2};

use super::theme::{Look, TARGET};
use crate::engine::Connection;
use crate::engine::session::{self, Hearing};
use crate::view::{DeskWords, choice, words};

/// A line of the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Device {
    pub name: String,
    pub about: String,
}

/// Asks the system for them; may take its time.
pub type Lister = fn() -> Result<Vec<Device>, String>;

/// The list, and what is chosen on it.
#[derive(Default)]
pub struct Choice {
    devices: Option<Result<Vec<Device>, String>>,
    coming: Option<Receiver<Result<Vec<Device>, String>>>,
    pub connection: Option<Connection>,
    /// The desk's words while they are written.
    desk: Option<DeskWords>,
}

/// What was chosen.
#[derive(Clone, Debug)]
pub enum Chosen {
    Stage,
    Device(String, Connection),
    Desk(DeskWords),
}

/// What is heard now, for the list.
pub struct Heard<'a> {
    pub hearing: &'a Hearing,
    /// Whether there is a list of inputs.
    pub listed: bool,
    pub desk: &'a DeskWords,
    /// What the listening test says; none on the stage.
    pub arrived: Option<String>,
}

impl Choice {
    /// Begins to list the devices.
    pub fn look(&mut self, list: Lister) {
        let (sender, coming) = mpsc::channel();
        let list = move || {
            // Nobody may wait for it any more.
            let _ = sender.send(list());
        };
        if std::thread::Builder::new().name("devices".into()).spawn(list).is_ok() {
            self.coming = Some(coming);
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look, heard: &Heard, lister: Lister) -> Option<Chosen> {
        match self.coming.as_ref().map(Receiver::try_recv) {
            Some(Ok(devices)) => (self.devices, self.coming) = (Some(devices), None),
            Some(Err(TryRecvError::Disconnected)) => self.coming = None,
            // No event of the window's own tells that the list has come.
            Some(Err(TryRecvError::Empty)) => ui.ctx().request_repaint_after(Duration::from_millis(100)),
            None => {}
        }
        let mut chosen = None;
        ScrollArea::vertical().id_salt("devices").auto_shrink(false).show(ui, |ui| {
            if let Some(arrived) = &heard.arrived {
                ui.label(RichText::new(arrived).font(look.strong()));
                chosen = self.desk(ui, heard.desk);
            }
            chosen = chosen.take().or(self.ways(ui, heard));
            chosen = chosen.take().or(self.list(ui, heard.hearing, lister));
        });
        chosen
    }

    fn way(&self) -> Connection {
        self.connection.unwrap_or(Connection::Usb)
    }

    /// One at a time and the room want a list of inputs.
    fn ways(&mut self, ui: &mut Ui, heard: &Heard) -> Option<Chosen> {
        let mut chosen = None;
        ui.horizontal_wrapped(|ui| {
            ui.label(choice::HOW);
            for way in [Connection::Usb, Connection::Feed, Connection::Room] {
                let enabled = heard.listed || way == Connection::Usb;
                let button = Button::selectable(self.way() == way, words::connection(way));
                if ui.add_enabled(enabled, button).clicked() && self.way() != way {
                    self.connection = Some(way);
                    if let Hearing::Live { device: Some(name) } = heard.hearing {
                        chosen = Some(Chosen::Device(name.clone(), way));
                    }
                }
            }
        });
        chosen
    }

    fn list(&mut self, ui: &mut Ui, hearing: &Hearing, lister: Lister) -> Option<Chosen> {
        let mut chosen = None;
        ui.horizontal_wrapped(|ui| {
            let here = matches!(hearing, Hearing::Stage { .. });
            if ui.add(Button::selectable(here, choice::STAGE)).clicked() {
                chosen = Some(Chosen::Stage);
            }
            ui.label(words::SIMULATED);
        });
        let told = match &self.devices {
            None => Some(choice::LOOKING),
            Some(Err(why)) => Some(why.as_str()),
            Some(Ok(devices)) => devices.is_empty().then_some(choice::NONE),
        };
        if let Some(told) = told {
            ui.label(told);
        }
        for device in self.devices.iter().flatten().flatten() {
            ui.horizontal_wrapped(|ui| {
                let here = matches!(hearing, Hearing::Live { device: Some(name) } if *name == device.name);
                if ui.add(Button::selectable(here, &device.name)).clicked() {
                    chosen = Some(Chosen::Device(device.name.clone(), self.way()));
                }
                ui.label(&device.about);
            });
        }
        if ui.button(choice::LOOK_AGAIN).clicked() {
            self.devices = None;
            self.look(lister);
        }
        chosen
    }

    /// What stands on the desk, in its own words.
    fn desk(&mut self, ui: &mut Ui, kept: &DeskWords) -> Option<Chosen> {
        let desk = self.desk.get_or_insert_with(|| kept.clone());
        let mut chosen = None;
        ui.horizontal_wrapped(|ui| {
            for (question, word) in [(words::KNOB_QUESTION, &mut desk.knob), (words::LAMP_QUESTION, &mut desk.lamp)] {
                let label = ui.label(question);
                let field = TextEdit::singleline(word).char_limit(20).desired_width(140.0);
                ui.add(field.min_size(vec2(0.0, TARGET))).labelled_by(label.id);
                ui.end_row();
            }
            ui.label(words::MARKS_QUESTION);
            for (marks, label) in [(true, choice::MARKS), (false, choice::NO_MARKS)] {
                if ui.add(Button::selectable(desk.marks == marks, label)).clicked() {
                    desk.marks = marks;
                }
            }
            let told = DeskWords {
                knob: choice::desk_word(&desk.knob, &kept.knob),
                lamp: choice::desk_word(&desk.lamp, &kept.lamp),
                ..desk.clone()
            };
            if ui.add_enabled(told != *kept, Button::new(choice::KEEP)).clicked() {
                chosen = Some(Chosen::Desk(told));
            }
        });
        chosen
    }
}

/// The devices of this machine.
pub fn list() -> Result<Vec<Device>, String> {
    let devices = session::devices().map_err(|error| error.to_string())?;
    Ok(devices.into_iter().map(|device| Device { about: choice::about(&device), name: device.name }).collect())
}
