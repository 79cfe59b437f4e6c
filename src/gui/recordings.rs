//! Recordings: dropped on the window or picked, read on threads of their own, listed with the worst first.
//!
//! Originals are only read. A folder stands for the recordings in it. Reading goes on while another view is looked at.
//! Only the lines that can be seen are drawn; a line is as high as its words need, measured once for a width and size of
//! text. ↑ ↓ walk the lines, Enter opens the one at hand.

use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};

use eframe::egui::text::{LayoutJob, TextFormat};
use eframe::egui::{
    Button, Context, Galley, Key, Modifiers, ProgressBar, Rect, RichText, Role, ScrollArea, Sense, Stroke, Ui,
    UiBuilder, WidgetInfo, pos2, vec2,
};

use super::opened::{self, Opened, Player};
use super::picker::{Picked, Picker};
use super::step::{self, Words};
use super::theme::{BAR, GAP, Look, TARGET};
use super::{shapes, together};
use crate::engine::folder;
use crate::engine::takes::{self, Listed, Rings, Told};
use crate::event;
use crate::view::{ReportForm, Setup, Take, TakesReport, Together, made_words, recordings as words};

/// Writes a report in one of its forms.
pub type TakesPrinter = fn(&TakesReport, ReportForm) -> String;

/// What a reading thread tells.
enum News {
    Files(usize),
    Take(Box<Take>),
    Together(Box<Together>),
    /// Nothing could be read, and how to mend it.
    Failed(String),
}

/// The list, and what is still being read.
pub struct Takes {
    rows: Vec<Row>,
    coming: Vec<Receiver<News>>,
    wanted: usize,
    failed: Option<String>,
    /// What the recordings of each folder are together, and whether that is looked at.
    together: Vec<Together>,
    shows_together: bool,
    printer: Option<TakesPrinter>,
    /// Where the report went, or why not.
    written: Option<String>,
    /// The recording at hand.
    at: Option<PathBuf>,
    /// It was walked to: it must be seen.
    moved: bool,
    scrolled: f32,
    opened: Option<Opened>,
    picker: Option<Picker>,
    player: Player,
    setup: Setup,
}

/// Room for the shape before a line.
const SIGN: f32 = 26.0;

struct Row {
    take: Take,
    /// Height, and for which width and size of text.
    measured: Option<(f32, f32, f32)>,
}

impl Default for Takes {
    fn default() -> Self {
        Self {
            rows: Vec::new(),
            coming: Vec::new(),
            wanted: 0,
            failed: None,
            together: Vec::new(),
            shows_together: false,
            printer: None,
            written: None,
            at: None,
            moved: false,
            scrolled: 0.0,
            opened: None,
            picker: None,
            player: opened::of_this_machine(),
            setup: Setup::default(),
        }
    }
}

impl Takes {
    pub fn set_player(&mut self, player: Player) {
        self.player = player;
    }

    pub fn set_printer(&mut self, printer: TakesPrinter) {
        self.printer = Some(printer);
    }

    /// Begins to read files and folders.
    pub fn read(&mut self, paths: Vec<PathBuf>, setup: &Setup, context: &Context) {
        let (sender, coming) = mpsc::channel();
        self.setup = setup.of_recordings();
        let (theirs, context) = (self.setup.clone(), context.clone());
        (self.failed, self.picker, self.written, self.shows_together) = (None, None, None, false);
        self.close();
        let work = move || {
            let tell = |news| {
                let heard = sender.send(news);
                context.request_repaint();
                heard
            };
            let found = match takes::gather(&paths) {
                Ok(found) => found,
                Err(error) => {
                    let _ = tell(News::Failed(error.to_string()));
                    return;
                }
            };
            let files = found.files;
            let _ = tell(News::Files(files.len()));
            let troubles = found.troubles.iter().map(ToString::to_string);
            for told in troubles.chain(made_words::left_out(&found.own)) {
                let _ = tell(News::Failed(told));
            }
            let listed = Listed { inputs: theirs.inputs.as_deref().unwrap_or(&[]), names: &theirs.names };
            let checked = takes::check_all(&files, listed, Rings::Suspected, &|_, _| {}, &|| {}, &mut |told| {
                let news = match told {
                    Told::Take(place, result) => News::Take(Box::new(Take::new(&files[place], &result, &theirs))),
                    Told::Together(gathering) => News::Together(Box::new(Together::new(&gathering, &theirs))),
                };
                // An error: the window is closed.
                tell(news).map_or(ControlFlow::Break(()), ControlFlow::Continue)
            });
            if let Err(error) = checked {
                let _ = tell(News::Failed(words::cannot_begin(&error)));
            }
        };
        match std::thread::Builder::new().name("recordings".into()).spawn(work) {
            Ok(_) => self.coming.push(coming),
            Err(error) => self.failed = Some(words::cannot_begin(&error)),
        }
    }

