//! The hall's seats as SVG: the stage's edge, loudspeakers, and a card for each seat with as many strokes as words arrive.
//!
//! Millimetres of paper, black on white, the audience's side DOWN. Edge cases: without places an empty hall.

use std::fmt::Write;

use super::html::escaped;
use crate::view::plan::{EDGE, STROKES, SeatCard, Seating, beside, strokes};

const WIDTH: f64 = 186.0;
const HIGHEST: f64 = 150.0;
const MARGIN: f64 = 4.0;
/// 11 points.
const FONT: f64 = 3.9;
const LINE: f64 = 4.6;
/// Of a card.
const HALF: f64 = 4.5;
/// Room that a letter takes, at its widest.
const CHARACTER: f64 = 2.2;

pub fn svg(seating: &Seating) -> String {
    let [left, right, front, back] = seating.frame;
    let scale = ((WIDTH - 2.0 * MARGIN) / (right - left)).min(HIGHEST / (front - back));
    let height = (front - back) * scale + 2.0 * MARGIN;
    let at = |(x, y): (f64, f64)| (WIDTH / 2.0 + (x - (left + right) / 2.0) * scale, MARGIN + (front - y) * scale);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.1}\" font-family=\"'Liberation Sans', Arial, \
         'DejaVu Sans', sans-serif\" font-size=\"{FONT}\" fill=\"#000\" stroke=\"none\" role=\"img\" aria-label=\"The hall’s seats\">\n"
    );
    let ((from, edge), (to, _)) = (at((left, 0.0)), at((right, 0.0)));
    // Writing to a string cannot fail.
    let _ = writeln!(
        svg,
        "<line x1=\"{from:.1}\" y1=\"{edge:.1}\" x2=\"{to:.1}\" y2=\"{edge:.1}\" stroke=\"#000\" stroke-width=\"0.6\"/>\n\
         <text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{EDGE}</text>",
        WIDTH / 2.0,
        edge - 1.5
    );
    for (x, y) in seating.speakers.iter().map(|place| at(*place)) {
        let _ = writeln!(svg, "<path d=\"M{:.1} {:.1}h4l2.5 5h-9z\" fill=\"#000\"/>", x - 2.0, y - 2.5);
    }
    let placed = || seating.seats.iter().filter_map(|seat| Some((seat, at(seat.at?))));
    let mut taken: Vec<_> = placed().map(|(_, (x, y))| [x - HALF, y - HALF, 2.0 * HALF, 2.0 * HALF]).collect();
    for (seat, place) in placed() {
        card(seat, place, &mut svg);
        let letters = seat.name.chars().count().max(seat.words.chars().count());
        let size = (letters as f64 * CHARACTER, 2.0 * LINE);
        let label = beside(place, HALF, size, &taken, [0.0, 0.0, WIDTH, height]);
        taken.push(label);
        let (x, y) = (label[0], label[1] + FONT);
        let _ = writeln!(
            svg,
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-weight=\"bold\">{}</text>\n<text x=\"{x:.1}\" y=\"{:.1}\">{}</text>",
            escaped(&seat.name),
            y + LINE,
            seat.words
        );
    }
    svg.push_str("</svg>\n");
    svg
}

/// An outline, and strokes from the bottom.
fn card(seat: &SeatCard, (x, y): (f64, f64), svg: &mut String) {
    let side = 2.0 * HALF;
    let dash = if seat.rating.is_some() { "" } else { " stroke-dasharray=\"1 1\"" };
    let _ = writeln!(
        svg,
        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{side}\" height=\"{side}\" rx=\"1\" fill=\"#fff\" stroke=\"#000\" \
         stroke-width=\"0.4\"{dash}/>",
        x - HALF,
        y - HALF
    );
    let step = side / (f64::from(STROKES) + 1.0);
    for stroke in 1..=seat.rating.map_or(0, strokes) {
        let level = y + HALF - f64::from(stroke) * step;
        let _ = writeln!(
            svg,
            "<line x1=\"{:.1}\" y1=\"{level:.2}\" x2=\"{:.1}\" y2=\"{level:.2}\" stroke=\"#000\" stroke-width=\"0.8\"/>",
            x - HALF + 1.2,
            x + HALF - 1.2
        );
    }
}
