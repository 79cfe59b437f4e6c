//! The stage plot as SVG: performers, loudspeakers and monitors where they stand, the audience's side DOWN.
//!
//! Millimetres of paper, scaled from metres so that everything fits. Labels stand where nothing else does; shapes that
//! share a place are drawn beside each other. Edge cases: no tokens gives an empty stage.

use std::fmt::Write;

use super::html::escaped;
use crate::view::plan::{StagePlot, Token, TokenKind};

const WIDTH: f64 = 186.0;
const MARGIN: f64 = 14.0;
/// Room for labels over the rearmost.
const TOP: f64 = 22.0;
const LINE: f64 = 4.6;
const HIGHEST: f64 = 150.0;
/// Of the labels: 11 points are 3.9 mm.
const FONT: f64 = 3.9;
/// Half of a shape, with its line.
const HALF: f64 = 4.3;
/// Room that a label takes, at its widest.
const CHARACTER: f64 = 2.3;

pub fn svg(plot: &StagePlot) -> String {
    let area = Area::of(plot);
    let height = area.height + TOP + MARGIN + 12.0;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.1}\" font-family=\"'Liberation Sans', Arial, \
         'DejaVu Sans', sans-serif\" font-size=\"{FONT}\" fill=\"#000\" stroke=\"none\" role=\"img\" aria-label=\"Stage plot\">\n"
    );
    let (_, edge) = area.at((0.0, 0.0));
    // Writing to a string cannot fail.
    let _ = writeln!(
        svg,
        "<line x1=\"2\" y1=\"{edge:.1}\" x2=\"{:.1}\" y2=\"{edge:.1}\" stroke=\"#000\" stroke-width=\"0.6\" \
         stroke-dasharray=\"3 1.5\"/>",
        WIDTH - 2.0
    );
    let spots = spots(plot, &area);
    // What no label may lie on: shapes, the words at the corners, and labels that stand already.
    let mut taken: Vec<[f64; 4]> = spots.iter().map(|&(x, y)| [x - HALF, y - HALF, 2.0 * HALF, 2.0 * HALF]).collect();
    taken.push([0.0, 0.0, WIDTH, FONT + 1.0]);
    taken.push([0.0, height - 7.0, WIDTH, 7.0]);
    for (token, &at) in plot.tokens.iter().zip(&spots) {
        draw(token, at, &mut taken, &mut svg);
    }
    let (words, width) = ("front edge of the stage", 46.0);
    let along = |top: f64| (0..35).map(move |step| (2.0 + 4.0 * f64::from(step), top));
    let free = |at: &(f64, f64)| !taken.iter().any(|other| overlap(*other, [at.0, at.1, width, 4.4]));
    let (x, top) = along(edge - 5.2).chain(along(edge + 0.6)).find(free).unwrap_or((2.0, edge - 5.2));
    let _ = writeln!(svg, "<text x=\"{x:.1}\" y=\"{:.1}\">{words}</text>", top + 3.8);
    let bottom = height - 2.0;
    let _ = writeln!(
        svg,
        "<text x=\"{:.1}\" y=\"{bottom:.1}\" text-anchor=\"middle\" font-weight=\"bold\" font-size=\"5\">▼ audience side \
         DOWN ▼</text>",
        WIDTH / 2.0
    );
    let sides = [(2.0, "start", "audience’s left"), (WIDTH - 2.0, "end", "audience’s right")];
    for (x, anchor, words) in sides {
        let _ = writeln!(svg, "<text x=\"{x:.1}\" y=\"{bottom:.1}\" text-anchor=\"{anchor}\">{words}</text>");
    }
    let performers = [(2.0, "start", "performers’ right"), (WIDTH - 2.0, "end", "performers’ left")];
    for (x, anchor, words) in performers {
        let _ = writeln!(svg, "<text x=\"{x:.1}\" y=\"{FONT:.1}\" text-anchor=\"{anchor}\">{words}</text>");
    }
    svg.push_str("</svg>\n");
    svg
}

/// From metres to millimetres of paper.
struct Area {
    left: f64,
    top: f64,
    scale: f64,
    height: f64,
}

impl Area {
    fn of(plot: &StagePlot) -> Self {
        let finite = plot.tokens.iter().map(|token| token.at).chain([(-3.0, 0.0), (3.0, 2.0)]);
        let spread = |values: Vec<f64>| {
            let least = values.iter().copied().fold(f64::INFINITY, f64::min);
            (least, values.iter().copied().fold(f64::NEG_INFINITY, f64::max))
        };
        let (left, right) = spread(finite.clone().map(|at| at.0).collect());
        let (front, back) = spread(finite.map(|at| at.1).collect());
        // Room for the labels at the right edge.
        let scale = ((WIDTH - 2.0 * MARGIN - 24.0) / (right - left)).min(HIGHEST / (back - front)).min(18.0);
        Self { left, top: back, scale, height: (back - front) * scale }
    }