    /// What the keyboard asks of this view, before others look at its keys.
    pub fn keys(&mut self, context: &Context, setup: &Setup) {
        if let Some(picker) = &mut self.picker {
            let picked = picker.keys(context);
            return self.picked(picked, setup, context);
        }
        if context.text_edit_focused() {
            return;
        }
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        if pressed(Key::O) {
            return self.pick();
        }
        if self.opened.is_none() && pressed(Key::T) {
            return self.turn_the_table();
        }
        if self.opened.is_none() && pressed(Key::R) {
            return self.write_report();
        }
        if self.shows_together && pressed(Key::Escape) {
            return self.turn_the_table();
        }
        if pressed(Key::ArrowDown) {
            self.walk(1);
        }
        if pressed(Key::ArrowUp) {
            self.walk(-1);
        }
        // A focused line or button has Enter for itself.
        let free = context.memory(|memory| memory.focused()).is_none();
        if free && pressed(Key::Enter) {
            if self.opened.is_some() { self.close() } else { self.open() }
        }
        let at = self.place();
        if let (Some(opened), Some(at)) = (&mut self.opened, at)
            && !opened.keys(context, &self.rows[at].take, &mut self.player)
        {
            self.close();
        }
    }

    /// Another view is looked at: nothing sounds on.
    pub fn leave(&mut self) {
        if let Some(opened) = &mut self.opened {
            opened.stop();
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look, setup: &Setup) {
        self.take_news();
        if let Some(picker) = &mut self.picker {
            let picked = picker.ui(ui, look);
            return self.picked(picked, setup, ui.ctx());
        }
        let at = self.place();
        if let (Some(opened), Some(at)) = (&mut self.opened, at) {
            if !opened.ui(ui, look, &self.rows[at].take, &self.setup.names, &mut self.player) {
                self.close();
            }
            return;
        }
        let (headline, next) =
            words::all(self.rows.first().map(|row| &row.take), self.rows.len(), self.wanted, self.failed.as_deref());
        let told = Words { headline: &headline, then: &next.then, next: &next };
        step::next_step_of(ui, look, &told, self.rows.first().map(|row| row.take.bad));
        if let Some(written) = &self.written {
            ui.label(written);
        }
        ui.horizontal_wrapped(|ui| {
            let button = |label: &str| Button::new(RichText::new(label)).min_size(vec2(TARGET, TARGET));
            if ui.add(button(words::PICK)).clicked() {
                self.pick();
            }
            if !self.rows.is_empty() && ui.add(button(words::OPEN)).clicked() {
                self.open();
            }
            if !self.together.is_empty() {
                let label = if self.shows_together { words::LIST } else { words::TOGETHER };
                if ui.add(button(label)).clicked() {
                    self.turn_the_table();
                }
            }
            if !self.rows.is_empty() && self.printer.is_some() && ui.add(button(words::REPORT)).clicked() {
                self.write_report();
            }
        });
        if self.rows.len() < self.wanted {
            ui.add(ProgressBar::new(self.rows.len() as f32 / self.wanted as f32).desired_height(8.0));
        }
        if self.shows_together {
            together::together(ui, look, &self.together);
        } else {
            self.list(ui, look);
        }
    }

    fn turn_the_table(&mut self) {
        self.shows_together = !self.shows_together && !self.together.is_empty();
    }

    /// Beside the event, else where a person keeps what they write; an older report is replaced as a whole.
    fn write_report(&mut self) {
        let Some(printer) = self.printer.filter(|_| !self.rows.is_empty()) else { return };
        let mut report = TakesReport::default();
        report.together.clone_from(&self.together);
        self.rows.iter().for_each(|row| report.add(row.take.clone()));
        let event = self.setup.event.as_ref().map(|event| event.folder().to_owned());
        let path = event.unwrap_or_else(folder::documents).join(words::REPORT_FILE);
        let written = event::write_whole(&path, printer(&report, ReportForm::Html).as_bytes());
        self.written = Some(words::written(&path, written.err().map(|error| error.to_string())));
    }

    fn list(&mut self, ui: &mut Ui, look: Look) {
        let width = ui.available_width() - BAR;
        for row in &mut self.rows {
            row.measure(ui, look, width);
        }
        let tops: Vec<f32> = self
            .rows
            .iter()
            .scan(0.0, |top, row| {
                let here = *top;
                *top += row.height();
                Some(here)
            })
            .collect();
        let whole = self.rows.iter().map(Row::height).sum::<f32>();
        let mut area = ScrollArea::vertical().id_salt("takes").auto_shrink([false, false]);
        let at = self.place();
        if let Some(at) = at.filter(|_| std::mem::take(&mut self.moved)) {
            let lowest = (tops[at] + self.rows[at].height() - ui.available_height()).max(0.0);
            area = area.vertical_scroll_offset(self.scrolled.clamp(lowest.min(tops[at]), tops[at]));
        }
        let mut chosen = None;
        let shown = area.show_viewport(ui, |ui, seen| {
            ui.set_height(whole);
            let origin = ui.max_rect().min;
            let first = tops.partition_point(|top| *top <= seen.top()).saturating_sub(1);
            let below = self.rows.iter().zip(&tops).enumerate().skip(first);
            for (index, (row, top)) in below.take_while(|(_, (_, top))| **top <= seen.bottom()) {
                let rect = Rect::from_min_size(pos2(origin.x, origin.y + top), vec2(width, row.height()));
                if row.draw(ui, look, rect, at == Some(index)) {
                    chosen = Some(index);
                }
            }
        });
        self.scrolled = shown.state.clamped_offset().y;
        if let Some(index) = chosen {
            self.at = Some(self.rows[index].take.path.clone());
            self.open();
        }
    }

    fn take_news(&mut self) {
        let mut new = false;
        for coming in &self.coming {
            for news in coming.try_iter() {
                match news {
                    News::Files(count) => self.wanted += count,
                    News::Failed(why) => self.failed = Some(why),
                    News::Together(folder) => {
                        self.together.retain(|known| known.title != folder.title);
                        self.together.push(*folder);
                    }
                    News::Take(take) => {
                        // One that was read before is read anew, not listed twice.
                        let before = self.rows.len();
                        self.rows.retain(|row| row.take.path != take.path);
                        self.wanted -= before - self.rows.len();
                        self.rows.push(Row { take: *take, measured: None });
                        new = true;
                    }
                }
            }
        }
        if new {
            self.rows.sort_by(|a, b| {
                let (a, b) = (&a.take, &b.take);
                b.bad.cmp(&a.bad).then_with(|| takes::in_order(&a.name).cmp(&takes::in_order(&b.name)))
            });
        }
    }

    /// Of the recording at hand; the first, until another was chosen.
    fn place(&self) -> Option<usize> {
        let chosen = self.at.as_ref().and_then(|path| self.rows.iter().position(|row| row.take.path == *path));
        chosen.or((!self.rows.is_empty()).then_some(0))
    }

    fn walk(&mut self, by: isize) {
        let Some(at) = self.place() else { return };
        // The first press shows where one is.
        let to = if self.at.is_none() && by > 0 { at } else { at.saturating_add_signed(by).min(self.rows.len() - 1) };
        self.at = Some(self.rows[to].take.path.clone());
        self.moved = true;
        if self.opened.is_some() {
            self.open();
        }
    }

    fn open(&mut self) {
        let Some(at) = self.place() else { return };
        self.close();
        self.at = Some(self.rows[at].take.path.clone());
        self.opened = Some(Opened::new(&self.rows[at].take));
    }

    fn close(&mut self) {
        self.leave();
        (self.opened, self.moved) = (None, true);
    }

    fn pick(&mut self) {
        self.leave();
        self.picker = Some(Picker::new());
    }

    fn picked(&mut self, picked: Option<Picked>, setup: &Setup, context: &Context) {
        match picked {
            Some(Picked::Read(path)) => self.read(vec![path], setup, context),
            Some(Picked::Close) => self.picker = None,
            None => {}
        }
    }
}

impl Row {
    fn height(&self) -> f32 {
        self.measured.map_or(0.0, |(height, ..)| height)
    }

