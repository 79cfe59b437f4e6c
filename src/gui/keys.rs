//! What the keyboard asks for: every button's work can be done from it.
//!
//! Letters answer the step at hand first (`S` skip, `N` no, `L` at its limit); Space: done, or yes; Esc closes what is
//! open. While a text field has the focus, letters are letters.

use eframe::egui::{Context, Key, Modifiers};

use super::{Panel, View};
use crate::engine::session::Command;
use crate::engine::{Answer, Flashes};
use crate::units::{ChannelId, Db};
use crate::view::Reply;

/// What was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Action {
    Send(Command),
    Open(Panel),
    Close,
    Back,
    Mark,
    Go(View),
    Pick(ChannelId),
    Table,
    Bright,
    Still,
    Feet,
    Text(bool),
    Minutes(f64),
}

/// One press turns a simulated knob this far.
const TURN: Db = Db::new(1.0);
const VIEWS: [Key; 8] = [Key::F1, Key::F2, Key::F3, Key::F4, Key::F5, Key::F6, Key::F7, Key::F8];
const DIGITS: [Key; 9] =
    [Key::Num1, Key::Num2, Key::Num3, Key::Num4, Key::Num5, Key::Num6, Key::Num7, Key::Num8, Key::Num9];

/// The keys pressed since the last picture.
pub fn actions(context: &Context, reply: Reply, at_hand: Option<ChannelId>, staged: bool) -> Vec<Action> {
    let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
    let mut actions = Vec::new();
    for (key, answer) in answers(reply) {
        if pressed(*key) {
            actions.push(Action::Send(Command::Answer(*answer)));
        }
    }
    if let Some(channel) = at_hand.filter(|_| staged) {
        for (key, by) in [(Key::ArrowLeft, -TURN), (Key::ArrowRight, TURN)] {
            if pressed(key) {
                actions.push(Action::Send(Command::TurnTrim(channel, by)));
            }
        }
        if pressed(Key::A) {
            actions.push(Action::Send(Command::AskLoudest(channel)));
        }
    }
    for (key, action) in [
        (Key::W, Action::Open(Panel::Why)),
        (Key::Questionmark, Action::Open(Panel::Help)),
        (Key::I, Action::Open(Panel::Input)),
        (Key::E, Action::Go(View::Inputs)),
        (Key::Escape, Action::Close),
        (Key::B, Action::Back),
        (Key::M, Action::Mark),
        (Key::C, Action::Still),
        (Key::G, Action::Feet),
        (Key::T, Action::Table),
        (Key::D, Action::Bright),
        (Key::Plus, Action::Text(true)),
        (Key::Equals, Action::Text(true)),
        (Key::Minus, Action::Text(false)),
        (Key::OpenBracket, Action::Minutes(-5.0)),
        (Key::CloseBracket, Action::Minutes(5.0)),
    ] {
        if pressed(key) {
            actions.push(action);
        }
    }
    // The question mark is a shifted key on many keyboards.
    if context.input_mut(|input| input.consume_key(Modifiers::SHIFT, Key::Slash)) {
        actions.push(Action::Open(Panel::Help));
    }
    for (view, key) in View::ALL.into_iter().zip(VIEWS) {
        if pressed(key) {
            actions.push(Action::Go(view));
        }
    }
    for (index, key) in DIGITS.into_iter().enumerate() {
        if pressed(key) {
            actions.push(Action::Pick(ChannelId::from_index(index)));
        }
    }
    actions
}

/// The keys that answer a step, with what they say.
pub const fn answers(reply: Reply) -> &'static [(Key, Answer)] {
    match reply {
        Reply::Wait => &[(Key::S, Answer::Skip)],
        Reply::Done => &[(Key::Space, Answer::Done), (Key::S, Answer::Skip)],
        Reply::Knob => &[(Key::Space, Answer::Done), (Key::L, Answer::AtLimit), (Key::S, Answer::Skip)],
        Reply::YesNo => &[(Key::Space, Answer::Done), (Key::N, Answer::No), (Key::S, Answer::Skip)],
        Reply::Lamp => &[
            (Key::N, Answer::Lamp(Flashes::Never)),
            (Key::S, Answer::Lamp(Flashes::Sometimes)),
            (Key::O, Answer::Lamp(Flashes::Often)),
            (Key::X, Answer::Skip),
        ],
        Reply::Over => &[],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::labels;

    #[test]
    fn every_answer_has_its_button() {
        for reply in [Reply::Wait, Reply::Done, Reply::Knob, Reply::YesNo, Reply::Lamp, Reply::Over] {
            assert_eq!(answers(reply).len(), labels::answers(reply).len());
            for ((key, _), label) in answers(reply).iter().zip(labels::answers(reply)) {
                assert!(label.ends_with(key.name()), "{label}: {}", key.name());
            }
        }
    }
}
