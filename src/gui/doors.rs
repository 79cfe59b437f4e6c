//! The doors bar at the left edge: the minutes left, the steps pinned to them, emptied from the top.
//!
//! Minutes count down to the event's doors on its day, else from 40 at the first picture; the person can set them. What drops out when time is short: at 20
//! minutes drums and the second wedge, at 10 choir and keys, at 5 all but one speech microphone, playback and the
//! recorder (common practice of a school hall).

use eframe::egui::{Align2, Rect, Role, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::theme::{DOORS, Look, bold, regular};
use crate::view::labels;

pub const USUAL: f64 = 40.0;
pub fn bar(ui: &mut Ui, look: Look, minutes: f64) {
    let palette = look.palette();
    let rect = ui.max_rect();
    let whole = minutes.max(0.0).ceil() as u32;
    let response = ui.interact(rect, ui.scope_id().with("doors"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::ProgressIndicator, true, labels::minutes_to_doors(whole)));
    let painter = ui.painter();
    painter.rect_filled(rect, 0.0, palette.edge);
    let middle = rect.center().x;
    painter.text(pos2(middle, rect.top() + 10.0), Align2::CENTER_TOP, whole, bold(28.0), palette.text);
    painter.text(pos2(middle, rect.top() + 42.0), Align2::CENTER_TOP, labels::MINUTES, regular(14.0), palette.quiet);
    let (top, bottom) = (rect.top() + 72.0, rect.bottom() - 40.0);
    let x = rect.left() + DOORS / 3.0;
    let at = |minutes: f64| bottom - ((minutes / USUAL).clamp(0.0, 1.0) as f32) * (bottom - top);
    let rail = |from: f32, to: f32| Rect::from_min_max(pos2(x - 3.0, from), pos2(x + 3.0, to));
    painter.rect_filled(rail(top, bottom), 2.0, palette.line);
    painter.rect_filled(rail(at(minutes), bottom), 2.0, palette.text);
    for (name, due) in labels::DAY {
        let over = minutes < due;
        let y = at(due);
        painter.circle_filled(pos2(x, y), 8.0, palette.edge);
        if over {
            painter.rect_filled(Rect::from_center_size(pos2(x, y), vec2(11.0, 11.0)), 1.0, palette.set);
        } else {
            painter.circle_stroke(pos2(x, y), 7.0, Stroke::new(3.0, palette.not_heard));
        }
        let tone = if over { palette.set } else { palette.quiet };
        let letters = painter.layout_no_wrap(name.to_owned(), regular(13.0), tone);
        let start = pos2(x + 13.0, y + letters.size().x / 2.0);
        let turned =
            eframe::egui::epaint::TextShape::new(start, letters, tone).with_angle(-std::f32::consts::FRAC_PI_2);
        painter.add(turned);
    }
}
