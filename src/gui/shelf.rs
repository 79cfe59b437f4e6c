//! The shelf meter: a thin rail for the level now, a notched window for the target, the loudest so far standing on the
//! rail as its state's shape, the last seconds as fading footprints, the headroom lettered at the right end.
//!
//! Places are shares of the rail, −60 dBFS to full scale (`view::Shelf`). Speaks its name and value.

use eframe::egui::{Align2, Rect, Response, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::shapes;
use super::theme::{Look, TARGET};
use crate::engine::ChannelState;
use crate::view::Shelf;

/// What stands on the rail.
pub struct Meter<'a> {
    pub name: &'a str,
    pub shelf: &'a Shelf,
    pub state: ChannelState,
    /// Oldest first.
    pub footprints: &'a [f64],
    /// A knob without marks is turned until this meets the window's middle.
    pub marker: Option<f64>,
}

/// How high it stands.
pub fn height(look: Look) -> f32 {
    3.4 * look.small().size + 2.0 * TARGET * 0.6
}

pub fn meter(ui: &mut Ui, look: Look, meter: &Meter) -> Response {
    let palette = look.palette();
    let line = look.small().size;
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height(look)), Sense::hover());
    let shelf = meter.shelf;
    response.widget_info(|| WidgetInfo::labeled(Role::ProgressIndicator, true, spoken(meter)));
    if !ui.is_rect_visible(rect) {
        return response;
    }
    let painter = ui.painter_at(rect);
    let side = 18.0 * look.text.max(1.0);
    let rail = rect.top() + 1.9 * line + 30.0;
    let at = |place: f64| rect.left() + side + place as f32 * (rect.width() - 2.0 * side);
    let bar = |from: f64, to: f64| Rect::from_min_max(pos2(at(from), rail - 3.0), pos2(at(to), rail + 3.0));
    painter.rect_filled(bar(0.0, 1.0), 3.0, palette.line);
    painter.rect_filled(bar(0.0, shelf.now), 3.0, palette.text);
    let full = at(1.0);
    painter.line_segment([pos2(full, rail - 30.0), pos2(full, rail + 12.0)], Stroke::new(3.0, palette.text));
    // The notched window.
    let (low, high) = (at(shelf.window.0), at(shelf.window.1));
    let notch = Stroke::new(3.0, palette.set);
    let corners = [
        pos2(low - 5.0, rail - 4.0),
        pos2(low + 4.0, rail + 13.0),
        pos2(high - 4.0, rail + 13.0),
        pos2(high + 5.0, rail - 4.0),
    ];
    painter.line(corners.to_vec(), notch);
    for (age, &place) in meter.footprints.iter().rev().enumerate().filter(|(_, place)| **place > 0.0) {
        let fade = palette.text.gamma_multiply(0.7 / (1.0 + age as f32 * 0.6));
        let print = Rect::from_center_size(pos2(at(place), rail - 9.0), vec2(6.0, 6.0));
        painter.rect_filled(print, 1.0, fade);
    }
    if let Some(marker) = meter.marker {
        let x = at(marker);
        painter.line_segment([pos2(x, rail - 26.0), pos2(x, rail + 22.0)], Stroke::new(4.0, palette.text));
        let line_x = at(shelf.line);
        painter.line_segment([pos2(line_x, rail - 18.0), pos2(line_x, rail + 18.0)], Stroke::new(2.0, palette.set));
    }
    let below = rail + 18.0;
    let label = Align2::CENTER_TOP;
    let middle = (low + high) / 2.0;
    let text = painter.layout_no_wrap(shelf.window_label.clone(), look.small(), palette.set);
    let half = text.size().x / 2.0;
    let window_text =
        Rect::from_min_size(pos2((middle - half).clamp(rect.left(), rect.right() - 2.0 * half), below), text.size());
    painter.galley(window_text.min, text, palette.set);
    for (place, letters) in &shelf.ticks {
        let x = at(*place);
        painter.line_segment([pos2(x, rail + 5.0), pos2(x, rail + 11.0)], Stroke::new(2.0, palette.quiet));
        let near = window_text.expand2(vec2(2.0 * line, 0.0)).x_range().contains(x);
        if !near {
            painter.text(pos2(x, below), label, letters, look.small(), palette.quiet);
        }
    }
    if let Some(loudest) = shelf.loudest {
        let size = 30.0;
        let centre = pos2(at(loudest), rail - 8.0 - size / 2.0);
        shapes::state(&painter, palette, meter.state, centre, size);
        let tone = if matches!(meter.state, ChannelState::High) { palette.high } else { palette.text };
        let left = pos2(centre.x - size * 0.8, centre.y);
        let letters = painter.layout_no_wrap(shelf.loudest_label.clone(), look.strong(), tone);
        let wide = letters.size().x;
        let beside =
            if left.x - wide < rect.left() { pos2(centre.x + size * 0.8, centre.y) } else { left - vec2(wide, 0.0) };
        painter.galley(beside - vec2(0.0, letters.size().y / 2.0), letters, tone);
        painter.text(pos2(full, rect.top()), Align2::RIGHT_TOP, &shelf.headroom, look.strong(), tone);
    }
    response
}

/// "3 Soloist: high, loudest −3.1, window −15…−9, 3.1 dB of headroom".
fn spoken(meter: &Meter) -> String {
    let mut said = vec![format!("{}: {}", meter.name, crate::view::word(meter.state))];
    said.extend([&meter.shelf.loudest_label, &meter.shelf.window_label, &meter.shelf.headroom].map(String::clone));
    said.retain(|part| !part.is_empty());
    said.join(", ")
}
