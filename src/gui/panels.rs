//! What opens from the bottom: why (the evidence, the peaks, the spectrum), and help. Neither covers the next step.

use eframe::egui::{
    Align2, Grid, Label, Rect, RichText, Role, ScrollArea, Sense, Shape, Stroke, Ui, Vec2, WidgetInfo, pos2, vec2,
};

use super::View;
use super::history::History;
use super::keys::Action;
use super::shapes;
use super::soundcheck::Soundcheck;
use super::theme::{GAP, Look};
use crate::engine::Snapshot;
use crate::units::ChannelId;
use crate::view::{self, DeskWords, STATES, labels, spectra};

pub fn why(ui: &mut Ui, look: Look, soundcheck: &Soundcheck, desk: &DeskWords) {
    let Some(snapshot) = &soundcheck.snapshot else { return };
    let at_hand = soundcheck.at_hand().filter(|channel| channel.index() < snapshot.inputs.len());
    // Large text leaves room for two, the spectrum under the peaks.
    let large = look.text > 1.0;
    ui.columns(if large { 2 } else { 3 }, |columns| {
        ScrollArea::vertical().id_salt("why").show(&mut columns[0], |ui| {
            // Else the columns' layout would spread each row's words.
            ui.vertical(|ui| {
                for line in view::why_lines(&snapshot.advice, desk) {
                    ui.label(line);
                }
            });
        });
        let Some(channel) = at_hand else { return };
        let whole = columns[1].available_size();
        // Room for neither is worse than room for one.
        let both = !large || whole.y > 8.0 * look.body().size;
        let size = if large && both { vec2(whole.x, (whole.y - GAP) / 2.0) } else { whole };
        let past = soundcheck.past.look();
        peaks(&mut columns[1], look, snapshot, &past.history, (channel, size));
        let line = snapshot.inputs[channel.index()].line;
        if let Some(heights) = line.filter(|_| both).and_then(|line| past.spectra.heights(line)) {
            bands(&mut columns[if large { 1 } else { 2 }], look, &heights, (channel, size));
        }
    });
}

/// The spectrum of the last seconds as a flight of stairs, a step for each third of an octave.
fn bands(ui: &mut Ui, look: Look, heights: &[f64], (channel, size): (ChannelId, Vec2)) {
    let palette = look.palette();
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, labels::spectrum_of(channel)));
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 6.0, palette.floor);
    let small = look.small();
    let row = small.size * 1.3;
    let inner = Rect::from_min_max(rect.min + vec2(8.0, 8.0 + row), rect.max - vec2(8.0, 4.0 + row));
    painter.text(rect.min + vec2(8.0, 4.0), Align2::LEFT_TOP, labels::SPECTRUM, small.clone(), palette.quiet);
    if inner.height() < row {
        return;
    }
    let wide = inner.width() / heights.len() as f32;
    let stairs = heights.iter().enumerate().flat_map(|(band, &height)| {
        let (left, y) = (inner.left() + band as f32 * wide, inner.bottom() - height as f32 * inner.height());
        [pos2(left, y), pos2(left + wide, y)]
    });
    painter.add(Shape::line(stairs.collect(), Stroke::new(2.0, palette.text)));
    for (place, name) in spectra::printed() {
        let at = pos2(inner.left() + place as f32 * inner.width(), inner.bottom());
        painter.line_segment([at, at + vec2(0.0, 4.0)], Stroke::new(1.0, palette.quiet));
        painter.text(at + vec2(0.0, 4.0), Align2::CENTER_TOP, name, small.clone(), palette.quiet);
    }
}

