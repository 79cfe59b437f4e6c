//! A quiet sweep's page: the step, the cautions, a bar while it sounds, the big stop; then the gain around the loop against
//! frequency, what would ring first, and each microphone's line.

use eframe::egui::{
    Align2, Button, Context, Event, Key, Modifiers, Rect, RichText, Role, ScrollArea, Sense, Shape, Stroke, Ui,
    WidgetInfo, pos2, vec2,
};

use super::spectrum::octave_lines;
use super::step::{self, Words};
use super::theme::{GAP, Look, TARGET, bold};
use crate::engine::quiet::{QuietAnswer, QuietResult, QuietStep, QuietWish};
use crate::engine::ringout::{Output, RingWish};
use crate::view::quiet::{LoopGraph, quiet_headline, quiet_lines, quiet_step, quiet_then};
use crate::view::ringout::output_name;
use crate::view::safe_sweep::SWEEP_CAUTIONS;
use crate::view::{Reply, labels, sweeps};

/// What is shown.
pub struct Shown<'a> {
    pub step: &'a QuietStep,
    pub result: Option<&'a QuietResult>,
    pub wish: &'a QuietWish,
    pub names: &'a [String],
    /// What is said beside the result.
    pub more: &'a [String],
}

pub enum Pressed {
    Answer(QuietAnswer),
    Again,
    /// The loop of another loudspeaker.
    Another(Output),
    RingOut,
}

pub const fn is_over(step: &QuietStep) -> bool {
    matches!(step, QuietStep::Done | QuietStep::Refused(_) | QuietStep::Failed(_))
}

const fn sounds(step: &QuietStep) -> bool {
    matches!(step, QuietStep::Countdown { .. } | QuietStep::Sounding { .. })
}

pub fn keys(context: &Context, step: &QuietStep) -> Option<QuietAnswer> {
    if sounds(step) {
        let is_key = |event: &Event| matches!(event, Event::Key { pressed: true, .. });
        return context.input(|input| input.events.iter().any(is_key)).then_some(QuietAnswer::Stop);
    }
    let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
    if pressed(Key::Escape) {
        Some(QuietAnswer::Stop)
    } else if pressed(Key::Space) {
        Some(QuietAnswer::Yes)
    } else {
        pressed(Key::N).then_some(QuietAnswer::No)
    }
}

pub fn page(ui: &mut Ui, look: Look, shown: &Shown, wish: &RingWish) -> Option<Pressed> {
    let next = quiet_step(shown.step, shown.wish);
    let wanted = wish.target.unwrap_or(sweeps::USUAL_SPARE);
    let headline = shown.result.map_or_else(|| next.sentence.clone(), |result| quiet_headline(result, wanted));
    let then = shown.result.map_or_else(|| next.then.clone(), |result| quiet_then(result, wanted));
    step::next_step(ui, look, &Words { headline: &headline, then: &then, next: &next }, look.palette().text);
    ui.add_space(GAP / 2.0);
    if let Some(result) = shown.result {
        return over(ui, look, Some(result), shown, wish);
    }
    if is_over(shown.step) {
        return over(ui, look, None, shown, wish);
    }
    if matches!(shown.step, QuietStep::Cautions | QuietStep::Loopback) {
        for caution in SWEEP_CAUTIONS {
            ui.label(RichText::new(caution).font(look.strong()));
        }
    }
    if let QuietStep::Sounding { share, .. } = shown.step {
        bar(ui, look, *share);
    }
    ui.add_space(GAP);
    let mut pressed = None;
    ui.horizontal_wrapped(|ui| {
        let mut offer = |label: &str, answer: QuietAnswer| {
            let label = RichText::new(label).font(look.strong());
            if ui.add(Button::new(label).min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                pressed = Some(Pressed::Answer(answer));
            }
        };
        match next.reply {
            Reply::YesNo => {
                offer(labels::answers(Reply::YesNo)[0], QuietAnswer::Yes);
                offer(labels::answers(Reply::YesNo)[1], QuietAnswer::No);
            }
            Reply::Done => offer(labels::DONE, QuietAnswer::Yes),
            _ => {}
        }
        let stop = if sounds(shown.step) { labels::STOP_ANY } else { labels::STOP };
        let stop = Button::new(RichText::new(stop).font(bold(look.strong().size * 1.3)));
        let stop = stop.stroke(Stroke::new(3.0, look.palette().text));
        if ui.add(stop.min_size(vec2(TARGET * 3.0, TARGET))).clicked() {
            pressed = Some(Pressed::Answer(QuietAnswer::Stop));
        }
    });
    pressed
}

