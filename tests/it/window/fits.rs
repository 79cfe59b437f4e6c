//! Nothing is cut off: on every view, at every text size, every piece of text lies within what it may be drawn in.
//!
//! Read from what was painted: a text whose letters reach past its clip, or the window, is cut off, and so is one that
//! another, or anything filled, lies over. What scrolls may be cut at the edge it scrolls over. Names that are shortened say so with …, and
//! are spoken whole.

use beforedoors::engine::Mood;
use beforedoors::gui::{App, Look, TEXT_SIZES};
use beforedoors::units::Seconds;
use beforedoors::view::Setup;
use eframe::egui::epaint::ClippedShape;
use eframe::egui::{Key, Rangef, Rect, Shape};
use egui_kittest::Harness;

use super::halls::Hall;
use super::{Rehearsal, window_in_any_script, window_with_halls};

/// A hairline.
const SLACK: f32 = 1.5;

/// Half the height of small letters: what rows of text may lie into each other.
const ROWS: f32 = 6.0;

fn look_at(shape: &Shape, clip: Rect, drawn: Rect, seen: &mut Vec<(String, Rect)>, found: &mut Vec<String>) {
    match shape {
        Shape::Vec(shapes) => shapes.iter().for_each(|shape| look_at(shape, clip, drawn, seen, found)),
        Shape::Text(text) if text.angle == 0.0 => {
            for row in &text.galley.rows {
                let Some((first, last)) = row.glyphs.first().zip(row.glyphs.last()) else { continue };
                // Without the room that stands before a row which begins behind other words.
                let from = text.pos.x + row.pos.x;
                let tall = row.rect().translate(text.pos.to_vec2()).y_range();
                let letters = Rect::from_x_y_ranges(from + first.pos.x..=from + last.max_x(), tall);
                look_at_row(&row.text(), letters, (clip, drawn), seen, found);
            }
        }
        Shape::Rect(filled) if filled.fill.is_opaque() => {
            let hidden = |over: &Rect| over.width() > ROWS && over.height() > ROWS;
            let covers = filled.rect.intersect(drawn);
            let under = seen.iter().filter(|(_, letters)| hidden(&letters.intersect(covers)));
            found.extend(under.map(|(text, _)| format!("“{text}” is covered by {covers:?}")));
        }
        _ => {}
    }
}

/// `clip`: what it must lie in; `drawn`: where it can be seen.
fn look_at_row(
    text: &str,
    letters: Rect,
    (clip, drawn): (Rect, Rect),
    seen: &mut Vec<(String, Rect)>,
    found: &mut Vec<String>,
) {
    let within = clip.expand(SLACK);
    // What lies wholly outside is scrolled away.
    if text.trim().is_empty() || !within.intersects(letters) {
        return;
    }
    if !within.contains_rect(letters) {
        found.push(format!("“{text}” at {letters:?} in {within:?}"));
    }
    let letters = letters.intersect(drawn);
    for (other, place) in seen.iter() {
        let over = place.intersect(letters);
        if over.width() > ROWS && over.height() > ROWS {
            found.push(format!("“{text}” over “{other}”: {over:?}"));
        }
    }
    seen.push((text.to_owned(), letters));
}

fn all_fits(harness: &Harness<App>, told: &str, scrolls: bool) {
    let window = harness.ctx.content_rect();
    let (mut seen, mut found) = (Vec::new(), Vec::new());
    for ClippedShape { clip_rect, shape, .. } in &harness.output().shapes {
        let drawn = clip_rect.intersect(window);
        let clip = if scrolls { Rect::from_x_y_ranges(drawn.x_range(), Rangef::EVERYTHING) } else { drawn };
        look_at(shape, clip, drawn, &mut seen, &mut found);
    }
    assert!(found.is_empty(), "{told}: {found:#?}");
}