/// The last minute above the last hour: the loudest of each stretch, the window behind them.
fn peaks(ui: &mut Ui, look: Look, snapshot: &Snapshot, history: &History, (channel, size): (ChannelId, Vec2)) {
    let palette = look.palette();
    let (rect, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, labels::peaks_of(channel)));
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 6.0, palette.floor);
    let half = rect.height() / 2.0;
    let Some(input) = snapshot.inputs.get(channel.index()) else { return };
    for (row, (seconds, columns, name)) in
        [(60, 60, labels::LAST_MINUTE), (History::SPAN, 120, labels::LAST_HOUR)].into_iter().enumerate()
    {
        let top = rect.top() + row as f32 * half;
        let inner = Rect::from_min_max(pos2(rect.left(), top), pos2(rect.right(), top + half)).shrink(8.0);
        let y = |place: f32| inner.bottom() - place * inner.height();
        for edge in [input.window.0, input.window.1].map(|edge| y(view::place(edge) as f32)) {
            painter.line_segment([pos2(inner.left(), edge), pos2(inner.right(), edge)], Stroke::new(2.0, palette.set));
        }
        let wide = inner.width() / columns as f32;
        for (column, peak) in history.columns(channel, seconds, columns).into_iter().enumerate() {
            let Some(peak) = peak else { continue };
            let left = inner.left() + column as f32 * wide;
            let bar = Rect::from_min_max(pos2(left, y(peak)), pos2(left + wide * 0.7, y(peak) + 4.0));
            painter.rect_filled(bar, 0.0, palette.text);
        }
        painter.text(inner.left_bottom(), Align2::LEFT_BOTTOM, name, look.small(), palette.quiet);
    }
}

/// The look, the keys, the shapes; first the keys of the view that is looked at.
pub fn help(ui: &mut Ui, look: Look, of: View) -> Option<Action> {
    let palette = look.palette();
    let mut wanted = None;
    ui.horizontal_wrapped(|ui| {
        let still = if look.still { labels::MOVING } else { labels::STILL };
        for (label, action) in [
            (labels::LIGHT, Action::Bright),
            (labels::SMALLER, Action::Text(false)),
            (labels::LARGER, Action::Text(true)),
            (still, Action::Still),
            (if look.feet { labels::METRES } else { labels::FEET }, Action::Feet),
        ] {
            if ui.button(label).clicked() {
                wanted = Some(action);
            }
        }
    });
    ScrollArea::vertical().id_salt("help").show(ui, |ui| {
        ui.columns(2, |columns| {
            for column in &mut *columns {
                // Nothing here is pressed: lines stand as close as they are read.
                column.spacing_mut().interact_size.y = look.body().size * 1.4;
            }
            // What a key means stands beside it, and breaks where the column ends.
            let wide = columns[0].available_width() - 7.0 * look.body().size - GAP;
            Grid::new("keys").spacing(vec2(GAP, 1.0)).max_col_width(wide).show(&mut columns[0], |ui| {
                for (key, meaning) in keys_of(of) {
                    ui.label(RichText::new(*key).font(look.strong()));
                    ui.add(Label::new(*meaning).wrap());
                    ui.end_row();
                }
            });
            for state in STATES {
                let ui = &mut columns[1];
                ui.horizontal_wrapped(|ui| {
                    let size = look.body().size * 1.2;
                    let (rect, _) = ui.allocate_exact_size(vec2(size * 2.0, size * 1.4), Sense::hover());
                    shapes::state(ui.painter(), palette, state, rect.center(), size);
                    ui.label(format!("{}: {}", view::word(state), view::meaning(state)));
                });
            }
        });
    });
    wanted
}

/// The keys, the view's own first.
fn keys_of(view: View) -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    let everywhere: &[_] = &labels::KEYS;
    let others: [(View, &[_]); 4] = [
        (View::Plan, &view::plan::page::KEYS),
        (View::LineCheck, &view::lines::KEYS),
        (View::Recordings, &view::recordings::KEYS),
        (View::Inputs, &view::inputs::KEYS),
    ];
    let own = others.into_iter().filter(move |(of, _)| *of == view);
    let rest = others.into_iter().filter(move |(of, _)| *of != view);
    own.map(|(_, keys)| keys).chain([everywhere]).chain(rest.map(|(_, keys)| keys)).flatten()
}
