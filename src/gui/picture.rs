//! The level of a recording over time, each fault marked on it by its shape and word.
//!
//! From left to right the recording, from bottom to top −60 dBFS to full scale. Each column of pixels stands for what lay
//! in its time: a solid bar from the quietest to the loudest 10 ms (RMS), a pale one from there to the highest sample,
//! and shade below.
//! Marks stand above, in up to three rows, each over its time; where words would cover each other, that of the fault at
//! hand is written first. Clicking a mark takes its fault at hand. Every mark speaks its name.

use eframe::egui::{Align2, Color32, Mesh, Pos2, Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};

use super::faults;
use super::theme::Look;
use crate::engine::envelope::Extent;
use crate::units::{ChannelId, Dbfs, Seconds};
use crate::view::{self, Fault, Take, recordings as words};

/// What is drawn.
pub struct Picture<'a> {
    pub take: &'a Take,
    /// Whose level it is; `None`: all channels.
    pub channel: Option<ChannelId>,
    /// The fault at hand, by its place.
    pub at_hand: Option<usize>,
    /// Where a passage sounds.
    pub sounds: Option<Seconds>,
}

const ROWS: usize = 3;
const LEVELS: [f64; 4] = [0.0, -20.0, -40.0, -60.0];

/// Draws it; the place of the fault whose mark was chosen.
pub fn picture(ui: &mut Ui, look: Look, picture: &Picture) -> Option<usize> {
    let palette = look.palette();
    let line = look.small().size * 1.5;
    let faults = &picture.take.faults;
    let width = ui.available_width();
    let letters = look.small().size * 2.4;
    let across = (width - letters - 8.0).max(1.0);
    let time = Axis { from: letters, to: letters + across, length: picture.take.length };
    let marks = places(ui, look, faults, picture.at_hand, &time);
    let rows = marks.iter().map(|mark| mark.row + 1).max().unwrap_or(0) as f32;
    let tall = ui.ctx().content_rect().height() * 0.17 * look.text.clamp(1.0, 1.3);
    let (rect, response) = ui.allocate_exact_size(vec2(width, rows * line + tall + line), Sense::hover());
    let plot = Rect::from_min_size(rect.min + vec2(letters, rows * line), vec2(across, tall));
    let extent = |from: f64, to: f64| {
        let envelope = picture.take.envelope.as_ref()?;
        envelope.within(picture.channel, Seconds::new(from), Seconds::new(to))
    };
    let loudest = extent(0.0, picture.take.length.get()).map(|extent| extent.peak);
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, words::picture(picture.take, loudest)));
    if ui.is_rect_visible(rect) {
        ui.painter().rect_filled(plot, 0.0, palette.floor);
        scales(ui, look, plot, rect.left(), picture.take.length);
        levels(ui, look, plot, picture.take.length, extent);
        if let Some(at) = picture.sounds {
            let x = rect.left() + time.x(at);
            ui.painter().line_segment([pos2(x, plot.top()), pos2(x, plot.bottom())], Stroke::new(3.0, palette.set));
        }
    }
    let mut chosen = None;
    for mark in &marks {
        let fault = &faults[mark.place];
        let here = picture.at_hand == Some(mark.place);
        if draw(ui, look, plot, rect.min, line, &time, mark, fault, here) {
            chosen = Some(mark.place);
        }
    }
    chosen
}

/// From time to a distance from the left edge.
struct Axis {
    from: f32,
    to: f32,
    length: Seconds,
}

impl Axis {
    fn x(&self, at: Seconds) -> f32 {
        let share = if self.length.get() > 0.0 { (at.get() / self.length.get()).clamp(0.0, 1.0) } else { 0.0 };
        self.from + share as f32 * (self.to - self.from)
    }
}

/// Where a mark stands.
struct Mark {
    /// Of its fault.
    place: usize,
    row: usize,
    /// The middle of its shape, and what it takes with its word, from the left edge.
    x: f32,
    from: f32,
    to: f32,
    worded: bool,
}

/// Rows for the marks, the one at hand first: with its word where there is room, else as a shape alone.
fn places(ui: &Ui, look: Look, faults: &[Fault], at_hand: Option<usize>, time: &Axis) -> Vec<Mark> {
    let size = look.small().size;
    let mut taken: [Vec<(f32, f32)>; ROWS] = Default::default();
    let mut order: Vec<usize> = (0..faults.len()).collect();
    order.sort_by_key(|place| Some(*place) != at_hand);
    let free = |row: &[(f32, f32)], from: f32, to: f32| row.iter().all(|(a, b)| to + 6.0 <= *a || b + 6.0 <= from);
    let mut marks: Vec<Mark> = order
        .into_iter()
        .map(|place| {
            let word = faults[place].kind.word().to_owned();
            let wide = ui.painter().layout_no_wrap(word, look.small(), Color32::WHITE).size().x;
            let x = time.x(faults[place].from);
            let (left, right) = (x - size * 0.7, x + size * 0.7);
            let behind = (left, right + 8.0 + wide);
            let before = (left - 8.0 - wide, right);
            let spans = [behind, before].into_iter().filter(|(from, to)| *from >= 0.0 && *to <= time.to + 8.0);
            let fit = spans
                .flat_map(|(from, to)| (0..ROWS).map(move |row| (row, from, to)))
                .find(|(row, from, to)| free(&taken[*row], *from, *to));
            let (row, from, to, worded) = match fit {
                Some((row, from, to)) => (row, from, to, true),
                None => {
                    let row = (0..ROWS).find(|row| free(&taken[*row], left, right)).unwrap_or(ROWS - 1);
                    (row, left, right, false)
                }
            };
            taken[row].push((from, to));
            Mark { place, row, x, from, to, worded }
        })
        .collect();
    // In the order of time for the eye, the ear and the Tab key.
    marks.sort_by_key(|mark| mark.place);
    marks
}

