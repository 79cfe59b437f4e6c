//! What is typed in a ring-out, as values: orders for the desk and answers to the step.
//!
//! `main +3`, `wedge 2 -3`, `fader ch4 -3`, `cut mains 1.6k -3`, `lowcut 4 120`, `mute 4`, `open 4`, `undo`; `done`,
//! `yes`, `no`, `cannot`, `stop`, `help`, `leave`. Levels are dB up or down, frequencies Hz or kHz as they stand on a
//! desk (1.6k, 1.25 kHz, 1k6). Case, blanks and a true minus make no difference. Edge cases: an empty line is "done";
//! what can't be read says what was expected and gives an example.

use thiserror::Error;

use crate::engine::ringout::{Order, Output, Place, RingAnswer};
use crate::units::{ChannelId, Db, Hertz};

/// One typed line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Typed {
    Order(Order),
    Answer(RingAnswer),
    Help,
    Leave,
}

/// What is wrong with a line, and how to mend it.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum TypedError {
    #[error("“{0}” is no command here. Type help for all of them")]
    Unknown(String),
    #[error("“{0}” is no command here. Did you mean {1}?")]
    Near(String, &'static str),
    #[error("{0} needs {1}. For example: {2}")]
    Missing(&'static str, &'static str, &'static str),
    #[error("“{0}” is no number of dB. For example: -3")]
    Level(String),
    #[error("“{0}” is no frequency. For example: 1.6k or 630")]
    Frequency(String),
    #[error("“{0}” is no output and no channel. For example: mains, wedge 2, ch4")]
    Where(String),
    #[error("“{0}” is no channel. Channels are counted from 1, for example: mute 4")]
    Channel(String),
    #[error("“{0}” is more than this command takes. For example: {1}")]
    TooMuch(String, &'static str),
}

pub const HELP: [&str; 11] = [
    "Answers: done (or just Enter), yes, no, cannot, stop (this output is enough), leave",
    "The desk, where it is simulated:",
    "  main +3             the mains fader up 3 dB",
    "  wedge 2 -3          the fader of wedge 2 down 3 dB",
    "  fader ch4 -3        the fader of channel 4 down 3 dB",
    "  cut mains 1.6k -3   that band of the mains' equaliser down 3 dB",
    "  cut ch4 1.6k -3     the same on a channel that has an equaliser",
    "  lowcut 4 120        the low-cut of channel 4 on at 120 Hz",
    "  mute 4, open 4      a microphone off, on",
    "  undo                what was done last goes back",
    "done carries out what the step asks for.",
];

const COMMANDS: [&str; 17] = [
    "main", "mains", "wedge", "fader", "cut", "lowcut", "mute", "open", "unmute", "undo", "done", "yes", "no",
    "cannot", "stop", "help", "leave",
];

/// Reads one line.
pub fn read(line: &str) -> Result<Typed, TypedError> {
    let clean = line.replace(['−', '–'], "-").to_lowercase();
    let words: Vec<&str> = clean.split_whitespace().collect();
    let Some((&command, rest)) = words.split_first() else { return Ok(Typed::Answer(RingAnswer::Done)) };
    let alone = |typed, example| match rest {
        [] => Ok(typed),
        [more, ..] => Err(TypedError::TooMuch(shown(more), example)),
    };
    match command {
        "done" | "d" | "ok" => alone(Typed::Answer(RingAnswer::Done), "done"),
        "yes" | "y" => alone(Typed::Answer(RingAnswer::Yes), "yes"),
        "no" | "n" => alone(Typed::Answer(RingAnswer::No), "no"),
        "cannot" | "cant" | "can't" | "can’t" | "skip" => alone(Typed::Answer(RingAnswer::Cannot), "cannot"),
        "stop" => alone(Typed::Answer(RingAnswer::Stop), "stop"),
        "help" | "?" => alone(Typed::Help, "help"),
        "leave" | "quit" | "q" | "exit" => alone(Typed::Leave, "leave"),
        "undo" => alone(Typed::Order(Order::Undo), "undo"),
        "mute" => channel_alone("mute", rest, "mute 4").map(|channel| Typed::Order(Order::Mute(channel))),
        "open" | "unmute" => channel_alone("open", rest, "open 4").map(|channel| Typed::Order(Order::Open(channel))),
        "fader" => fader(rest),
        "cut" => cut(rest),
        "lowcut" | "low-cut" => low_cut(rest),
        "main" | "mains" | "ch" | "channel" => fader(&words),
        _ if command.starts_with("wedge") || command.strip_prefix("ch").is_some_and(starts_with_a_digit) => {
            fader(&words)
        }
        _ => Err(unknown(command)),
    }
}

const FADER: (&str, &str, &str) = ("fader", "an output or channel and a number of dB", "fader ch4 -3");
const CUT: (&str, &str, &str) = ("cut", "an output or channel, a band and a number of dB", "cut mains 1.6k -3");
const LOW_CUT: (&str, &str, &str) = ("lowcut", "a channel and a frequency", "lowcut 4 120");

fn fader(words: &[&str]) -> Result<Typed, TypedError> {
    let missing = || TypedError::Missing(FADER.0, FADER.1, FADER.2);
    let (place, rest) = place(words).map_err(|word| word.map_or_else(missing, TypedError::Where))?;
    let by = level(rest, missing, FADER.2)?;
    Ok(Typed::Order(match place {
        Place::Output(output) => Order::Output(output, by),
        Place::Channel(channel) => Order::Channel(channel, by),
    }))
}

fn cut(words: &[&str]) -> Result<Typed, TypedError> {
    let missing = || TypedError::Missing(CUT.0, CUT.1, CUT.2);
    let (place, rest) = place(words).map_err(|word| word.map_or_else(missing, TypedError::Where))?;
    let (frequency, rest) = frequency(rest, missing)?;
    Ok(Typed::Order(Order::Cut { place, frequency, by: level(rest, missing, CUT.2)? }))
}

fn low_cut(words: &[&str]) -> Result<Typed, TypedError> {
    let missing = || TypedError::Missing(LOW_CUT.0, LOW_CUT.1, LOW_CUT.2);
    let (&word, rest) = words.split_first().ok_or_else(missing)?;
    let channel = channel(word).ok_or_else(|| TypedError::Channel(shown(word)))?;
    let (at, rest) = frequency(rest, missing)?;
    match rest {
        [] => Ok(Typed::Order(Order::LowCut { channel, at })),
        [more, ..] => Err(TypedError::TooMuch(shown(more), LOW_CUT.2)),
    }
}

fn channel_alone(command: &'static str, words: &[&str], example: &'static str) -> Result<ChannelId, TypedError> {
    let words = if words.first().is_some_and(|word| matches!(*word, "ch" | "channel")) { &words[1..] } else { words };
    match words {
        [] => Err(TypedError::Missing(command, "a channel", example)),
        [word] => channel(word).ok_or_else(|| TypedError::Channel(shown(word))),
        [_, more, ..] => Err(TypedError::TooMuch(shown(more), example)),
    }
}

/// Where something is turned, and the words after it; else the word that is none (`None`: there is no word).
fn place<'a, 'b>(words: &'a [&'b str]) -> Result<(Place, &'a [&'b str]), Option<String>> {
    match words {
        [] => Err(None),
        ["main" | "mains", rest @ ..] => Ok((Place::Output(Output::Mains), rest)),
        ["wedge", number, rest @ ..] => {
            let number = number.parse().ok().filter(|number| *number > 0).ok_or_else(|| Some(shown(number)))?;
            Ok((Place::Output(Output::Wedge(number)), rest))
        }
        ["ch" | "channel", number, rest @ ..] => {
            let channel = channel(number).ok_or_else(|| Some(shown(number)))?;
            Ok((Place::Channel(channel), rest))
        }
        [word, rest @ ..] => {
            let wedge = word.strip_prefix("wedge").and_then(|number| number.parse().ok()).filter(|number| *number > 0);
            let marked = word.starts_with("ch").then(|| channel(word)).flatten();
            match (wedge, marked) {
                (Some(number), _) => Ok((Place::Output(Output::Wedge(number)), rest)),
                (None, Some(channel)) => Ok((Place::Channel(channel), rest)),
                (None, None) => Err(Some(shown(word))),
            }
        }
    }
}

