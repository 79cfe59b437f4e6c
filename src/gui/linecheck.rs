//! The line check's page: before it begins what is to be checked; then the step, every line as it stands, the answers.
//!
//! Ticks go into the event's folder as they come. A test sound is only made after a yes; Esc, another view and another
//! input end it at once, and with it the check; what was found stays on the page. Edge cases: on one feed no line can be
//! told from another, so that only the short check is of use; a check whose sound is lost keeps its last picture.

use std::path::PathBuf;

use eframe::egui::text::{LayoutJob, TextFormat};
use eframe::egui::{
    Button, Context, Key, Modifiers, Rect, RichText, Role, ScrollArea, Sense, Stroke, Ui, WidgetInfo, pos2, vec2,
};

use super::soundcheck::Soundcheck;
use super::step::{self, Words};
use super::theme::{BAR, GAP, Look, TARGET, bold};
use super::{Wake, shapes};
use crate::engine::Connection;
use crate::engine::hall::Overheard;
use crate::engine::linecheck::{
    LineAnswer, LineHearing, LineLink, LinePace, LinePlan, LineSession, LineSnapshot, LineStatus, LineStep, TestSound,
    drawn_faults, stage_plan,
};
use crate::engine::session::Status;
use crate::event::{Tick, write_ticks};
use crate::units::Dbfs;
use crate::view::linecheck::{LINE_CAUTIONS, LineReply, speaker_result};
use crate::view::lines::{self, LineState};
use crate::view::{self, NextStep, Reply, Setup, words};

/// What is listened to.
pub enum LineFrom {
    /// The simulated one of this number, with its faults.
    Stage { seed: u64 },
    /// What the soundcheck hears of the device.
    Device { sound: Overheard, names: Vec<String> },
}

/// Begins a line check; without a plan it is the assembly's.
pub type LineOpener =
    Box<dyn FnMut(LineFrom, Option<&dyn Fn(usize) -> LinePlan>, Wake) -> Result<Box<dyn LineLink>, String>>;

pub struct LinePage {
    open: LineOpener,
    /// While it goes on; an error tells why it could not begin.
    link: Option<Result<Box<dyn LineLink>, String>>,
    /// The newest, and after the end the last.
    snapshot: Option<LineSnapshot>,
    status: Status,
    names: Vec<String>,
    /// Where ticks are kept.
    folder: Option<PathBuf>,
    written: Vec<Tick>,
    noted: Option<String>,
    assembly: bool,
    /// Of the simulated stage.
    seed: u64,
    shown: Option<LineStep>,
    scrolled: f32,
    wanted: Option<f32>,
}

/// What the page asks of the window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineWish {
    Begin { assembly: bool },
    Answer(LineAnswer),
    Stop,
    StartOver,
    OtherStage(bool),
}

impl Default for LinePage {
    fn default() -> Self {
        Self {
            open: Box::new(of_this_machine),
            link: None,
            snapshot: None,
            status: Status::Running,
            names: Vec::new(),
            folder: None,
            written: Vec::new(),
            noted: None,
            assembly: false,
            seed: 1,
            shown: None,
            scrolled: 0.0,
            wanted: None,
        }
    }
}

fn of_this_machine(
    from: LineFrom,
    plan: Option<&dyn Fn(usize) -> LinePlan>,
    mut wake: Wake,
) -> Result<Box<dyn LineLink>, String> {
    let wake = Box::new(move |snapshot: &LineSnapshot, status: &Status| wake.look_at_lines(snapshot, status));
    let session = match from {
        LineFrom::Stage { seed } => {
            let hearing = LineHearing::Stage { seed, faults: drawn_faults(seed), pace: LinePace::RealTime };
            LineSession::start(hearing, plan, Some(wake))
        }
        LineFrom::Device { sound, names } => LineSession::overhear(sound, names, plan, Some(wake)),
    };
    session.map(|session| Box::new(session) as Box<dyn LineLink>).map_err(|error| error.to_string())
}

impl LinePage {
    pub fn set_opener(&mut self, open: LineOpener) {
        self.open = open;
    }