    fn at(&self, (x, y): (f64, f64)) -> (f64, f64) {
        (MARGIN + (x - self.left) * self.scale, TOP + (self.top - y) * self.scale)
    }
}

/// Where the shapes are drawn: in their places, or beside them where another stands there already.
fn spots(plot: &StagePlot, area: &Area) -> Vec<(f64, f64)> {
    const STEP: f64 = 2.0 * HALF + 0.4;
    const BESIDE: [(f64, f64); 9] = [
        (0.0, 0.0),
        (-1.0, 0.0),
        (1.0, 0.0),
        (0.0, 1.0),
        (0.0, -1.0),
        (-1.0, 1.0),
        (1.0, 1.0),
        (-1.0, -1.0),
        (1.0, -1.0),
    ];
    let mut spots: Vec<(f64, f64)> = Vec::with_capacity(plot.tokens.len());
    for token in &plot.tokens {
        let (x, y) = area.at(token.at);
        let moved = BESIDE.map(|(right, down)| (x + right * STEP, y + down * STEP));
        let free = |at: &&(f64, f64)| {
            let inside = (HALF..WIDTH - HALF).contains(&at.0) && at.1 > HALF + FONT;
            let apart =
                |other: &(f64, f64)| (other.0 - at.0).abs() >= 2.0 * HALF || (other.1 - at.1).abs() >= 2.0 * HALF;
            inside && spots.iter().all(apart)
        };
        spots.push(*moved.iter().find(free).unwrap_or(&moved[0]));
    }
    spots
}

fn draw(token: &Token, (x, y): (f64, f64), taken: &mut Vec<[f64; 4]>, svg: &mut String) {
    let shape = match token.kind {
        TokenKind::Performer => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.6\""),
        TokenKind::HallSpeaker | TokenKind::Desk => {
            format!("<rect x=\"{:.1}\" y=\"{:.1}\" width=\"7.2\" height=\"7.2\"", x - 3.6, y - 3.6)
        }
        TokenKind::Monitor => {
            format!("<path d=\"M{:.1} {:.1}h8.4l-2 -6h-4.4z\"", x - 4.2, y + 3.0)
        }
    };
    let _ = writeln!(svg, "{shape} fill=\"#fff\" stroke=\"#000\" stroke-width=\"0.5\"/>");
    let _ = writeln!(
        svg,
        "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-weight=\"bold\">{}</text>",
        y + 1.4,
        escaped(&token.mark)
    );
    let lines = [&token.label, &token.detail];
    let lines: Vec<&&String> = lines.iter().filter(|line| !line.is_empty()).collect();
    let width = lines.iter().map(|line| line.chars().count()).max().unwrap_or(0) as f64 * CHARACTER;
    let height = lines.len() as f64 * LINE;
    let (left, top, beside) = label_at((x, y), (width, height), taken);
    taken.push([left, top, width, height]);
    if !beside {
        let _ = writeln!(
            svg,
            "<path d=\"M{x:.1} {:.1}L{left:.1} {:.1}\" stroke=\"#000\" stroke-width=\"0.2\"/>",
            y + HALF,
            top + 1.5
        );
    }
    for (index, line) in lines.iter().enumerate() {
        let base = top + 3.4 + index as f64 * LINE;
        let _ = writeln!(svg, "<text x=\"{left:.1}\" y=\"{base:.1}\">{}</text>", escaped(line));
    }
}

/// Beside the shape, under or over it, and `true`; else further down, wherever nothing else stands.
fn label_at((x, y): (f64, f64), (width, height): (f64, f64), taken: &[[f64; 4]]) -> (f64, f64, bool) {
    let gap = HALF + 0.8;
    let beside = [
        (x + gap, y - 3.0),
        (x - gap - width, y - 3.0),
        (x - width / 2.0, y + gap),
        (x - width / 2.0, y - gap - height),
        (x + gap, y + 1.0),
        (x + gap, y - height),
        (x - gap - width, y + 1.0),
        (x - gap - width, y - height),
    ];
    let free = |at: &(f64, f64)| {
        (0.0..=(WIDTH - width).max(0.0)).contains(&at.0)
            && !taken.iter().any(|other| overlap(*other, [at.0, at.1, width, height]))
    };
    if let Some((left, top)) = beside.into_iter().find(free) {
        return (left, top, true);
    }
    let left = (x + gap).min(WIDTH - width).max(0.0);
    let mut top = y - 3.0;
    while let Some(other) = taken.iter().find(|other| overlap(**other, [left, top, width, height])) {
        top = other[1] + other[3] + 0.2;
    }
    (left, top, false)
}

fn overlap(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] < b[0] + b[2] && b[0] < a[0] + a[2] && a[1] < b[1] + b[3] && b[1] < a[1] + a[3]
}
