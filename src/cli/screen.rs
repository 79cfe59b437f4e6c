//! The live screen: one sentence, the shelf meter, the table; redrawn in place, restored on every way out.

use std::io::{self, Write};
use std::time::Duration;

use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use crossterm::style::{Color, Stylize};
use crossterm::{cursor, execute, queue, terminal};

use super::lines::{state_cell, who};
use super::setup::Setup;
use crate::engine::session::{Command, Session, Status};
use crate::engine::{Answer, ChannelState, Flashes, Snapshot};
use crate::units::{ChannelId, Db};
use crate::view::{self, Arrow, numbers};

/// Ten pictures a second are plenty for words.
const FRAME: Duration = Duration::from_millis(100);
const TURN: Db = Db::new(1.0);

/// Shows the session until the person leaves or it ends.
pub fn show(session: &Session, setup: &Setup, staged: bool) -> io::Result<()> {
    let _screen = Screen::enter()?;
    let mut picked: Option<ChannelId> = None;
    let mut why = false;
    loop {
        let snapshot = session.snapshot();
        let at_hand = picked.or(snapshot.advice.channel);
        let page = page(&Picture { snapshot: &snapshot, status: &session.status(), setup, staged, at_hand, why });
        draw(&page)?;
        if matches!(session.status(), Status::Ended) {
            return Ok(());
        }
        if !event::poll(FRAME)? {
            continue;
        }
        let Event::Key(key) = event::read()? else { continue };
        if key.kind == KeyEventKind::Release {
            continue;
        }
        match action(key, at_hand) {
            Action::Leave => return Ok(()),
            Action::Why => why = !why,
            Action::Pick(channel) => picked = (channel.index() < snapshot.inputs.len()).then_some(channel),
            Action::Send(command) => {
                picked = if matches!(command, Command::Answer(_)) { None } else { picked };
                session.send(command);
            }
            Action::Nothing => {}
        }
    }
}

enum Action {
    Leave,
    Why,
    Pick(ChannelId),
    Send(Command),
    Nothing,
}

fn action(key: KeyEvent, at_hand: Option<ChannelId>) -> Action {
    let on_channel =
        |command: fn(ChannelId) -> Command| at_hand.map_or(Action::Nothing, |at| Action::Send(command(at)));
    let answer = |answer| Action::Send(Command::Answer(answer));
    match key.code {
        KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => Action::Leave,
        KeyCode::Esc | KeyCode::Char('q') => Action::Leave,
        KeyCode::Char(' ' | 'y') | KeyCode::Enter => answer(Answer::Done),
        KeyCode::Char('n') => answer(Answer::No),
        KeyCode::Char('l') => answer(Answer::AtLimit),
        KeyCode::Char('s') => answer(Answer::Skip),
        KeyCode::Char('z') => answer(Answer::Lamp(Flashes::Never)),
        KeyCode::Char('x') => answer(Answer::Lamp(Flashes::Sometimes)),
        KeyCode::Char('c') => answer(Answer::Lamp(Flashes::Often)),
        KeyCode::Char('w') => Action::Why,
        KeyCode::Char('a') => on_channel(Command::AskLoudest),
        KeyCode::Left | KeyCode::Down => on_channel(|at| Command::TurnTrim(at, -TURN)),
        KeyCode::Right | KeyCode::Up => on_channel(|at| Command::TurnTrim(at, TURN)),
        KeyCode::Char(digit @ '1'..='9') => Action::Pick(ChannelId::new(digit as u16 - '1' as u16)),
        KeyCode::Char('0') => Action::Pick(ChannelId::new(9)),
        KeyCode::Char('-') => Action::Pick(ChannelId::new(10)),
        KeyCode::Char('=') => Action::Pick(ChannelId::new(11)),
        _ => Action::Nothing,
    }
}

/// All that a page is drawn from.
struct Picture<'a> {
    snapshot: &'a Snapshot,
    status: &'a Status,
    setup: &'a Setup,
    staged: bool,
    at_hand: Option<ChannelId>,
    why: bool,
}

/// A line with the colour of what it is about.
type Line = (String, Option<Color>);

fn page(picture: &Picture) -> Vec<Line> {
    let Picture { snapshot, setup, .. } = picture;
    let width = terminal::size().map_or(80, |(columns, _)| usize::from(columns)).clamp(40, 160);
    let advice = &snapshot.advice;
    let words = view::next_step(advice, &who(advice.channel, &setup.names), &setup.desk);
    let state = |channel: ChannelId| snapshot.inputs.get(channel.index()).map_or(ChannelState::NotHeard, |i| i.state);
    let tone = match words.arrow {
        Arrow::None => None,
        _ => advice.channel.map(|channel| colour(state(channel))),
    };
    let mut page: Vec<Line> = vec![
        (String::new(), None),
        (format!("  {}  {}", words.arrow.sign(), words.sentence), tone),
        (format!("     {}", words.then), None),
        (format!("     {}", words.proof), Some(QUIET)),
        (String::new(), None),
    ];
    if let Some(line) = status_line(picture.status) {
        page.insert(1, (format!("  {line}"), None));
    }
    if let Some(channel) = picture.at_hand {
        page.push((format!("  {}", who(Some(channel), &setup.names)), None));
        page.extend(shelf(picture, channel, width));
        page.push((String::new(), None));
    }
    if picture.why {
        page.extend(view::why_lines(advice).into_iter().map(|line| (format!("  {line}"), None)));
        page.push((String::new(), None));
    }
    page.extend(table(picture));
    page.push((String::new(), None));
    page.extend(footer(picture));
    page
}

