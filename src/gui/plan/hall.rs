//! The hall from above in the plan's page: stage edge, loudspeakers, a card of strokes for each seat, and its word.
//!
//! The audience's side down; what lies across is drawn up to twice as wide, for a hall is longer than a window is high. What finds no room beside its card is said by the card itself to whoever
//! points at it or reads the screen aloud.

use eframe::egui::{
    Align2, Color32, Painter, Pos2, Rect, RichText, Role, Sense, Shape, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};

use crate::engine::seat::Rating;
use crate::gui::theme::{Look, bold, regular};
use crate::view::plan::{EDGE, LEGEND, STROKES, SeatCard, Seating, beside, strokes};

/// Across over along, at most.
const WIDER: f64 = 2.0;
/// Larger text of the window is kept to this here.
const LARGE: f32 = 1.25;

pub fn hall(ui: &mut Ui, look: Look, seating: &Seating) {
    let palette = look.palette();
    let small = look.small();
    // Large text has room for the hall alone.
    if look.text <= LARGE {
        ui.label(RichText::new(LEGEND).font(small.clone()).color(palette.quiet));
    }
    let room = ui.available_size();
    let (rect, _) = ui.allocate_exact_size(room, Sense::hover());
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 8.0, palette.floor);
    let inner = rect.shrink(12.0);
    let [left, right, front, back] = seating.frame;
    let down = f64::from(inner.height()) / (front - back);
    let across = (f64::from(inner.width()) / (right - left)).min(WIDER * down);
    let at = |(x, y): (f64, f64)| {
        let aside = (x - (left + right) / 2.0) * across;
        pos2(inner.center().x + aside as f32, inner.top() + ((front - y) * down) as f32)
    };
    let (from, to) = (at((left, 0.0)), at((right, 0.0)));
    painter.line_segment([from, to], Stroke::new(3.0, palette.text));
    let edge = painter.text(from - vec2(-4.0, 4.0), Align2::LEFT_BOTTOM, EDGE, small.clone(), palette.quiet);
    let speaker_half = 8.0;
    for centre in seating.speakers.iter().map(|place| at(*place)) {
        speaker(&painter, centre, speaker_half, palette.text);
    }
    let half = (15.0 * look.text.min(1.5)).min(inner.height() / 16.0);
    let placed = || seating.seats.iter().filter_map(|seat| Some((seat, at(seat.at?))));
    let around = |centre: Pos2, half: f32| Rect::from_center_size(centre, vec2(2.0 * half, 2.0 * half));
    let square = |centre: Pos2| around(centre, half);
    let area = |rect: Rect| [rect.left(), rect.top(), rect.width(), rect.height()].map(f64::from);
    let mut taken: Vec<_> = placed().map(|(_, centre)| area(square(centre))).collect();
    taken.push(area(edge));
    taken.extend(seating.speakers.iter().map(|place| area(around(at(*place), speaker_half))));
    let text = look.text.min(LARGE);
    for (number, (seat, centre)) in placed().enumerate() {
        card(&painter, look, seat, square(centre));
        let response = ui.interact(square(centre), ui.scope_id().with(("seat", number)), Sense::hover());
        let told = format!("{}: {}. {}", seat.name, seat.words, seat.details.join(", "));
        response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &told));
        let name = painter.layout_no_wrap(seat.name.clone(), bold(16.0 * text), palette.text);
        let word = painter.layout_no_wrap(seat.words.to_owned(), regular(15.0 * text), palette.quiet);
        let size = (name.size().x.max(word.size().x), name.size().y + word.size().y);
        let place = (f64::from(centre.x), f64::from(centre.y));
        let label = beside(place, f64::from(half), (f64::from(size.0), f64::from(size.1)), &taken, area(inner));
        taken.push(label);
        let corner = pos2(label[0] as f32, label[1] as f32);
        let under = vec2(0.0, name.size().y);
        painter.galley(corner, name, palette.text);
        painter.galley(corner + under, word, palette.quiet);
        response.on_hover_text(told);
    }
}

fn speaker(painter: &Painter, centre: Pos2, half: f32, color: Color32) {
    let corners = [(-0.5, -1.0), (0.5, -1.0), (1.1, 1.0), (-1.1, 1.0)].map(|(x, y)| centre + half * vec2(x, y));
    painter.add(Shape::convex_polygon(corners.to_vec(), color, Stroke::NONE));
}

/// Strokes from the bottom, as many as words arrive; dashed where nobody measured.
fn card(painter: &Painter, look: Look, seat: &SeatCard, square: Rect) {
    let palette = look.palette();
    painter.rect_filled(square, 3.0, palette.ground);
    let Some(rating) = seat.rating else {
        let corners =
            [square.left_top(), square.right_top(), square.right_bottom(), square.left_bottom(), square.left_top()];
        painter.add(Shape::dashed_line(&corners, Stroke::new(1.5, palette.quiet), 4.0, 4.0));
        return;
    };
    let color = if rating >= Rating::Good {
        palette.set
    } else if rating == Rating::Fair {
        palette.text
    } else {
        palette.high
    };
    painter.rect_stroke(square, 3.0, Stroke::new(1.5, palette.text), StrokeKind::Inside);
    let step = square.height() / (f32::from(STROKES) + 1.0);
    for stroke in 1..=strokes(rating) {
        let y = square.bottom() - f32::from(stroke) * step;
        let ends = [pos2(square.left() + 5.0, y), pos2(square.right() - 5.0, y)];
        painter.line_segment(ends, Stroke::new((0.45 * step).max(2.0), color));
    }
}