/// Draws one; whether it was chosen.
#[expect(clippy::too_many_arguments, reason = "one mark of one picture, and where both stand")]
fn draw(
    ui: &Ui,
    look: Look,
    plot: Rect,
    origin: Pos2,
    line: f32,
    time: &Axis,
    mark: &Mark,
    fault: &Fault,
    here: bool,
) -> bool {
    let palette = look.palette();
    let top = origin.y + mark.row as f32 * line;
    let around = Rect::from_min_max(pos2(origin.x + mark.from, top), pos2(origin.x + mark.to, top + line));
    let response = ui.interact(around, ui.scope_id().with(("fault", mark.place)), Sense::click());
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, here, &fault.name));
    if !ui.is_rect_visible(around.union(plot)) {
        return response.clicked();
    }
    let painter = ui.painter();
    let x = origin.x + mark.x;
    if here {
        painter.line_segment([pos2(x, around.bottom()), pos2(x, plot.bottom())], Stroke::new(2.0, palette.text));
        let from = pos2(x, plot.top() + 2.0);
        painter.line_segment([from, pos2(origin.x + time.x(fault.to), from.y)], Stroke::new(4.0, palette.text));
    } else {
        let stem = [pos2(x, around.bottom()), pos2(x, plot.bottom())];
        painter.extend(eframe::egui::Shape::dotted_line(&stem, palette.quiet, 6.0, 1.0));
    }
    faults::shape(painter, palette, (fault.kind, fault.bad), pos2(x, around.center().y), look.small().size);
    if mark.worded {
        let beside = if mark.to - mark.x > mark.x - mark.from {
            (pos2(x + look.small().size * 0.7 + 4.0, around.center().y), Align2::LEFT_CENTER)
        } else {
            (pos2(x - look.small().size * 0.7 - 4.0, around.center().y), Align2::RIGHT_CENTER)
        };
        let tone = if here { palette.text } else { palette.quiet };
        painter.text(beside.0, beside.1, fault.kind.word(), look.small(), tone);
    }
    if here || response.hovered() || response.has_focus() {
        painter.rect_stroke(around, 3.0, Stroke::new(2.0, palette.text), StrokeKind::Outside);
    }
    response.clicked()
}

/// Decibels at the left, times below.
fn scales(ui: &Ui, look: Look, plot: Rect, left: f32, length: Seconds) {
    let palette = look.palette();
    let painter = ui.painter();
    for level in LEVELS {
        let y = height(plot, Dbfs::new(level));
        painter.line_segment([pos2(plot.left(), y), pos2(plot.right(), y)], Stroke::new(1.0, palette.line));
        let letters = view::numbers::Scale::FullScale.mark(Dbfs::new(level));
        let half = look.small().size / 2.0;
        let y = y.clamp(plot.top() + half, plot.bottom() - half);
        painter.text(pos2(plot.left() - 6.0, y), Align2::RIGHT_CENTER, letters, look.small(), palette.quiet);
    }
    let most = (plot.width() / (look.small().size * 5.0)) as usize;
    for (at, letters) in words::clock_marks(length, most) {
        let share = if length.get() > 0.0 { at.get() / length.get() } else { 0.0 };
        let x = plot.left() + share as f32 * plot.width();
        painter.line_segment([pos2(x, plot.bottom()), pos2(x, plot.bottom() + 5.0)], Stroke::new(1.0, palette.quiet));
        let letters = painter.layout_no_wrap(letters, look.small(), palette.quiet);
        let wide = letters.size().x;
        let from = (x - wide / 2.0).clamp(left, (plot.right() + 8.0 - wide).max(left));
        painter.galley(pos2(from, plot.bottom() + 5.0), letters, palette.quiet);
    }
}

/// One pair of bars for each column of pixels.
fn levels(ui: &Ui, look: Look, plot: Rect, length: Seconds, extent: impl Fn(f64, f64) -> Option<Extent>) {
    let palette = look.palette();
    let columns = (plot.width() * ui.ctx().pixels_per_point()).clamp(1.0, 4000.0) as usize;
    let pale = palette.quiet.gamma_multiply(0.55);
    let mut mesh = Mesh::default();
    for column in 0..columns {
        let share = |column: usize| column as f64 / columns as f64;
        let (from, to) = (share(column) * length.get(), share(column + 1) * length.get());
        let Some(Extent { peak, loud, quiet }) = extent(from, to) else { continue };
        let x = |share: f64| plot.left() + share as f32 * plot.width();
        let mut bar = |top: Dbfs, bottom: Dbfs, color: Color32| {
            let (top, bottom) = (height(plot, top), height(plot, bottom).max(height(plot, top) + 1.0));
            let bottom = bottom.min(plot.bottom());
            let rect = Rect::from_min_max(pos2(x(share(column)), top), pos2(x(share(column + 1)), bottom));
            mesh.add_colored_rect(rect, color);
        };
        bar(quiet, Dbfs::SILENCE, palette.line);
        bar(peak, loud, pale);
        bar(loud, quiet, palette.text);
    }
    ui.painter().with_clip_rect(plot.expand(1.0).intersect(ui.clip_rect())).add(mesh);
}

fn height(plot: Rect, level: Dbfs) -> f32 {
    plot.bottom() - view::place(level) as f32 * plot.height()
}
