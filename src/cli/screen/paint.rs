//! Putting lines on the terminal: tones, columns, redrawing in place.
//!
//! Colour only underlines what word and shape say already. `NO_COLOR` (<https://no-color.org>) leaves it away; without
//! 24-bit colour the nearest of the 256 stands in. Text keeps the terminal's own colour, dark or bright.

use std::io::{self, Write};

use crossterm::style::{Attribute, Color, Print, ResetColor, SetAttribute, SetForegroundColor};
use crossterm::{cursor, queue, terminal};
use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use crate::engine::ChannelState;

/// What a piece of text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    Text,
    Strong,
    Quiet,
    State(ChannelState),
}

/// A line in pieces.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line(Vec<(Tone, String)>);

impl Line {
    pub fn new() -> Self {
        Self::default()
    }

    pub fn of(tone: Tone, text: impl Into<String>) -> Self {
        Self::new().and(tone, text)
    }

    pub fn and(mut self, tone: Tone, text: impl Into<String>) -> Self {
        self.0.push((tone, text.into()));
        self
    }

    pub fn columns(&self) -> usize {
        self.0.iter().map(|(_, text)| text.width()).sum()
    }

    /// Blanks up to a column.
    pub fn up_to(self, column: usize) -> Self {
        let blanks = column.saturating_sub(self.columns());
        self.and(Tone::Text, " ".repeat(blanks))
    }

    #[cfg(test)]
    pub fn text(&self) -> String {
        self.0.iter().map(|(_, text)| text.as_str()).collect()
    }
}

/// `text` in exactly `columns`: cut with … or filled with blanks.
pub fn fit(text: &str, columns: usize) -> String {
    let mut out = cut(text, columns);
    out.push_str(&" ".repeat(columns.saturating_sub(out.width())));
    out
}

/// The same at the right edge.
pub fn fit_right(text: &str, columns: usize) -> String {
    let text = cut(text, columns);
    format!("{}{text}", " ".repeat(columns.saturating_sub(text.width())))
}

fn cut(text: &str, columns: usize) -> String {
    if text.width() <= columns {
        return text.to_owned();
    }
    let mut out = String::new();
    for c in text.chars() {
        if out.width() + c.width().unwrap_or(0) + 1 > columns {
            break;
        }
        out.push(c);
    }
    if columns > 0 {
        out.push('…');
    }
    out
}

/// Broken where `between` stands, so that no line is wider if the pieces allow.
pub fn wrap(text: &str, between: &str, columns: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for piece in text.split(between) {
        match lines.last_mut() {
            Some(line) if line.width() + between.width() + piece.width() <= columns => {
                line.push_str(between);
                line.push_str(piece);
            }
            _ => lines.push(piece.to_owned()),
        }
    }
    lines
}

/// How colours can be told to this terminal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Palette {
    Full,
    Indexed,
    None,
}

impl Palette {
    pub fn of_this_terminal() -> Self {
        let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
        let depth = std::env::var("COLORTERM").unwrap_or_default();
        if is_set("NO_COLOR") {
            Self::None
        } else if depth.contains("truecolor") || depth.contains("24bit") {
            Self::Full
        } else {
            Self::Indexed
        }
    }

    fn colour(self, tone: Tone) -> Option<Color> {
        let (full, indexed) = match tone {
            Tone::Text | Tone::Strong | Tone::State(ChannelState::Lost | ChannelState::Clipped) => return None,
            Tone::Quiet | Tone::State(ChannelState::NotHeard) => ((0x7c, 0x85, 0x94), 245),
            Tone::State(ChannelState::Low) => ((0x5f, 0x86, 0xd2), 68),
            Tone::State(ChannelState::Set) => ((0x58, 0xc4, 0xdc), 80),
            Tone::State(ChannelState::High) => ((0xf5, 0x93, 0x22), 208),
        };
        match self {
            Self::Full => Some(Color::Rgb { r: full.0, g: full.1, b: full.2 }),
            Self::Indexed => Some(Color::AnsiValue(indexed)),
            Self::None => None,
        }
    }
}

/// Draws a page in place.
pub fn draw(page: &[Line], palette: Palette, out: &mut impl Write) -> io::Result<()> {
    let (_, rows) = terminal::size().unwrap_or((80, 24));
    queue!(out, terminal::BeginSynchronizedUpdate)?;
    for (row, line) in page.iter().take(usize::from(rows)).enumerate() {
        queue!(out, cursor::MoveTo(0, row as u16))?;
        for (tone, text) in &line.0 {
            let colour = palette.colour(*tone);
            let bold = matches!(tone, Tone::Strong | Tone::State(ChannelState::Clipped));
            if let Some(colour) = colour {
                queue!(out, SetForegroundColor(colour))?;
            }
            if bold {
                queue!(out, SetAttribute(Attribute::Bold))?;
            }
            queue!(out, Print(text))?;
            if bold {
                queue!(out, SetAttribute(Attribute::Reset))?;
            }
            if colour.is_some() {
                queue!(out, ResetColor)?;
            }
        }
        queue!(out, terminal::Clear(terminal::ClearType::UntilNewLine))?;
    }
    if page.len() < usize::from(rows) {
        queue!(out, cursor::MoveTo(0, page.len() as u16), terminal::Clear(terminal::ClearType::FromCursorDown))?;
    }
    queue!(out, terminal::EndSynchronizedUpdate)?;
    out.flush()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_every_width_fit() {
        assert_eq!(fit("Keys", 6), "Keys  ");
        assert_eq!(fit("Narrator left", 8), "Narrato…");
        assert_eq!(fit_right("−3.1", 6), "  −3.1");
        // A wide letter takes two columns.
        assert_eq!(fit("合唱左", 4).width(), 4);
        assert_eq!(fit("合唱", 0), "");
    }

    #[test]
    fn words_are_never_broken() {
        assert_eq!(
            wrap("then ask for the loudest chorus again", " ", 16),
            ["then ask for the", "loudest chorus", "again"]
        );
        assert_eq!(wrap("heard 8 of 15 s · loudest −9.7 dBFS", " · ", 20), ["heard 8 of 15 s", "loudest −9.7 dBFS"]);
        assert_eq!(wrap("", " ", 10), [""]);
        assert_eq!(wrap("unbreakable", " ", 3), ["unbreakable"]);
    }

    #[test]
    fn no_colour_where_none_is_wanted() {
        for state in crate::view::STATES {
            assert_eq!(Palette::None.colour(Tone::State(state)), None);
        }
        assert_eq!(Palette::Indexed.colour(Tone::State(ChannelState::High)), Some(Color::AnsiValue(208)));
    }
}