fn starts_with_a_digit(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

/// "4", "ch4".
fn channel(word: &str) -> Option<ChannelId> {
    let number = word.strip_prefix("ch").unwrap_or(word).parse::<u16>().ok()?;
    number.checked_sub(1).map(ChannelId::new)
}

/// "-3", "+3", "3dB"; nothing may follow.
fn level(words: &[&str], missing: impl Fn() -> TypedError, example: &'static str) -> Result<Db, TypedError> {
    let (&word, rest) = words.split_first().ok_or_else(missing)?;
    let number = word.trim_end_matches("db");
    let by = number.parse::<f64>().ok().filter(|by| by.is_finite()).ok_or_else(|| TypedError::Level(shown(word)))?;
    match rest {
        [] | ["db"] => Ok(Db::new(by)),
        [more, ..] => Err(TypedError::TooMuch(shown(more), example)),
    }
}

/// "630", "630 hz", "1.6k", "1.6 khz", "1k6".
fn frequency<'a, 'b>(
    words: &'a [&'b str],
    missing: impl Fn() -> TypedError,
) -> Result<(Hertz, &'a [&'b str]), TypedError> {
    let (&word, rest) = words.split_first().ok_or_else(missing)?;
    let (word, unit, rest) = match rest {
        ["hz", rest @ ..] => (word, 1.0, rest),
        ["k" | "khz", rest @ ..] => (word, 1000.0, rest),
        _ => (word, 1.0, rest),
    };
    let bare = word.trim_end_matches("hz");
    let hz = match bare.split_once('k') {
        Some((whole, "")) => whole.parse::<f64>().map(|kilo| kilo * 1000.0),
        Some((whole, part)) => format!("{whole}.{part}").parse::<f64>().map(|kilo| kilo * 1000.0),
        None => bare.parse::<f64>().map(|hz| hz * unit),
    };
    match hz {
        Ok(hz) if (20.0..=20_000.0).contains(&hz) => Ok((Hertz::new(hz), rest)),
        _ => Err(TypedError::Frequency(shown(word))),
    }
}

