//! The window's state: which view is looked at, what is open beside it, and what the keys ask for.
//!
//! What needs action rules the page; everything else is quiet. Each view draws itself; this file only leads to them.

mod evening;
mod parts;

use std::path::PathBuf;

use eframe::egui::{self, Context, Key, Panel as EguiPanel, Ui};

use super::evening::Kept;
use super::input::{self, Choice, Chosen, Lister};
use super::keys::{self, Action};
use super::linecheck::{LineOpener, LinePage, LineWish};
use super::list::Editor;
use super::opened::Player;
use super::plan::{PlanPage, Printer};
use super::recordings::{Takes, TakesPrinter};
use super::ringout::{Asked, RingOutPage};
use super::show::ShowPage;
use super::soundcheck::Soundcheck;
use super::theme::{self, DOORS, GAP, Look, TEXT_SIZES};
use super::waker::Eyes;
use super::{Panel, View, Wake, doors};
use crate::engine::session::{Hearing, Link, Pace, Session, Status};
use crate::engine::watched::{Moment, Picture, Watch, WatchLink, Where};
use crate::engine::{Connection, Mood, Snapshot};
use crate::event::{Event, Recent, VenueNotes, clock, log};
use crate::view::venue_notes::kept;
use crate::view::{Reply, Setup, labels, lengths};

/// Begins to listen; an error tells how to mend it.
pub type Opener = Box<dyn FnMut(&Hearing, &Setup, Connection, Wake) -> Result<Box<dyn Link>, String>>;
/// Begins a ring-out or a show.
pub type HallOpener = Box<dyn FnMut(&Moment, Where, Wake) -> Result<Box<dyn WatchLink>, String>>;

/// What the window has of the world.
pub struct World {
    pub listen: Opener,
    pub hall: HallOpener,
    /// Keeps how the window was left.
    pub keep: Box<dyn FnMut(&Recent)>,
    /// The input devices, or why there is no list.
    pub devices: Lister,
    /// The time by the hall's clock, in hours and minutes.
    pub clock: fn() -> String,
}

impl World {
    /// Devices, the simulated stage and the settings of this machine.
    pub fn of_this_machine() -> Self {
        let listen: Opener = Box::new(|hearing, setup, connection, mut wake| {
            let staged = matches!(hearing, Hearing::Stage { .. });
            let inputs = setup.inputs.clone().filter(|_| !staged);
            let wake = move |snapshot: &Snapshot, status: &Status| wake.look(snapshot, status);
            Session::start(hearing.clone(), inputs, connection, Some(Box::new(wake)))
                .map(|session| Box::new(session) as Box<dyn Link>)
                .map_err(|error| error.to_string())
        });
        let hall: HallOpener = Box::new(|moment, place, mut wake| {
            let wake = Box::new(move |picture: &Picture| wake.look_at_hall(picture));
            Watch::start(moment, place, wake).map(|watch| Box::new(watch) as Box<dyn WatchLink>)
        });
        // Settings that can't be kept are no reason to disturb anyone.
        Self { listen, hall, keep: Box::new(|recent| drop(recent.keep())), devices: input::list, clock }
    }
}

/// The window.
pub struct App {
    world: World,
    setup: Setup,
    plan: PlanPage,
    lines: LinePage,
    soundcheck: Soundcheck,
    ringout: RingOutPage,
    show: ShowPage,
    kept: Kept,
    takes: Takes,
    list: Editor,
    look: Look,
    view: View,
    before: View,
    panel: Panel,
    choice: Choice,
    /// Minutes that were added to the doors by hand.
    later: f64,
    eyes: Eyes,
    context: Context,
}

/// Which simulated hall.
const HALL: u64 = 1;

impl App {
    pub fn new(context: &Context, mut setup: Setup, look: Look, mut world: World) -> Self {
        context.set_fonts(theme::fonts());
        take_on(context, look);
        let eyes = Eyes::default();
        let wake = Wake::new(context.clone(), eyes.clone(), View::Soundcheck);
        let soundcheck = Soundcheck::new(&mut setup, &mut world.listen, wake);
        let mut app = Self {
            later: 0.0,
            world,
            setup,
            plan: PlanPage::default(),
            lines: LinePage::default(),
            soundcheck,
            ringout: RingOutPage::default(),
            show: ShowPage::default(),
            kept: Kept::default(),
            takes: Takes::default(),
            list: Editor::default(),
            look,
            view: View::default(),
            before: View::default(),
            panel: Panel::None,
            choice: Choice::default(),
            eyes,
            context: context.clone(),
        };
        app.keep();
        app
    }