#[test]
fn no_text_is_cut_off_on_any_view_at_any_size() {
    for (width, height) in [(1280.0, 800.0), (1920.0, 1080.0)] {
        for text in TEXT_SIZES {
            let playing = Rehearsal::new(1, Mood::Normal);
            let hall = Hall::default();
            let look = Look { text, ..Look::default() };
            let mut harness = window_with_halls(&playing, hall.opener(), look, width, height);
            playing.play(Seconds::new(5.0));
            for (key, scrolls) in [
                (Key::F3, true),
                (Key::E, true),
                (Key::B, true),
                (Key::T, true),
                (Key::F4, true),
                (Key::Space, false),
                (Key::F5, false),
                (Key::F6, true),
            ] {
                harness.key_press(key);
                // Rows find their height in the second picture.
                harness.step();
                harness.step();
                all_fits(&harness, &format!("{key:?} at {text}, {width}×{height}"), scrolls);
            }
        }
    }
}

/// Plan and line check: without an event, on the worked example with a name far too long, walked, with what opens from
/// the bottom; a check as it goes on.
#[test]
fn no_text_is_cut_off_in_the_plan_and_the_line_check() {
    let folder = tempfile::tempdir().unwrap();
    let event = folder.path().join("concert");
    beforedoors::event::rig::write_example(&event).unwrap();
    for file in ["inputs.csv", "patch.csv"] {
        let text = std::fs::read_to_string(event.join(file)).unwrap();
        let long = "Laptop with a name that nobody would ever want to read ".repeat(3);
        std::fs::write(event.join(file), text.replace(",Laptop,", &format!(",{},", long.trim()))).unwrap();
    }
    let wide = TEXT_SIZES.map(|text| (1280.0, 800.0, text));
    for (width, height, text) in wide.into_iter().chain([(1920.0, 1080.0, 1.0), (1920.0, 1080.0, 2.0)]) {
        let look = Look { text, ..Look::default() };
        let mut harness = super::plan::window(None, folder.path(), look, (width, height));
        harness.key_press(Key::F1);
        harness.step();
        harness.step();
        all_fits(&harness, &format!("no plan at {text}, {width}×{height}"), true);
        let mut harness = super::plan::window(Some(&event), folder.path(), look, (width, height));
        for key in [Key::F1, Key::ArrowDown, Key::PageDown, Key::W] {
            harness.key_press(key);
            harness.step();
            harness.step();
            all_fits(&harness, &format!("plan: {key:?} at {text}, {width}×{height}"), true);
        }
        let lines = super::linecheck::Lines::default();
        let mut harness = super::linecheck::window(&lines, look, (width, height));
        for key in [Key::F2, Key::Space, Key::S, Key::W] {
            harness.key_press(key);
            harness.step();
            lines.play(Seconds::new(4.0));
            harness.step();
            all_fits(&harness, &format!("line check: {key:?} at {text}, {width}×{height}"), true);
        }
    }
}

/// In other scripts, and far longer than there is room for.
fn hard_names(count: usize) -> Vec<String> {
    let scripts = ["Ångström Œuvre", "Хор мальчиков", "Φλάουτο", "合唱团", "ひびき", "קול", "صوت", "🎺 brass"];
    (0..count)
        .map(|index| match index % 9 {
            8 => "A very long name that nobody would ever want to read ".repeat(4),
            script => scripts[script].to_owned(),
        })
        .collect()
}

#[test]
fn hard_names_and_any_number_of_channels_are_held() {
    for count in [1, 8, 16, 32, 64] {
        for text in [1.0, 2.0] {
            let playing = Rehearsal::of_lines(hard_names(count));
            let look = Look { text, ..Look::default() };
            let mut harness = window_in_any_script(&playing, Setup::default(), look, 1280.0, 800.0);
            playing.play(Seconds::new(2.0));
            for (key, scrolls) in [(Key::F3, count > 8), (Key::T, true), (Key::W, true), (Key::Questionmark, true)] {
                harness.key_press(key);
                harness.step();
                harness.step();
                all_fits(&harness, &format!("{count} channels, {key:?} at {text}"), scrolls);
            }
        }
    }
}
