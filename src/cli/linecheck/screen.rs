//! The line check's screen: the step, its proof, every input with its mark, the keys.
//!
//! The page is a pure function of what is known. Only a key that is listed answers; every step can be skipped.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::{Ticks, mark};
use crate::cli::end::EndRequest;
use crate::cli::screen::Screen;
use crate::cli::screen::paint::{Line, Tone, fit, wrap};
use crate::engine::linecheck::{LineAnswer, LineLink, LineSession, LineSnapshot, LineStep};
use crate::engine::session::Status;
use crate::view::linecheck::{
    LINE_CAUTIONS, LineNext, LineReply, assembly_lines, line_end, line_result, line_step, speaker_result,
};
use crate::view::{numbers, words};

/// Shows the session until the person leaves, it ends, or the program is told to end.
pub(super) fn show(
    session: &LineSession,
    names: &[String],
    staged: bool,
    ticks: &mut Ticks,
    end: &EndRequest,
) -> anyhow::Result<()> {
    let mut screen = Screen::enter()?;
    while !end.came() {
        let (snapshot, status) = (session.snapshot(), session.status());
        ticks.keep(&snapshot)?;
        let (columns, rows) = Screen::size();
        let next = next(&snapshot, names);
        let picture = Picture { snapshot: &snapshot, status: &status, next: &next, names, staged };
        screen.draw(page(&picture, columns, rows))?;
        if status == Status::Ended {
            return Ok(());
        }
        let Some(key) = screen.key()? else { continue };
        match action(key, next.reply) {
            Action::Leave => return Ok(()),
            Action::Answer(answer) => _ = session.send(answer),
            Action::Nothing => {}
        }
    }
    Ok(())
}

fn next(snapshot: &LineSnapshot, names: &[String]) -> LineNext {
    if snapshot.is_over() { line_end(snapshot) } else { line_step(&snapshot.advice, names) }
}

#[derive(Debug, PartialEq, Eq)]
enum Action {
    Leave,
    Answer(LineAnswer),
    Nothing,
}

fn action(key: KeyEvent, reply: LineReply) -> Action {
    let letter = match key.code {
        KeyCode::Char(c) => c.to_ascii_lowercase(),
        KeyCode::Enter => ' ',
        KeyCode::Esc => return Action::Leave,
        _ => return Action::Nothing,
    };
    if key.modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT) {
        return if letter == 'c' { Action::Leave } else { Action::Nothing };
    }
    Action::Answer(match (letter, reply) {
        ('q', _) => return Action::Leave,
        (_, LineReply::Over) => return Action::Nothing,
        ('s', _) => LineAnswer::Skip,
        (' ' | 'y', LineReply::Done | LineReply::YesNo) => LineAnswer::Done,
        ('n', LineReply::YesNo) => LineAnswer::No,
        ('l', LineReply::Side | LineReply::Hall) => LineAnswer::Left,
        ('r', LineReply::Side | LineReply::Hall) => LineAnswer::Right,
        ('b', LineReply::Side | LineReply::Hall) => LineAnswer::Both,
        ('o', LineReply::Side | LineReply::Hall) => LineAnswer::Nowhere,
        ('1', LineReply::Fuller) => LineAnswer::First,
        ('2', LineReply::Fuller) => LineAnswer::Second,
        ('e', LineReply::Fuller) => LineAnswer::Same,
        ('a', LineReply::Side | LineReply::Fuller) => LineAnswer::Again,
        _ => return Action::Nothing,
    })
}

const fn keys(reply: LineReply) -> &'static str {
    match reply {
        LineReply::Wait => "S skip   Q leave",
        LineReply::Done => "Space done   S skip   Q leave",
        LineReply::YesNo => "Space yes   N no   S skip   Q leave",
        LineReply::Side => "L left   R right   B both   O nowhere   A again   S skip   Q leave",
        LineReply::Hall => "L left   R right   B both   O nowhere   S skip   Q leave",
        LineReply::Fuller => "1 first   2 second   E no difference   A again   S skip   Q leave",
        LineReply::Over => "Q leave",
    }
}

struct Picture<'a> {
    snapshot: &'a LineSnapshot,
    status: &'a Status,
    next: &'a LineNext,
    names: &'a [String],
    staged: bool,
}

