//! The plan's page: what was found, one step at a time and the worst first, above the rig drawn from left to right.
//!
//! ↓ ↑ walk what was found; whatever is picked in the drawing is told in the same place. The files are read again as soon
//! as they change on disk. Nothing here dismisses a finding: the tally stays on the page. Edge cases: no event, no
//! patch.csv and files with mistakes are each one sentence and the way on.

mod graph;
mod hall;
mod layout;
mod watch;

use std::path::{Path, PathBuf};

use eframe::egui::{Button, Context, Key, Modifiers, RichText, ScrollArea, Sense, Ui, vec2};

use super::shapes;
use super::step::{self, Words};
use super::theme::{BAR, GAP, Look, TARGET};
use crate::event::rig;
use crate::view::plan::page::{self, Missing};
use crate::view::plan::{self, CAUTIONS, Drawing, Found, Plan, Seating, Spot};
use graph::Graph;
use watch::Watch;

/// From here on rows are kept low.
const LARGE: f32 = 1.25;

/// Makes the files of the sheets: name and text; `true` is for Letter paper.
pub type Printer = fn(&Plan, bool) -> Vec<(String, String)>;

#[derive(Default)]
pub struct PlanPage {
    folder: Option<PathBuf>,
    read: Option<Result<Read, Missing>>,
    watch: Option<Watch>,
    graph: Graph,
    printer: Option<Printer>,
    /// Where the worked example is made; else beside this person's other documents.
    example: Option<PathBuf>,
    noted: Option<String>,
    /// The hall's seats are looked at, not the wires.
    hall: bool,
}

/// An event's rig, as it was read.
struct Read {
    plan: Plan,
    drawing: Drawing,
    walk: Vec<Found>,
    picked: Picked,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Picked {
    /// Of the walk.
    Found(usize),
    /// Of the drawing, where nothing was found.
    Drawn(Spot),
}

impl PlanPage {
    pub fn set_printer(&mut self, printer: Printer) {
        self.printer = Some(printer);
    }

    pub fn set_example_folder(&mut self, folder: PathBuf) {
        self.example = Some(folder);
    }

    /// The view is looked at, on this event.
    pub fn enter(&mut self, folder: Option<&Path>, context: &Context) {
        let same = self.folder.as_deref() == folder;
        self.folder = folder.map(Path::to_owned);
        if !same {
            (self.read, self.graph, self.noted) = (None, Graph::default(), None);
        }
        self.watch = self.folder.as_deref().map(|folder| Watch::start(folder, context));
        self.read_again();
    }

    /// Another view is looked at.
    pub fn leave(&mut self) {
        self.watch = None;
    }

    /// Looks whether the files have changed.
    pub fn take(&mut self) {
        if self.watch.as_ref().is_some_and(Watch::has_changed) {
            self.read_again();
            self.noted = Some(page::CHANGED.into());
        }
    }

    pub fn read_again(&mut self) {
        let before = match &self.read {
            Some(Ok(read)) => Some(read.found().next.sentence),
            _ => None,
        };
        self.read = Some(self.folder.as_deref().map_or(Err(Missing::NoEvent), Read::open));
        // Where the same is still found, it stays picked.
        if let (Some(Ok(read)), Some(before)) = (&mut self.read, before)
            && let Some(at) = read.walk.iter().position(|found| found.next.sentence == before)
        {
            read.picked = Picked::Found(at);
        }
        self.graph.show_picked();
    }

    /// A folder that was made, to be opened.
    pub fn keys(&mut self, context: &Context) -> Option<PathBuf> {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        if pressed(Key::R) {
            self.read_again();
        }
        if pressed(Key::X) {
            return self.make_the_example();
        }
        if pressed(Key::H) {
            self.hall = !self.hall;
        }
        if pressed(Key::P) {
            self.print(false);
        }
        if pressed(Key::L) {
            self.print(true);
        }
        for (key, by) in [(Key::ArrowDown, 1), (Key::ArrowUp, -1)] {
            if pressed(key) {
                self.step(by);
            }
        }
        for (key, by) in [(Key::PageDown, 0.8), (Key::PageUp, -0.8)] {
            if pressed(key) {
                self.graph.scroll(by);
            }
        }
        None
    }

