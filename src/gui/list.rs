//! The input list, edited in place: lines at the left, the cells of the line at hand beside or below them.
//!
//! Every change is kept in the event's folder at once and can be undone without end. What is typed counts when its cell
//! is left; a cell that can't be read stays as it was typed, with what was expected, and nothing is saved of it. Without
//! an event folder the list is kept here until one is named. Cells from a spreadsheet come by Ctrl V, a CSV by dropping
//! it; both take the whole list's place as one change.

use std::path::{Path, PathBuf};

use eframe::egui::{
    Align2, Button, Context, Event as UiEvent, Key, Modifiers, Rect, RichText, Role, ScrollArea, Sense, TextEdit, Ui,
    ViewportCommand, WidgetInfo, pos2, vec2,
};

use super::form::Form;
use super::theme::{self, BAR, GAP, Look, TARGET};
use crate::engine::folder;
use crate::event::{Change, Column, Event, Input, List};
use crate::view::inputs as words;

pub struct Editor {
    event: Event,
    list: List,
    /// Whether the event has no folder yet.
    homeless: bool,
    at: usize,
    /// It was walked to: it must be seen.
    moved: bool,
    form: Form,
    /// What was done last.
    said: Option<String>,
    /// What could not be taken.
    wrong: Option<String>,
    /// Why the last change is not on the disk.
    unsaved: Option<String>,
    /// What was changed since it was last asked for.
    fresh: bool,
    name: String,
    folder: String,
    /// The folder was typed, so that it no longer follows the name.
    own_folder: bool,
}

impl Default for Editor {
    fn default() -> Self {
        Self::of(None)
    }
}

/// What a button or a key wants.
#[derive(Clone, Copy)]
enum Wish {
    Go(usize),
    Write,
    Add,
    Remove,
    Move(bool),
    Undo,
    Redo,
    Save,
    ReadAgain,
    Make,
    Close,
}

impl Editor {
    /// On an event, or on none yet.
    pub fn of(event: Option<&Event>) -> Self {
        let homeless = event.is_none();
        let event = event.cloned().unwrap_or_else(|| Event::new("", ""));
        let list = List::of(&event);
        let mut editor = Self {
            event,
            list,
            homeless,
            at: 0,
            moved: false,
            form: Form::default(),
            said: None,
            wrong: None,
            unsaved: None,
            fresh: false,
            name: String::new(),
            folder: String::new(),
            own_folder: false,
        };
        editor.refill();
        editor
    }

    /// The event, if it was changed since this was last asked; `false`: it has no folder yet.
    pub fn changed(&mut self) -> Option<(&Event, bool)> {
        std::mem::take(&mut self.fresh).then_some((&self.event, !self.homeless))
    }

    /// Whether this is a list, rather than a recording.
    pub fn takes(path: &Path) -> bool {
        let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_lowercase();
        ["csv", "tsv", "txt"].contains(&ending.as_str())
    }

    pub fn import_file(&mut self, path: &Path) {
        let imported = self.list.import_file(path);
        self.imported(imported.map_err(|error| error.to_string()));
    }

    /// What the keyboard asks of this view; whether it stays open.
    pub fn keys(&mut self, context: &Context) -> bool {
        self.paste(context);
        let typing = context.text_edit_focused();
        let pressed = |modifiers, key| context.input_mut(|input| input.consume_key(modifiers, key));
        let mut wishes = Vec::new();
        // While letters are typed, undo is the field's own.
        if !typing || !self.form.is_dirty() {
            if pressed(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z) || pressed(Modifiers::COMMAND, Key::Y) {
                wishes.push(Wish::Redo);
            }
            if pressed(Modifiers::COMMAND, Key::Z) {
                wishes.push(Wish::Undo);
            }
        }
        for (key, down) in [(Key::ArrowUp, false), (Key::ArrowDown, true)] {
            if pressed(Modifiers::ALT, key) {
                wishes.push(Wish::Move(down));
            }
        }
        let free = context.memory(|memory| memory.focused()).is_none();
        if free {
            let keys = [
                (Key::ArrowDown, Wish::Go(self.at + 1)),
                (Key::ArrowUp, Wish::Go(self.at.saturating_sub(1))),
                (Key::Enter, Wish::Write),
            ];
            wishes.extend(keys.into_iter().filter(|(key, _)| pressed(Modifiers::NONE, *key)).map(|(_, wish)| wish));
        }
        if !typing {
            let keys = [(Key::A, Wish::Add), (Key::Delete, Wish::Remove), (Key::Escape, Wish::Close)];
            // An open choice is closed by Esc first.
            let choosing = eframe::egui::Popup::is_any_open(context);
            let keys = keys.into_iter().filter(|(key, _)| !(choosing && *key == Key::Escape));
            wishes.extend(keys.filter(|(key, _)| pressed(Modifiers::NONE, *key)).map(|(_, wish)| wish));
        }
        wishes.into_iter().all(|wish| self.carry_out(wish))
    }