    fn measure(&mut self, ui: &Ui, look: Look, width: f32) {
        if self.measured.is_some_and(|(_, of_width, of_text)| (of_width, of_text) == (width, look.text)) {
            return;
        }
        let words = self.lay(ui, look, width).into_iter().map(|(galley, from)| galley.size().y + from.y);
        let tall = words.fold(0.0, f32::max);
        self.measured = Some(((tall + 14.0).max(TARGET), width, look.text));
    }

    /// Name, word and line where they stand, from the upper left corner; large text has them in two storeys.
    fn lay(&self, ui: &Ui, look: Look, width: f32) -> Vec<(Arc<Galley>, eframe::egui::Vec2)> {
        let palette = look.palette();
        let lay = |text: &str, strong: bool, room: f32| {
            let font = if strong { look.strong() } else { look.body() };
            let mut job = LayoutJob::single_section(text.to_owned(), TextFormat::simple(font, palette.text));
            job.wrap.max_width = room.max(1.0);
            ui.painter().layout_job(job)
        };
        let take = &self.take;
        let inside = width - 2.0 * GAP;
        if look.text > 1.25 {
            let name = lay(&take.name, true, inside - SIGN);
            let below = name.size().y + 2.0;
            let line = lay(&words::word_and_line(take), false, inside);
            return vec![(name, vec2(GAP + SIGN, 0.0)), (line, vec2(GAP, below))];
        }
        let inside = inside - SIGN;
        let column = |from: f32, to: f32| (from * inside + GAP + SIGN, (to - from) * inside - GAP);
        let cells = [(0.0, 0.32, take.name.as_str()), (0.32, 0.46, take.bad.word()), (0.46, 1.0, &take.line)];
        cells
            .into_iter()
            .map(|(from, to, text)| {
                let (x, room) = column(from, to);
                (lay(text, false, room), vec2(x, 0.0))
            })
            .collect()
    }

