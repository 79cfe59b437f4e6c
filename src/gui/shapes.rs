//! The six states as shapes, and the arrow: all drawn from lines and fields, none told by colour alone.
//!
//! A shape stands in a square of the given size around its centre, in points.

use eframe::egui::epaint::PathShape;
use eframe::egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

use super::theme::Palette;
use crate::engine::ChannelState;
use crate::view::lines::LineState;
use crate::view::plan::Verdict;
use crate::view::{Arrow, Bad};

/// Draws a state.
pub fn state(painter: &Painter, palette: Palette, state: ChannelState, centre: Pos2, size: f32) {
    let color = palette.of(state);
    let half = size / 2.0;
    let square = Rect::from_center_size(centre, Vec2::splat(size));
    match state {
        ChannelState::NotHeard => {
            for step in 0..14 {
                let angle = std::f32::consts::TAU * step as f32 / 14.0;
                let at = centre + half * 0.92 * vec2(angle.cos(), angle.sin());
                painter.circle_filled(at, (size * 0.05).max(1.2), color);
            }
        }
        ChannelState::Low => {
            painter.circle_stroke(centre, half * 0.9, Stroke::new((size * 0.12).max(2.0), color));
        }
        ChannelState::Set => {
            painter.rect_filled(square.shrink(size * 0.06), 2.0, color);
            let under = square.bottom() + size * 0.08;
            let wide = half * 1.25;
            let stroke = Stroke::new((size * 0.08).max(2.0), palette.text);
            painter.line_segment([pos2(centre.x - wide, under), pos2(centre.x + wide, under)], stroke);
        }
        ChannelState::High => {
            let top = pos2(centre.x, square.top());
            painter.add(Shape::convex_polygon(
                vec![top, square.right_bottom(), square.left_bottom()],
                color,
                Stroke::NONE,
            ));
        }
        ChannelState::Clipped => clipped(painter, palette, square.shrink2(vec2(0.0, size * 0.07))),
        ChannelState::Lost => {
            let stroke = Stroke::new((size * 0.09).max(2.5), color);
            for (from, to) in [(-1.0, -0.33), (0.33, 1.0)] {
                let at = |x: f32| pos2(centre.x + half * x, centre.y);
                painter.line_segment([at(from), at(to)], stroke);
            }
        }
    }
}

/// A hatched, flat-topped block.
fn clipped(painter: &Painter, palette: Palette, block: Rect) {
    painter.rect_filled(block, 0.0, palette.clipped);
    let inside = painter.with_clip_rect(block.intersect(painter.clip_rect()));
    let step = (block.width() / 6.0).max(3.0);
    let stroke = Stroke::new(step * 0.45, palette.hatch);
    let mut x = block.left() - block.height();
    while x < block.right() {
        inside.line_segment([pos2(x, block.bottom()), pos2(x + block.height(), block.top())], stroke);
        x += step;
    }
    painter.rect_stroke(block, 0.0, Stroke::new(1.5, palette.clipped), eframe::egui::StrokeKind::Inside);
}

/// The three verdicts: a filled square, a hollow triangle, a cross.
pub fn verdict(painter: &Painter, palette: Palette, verdict: Verdict, centre: Pos2, size: f32) {
    let half = size / 2.0;
    let square = Rect::from_center_size(centre, Vec2::splat(size));
    match verdict {
        Verdict::Fits => {
            painter.rect_filled(square.shrink(size * 0.12), 2.0, palette.set);
        }
        Verdict::WorksBut => {
            let stroke = Stroke::new((size * 0.11).max(2.0), palette.low);
            let inner = square.shrink(stroke.width / 2.0);
            let corners = vec![pos2(centre.x, inner.top()), inner.right_bottom(), inner.left_bottom()];
            painter.add(Shape::closed_line(corners, stroke));
        }
        Verdict::Never => {
            let stroke = Stroke::new((size * 0.2).max(3.0), palette.high);
            let far = half * 0.82;
            for way in [vec2(far, far), vec2(far, -far)] {
                painter.line_segment([centre - way, centre + way], stroke);
            }
        }
    }
}

/// How bad something is: the shapes that states have, a dot for a note, a cross for what can't be read.
pub fn bad(painter: &Painter, palette: Palette, bad: Bad, centre: Pos2, size: f32) {
    let shape = match bad {
        Bad::Fine => ChannelState::Set,
        Bad::CannotTell => ChannelState::NotHeard,
        Bad::Mendable => ChannelState::Low,
        Bad::Hides => ChannelState::High,
        Bad::Lost => ChannelState::Lost,
        Bad::Note => {
            painter.circle_filled(centre, size * 0.16, palette.text);
            return;
        }
        Bad::Unreadable => {
            let (far, stroke) = (size * 0.4, Stroke::new((size * 0.14).max(2.5), palette.text));
            for way in [vec2(far, far), vec2(far, -far)] {
                painter.line_segment([centre - way, centre + way], stroke);
            }
            return;
        }
    };
    // A square on its line is taller than the others.
    let size = if bad == Bad::Fine { size * 0.85 } else { size };
    state(painter, palette, shape, centre, size);
}

/// How a line stands in a line check.
pub fn line(painter: &Painter, palette: Palette, line: LineState, centre: Pos2, size: f32) {
    let shape = match line {
        LineState::NotYet => ChannelState::NotHeard,
        LineState::Right => ChannelState::Set,
        LineState::Wrong => ChannelState::High,
        LineState::Silent => ChannelState::Low,
        LineState::Skipped => ChannelState::Lost,
    };
    state(painter, palette, shape, centre, size);
}

/// The large arrow of the next step; where nothing is turned, a bar to the right of which the sentence stands.
pub fn arrow(painter: &Painter, arrow: Arrow, within: Rect, color: Color32) {
    let (w, h) = (within.width(), within.height());
    let at = |x: f32, y: f32| pos2(within.left() + x * w, within.top() + y * h);
    let (shaft, head) = match arrow {
        Arrow::Down => ([at(0.31, 0.0), at(0.69, 0.5)], [at(0.0, 0.43), at(1.0, 0.43), at(0.5, 1.0)]),
        Arrow::Up => ([at(0.31, 0.5), at(0.69, 1.0)], [at(0.0, 0.57), at(0.5, 0.0), at(1.0, 0.57)]),
        Arrow::None => {
            let rail = [at(0.5, 0.1), at(0.5, 0.9)];
            painter.line_segment(rail, Stroke::new((w * 0.05).max(3.0), color));
            return;
        }
    };
    painter.rect_filled(Rect::from_two_pos(shaft[0], shaft[1]), 0.0, color);
    painter.add(Shape::Path(PathShape::convex_polygon(head.to_vec(), color, Stroke::NONE)));
}
