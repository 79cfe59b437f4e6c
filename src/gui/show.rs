//! The show's page, almost empty: the song and its open microphones, a large clock, one line. What can't wait borders
//! the whole window in dashes.

use eframe::egui::{Button, Context, Key, LayerId, Modifiers, Order, Rect, RichText, Shape, Stroke, Ui, pos2, vec2};

use super::step::{self, Words};
use super::theme::{GAP, Look, TARGET, bold};
use crate::engine::show::Urgency;
use crate::engine::watched::{Say, Told, WatchLink};
use crate::units::Db;
use crate::view::hall::{self, SongLine};
use crate::view::show::{room_line, show_headline, show_step, so_far, urgency};
use crate::view::{Setup, labels};

#[derive(Default)]
pub struct ShowPage {
    /// Once it has begun; an error tells why it could not.
    link: Option<Result<Box<dyn WatchLink>, String>>,
    song: usize,
}

/// Width of the dashed border, and the length of a dash.
const BORDER: (f32, f32) = (12.0, 44.0);

impl ShowPage {
    pub const fn has_begun(&self) -> bool {
        self.link.is_some()
    }

    pub fn begun(&mut self, link: Result<Box<dyn WatchLink>, String>) {
        self.link = Some(link);
    }

    pub fn end(&mut self) {
        self.link = None;
    }

    pub fn say(&self, say: Say) {
        if let Some(Ok(link)) = &self.link {
            link.say(say);
        }
    }

    pub fn keys(&mut self, context: &Context, setup: &Setup) -> Option<Say> {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        let songs = setup.songs().len();
        if pressed(Key::ArrowDown) || pressed(Key::PageDown) {
            self.song = (self.song + 1).min(songs.saturating_sub(1));
        }
        if pressed(Key::ArrowUp) || pressed(Key::PageUp) {
            self.song = self.song.saturating_sub(1);
        }
        let picture = self.link.as_ref()?.as_ref().ok()?.picture();
        let Told::Show { alert, .. } = picture.told else { return None };
        if picture.has_a_desk {
            for (key, by) in [(Key::ArrowLeft, -1.0), (Key::ArrowRight, 1.0)] {
                if pressed(key) {
                    return Some(Say::Mains(Db::new(by)));
                }
            }
        }
        if alert.is_none() {
            None
        } else if pressed(Key::Space) {
            Some(Say::Show(true))
        } else {
            pressed(Key::S).then_some(Say::Show(false))
        }
    }

    /// `clock`: the hall's own, "19:42".
    pub fn ui(&mut self, ui: &mut Ui, look: Look, setup: &Setup, clock: &str) -> Option<Say> {
        let palette = look.palette();
        let tall = ui.ctx().content_rect().height();
        ui.horizontal(|ui| {
            ui.vertical(|ui| {
                let SongLine { place, open } = hall::song_line(setup.songs(), self.song);
                ui.label(RichText::new(place).font(look.then(tall)).color(palette.quiet));
                ui.label(RichText::new(open).font(bold(look.then(tall).size * 1.3)));
            });
            ui.with_layout(eframe::egui::Layout::right_to_left(eframe::egui::Align::TOP), |ui| {
                ui.label(RichText::new(clock).font(bold(tall * 0.11)));
            });
        });
        ui.add_space(tall * 0.06);
        match self.link.as_ref()? {
            Ok(link) => now(ui, look, setup, link.as_ref()),
            Err(why) => {
                ui.label(why);
                None
            }
        }
    }
}

/// The one line, and what answers it.
fn now(ui: &mut Ui, look: Look, setup: &Setup, link: &dyn WatchLink) -> Option<Say> {
    let picture = link.picture();
    let Told::Show { alert, room, counts } = &picture.told else { return None };
    let alert = alert.as_ref();
    let palette = look.palette();
    let own = link.names();
    let calibration = room.as_ref().and_then(|room| room.calibration.as_ref());
    let mut next = show_step(alert, if own.is_empty() { &setup.names } else { own }, calibration);
    if let Some(over) = &picture.over {
        next.proof = over.clone().unwrap_or_default();
    }
    let urgency = urgency(alert);
    if alert.is_some_and(|alert| alert.urgency() == Urgency::Now) {
        border(ui, look);
    }
    let then = urgency.map_or_else(|| next.then.clone(), |urgency| format!("{urgency}: {}", next.then));
    let headline = show_headline(alert);
    step::next_step(ui, look, &Words { headline: &headline, then: &then, next: &next }, palette.text);
    let mut said = None;
    ui.add_space(GAP);
    ui.horizontal_wrapped(|ui| {
        let mut offer = |label: &str, say: Say| {
            let button = Button::new(RichText::new(label).font(look.strong()));
            if ui.add(button.min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                said = Some(say);
            }
        };
        if urgency.is_some() {
            offer(labels::DONE, Say::Show(true));
            offer(labels::LEAVE, Say::Show(false));
        }
        if picture.has_a_desk {
            offer(labels::MAINS_DOWN, Say::Mains(Db::new(-1.0)));
            offer(labels::MAINS_UP, Say::Mains(Db::new(1.0)));
        }
    });
    ui.with_layout(eframe::egui::Layout::bottom_up(eframe::egui::Align::LEFT), |ui| {
        let (shown, held) = *counts;
        ui.label(RichText::new(so_far(shown, held)).color(palette.quiet));
        if let Some(room) = room {
            ui.label(RichText::new(room_line(room)).color(palette.quiet));
        }
    });
    said
}

/// Dashes of the text's colour and the ground's dark around everything.
fn border(ui: &Ui, look: Look) {
    let palette = look.palette();
    let painter = ui.ctx().layer_painter(LayerId::new(Order::Foreground, ui.scope_id().with("now")));
    let (wide, dash) = BORDER;
    let rect: Rect = ui.ctx().content_rect().shrink(wide / 2.0);
    let corners = [rect.left_top(), rect.right_top(), rect.right_bottom(), rect.left_bottom(), rect.left_top()];
    painter.rect_stroke(rect, 0.0, Stroke::new(wide, palette.hatch), eframe::egui::StrokeKind::Middle);
    for side in corners.windows(2) {
        let (from, to) = (side[0], side[1]);
        let long = from.distance(to);
        let along = (to - from) / long;
        let mut at = 0.0;
        while at < long {
            let end = (at + dash).min(long);
            let points = [from + along * at, from + along * end].map(|p| pos2(p.x, p.y));
            painter.add(Shape::line_segment(points, Stroke::new(wide, palette.text)));
            at += 2.0 * dash * 0.84;
        }
    }
}
