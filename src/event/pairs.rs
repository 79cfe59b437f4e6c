//! Pairs in an input list: left and right of one source, by their names.
//!
//! "Choir left" and "Choir right", "Keys L" and "Keys R", "OH (L)" and "OH (R)": two inputs of one kind whose names differ
//! in that one word only. Case, brackets and dots around it do not matter. Edge cases: a third input of that name, or
//! none on the other side, makes no pair; nothing is guessed from numbers.

use super::inputs::Input;
use crate::units::ChannelId;

/// Left and right.
pub fn pairs(inputs: &[Input]) -> Vec<(ChannelId, ChannelId)> {
    let named: Vec<(String, bool, &Input)> =
        inputs.iter().filter_map(|input| side(&input.name).map(|(rest, right)| (rest, right, input))).collect();
    let one = |rest: &str, right: bool, of: &Input| {
        let mut found =
            named.iter().filter(|(other, side, input)| other == rest && *side == right && input.kind == of.kind);
        let first = found.next()?;
        found.next().is_none().then_some(first.2)
    };
    named
        .iter()
        .filter(|(_, right, _)| !right)
        .filter_map(|(rest, _, input)| {
            one(rest, false, input)?;
            Some((input.channel, one(rest, true, input)?.channel))
        })
        .collect()
}

/// A name without its word for a side, and whether that is the right one.
fn side(name: &str) -> Option<(String, bool)> {
    let mut found = None;
    let mut rest = Vec::new();
    for word in name.split_whitespace() {
        let bare = word.trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase();
        match bare.as_str() {
            "left" | "l" if found.is_none() => found = Some(false),
            "right" | "r" if found.is_none() => found = Some(true),
            _ => rest.push(bare),
        }
    }
    found.map(|right| (rest.join(" "), right))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SourceKind;

    fn list(names: &[(&str, SourceKind)]) -> Vec<(u16, u16)> {
        let inputs: Vec<Input> = names
            .iter()
            .enumerate()
            .map(|(index, (name, kind))| Input::new(ChannelId::from_index(index), *name, *kind))
            .collect();
        pairs(&inputs).into_iter().map(|(left, right)| (left.number(), right.number())).collect()
    }

    #[test]
    fn two_sides_of_one_name_are_a_pair() {
        use SourceKind::{Choir, Keys, Overhead, Speech};
        let names =
            [("Choir left", Choir), ("Choir right", Choir), ("Lectern", Speech), ("Keys R", Keys), ("Keys L", Keys)];
        assert_eq!(list(&names), [(1, 2), (5, 4)]);
        assert_eq!(list(&[("OH (L)", Overhead), ("OH (R)", Overhead)]), [(1, 2)]);
        assert_eq!(list(&[("Left", Choir), ("Right", Choir)]), [(1, 2)]);
    }

    #[test]
    fn what_is_no_pair() {
        use SourceKind::{Choir, Keys, Speech};
        assert_eq!(list(&[("Choir left", Choir), ("Keys right", Keys)]), []);
        assert_eq!(list(&[("Choir left", Choir), ("Choir left", Choir), ("Choir right", Choir)]), []);
        assert_eq!(list(&[("Choir 1", Choir), ("Choir 2", Choir), ("Leftover", Speech)]), []);
    }
}
