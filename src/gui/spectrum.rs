//! The spectrum on a scale of bands and notes: the desk's own bands with their cuts, each ring marked by shape and words.
//!
//! Every place comes from `view::hall`; nothing here knows a frequency.

use eframe::egui::{Align2, Color32, Painter, Rect, Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::shapes;
use super::theme::{Look, Palette};
use crate::engine::ChannelState;
use crate::engine::ringout::Output;
use crate::engine::watched::Picture;
use crate::view::hall::{self, BandMark, RingMark};

/// A decibel of a cut, on the picture.
const CUT: f32 = 5.0;
/// Below this width a band has no room for what is printed on it.
const PRINTED: f32 = 34.0;

pub fn spectrum(ui: &mut Ui, look: Look, picture: &Picture, on: Output) {
    let palette = look.palette();
    // In less it could not be read.
    if ui.available_height() < 5.0 * look.small().size {
        return;
    }
    let (rect, response) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
    let marks = hall::ring_marks(&picture.rings, picture.equaliser);
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, hall::spectrum_spoken(&marks)));
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 8.0, palette.floor);
    let small = look.small();
    let line = small.size * 1.3;
    let inner = Rect::from_min_max(rect.min + vec2(14.0, 8.0), rect.max - vec2(14.0, 8.0 + 2.0 * line));
    let x = |place: f64| inner.left() + place as f32 * inner.width();
    bands(&painter, look, &hall::bands(picture.equaliser, on, &picture.cuts), inner);
    octave_lines(&painter, look, inner, hall::octaves().into_iter());
    for (place, name) in hall::notes() {
        painter.text(
            pos2(x(place), inner.bottom() + 2.0 + line),
            Align2::CENTER_TOP,
            name,
            small.clone(),
            palette.quiet,
        );
    }
    let points: Vec<_> = hall::spectrum_line(&picture.spectrum)
        .into_iter()
        .map(|(place, height)| pos2(x(place), inner.bottom() - height as f32 * inner.height()))
        .collect();
    if points.len() > 1 {
        painter.add(Shape::line(points, Stroke::new(2.0, palette.text)));
    }
    rings(&painter, look, &marks, inner);
}

/// Where each octave stands, and its name below.
pub fn octave_lines<'a>(painter: &Painter, look: Look, inner: Rect, octaves: impl Iterator<Item = (f64, &'a str)>) {
    let palette = look.palette();
    for (place, name) in octaves {
        let x = inner.left() + place as f32 * inner.width();
        painter.line_segment([pos2(x, inner.top()), pos2(x, inner.bottom())], Stroke::new(1.0, palette.line));
        painter.text(pos2(x, inner.bottom() + 2.0), Align2::CENTER_TOP, name, look.small(), palette.text);
    }
}

/// Hanging from the top, as deep as they are cut.
fn bands(painter: &Painter, look: Look, bands: &[BandMark], inner: Rect) {
    let palette = look.palette();
    for band in bands {
        let (from, to) =
            (inner.left() + band.from as f32 * inner.width(), inner.left() + band.to as f32 * inner.width());
        let depth = -band.depth.get() as f32 * CUT;
        let tick = Stroke::new(1.0, palette.line);
        painter.line_segment([pos2(from, inner.top()), pos2(from, inner.top() + 6.0)], tick);
        if depth > 0.0 {
            let cut = Rect::from_min_max(pos2(from + 1.0, inner.top()), pos2(to - 1.0, inner.top() + depth));
            painter.rect_filled(cut, 0.0, palette.set);
            if to - from >= PRINTED || depth > 0.0 {
                let at = pos2(f32::midpoint(from, to), inner.top() + depth + 2.0);
                painter.text(at, Align2::CENTER_TOP, &band.printed, look.small(), palette.set);
            }
        }
    }
}

/// A dotted line down, a shape, and what it is; the surest first, each on a line of its own.
fn rings(painter: &Painter, look: Look, marks: &[RingMark], inner: Rect) {
    let palette: Palette = look.palette();
    let size = look.strong().size;
    for (row, mark) in marks.iter().take(4).enumerate() {
        let x = inner.left() + mark.place as f32 * inner.width();
        let y = inner.top() + 52.0 + row as f32 * size * 1.7;
        let (state, tone): (ChannelState, Color32) =
            if mark.ringing { (ChannelState::High, palette.high) } else { (ChannelState::Low, palette.text) };
        let down = Stroke::new(2.0, tone);
        painter.add(Shape::Vec(Shape::dashed_line(&[pos2(x, y + size), pos2(x, inner.bottom())], down, 3.0, 5.0)));
        shapes::state(painter, palette, state, pos2(x, y), size * 1.2);
        let letters = painter.layout_no_wrap(mark.label.clone(), look.strong(), tone);
        let wide = letters.size().x + size;
        let right = x + wide <= inner.right();
        let left = if right { x + size } else { (x - wide).max(inner.left()) };
        let place = Rect::from_min_size(pos2(left, y - letters.size().y / 2.0), letters.size());
        painter.rect_filled(place.expand(2.0), 2.0, palette.floor);
        painter.galley(place.min, letters, tone);
    }
}