    /// Another input is heard: what was begun there is over.
    pub fn end(&mut self) {
        (self.link, self.snapshot, self.noted) = (None, None, None);
    }

    /// Another view is looked at: no sound goes on unseen.
    pub fn leave(&mut self) {
        if self.may_sound() {
            self.stop();
        }
    }

    /// Looks at the newest picture, and keeps its ticks.
    pub fn take(&mut self) {
        let Some(Ok(link)) = &self.link else { return };
        self.status = link.status();
        let snapshot = link.snapshot();
        if let Some(folder) = &self.folder {
            let ticks = lines::ticks(&snapshot);
            if !ticks.is_empty() && ticks != self.written {
                if let Err(error) = write_ticks(folder, &ticks) {
                    self.noted = Some(error.to_string());
                }
                self.written = ticks;
            }
        }
        let over = snapshot.is_over() || matches!(self.status, Status::Ended | Status::Lost(_));
        self.snapshot = Some(snapshot);
        // Its output is closed with it.
        if over {
            self.link = None;
        }
    }

    pub fn carry_out(&mut self, wish: LineWish, soundcheck: &Soundcheck, setup: &Setup, wake: Wake) {
        match wish {
            LineWish::Begin { assembly } => self.begin(assembly, soundcheck, setup, wake),
            LineWish::Answer(answer) => {
                if let Some(Ok(link)) = &self.link {
                    link.send(answer);
                }
            }
            LineWish::Stop => self.stop(),
            LineWish::StartOver => self.end(),
            LineWish::OtherStage(next) => {
                self.seed = if next { self.seed + 1 } else { self.seed.saturating_sub(1).max(1) };
            }
        }
    }

    fn begin(&mut self, assembly: bool, soundcheck: &Soundcheck, setup: &Setup, wake: Wake) {
        self.end();
        let staged = soundcheck.is_staged();
        let own = soundcheck.link.as_ref().map(|link| link.names().to_vec()).unwrap_or_default();
        let from = if staged {
            Ok(LineFrom::Stage { seed: self.seed })
        } else {
            let sound = soundcheck.link.as_ref().ok().and_then(|link| link.overhear());
            sound.map(|sound| LineFrom::Device { sound, names: own }).ok_or_else(|| view::labels::NO_INPUT.to_owned())
        };
        let make = |channels: usize| {
            let plan = if staged { stage_plan() } else { setup.line_plan(channels).with_room(setup.room()) };
            LinePlan { loudspeakers: true, ..plan }
        };
        let plan: Option<&dyn Fn(usize) -> LinePlan> = if assembly { None } else { Some(&make) };
        let link = from.and_then(|from| (self.open)(from, plan, wake));
        if let Ok(link) = &link {
            let listed = !staged && !setup.names.is_empty();
            let own = || link.names().iter().map(|name| words::plain(name)).collect();
            self.names = if listed { setup.names.clone() } else { own() };
        }
        let event = setup.event.as_ref().filter(|_| !staged && !assembly);
        self.folder = event.map(|event| event.folder().to_owned());
        (self.assembly, self.shown, self.wanted) = (assembly, None, Some(0.0));
        self.written.clear();
        self.link = Some(link);
        self.take();
    }

    /// Ends it, and its output with it, before this returns.
    fn stop(&mut self) {
        self.link = None;
        self.noted = Some(lines::STOPPED.into());
    }

    const fn goes_on(&self) -> bool {
        matches!(self.link, Some(Ok(_)))
    }

    fn may_sound(&self) -> bool {
        let sounds = |snapshot: &LineSnapshot| {
            snapshot.sound != TestSound::Silent
                || matches!(snapshot.advice.step, LineStep::WhichSide { .. } | LineStep::Fuller | LineStep::RoomListens)
        };
        self.goes_on() && self.snapshot.as_ref().is_some_and(sounds)
    }

    fn reply(&self) -> LineReply {
        match &self.snapshot {
            Some(snapshot) if self.goes_on() => lines::line_next(snapshot, &self.names).reply,
            _ => LineReply::Over,
        }
    }

