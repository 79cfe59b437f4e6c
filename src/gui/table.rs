//! The plain table of channels: number, name, state with its shape, loudest, window, trims. One key away from the floor.

use eframe::egui::{Role, ScrollArea, Sense, Ui, WidgetInfo, pos2, vec2};

use super::shapes;
use super::theme::{Look, TARGET};
use crate::engine::Snapshot;
use crate::units::ChannelId;
use crate::view::{self, Setup};

/// Where columns begin; large text has no room for the last.
const COLUMNS: [f32; 5] = [0.0, 0.36, 0.56, 0.74, 0.9];
const FEWER: [f32; 4] = [0.0, 0.38, 0.6, 0.82];
const LARGE: f32 = 1.25;

/// Draws it; the channel whose row was chosen.
pub fn table(
    ui: &mut Ui,
    look: Look,
    snapshot: &Snapshot,
    setup: &Setup,
    at_hand: Option<ChannelId>,
) -> Option<ChannelId> {
    let palette = look.palette();
    let scale = setup.desk.scale();
    let mut chosen = None;
    ScrollArea::vertical().auto_shrink([false, false]).show(ui, |ui| {
        for (index, input) in snapshot.inputs.iter().enumerate() {
            let channel = ChannelId::from_index(index);
            let who = view::who(Some(channel), &setup.names);
            let word = view::shown(input.state, input.heard.active, input.heard.hits);
            let height = (look.body().size * 1.6).max(TARGET * 0.7);
            let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::click());
            let loudest =
                if input.heard.loudest.is_silence() { "–".into() } else { scale.level(input.heard.loudest) };
            let cells = [
                (who.clone(), palette.text),
                (word.to_owned(), palette.text),
                (loudest, palette.text),
                (scale.window(input.window), palette.quiet),
                (view::numbers::counted(input.trims.into(), "trim", "trims"), palette.quiet),
            ];
            response.widget_info(|| {
                let said: Vec<&str> = cells.iter().map(|(cell, _)| cell.as_str()).collect();
                WidgetInfo::labeled(Role::Button, true, said.join(", "))
            });
            if response.clicked() {
                chosen = Some(channel);
            }
            let painter = ui.painter();
            if at_hand == Some(channel) || response.hovered() || response.has_focus() {
                painter.rect_filled(rect, 4.0, palette.floor);
            }
            let middle = rect.center().y;
            shapes::state(painter, palette, input.state, pos2(rect.left() + 24.0, middle), 22.0);
            let first = rect.left() + 48.0;
            let room = rect.right() - first;
            let columns: &[f32] = if look.text > LARGE { &FEWER } else { &COLUMNS };
            for (number, (text, color)) in cells.into_iter().take(columns.len()).enumerate() {
                let from = first + columns[number] * room;
                let to = columns.get(number + 1).map_or(rect.right(), |next| first + next * room);
                let letters = super::fit(painter, &text, look.body(), color, to - from - 10.0);
                painter.galley(pos2(from, middle - letters.size().y / 2.0), letters, color);
            }
        }
    });
    chosen
}
