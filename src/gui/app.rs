//! The window's state, and its one page: next step, shelf meter, stage floor or table, panel, buttons.
//!
//! What needs action rules the page; everything else is quiet. The page is a function of the newest snapshot and of what
//! the person chose to look at.

use std::collections::VecDeque;
use std::time::Instant;

use eframe::egui::{self, Button, Context, Panel as EguiPanel, Rect, Ui, vec2};

use super::input::{Choice, Chosen};
use super::keys::{self, Action};
use super::opened::Player;
use super::recordings::Takes;
use super::shelf::Meter;
use super::theme::{self, DOORS, GAP, Look, TEXT_SIZES};
use super::{Panel, View, Wake, doors, floor, list, panels, shelf, step, table};
use crate::engine::session::{Command, Hearing, Link, Pace, Session, Status};
use crate::engine::{ChannelState, Connection, Mood, Snapshot, Step};
use crate::units::{ChannelId, Db};
use crate::view::{self, Arrow, NextStep, Reply, Setup, Shelf, Trail, words};

/// Begins to listen; an error tells how to mend it.
pub type Opener = Box<dyn FnMut(&Hearing, &Setup, Connection, Wake) -> Result<Box<dyn Link>, String>>;

/// Devices and the simulated stage of this machine.
pub fn of_this_machine() -> Opener {
    Box::new(|hearing, setup, connection, mut wake| {
        let staged = matches!(hearing, Hearing::Stage { .. });
        let inputs = setup.inputs.clone().filter(|_| !staged);
        let wake = move |snapshot: &Snapshot, status: &Status| wake.look(snapshot, status);
        Session::start(hearing.clone(), inputs, connection, Some(Box::new(wake)))
            .map(|session| Box::new(session) as Box<dyn Link>)
            .map_err(|error| error.to_string())
    })
}

/// The peaks of each second, a minute back, channel by channel: places on the rail, oldest first.
#[derive(Default)]
pub struct History {
    channels: Vec<VecDeque<f64>>,
    second: u64,
}

impl History {
    pub const SPAN: usize = 60;

    fn follow(&mut self, snapshot: &Snapshot) {
        self.channels.resize(snapshot.readings.channels.len(), VecDeque::new());
        let second = snapshot.at.get() as u64;
        for (peaks, reading) in self.channels.iter_mut().zip(&snapshot.readings.channels) {
            let place = view::place(reading.frame.sample_peak);
            match peaks.back_mut().filter(|_| second == self.second) {
                Some(last) => *last = last.max(place),
                None => peaks.push_back(place),
            }
            if peaks.len() > Self::SPAN {
                peaks.pop_front();
            }
        }
        self.second = second;
    }

    pub fn of(&self, channel: ChannelId) -> Vec<f64> {
        self.channels.get(channel.index()).into_iter().flatten().copied().collect()
    }
}

/// The window.
pub struct App {
    open: Opener,
    setup: Setup,
    hearing: Hearing,
    connection: Connection,
    link: Result<Box<dyn Link>, String>,
    snapshot: Option<Snapshot>,
    status: Status,
    look: Look,
    view: View,
    takes: Takes,
    list: list::Editor,
    /// The inputs that the engine was begun with.
    heard_inputs: Option<Vec<crate::engine::Input>>,
    panel: Panel,
    table: bool,
    picked: Option<ChannelId>,
    noted: Option<String>,
    turned: Db,
    step: Option<(Step, Option<ChannelId>)>,
    trail: Trail,
    history: History,
    choice: Choice,
    minutes: f64,
    began: Instant,
    context: Context,
}

