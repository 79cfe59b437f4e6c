//! The rig drawn from left to right: boxes, the ways between them, on every wire its verdict as shape and word.
//!
//! Only what can be seen is drawn. Where the inputs are more than there is room for, they scroll, and what stands behind
//! the desk stays in sight beside them. Every wire and box is a target that says what was found of it.

use eframe::egui::{
    Painter, Pos2, Rect, Role, ScrollArea, Sense, Shape, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2,
};

use super::layout::{BEND, Layout, SPACE, part};
use crate::gui::shapes;
use crate::gui::theme::{BAR, Look, TARGET};
use crate::view::plan::{BoxKind, Drawing, DrawnBox, DrawnWire, Spot, Verdict, verdict_word};

/// How far it is scrolled.
#[derive(Default)]
pub struct Graph {
    scrolled: f32,
    /// Height of what is seen, at the last picture.
    seen: f32,
    /// What is picked must be seen.
    moved: bool,
    wanted: Option<f32>,
    /// Height of what stands above it, at the last picture.
    above: f32,
}

/// With fewer in sight, what stands above scrolls along.
const FEW_ROWS: f32 = 1.5;

/// Points of a bend.
const POINTS: usize = 16;

impl Graph {
    pub const fn show_picked(&mut self) {
        self.moved = true;
    }

    /// By so many heights of what is seen.
    pub fn scroll(&mut self, by: f32) {
        self.wanted = Some((self.scrolled + by * self.seen).max(0.0));
    }

    /// Draws it under `above`, which scrolls along where there is little room; what was chosen.
    pub fn ui(
        &mut self,
        ui: &mut Ui,
        look: Look,
        drawing: &Drawing,
        picked: Option<Spot>,
        above: impl Fn(&mut Ui),
    ) -> Option<Spot> {
        let width = (ui.available_width() - BAR).max(1.0);
        let lines = if low(look) { 1.4 } else { 2.7 };
        let row = (look.small().size * lines + 2.0 * SPACE).max(TARGET + SPACE);
        let laid = Layout::of(drawing, width, row, look.text);
        let head = look.small().size * 1.5 + SPACE;
        let short = ui.available_height() - self.above < head + FEW_ROWS * row;
        let lead = |ui: &mut Ui| {
            let top = ui.cursor().top();
            above(ui);
            let tall = ui.cursor().top() - top;
            if !laid.stacked {
                let (rect, _) = ui.allocate_exact_size(vec2(width, head), Sense::hover());
                headings(ui.painter(), look, &laid, rect, &BoxKind::ALL);
            }
            tall
        };
        let mut tall = if short { 0.0 } else { lead(ui) };
        let second = laid.parts[0] + if laid.stacked { 2.0 * head } else { 0.0 };
        let whole = if laid.stacked { second + laid.parts[1] } else { laid.parts[0].max(laid.parts[1]) };
        let view = ui.available_height();
        let mut area = ScrollArea::vertical().id_salt("rig").auto_shrink([false, false]);
        if let Some(wanted) = self.wanted.take() {
            area = area.vertical_scroll_offset(wanted);
        }
        if std::mem::take(&mut self.moved) {
            let offset =
                if short { Some(0.0) } else { self.offset_of(&laid, drawing, picked, (whole, view, second, head)) };
            if let Some(offset) = offset {
                area = area.vertical_scroll_offset(offset);
            }
        }
        let mut chosen = None;
        let shown = area.show_viewport(ui, |ui, seen| {
            if short {
                ui.set_max_width(width);
                tall = lead(ui);
            }
            let (rect, _) = ui.allocate_exact_size(vec2(width, whole), Sense::hover());
            let origin = rect.min.to_vec2();
            let shifts = if laid.stacked {
                [head, second].map(|down| origin + vec2(0.0, down))
            } else if short {
                [origin; 2]
            } else {
                let far = if whole > seen.height() { seen.top() / (whole - seen.height()) } else { 0.0 };
                laid.parts.map(|tall| {
                    let beyond = (tall - seen.height()).max(0.0);
                    origin + vec2(0.0, seen.top() - far * beyond)
                })
            };
            if laid.stacked {
                for (kinds, top) in [(&BoxKind::ALL[..2], 0.0), (&BoxKind::ALL[2..], laid.parts[0] + head)] {
                    let at = Rect::from_min_size(pos2(0.0, top) + origin, vec2(width, head));
                    headings(ui.painter(), look, &laid, at, kinds);
                }
            }
            chosen = Painting { look, drawing, laid: &laid, shifts, picked }.all(ui);
        });
        if tall != self.above {
            self.above = tall;
            ui.ctx().request_repaint();
        }
        (self.scrolled, self.seen) = (shown.state.clamped_offset().y, shown.inner_rect.height());
        chosen
    }