    /// Draws it; whether it stays open.
    pub fn ui(&mut self, ui: &mut Ui, look: Look) -> bool {
        let mut wish = None;
        self.head(ui, look, &mut wish);
        ui.horizontal_wrapped(|ui| self.buttons(ui, &mut wish));
        let (wide, tall) = (ui.available_width(), ui.available_height());
        let mut typed = None;
        if self.list.inputs().is_empty() {
            ui.label(words::EMPTY);
        } else if wide / look.text >= 900.0 {
            ui.columns(2, |columns| {
                self.lines(&mut columns[0], look, &mut wish);
                typed = self.cells(&mut columns[1], look);
            });
        } else {
            ui.allocate_ui(vec2(wide, (tall * 0.45).max(TARGET)), |ui| self.lines(ui, look, &mut wish));
            ui.separator();
            typed = self.cells(ui, look);
        }
        if let Some((column, text)) = typed {
            self.set(column, &text);
        }
        wish.is_none_or(|wish| self.carry_out(wish))
    }

    /// Counts what is still being typed, for leaving.
    pub fn leave(&mut self) {
        self.settle();
    }

    fn head(&mut self, ui: &mut Ui, look: Look, wish: &mut Option<Wish>) {
        let palette = look.palette();
        let large = theme::bold(24.0 * look.text.min(1.5));
        ui.label(RichText::new(words::head(self.list.inputs().len())).font(large));
        if self.homeless {
            ui.label(words::HOMELESS);
            ui.horizontal_wrapped(|ui| {
                let label = ui.label(words::EVENT_NAME);
                let room = (ui.available_width() * 0.5).max(160.0);
                let name = field(&mut self.name, room);
                if ui.add(name).labelled_by(label.id).changed() && !self.own_folder {
                    self.folder = if self.name.trim().is_empty() { String::new() } else { folder_for(&self.name) };
                }
                ui.end_row();
                let label = ui.label(words::EVENT_FOLDER);
                let folder = field(&mut self.folder, room);
                if ui.add(folder).labelled_by(label.id).changed() {
                    self.own_folder = !self.folder.is_empty();
                }
                if ui.button(words::MAKE).clicked() {
                    *wish = Some(Wish::Make);
                }
            });
        } else {
            let folder = self.event.folder();
            let folder = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
            let kept = words::kept(&self.event.settings.name, &folder);
            ui.label(RichText::new(kept).color(palette.quiet));
        }
        let most = ui.available_height() * 0.4;
        ScrollArea::vertical().id_salt("told").max_height(most).auto_shrink([false, true]).show(ui, |ui| {
            for told in self.unsaved.iter().chain(&self.wrong) {
                ui.label(RichText::new(told).font(look.strong()));
            }
            if let Some(said) = self.said.as_ref().filter(|_| self.wrong.is_none()) {
                ui.label(RichText::new(said).color(palette.quiet));
            }
        });
        if self.unsaved.is_some() {
            ui.horizontal_wrapped(|ui| {
                for (label, wanted) in [(words::SAVE_AGAIN, Wish::Save), (words::READ_AGAIN, Wish::ReadAgain)] {
                    if ui.button(label).clicked() {
                        *wish = Some(wanted);
                    }
                }
            });
        }
    }