    pub fn keys(&mut self, context: &Context, staged: bool) -> Option<LineWish> {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        for (key, by) in [(Key::PageDown, 200.0), (Key::PageUp, -200.0)] {
            if pressed(key) {
                self.wanted = Some((self.scrolled + by).max(0.0));
            }
        }
        if self.may_sound() && pressed(Key::Escape) {
            return Some(LineWish::Stop);
        }
        self.offers(staged).into_iter().find(|(label, _)| key_of(label).is_some_and(pressed)).map(|(_, wish)| wish)
    }

    /// Every button with what it asks for; the key stands at its end.
    fn offers(&self, staged: bool) -> Vec<(&'static str, LineWish)> {
        let mut offers: Vec<(&'static str, LineWish)> = Vec::new();
        if self.goes_on() {
            let answers = lines::line_answers(self.reply());
            offers.extend(answers.iter().map(|(label, answer)| (*label, LineWish::Answer(*answer))));
            offers.push((lines::START_OVER, LineWish::StartOver));
        } else if self.snapshot.is_some() {
            offers.push((lines::BEGIN, LineWish::Begin { assembly: self.assembly }));
            offers.push((lines::START_OVER, LineWish::StartOver));
        } else {
            offers.push((lines::BEGIN, LineWish::Begin { assembly: false }));
            offers.push((lines::ASSEMBLY, LineWish::Begin { assembly: true }));
            if staged {
                offers.push((lines::OTHER_STAGE, LineWish::OtherStage(true)));
            }
        }
        offers
    }

    pub fn foot(&self, ui: &mut Ui, look: Look, staged: bool) -> Option<LineWish> {
        let mut wanted = None;
        for (label, wish) in self.offers(staged) {
            let quiet = matches!(wish, LineWish::StartOver | LineWish::OtherStage(_));
            let text = if quiet { RichText::new(label) } else { RichText::new(label).font(look.strong()) };
            if ui.add(Button::new(text).min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                wanted = Some(wish);
            }
        }
        if self.may_sound() {
            let stop = Button::new(RichText::new(lines::STOP).font(bold(look.strong().size * 1.3)));
            let stop = stop.stroke(Stroke::new(3.0, look.palette().text)).min_size(vec2(TARGET * 3.0, TARGET));
            if ui.add(stop).clicked() {
                wanted = Some(LineWish::Stop);
            }
        }
        if let Some(noted) = &self.noted {
            ui.label(RichText::new(noted).font(look.strong()));
        }
        wanted
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look, soundcheck: &Soundcheck, setup: &Setup) {
        let Some(snapshot) = self.snapshot.take() else { return self.before(ui, look, soundcheck, setup) };
        self.step(ui, look, &snapshot);
        for told in words::status(&self.status).iter().chain(&snapshot.trouble) {
            ui.label(RichText::new(told).font(look.strong()));
        }
        ui.add_space(GAP / 2.0);
        self.all_lines(ui, look, &snapshot);
        self.snapshot = Some(snapshot);
    }

    fn before(&self, ui: &mut Ui, look: Look, soundcheck: &Soundcheck, setup: &Setup) {
        let staged = soundcheck.is_staged();
        let lines_there = soundcheck.link.as_ref().map_or(0, |link| link.format().channels);
        let inputs = if staged {
            stage_plan().inputs.len()
        } else {
            setup.line_plan(lines_there).with_room(setup.room()).inputs.len()
        };
        let event = setup.event.as_ref().map(|event| event.settings.name.as_str());
        let mut next = lines::before(inputs, event, staged);
        if let Some(Err(why)) = &self.link {
            next.proof.clone_from(why);
        } else if !staged && soundcheck.connection != Connection::Usb {
            next.then = lines::ONE_FEED.into();
        }
        let told = Words { headline: lines::FIRST, then: &next.then, next: &next };
        step::next_step(ui, look, &told, look.palette().text);
        ui.add_space(GAP / 2.0);
        for caution in LINE_CAUTIONS {
            ui.label(RichText::new(caution).font(look.strong()));
        }
        if staged {
            let faults = lines::stage_words(self.seed, drawn_faults(self.seed).len());
            ui.label(RichText::new(faults).color(look.palette().quiet));
        }
    }

    fn step(&self, ui: &mut Ui, look: Look, snapshot: &LineSnapshot) {
        let palette = look.palette();
        let told = lines::line_next(snapshot, &self.names);
        let headline = lines::line_headline(snapshot, &self.names);
        let next = NextStep {
            arrow: view::Arrow::None,
            then: lines::then(snapshot, &headline, &told),
            sentence: told.sentence,
            proof: told.proof,
            reply: Reply::Done,
        };
        let mark = lines::mark(snapshot);
        let words = Words { headline: &headline, then: &next.then, next: &next };
        step::next_step_marked(ui, look, &words, |painter, within| match mark {
            Some(mark) => {
                let size = within.width().min(within.height()) * 0.72;
                shapes::line(painter, palette, mark, within.center(), size);
            }
            None => shapes::arrow(painter, view::Arrow::None, within, palette.line),
        });
    }

    fn all_lines(&mut self, ui: &mut Ui, look: Look, snapshot: &LineSnapshot) {
        let step = (self.shown != Some(snapshot.advice.step)).then_some(snapshot.advice.step);
        let moved = step.is_some();
        self.shown = step.or(self.shown);
        let mut area = ScrollArea::vertical().id_salt("lines").auto_shrink([false, false]);
        if let Some(wanted) = self.wanted.take() {
            area = area.vertical_scroll_offset(wanted);
        }
        let shown = area.show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            if let Some(found) = &snapshot.assembly {
                for (name, state, told) in lines::assembly_rows(found) {
                    row(ui, look, &Row { name: &name, state, told, level: None, at_hand: false });
                }
                return;
            }
            for status in &snapshot.inputs {
                let at_hand = snapshot.advice.channel == Some(status.input.channel) && !snapshot.is_over();
                let now = snapshot.lines.get(status.input.channel.index()).map(|line| line.level);
                let name = view::who(Some(status.input.channel), &self.names);
                let drawn = row(ui, look, &Row::of(status, &name, now, at_hand));
                if at_hand && moved {
                    drawn.scroll_to_me(None);
                }
            }
            let speakers = &snapshot.speakers;
            let state = match (speakers.checked, speakers.has_fault()) {
                (false, _) => LineState::NotYet,
                (true, true) => LineState::Wrong,
                (true, false) => LineState::Right,
            };
            let told = if speakers.checked { speaker_result(speakers) } else { String::new() };
            let told = Row { name: lines::LOUDSPEAKERS, state, told, level: None, at_hand: false };
            row(ui, look, &told);
        });
        self.scrolled = shown.state.clamped_offset().y;
    }

    /// From the bottom: what is known of every line, in numbers, and the cautions.
    pub fn why(&self, ui: &mut Ui, look: Look) {
        ScrollArea::vertical().id_salt("lines why").auto_shrink([false, false]).show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            if let Some(snapshot) = &self.snapshot {
                ui.label(RichText::new(lines::line_next(snapshot, &self.names).proof).font(look.strong()));
                for told in lines::numbers_of(snapshot, &self.names) {
                    ui.label(told);
                }
                ui.add_space(GAP / 2.0);
            }
            for caution in LINE_CAUTIONS {
                ui.label(caution);
            }
        });
    }
}