    /// How the window is left, for the next time.
    fn keep(&mut self) {
        let event = self.setup.event.as_ref().and_then(|event| std::path::absolute(event.folder()).ok());
        let Look { bright, still, text, feet } = self.look;
        (self.world.keep)(&Recent { event, bright, still, text, feet });
    }

    fn wake(&self, view: View) -> Wake {
        Wake::new(self.context.clone(), self.eyes.clone(), view)
    }

    fn hear(&mut self, hearing: Hearing, connection: Connection) {
        let wake = self.wake(View::Soundcheck);
        self.soundcheck.store(&self.setup);
        self.lines.end();
        self.ringout.end();
        self.show.end();
        self.soundcheck.hear(hearing, connection, &mut self.setup, &mut self.world.listen, wake);
    }

    fn chose(&mut self, chosen: Chosen) {
        let kept = match chosen {
            Chosen::Stage => {
                let stage = Hearing::Stage { seed: 1, mood: Mood::Normal, pace: Pace::RealTime };
                self.hear(stage, Connection::Usb);
                self.panel = Panel::None;
                Ok(())
            }
            Chosen::Device(name, connection) => {
                let kept = self.setup.keep_device(&name, connection);
                self.hear(Hearing::Live { device: Some(name) }, connection);
                kept
            }
            Chosen::Desk(words) => self.setup.keep_desk(words),
        };
        if let Err(error) = kept {
            self.soundcheck.noted = Some(error.to_string());
        }
    }

    /// Another event: its inputs, its device, its doors.
    fn open_event(&mut self, folder: &std::path::Path) {
        match Event::open(folder) {
            Ok((event, _)) => {
                self.setup = Setup::of(event);
                self.kept.close();
                self.later = 0.0;
                let connection = self.setup.connection.unwrap_or(Connection::Usb);
                match self.setup.device.clone() {
                    Some(device) => self.hear(Hearing::Live { device: Some(device) }, connection),
                    None => self.hear(self.soundcheck.hearing.clone(), self.soundcheck.connection),
                }
                self.go(View::Soundcheck);
                self.keep();
            }
            Err(error) => self.soundcheck.noted = Some(error.to_string()),
        }
    }

    fn go(&mut self, view: View) {
        self.takes.leave();
        if view != self.view {
            self.plan.leave();
            self.lines.leave();
            if view == View::Inputs {
                self.list = Editor::of(self.setup.event.as_ref());
            } else if self.view == View::Inputs {
                self.leave_the_list();
            }
            self.before = self.view;
            self.panel = Panel::None;
            self.soundcheck.noted = None;
            if self.view == View::Soundcheck {
                self.soundcheck.store(&self.setup);
            }
        }
        self.view = view;
        if view == View::RingOut {
            self.recall();
        }
        if view == View::Plan {
            self.plan.enter(self.setup.event.as_ref().map(Event::folder), &self.context);
        }
        if view == View::Show && !self.show.has_begun() {
            self.begin_the_show();
        }
    }

    fn leave_the_list(&mut self) {
        self.list.leave();
        self.relist();
        // Names need no new engine; other inputs do.
        let soundcheck = &self.soundcheck;
        if !soundcheck.is_staged() && soundcheck.heard_inputs != self.setup.inputs {
            self.hear(soundcheck.hearing.clone(), soundcheck.connection);
        }
    }

    /// Takes the list as it was edited.
    fn relist(&mut self) {
        if let Some((event, has_folder)) = self.list.changed() {
            self.setup = self.setup.relisted(event, has_folder);
            self.soundcheck.name_the_lines(&mut self.setup);
            self.keep();
        }
    }

    /// Hears passages of recordings through another player.
    #[must_use]
    pub fn with_player(mut self, player: Player) -> Self {
        self.takes.set_player(player);
        self
    }

    /// Writes reports on recordings.
    #[must_use]
    pub fn with_takes_printer(mut self, printer: TakesPrinter) -> Self {
        self.takes.set_printer(printer);
        self
    }

    /// Prints a plan's sheets.
    #[must_use]
    pub fn with_printer(mut self, printer: Printer) -> Self {
        self.plan.set_printer(printer);
        self
    }

    /// Makes the worked example here.
    #[must_use]
    pub fn with_example_folder(mut self, folder: PathBuf) -> Self {
        self.plan.set_example_folder(folder);
        self
    }

    /// Begins line checks through another engine.
    #[must_use]
    pub fn with_line_opener(mut self, open: LineOpener) -> Self {
        self.lines.set_opener(open);
        self
    }

