//! The level of a recording over time as SVG, with its faults marked on it; and the signs for how bad they are.
//!
//! From left to right the recording, from bottom to top −60 dBFS to full scale; lower for one that is quieter throughout. Pale: the highest samples; dark: from the
//! quietest to the loudest 10 ms (RMS). Faults stand above in up to three rows, the worst first where there is not room for
//! all words. Units are those of the picture, 720 wide. Edge cases: an empty recording is an empty frame.

use std::fmt::Write;

use crate::engine::envelope::Envelope;
use crate::report::html::escaped;
use crate::units::{Dbfs, Seconds};
use crate::view::recordings::{clock_marks, picture as caption};
use crate::view::{Bad, Take};

const WIDTH: f64 = 720.0;
const LEFT: f64 = 34.0;
const TALL: f64 = 110.0;
const ROW: f64 = 18.0;
const ROWS: usize = 3;
const FONT: f64 = 11.0;
const LETTER: f64 = 6.0;
const COLUMNS: usize = 600;
/// Where the axis may end: the first of these that lies 20 dB under the loudest.
const LOWEST: [f64; 4] = [-60.0, -80.0, -100.0, -120.0];
const LETTERED: usize = 20;

/// How bad, as a small picture with its word for whoever hears the page.
pub fn sign(bad: Bad) -> String {
    format!(
        "<svg class=\"sign\" viewBox=\"-10 -10 20 20\" role=\"img\" aria-label=\"{}\">{}</svg>",
        bad.word(),
        shape(bad, 0.0, 0.0, 14.0)
    )
}

/// The same within a picture.
fn shape(bad: Bad, x: f64, y: f64, size: f64) -> String {
    let half = size / 2.0;
    let line = "fill=\"none\" stroke=\"#000\" stroke-width=\"2\"";
    match bad {
        Bad::Fine => format!(
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\"/><path d=\"M{:.1} {:.1}h{:.1}\" {line}/>",
            x - half * 0.8,
            y - half,
            half * 1.6,
            half * 1.6,
            x - half * 1.2,
            y + half,
            half * 2.4
        ),
        Bad::Note => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\"/>", half * 0.3),
        Bad::CannotTell => {
            format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" {line} stroke-dasharray=\"1.5 3\"/>", half * 0.9)
        }
        Bad::Mendable => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" {line}/>", half * 0.85),
        Bad::Hides => format!("<path d=\"M{x:.1} {:.1}l{half:.1} {size:.1}h{:.1}z\"/>", y - half, -size),
        Bad::Lost => format!(
            "<path d=\"M{:.1} {y:.1}h{:.1}m{:.1} 0h{:.1}\" {line}/>",
            x - half,
            half * 0.7,
            half * 0.6,
            half * 0.7
        ),
        Bad::Unreadable => {
            let far = half * 0.8;
            format!(
                "<path d=\"M{:.1} {:.1}l{size:.1} {size:.1}m0 {:.1}l{:.1} {size:.1}\" {line}/>",
                x - far,
                y - far,
                -size,
                -size
            )
        }
    }
}

/// The picture.
pub fn level(take: &Take, envelope: &Envelope) -> String {
    let length = take.length.get().max(1e-3);
    let x = |at: f64| LEFT + (at / length).clamp(0.0, 1.0) * (WIDTH - LEFT - 4.0);
    let (marks, rows) = marks(take, x);
    let top = rows as f64 * ROW + 4.0;
    let height = top + TALL + ROW;
    let loudest = envelope.within(None, Seconds::ZERO, take.length).map(|extent| extent.peak);
    let lowest = lowest(loudest.unwrap_or(Dbfs::SILENCE));
    let y = |level: Dbfs| top + (level.get().clamp(lowest, 0.0) / lowest) * TALL;
    let words = escaped(&caption(take, loudest));
    let mut svg = format!(
        "<figure><svg viewBox=\"0 0 {WIDTH} {height:.0}\" font-family=\"'Liberation Sans',Arial,'DejaVu Sans',sans-serif\" \
         font-size=\"{FONT}\" role=\"img\" aria-label=\"{words}\">\n"
    );
    // Writing to a string cannot fail.
    let _ = writeln!(
        svg,
        "<rect x=\"{LEFT}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{TALL}\" fill=\"none\" stroke=\"#000\" stroke-width=\".6\"/>",
        WIDTH - LEFT - 4.0
    );
    for down in (0..=-lowest as u32).step_by(LETTERED) {
        let at = y(Dbfs::new(-f64::from(down)));
        let _ = writeln!(
            svg,
            "<path d=\"M{LEFT} {at:.1}H{:.1}\" stroke=\"#999\" stroke-width=\".4\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{}</text>",
            WIDTH - 4.0,
            LEFT - 4.0,
            at + 4.0,
            if down == 0 { "0".into() } else { format!("−{down}") }
        );
    }
    let _ = writeln!(svg, "{}", bars(envelope, length, top + TALL, x, y));
    for (at, letters) in clock_marks(take.length, 8) {
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{letters}</text>",
            x(at.get()).clamp(LEFT, WIDTH - 16.0),
            height - 4.0
        );
    }
    svg.push_str(&marks.replace("BOTTOM", &format!("{:.1}", top + TALL)));
    let _ = writeln!(svg, "</svg><figcaption>{words}; −{:.0} to 0 dBFS</figcaption></figure>", -lowest);
    svg
}