/// The key that a button's words end with.
fn key_of(label: &str) -> Option<Key> {
    match label.split(' ').next_back()? {
        "→" => Some(Key::ArrowRight),
        name => Key::from_name(name),
    }
}

/// A line as it stands.
struct Row<'a> {
    name: &'a str,
    state: LineState,
    told: String,
    level: Option<Dbfs>,
    at_hand: bool,
}

impl<'a> Row<'a> {
    fn of(status: &LineStatus, name: &'a str, level: Option<Dbfs>, at_hand: bool) -> Self {
        Self { name, state: lines::line_state(status), told: lines::detail(status), level, at_hand }
    }
}

/// Where columns begin, as shares of the width: name, word, what was found, the level now.
const COLUMNS: [f32; 4] = [0.0, 0.3, 0.44, 0.86];
/// Large text: what was found stands under the name.
const LARGE: f32 = 1.25;

fn row(ui: &mut Ui, look: Look, row: &Row) -> eframe::egui::Response {
    let palette = look.palette();
    let word = lines::state_word(row.state);
    let width = ui.available_width();
    let (first, room) = (48.0 * look.text.min(1.4), width - 48.0 * look.text.min(1.4));
    let lay = |text: &str, strong: bool, room: f32| {
        let font = if strong { look.strong() } else { look.body() };
        let mut job = LayoutJob::single_section(text.to_owned(), TextFormat::simple(font, palette.text));
        job.wrap.max_width = room.max(1.0);
        ui.painter().layout_job(job)
    };
    let large = look.text > LARGE;
    let cells = if large {
        let told = if row.told.is_empty() { word.to_owned() } else { format!("{word}: {}", row.told) };
        let name = lay(row.name, row.at_hand, room - GAP);
        let below = name.size().y;
        vec![(name, vec2(first, 0.0)), (lay(&told, false, room - GAP), vec2(first, below))]
    } else {
        let texts = [row.name, word, row.told.as_str()];
        let cell = |(at, text): (usize, &str)| {
            let (from, to) = (COLUMNS[at] * room, COLUMNS[at + 1] * room);
            (lay(text, row.at_hand && at == 0, to - from - 10.0), vec2(first + from, 0.0))
        };
        texts.into_iter().enumerate().map(cell).collect()
    };
    let tall = cells.iter().map(|(galley, at)| galley.size().y + at.y).fold(0.0, f32::max);
    let (rect, response) = ui.allocate_exact_size(vec2(width, (tall + 10.0).max(TARGET * 0.7)), Sense::hover());
    response.widget_info(|| {
        let said = format!("{}: {word}", row.name);
        let said = if row.told.is_empty() { said } else { format!("{said}, {}", row.told) };
        WidgetInfo::labeled(Role::Label, true, said)
    });
    if !ui.is_rect_visible(rect) {
        return response;
    }
    let painter = ui.painter();
    if row.at_hand {
        painter.rect_filled(rect, 4.0, palette.floor);
        let bar = Rect::from_min_max(rect.min, pos2(rect.left() + 4.0, rect.bottom()));
        painter.rect_filled(bar, 2.0, palette.text);
    }
    let middle = rect.center().y;
    shapes::line(painter, palette, row.state, pos2(rect.left() + first / 2.0, middle), 22.0 * look.text.min(1.3));
    for (galley, at) in cells {
        painter.galley(pos2(rect.left(), middle - tall / 2.0) + at, galley, palette.text);
    }
    if let Some(level) = row.level.filter(|_| !large) {
        let from = rect.left() + first + COLUMNS[3] * room;
        let rail = rect.right() - GAP - from;
        let to = |share: f32| [pos2(from, middle), pos2(from + share * rail, middle)];
        painter.line_segment(to(1.0), Stroke::new(4.0, palette.line));
        painter.line_segment(to(view::place(level) as f32), Stroke::new(4.0, palette.text));
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_button_ends_with_its_key_and_no_two_share_one() {
        for reply in [
            LineReply::Wait,
            LineReply::Done,
            LineReply::YesNo,
            LineReply::Side,
            LineReply::Hall,
            LineReply::Fuller,
            LineReply::Over,
        ] {
            let labels = lines::line_answers(reply).iter().map(|(label, _)| *label).chain([lines::START_OVER]);
            let mut keys: Vec<Key> = labels.map(|label| key_of(label).expect(label)).collect();
            let all = keys.len();
            keys.sort_by_key(|key| key.name());
            keys.dedup();
            assert_eq!(keys.len(), all, "{reply:?}");
        }
        for label in [lines::BEGIN, lines::ASSEMBLY, lines::OTHER_STAGE, lines::STOP] {
            assert!(key_of(label).is_some(), "{label}");
        }
    }
}