    fn buttons(&self, ui: &mut Ui, wish: &mut Option<Wish>) {
        let some = !self.list.inputs().is_empty();
        let last = self.at + 1 >= self.list.inputs().len();
        for (label, enabled, wanted) in [
            (words::ADD, true, Wish::Add),
            (words::REMOVE, some, Wish::Remove),
            (words::UP, self.at > 0, Wish::Move(false)),
            (words::DOWN, !last, Wish::Move(true)),
            (words::UNDO, self.list.undoable().is_some(), Wish::Undo),
            (words::REDO, self.list.redoable().is_some(), Wish::Redo),
            (words::CLOSE, true, Wish::Close),
        ] {
            if ui.add_enabled(enabled, Button::new(label)).clicked() {
                *wish = Some(wanted);
            }
        }
        if ui.button(words::PASTE).clicked() {
            ui.ctx().send_viewport_cmd(ViewportCommand::RequestPaste);
        }
    }

    fn lines(&mut self, ui: &mut Ui, look: Look, wish: &mut Option<Wish>) {
        let moved = std::mem::take(&mut self.moved);
        ScrollArea::vertical().id_salt("lines").auto_shrink([false, false]).show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            for (line, input) in self.list.inputs().iter().enumerate() {
                if draw_line(ui, look, input, line == self.at, moved) {
                    *wish = Some(Wish::Go(line));
                }
            }
        });
    }

    fn cells(&mut self, ui: &mut Ui, look: Look) -> Option<(Column, String)> {
        let input = self.list.inputs().get(self.at)?;
        let form = &mut self.form;
        let area = ScrollArea::vertical().id_salt("cells").auto_shrink([false, false]);
        area.show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            form.ui(ui, look, input)
        })
        .inner
    }

    fn carry_out(&mut self, wish: Wish) -> bool {
        // What is half typed counts first; where it can't, the person stays with it.
        let stays = !matches!(wish, Wish::Close);
        if !self.settle() && stays {
            return true;
        }
        match wish {
            Wish::Go(line) => self.go(line),
            Wish::Write => self.form.write(),
            Wish::Add => match self.list.add((!self.list.inputs().is_empty()).then_some(self.at)) {
                Some(line) => {
                    self.keep();
                    self.go(line);
                    self.form.write();
                }
                None => self.wrong = Some(words::wrong(words::SIXTY_FOUR)),
            },
            Wish::Remove => {
                if self.list.remove(self.at) {
                    self.keep();
                }
                self.go(self.at);
            }
            Wish::Move(down) => {
                if let Some(line) = self.list.move_line(self.at, down) {
                    self.keep();
                    self.go(line);
                }
            }
            Wish::Undo => {
                let change = self.list.undo();
                self.again(change, words::undone);
            }
            Wish::Redo => {
                let change = self.list.redo();
                self.again(change, words::redone);
            }
            Wish::Save => self.save(),
            Wish::ReadAgain => self.read_again(),
            Wish::Make => self.make(),
            Wish::Close => return false,
        }
        true
    }

    fn go(&mut self, line: usize) {
        self.at = line.min(self.list.inputs().len().saturating_sub(1));
        self.moved = true;
        self.refill();
    }

    fn refill(&mut self) {
        self.form.fill(self.list.inputs().get(self.at));
    }

    fn again(&mut self, change: Option<Change>, words: fn(&Change) -> String) {
        let Some(change) = change else { return };
        self.said = Some(words(&change));
        self.wrong = None;
        self.save();
        self.go(self.at);
    }

    /// Takes every cell that was typed; `false` if one can't be read.
    fn settle(&mut self) -> bool {
        let typed = self.form.typed(self.list.inputs().get(self.at));
        typed.into_iter().all(|(column, text)| self.set(column, &text))
    }

    fn set(&mut self, column: Column, text: &str) -> bool {
        match self.list.set(self.at, column, text) {
            Ok(changed) => {
                self.form.set_wrong(column, None);
                if changed {
                    self.keep();
                }
                self.refill();
                true
            }
            Err(error) => {
                let told = words::wrong(&error.to_string());
                self.form.set_wrong(column, Some(told.clone()));
                self.wrong = Some(told);
                false
            }
        }
    }

    /// After a change to the list.
    fn keep(&mut self) {
        self.wrong = None;
        self.said = self.list.undoable().map(words::done);
        self.save();
    }

    fn save(&mut self) {
        self.list.put_into(&mut self.event);
        self.fresh = true;
        self.unsaved = None;
        if !self.homeless
            && let Err(error) = self.event.save()
        {
            self.unsaved = Some(words::not_saved(&error.to_string()));
        }
    }

    fn read_again(&mut self) {
        match Event::open(self.event.folder()) {
            Ok((event, warnings)) => {
                *self = Self::of(Some(&event));
                self.fresh = true;
                self.said = warnings.first().map(|warning| words::doubt(&warning.to_string()));
            }
            Err(error) => self.unsaved = Some(words::not_saved(&error.to_string())),
        }
    }

    fn make(&mut self) {
        let name = self.name.trim().to_owned();
        let folder = PathBuf::from(self.folder.trim());
        let there = folder.join("event.toml").exists();
        if folder.as_os_str().is_empty() {
            self.wrong = Some(words::wrong(if name.is_empty() { words::NAME_IT } else { words::NAME_A_FOLDER }));
            return;
        }
        if there && !self.list.inputs().is_empty() {
            self.wrong = Some(words::wrong(words::OCCUPIED));
            return;
        }
        if there {
            self.event = Event::new(folder, name);
            return self.read_again();
        }
        if name.is_empty() {
            self.wrong = Some(words::wrong(words::NAME_IT));
            return;
        }
        let mut event = Event::new(folder, name);
        self.list.put_into(&mut event);
        match event.save() {
            Ok(()) => {
                (self.event, self.homeless, self.fresh) = (event, false, true);
                (self.wrong, self.unsaved) = (None, None);
            }
            Err(error) => self.wrong = Some(words::not_saved(&error.to_string())),
        }
    }

    /// Cells from a spreadsheet; a word or two belong to the field that has the focus.
    fn paste(&mut self, context: &Context) {
        let typing = context.text_edit_focused();
        let mut pasted = None;
        context.input_mut(|input| {
            input.events.retain(|event| match event {
                UiEvent::Paste(text) if !typing || text.trim().contains(['\t', '\n']) => {
                    pasted = Some(text.clone());
                    false
                }
                _ => true,
            });
        });
        if let Some(text) = pasted {
            let imported = self.list.import(Path::new(words::PASTED), text.as_bytes());
            self.imported(imported.map_err(|error| error.to_string()));
        }
    }

    fn imported(&mut self, imported: Result<usize, String>) {
        match imported {
            Ok(_) => {
                self.keep();
                self.go(0);
            }
            Err(why) => self.wrong = Some(words::wrong(&why)),
        }
    }
}

