//! The parts of the page: the row of views, what opens from the bottom, the buttons at the foot, and the view between.

use eframe::egui::{Align, Button, Layout, RichText, Ui, vec2};

use super::App;
use crate::gui::input::Heard;
use crate::gui::keys::Action;
use crate::gui::theme::{GAP, TARGET};
use crate::gui::{Panel, View, panels};
use crate::view::{inputs, labels, words};

/// Below this width the views' names and the buttons stand in two rows.
const ONE_ROW: f32 = 1140.0;

impl App {
    pub(super) fn head(&mut self, ui: &mut Ui) {
        let palette = self.look.palette();
        let mut wanted = None;
        ui.horizontal_wrapped(|ui| {
            // Large text needs all the room there is.
            let usual = ui.spacing().item_spacing.x;
            ui.spacing_mut().item_spacing.x = if self.look.text > 1.0 { usual } else { GAP };
            for view in View::ALL {
                let name = RichText::new(view.name());
                let name = match view == self.view {
                    true => name.font(self.look.strong()).underline(),
                    false => name.color(palette.quiet),
                };
                let button = Button::new(name).frame(false).min_size(vec2(TARGET, TARGET));
                if ui.add(button).clicked() {
                    wanted = Some(Action::Go(view));
                }
            }
            ui.spacing_mut().item_spacing.x = usual;
            if let Some(told) = words::status(&self.soundcheck.status) {
                ui.add_space(GAP);
                ui.label(RichText::new(told).font(self.look.strong()).color(palette.text));
            }
            // Large text has two rows, and so has a narrow window.
            let two_rows = self.look.text > 1.0 || ui.max_rect().width() < ONE_ROW;
            let layout = if two_rows {
                ui.end_row();
                Layout::left_to_right(Align::Center)
            } else {
                Layout::right_to_left(Align::Center)
            };
            ui.with_layout(layout, |ui| {
                let help = (labels::HELP, Action::Open(Panel::Help));
                let input = (labels::INPUT, Action::Open(Panel::Input));
                let why = (labels::WHY, Action::Open(Panel::Why));
                let table = (self.soundcheck.table_label(), Action::Table);
                let mut buttons = match self.view {
                    View::Soundcheck => vec![(inputs::OPEN, Action::Go(View::Inputs)), input, table, why, help],
                    View::Plan => vec![why, help],
                    View::LineCheck => vec![input, why, help],
                    View::Show => vec![(labels::MARK, Action::Mark), help],
                    View::RingOut => vec![input, help],
                    View::Recordings | View::Inputs => vec![help],
                };
                // The first one drawn stands at the right edge.
                if !two_rows {
                    buttons.reverse();
                }
                for (label, action) in buttons {
                    if ui.button(label).clicked() {
                        wanted = Some(action);
                    }
                }
            });
        });
        if let Some(action) = wanted {
            self.act(action);
        }
    }

    pub(super) fn foot(&mut self, ui: &mut Ui) {
        let palette = self.look.palette();
        if matches!(self.view, View::Recordings | View::Inputs) {
            return;
        }
        let mut wanted = None;
        if self.view == View::Plan {
            let made = ui.horizontal_wrapped(|ui| self.plan.foot(ui, self.look)).inner;
            if let Some(made) = made {
                self.open_in_the_plan(&made);
            }
            return;
        }
        let mut wish = None;
        ui.horizontal_wrapped(|ui| {
            if self.view == View::LineCheck {
                wish = self.lines.foot(ui, self.look, self.soundcheck.is_staged());
            }
            if self.view == View::Soundcheck {
                wanted = self.soundcheck.foot(ui, self.look, &self.setup);
            }
            if let Some(noted) = &self.soundcheck.noted {
                ui.label(RichText::new(noted).font(self.look.strong()));
            } else if let Some(told) = labels::drops_out(self.minutes_left().max(0.0).ceil() as u32)
                && self.view != View::Show
            {
                ui.label(RichText::new(told).color(palette.quiet));
            }
            if let Some(told) = self.kept.told().filter(|_| self.view != View::Show) {
                ui.label(RichText::new(told).font(self.look.small()));
            }
            if let Some(missing) = self.soundcheck.snapshot.as_ref().and_then(words::missing) {
                ui.label(RichText::new(missing).font(self.look.small()));
            }
            if let Ok(link) = &self.soundcheck.link {
                let source = match self.soundcheck.is_staged() {
                    true => words::SIMULATED.to_owned(),
                    false => words::source(self.soundcheck.connection, link.format().rate),
                };
                ui.label(RichText::new(source).font(self.look.small()).color(palette.quiet));
            }
        });
        if let Some(action) = wanted {
            self.act(action);
        }
        if let Some(wish) = wish {
            self.wished(wish);
        }
    }

    pub(super) fn open_panel(&mut self, ui: &mut Ui) {
        match self.panel {
            Panel::None => {}
            Panel::Help => {
                if let Some(action) = panels::help(ui, self.look, self.view) {
                    self.act(action);
                }
            }
            Panel::Why if self.view == View::Plan => self.plan.why(ui, self.look),
            Panel::Why if self.view == View::LineCheck => self.lines.why(ui, self.look),
            Panel::Why => {
                panels::why(ui, self.look, &self.soundcheck, &self.setup.desk);
            }
            Panel::Input => {
                let heard = Heard {
                    hearing: &self.soundcheck.hearing,
                    listed: self.setup.inputs.is_some(),
                    desk: &self.setup.desk,
                    arrived: self.soundcheck.arrived(&self.setup),
                };
                if let Some(chosen) = self.choice.ui(ui, self.look, &heard, self.world.devices) {
                    self.chose(chosen);
                }
            }
        }
    }

    pub(super) fn page(&mut self, ui: &mut Ui) {
        match self.view {
            View::Plan => self.plan.ui(ui, self.look),
            View::LineCheck => self.lines.ui(ui, self.look, &self.soundcheck, &self.setup),
            View::Soundcheck => self.soundcheck.page(ui, self.look, &self.setup),
            View::Recordings => self.takes.ui(ui, self.look, &self.setup),
            View::Inputs => {
                if !self.list.ui(ui, self.look) {
                    self.go(View::Soundcheck);
                }
            }
            View::RingOut => {
                if let Some(asked) = self.ringout.ui(ui, self.look) {
                    self.asked(asked);
                }
            }
            View::Show => {
                let lines = self.soundcheck.link.as_ref().map_or(0, |link| link.format().channels);
                let wish = self.show.ui(ui, self.look, &self.setup, lines, &(self.world.clock)(), &mut self.kept);
                wish.into_iter().for_each(|wish| self.wished_in_the_show(wish));
            }
        }
    }
}
