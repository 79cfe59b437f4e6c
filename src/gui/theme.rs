//! Every colour and size of the window.
//!
//! Two palettes, for a dark hall and for daylight. Colours are checked below: any two of the five coloured states
//! differ by ΔE*ab ≥ 20, seen with normal eyes and with the three full colour blindnesses (simulation after Machado,
//! Oliveira and Fernandes 2009); text stands ≥ 7:1 from its ground and marks ≥ 3:1 (WCAG 2.2 contrast). Sizes are
//! points: shares of the window's height where they must be read from two metres, else fixed and scaled by the
//! person's text size.

use std::sync::Arc;

use eframe::egui::{Color32, Context, FontData, FontDefinitions, FontFamily, FontId, Stroke, Visuals};

use crate::engine::ChannelState;
use crate::event::Recent;

const fn rgb(hex: u32) -> Color32 {
    Color32::from_rgb((hex >> 16) as u8, (hex >> 8) as u8, hex as u8)
}

/// The colours of one light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Palette {
    pub ground: Color32,
    /// Stage floor and panels.
    pub floor: Color32,
    /// The doors bar's own ground.
    pub edge: Color32,
    pub text: Color32,
    /// What may be read later.
    pub quiet: Color32,
    /// Rails and grid lines.
    pub line: Color32,
    pub low: Color32,
    pub set: Color32,
    pub high: Color32,
    pub clipped: Color32,
    pub hatch: Color32,
    pub not_heard: Color32,
}

pub const DIM: Palette = Palette {
    ground: rgb(0x10161F),
    floor: rgb(0x182130),
    edge: rgb(0x0A0E15),
    text: rgb(0xEFE9DC),
    quiet: rgb(0xA9AFBA),
    line: rgb(0x2B3648),
    low: rgb(0x3E63B0),
    set: rgb(0x58C4DC),
    high: rgb(0xF59322),
    clipped: rgb(0xFFFFFF),
    hatch: rgb(0x000000),
    not_heard: rgb(0x7C8594),
};

pub const BRIGHT: Palette = Palette {
    ground: rgb(0xF6F3EC),
    floor: rgb(0xFFFFFF),
    edge: rgb(0xE8E3D8),
    text: rgb(0x14181F),
    quiet: rgb(0x3E4651),
    line: rgb(0xC9C5BB),
    low: rgb(0x1C229E),
    set: rgb(0x0185B9),
    high: rgb(0xF45413),
    clipped: rgb(0x000000),
    hatch: rgb(0xFFFFFF),
    not_heard: rgb(0x797C80),
};

impl Palette {
    pub const fn of(self, state: ChannelState) -> Color32 {
        match state {
            ChannelState::NotHeard => self.not_heard,
            ChannelState::Low => self.low,
            ChannelState::Set => self.set,
            ChannelState::High => self.high,
            ChannelState::Clipped => self.clipped,
            ChannelState::Lost => self.text,
        }
    }
}

/// What the person chose about the look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    pub bright: bool,
    /// 0.8 to 2.
    pub text: f32,
    /// Less movement.
    pub still: bool,
    /// Feet beside metres.
    pub feet: bool,
}

impl Default for Look {
    fn default() -> Self {
        Self { bright: false, text: 1.0, still: false, feet: false }
    }
}

pub const TEXT_SIZES: [f32; 5] = [0.8, 1.0, 1.25, 1.5, 2.0];
/// 12 mm on a usual screen.
pub const TARGET: f32 = 56.0;
pub const DOORS: f32 = 66.0;
/// Kept free for the bar beside what can be scrolled.
pub const BAR: f32 = 14.0;
/// Between parts.
pub const GAP: f32 = 16.0;
/// A capital's height over the size of its typeface (measured in the font: 0.716).
const CAPITAL: f32 = 0.716;
/// Share of the window's height that the sentence's capitals take.
const READ_AT_TWO_METRES: f32 = 0.081;

impl Look {
    /// As the window was left.
    pub fn of(recent: &Recent) -> Self {
        let text = TEXT_SIZES.into_iter().find(|size| *size == recent.text).unwrap_or(1.0);
        Self { bright: recent.bright, text, still: recent.still, feet: recent.feet }
    }

    pub const fn palette(self) -> Palette {
        if self.bright { BRIGHT } else { DIM }
    }

    /// For what must be read from two metres, in a window so high.
    pub fn sentence(self, height: f32) -> FontId {
        bold(height * READ_AT_TWO_METRES / CAPITAL)
    }

    /// The line under it.
    pub fn then(self, height: f32) -> FontId {
        regular(height * 0.036 * self.text.min(1.5))
    }

    pub fn body(self) -> FontId {
        regular(17.0 * self.text)
    }

    pub fn strong(self) -> FontId {
        bold(17.0 * self.text)
    }

    pub fn small(self) -> FontId {
        regular(15.0 * self.text)
    }
}

pub fn regular(size: f32) -> FontId {
    FontId::new(size, FontFamily::Proportional)
}

pub fn bold(size: f32) -> FontId {
    FontId::new(size, FontFamily::Name("bold".into()))
}

