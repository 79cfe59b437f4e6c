//! The choice of the input: devices by name with channels and rates, how the sound comes, and whether any arrives.
//!
//! Devices are listed on a thread of their own, for some systems take their time; the list is asked for anew by a
//! button. The simulated stage is always there.

use std::sync::mpsc::{self, Receiver, TryRecvError};

use eframe::egui::{ScrollArea, Ui};

use crate::engine::Connection;
use crate::engine::session::{self, Hearing};
use crate::view::words;

/// A line of the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Device {
    pub name: String,
    /// "16 channels · 48 kHz · ALSA".
    pub about: String,
}

/// The list, and what is chosen on it.
#[derive(Default)]
pub struct Choice {
    devices: Option<Result<Vec<Device>, String>>,
    coming: Option<Receiver<Result<Vec<Device>, String>>>,
    pub connection: Option<Connection>,
}

/// What was chosen.
#[derive(Clone, Debug)]
pub enum Chosen {
    Stage,
    Device(String, Connection),
}

impl Choice {
    /// Begins to list the devices.
    pub fn look(&mut self) {
        let (sender, coming) = mpsc::channel();
        let list = move || {
            // Nobody may wait for it any more.
            let _ = sender.send(list());
        };
        if std::thread::Builder::new().name("devices".into()).spawn(list).is_ok() {
            self.coming = Some(coming);
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, hearing: &Hearing, listed: bool) -> Option<Chosen> {
        match self.coming.as_ref().map(Receiver::try_recv) {
            Some(Ok(devices)) => (self.devices, self.coming) = (Some(devices), None),
            Some(Err(TryRecvError::Disconnected)) => self.coming = None,
            // No event of the window's own tells that the list has come.
            Some(Err(TryRecvError::Empty)) => ui.ctx().request_repaint_after(std::time::Duration::from_millis(100)),
            None => {}
        }
        let mut chosen = None;
        let connection = self.connection.unwrap_or(Connection::Usb);
        ui.horizontal_wrapped(|ui| {
            ui.label("How the sound comes:");
            // One at a time and the room want a list of inputs.
            for way in [Connection::Usb, Connection::Feed, Connection::Room] {
                let enabled = listed || way == Connection::Usb;
                let button = eframe::egui::Button::selectable(connection == way, words::connection(way));
                if ui.add_enabled(enabled, button).clicked() {
                    self.connection = Some(way);
                }
            }
        });
        ScrollArea::vertical().id_salt("devices").show(ui, |ui| {
            ui.horizontal_wrapped(|ui| {
                let here = matches!(hearing, Hearing::Stage { .. });
                if ui.add(eframe::egui::Button::selectable(here, "Simulated stage")).clicked() {
                    chosen = Some(Chosen::Stage);
                }
                ui.label(words::SIMULATED);
            });
            match &self.devices {
                None => {
                    ui.label("Looking for input devices …");
                }
                Some(Err(why)) => {
                    ui.label(why);
                }
                Some(Ok(devices)) if devices.is_empty() => {
                    ui.label("No input device. Plug the desk in by USB and look again");
                }
                Some(Ok(devices)) => {
                    for device in devices {
                        ui.horizontal_wrapped(|ui| {
                            let here = matches!(hearing, Hearing::Live { device: Some(name) } if *name == device.name);
                            if ui.add(eframe::egui::Button::selectable(here, &device.name)).clicked() {
                                chosen = Some(Chosen::Device(device.name.clone(), connection));
                            }
                            ui.label(&device.about);
                        });
                    }
                }
            }
            if ui.button("Look again").clicked() {
                self.devices = None;
                self.look();
            }
        });
        chosen
    }
}

fn list() -> Result<Vec<Device>, String> {
    let devices = session::devices().map_err(|error| error.to_string())?;
    let about = |device: session::InputDevice| Device {
        about: format!(
            "{} · {:.1} kHz · {}",
            crate::view::numbers::counted(device.channels as u64, "channel", "channels"),
            f64::from(device.rate.get()) / 1000.0,
            device.host
        ),
        name: device.name,
    };
    Ok(devices.into_iter().map(about).collect())
}