    /// So far must be scrolled that what is picked is seen.
    fn offset_of(
        &self,
        laid: &Layout,
        drawing: &Drawing,
        picked: Option<Spot>,
        (whole, view, second, head): (f32, f32, f32, f32),
    ) -> Option<f32> {
        let (rect, kind) = match picked? {
            Spot::Box(at) => (*laid.boxes.get(at)?, drawing.boxes[at].kind),
            Spot::Wire(at) => ((*laid.lanes.get(at)?)?, drawing.boxes[drawing.wires[at].to].kind),
        };
        if laid.stacked {
            let rect = rect.translate(vec2(0.0, if part(kind) == 0 { head } else { second }));
            let lowest = (rect.bottom() - view).max(0.0);
            return Some(self.scrolled.clamp(lowest.min(rect.top()), rect.top()));
        }
        let beyond = laid.parts[part(kind)] - view;
        if beyond <= 0.0 || whole <= view {
            return None;
        }
        // Not at the very edge, where the picture fades.
        let rect = rect.expand2(vec2(0.0, (view - rect.height()).clamp(0.0, rect.height()) / 2.0));
        let far = (self.scrolled / (whole - view)).clamp(0.0, 1.0);
        let (least, most) = ((rect.bottom() - view).max(0.0) / beyond, rect.top() / beyond);
        Some(far.clamp(least.min(most), most.max(0.0)).clamp(0.0, 1.0) * (whole - view))
    }
}

/// One line a row.
fn low(look: Look) -> bool {
    look.text > super::LARGE
}

fn headings(painter: &Painter, look: Look, laid: &Layout, within: Rect, kinds: &[BoxKind]) {
    for kind in kinds {
        let (left, wide) = laid.columns[*kind as usize];
        if wide > 0.0 {
            let color = look.palette().quiet;
            // The last may reach into the gap before it.
            let room = if *kind == BoxKind::Ears { wide * 1.7 } else { wide };
            let letters = crate::gui::fit(painter, kind.heading(), look.small(), color, room);
            let beyond = (letters.size().x - wide).max(0.0);
            painter.galley(within.min + vec2(left - beyond, 0.0), letters, color);
        }
    }
}

struct Painting<'a> {
    look: Look,
    drawing: &'a Drawing,
    laid: &'a Layout,
    /// Of each part, from its own corner to the screen.
    shifts: [Vec2; 2],
    picked: Option<Spot>,
}

