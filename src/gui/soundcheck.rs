//! The soundcheck's page: next step, shelf meter, stage floor or table.
//!
//! It is a function of the newest snapshot and of what the person chose to look at.

use eframe::egui::{Button, RichText, Ui, vec2};

use super::app::Opener;
use super::keys::{self, Action};
use super::past::SharedPast;
use super::shelf::Meter;
use super::theme::{GAP, Look, TARGET};
use super::{Wake, floor, shelf, step, table};
use crate::engine::session::{Command, Hearing, Link, Pace, Status};
use crate::engine::{ChannelState, Connection, Input, Mood, Snapshot, Step};
use crate::units::{ChannelId, Db, Dbfs};
use crate::view::{self, Arrow, NextStep, Reply, Setup, Shelf, labels, words};

/// What is heard, and how far it has come.
pub struct Soundcheck {
    pub hearing: Hearing,
    pub connection: Connection,
    pub link: Result<Box<dyn Link>, String>,
    pub snapshot: Option<Snapshot>,
    pub status: Status,
    pub picked: Option<ChannelId>,
    pub noted: Option<String>,
    pub past: SharedPast,
    /// The inputs that the engine was begun with.
    pub heard_inputs: Option<Vec<Input>>,
    turned: Db,
    step: Option<(Step, Option<ChannelId>)>,
    /// All became set, and nobody was told of it yet.
    just_over: bool,
    table: bool,
}

impl Soundcheck {
    /// Hears what `setup` names, else the simulated stage.
    pub fn new(setup: &mut Setup, open: &mut Opener, wake: Wake) -> Self {
        let hearing = match &setup.device {
            Some(device) => Hearing::Live { device: Some(device.clone()) },
            None => Hearing::Stage { seed: 1, mood: Mood::Normal, pace: Pace::RealTime },
        };
        let connection = setup.connection.filter(|_| setup.device.is_some()).unwrap_or(Connection::Usb);
        let past = SharedPast::default();
        let link = open(&hearing, setup, connection, wake.keeping(&past));
        let soundcheck = Self {
            hearing,
            connection,
            link,
            snapshot: None,
            status: Status::Running,
            picked: None,
            noted: None,
            past,
            heard_inputs: setup.inputs.clone(),
            turned: Db::ZERO,
            step: None,
            just_over: false,
            table: false,
        };
        soundcheck.name_the_lines(setup);
        soundcheck
    }

    /// Hears something else from here on.
    pub fn hear(&mut self, hearing: Hearing, connection: Connection, setup: &mut Setup, open: &mut Opener, wake: Wake) {
        // The old one ends before the new one opens: it may be the same device.
        self.link = Err(String::new());
        self.snapshot = None;
        if let Some(event) = setup.event.clone() {
            *setup = Setup::of(event);
        } else if setup.inputs.is_none() {
            setup.names.clear();
        }
        self.heard_inputs.clone_from(&setup.inputs);
        self.past = SharedPast::default();
        self.link = open(&hearing, setup, connection, wake.keeping(&self.past));
        (self.hearing, self.connection, self.picked) = (hearing, connection, None);
        self.name_the_lines(setup);
    }

    /// On the stage, or without a list, the lines carry the source's own names.
    pub fn name_the_lines(&self, setup: &mut Setup) {
        if let Ok(link) = &self.link
            && (self.is_staged() || setup.names.is_empty())
        {
            setup.names = link.names().iter().map(|name| words::plain(name)).collect();
        }
    }

    pub const fn is_staged(&self) -> bool {
        matches!(self.hearing, Hearing::Stage { .. })
    }

    /// What the listening test says of a device.
    pub fn arrived(&self, setup: &Setup) -> Option<String> {
        match &self.link {
            _ if self.is_staged() => None,
            Ok(_) => Some(self.past.look().arrivals.told(&self.status, &setup.names)),
            Err(why) => Some(why.clone()),
        }
    }