    fn wished(&mut self, wish: LineWish) {
        let wake = self.wake(View::LineCheck);
        self.lines.carry_out(wish, &self.soundcheck, &self.setup, wake);
    }

    /// An event that was made from the plan's page stays there.
    fn open_in_the_plan(&mut self, folder: &std::path::Path) {
        let noted = self.plan.noted().cloned();
        self.open_event(folder);
        self.go(View::Plan);
        self.plan.note(noted.or_else(|| self.soundcheck.noted.clone()));
    }

    /// The device that is heard, or the simulated hall.
    fn place(&self) -> Where {
        match self.soundcheck.link.as_ref().ok().and_then(|link| link.overhear()) {
            Some(sound) => Where::Hall { sound, microphones: self.setup.microphones() },
            None => Where::Stage { seed: HALL },
        }
    }

    fn begin(&mut self, moment: &Moment, place: Where) -> Result<Box<dyn WatchLink>, String> {
        let wake = self.wake(self.view);
        (self.world.hall)(moment, place, wake)
    }

    fn asked(&mut self, asked: Asked) {
        match asked {
            Asked::Say(say) => self.ringout.say(say),
            Asked::Begin(moment) => {
                let place = self.place();
                let real = matches!(place, Where::Hall { .. });
                let link = self.begin(&moment, place);
                self.ringout.begun(&moment, real, link);
            }
        }
    }

    /// What is noted of the hall.
    fn recall(&mut self) {
        let notes =
            self.setup.event.as_ref().map_or_else(|| Ok(<_>::default()), |event| VenueNotes::of(event.folder()));
        self.ringout.recall(notes.map(|(notes, _)| notes).map_err(|error| error.to_string()));
    }

    /// What was found in the hall belongs to its notes.
    fn keep_what_was_found(&mut self) {
        let Some(event) = &self.setup.event else { return };
        let Some(found) = self.ringout.found_to_keep(&self.setup.names) else { return };
        self.ringout.tell_kept(match VenueNotes::add(event.folder(), &found) {
            Ok(path) => kept(&path),
            Err(error) => error.to_string(),
        });
    }

    fn act(&mut self, action: Action) {
        match action {
            Action::Send(command) => self.soundcheck.send(command),
            Action::Open(Panel::Why) if !self.view.has_a_why() => {}
            Action::Open(panel) => {
                self.panel = if self.panel == panel { Panel::None } else { panel };
                if self.panel == Panel::Input {
                    self.choice.look(self.world.devices);
                }
            }
            Action::Close if self.panel != Panel::None => self.panel = Panel::None,
            Action::Close => self.soundcheck.picked = None,
            Action::Back if self.panel != Panel::None => self.panel = Panel::None,
            Action::Back => self.go(self.before),
            Action::Mark => self.mark(),
            Action::Pick(channel) => self.soundcheck.pick(channel),
            Action::Go(view) => self.go(view),
            Action::Table => self.soundcheck.turn_to_table(),
            Action::Bright => self.set_look(Look { bright: !self.look.bright, ..self.look }),
            Action::Feet => {
                self.set_look(Look { feet: !self.look.feet, ..self.look });
                self.plan.read_again();
            }
            Action::Still => self.set_look(Look { still: !self.look.still, ..self.look }),
            Action::Text(larger) => {
                let at = TEXT_SIZES.iter().position(|size| *size == self.look.text).unwrap_or(1);
                let at = if larger { at + 1 } else { at.saturating_sub(1) };
                let text = TEXT_SIZES[at.min(TEXT_SIZES.len() - 1)];
                self.set_look(Look { text, ..self.look });
            }
            Action::Minutes(by) => self.later += by,
        }
    }

    /// A line in the event's log.
    fn mark(&mut self) {
        let evidence = serde_json::json!({ "view": self.view.name() });
        let song = (self.view == View::Show).then(|| self.show.song(&self.setup)).flatten();
        let mark = log::Entry { song, ..log::Entry::new("mark", evidence) };
        let written = self.setup.event.as_ref().map(|event| log::add(event.folder(), &mark));
        self.soundcheck.noted = Some(match written {
            None => format!("{} · {}", labels::NO_LOG, (self.world.clock)()),
            Some(Ok(())) => format!("{} · {}", labels::MARKED, (self.world.clock)()),
            Some(Err(error)) => error.to_string(),
        });
    }

    fn set_look(&mut self, look: Look) {
        self.look = look;
        take_on(&self.context, look);
        self.keep();
    }

    fn minutes_left(&self) -> f64 {
        let usual = || doors::USUAL - self.context.input(|input| input.time) / 60.0;
        self.setup.minutes_left().unwrap_or_else(usual) + self.later
    }