fn page(picture: &Picture, columns: usize, rows: usize) -> Vec<Line> {
    let Picture { snapshot, next, .. } = picture;
    let mut page = Vec::new();
    let title = if picture.staged { "Line check · simulated stage" } else { "Line check" };
    page.push(Line::of(Tone::Quiet, fit(&format!("{title} · {}", numbers::clock(snapshot.at)), columns)));
    page.push(Line::new());
    page.extend(
        wrap(&format!("→ {}", next.sentence), " ", columns).into_iter().map(|line| Line::of(Tone::Strong, line)),
    );
    page.extend(wrap(&next.then, " ", columns).into_iter().map(|line| Line::of(Tone::Text, line)));
    page.extend(wrap(&next.proof, " · ", columns).into_iter().map(|line| Line::of(Tone::Quiet, line)));
    for trouble in words::status(picture.status).iter().chain(&snapshot.trouble) {
        page.extend(wrap(trouble, " ", columns).into_iter().map(|line| Line::of(Tone::Strong, line)));
    }
    if snapshot.advice.step == LineStep::Quiet && snapshot.at.get() < 5.0 && !picture.staged {
        page.extend(LINE_CAUTIONS.iter().map(|caution| Line::of(Tone::Text, fit(caution, columns))));
    }
    page.push(Line::new());
    let room = rows.saturating_sub(page.len() + 2);
    page.extend(rows_of(picture, columns).into_iter().take(room));
    while page.len() + 1 < rows {
        page.push(Line::new());
    }
    page.truncate(rows.saturating_sub(1));
    page.push(Line::of(Tone::Quiet, fit(keys(next.reply), columns)));
    page
}

/// The inputs from the one at hand on, if they do not all have room.
fn rows_of(picture: &Picture, columns: usize) -> Vec<Line> {
    let snapshot = picture.snapshot;
    if let Some(found) = &snapshot.assembly {
        return assembly_lines(found).iter().map(|line| Line::of(Tone::Text, fit(line, columns))).collect();
    }
    let at_hand = snapshot.advice.channel;
    let name = |index: usize| picture.names.get(index).map_or("", String::as_str);
    let width = picture.names.iter().map(|name| name.chars().count()).max().unwrap_or(4).clamp(4, 18);
    let row = |status: &crate::engine::linecheck::LineStatus| {
        let channel = status.input.channel;
        let now = snapshot.lines.get(channel.index()).map_or_else(String::new, |line| numbers::level(line.level));
        let head = format!("{:>3} {} {} ", channel.number(), fit(name(channel.index()), width), mark(status));
        let tone = if at_hand == Some(channel) { Tone::Strong } else { Tone::Text };
        Line::of(tone, fit(&format!("{head} {now:>6}  {}", line_result(&status.result)), columns))
    };
    let from = snapshot.inputs.iter().position(|status| Some(status.input.channel) == at_hand).unwrap_or(0);
    let from = from.saturating_sub(4);
    let mut lines: Vec<Line> = snapshot.inputs[from..].iter().map(row).collect();
    if snapshot.speakers.checked {
        let told = format!("    Loudspeakers: {}", speaker_result(&snapshot.speakers));
        lines.push(Line::of(Tone::Text, fit(&told, columns)));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is listed answers, small or capital; what is not listed does not.
    #[test]
    fn the_listed_keys_are_those_that_answer() {
        let names = [
            (' ', "Space"),
            ('n', "N"),
            ('s', "S"),
            ('l', "L"),
            ('r', "R"),
            ('b', "B"),
            ('o', "O"),
            ('1', "1"),
            ('2', "2"),
            ('e', "E"),
            ('a', "A"),
        ];
        for reply in [
            LineReply::Wait,
            LineReply::Done,
            LineReply::YesNo,
            LineReply::Side,
            LineReply::Hall,
            LineReply::Fuller,
            LineReply::Over,
        ] {
            let listed: Vec<&str> = keys(reply).split("   ").filter_map(|entry| entry.split(' ').next()).collect();
            for (letter, name) in names {
                let press = |letter| action(KeyEvent::new(KeyCode::Char(letter), KeyModifiers::NONE), reply);
                assert_eq!(press(letter), press(letter.to_ascii_uppercase()));
                assert_eq!(matches!(press(letter), Action::Answer(_)), listed.contains(&name), "{name} at {reply:?}");
            }
            assert!(listed.contains(&"S") || reply == LineReply::Over);
        }
    }
}
