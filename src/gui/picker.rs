//! Picking files and folders in place: a field for the path, and the lines of the folder that it names.
//!
//! What is typed behind the last separator keeps only the lines that begin with it, so that a name is completed by
//! picking it. ↑ ↓ walk the lines, Enter takes one: a folder is gone into, a recording is read; the first line reads the
//! whole folder. In the field, Enter reads what it names.

use std::path::{Path, PathBuf};

use eframe::egui::{Context, Key, Modifiers, Role, ScrollArea, Sense, TextEdit, Ui, WidgetInfo, pos2, vec2};

use super::theme::{GAP, Look, TARGET};
use crate::engine::folder::{self, Entry};
use crate::view::recordings as words;

pub struct Picker {
    field: String,
    /// What is listed, and why it can't be.
    listed: Option<PathBuf>,
    entries: Vec<Entry>,
    wrong: Option<String>,
    at: usize,
    just_opened: bool,
    moved: bool,
    scrolled: f32,
}

/// What came of a picture or a key.
pub enum Picked {
    Read(PathBuf),
    Close,
}

/// A line that can be taken.
enum Line<'a> {
    ReadAll,
    Up,
    Entry(&'a Entry),
}

impl Picker {
    pub fn new() -> Self {
        Self {
            field: with_separator(&folder::music()),
            listed: None,
            entries: Vec::new(),
            wrong: None,
            at: 0,
            just_opened: true,
            moved: false,
            scrolled: 0.0,
        }
    }

    /// Keys that walk the lines; they are no letters, so the field may have the focus.
    pub fn keys(&mut self, context: &Context) -> Option<Picked> {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        let last = self.lines().len().saturating_sub(1);
        if pressed(Key::ArrowDown) {
            (self.at, self.moved) = ((self.at + 1).min(last), true);
        }
        if pressed(Key::ArrowUp) {
            (self.at, self.moved) = (self.at.saturating_sub(1), true);
        }
        if pressed(Key::Escape) {
            return Some(Picked::Close);
        }
        let button = context.memory(|memory| memory.focused()).is_some() && !context.text_edit_focused();
        if !button && pressed(Key::Enter) {
            return if self.moved { self.take(self.at) } else { self.read_field() };
        }
        None
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look) -> Option<Picked> {
        let palette = look.palette();
        let mut picked = None;
        ui.horizontal(|ui| {
            let name = ui.label(words::PICK_FIELD);
            let close = words::PICK_CLOSE;
            let room = ui.available_width() - look.body().size * 0.6 * close.len() as f32 - 3.0 * GAP;
            let field = TextEdit::singleline(&mut self.field).desired_width(room).min_size(vec2(0.0, TARGET));
            let field = ui.add(field.align(eframe::egui::Align2::LEFT_CENTER)).labelled_by(name.id);
            if std::mem::take(&mut self.just_opened) {
                field.request_focus();
            }
            if field.changed() {
                (self.at, self.moved) = (0, false);
            }
            if ui.button(close).clicked() {
                picked = Some(Picked::Close);
            }
        });
        self.look();
        if let Some(wrong) = &self.wrong {
            ui.label(wrong);
        }
        let height = (look.body().size * 1.6).max(TARGET);
        let lines = self.lines();
        if lines.len() == 1 && self.entries.is_empty() {
            ui.label(words::NOTHING_HERE);
        }
        let (at, moved) = (self.at, self.moved);
        let mut taken = None;
        let mut area = ScrollArea::vertical().id_salt("pick").auto_shrink([false, false]);
        let step = height + ui.spacing().item_spacing.y;
        if moved {
            let room = ui.available_height();
            let (top, bottom) = (at as f32 * step, (at + 1) as f32 * step);
            area = area.vertical_scroll_offset(self.scrolled.clamp((bottom - room).max(0.0).min(top), top));
        }
        let shown = area.show_rows(ui, height, lines.len(), |ui, rows| {
            for row in rows {
                let said = match &lines[row] {
                    Line::ReadAll => {
                        let folders = self.entries.iter().filter(|entry| entry.is_folder).count();
                        words::read_all(self.entries.len() - folders, folders)
                    }
                    Line::Up => words::PICK_UP.to_owned(),
                    Line::Entry(entry) => words::entry(&entry.name, entry.is_folder),
                };
                let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::click());
                response.widget_info(|| WidgetInfo::selected(Role::Button, true, moved && row == at, &said));
                if (moved && row == at) || response.hovered() || response.has_focus() {
                    ui.painter().rect_filled(rect, 4.0, palette.floor);
                }
                let letters = super::fit(ui.painter(), &said, look.body(), palette.text, rect.width() - GAP);
                let cut = letters.elided;
                let from = pos2(rect.left() + 8.0, rect.center().y - letters.size().y / 2.0);
                ui.painter().galley(from, letters, palette.text);
                if response.clicked() {
                    taken = Some(row);
                }
                if cut {
                    response.on_hover_text(&said);
                }
            }
        });
        self.scrolled = shown.state.clamped_offset().y;
        if let Some(row) = taken {
            picked = self.take(row);
        }
        picked
    }

    /// Lists the folder that the field names, when it is another.
    fn look(&mut self) {
        let (folder, _) = self.named();
        if self.listed.as_ref() == Some(&folder) {
            return;
        }
        (self.entries, self.wrong) = match folder::look(&folder) {
            Ok(entries) => (entries, None),
            Err(error) if folder.exists() => (Vec::new(), Some(error.to_string())),
            Err(_) => (Vec::new(), Some(words::NO_FOLDER.to_owned())),
        };
        self.listed = Some(folder);
    }

    /// The folder that is named, and the beginning of a name in it.
    fn named(&self) -> (PathBuf, String) {
        let cut = self.field.rfind(std::path::is_separator).map_or(0, |at| at + 1);
        let (folder, begun) = self.field.split_at(cut);
        (PathBuf::from(if folder.is_empty() { "." } else { folder }), begun.to_lowercase())
    }

    fn lines(&self) -> Vec<Line<'_>> {
        let (folder, begun) = self.named();
        let whole = begun.is_empty();
        let read = (whole && !self.entries.is_empty()).then_some(Line::ReadAll);
        let up = (whole && parent(&folder).is_some()).then_some(Line::Up);
        let entries = self.entries.iter().filter(|entry| entry.name.to_lowercase().starts_with(&begun));
        read.into_iter().chain(up).chain(entries.map(Line::Entry)).collect()
    }

    fn take(&mut self, row: usize) -> Option<Picked> {
        let (folder, _) = self.named();
        let go = match self.lines().get(row)? {
            Line::ReadAll => return Some(Picked::Read(folder)),
            Line::Entry(entry) if !entry.is_folder => return Some(Picked::Read(entry.path.clone())),
            Line::Entry(entry) => entry.path.clone(),
            Line::Up => parent(&folder)?,
        };
        self.field = with_separator(&go);
        (self.at, self.moved) = (0, false);
        None
    }

    fn read_field(&mut self) -> Option<Picked> {
        let path = PathBuf::from(self.field.trim());
        if path.exists() {
            return Some(Picked::Read(path));
        }
        self.wrong = Some(words::NO_FOLDER.to_owned());
        None
    }
}

/// The folder around it, as a whole path.
fn parent(folder: &Path) -> Option<PathBuf> {
    let whole = folder.canonicalize().ok()?;
    whole.parent().map(Path::to_owned)
}

fn with_separator(folder: &Path) -> String {
    let text = folder.display().to_string();
    if text.ends_with(std::path::is_separator) { text } else { format!("{text}{}", std::path::MAIN_SEPARATOR) }
}
