//! The live screen: redrawn in place, keys taken, the terminal given back on every way out.
//!
//! Ctrl-C arrives as a key; a request to end from outside is noted and ends the screen like a key. A panic gives the
//! terminal back before it tells of itself.

mod keys;
mod page;
pub(super) mod paint;
mod rail;

use std::io;
use std::time::Duration;

use crossterm::event::{self, Event, KeyEvent, KeyEventKind};
use crossterm::{cursor, execute, terminal};

use super::end::EndRequest;
use crate::engine::session::{Command, Link, Session, Status};
use crate::engine::{Connection, Snapshot, Step};
use crate::units::{ChannelId, Db};
use crate::view::Setup;
use crate::view::Trail;
use crate::view::words;
use keys::Action;
use page::{Panel, Picture};
use paint::{Line, Palette};

/// Ten pictures a second are plenty for words.
const FRAME: Duration = Duration::from_millis(100);

/// What stays as it is while the screen is up.
#[derive(Clone)]
pub struct Around<'a> {
    pub setup: &'a Setup,
    pub connection: Connection,
    /// The simulated stage is heard.
    pub staged: bool,
    /// Something about the source that is not as it was told.
    pub doubt: Option<String>,
}

/// Shows the session until the person leaves, it ends, or the program is told to end. What is around it is asked for with
/// each picture.
pub fn show<'a>(
    session: &Session,
    end: &EndRequest,
    mut around: impl FnMut(&Snapshot, &Status) -> Around<'a>,
) -> io::Result<()> {
    let mut screen = Screen::enter()?;
    let mut face = Face::default();
    while !end.came() {
        let snapshot = session.snapshot();
        let status = session.status();
        face.follow(&snapshot);
        let around = around(&snapshot, &status);
        let staged = around.staged;
        let (columns, rows) = Screen::size();
        let picture = Picture {
            snapshot: &snapshot,
            status: &status,
            around,
            at_hand: face.at_hand(&snapshot),
            panel: face.panel,
            noted: face.noted.as_deref(),
            trail: &face.trail,
            columns,
            rows,
        };
        screen.draw(page::page(&picture))?;
        if status == Status::Ended {
            return Ok(());
        }
        let Some(key) = screen.key()? else { continue };
        match keys::action(key, picture.at_hand, page::next(&picture).reply, staged) {
            Action::Leave => return Ok(()),
            Action::Close if face.panel == Panel::None => return Ok(()),
            Action::Send(command) => {
                if session.send(command) {
                    face.note(command, &snapshot);
                }
            }
            action => face.look(&action, &snapshot),
        }
    }
    Ok(())
}

/// What the person looks at, and what was done about the step at hand.
#[derive(Default)]
struct Face {
    picked: Option<ChannelId>,
    panel: Panel,
    trail: Trail,
    noted: Option<String>,
    /// How far the simulated knob was turned for this step.
    turned: Db,
    /// The step that both are about.
    step: Option<(Step, Option<ChannelId>)>,
}

impl Face {
    /// Forgets what belonged to an earlier step.
    fn follow(&mut self, snapshot: &Snapshot) {
        self.trail.follow(snapshot);
        let step = Some((snapshot.advice.step, snapshot.advice.channel));
        if self.step != step {
            (self.step, self.noted, self.turned) = (step, None, Db::ZERO);
        }
    }

    fn at_hand(&self, snapshot: &Snapshot) -> Option<ChannelId> {
        self.picked.or(snapshot.advice.channel)
    }

    /// Says at once that a key was taken: what follows from it may take a moment.
    fn note(&mut self, command: Command, snapshot: &Snapshot) {
        match command {
            Command::Answer(_) => {
                self.picked = None;
                self.noted = Some(words::NOTED.into());
            }
            Command::AskLoudest(_) => self.noted = Some(words::ASKED.into()),
            Command::TurnTrim(channel, by) if snapshot.advice.channel == Some(channel) => {
                self.turned += by;
                self.noted = Some(words::turned_so_far(self.turned));
            }
            Command::TurnTrim(..) => {}
        }
    }

    fn look(&mut self, action: &Action, snapshot: &Snapshot) {
        let count = snapshot.inputs.len();
        let at_hand = self.at_hand(snapshot).map(ChannelId::index);
        let channel = |index: usize| (index < count).then(|| ChannelId::from_index(index));
        match *action {
            Action::Open(panel) => self.panel = if self.panel == panel { Panel::None } else { panel },
            Action::Close => self.panel = Panel::None,
            Action::Pick(picked) => self.picked = channel(picked.index()),
            // Past either end is the step's own channel again.
            Action::Next => self.picked = channel(at_hand.map_or(0, |at| at + 1)),
            Action::Previous => self.picked = at_hand.map_or(count, |at| at).checked_sub(1).and_then(channel),
            Action::Leave | Action::Send(_) | Action::Nothing => {}
        }
    }
}

/// The alternate screen; leaving it, even by a panic, gives the terminal back as it was.
pub(super) struct Screen {
    palette: Palette,
    drawn: Vec<Line>,
}

impl Screen {
    pub(in crate::cli) fn enter() -> io::Result<Self> {
        let usual = std::panic::take_hook();
        let of_the_screen = std::thread::current().id();
        std::panic::set_hook(Box::new(move |panic| {
            // The engine's own end is told as a state on the screen.
            if std::thread::current().id() == of_the_screen {
                restore();
                usual(panic);
            }
        }));
        terminal::enable_raw_mode()?;
        let screen = Self { palette: Palette::of_this_terminal(), drawn: Vec::new() };
        execute!(io::stdout(), terminal::EnterAlternateScreen, cursor::Hide)?;
        Ok(screen)
    }

    /// Columns and rows.
    pub(in crate::cli) fn size() -> (usize, usize) {
        let (columns, rows) = terminal::size().unwrap_or((80, 24));
        (columns.into(), rows.into())
    }

    /// Draws a page that is another than the one that stands.
    pub(in crate::cli) fn draw(&mut self, page: Vec<Line>) -> io::Result<()> {
        if page != self.drawn {
            paint::draw(&page, self.palette, &mut io::stdout().lock())?;
            self.drawn = page;
        }
        Ok(())
    }

    /// The next key, if one comes before the next picture is due; after a resize all is drawn anew.
    pub(in crate::cli) fn key(&mut self) -> io::Result<Option<KeyEvent>> {
        if !event::poll(FRAME)? {
            return Ok(None);
        }
        match event::read()? {
            Event::Key(key) if key.kind != KeyEventKind::Release => return Ok(Some(key)),
            Event::Resize(..) => {
                execute!(io::stdout(), terminal::Clear(terminal::ClearType::All))?;
                self.drawn.clear();
            }
            _ => {}
        }
        Ok(None)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        restore();
        if !std::thread::panicking() {
            let _ = std::panic::take_hook();
        }
    }
}

fn restore() {
    let _ = execute!(io::stdout(), cursor::Show, terminal::LeaveAlternateScreen);
    let _ = terminal::disable_raw_mode();
}