    /// Looks at the newest snapshot.
    pub fn take(&mut self) {
        let Ok(link) = &self.link else { return };
        self.status = link.status();
        let snapshot = link.snapshot();
        self.past.follow(&snapshot);
        let step = Some((snapshot.advice.step, snapshot.advice.channel));
        if self.step != step {
            (self.step, self.noted, self.turned) = (step, None, Db::ZERO);
            self.just_over = snapshot.advice.step == Step::AllSet;
        }
        self.snapshot = Some(snapshot);
    }

    /// Whether all became set since it was last asked.
    pub const fn takes_end(&mut self) -> bool {
        std::mem::replace(&mut self.just_over, false)
    }

    /// Keeps how the lines stand now in the event.
    pub fn store(&mut self, setup: &Setup) {
        let (Ok(link), Some(snapshot)) = (&self.link, &self.snapshot) else { return };
        match setup.keep_soundcheck(snapshot, link.source(), self.is_staged()) {
            Ok(None) => {}
            Ok(kept) => self.noted = kept.map(str::to_owned),
            Err(error) => self.noted = Some(format!("{}: {error}", words::SOUNDCHECK_NOT_KEPT)),
        }
    }

    /// What is heard, by name.
    pub fn source(&self) -> &str {
        self.link.as_ref().map_or("", |link| link.source())
    }

    pub fn at_hand(&self) -> Option<ChannelId> {
        self.picked.or_else(|| self.snapshot.as_ref().and_then(|snapshot| snapshot.advice.channel))
    }

    pub fn pick(&mut self, channel: ChannelId) {
        let count = self.snapshot.as_ref().map_or(0, |snapshot| snapshot.inputs.len());
        self.picked = (channel.index() < count).then_some(channel);
    }

    pub const fn turn_to_table(&mut self) {
        self.table = !self.table;
    }