/// One line of the list; whether it was chosen.
fn draw_line(ui: &mut Ui, look: Look, input: &Input, at_hand: bool, moved: bool) -> bool {
    let palette = look.palette();
    let wide = ui.available_width();
    let lay = |text: String, font, color| ui.painter().layout(text, font, color, wide - 2.0 * GAP);
    let (said, more) = (words::line(input), words::more(input));
    let name = lay(said.clone(), look.strong(), palette.text);
    let about = lay(more.clone(), look.small(), palette.quiet);
    let tall = name.size().y + about.size().y + 10.0;
    let (rect, response) = ui.allocate_exact_size(vec2(wide, tall.max(TARGET)), Sense::click());
    response.widget_info(|| WidgetInfo::selected(Role::Button, true, at_hand, format!("{said}, {more}")));
    if at_hand && moved {
        response.scroll_to_me(None);
    }
    if ui.is_rect_visible(rect) {
        let painter = ui.painter();
        if at_hand || response.hovered() || response.has_focus() {
            painter.rect_filled(rect, 4.0, palette.floor);
        }
        if at_hand {
            let bar = Rect::from_min_max(rect.min, pos2(rect.left() + 4.0, rect.bottom()));
            painter.rect_filled(bar, 2.0, palette.text);
        }
        let top = rect.center().y - (name.size().y + about.size().y) / 2.0;
        let below = top + name.size().y;
        painter.galley(pos2(rect.left() + GAP, top), name, palette.text);
        painter.galley(pos2(rect.left() + GAP, below), about, palette.quiet);
    }
    response.clicked()
}

fn field(text: &mut String, width: f32) -> TextEdit<'_> {
    TextEdit::singleline(text).desired_width(width).min_size(vec2(0.0, TARGET)).align(Align2::LEFT_CENTER)
}

/// A folder of that name where the person keeps things.
fn folder_for(name: &str) -> String {
    let plain: String = name.trim().chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { ' ' }).collect();
    let plain = plain.split_whitespace().collect::<Vec<_>>().join("-").to_lowercase();
    folder::documents().join(plain).display().to_string()
}
