//! The shapes of faults: each is told from every other without its colour.
//!
//! Clipped: a hatched block. Flat top: a hill without its top. Not heard: a dotted ring. Set aside: a hollow spike.
//! Spill: two rings, one into the other. No number: a cross. Gap: a dash with a gap. All others have the
//! shape of how bad they are; the word beside it tells them apart. Sizes are points.

use eframe::egui::{Painter, Pos2, Shape, Stroke, pos2};

use super::shapes;
use super::theme::Palette;
use crate::engine::ChannelState;
use crate::view::{Bad, FaultKind};

pub fn shape(painter: &Painter, palette: Palette, (kind, bad): (FaultKind, Bad), centre: Pos2, size: f32) {
    let at = |x: f32, y: f32| pos2(centre.x + x * size, centre.y + y * size);
    let stroke = Stroke::new((size * 0.1).max(2.0), palette.text);
    match kind {
        FaultKind::Clipped => shapes::state(painter, palette, ChannelState::Clipped, centre, size),
        FaultKind::NotHeard => shapes::state(painter, palette, ChannelState::NotHeard, centre, size),
        FaultKind::Gap => shapes::state(painter, palette, ChannelState::Lost, centre, size),
        FaultKind::FlatTop => {
            let hill = vec![at(-0.5, 0.4), at(-0.25, -0.3), at(0.25, -0.3), at(0.5, 0.4)];
            painter.add(Shape::convex_polygon(hill, palette.high, Stroke::NONE));
            painter.line_segment([at(-0.38, -0.36), at(0.38, -0.36)], stroke);
        }
        FaultKind::SetAside => {
            painter.add(Shape::closed_line(vec![at(-0.22, 0.45), at(0.0, -0.45), at(0.22, 0.45)], stroke));
        }
        FaultKind::Spill => {
            painter.circle_stroke(at(-0.16, 0.0), size * 0.28, stroke);
            painter.circle_stroke(at(0.16, 0.0), size * 0.28, stroke);
        }
        FaultKind::Invalid => {
            painter.line_segment([at(-0.32, -0.32), at(0.32, 0.32)], stroke);
            painter.line_segment([at(-0.32, 0.32), at(0.32, -0.32)], stroke);
        }
        _ => shapes::bad(painter, palette, bad, centre, size),
    }
}
