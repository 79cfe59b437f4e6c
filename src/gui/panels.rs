//! What opens from the bottom: why (the evidence and the last minute of peaks), and help. Neither covers the next step.

use eframe::egui::{Rect, Role, ScrollArea, Sense, Stroke, Ui, WidgetInfo, pos2, vec2};

use super::app::History;
use super::shapes;
use super::theme::Look;
use crate::engine::Snapshot;
use crate::units::ChannelId;
use crate::view::{self, DeskWords, STATES};

pub const KEYS: [(&str, &str); 14] = [
    ("Space", "done, or yes"),
    ("S", "skip this step"),
    ("N", "no; never"),
    ("L", "the knob is at its limit"),
    ("1–9", "look at a channel; Esc: back to the step’s own"),
    ("W", "why: numbers and history"),
    ("T", "table or stage"),
    ("I", "choose the input"),
    ("F1 F2", "soundcheck, recordings"),
    ("D", "dark hall or daylight"),
    ("+ −", "size of text"),
    ("[ ]", "five minutes less, or more, to doors"),
    ("← →", "on the simulated stage: turn the knob"),
    ("A", "on the simulated stage: ask for the loudest part"),
];

pub fn why(
    ui: &mut Ui,
    look: Look,
    snapshot: &Snapshot,
    desk: &DeskWords,
    history: &History,
    at_hand: Option<ChannelId>,
) {
    ui.columns(2, |columns| {
        ScrollArea::vertical().id_salt("why").show(&mut columns[0], |ui| {
            for line in view::why_lines(&snapshot.advice, desk) {
                ui.label(line);
            }
        });
        if let Some(channel) = at_hand.filter(|channel| channel.index() < snapshot.inputs.len()) {
            peaks(&mut columns[1], look, snapshot, history, channel);
        }
    });
}

/// Peaks of each second, the window behind them, the loudest marked.
fn peaks(ui: &mut Ui, look: Look, snapshot: &Snapshot, history: &History, channel: ChannelId) {
    let palette = look.palette();
    let (rect, response) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
    let seconds = history.of(channel);
    let label = format!("Peaks of channel {} over the last {} s", channel.number(), seconds.len());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &label));
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 6.0, palette.floor);
    let inner = rect.shrink(10.0);
    let y = |place: f64| inner.bottom() - place as f32 * inner.height();
    if let Some(input) = snapshot.inputs.get(channel.index()) {
        let (low, high) = (y(view::place(input.window.0)), y(view::place(input.window.1)));
        for edge in [low, high] {
            painter.line_segment([pos2(inner.left(), edge), pos2(inner.right(), edge)], Stroke::new(2.0, palette.set));
        }
    }
    let wide = inner.width() / History::SPAN as f32;
    for (age, place) in seconds.iter().rev().enumerate() {
        let right = inner.right() - age as f32 * wide;
        let bar = Rect::from_min_max(pos2(right - wide * 0.7, y(*place)), pos2(right, y(*place) + 4.0));
        painter.rect_filled(bar, 0.0, palette.text);
    }
}

pub fn help(ui: &mut Ui, look: Look) {
    let palette = look.palette();
    ScrollArea::vertical().id_salt("help").show(ui, |ui| {
        ui.columns(2, |columns| {
            for (key, meaning) in KEYS.iter().chain(&view::recordings::KEYS).chain(&view::inputs::KEYS) {
                columns[0].label(format!("{key}   {meaning}"));
            }
            for state in STATES {
                let ui = &mut columns[1];
                ui.horizontal(|ui| {
                    let size = look.body().size * 1.2;
                    let (rect, _) = ui.allocate_exact_size(vec2(size * 2.0, size * 1.4), Sense::hover());
                    shapes::state(ui.painter(), palette, state, rect.center(), size);
                    ui.label(format!("{}: {}", view::word(state), view::meaning(state)));
                });
            }
        });
    });
}