    /// What the button says that turns from one to the other.
    pub const fn table_label(&self) -> &'static str {
        if self.table { labels::STAGE } else { labels::TABLE }
    }

    pub fn send(&mut self, command: Command) {
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
        };
    }

    /// How the step at hand is answered.
    pub fn reply(&self, setup: &Setup) -> Reply {
        self.snapshot.as_ref().map_or(Reply::Over, |snapshot| words(snapshot, setup).reply)
    }

    /// The buttons that answer, and on the stage those that turn.
    pub fn foot(&self, ui: &mut Ui, look: Look, setup: &Setup) -> Option<Action> {
        let snapshot = self.snapshot.as_ref()?;
        let next = words(snapshot, setup);
        let mut wanted = None;
        for (label, (_, answer)) in labels::answers(next.reply).iter().zip(keys::answers(next.reply)) {
            let button = Button::new(RichText::new(*label).font(look.strong()));
            if ui.add(button.min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                wanted = Some(Action::Send(Command::Answer(*answer)));
            }
        }
        if let Some(channel) = self.at_hand().filter(|_| self.is_staged()) {
            let mut offer = |label: &str, command| {
                if ui.add(Button::new(label).min_size(vec2(TARGET, TARGET))).clicked() {
                    wanted = Some(Action::Send(command));
                }
            };
            offer(labels::ASK, Command::AskLoudest(channel));
            offer(labels::TURN_DOWN, Command::TurnTrim(channel, Db::new(-1.0)));
            offer(labels::TURN_UP, Command::TurnTrim(channel, Db::new(1.0)));
        }
        wanted
    }

    pub fn page(&mut self, ui: &mut Ui, look: Look, setup: &Setup) {
        let palette = look.palette();
        let Some(snapshot) = self.snapshot.take() else {
            let next = NextStep {
                arrow: Arrow::None,
                sentence: labels::CHOOSE_THE_INPUT.into(),
                then: self.link.as_ref().err().cloned().unwrap_or_default(),
                proof: String::new(),
                reply: Reply::Over,
            };
            let words = step::Words { headline: labels::NO_INPUT, then: &next.then, next: &next };
            step::next_step(ui, look, &words, palette.text);
            return;
        };
        let next = words(&snapshot, setup);
        let headline = match snapshot.advice.step {
            Step::AllSet => next.sentence.clone(),
            _ => view::headline(&snapshot.advice, &setup.desk),
        };
        let who = view::who(snapshot.advice.channel, &setup.names);
        let then = if who.is_empty() { next.then.clone() } else { format!("{who}: {}", next.then) };
        let state = |channel: ChannelId| {
            snapshot.inputs.get(channel.index()).map_or(ChannelState::NotHeard, |input| input.state)
        };
        let tone = match snapshot.advice.channel.map(state) {
            Some(ChannelState::NotHeard) | None => palette.text,
            Some(state) => palette.of(state),
        };
        step::next_step(ui, look, &step::Words { headline: &headline, then: &then, next: &next }, tone);
        ui.add_space(GAP / 2.0);
        // Where large text leaves no room for both, the table that was asked for takes the meter's place; a room
        // microphone sees no input.
        let crowded = self.table && ui.available_height() < 4.0 * TARGET * look.text;
        let fits = ui.available_height() >= shelf::height(look);
        let metered = fits && !crowded && self.connection != Connection::Room;
        if let Some(channel) = self.at_hand().or(snapshot.advice.channel).filter(|_| metered) {
            self.meter(ui, look, setup, &snapshot, channel, next.arrow);
            ui.add_space(GAP / 2.0);
        }
        if ui.available_height() > 60.0 {
            self.picked = self.performers(ui, look, setup, &snapshot).or(self.picked);
        }
        self.snapshot = Some(snapshot);
    }

    fn meter(&self, ui: &mut Ui, look: Look, setup: &Setup, snapshot: &Snapshot, channel: ChannelId, arrow: Arrow) {
        let Some(input) = snapshot.inputs.get(channel.index()) else { return };
        let now = input.line.and_then(|line| snapshot.readings.channels.get(line.index()));
        let now = now.map_or(Dbfs::SILENCE, |reading| reading.frame.sample_peak);
        let shelf = Shelf::new(now, input.heard.loudest, input.window, setup.desk.scale());
        let past = self.past.look();
        let footprints = input.line.map(|line| past.trail.footprints(line)).unwrap_or_default();
        let turning = arrow != Arrow::None && !setup.desk.marks;
        let marker = input.line.filter(|_| turning).map(|line| past.trail.newest(line));
        let name = view::who(Some(channel), &setup.names);
        let meter = Meter { name: &name, shelf: &shelf, state: input.state, footprints: &footprints, marker };
        shelf::meter(ui, look, &meter);
    }

    /// The stage floor, or the table where there are too many to be read on it.
    fn performers(&self, ui: &mut Ui, look: Look, setup: &Setup, snapshot: &Snapshot) -> Option<ChannelId> {
        let rect = ui.available_rect_before_wrap();
        let at_hand = self.at_hand().or(snapshot.advice.channel);
        if self.table || !floor::holds(snapshot.inputs.len(), rect.width(), rect.height(), look) {
            return table::table(ui, look, snapshot, setup, at_hand);
        }
        let tokens: Vec<floor::Token> = (0..snapshot.inputs.len())
            .map(|index| {
                let channel = ChannelId::from_index(index);
                let input = &snapshot.inputs[index];
                floor::Token {
                    channel,
                    name: setup.name(channel),
                    state: input.state,
                    word: view::shown(input.state, input.heard.active, input.heard.hits),
                    place: setup.place(channel),
                    wanted: snapshot.advice.channel == Some(channel),
                }
            })
            .collect();
        floor::floor(ui, look, &tokens, rect)
    }
}

fn words(snapshot: &Snapshot, setup: &Setup) -> NextStep {
    let who = view::who(snapshot.advice.channel, &setup.names);
    let states = snapshot.inputs.iter().map(|input| input.state);
    view::next_step(&snapshot.advice, &who, &setup.desk).with_the_end(states)
}