impl App {
    pub fn new(context: &Context, setup: Setup, mut open: Opener) -> Self {
        context.set_fonts(theme::fonts());
        let look = Look::default();
        theme::apply(context, look);
        let hearing = match &setup.device {
            Some(device) => Hearing::Live { device: Some(device.clone()) },
            None => Hearing::Stage { seed: 1, mood: Mood::Normal, pace: Pace::RealTime },
        };
        let connection = setup.connection.filter(|_| setup.device.is_some()).unwrap_or(Connection::Usb);
        let link = open(&hearing, &setup, connection, Wake::new(context.clone()));
        let heard_inputs = setup.inputs.clone();
        let mut app = Self {
            open,
            setup,
            hearing,
            connection,
            link,
            snapshot: None,
            status: Status::Running,
            look,
            view: View::default(),
            takes: Takes::default(),
            list: list::Editor::default(),
            heard_inputs,
            panel: Panel::None,
            table: false,
            picked: None,
            noted: None,
            turned: Db::ZERO,
            step: None,
            trail: Trail::default(),
            history: History::default(),
            choice: Choice::default(),
            minutes: doors::USUAL,
            began: Instant::now(),
            context: context.clone(),
        };
        app.name_the_lines();
        app
    }

    fn go(&mut self, view: View) {
        self.takes.leave();
        if view == View::Inputs && self.view != view {
            self.list = list::Editor::of(self.setup.event.as_ref());
        } else if self.view == View::Inputs && self.view != view {
            self.list.leave();
            self.relist();
            // Names need no new engine; other inputs do.
            if !self.is_staged() && self.heard_inputs != self.setup.inputs {
                self.hear(self.hearing.clone(), self.connection);
            }
        }
        self.view = view;
    }

    /// Takes the list as it was edited.
    fn relist(&mut self) {
        if let Some((event, has_folder)) = self.list.changed() {
            self.setup = self.setup.relisted(event, has_folder);
            self.name_the_lines();
        }
    }

    /// Hears passages of recordings through another player.
    #[must_use]
    pub fn with_player(mut self, player: Player) -> Self {
        self.takes.set_player(player);
        self
    }

    /// Looks at the newest snapshot.
    fn take(&mut self) {
        let Ok(link) = &self.link else { return };
        self.status = link.status();
        let snapshot = link.snapshot();
        self.trail.follow(&snapshot);
        self.history.follow(&snapshot);
        let step = Some((snapshot.advice.step, snapshot.advice.channel));
        if self.step != step {
            (self.step, self.noted, self.turned) = (step, None, Db::ZERO);
        }
        self.snapshot = Some(snapshot);
    }

    /// On the stage, or without a list, the lines carry the source's own names.
    fn name_the_lines(&mut self) {
        if let Ok(link) = &self.link
            && (self.is_staged() || self.setup.names.is_empty())
        {
            self.setup.names = link.names().iter().map(|name| words::plain(name)).collect();
        }
    }

    const fn is_staged(&self) -> bool {
        matches!(self.hearing, Hearing::Stage { .. })
    }

    fn hear(&mut self, hearing: Hearing, connection: Connection) {
        // The old one ends before the new one opens: it may be the same device.
        self.link = Err(String::new());
        self.snapshot = None;
        if let Some(event) = self.setup.event.clone() {
            self.setup = Setup::of(event);
        } else if self.setup.inputs.is_none() {
            self.setup.names.clear();
        }
        self.heard_inputs = self.setup.inputs.clone();
        self.link = (self.open)(&hearing, &self.setup, connection, Wake::new(self.context.clone()));
        (self.hearing, self.connection, self.picked, self.panel) = (hearing, connection, None, Panel::None);
        (self.trail, self.history) = (Trail::default(), History::default());
        self.name_the_lines();
    }

    fn at_hand(&self) -> Option<ChannelId> {
        self.picked.or_else(|| self.snapshot.as_ref().and_then(|snapshot| snapshot.advice.channel))
    }

    fn act(&mut self, action: Action) {
        match action {
            Action::Send(command) => self.send(command),
            Action::Open(panel) => {
                self.panel = if self.panel == panel { Panel::None } else { panel };
                if self.panel == Panel::Input {
                    self.choice.look();
                }
            }
            Action::Close if self.panel != Panel::None => self.panel = Panel::None,
            Action::Close => self.picked = None,
            Action::Pick(channel) => {
                let count = self.snapshot.as_ref().map_or(0, |snapshot| snapshot.inputs.len());
                self.picked = (channel.index() < count).then_some(channel);
            }
            Action::Go(view) => self.go(view),
            Action::Table => self.table = !self.table,
            Action::Bright => self.set_look(Look { bright: !self.look.bright, ..self.look }),
            Action::Text(larger) => {
                let at = TEXT_SIZES.iter().position(|size| *size == self.look.text).unwrap_or(1);
                let at = if larger { at + 1 } else { at.saturating_sub(1) };
                let text = TEXT_SIZES[at.min(TEXT_SIZES.len() - 1)];
                self.set_look(Look { text, ..self.look });
            }
            Action::Minutes(by) => self.minutes = (self.minutes + by).clamp(0.0, 600.0),
        }
    }