/// Carries the typeface into the window, and its colours.
pub fn apply(context: &Context, look: Look) {
    let palette = look.palette();
    let mut visuals = if look.bright { Visuals::light() } else { Visuals::dark() };
    visuals.panel_fill = palette.ground;
    visuals.window_fill = palette.floor;
    visuals.extreme_bg_color = palette.floor;
    visuals.override_text_color = Some(palette.text);
    visuals.selection.bg_fill = palette.line;
    visuals.selection.stroke.color = palette.text;
    let widgets = &mut visuals.widgets;
    for (widget, fill) in [
        (&mut widgets.inactive, palette.floor),
        (&mut widgets.hovered, palette.line),
        (&mut widgets.active, palette.line),
        (&mut widgets.open, palette.floor),
    ] {
        (widget.bg_fill, widget.weak_bg_fill) = (fill, fill);
        widget.bg_stroke = Stroke::new(1.0, palette.line);
        widget.fg_stroke = Stroke::new(1.5, palette.text);
    }
    // Where the keyboard is.
    visuals.widgets.hovered.bg_stroke = Stroke::new(2.0, palette.quiet);
    context.set_visuals(visuals);
    context.all_styles_mut(|style| {
        style.animation_time = 0.0;
        style.override_font_id = Some(look.body());
        style.spacing.interact_size.y = TARGET;
        style.spacing.button_padding = eframe::egui::vec2(GAP, 8.0);
    });
}

/// B612: made for reading at a glance; the usual fonts stand behind it for other scripts.
pub fn fonts() -> FontDefinitions {
    let mut fonts = FontDefinitions::default();
    let mut carry = |name: &str, bytes: &'static [u8]| {
        fonts.font_data.insert(name.into(), Arc::new(FontData::from_static(bytes)));
    };
    carry("regular", include_bytes!("fonts/B612-Regular.otf"));
    carry("bold", include_bytes!("fonts/B612-Bold.otf"));
    let behind = fonts.families.get(&FontFamily::Proportional).cloned().unwrap_or_default();
    let family = |name: &str| std::iter::once(name.to_owned()).chain(behind.iter().cloned()).collect::<Vec<_>>();
    let bold = family("bold");
    fonts.families.insert(FontFamily::Proportional, family("regular"));
    fonts.families.insert(FontFamily::Name("bold".into()), bold);
    fonts
}

#[cfg(test)]
mod tests {
    use super::*;

    type Rgb = [f64; 3];
    /// Normal eyes, and Machado, Oliveira and Fernandes (2009), severity 1: protan, deutan, tritan; linear RGB.
    const EYES: [[Rgb; 3]; 4] = [
        [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    ];

    fn times(matrix: &[Rgb; 3], v: Rgb) -> Rgb {
        matrix.map(|row| row.iter().zip(v).map(|(a, b)| a * b).sum())
    }

    /// sRGB (IEC 61966-2-1).
    fn linear(color: Color32) -> Rgb {
        [color.r(), color.g(), color.b()].map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        })
    }

    /// CIE 1976 L*a*b*, D65.
    fn lab(v: Rgb) -> Rgb {
        let xyz = times(
            &[[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]],
            v.map(|c| c.clamp(0.0, 1.0)),
        );
        let f = |t: f64| if t > 216.0 / 24389.0 { t.cbrt() } else { (24389.0 / 27.0 * t + 16.0) / 116.0 };
        let [x, y, z] = [f(xyz[0] / 0.95047), f(xyz[1]), f(xyz[2] / 1.08883)];
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    fn contrast(a: Color32, b: Color32) -> f64 {
        let luminance = |c| linear(c).iter().zip([0.2126, 0.7152, 0.0722]).map(|(a, b)| a * b).sum::<f64>() + 0.05;
        let (a, b) = (luminance(a), luminance(b));
        a.max(b) / a.min(b)
    }

    #[test]
    fn no_two_states_look_alike_to_any_eyes() {
        for palette in [DIM, BRIGHT] {
            let states = [palette.low, palette.set, palette.high, palette.clipped, palette.not_heard];
            for eyes in &EYES {
                let seen = states.map(|color| lab(times(eyes, linear(color))));
                for (index, a) in seen.iter().enumerate() {
                    for (other, b) in seen.iter().enumerate().skip(index + 1) {
                        let apart = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
                        assert!(apart >= 20.0, "{index} and {other}: {apart:.1}");
                    }
                }
            }
        }
    }

    #[test]
    fn text_and_marks_stand_out() {
        for palette in [DIM, BRIGHT] {
            for ground in [palette.ground, palette.edge, palette.floor] {
                for text in [palette.text, palette.quiet] {
                    assert!(contrast(text, ground) >= 7.0, "{text:?} on {ground:?}: {:.2}", contrast(text, ground));
                }
            }
            for mark in [palette.low, palette.set, palette.high, palette.clipped, palette.not_heard] {
                assert!(contrast(mark, palette.ground) >= 3.0, "{mark:?}: {:.2}", contrast(mark, palette.ground));
            }
        }
        // The palette's own published figure.
        assert!((contrast(DIM.text, DIM.ground) - 15.0).abs() < 0.1);
    }

    #[test]
    fn the_sentence_is_readable_at_two_metres() {
        let size = Look::default().sentence(800.0).size;
        assert!(size * CAPITAL >= 0.08 * 800.0, "{size}");
    }
}
