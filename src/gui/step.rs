//! The next step: arrow, sentence, what to do with it, one line of proof; always in that order and place.

use std::sync::Arc;

use eframe::egui::text::{LayoutJob, TextFormat};
use eframe::egui::{Color32, FontId, Galley, Painter, Rect, Role, Sense, Ui, WidgetInfo, pos2, vec2};

use super::shapes;
use super::theme::{GAP, Look};
use crate::view::{Arrow, Bad, NextStep};

/// Share of the width that the arrow takes.
const ARROW: f32 = 0.17;
/// Between its lines.
const BETWEEN: f32 = 6.0;

/// What it says.
pub struct Words<'a> {
    pub headline: &'a str,
    pub then: &'a str,
    pub next: &'a NextStep,
}

/// `tone`: the colour of the state that wants action.
pub fn next_step(ui: &mut Ui, look: Look, words: &Words, tone: Color32) {
    let arrow = words.next.arrow;
    let color = if arrow == Arrow::None { look.palette().line } else { tone };
    next_step_marked(ui, look, words, |painter, within| shapes::arrow(painter, arrow, within, color));
}

/// Where nothing is to be turned, how bad it is stands in the arrow's place.
pub fn next_step_of(ui: &mut Ui, look: Look, words: &Words, bad: Option<Bad>) {
    let palette = look.palette();
    next_step_marked(ui, look, words, |painter, within| match (words.next.arrow, bad) {
        (Arrow::None, Some(bad)) => {
            shapes::bad(painter, palette, bad, within.center(), within.width().min(within.height()) * 0.6);
        }
        (arrow, _) => shapes::arrow(painter, arrow, within, palette.text),
    });
}

/// With another shape in the arrow's place.
pub fn next_step_marked(ui: &mut Ui, look: Look, words: &Words, mark: impl FnOnce(&Painter, Rect)) {
    let Words { headline, then, next } = *words;
    let palette = look.palette();
    let window = ui.ctx().content_rect().height();
    let wide = ui.available_width();
    let gutter = (wide * ARROW).min(230.0);
    let column = wide - gutter - GAP;
    let lay = |text: &str, font: FontId, color: Color32, rows: usize| {
        let mut job = LayoutJob::single_section(text.to_owned(), TextFormat::simple(font, color));
        job.wrap.max_width = column;
        job.wrap.max_rows = rows;
        ui.painter().layout_job(job)
    };
    let sentence = lay(headline, look.sentence(window), palette.text, 2);
    let then = lay(then, look.then(window), palette.text, 3);
    let proof = lay(&next.proof, look.body(), palette.quiet, 3);
    let room = ui.available_height();
    let tall = |rows: &[Arc<Galley>]| rows.iter().map(|row| row.size().y + BETWEEN).sum::<f32>();
    // What finds no room is left out whole, the proof first; a screen reader still says it.
    let mut rows = vec![sentence, then, proof];
    while rows.len() > 1 && tall(&rows) > room {
        rows.pop();
    }
    let height = tall(&rows).max(window * 0.24).min(room.max(tall(&rows)));
    let (rect, response) = ui.allocate_exact_size(vec2(wide, height), Sense::hover());
    let said = format!("Next step: {} {}. {}. {}", next.arrow.sign(), next.sentence, next.then, next.proof);
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &said));
    // The one instruction is the live region.
    ui.ctx().accesskit_node_builder(response.id, |node| node.set_live(eframe::egui::accesskit::Live::Polite));
    let painter = ui.painter();
    let side = (gutter - GAP).min(height * 0.86);
    let arrow = Rect::from_min_size(rect.min + vec2(0.0, 8.0), vec2(side, side));
    mark(painter, arrow);
    let mut at = pos2(rect.left() + gutter + GAP, rect.top());
    for row in rows {
        let tall = row.size().y;
        painter.galley(at, row, palette.text);
        at.y += tall + BETWEEN;
    }
}
