//! The spectrum of a recording as SVG: the mean level of each third octave from 25 Hz to 20 kHz, a line a channel.
//!
//! From bottom to top −100 to 0 dBFS. Two channels are told apart by a whole and a dashed line; of more all are thin. Edge
//! cases: silence lies on the bottom.

use std::fmt::Write;

use crate::report::html::escaped;
use crate::units::Dbfs;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 34.0;
const TALL: f64 = 80.0;
const TOP: f64 = 6.0;
const LOWEST: f64 = -100.0;
const LEVELS: [f64; 3] = [0.0, -50.0, -100.0];
/// Bands that are lettered, and what they are called.
const HERTZ: [(usize, &str); 5] = [(3, "50"), (6, "100"), (13, "500"), (16, "1 kHz"), (26, "10 kHz")];

pub fn spectrum<const BANDS: usize>(spectra: &[(String, [Dbfs; BANDS])]) -> String {
    if spectra.is_empty() {
        return String::new();
    }
    let x = |band: usize| LEFT + 6.0 + band as f64 / (BANDS - 1) as f64 * (WIDTH - LEFT - 16.0);
    let y = |level: Dbfs| TOP + level.get().clamp(LOWEST, 0.0) / LOWEST * TALL;
    let height = TOP + TALL + 18.0;
    let mut svg = format!(
        "<figure><svg viewBox=\"0 0 {WIDTH} {height}\" font-family=\"'Liberation Sans',Arial,'DejaVu Sans',sans-serif\" font-size=\"11\" \
         role=\"img\" aria-label=\"Spectrum in third octaves\">\n<rect x=\"{LEFT}\" y=\"{TOP}\" width=\"{:.1}\" height=\"{TALL}\" fill=\"none\" stroke=\"#000\" stroke-width=\".6\"/>\n",
        WIDTH - LEFT - 4.0
    );
    // Writing to a string cannot fail.
    for level in LEVELS {
        let at = y(Dbfs::new(level));
        let letters = format!("{level:.0}").replace('-', "−");
        let _ = writeln!(
            svg,
            "<path d=\"M{LEFT} {at:.1}H{:.1}\" stroke=\"#999\" stroke-width=\".4\"/><text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"end\">{letters}</text>",
            WIDTH - 4.0,
            LEFT - 4.0,
            at + 4.0
        );
    }
    for (band, letters) in HERTZ {
        let at = x(band);
        let _ = writeln!(
            svg,
            "<path d=\"M{at:.1} {TOP}v{TALL}\" stroke=\"#999\" stroke-width=\".4\"/><text x=\"{at:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{letters}</text>",
            height - 4.0
        );
    }
    let stroke = if spectra.len() > 2 { 0.6 } else { 1.4 };
    for (index, (_, bands)) in spectra.iter().enumerate() {
        let dashes = if index == 1 && spectra.len() == 2 { " stroke-dasharray=\"5 3\"" } else { "" };
        let points: Vec<String> =
            bands.iter().enumerate().map(|(band, level)| format!("{:.1},{:.1}", x(band), y(*level))).collect();
        let _ = writeln!(
            svg,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"#000\" stroke-width=\"{stroke}\"{dashes}/>",
            points.join(" ")
        );
    }
    let names = match spectra {
        [(first, _), (second, _)] => format!(": {} whole, {} dashed", escaped(first), escaped(second)),
        _ => String::new(),
    };
    let _ = writeln!(svg, "</svg><figcaption>Spectrum in third octaves, dBFS{names}</figcaption></figure>");
    svg
}