    fn step(&mut self, by: isize) {
        if let Some(Ok(read)) = &mut self.read {
            read.step(by);
            self.noted = None;
            self.graph.show_picked();
        }
    }

    /// `None` where there is an event already, or it can't be written.
    fn make_the_example(&mut self) -> Option<PathBuf> {
        if !matches!(self.read, Some(Err(Missing::NoEvent))) {
            return None;
        }
        let folder = self.example.clone().unwrap_or_else(example_folder);
        let there = folder.join("event.toml").is_file();
        match if there { Ok(()) } else { rig::write_example(&folder) } {
            Ok(()) => {
                self.noted = Some(page::example_made(&folder.display().to_string()));
                Some(folder)
            }
            Err(error) => {
                self.noted = Some(error.to_string());
                None
            }
        }
    }

    fn print(&mut self, letter: bool) {
        let (Some(Ok(read)), Some(folder), Some(printer)) = (&self.read, &self.folder, self.printer) else { return };
        let folder = folder.join("print");
        let files = printer(&read.plan, letter);
        let written = files.iter().try_for_each(|(name, text)| rig::write(&folder, name, text));
        self.noted = Some(match written {
            Ok(()) => page::printed(files.len(), &folder.display().to_string()),
            Err(error) => error.to_string(),
        });
    }

    /// What is noted stays over a change of the event's folder.
    pub fn note(&mut self, noted: Option<String>) {
        self.noted = noted;
    }

    pub const fn noted(&self) -> Option<&String> {
        self.noted.as_ref()
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look) {
        let palette = look.palette();
        let read = match &mut self.read {
            Some(Ok(read)) => read,
            Some(Err(missing)) => return without(ui, look, missing),
            None => return without(ui, look, &Missing::NoEvent),
        };
        if self.hall {
            let seating = Seating::of(&read.plan);
            let (headline, next) = seating.step();
            step::next_step(ui, look, &Words { headline: &headline, then: &next.then, next: &next }, palette.text);
            return hall::hall(ui, look, &seating);
        }
        let found = read.found();
        let words = Words { headline: &found.headline, then: &found.next.then, next: &found.next };
        let mark = |painter: &_, rect: eframe::egui::Rect| match found.verdict {
            Some(verdict) => {
                let size = rect.width().min(rect.height()) * 0.72;
                shapes::verdict(painter, palette, verdict, rect.center(), size);
            }
            None => shapes::arrow(painter, found.next.arrow, rect, palette.line),
        };
        step::next_step_marked(ui, look, &words, mark);
        let noted = self.noted.as_deref();
        let above = |ui: &mut Ui| above(ui, look, read, &found, noted);
        if let Some(spot) = self.graph.ui(ui, look, &read.drawing, found.spot, above) {
            read.pick(spot);
        }
    }

    /// The buttons; a folder that was made, to be opened.
    pub fn foot(&mut self, ui: &mut Ui, look: Look) -> Option<PathBuf> {
        let mut offer =
            |label: &str| ui.add(Button::new(RichText::new(label)).min_size(vec2(TARGET, TARGET))).clicked();
        let mut made = None;
        match &self.read {
            Some(Ok(read)) => {
                let many = read.walk.len() > 1 && !self.hall;
                if offer(if self.hall { page::WIRES } else { page::HALL }) {
                    self.hall = !self.hall;
                }
                if many && offer(page::NEXT) {
                    self.step(1);
                }
                if many && offer(page::BEFORE) {
                    self.step(-1);
                }
                if self.printer.is_some() && offer(page::PRINT) {
                    self.print(false);
                }
                if self.printer.is_some() && offer(page::LETTER) {
                    self.print(true);
                }
            }
            Some(Err(Missing::NoEvent)) | None => {
                if offer(page::MAKE) {
                    made = self.make_the_example();
                }
            }
            Some(Err(_)) => {}
        }
        if self.folder.is_some() && offer(page::AGAIN) {
            self.read_again();
        }
        if let (Some(noted), false) = (&self.noted, matches!(self.read, Some(Ok(_)))) {
            ui.label(RichText::new(noted).font(look.strong()));
        }
        made
    }