    fn set_look(&mut self, look: Look) {
        self.look = look;
        theme::apply(&self.context, look);
    }

    fn send(&mut self, command: Command) {
        let Ok(link) = &self.link else { return };
        if !link.send(command) {
            return;
        }
        self.noted = match command {
            Command::Answer(_) => {
                self.picked = None;
                Some(words::NOTED.into())
            }
            Command::AskLoudest(_) => Some(words::ASKED.into()),
            Command::TurnTrim(_, by) => {
                self.turned += by;
                Some(words::turned_so_far(self.turned))
            }
            Command::Stop => None,
        };
    }

    fn minutes_left(&self) -> f64 {
        self.minutes - self.began.elapsed().as_secs_f64() / 60.0
    }
}

impl eframe::App for App {
    fn logic(&mut self, context: &Context, _: &mut eframe::Frame) {
        self.take();
        let dropped: Vec<std::path::PathBuf> =
            context.input(|input| input.raw.dropped_files.iter().map(|file| file.path().to_owned()).collect());
        if let Some(listed) = dropped.iter().find(|path| list::Editor::takes(path)) {
            self.go(View::Inputs);
            self.list.import_file(listed);
        } else if !dropped.is_empty() {
            self.go(View::Recordings);
            self.takes.read(dropped, &self.setup, context);
        }
        match self.view {
            View::Recordings => self.takes.keys(context, &self.setup),
            View::Inputs if !self.list.keys(context) => self.go(View::Soundcheck),
            View::Inputs => self.relist(),
            View::Soundcheck => {}
        }
        let heard = self.snapshot.as_ref().filter(|_| self.view == View::Soundcheck);
        let reply = heard.map_or(Reply::Over, |snapshot| self.words(snapshot).reply);
        for action in keys::actions(context, reply, self.at_hand(), self.is_staged()) {
            self.act(action);
        }
        // The minutes fall while nothing else moves.
        context.request_repaint_after(std::time::Duration::from_secs(20));
    }