    /// Whether it was chosen.
    fn draw(&self, ui: &mut Ui, look: Look, rect: Rect, at_hand: bool) -> bool {
        let palette = look.palette();
        // A place of its own in the tree, whatever stands above it.
        let mut inside = ui.new_child(UiBuilder::new().id_salt(&self.take.path).max_rect(rect));
        let response = inside.allocate_rect(rect, Sense::click());
        let said = self.take.spoken();
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, at_hand, &said));
        let painter = ui.painter();
        if at_hand || response.hovered() || response.has_focus() {
            painter.rect_filled(rect, 4.0, palette.floor);
        }
        if at_hand {
            let bar = Rect::from_min_max(rect.min, pos2(rect.left() + 4.0, rect.bottom()));
            painter.rect_filled(bar, 2.0, palette.text);
        }
        if response.has_focus() {
            painter.rect_stroke(rect, 4.0, Stroke::new(2.0, palette.quiet), eframe::egui::StrokeKind::Inside);
        }
        let words = self.lay(ui, look, rect.width());
        let tall = words.iter().map(|(galley, from)| galley.size().y + from.y).fold(0.0, f32::max);
        let top = rect.center().y - tall / 2.0;
        let first = words.first().map_or(rect.center().y, |(galley, _)| top + galley.size().y / 2.0);
        shapes::bad(painter, palette, self.take.bad, pos2(rect.left() + GAP + 9.0, first), 18.0);
        for (galley, from) in words {
            painter.galley(pos2(rect.left(), top) + from, galley, palette.text);
        }
        response.clicked()
    }
}