    /// From the bottom: further cures, computations, all cautions.
    pub fn why(&self, ui: &mut Ui, look: Look) {
        let Some(Ok(read)) = &self.read else { return };
        let found = read.found();
        ScrollArea::vertical().id_salt("plan why").auto_shrink([false, false]).show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            let head = |ui: &mut Ui, text: &str| {
                ui.label(RichText::new(text).font(look.strong()));
            };
            head(ui, &found.next.sentence);
            for line in &found.more {
                ui.label(line);
            }
            ui.add_space(GAP / 2.0);
            head(ui, page::COMPUTED);
            if found.computed.is_empty() {
                ui.label(page::NOT_COMPUTED);
            }
            for line in &found.computed {
                ui.label(line);
            }
            ui.add_space(GAP / 2.0);
            head(ui, page::CAUTIONS);
            for caution in CAUTIONS {
                ui.label(caution.words());
            }
        });
    }
}

/// What was just done, the cautions that belong to what is picked, where it stands in the walk, the tally.
fn above(ui: &mut Ui, look: Look, read: &Read, found: &Found, noted: Option<&str>) {
    let palette = look.palette();
    ui.add_space(GAP / 4.0);
    if let Some(noted) = noted {
        ui.label(RichText::new(noted).font(look.strong()));
    }
    for caution in &found.cautions {
        // The first words say what it is about.
        ui.label(RichText::new(caution.words()).font(look.small()).color(palette.quiet));
    }
    ui.horizontal_wrapped(|ui| {
        if let Picked::Found(at) = read.picked
            && !read.walk.is_empty()
        {
            ui.label(RichText::new(page::place(at, read.walk.len())).font(look.strong()));
        }
        let size = look.strong().size;
        // Large text has room for the counts only.
        let all = look.text <= LARGE;
        for (verdict, told) in plan::tally(&read.plan).into_iter().filter(|(verdict, _)| all || verdict.is_some()) {
            ui.add_space(GAP);
            if let Some(verdict) = verdict {
                let (rect, _) = ui.allocate_exact_size(vec2(size, size), Sense::hover());
                shapes::verdict(ui.painter(), palette, verdict, rect.center(), size * 0.9);
            }
            ui.label(RichText::new(told).font(look.strong()));
        }
    });
}

/// No plan to be looked at.
fn without(ui: &mut Ui, look: Look, missing: &Missing) {
    let (headline, next) = missing.words();
    step::next_step(ui, look, &Words { headline, then: &next.then, next: &next }, look.palette().text);
    if let Missing::Broken(told) = missing {
        ScrollArea::vertical().id_salt("mistakes").auto_shrink([false, false]).show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            for line in told.lines() {
                ui.label(line.trim_start());
            }
        });
    }
}

/// Beside the person's other documents.
fn example_folder() -> PathBuf {
    crate::engine::folder::documents().join("beforedoors example")
}

impl Read {
    fn open(folder: &Path) -> Result<Self, Missing> {
        let plan = Plan::open(folder).map_err(|error| Missing::Broken(error.to_string()))?;
        if plan.rig.wires.is_empty() && !folder.join("patch.csv").is_file() {
            return Err(Missing::NoPatch);
        }
        let drawing = Drawing::of(&plan);
        let walk = plan::walk(&plan, &drawing);
        let picked = Picked::Found(plan::first(&walk));
        Ok(Self { plan, drawing, walk, picked })
    }

    fn found(&self) -> Found {
        match self.picked {
            Picked::Found(at) => self.walk.get(at).cloned().unwrap_or_else(|| plan::all_fits(&self.plan)),
            Picked::Drawn(spot) => plan::of_spot(&self.plan, &self.drawing, spot),
        }
    }

    fn step(&mut self, by: isize) {
        let last = self.walk.len().saturating_sub(1);
        self.picked = Picked::Found(match self.picked {
            Picked::Found(at) => at.saturating_add_signed(by).min(last),
            Picked::Drawn(_) => plan::first(&self.walk),
        });
    }

    /// What was found of it, the worst first; picked again, the next of it.
    fn pick(&mut self, spot: Spot) {
        let of_it: Vec<usize> = (0..self.walk.len()).filter(|at| self.walk[*at].spot == Some(spot)).collect();
        let after = match self.picked {
            Picked::Found(at) => of_it.iter().find(|other| **other > at && of_it.contains(&at)),
            Picked::Drawn(_) => None,
        };
        self.picked = match after.or(of_it.first()) {
            Some(at) => Picked::Found(*at),
            None => Picked::Drawn(spot),
        };
    }
}