    fn ui(&mut self, ui: &mut Ui, _: &mut eframe::Frame) {
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
            let tall = ui.ctx().content_rect().height() * 0.34;
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

/// The parts of the page.
impl App {
    fn words(&self, snapshot: &Snapshot) -> NextStep {
        let who = view::who(snapshot.advice.channel, &self.setup.names);
        let states = snapshot.inputs.iter().map(|input| input.state);
        view::next_step(&snapshot.advice, &who, &self.setup.desk).with_the_end(states)
    }

    fn head(&mut self, ui: &mut Ui) {
        let palette = self.look.palette();
        let mut wanted = None;
        ui.horizontal_wrapped(|ui| {
            for view in View::ALL {
                let name = egui::RichText::new(view.name()).font(self.look.strong());
                let name = if view == self.view { name.underline() } else { name.color(palette.quiet) };
                let button = Button::new(name).frame(false).min_size(egui::vec2(theme::TARGET, theme::TARGET));
                if ui.add(button).clicked() {
                    wanted = Some(Action::Go(view));
                }
            }
            let told = words::status(&self.status);
            match (told, self.is_staged()) {
                (Some(told), _) => {
                    ui.label(egui::RichText::new(told).font(self.look.strong()).color(palette.text));
                }
                (None, true) => {
                    ui.label(egui::RichText::new(words::SIMULATED).color(palette.quiet));
                }
                (None, false) => {}
            }
            // Large text has two rows.
            let layout = if self.look.text > 1.0 {
                ui.end_row();
                egui::Layout::left_to_right(egui::Align::Center)
            } else {
                egui::Layout::right_to_left(egui::Align::Center)
            };
            ui.with_layout(layout, |ui| {
                let table = if self.table { "Stage  T" } else { "Table  T" };
                let buttons: &[(&str, Action)] = match self.view {
                    View::Soundcheck => &[
                        ("Help  ?", Action::Open(Panel::Help)),
                        ("Why  W", Action::Open(Panel::Why)),
                        (table, Action::Table),
                        ("Choose the input  I", Action::Open(Panel::Input)),
                        (view::inputs::OPEN, Action::Go(View::Inputs)),
                    ],
                    View::Recordings | View::Inputs => &[("Help  ?", Action::Open(Panel::Help))],
                };
                for &(label, action) in buttons {
                    if ui.button(label).clicked() {
                        wanted = Some(action);
                    }
                }
            });
        });
        if let Some(action) = wanted {
            self.act(action);
        }
    }

    fn foot(&mut self, ui: &mut Ui) {
        let palette = self.look.palette();
        let Some(snapshot) = self.snapshot.as_ref().filter(|_| self.view == View::Soundcheck) else { return };
        let next = self.words(snapshot);
        let mut wanted = None;
        ui.horizontal_wrapped(|ui| {
            for (label, (_, answer)) in keys::labels(next.reply).iter().zip(keys::answers(next.reply)) {
                let button = Button::new(egui::RichText::new(*label).font(self.look.strong()));
                if ui.add(button.min_size(vec2(theme::TARGET * 2.0, theme::TARGET))).clicked() {
                    wanted = Some(Action::Send(Command::Answer(*answer)));
                }
            }
            if let Some(channel) = self.at_hand().filter(|_| self.is_staged()) {
                let mut offer = |label: &str, command| {
                    if ui.add(Button::new(label).min_size(vec2(theme::TARGET, theme::TARGET))).clicked() {
                        wanted = Some(Action::Send(command));
                    }
                };
                offer("Ask for it  A", Command::AskLoudest(channel));
                offer("Turn DOWN  ←", Command::TurnTrim(channel, Db::new(-1.0)));
                offer("Turn UP  →", Command::TurnTrim(channel, Db::new(1.0)));
            }
            if let Some(noted) = &self.noted {
                ui.label(egui::RichText::new(noted).font(self.look.strong()));
            } else if let Some(told) = doors::drops_out(self.minutes_left().max(0.0).ceil() as u32) {
                ui.label(egui::RichText::new(told).color(palette.quiet));
            }
            if let Ok(link) = &self.link {
                let format = link.format();
                let source = format!(
                    "{} · {:.1} kHz",
                    words::connection(self.connection),
                    f64::from(format.rate.get()) / 1000.0
                );
                ui.label(egui::RichText::new(source).font(self.look.small()).color(palette.quiet));
            }
        });
        if let Some(action) = wanted {
            self.act(action);
        }
    }

    fn open_panel(&mut self, ui: &mut Ui) {
        match self.panel {
            Panel::None => {}
            Panel::Help => panels::help(ui, self.look),
            Panel::Why => {
                if let Some(snapshot) = &self.snapshot {
                    panels::why(ui, self.look, snapshot, &self.setup.desk, &self.history, self.at_hand());
                }
            }
            Panel::Input => {
                let listed = self.setup.inputs.is_some();
                match self.choice.ui(ui, &self.hearing, listed) {
                    Some(Chosen::Stage) => {
                        let stage = Hearing::Stage { seed: 1, mood: Mood::Normal, pace: Pace::RealTime };
                        self.hear(stage, Connection::Usb);
                    }
                    Some(Chosen::Device(name, connection)) => {
                        self.hear(Hearing::Live { device: Some(name) }, connection);
                    }
                    None => {}
                }
            }
        }
    }

    fn page(&mut self, ui: &mut Ui) {
        if self.view == View::Recordings {
            return self.takes.ui(ui, self.look, &self.setup);
        }
        if self.view == View::Inputs {
            if !self.list.ui(ui, self.look) {
                self.go(View::Soundcheck);
            }
            return;
        }
        let palette = self.look.palette();
        let Some(snapshot) = self.snapshot.take() else {
            let why = self.link.as_ref().err().cloned().unwrap_or_default();
            let next = NextStep {
                arrow: Arrow::None,
                sentence: "Choose the input".into(),
                then: why,
                proof: String::new(),
                reply: Reply::Over,
            };
            let words = step::Words { headline: "No input yet", then: &next.then, next: &next };
            step::next_step(ui, self.look, &words, palette.text);
            return;
        };
        let next = self.words(&snapshot);
        let headline = match snapshot.advice.step {
            Step::AllSet => next.sentence.clone(),
            _ => view::headline(&snapshot.advice, &self.setup.desk),
        };
        let who = view::who(snapshot.advice.channel, &self.setup.names);
        let then = if who.is_empty() { next.then.clone() } else { format!("{who}: {}", next.then) };
        let state = |channel: ChannelId| {
            snapshot.inputs.get(channel.index()).map_or(ChannelState::NotHeard, |input| input.state)
        };
        let tone = match snapshot.advice.channel.map(state) {
            Some(ChannelState::NotHeard) | None => palette.text,
            Some(state) => palette.of(state),
        };
        step::next_step(ui, self.look, &step::Words { headline: &headline, then: &then, next: &next }, tone);
        ui.add_space(GAP / 2.0);
        // Where large text leaves no room for both, the table that was asked for takes the meter's place; a room
        // microphone sees no input.
        let crowded = self.table && ui.available_height() < 4.0 * theme::TARGET * self.look.text;
        let metered = !crowded && self.connection != Connection::Room;
        if let Some(channel) = self.at_hand().or(snapshot.advice.channel).filter(|_| metered) {
            self.meter(ui, &snapshot, channel, next.arrow);
            ui.add_space(GAP / 2.0);
        }
        let left = ui.available_rect_before_wrap();
        if left.height() > 60.0 {
            self.picked = self.performers(ui, &snapshot, left).or(self.picked);
        }
        self.snapshot = Some(snapshot);
    }

    fn meter(&self, ui: &mut Ui, snapshot: &Snapshot, channel: ChannelId, arrow: Arrow) {
        let Some(input) = snapshot.inputs.get(channel.index()) else { return };
        let now = input.line.and_then(|line| snapshot.readings.channels.get(line.index()));
        let now = now.map_or(crate::units::Dbfs::SILENCE, |reading| reading.frame.sample_peak);
        let shelf = Shelf::new(now, input.heard.loudest, input.window, self.setup.desk.scale());
        let footprints = input.line.map(|line| self.trail.footprints(line)).unwrap_or_default();
        let turning = arrow != Arrow::None && !self.setup.desk.marks;
        let marker = input.line.filter(|_| turning).map(|line| self.trail.newest(line));
        let name = view::who(Some(channel), &self.setup.names);
        let meter = Meter { name: &name, shelf: &shelf, state: input.state, footprints: &footprints, marker };
        shelf::meter(ui, self.look, &meter);
    }

    /// The stage floor, or the table where there are too many to be read on it.
    fn performers(&self, ui: &mut Ui, snapshot: &Snapshot, rect: Rect) -> Option<ChannelId> {
        let at_hand = self.at_hand().or(snapshot.advice.channel);
        if self.table || !floor::holds(snapshot.inputs.len(), rect.width(), rect.height(), self.look) {
            return table::table(ui, self.look, snapshot, &self.setup, at_hand);
        }
        let tokens: Vec<floor::Token> = (0..snapshot.inputs.len())
            .map(|index| {
                let channel = ChannelId::from_index(index);
                let input = &snapshot.inputs[index];
                floor::Token {
                    channel,
                    name: self.setup.name(channel),
                    state: input.state,
                    word: view::shown(input.state, input.heard.active, input.heard.hits),
                    place: self.setup.place(channel),
                    wanted: snapshot.advice.channel == Some(channel),
                }
            })
            .collect();
        floor::floor(ui, self.look, &tokens, rect)
    }
}
