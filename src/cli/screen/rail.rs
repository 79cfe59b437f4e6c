//! The shelf meter in characters: five lines of it.

use super::paint::{Line, Tone, fit, fit_right};
use crate::engine::ChannelState;
use crate::view::{Shelf, shape};

/// What is drawn beside the meter's own values.
pub struct Extras<'a> {
    /// The channel, "3 Soloist".
    pub who: &'a str,
    pub state: ChannelState,
    /// Where it stood in the last seconds, newest last.
    pub footprints: &'a [f64],
    /// A knob without marks is being turned: its marker.
    pub marker: Option<f64>,
}

/// Name and headroom; what stands on the rail; the rail; marks and window; letters.
pub fn lines(shelf: &Shelf, extras: &Extras, columns: usize) -> Vec<Line> {
    let rail = columns.saturating_sub(6).max(30);
    let at = |place: f64| (place * (rail - 1) as f64).round() as usize;
    let tone = Tone::State(extras.state);
    let quiet = |cells: Vec<char>| Line::of(Tone::Quiet, format!("   {}", cells.into_iter().collect::<String>()));

    let name = fit(extras.who, rail.saturating_sub(24));
    let head = Line::of(Tone::Strong, format!("   {name}")).and(tone, fit_right(&shelf.headroom, 24));
    let mut full = Line::of(Tone::Text, format!("   {}", "━".repeat(at(shelf.now))));
    full = full.and(Tone::Quiet, "─".repeat(rail - at(shelf.now)));
    vec![head, standing(shelf, extras, rail), full, quiet(marks(shelf, extras, rail)), quiet(letters(shelf, rail))]
}

/// Footprints, and the loudest as its state's shape with its number at the left (or right, where the left is full).
fn standing(shelf: &Shelf, extras: &Extras, rail: usize) -> Line {
    let at = |place: f64| (place * (rail - 1) as f64).round() as usize;
    let mut cells = vec![' '; rail];
    let oldest = extras.footprints.len();
    for (index, &place) in extras.footprints.iter().enumerate() {
        if place > 0.0 {
            cells[at(place)] = if index + 1 == oldest { '•' } else { '·' };
        }
    }
    if let Some(marker) = extras.marker {
        cells[at(shelf.line)] = '│';
        cells[at(marker)] = '◆';
        return Line::of(Tone::Strong, format!("   {}", cells.into_iter().collect::<String>()));
    }
    let Some(loudest) = shelf.loudest else {
        return Line::of(Tone::Quiet, format!("   {}", cells.into_iter().collect::<String>()));
    };
    let sign = shape(extras.state);
    let wide = sign.trim().chars().count();
    let from = at(loudest).saturating_sub(wide / 2).min(rail - wide);
    // With a blank on both sides.
    let label = shelf.loudest_label.chars().count() + 2;
    let text = |cells: &[char]| cells.iter().collect::<String>();
    let tone = Tone::State(extras.state);
    let after = &cells[from + wide..];
    if from >= label {
        let left = text(&cells[..from - label]);
        Line::of(Tone::Quiet, format!("   {left}"))
            .and(tone, format!(" {} {}", shelf.loudest_label, sign.trim()))
            .and(Tone::Quiet, text(after))
    } else {
        let right = text(after.get(label..).unwrap_or_default());
        Line::of(Tone::Quiet, format!("   {}", text(&cells[..from])))
            .and(tone, format!("{} {} ", sign.trim(), shelf.loudest_label))
            .and(Tone::Quiet, right)
    }
}

fn marks(shelf: &Shelf, extras: &Extras, rail: usize) -> Vec<char> {
    let at = |place: f64| (place * (rail - 1) as f64).round() as usize;
    let mut cells = vec![' '; rail];
    for (place, _) in &shelf.ticks {
        cells[at(*place)] = '╵';
    }
    let (low, high) = (at(shelf.window.0), at(shelf.window.1));
    cells[low..=high].fill('▁');
    cells[low] = '╲';
    cells[high] = '╱';
    if extras.marker.is_some() {
        cells[at(shelf.line)] = '│';
    }
    cells
}

/// The window's letters first; a mark's where they leave room.
fn letters(shelf: &Shelf, rail: usize) -> Vec<char> {
    let mut cells = vec![' '; rail];
    write(&mut cells, shelf.line, &shelf.window_label);
    for (place, letters) in &shelf.ticks {
        write(&mut cells, *place, letters);
    }
    cells
}

/// Centred on a place, if nothing stands there or beside it.
fn write(cells: &mut [char], place: f64, letters: &str) {
    let wide = letters.chars().count();
    if wide > cells.len() {
        return;
    }
    let middle = (place * (cells.len() - 1) as f64).round() as usize;
    let from = middle.saturating_sub(wide / 2).min(cells.len() - wide);
    let around = from.saturating_sub(2)..(from + wide + 2).min(cells.len());
    if cells[around].iter().all(|&cell| cell == ' ') {
        for (cell, letter) in cells[from..].iter_mut().zip(letters.chars()) {
            *cell = letter;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Dbfs;
    use crate::view::numbers::Scale;

    fn drawn(now: f64, loudest: f64, state: ChannelState, columns: usize) -> Vec<String> {
        let window = (Dbfs::new(-15.0), Dbfs::new(-9.0));
        let shelf = Shelf::new(Dbfs::new(now), Dbfs::new(loudest), window, Scale::FullScale);
        let extras = Extras { who: "3 Soloist", state, footprints: &[0.5, 0.6], marker: None };
        lines(&shelf, &extras, columns).iter().map(|line| line.text().trim_end().to_owned()).collect()
    }

    #[test]
    fn a_high_channel_on_eighty_columns() {
        let rows = drawn(-20.0, -3.1, ChannelState::High, 80);
        let expected = [
            "   3 Soloist                                               3.1 dB of headroom",
            "                                        ·      •           loudest −3.1 ▲",
            "   ━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━━─────────────────────────",
            "   ╵              ╵             ╵              ╵          ╲▁▁▁▁▁▁╱          ╵",
            "   −60           −48           −36            −24      window −15…−9        0",
        ];
        assert_eq!(rows, expected, "\n{}", rows.join("\n"));
    }

    #[test]
    fn every_level_state_and_width_is_drawn_inside_its_columns() {
        for state in crate::view::STATES {
            for level in [f64::NEG_INFINITY, -200.0, -60.0, -59.0, -12.0, 0.0, 6.0] {
                for columns in [0, 36, 60, 61, 79, 200] {
                    for row in drawn(level, level, state, columns) {
                        assert!(row.chars().count() <= columns.max(36), "{columns}: {row}");
                    }
                }
            }
        }
    }
}
