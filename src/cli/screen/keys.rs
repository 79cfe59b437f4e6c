//! The keys of the live screen: what each asks for, and which of them answer the step at hand.
//!
//! Only a key that is listed answers; letters count the same with Caps Lock on. Space and Enter: done, or yes. Esc closes
//! what was opened, else leaves.

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};

use super::page::Panel;
use crate::engine::session::Command;
use crate::engine::{Answer, Flashes};
use crate::units::{ChannelId, Db};
use crate::view::{Arrow, Reply};

/// One press turns a simulated knob this far.
const TURN: Db = Db::new(1.0);

/// What a key asks for.
#[derive(Debug, PartialEq)]
pub enum Action {
    Leave,
    /// Closes what is open, else leaves.
    Close,
    Open(Panel),
    Pick(ChannelId),
    Next,
    Previous,
    Send(Command),
    Nothing,
}

/// What `key` asks for, with the channel at hand and a step that is answered so.
pub fn action(key: KeyEvent, at_hand: Option<ChannelId>, reply: Reply, staged: bool) -> Action {
    let on_stage = |command: fn(ChannelId) -> Command| match at_hand {
        Some(at) if staged => Action::Send(command(at)),
        _ => Action::Nothing,
    };
    let letter = match key.code {
        KeyCode::Char(c) => c.to_ascii_lowercase(),
        KeyCode::Enter => ' ',
        KeyCode::Esc => return Action::Close,
        KeyCode::Tab => return Action::Next,
        KeyCode::BackTab => return Action::Previous,
        KeyCode::Left | KeyCode::Down => return on_stage(|at| Command::TurnTrim(at, -TURN)),
        KeyCode::Right | KeyCode::Up => return on_stage(|at| Command::TurnTrim(at, TURN)),
        _ => return Action::Nothing,
    };
    if key.modifiers.intersects(KeyModifiers::CONTROL | KeyModifiers::ALT) {
        return if letter == 'c' { Action::Leave } else { Action::Nothing };
    }
    if let Some(answer) = answer(letter, reply) {
        return Action::Send(Command::Answer(answer));
    }
    match letter {
        'w' => Action::Open(Panel::Why),
        '?' | 'h' => Action::Open(Panel::Help),
        'q' => Action::Leave,
        'a' => on_stage(Command::AskLoudest),
        digit @ '1'..='9' => Action::Pick(ChannelId::new(digit as u16 - '1' as u16)),
        '0' => Action::Pick(ChannelId::new(9)),
        _ => Action::Nothing,
    }
}

fn answer(letter: char, reply: Reply) -> Option<Answer> {
    Some(match (letter, reply) {
        (_, Reply::Over) => return None,
        ('n', Reply::Lamp) => Answer::Lamp(Flashes::Never),
        ('s', Reply::Lamp) => Answer::Lamp(Flashes::Sometimes),
        ('o', Reply::Lamp) => Answer::Lamp(Flashes::Often),
        ('x', Reply::Lamp) | ('s', _) => Answer::Skip,
        (' ' | 'y', Reply::Done | Reply::Knob | Reply::YesNo) => Answer::Done,
        ('n', Reply::YesNo) => Answer::No,
        ('l', Reply::Knob) => Answer::AtLimit,
        _ => return None,
    })
}

/// The keys that answer the step, each with what it says; on the simulated stage also those that carry it out.
pub fn answers(reply: Reply, arrow: Arrow, staged: bool) -> String {
    let carry_out = match (reply, arrow) {
        _ if !staged => "",
        (Reply::Wait, _) => "A ask for it   ",
        (_, Arrow::Down) => "← turn DOWN   ",
        (_, Arrow::Up) => "→ turn UP   ",
        (Reply::Knob, Arrow::None) => "← → turn   ",
        _ => "",
    };
    let answers = match reply {
        Reply::Wait => "S skip   ",
        Reply::Done => "Space done   S skip   ",
        Reply::Knob => "Space done   L at its limit   S skip   ",
        Reply::YesNo => "Space yes   N no   S skip   ",
        Reply::Lamp => "N never   S sometimes   O often   X skip   ",
        Reply::Over => "",
    };
    format!("{carry_out}{answers}")
}

#[cfg(test)]
mod tests {
    use super::*;