fn unknown(word: &str) -> TypedError {
    let alike = |command: &&&str| word.chars().zip(command.chars()).take_while(|(a, b)| a == b).count();
    let near = COMMANDS.iter().filter(|command| one_slip(word, command)).max_by_key(alike);
    near.map_or_else(|| TypedError::Unknown(shown(word)), |near| TypedError::Near(shown(word), near))
}

/// One letter more, less or other.
fn one_slip(a: &str, b: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let start = a.iter().zip(&b).take_while(|(a, b)| a == b).count();
    let (a, b) = (&a[start..], &b[start..]);
    let rest = |letters: &[char]| letters.get(1..).map(<[char]>::to_vec);
    rest(a).is_some_and(|a| a == b) || rest(b).is_some_and(|b| a == b) || (rest(a).is_some() && rest(a) == rest(b))
}

/// What was typed, short enough to be told.
fn shown(word: &str) -> String {
    word.chars().filter(|c| !c.is_control()).take(24).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAINS: Place = Place::Output(Output::Mains);

    fn order(line: &str) -> Order {
        match read(line) {
            Ok(Typed::Order(order)) => order,
            other => panic!("{line}: {other:?}"),
        }
    }

    fn ch(number: u16) -> ChannelId {
        ChannelId::new(number - 1)
    }

    #[test]
    fn faders() {
        assert_eq!(order("main +3"), Order::Output(Output::Mains, Db::new(3.0)));
        assert_eq!(order("Mains −6 dB"), Order::Output(Output::Mains, Db::new(-6.0)));
        assert_eq!(order("wedge 2 -3"), Order::Output(Output::Wedge(2), Db::new(-3.0)));
        assert_eq!(order("wedge2 1.5dB"), Order::Output(Output::Wedge(2), Db::new(1.5)));
        assert_eq!(order("fader ch4 -3"), Order::Channel(ch(4), Db::new(-3.0)));
        assert_eq!(order("  FADER  ch 4   +2 "), Order::Channel(ch(4), Db::new(2.0)));
        assert_eq!(order("ch4 -3"), Order::Channel(ch(4), Db::new(-3.0)));
        assert_eq!(order("fader mains -1"), Order::Output(Output::Mains, Db::new(-1.0)));
    }

    #[test]
    fn cuts_with_bands_as_they_are_printed() {
        let cut = |place, hz, by| Order::Cut { place, frequency: Hertz::new(hz), by: Db::new(by) };
        for line in [
            "cut mains 1.6k -3",
            "cut main 1.6 kHz -3",
            "cut mains 1600 -3 dB",
            "cut mains 1600Hz -3",
            "cut mains 1k6 -3",
        ] {
            assert_eq!(order(line), cut(MAINS, 1600.0, -3.0), "{line}");
        }
        assert_eq!(order("cut wedge 1 31.5 -2"), cut(Place::Output(Output::Wedge(1)), 31.5, -2.0));
        assert_eq!(order("cut ch12 3.15k -6"), cut(Place::Channel(ch(12)), 3150.0, -6.0));
    }

    #[test]
    fn the_rest_of_the_desk() {
        assert_eq!(order("mute 4"), Order::Mute(ch(4)));
        assert_eq!(order("unmute ch4"), Order::Open(ch(4)));
        assert_eq!(order("open ch 4"), Order::Open(ch(4)));
        assert_eq!(order("lowcut 4 120"), Order::LowCut { channel: ch(4), at: Hertz::new(120.0) });
        assert_eq!(order("undo"), Order::Undo);
    }

    #[test]
    fn answers() {
        let answer = |line: &str| match read(line) {
            Ok(Typed::Answer(answer)) => answer,
            other => panic!("{line}: {other:?}"),
        };
        assert_eq!(
            ["", "  ", "done", "Done", "yes", "n", "cannot", "stop"].map(answer),
            [
                RingAnswer::Done,
                RingAnswer::Done,
                RingAnswer::Done,
                RingAnswer::Done,
                RingAnswer::Yes,
                RingAnswer::No,
                RingAnswer::Cannot,
                RingAnswer::Stop,
            ]
        );
        assert_eq!(read("help"), Ok(Typed::Help));
        assert_eq!(read("leave"), Ok(Typed::Leave));
    }

    #[test]
    fn each_mistake_says_how_to_mend_it() {
        let told = |line: &str| read(line).expect_err(line).to_string();
        assert_eq!(told("louder"), "“louder” is no command here. Type help for all of them");
        assert_eq!(told("mian +3"), "“mian” is no command here. Type help for all of them");
        assert_eq!(told("mut 4"), "“mut” is no command here. Did you mean mute?");
        assert_eq!(told("cutt mains 1k -3"), "“cutt” is no command here. Did you mean cut?");
        let fader = "fader needs an output or channel and a number of dB. For example: fader ch4 -3";
        assert_eq!(told("fader"), fader);
        assert_eq!(told("fader ch4"), fader);
        assert_eq!(told("main"), fader);
        assert_eq!(told("main up"), "“up” is no number of dB. For example: -3");
        assert_eq!(told("main nan"), "“nan” is no number of dB. For example: -3");
        assert_eq!(told("main +3 5"), "“5” is more than this command takes. For example: fader ch4 -3");
        assert_eq!(told("fader left -3"), "“left” is no output and no channel. For example: mains, wedge 2, ch4");
        assert_eq!(told("fader ch0 -3"), "“ch0” is no output and no channel. For example: mains, wedge 2, ch4");
        assert_eq!(told("wedge 0 -3"), "“0” is no output and no channel. For example: mains, wedge 2, ch4");
        assert_eq!(told("chorus"), "“chorus” is no command here. Type help for all of them");
        let cut = "cut needs an output or channel, a band and a number of dB. For example: cut mains 1.6k -3";
        assert_eq!(told("cut"), cut);
        assert_eq!(told("cut mains"), cut);
        assert_eq!(told("cut mains 1.6k"), cut);
        assert_eq!(told("cut mains high -3"), "“high” is no frequency. For example: 1.6k or 630");
        assert_eq!(told("cut mains 2 -3"), "“2” is no frequency. For example: 1.6k or 630");
        assert_eq!(told("mute"), "mute needs a channel. For example: mute 4");
        assert_eq!(told("mute all"), "“all” is no channel. Channels are counted from 1, for example: mute 4");
        assert_eq!(told("lowcut 4"), "lowcut needs a channel and a frequency. For example: lowcut 4 120");
        assert_eq!(told("done now"), "“now” is more than this command takes. For example: done");
    }

    #[test]
    fn whatever_is_typed_is_no_panic_and_told_in_one_line() {
        let long = "x".repeat(10_000);
        for line in
            ["\u{1b}[2J", "cut \u{1b} k -", "wedge", "ch", "k", "cut mains k -3", "cut mains 1k6k -3", &long, "é é"]
        {
            let told = read(line).expect_err(line).to_string();
            assert!(!told.chars().any(char::is_control) && told.chars().count() < 120, "{told}");
        }
    }
}
