//! What the recordings of a folder are together: a table of tracks and problems, a cue list, recorders lined up.
//!
//! Each cell has a shape for how bad it is, never a colour alone. Large text, and tables too wide for the window, have each
//! track's problems in words behind its name instead.

use eframe::egui::{Grid, Response, RichText, Role, ScrollArea, Sense, Ui, WidgetInfo, vec2};

use super::shapes;
use super::theme::{BAR, GAP, Look};
use crate::view::{Bad, Together};

const LARGE: f32 = 1.25;
const MOST_COLUMNS: usize = 8;

pub fn together(ui: &mut Ui, look: Look, all: &[Together]) {
    ScrollArea::both().id_salt("together").auto_shrink([false, false]).show(ui, |ui| {
        ui.set_max_width(ui.available_width() - BAR);
        for (place, folder) in all.iter().enumerate() {
            ui.label(RichText::new(&folder.title).font(look.strong()));
            if look.text > LARGE || folder.columns.len() > MOST_COLUMNS {
                in_words(ui, look, folder);
            } else {
                Grid::new(("together", place))
                    .striped(true)
                    .spacing(vec2(GAP, 4.0))
                    .show(ui, |ui| matrix(ui, look, folder));
            }
            ui.add_space(GAP / 2.0);
            if !folder.cues.is_empty() {
                ui.label(RichText::new("Cue list").font(look.strong()));
            }
            for cue in &folder.cues {
                ui.label(cue.trim_start());
            }
            for line in folder.pairs.iter().flatten() {
                ui.label(line);
            }
            ui.add_space(GAP);
        }
    });
}

fn matrix(ui: &mut Ui, look: Look, folder: &Together) {
    let palette = look.palette();
    let heading = |ui: &mut Ui, text: &str| ui.label(RichText::new(text).font(look.small()).color(palette.quiet));
    heading(ui, "");
    heading(ui, "track");
    let listed = folder.rows.iter().any(|row| !row.input.is_empty());
    if listed {
        heading(ui, "input");
    }
    heading(ui, "peak");
    for kind in &folder.columns {
        heading(ui, kind.short());
    }
    ui.end_row();
    for row in &folder.rows {
        sign(ui, look, row.worst, &row.name);
        ui.label(&row.name);
        if listed {
            ui.label(&row.input);
        }
        ui.label(&row.peak);
        for (kind, cell) in folder.columns.iter().zip(&row.cells) {
            match cell {
                Some(bad) => sign(ui, look, *bad, kind.word()),
                None => ui.label(""),
            };
        }
        ui.end_row();
    }
}

fn in_words(ui: &mut Ui, look: Look, folder: &Together) {
    for row in &folder.rows {
        ui.horizontal_wrapped(|ui| {
            sign(ui, look, row.worst, &row.name);
            let name = if row.input.is_empty() { row.name.clone() } else { format!("{} · {}", row.name, row.input) };
            ui.label(RichText::new(name).font(look.strong()));
            for (kind, cell) in folder.columns.iter().zip(&row.cells) {
                if let Some(bad) = cell {
                    sign(ui, look, *bad, kind.word());
                    ui.label(kind.word());
                }
            }
        });
    }
}

/// The shape of how bad it is; for the ear with its word and what it is told of.
fn sign(ui: &mut Ui, look: Look, bad: Bad, of: &str) -> Response {
    let size = look.body().size;
    let (rect, response) = ui.allocate_exact_size(vec2(size * 1.4, size * 1.3), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, format!("{of}: {}", bad.word())));
    shapes::bad(ui.painter(), look.palette(), bad, rect.center(), size * 0.85);
    response
}
