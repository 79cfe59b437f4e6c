//! The live screen: redrawn in place, keys taken, the terminal given back on every way out.
//!
//! Ctrl-C arrives as a key. A panic gives the terminal back before it tells of itself.

mod page;
mod paint;
mod rail;
mod trail;

use std::io;
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use crossterm::{cursor, execute, terminal};

use super::setup::Setup;
use crate::engine::session::{Command, Session, Status};
use crate::engine::{Answer, Connection, Flashes};
use crate::units::{ChannelId, Db};
use crate::view::Reply;
use page::{Panel, Picture};
use paint::{Line, Palette};
use trail::Trail;

/// Ten pictures a second are plenty for words.
const FRAME: Duration = Duration::from_millis(100);
const TURN: Db = Db::new(1.0);

/// What stays as it is while the screen is up.
#[derive(Clone, Copy)]
pub struct Around<'a> {
    pub setup: &'a Setup,
    pub connection: Connection,
    /// The simulated stage is heard.
    pub staged: bool,
    /// Something about the source that is not as it was told.
    pub doubt: Option<&'a str>,
}

/// Shows the session until the person leaves or it ends.
pub fn show(session: &Session, around: &Around) -> io::Result<()> {
    let _screen = Screen::enter()?;
    let palette = Palette::of_this_terminal();
    let mut picked: Option<ChannelId> = None;
    let mut panel = Panel::None;
    let mut trail = Trail::default();
    let mut drawn: Vec<Line> = Vec::new();
    loop {
        let snapshot = session.snapshot();
        let status = session.status();
        trail.follow(&snapshot);
        let at_hand = picked.or(snapshot.advice.channel);
        let (columns, rows) = terminal::size().unwrap_or((80, 24));
        let picture = Picture {
            snapshot: &snapshot,
            status: &status,
            around: *around,
            at_hand,
            panel,
            trail: &trail,
            columns: columns.into(),
            rows: rows.into(),
        };
        let page = page::page(&picture);
        if page != drawn {
            paint::draw(&page, palette, &mut io::stdout().lock())?;
            drawn = page;
        }
        if status == Status::Ended {
            return Ok(());
        }
        if !event::poll(FRAME)? {
            continue;
        }
        let key = match event::read()? {
            Event::Key(key) if key.kind != KeyEventKind::Release => key,
            Event::Resize(..) => {
                execute!(io::stdout(), terminal::Clear(terminal::ClearType::All))?;
                drawn.clear();
                continue;
            }
            _ => continue,
        };
        match action(key, at_hand, page::next(&picture).reply) {
            Action::Leave => return Ok(()),
            Action::Open(wanted) => panel = if panel == wanted { Panel::None } else { wanted },
            Action::Close if panel != Panel::None => panel = Panel::None,
            Action::Close => return Ok(()),
            Action::Pick(channel) => picked = Some(channel).filter(|channel| channel.index() < snapshot.inputs.len()),
            Action::Next => {
                let next = at_hand.map_or(0, |channel| channel.index() + 1);
                picked = (next < snapshot.inputs.len()).then(|| ChannelId::from_index(next));
            }
            Action::Send(command) => {
                if matches!(command, Command::Answer(_)) {
                    picked = None;
                }
                session.send(command);
            }
            Action::Nothing => {}
        }
    }
}

#[derive(Debug, PartialEq)]
enum Action {
    Leave,
    /// Closes what is open, else leaves.
    Close,
    Open(Panel),
    Pick(ChannelId),
    Next,
    Send(Command),
    Nothing,
}