fn lowest(loudest: Dbfs) -> f64 {
    let shows = |lowest: &&f64| loudest.get() - **lowest >= LETTERED as f64;
    *LOWEST.iter().find(shows).unwrap_or(&LOWEST[LOWEST.len() - 1])
}

/// Peaks pale, the 10 ms from quietest to loudest dark.
fn bars(envelope: &Envelope, length: f64, bottom: f64, x: impl Fn(f64) -> f64, y: impl Fn(Dbfs) -> f64) -> String {
    let (mut pale, mut dark) = (String::new(), String::new());
    let wide = x(length / COLUMNS as f64) - x(0.0);
    for column in 0..COLUMNS {
        let at = |column: usize| Seconds::new(column as f64 / COLUMNS as f64 * length);
        let Some(extent) = envelope.within(None, at(column), at(column + 1)) else { continue };
        let left = x(at(column).get());
        let (peak, loud, quiet) = (y(extent.peak), y(extent.loud), y(extent.quiet).min(bottom));
        let _ = write!(pale, "M{left:.1} {peak:.1}h{wide:.2}V{loud:.1}h-{wide:.2}z");
        let _ = write!(dark, "M{left:.1} {loud:.1}h{wide:.2}V{:.1}h-{wide:.2}z", quiet.max(loud + 0.6));
    }
    format!("<path d=\"{pale}\" fill=\"#aaa\"/><path d=\"{dark}\" fill=\"#333\"/>")
}

/// Signs over their times, and how many rows they take; a line falls from each to BOTTOM.
fn marks(take: &Take, x: impl Fn(f64) -> f64) -> (String, usize) {
    let mut taken: [Vec<(f64, f64)>; ROWS] = Default::default();
    let mut drawn = String::new();
    let mut rows = 0;
    for place in take.worst_first() {
        let fault = &take.faults[place];
        let at = x(fault.from.get()).min(WIDTH - 12.0);
        let word = fault.kind.word();
        let worded = (at - 8.0, at + 10.0 + word.chars().count() as f64 * LETTER);
        let alone = (at - 7.0, at + 7.0);
        let free = |row: &[(f64, f64)], span: (f64, f64)| {
            span.1 <= WIDTH && row.iter().all(|other| span.1 <= other.0 || other.1 <= span.0)
        };
        let spot = [(worded, true), (alone, false)].into_iter().find_map(|(span, with_word)| {
            (0..ROWS).find(|&row| free(&taken[row], span)).map(|row| (row, span, with_word))
        });
        // Where three signs stand already, a fourth would only cover them.
        let Some((row, span, with_word)) = spot else { continue };
        taken[row].push(span);
        rows = rows.max(row + 1);
        let y = row as f64 * ROW + 10.0;
        let _ = write!(
            drawn,
            "<path d=\"M{at:.1} {:.1}VBOTTOM\" stroke=\"#000\" stroke-width=\".5\" stroke-dasharray=\"1 3\"/>{}",
            y + 7.0,
            shape(fault.bad, at, y, 10.0)
        );
        if with_word {
            let _ = write!(drawn, "<text x=\"{:.1}\" y=\"{:.1}\">{word}</text>", at + 8.0, y + 4.0);
        }
        drawn.push('\n');
    }
    (drawn, rows)
}