    const THIRD: ChannelId = ChannelId::new(2);

    fn press(code: KeyCode, reply: Reply) -> Action {
        action(KeyEvent::new(code, KeyModifiers::NONE), Some(THIRD), reply, true)
    }

    #[test]
    fn each_key_asks_for_its_own() {
        let answer = |answer| Action::Send(Command::Answer(answer));
        for (code, expected) in [
            (KeyCode::Char(' '), answer(Answer::Done)),
            (KeyCode::Enter, answer(Answer::Done)),
            (KeyCode::Char('l'), answer(Answer::AtLimit)),
            (KeyCode::Char('s'), answer(Answer::Skip)),
            (KeyCode::Char('w'), Action::Open(Panel::Why)),
            (KeyCode::Char('?'), Action::Open(Panel::Help)),
            (KeyCode::Char('q'), Action::Leave),
            (KeyCode::Esc, Action::Close),
            (KeyCode::Tab, Action::Next),
            (KeyCode::BackTab, Action::Previous),
            (KeyCode::Char('3'), Action::Pick(THIRD)),
            (KeyCode::Char('0'), Action::Pick(ChannelId::new(9))),
            (KeyCode::Char('a'), Action::Send(Command::AskLoudest(THIRD))),
            (KeyCode::Left, Action::Send(Command::TurnTrim(THIRD, Db::new(-1.0)))),
            (KeyCode::Up, Action::Send(Command::TurnTrim(THIRD, Db::new(1.0)))),
            (KeyCode::F(5), Action::Nothing),
        ] {
            assert_eq!(press(code, Reply::Knob), expected, "{code:?}");
        }
        let control = |letter| KeyEvent::new(KeyCode::Char(letter), KeyModifiers::CONTROL);
        assert_eq!(action(control('c'), None, Reply::Wait, false), Action::Leave);
        assert_eq!(action(control('s'), None, Reply::Wait, false), Action::Nothing);
    }

    #[test]
    fn the_lamp_is_answered_by_its_initials() {
        let lamp = |flashes| Action::Send(Command::Answer(Answer::Lamp(flashes)));
        assert_eq!(press(KeyCode::Char('n'), Reply::Lamp), lamp(Flashes::Never));
        assert_eq!(press(KeyCode::Char('s'), Reply::Lamp), lamp(Flashes::Sometimes));
        assert_eq!(press(KeyCode::Char('o'), Reply::Lamp), lamp(Flashes::Often));
        assert_eq!(press(KeyCode::Char('x'), Reply::Lamp), Action::Send(Command::Answer(Answer::Skip)));
    }

    /// What is listed answers, small or capital; what is not listed does not.
    #[test]
    fn the_listed_keys_are_those_that_answer() {
        let keys = [(' ', "Space"), ('n', "N"), ('l', "L"), ('s', "S"), ('o', "O"), ('x', "X")];
        for reply in [Reply::Wait, Reply::Done, Reply::Knob, Reply::YesNo, Reply::Lamp, Reply::Over] {
            let listed = answers(reply, Arrow::None, false);
            let listed: Vec<&str> = listed.split("   ").filter_map(|entry| entry.split(' ').next()).collect();
            for (letter, name) in keys {
                let answered = press(KeyCode::Char(letter), reply);
                assert_eq!(answered, press(KeyCode::Char(letter.to_ascii_uppercase()), reply));
                let answers = matches!(answered, Action::Send(Command::Answer(_)));
                assert_eq!(answers, listed.contains(&name), "{name} at {reply:?}");
            }
        }
    }

    #[test]
    fn knobs_turn_from_here_only_on_the_simulated_stage() {
        for code in [KeyCode::Left, KeyCode::Right, KeyCode::Char('a')] {
            let key = KeyEvent::new(code, KeyModifiers::NONE);
            assert_eq!(action(key, Some(THIRD), Reply::Knob, false), Action::Nothing);
            assert_eq!(action(key, None, Reply::Knob, true), Action::Nothing);
        }
        assert_eq!(answers(Reply::Knob, Arrow::Down, true), "← turn DOWN   Space done   L at its limit   S skip   ");
        assert_eq!(answers(Reply::Wait, Arrow::None, true), "A ask for it   S skip   ");
    }
}