impl Painting<'_> {
    /// Ways first, so that they run behind what they join.
    fn all(&self, ui: &mut Ui) -> Option<Spot> {
        let painter = ui.painter().clone();
        let seen = painter.clip_rect();
        for (at, wire) in self.drawing.wires.iter().enumerate() {
            self.way(&painter, seen, at, wire);
        }
        let mut chosen = None;
        for (at, drawn) in self.drawing.boxes.iter().enumerate() {
            let rect = self.boxed(at);
            if rect.intersects(seen) && self.draw_box(ui, rect, at, drawn) {
                chosen = Some(Spot::Box(at));
            }
        }
        for &at in &self.laid.written {
            if let Some(lane) = self.lane(at)
                && lane.intersects(seen)
                && self.draw_verdict(ui, lane, at, &self.drawing.wires[at])
            {
                chosen = Some(Spot::Wire(at));
            }
        }
        chosen
    }

    fn boxed(&self, at: usize) -> Rect {
        self.laid.boxes[at].translate(self.shifts[part(self.drawing.boxes[at].kind)])
    }

    fn lane(&self, at: usize) -> Option<Rect> {
        let to = self.drawing.wires[at].to;
        Some(self.laid.lanes[at]?.translate(self.shifts[part(self.drawing.boxes[to].kind)]))
    }

    fn way(&self, painter: &Painter, seen: Rect, at: usize, wire: &DrawnWire) {
        let (from, to) = (self.boxed(wire.from), self.boxed(wire.to));
        let kinds = (self.drawing.boxes[wire.from].kind, self.drawing.boxes[wire.to].kind);
        // Of the many ways from the inputs only those of the inputs that are seen.
        let leaves = if kinds.0 == BoxKind::Input { from } else { from.union(to) };
        if !seen.intersects(leaves) {
            return;
        }
        let lane = self.lane(at);
        let start = from.right_center();
        let end = lane.map_or(to.left_center(), |lane| lane.left_center());
        let split = self.laid.stacked && part(kinds.0) != part(kinds.1);
        let points: Vec<Pos2> = if split {
            // The other part is another picture: the way begins at its own edge.
            if lane.is_none() {
                return;
            }
            vec![pos2(end.x - 16.0, end.y), end]
        } else if kinds.0 >= kinds.1 {
            back(from, end, lane.is_some())
        } else {
            bend(start, end, from, lane.is_some())
        };
        let stroke = self.stroke(at, wire);
        let broken = wire.closed || wire.verdict == Verdict::Never;
        let draw = |points: &[Pos2]| {
            if broken {
                painter.extend(Shape::dashed_line(points, stroke, 7.0, 5.0));
            } else {
                painter.line(points.to_vec(), stroke);
            }
        };
        draw(&points);
        if let Some(lane) = lane {
            draw(&[lane.right_center(), pos2(to.left(), lane.center().y)]);
        }
    }

    fn stroke(&self, at: usize, wire: &DrawnWire) -> Stroke {
        let palette = self.look.palette();
        let beside = match self.picked {
            Some(Spot::Wire(picked)) => picked == at,
            Some(Spot::Box(picked)) => wire.from == picked || wire.to == picked,
            None => false,
        };
        let (wide, color) = match (wire.label.is_some(), wire.verdict) {
            (false, _) if beside => (2.5, palette.quiet),
            (false, _) => (1.5, palette.line),
            // Many channels over one cable.
            (true, Verdict::Fits) if self.drawing.boxes[wire.from].kind == BoxKind::Input => (1.5, palette.line),
            (true, Verdict::Fits) => (1.5, palette.not_heard),
            (true, Verdict::WorksBut) => (2.0, palette.low),
            (true, Verdict::Never) => (3.0, palette.high),
        };
        Stroke::new(if beside { wide + 1.0 } else { wide }, color)
    }

    fn draw_box(&self, ui: &mut Ui, rect: Rect, at: usize, drawn: &DrawnBox) -> bool {
        let palette = self.look.palette();
        let picked = self.picked == Some(Spot::Box(at));
        let response = ui.interact(rect, ui.scope_id().with(("box", at)), Sense::click());
        let word = verdict_word(drawn.verdict);
        let told = drawn.words.join(". ");
        let said = [&drawn.title, &drawn.detail, &format!("{word}. {told}")]
            .into_iter()
            .filter(|part| !part.is_empty())
            .cloned()
            .collect::<Vec<_>>()
            .join(": ");
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, picked, &said));
        let painter = ui.painter();
        painter.rect_filled(rect, 6.0, palette.floor);
        self.outline(painter, rect, picked, response.has_focus() || response.hovered());
        if response.gained_focus() {
            response.scroll_to_me(None);
        }
        let inner = rect.shrink2(vec2(10.0, 4.0));
        let size = self.look.small().size;
        let detail = if drawn.verdict > Verdict::Fits {
            word.to_owned()
        } else if self.laid.stacked && drawn.kind == BoxKind::Input {
            self.sent_to(at)
        } else {
            drawn.detail.clone()
        };
        let mark = if drawn.verdict > Verdict::Fits { size * 1.3 } else { 0.0 };
        let title = crate::gui::fit(painter, &drawn.title, self.look.body(), palette.text, inner.width());
        let below = crate::gui::fit(painter, &detail, self.look.small(), palette.quiet, inner.width() - mark);
        if low(self.look) {
            let room = inner.width() - if mark > 0.0 { mark + 4.0 } else { 0.0 };
            let title = crate::gui::fit(painter, &drawn.title, self.look.body(), palette.text, room);
            let left = inner.left() + title.size().x + SPACE;
            painter.galley(pos2(inner.left(), rect.center().y - title.size().y / 2.0), title, palette.text);
            if mark > 0.0 {
                let centre = pos2(inner.right() - size * 0.5, rect.center().y);
                shapes::verdict(painter, palette, drawn.verdict, centre, size * 0.85);
                // The word beside it where the name leaves room; it is spoken in any case.
                let word = crate::gui::fit(painter, word, self.look.small(), palette.quiet, f32::INFINITY);
                let from = inner.right() - mark - word.size().x;
                if from > left {
                    painter.galley(pos2(from, rect.center().y - word.size().y / 2.0), word, palette.quiet);
                }
            }
            return response.clicked();
        }
        let two = !detail.is_empty();
        let tall = title.size().y + if two { below.size().y } else { 0.0 };
        let top = pos2(inner.left(), rect.center().y - tall / 2.0);
        let under = pos2(inner.left() + mark, top.y + title.size().y);
        painter.galley(top, title, palette.text);
        if two {
            if mark > 0.0 {
                let centre = pos2(inner.left() + size * 0.45, under.y + below.size().y / 2.0);
                shapes::verdict(painter, palette, drawn.verdict, centre, size * 0.85);
            }
            painter.galley(under, below, palette.quiet);
        }
        response.clicked()
    }

    /// The buses that an input is sent to.
    fn sent_to(&self, at: usize) -> String {
        let sent = self.drawing.wires.iter().filter(|wire| wire.from == at && wire.label.is_none());
        let names: Vec<&str> = sent.map(|wire| self.drawing.boxes[wire.to].title.as_str()).collect();
        if names.is_empty() { String::new() } else { format!("→ {}", names.join(", ")) }
    }

    fn draw_verdict(&self, ui: &mut Ui, lane: Rect, at: usize, wire: &DrawnWire) -> bool {
        let palette = self.look.palette();
        let picked = self.picked == Some(Spot::Wire(at));
        let response = ui.interact(lane, ui.scope_id().with(("wire", at)), Sense::click());
        let word = verdict_word(wire.verdict);
        let (whole, notes) = wire.words.split_first().map_or(("", &[][..]), |(whole, notes)| (whole.as_str(), notes));
        let said = format!("{whole}: {word}. {}", notes.join(". "));
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, picked, &said));
        if response.gained_focus() {
            response.scroll_to_me(None);
        }
        let painter = ui.painter();
        // Over whatever runs behind it.
        painter.rect_filled(lane, 4.0, palette.ground);
        self.outline(painter, lane, picked, response.has_focus() || response.hovered());
        let size = self.look.small().size;
        let mark = pos2(lane.left() + 6.0 + size * 0.5, lane.center().y);
        shapes::verdict(painter, palette, wire.verdict, mark, size);
        let left = mark.x + size * 0.5 + 7.0;
        let room = lane.right() - left - 2.0;
        let color = if wire.verdict == Verdict::Fits { palette.quiet } else { palette.text };
        let font = if wire.verdict == Verdict::Never { crate::gui::theme::bold(size) } else { self.look.small() };
        if low(self.look) {
            let both = format!("{} {word}", wire.label.as_deref().unwrap_or_default());
            let both = crate::gui::fit(painter, &both, font, color, room);
            painter.galley(pos2(left, lane.center().y - both.size().y / 2.0), both, color);
            return response.clicked();
        }
        let word = crate::gui::fit(painter, word, font, color, room);
        let label = wire.label.as_deref().unwrap_or_default();
        let label = crate::gui::fit(painter, label, self.look.small(), palette.quiet, room);
        let top = lane.center().y - (word.size().y + label.size().y) / 2.0;
        let under = top + label.size().y;
        painter.galley(pos2(left, top), label, palette.quiet);
        painter.galley(pos2(left, under), word, color);
        response.clicked()
    }

    fn outline(&self, painter: &Painter, rect: Rect, picked: bool, at_hand: bool) {
        let palette = self.look.palette();
        if picked {
            painter.rect_stroke(rect, 6.0, Stroke::new(3.0, palette.text), StrokeKind::Inside);
        } else if at_hand {
            painter.rect_stroke(rect, 6.0, Stroke::new(2.0, palette.quiet), StrokeKind::Inside);
        }
    }
}

/// Bends within the gap beside what it leaves, then runs straight.
fn bend(start: Pos2, end: Pos2, from: Rect, straight: bool) -> Vec<Pos2> {
    let room = if straight { BEND } else { end.x - start.x };
    let turned = (start.x + room).min(end.x);
    let wide = turned - from.right();
    let mut points: Vec<Pos2> = (0..=POINTS)
        .map(|at| {
            let far = at as f32 / POINTS as f32;
            // Level at both ends.
            let eased = far * far * (3.0 - 2.0 * far);
            pos2(start.x + far * wide, start.y + eased * (end.y - start.y))
        })
        .collect();
    points.push(end);
    points
}

/// To something in the same column, or before it: around the near edge.
fn back(from: Rect, end: Pos2, labelled: bool) -> Vec<Pos2> {
    if labelled {
        let out = from.left_bottom() + vec2(0.0, -10.0);
        let turn = end.x - 8.0;
        return vec![out, pos2(turn, out.y), pos2(turn, end.y), end];
    }
    let out = from.right_center();
    let turn = out.x + 10.0;
    vec![out, pos2(turn, out.y), pos2(turn, end.y), pos2(out.x, end.y)]
}
