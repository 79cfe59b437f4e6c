//! How bad something is: a word and a shape for each, in the shapes that states have.
//!
//! A dash with a gap: lost. A triangle: hides sound. A hollow circle: mendable. A dot: a note. A square on a line: fine. A
//! dotted ring: can't be told. A cross: can't be read.

use crate::detectors::{Finding, Severity};

/// From nothing to the worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bad {
    Fine,
    /// Good to know, nothing wrong.
    Note,
    /// Nothing, or not enough, was heard.
    CannotTell,
    Mendable,
    Hides,
    Lost,
    Unreadable,
}

impl Bad {
    pub const ALL: [Self; 7] =
        [Self::Fine, Self::Note, Self::CannotTell, Self::Mendable, Self::Hides, Self::Lost, Self::Unreadable];

    pub fn of(finding: &Finding) -> Self {
        if finding.evidence.is_note() { Self::Note } else { Self::of_severity(finding.severity()) }
    }

    pub const fn of_severity(severity: Severity) -> Self {
        match severity {
            Severity::Mendable => Self::Mendable,
            Severity::Hides => Self::Hides,
            Severity::Lost => Self::Lost,
        }
    }

    pub const fn word(self) -> &'static str {
        match self {
            Self::Fine => "fine",
            Self::Note => "note",
            Self::CannotTell => "cannot tell",
            Self::Mendable => "mendable",
            Self::Hides => "hides sound",
            Self::Lost => "lost",
            Self::Unreadable => "unreadable",
        }
    }

    /// Three columns of text.
    pub const fn shape(self) -> &'static str {
        match self {
            Self::Fine => "_■_",
            Self::Note => " · ",
            Self::CannotTell => " ◌ ",
            Self::Mendable => " ○ ",
            Self::Hides => " ▲ ",
            Self::Lost => "– –",
            Self::Unreadable => " × ",
        }
    }

    /// Of the worst recording, as it is read from two metres.
    pub const fn headline(self) -> &'static str {
        match self {
            Self::Fine | Self::Note => "All is well",
            Self::CannotTell => "Not enough heard",
            Self::Mendable => "This can be mended",
            Self::Hides => "Sound is hidden here",
            Self::Lost => "Sound is lost here",
            Self::Unreadable => "One can’t be read",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_has_its_own_word_and_shape() {
        for (index, bad) in Bad::ALL.iter().enumerate() {
            assert_eq!(bad.shape().chars().count(), 3);
            for other in &Bad::ALL[index + 1..] {
                assert!(bad < other && bad.word() != other.word() && bad.shape() != other.shape());
            }
        }
    }
}