    fn keys(&mut self, context: &Context) {
        match self.view {
            View::Recordings => self.takes.keys(context, &self.setup),
            View::Inputs if !self.list.keys(context) => self.go(View::Soundcheck),
            View::Inputs => self.relist(),
            View::Plan | View::LineCheck | View::Soundcheck | View::RingOut | View::Show => {}
        }
        // While text is written letters are letters; a button that has the focus takes Space and Enter itself.
        let pressed = |key| context.input(|input| input.key_pressed(key));
        let on_a_button = context.egui_wants_keyboard_input() && (pressed(Key::Space) || pressed(Key::Enter));
        if context.text_edit_focused() || on_a_button {
            return;
        }
        match self.view {
            View::Plan => {
                if let Some(made) = self.plan.keys(context) {
                    self.open_in_the_plan(&made);
                }
            }
            View::LineCheck => {
                if let Some(wish) = self.lines.keys(context, self.soundcheck.is_staged()) {
                    self.wished(wish);
                }
            }
            View::RingOut => {
                if let Some(asked) = self.ringout.keys(context) {
                    self.asked(asked);
                }
            }
            View::Show => {
                if let Some(wish) = self.show.keys(context, &self.setup, &mut self.kept) {
                    self.wished_in_the_show(wish);
                }
            }
            View::Soundcheck | View::Recordings | View::Inputs => {}
        }
        let reply = if self.view == View::Soundcheck { self.soundcheck.reply(&self.setup) } else { Reply::Over };
        let staged = self.view == View::Soundcheck && self.soundcheck.is_staged();
        for action in keys::actions(context, reply, self.soundcheck.at_hand(), staged) {
            self.act(action);
        }
    }
}

/// Colours, sizes and lengths as the person wants them.
fn take_on(context: &Context, look: Look) {
    theme::apply(context, look);
    lengths::show_feet(look.feet);
}

impl eframe::App for App {
    fn logic(&mut self, context: &Context, _: &mut eframe::Frame) {
        self.soundcheck.take();
        if self.soundcheck.takes_end() {
            self.soundcheck.store(&self.setup);
        }
        self.lines.take();
        self.plan.take();
        self.keep_what_was_found();
        self.follow_the_evening();
        let dropped: Vec<PathBuf> =
            context.input(|input| input.raw.dropped_files.iter().map(|file| file.path().to_owned()).collect());
        if let Some(folder) = dropped.iter().find(|path| path.join("event.toml").is_file()) {
            if self.view == View::Plan {
                self.open_in_the_plan(folder);
            } else {
                self.open_event(folder);
            }
        } else if let Some(listed) = dropped.iter().find(|path| Editor::takes(path)) {
            self.go(View::Inputs);
            self.list.import_file(listed);
        } else if !dropped.is_empty() {
            self.go(View::Recordings);
            self.takes.read(dropped, &self.setup, context);
        }
        self.keys(context);
        // The minutes fall while nothing else moves.
        context.request_repaint_after(std::time::Duration::from_secs(20));
    }

    fn on_exit(&mut self, _: Option<&eframe::glow::Context>) {
        self.soundcheck.store(&self.setup);
        self.kept.close();
    }

    fn ui(&mut self, ui: &mut Ui, _: &mut eframe::Frame) {
        self.eyes.turn(self.view, self.look.still);
        let palette = self.look.palette();
        let bare = egui::Frame::NONE.fill(palette.ground);
        EguiPanel::left("doors").exact_size(DOORS).resizable(false).show_separator_line(false).frame(bare).show(
            ui,
            |ui| {
                doors::bar(ui, self.look, self.minutes_left());
            },
        );
        let around = bare.inner_margin(egui::Margin::symmetric(30, 10));
        EguiPanel::top("head").show_separator_line(false).frame(around).show(ui, |ui| self.head(ui));
        EguiPanel::bottom("foot").show_separator_line(false).frame(around).show(ui, |ui| self.foot(ui));
        if self.panel != Panel::None {
            let share = match self.panel {
                Panel::Help => 0.58,
                Panel::Input => 0.5,
                Panel::Why | Panel::None => 0.34,
            };
            let tall = ui.ctx().content_rect().height() * share;
            let frame = egui::Frame::NONE.fill(palette.edge).inner_margin(GAP as i8);
            EguiPanel::bottom("panel")
                .exact_size(tall)
                .resizable(false)
                .frame(frame)
                .show(ui, |ui| self.open_panel(ui));
        }
        egui::CentralPanel::default().frame(around).show(ui, |ui| self.page(ui));
    }
}