fn action(key: KeyEvent, at_hand: Option<ChannelId>, reply: Reply) -> Action {
    let on_channel =
        |command: fn(ChannelId) -> Command| at_hand.map_or(Action::Nothing, |at| Action::Send(command(at)));
    let answer = |answer| Action::Send(Command::Answer(answer));
    let letter = match key.code {
        KeyCode::Char(c) => c.to_ascii_lowercase(),
        KeyCode::Enter => ' ',
        KeyCode::Esc => return Action::Close,
        KeyCode::Tab => return Action::Next,
        KeyCode::Left | KeyCode::Down => return on_channel(|at| Command::TurnTrim(at, -TURN)),
        KeyCode::Right | KeyCode::Up => return on_channel(|at| Command::TurnTrim(at, TURN)),
        _ => return Action::Nothing,
    };
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return if letter == 'c' { Action::Leave } else { Action::Nothing };
    }
    match (letter, reply) {
        ('n', Reply::Lamp) => answer(Answer::Lamp(Flashes::Never)),
        ('s', Reply::Lamp) => answer(Answer::Lamp(Flashes::Sometimes)),
        ('o', Reply::Lamp) => answer(Answer::Lamp(Flashes::Often)),
        ('x', Reply::Lamp) => answer(Answer::Skip),
        (' ' | 'y', _) => answer(Answer::Done),
        ('n', _) => answer(Answer::No),
        ('l', _) => answer(Answer::AtLimit),
        ('s', _) => answer(Answer::Skip),
        ('w', _) => Action::Open(Panel::Why),
        ('?' | 'h', _) => Action::Open(Panel::Help),
        ('q', _) => Action::Leave,
        ('a', _) => on_channel(Command::AskLoudest),
        (digit @ '1'..='9', _) => Action::Pick(ChannelId::new(digit as u16 - '1' as u16)),
        _ => Action::Nothing,
    }
}

/// The alternate screen; leaving it, even by a panic, gives the terminal back as it was.
struct Screen;

impl Screen {
    fn enter() -> io::Result<Self> {
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
        let screen = Self;
        execute!(io::stdout(), terminal::EnterAlternateScreen, cursor::Hide)?;
        Ok(screen)
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

#[cfg(test)]
mod tests {
    use super::*;

    fn pressed(code: KeyCode, reply: Reply) -> Action {
        action(KeyEvent::new(code, KeyModifiers::NONE), Some(ChannelId::new(2)), reply)
    }

    #[test]
    fn keys() {
        let answer = |answer| Action::Send(Command::Answer(answer));
        let third = ChannelId::new(2);
        for (code, expected) in [
            (KeyCode::Char(' '), answer(Answer::Done)),
            (KeyCode::Char('n'), answer(Answer::No)),
            (KeyCode::Char('N'), answer(Answer::No)),
            (KeyCode::Char('l'), answer(Answer::AtLimit)),
            (KeyCode::Char('s'), answer(Answer::Skip)),
            (KeyCode::Char('w'), Action::Open(Panel::Why)),
            (KeyCode::Char('?'), Action::Open(Panel::Help)),
            (KeyCode::Char('q'), Action::Leave),
            (KeyCode::Esc, Action::Close),
            (KeyCode::Tab, Action::Next),
            (KeyCode::Char('9'), Action::Pick(ChannelId::new(8))),
            (KeyCode::Char('a'), Action::Send(Command::AskLoudest(third))),
            (KeyCode::Left, Action::Send(Command::TurnTrim(third, Db::new(-1.0)))),
            (KeyCode::Up, Action::Send(Command::TurnTrim(third, Db::new(1.0)))),
            (KeyCode::Char('0'), Action::Nothing),
            (KeyCode::F(5), Action::Nothing),
        ] {
            assert_eq!(pressed(code, Reply::Knob), expected, "{code:?}");
        }
        let leave = action(KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL), None, Reply::Wait);
        assert_eq!(leave, Action::Leave);
    }

    #[test]
    fn the_lamp_is_answered_by_its_initials() {
        let lamp = |flashes| Action::Send(Command::Answer(Answer::Lamp(flashes)));
        assert_eq!(pressed(KeyCode::Char('n'), Reply::Lamp), lamp(Flashes::Never));
        assert_eq!(pressed(KeyCode::Char('s'), Reply::Lamp), lamp(Flashes::Sometimes));
        assert_eq!(pressed(KeyCode::Char('o'), Reply::Lamp), lamp(Flashes::Often));
        assert_eq!(pressed(KeyCode::Char('x'), Reply::Lamp), Action::Send(Command::Answer(Answer::Skip)));
    }
}
