//! The stage plot as SVG: performers, loudspeakers and monitors where they stand, the audience's side DOWN.
//!
//! Millimetres of paper, scaled from metres so that everything fits. Labels that would lie on each other are moved
//! down. Edge cases: no tokens gives an empty stage; tokens at one point still have labels of their own.

use std::fmt::Write;

use super::html::escaped;
use crate::view::plan::{StagePlot, Token, TokenKind};

const WIDTH: f64 = 186.0;
const MARGIN: f64 = 14.0;
const LINE: f64 = 4.6;
const HIGHEST: f64 = 150.0;
/// Of the labels: 11 points are 3.9 mm.
const FONT: f64 = 3.9;
/// Room that a label takes, at its widest.
const CHARACTER: f64 = 2.3;

pub fn svg(plot: &StagePlot) -> String {
    let area = Area::of(plot);
    let height = area.height + 2.0 * MARGIN + 12.0;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.1}\" font-family=\"'DejaVu Sans', Arial, \
         sans-serif\" font-size=\"{FONT}\" fill=\"#000\" stroke=\"none\" role=\"img\" aria-label=\"Stage plot\">\n"
    );
    let (_, edge) = area.at((0.0, 0.0));
    // Writing to a string cannot fail.
    let _ = writeln!(
        svg,
        "<line x1=\"2\" y1=\"{edge:.1}\" x2=\"{:.1}\" y2=\"{edge:.1}\" stroke=\"#000\" stroke-width=\"0.6\" \
         stroke-dasharray=\"3 1.5\"/>",
        WIDTH - 2.0
    );
    let _ = writeln!(svg, "<text x=\"2\" y=\"{:.1}\">front edge of the stage</text>", edge - 1.2);
    let mut labels: Vec<[f64; 4]> = Vec::new();
    for token in &plot.tokens {
        draw(token, area.at(token.at), &mut labels, &mut svg);
    }
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
        (MARGIN + (x - self.left) * self.scale, MARGIN + (self.top - y) * self.scale)
    }
}

fn draw(token: &Token, (x, y): (f64, f64), labels: &mut Vec<[f64; 4]>, svg: &mut String) {
    let shape = match token.kind {
        TokenKind::Performer => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.6\""),
        TokenKind::HallSpeaker | TokenKind::Desk => {
            format!("<rect x=\"{:.1}\" y=\"{:.1}\" width=\"7.2\" height=\"7.2\"", x - 3.6, y - 3.6)
        }
        TokenKind::Monitor | TokenKind::Seat => {
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
    let left = (x + 5.0).min(WIDTH - width).max(0.0);
    let mut top = y - 3.0;
    while let Some(other) = labels.iter().find(|other| overlap(**other, [left, top, width, height])) {
        top = other[1] + other[3] + 0.2;
    }
    labels.push([left, top, width, height]);
    for (index, line) in lines.iter().enumerate() {
        let base = top + 3.4 + index as f64 * LINE;
        let _ = writeln!(svg, "<text x=\"{left:.1}\" y=\"{base:.1}\">{}</text>", escaped(line));
    }
}

fn overlap(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] < b[0] + b[2] && b[0] < a[0] + a[2] && a[1] < b[1] + b[3] && b[1] < a[1] + a[3]
}
