//! What can be typed at a line check: one word a line.

use crate::engine::linecheck::LineAnswer;

/// What a line asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Typed {
    Answer(LineAnswer),
    Leave,
}

pub const HELP: &str = "Type done, yes, no or skip; at loudspeakers left, right, both, nowhere, first, second, same, again; quit to leave.";

/// `None`: no such word.
pub fn read(line: &str) -> Option<Typed> {
    let answer = match line.trim().to_lowercase().as_str() {
        "" | "done" | "d" | "yes" | "y" => LineAnswer::Done,
        "no" | "n" => LineAnswer::No,
        "skip" | "s" => LineAnswer::Skip,
        "left" | "l" => LineAnswer::Left,
        "right" | "r" => LineAnswer::Right,
        "both" | "b" => LineAnswer::Both,
        "nowhere" | "none" => LineAnswer::Nowhere,
        "first" | "1" => LineAnswer::First,
        "second" | "2" => LineAnswer::Second,
        "same" => LineAnswer::Same,
        "again" | "a" => LineAnswer::Again,
        "quit" | "q" | "leave" => return Some(Typed::Leave),
        _ => return None,
    };
    Some(Typed::Answer(answer))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_of_the_help_is_read() {
        let words = HELP
            .split(|c: char| !c.is_alphabetic())
            .filter(|word| !["Type", "or", "at", "loudspeakers", "to", "leave", ""].contains(word));
        for word in words {
            assert!(read(word).is_some(), "{word}");
        }
        assert_eq!(read(" YES "), Some(Typed::Answer(LineAnswer::Done)));
        assert_eq!(read("quit"), Some(Typed::Leave));
        for line in ["\u{1b}[2J", "swap", "yes no", &"x".repeat(10_000)] {
            assert_eq!(read(line), None);
        }
    }
}