fn shelf(picture: &Picture, channel: ChannelId, width: usize) -> Vec<Line> {
    let Some(input) = picture.snapshot.inputs.get(channel.index()) else { return Vec::new() };
    let Some(line) = input.line else { return vec![("  not being listened to".into(), Some(QUIET))] };
    let now = picture.snapshot.readings.channels[line.index()].hop.sample_peak;
    let rows = view::shelf(now, input.heard.loudest, Some(input.window), input.state, width - 4);
    let tones = [Some(colour(input.state)), None, Some(QUIET)];
    rows.into_iter().zip(tones).map(|(row, tone)| (format!("  {row}"), tone)).collect()
}

fn table(picture: &Picture) -> Vec<Line> {
    let names = &picture.setup.names;
    let width = names.iter().map(|name| name.chars().count()).max().unwrap_or(0).max(4);
    let row = |(index, input): (usize, &crate::engine::InputStatus)| {
        let channel = ChannelId::from_index(index);
        let name = names.get(index).map_or("", String::as_str);
        let mark = if picture.at_hand == Some(channel) { '›' } else { ' ' };
        let loudest = match picture.setup.reference {
            Some(zero) if !input.heard.loudest.is_silence() => {
                format!("{:+.1} dB on the desk", (input.heard.loudest - zero).get())
            }
            _ => format!("{} dBFS", numbers::level(input.heard.loudest)),
        };
        let line = format!(
            " {mark}{:>3}  {name:width$}  {}  loudest {loudest:>11}  heard {}",
            channel.number(),
            state_cell(input.state),
            numbers::seconds(input.heard.active)
        );
        (line, Some(colour(input.state)))
    };
    picture.snapshot.inputs.iter().enumerate().map(row).collect()
}

fn footer(picture: &Picture) -> Vec<Line> {
    let room = matches!(picture.snapshot.advice.why.unseen, crate::engine::Unseen::Inputs);
    let keys = if room {
        "Space done   Z never   X sometimes   C often   S skip   W why   Q leave"
    } else {
        "Space done/yes   N no   L at its limit   S skip   W why   1–9 channel   Q leave"
    };
    let mut lines = vec![(format!("  {keys}"), Some(QUIET))];
    if picture.staged {
        lines.push(("  ← → turn the knob   A ask for the loudest".into(), Some(QUIET)));
        lines.push(("  Simulated stage. Your desk: beforedoors soundcheck --device NAME".into(), Some(QUIET)));
    }
    lines
}

fn status_line(status: &Status) -> Option<String> {
    match status {
        Status::Running | Status::Ended => None,
        Status::Quiet => Some("╌ Nothing comes from the device: check cable and power".into()),
        Status::AllZero => Some("╌ Only digital zeros: check microphone permission, mute and routing".into()),
        Status::Lost(why) => Some(format!("╌ {why}")),
    }
}

const QUIET: Color = Color::Rgb { r: 0x7c, g: 0x85, b: 0x94 };

/// Colour only underlines what word and shape say.
const fn colour(state: ChannelState) -> Color {
    match state {
        ChannelState::NotHeard => QUIET,
        ChannelState::Low => Color::Rgb { r: 0x6f, g: 0x95, b: 0xdc },
        ChannelState::Set => Color::Rgb { r: 0x58, g: 0xc4, b: 0xdc },
        ChannelState::High => Color::Rgb { r: 0xf5, g: 0x93, b: 0x22 },
        ChannelState::Clipped => Color::White,
        ChannelState::Lost => Color::Reset,
    }
}

fn draw(page: &[Line]) -> io::Result<()> {
    let (columns, rows) = terminal::size().unwrap_or((80, 24));
    let plain = std::env::var_os("NO_COLOR").is_some();
    let mut out = io::stdout().lock();
    for (row, (text, tone)) in page.iter().take(usize::from(rows)).enumerate() {
        let text: String = text.chars().take(usize::from(columns)).collect();
        queue!(out, cursor::MoveTo(0, row as u16), terminal::Clear(terminal::ClearType::CurrentLine))?;
        match tone {
            Some(tone) if !plain => write!(out, "{}", text.with(*tone))?,
            _ => write!(out, "{text}")?,
        }
    }
    let end = page.len().min(usize::from(rows)) as u16;
    if end < rows {
        queue!(out, cursor::MoveTo(0, end), terminal::Clear(terminal::ClearType::FromCursorDown))?;
    }
    out.flush()
}

/// The alternate screen; leaving it, even by a panic, gives the terminal back as it was.
struct Screen;

impl Screen {
    fn enter() -> io::Result<Self> {
        terminal::enable_raw_mode()?;
        execute!(io::stdout(), terminal::EnterAlternateScreen, cursor::Hide)?;
        Ok(Self)
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        let _ = execute!(io::stdout(), cursor::Show, terminal::LeaveAlternateScreen);
        let _ = terminal::disable_raw_mode();
    }
}