/// How much of it has sounded.
fn bar(ui: &mut Ui, look: Look, share: f64) {
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), TARGET / 2.0), Sense::hover());
    let spoken = format!("{:.0} %", 100.0 * share);
    response.widget_info(|| WidgetInfo::labeled(Role::ProgressIndicator, true, spoken.as_str()));
    let palette = look.palette();
    ui.painter().rect_filled(rect, 4.0, palette.floor);
    let done = Rect::from_min_size(rect.min, vec2(rect.width() * share as f32, rect.height()));
    ui.painter().rect_filled(done, 4.0, palette.text);
}

fn over(ui: &mut Ui, look: Look, result: Option<&QuietResult>, shown: &Shown, wish: &RingWish) -> Option<Pressed> {
    let mut pressed = None;
    ui.horizontal_wrapped(|ui| {
        let others = wish.outputs.iter().filter(|output| **output != shown.wish.output);
        let another = |output: &Output| (labels::quietly_another(&output_name(*output)), Pressed::Another(*output));
        let again = [(labels::QUIET_AGAIN.to_owned(), Pressed::Again), (labels::AGAIN.to_owned(), Pressed::RingOut)];
        for (label, what) in others.map(another).chain(again) {
            let label = RichText::new(label).font(look.strong());
            if ui.add(Button::new(label).min_size(vec2(TARGET * 3.0, TARGET))).clicked() {
                pressed = Some(what);
            }
        }
    });
    let Some(result) = result else { return pressed };
    ui.add_space(GAP / 2.0);
    let height = 0.5 * ui.available_height();
    if let Some(graph) = LoopGraph::of(result, shown.names) {
        picture(ui, look, &graph, height);
    }
    ui.add_space(GAP / 2.0);
    ScrollArea::vertical().id_salt("measured").show(ui, |ui| {
        for line in quiet_lines(result, wish.target.unwrap_or(sweeps::USUAL_SPARE), wish.equaliser, shown.names, false)
        {
            ui.label(RichText::new(line).font(look.strong()));
        }
        for line in shown.more {
            ui.label(RichText::new(line).color(look.palette().quiet));
        }
    });
    pressed
}

/// The gain of the weakest microphone's loop against frequency, the line at which it rings, and what would ring first.
fn picture(ui: &mut Ui, look: Look, graph: &LoopGraph, height: f32) {
    let palette = look.palette();
    if height < 5.0 * look.small().size {
        return;
    }
    let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, graph.spoken()));
    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 8.0, palette.floor);
    let small = look.small();
    let line = small.size * 1.3;
    let inner = Rect::from_min_max(rect.min + vec2(14.0, 8.0), rect.max - vec2(14.0, 8.0 + line));
    let x = |place: f64| inner.left() + place as f32 * inner.width();
    let y = |height: f64| inner.bottom() - height as f32 * inner.height();
    octave_lines(&painter, look, inner, graph.octaves.iter().map(|(place, name)| (*place, name.as_str())));
    let rings = y(graph.rings_at);
    painter.add(Shape::dashed_line(
        &[pos2(inner.left(), rings), pos2(inner.right(), rings)],
        Stroke::new(2.0, palette.text),
        8.0,
        5.0,
    ));
    painter.text(pos2(inner.left() + 4.0, rings - 2.0), Align2::LEFT_BOTTOM, &graph.title, small.clone(), palette.text);
    let points: Vec<_> = graph.line.iter().map(|(place, height)| pos2(x(*place), y(*height))).collect();
    if points.len() > 1 {
        painter.add(Shape::line(points, Stroke::new(2.0, palette.low)));
    }
    for (number, ring) in graph.rings.iter().enumerate() {
        let at = pos2(x(ring.place), y(ring.height));
        painter.circle_stroke(at, 6.0, Stroke::new(2.0, palette.high));
        // Neighbours' words stand one above the other.
        let above = at - vec2(0.0, 8.0 + (number % 2) as f32 * line);
        painter.text(above, Align2::CENTER_BOTTOM, &ring.name, small.clone(), palette.high);
    }
}
