//! The words of an event's files: kinds of source, connections, headings, and what people write instead.
//!
//! Only synonyms that nobody could mean otherwise are read ("lectern" is speech, "trumpet" is brass); for
//! the rest the nearest word is offered. Nearness is the restricted Damerau-Levenshtein distance
//! (G. Navarro, "A guided tour to approximate string matching", ACM Computing Surveys 33, 2001): insertions,
//! deletions, substitutions and swaps of neighbours each count 1. Case, spaces, `_` and `-` do not matter.

use crate::units::SourceKind;

/// What an input is plugged in through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Connection {
    Mic,
    Di,
    Line,
    Radio,
    Usb,
}

impl Connection {
    pub const ALL: [Self; 5] = [Self::Mic, Self::Di, Self::Line, Self::Radio, Self::Usb];

    /// The word in `inputs.csv`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Mic => "mic",
            Self::Di => "di",
            Self::Line => "line",
            Self::Radio => "radio",
            Self::Usb => "usb",
        }
    }

    /// The connection whose word, or plain synonym, this is.
    pub fn from_word(word: &str) -> Option<Self> {
        match plain(word).as_str() {
            "mic" | "microphone" | "mic input" => Some(Self::Mic),
            "di" | "d.i." | "di box" => Some(Self::Di),
            "line" | "line in" | "line input" => Some(Self::Line),
            "radio" | "radio mic" | "wireless" => Some(Self::Radio),
            "usb" | "usb return" => Some(Self::Usb),
            _ => None,
        }
    }
}

/// How the program hears the event.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Listening {
    /// Every channel of the desk, by USB.
    AllChannels,
    /// One stereo, solo or record feed: one channel at a time.
    OneFeed,
    /// A microphone in the room only.
    RoomMic,
}

impl Listening {
    pub const ALL: [Self; 3] = [Self::AllChannels, Self::OneFeed, Self::RoomMic];

    /// The word in `event.toml`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::AllChannels => "usb",
            Self::OneFeed => "feed",
            Self::RoomMic => "room",
        }
    }
}

/// What people write for a kind besides its own word.
const KIND_SYNONYMS: &[(&str, SourceKind)] = &[
    ("lectern", SourceKind::Speech),
    ("podium", SourceKind::Speech),
    ("spoken", SourceKind::Speech),
    ("spoken word", SourceKind::Speech),
    ("announcer", SourceKind::Speech),
    ("narrator", SourceKind::Speech),
    ("vocal", SourceKind::SoloVocal),
    ("vocals", SourceKind::SoloVocal),
    ("vox", SourceKind::SoloVocal),
    ("lead vocal", SourceKind::SoloVocal),
    ("singer", SourceKind::SoloVocal),
    ("soloist", SourceKind::SoloVocal),
    ("headset mic", SourceKind::Headset),
    ("lapel", SourceKind::Headset),
    ("lapel mic", SourceKind::Headset),
    ("lavalier", SourceKind::Headset),
    ("chorus", SourceKind::Choir),
    ("choir mic", SourceKind::Choir),
    ("acoustic", SourceKind::AcousticGuitar),
    ("acoustic gtr", SourceKind::AcousticGuitar),
    ("bass guitar", SourceKind::Bass),
    ("bass di", SourceKind::Bass),
    ("double bass", SourceKind::Bass),
    ("keyboard", SourceKind::Keys),
    ("keyboards", SourceKind::Keys),
    ("synth", SourceKind::Keys),
    ("synthesizer", SourceKind::Keys),
    ("electric piano", SourceKind::Keys),
    ("stage piano", SourceKind::Keys),
    ("kick drum", SourceKind::Kick),
    ("bass drum", SourceKind::Kick),
    ("drums kick", SourceKind::Kick),
    ("snare drum", SourceKind::Snare),
    ("drums snare", SourceKind::Snare),
    ("overheads", SourceKind::Overhead),
    ("drum overhead", SourceKind::Overhead),
    ("drums overhead", SourceKind::Overhead),
    ("trumpet", SourceKind::Brass),
    ("trombone", SourceKind::Brass),
    ("french horn", SourceKind::Brass),
    ("tuba", SourceKind::Brass),
    ("sax", SourceKind::Woodwind),
    ("saxophone", SourceKind::Woodwind),
    ("flute", SourceKind::Woodwind),
    ("clarinet", SourceKind::Woodwind),
    ("oboe", SourceKind::Woodwind),
    ("grand piano", SourceKind::Piano),
    ("upright piano", SourceKind::Piano),
    ("piano mic", SourceKind::Piano),
    ("triangle", SourceKind::Percussion),
    ("tambourine", SourceKind::Percussion),
    ("shaker", SourceKind::Percussion),
    ("bongos", SourceKind::Percussion),
    ("congas", SourceKind::Percussion),
    ("small percussion", SourceKind::Percussion),
    ("laptop", SourceKind::Playback),
    ("backing track", SourceKind::Playback),
    ("backing tracks", SourceKind::Playback),
    ("music player", SourceKind::Playback),
    ("unknown", SourceKind::Other),
    ("spare", SourceKind::Other),
];

/// The kind whose word, or plain synonym, this is.
pub(super) fn kind(word: &str) -> Option<SourceKind> {
    let word = plain(word);
    SourceKind::from_word(&word)
        .or_else(|| KIND_SYNONYMS.iter().find(|(synonym, _)| *synonym == word).map(|(_, kind)| *kind))
}

/// The kind's word that was probably meant.
pub(super) fn near_kind(word: &str) -> Option<&'static str> {
    let own = SourceKind::ALL.map(|kind| (kind.word(), kind));
    nearest(word, own.iter().chain(KIND_SYNONYMS).map(|&(synonym, kind)| (synonym, kind.word())))
}

/// `a, b, c`.
pub(super) fn list(words: impl IntoIterator<Item = &'static str>) -> String {
    words.into_iter().collect::<Vec<_>>().join(", ")
}

/// A column of `inputs.csv` that is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Column {
    Channel,
    Name,
    Kind,
    Connection,
    ShowLift,
    Person,
    Stand,
    Phantom,
    Notes,
    PlaceX,
    PlaceY,
}

impl Column {
    pub const ALL: [Self; 11] = [
        Self::Channel,
        Self::Name,
        Self::Kind,
        Self::Connection,
        Self::ShowLift,
        Self::Person,
        Self::Stand,
        Self::Phantom,
        Self::Notes,
        Self::PlaceX,
        Self::PlaceY,
    ];

    /// Its heading.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Channel => "channel",
            Self::Name => "name",
            Self::Kind => "kind",
            Self::Connection => "connection",
            Self::ShowLift => "show_lift_db",
            Self::Person => "person",
            Self::Stand => "stand",
            Self::Phantom => "phantom",
            Self::Notes => "notes",
            Self::PlaceX => "place_x_m",
            Self::PlaceY => "place_y_m",
        }
    }

    /// The columns that a heading may mean, the likelier first; the first that is still free is taken.
    pub(super) fn candidates(heading: &str) -> &'static [Self] {
        match heading_words(heading).as_str() {
            "channel" | "ch" | "chan" | "channel number" | "channel no" | "desk channel" | "no" | "nr" | "number"
            | "#" => &[Self::Channel],
            "name" | "label" => &[Self::Name],
            "kind" | "type" | "source kind" | "kind of source" => &[Self::Kind],
            "input" => &[Self::Channel, Self::Name],
            "source" | "instrument" => &[Self::Name, Self::Kind],
            "connection" | "connected by" | "mic di" | "mic or di" => &[Self::Connection],
            "show lift db" | "show lift" | "lift" | "lift db" => &[Self::ShowLift],
            "person" | "performer" | "player" => &[Self::Person],
            "stand" => &[Self::Stand],
            "phantom" | "phantom power" | "48v" | "48 v" => &[Self::Phantom],
            "notes" | "note" | "remarks" | "comment" | "comments" => &[Self::Notes],
            "place x m" | "place x" | "x m" | "x" => &[Self::PlaceX],
            "place y m" | "place y" | "y m" | "y" => &[Self::PlaceY],
            _ => &[],
        }
    }
}

/// The target of the word nearest to what was written, if any is near: a slip in every third letter or fewer.
pub(super) fn nearest<'a, T>(written: &str, words: impl IntoIterator<Item = (&'a str, T)>) -> Option<T> {
    const LONGEST: usize = 30;
    let written: Vec<char> = plain(written).chars().take(LONGEST + 1).collect();
    if written.len() > LONGEST {
        return None;
    }
    let distances = words.into_iter().map(|(word, target)| (distance(&written, word), target));
    distances.filter(|(slips, _)| slips * 3 <= written.len()).min_by_key(|(slips, _)| *slips).map(|(_, target)| target)
}

/// Small letters, single spaces, no `_` or `-`.
pub(super) fn plain(word: &str) -> String {
    word.to_lowercase().replace(['_', '-'], " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A heading in small letters, its punctuation gone: "Show lift (dB)" is "show lift db". A lone "#" stays.
pub(super) fn heading_words(heading: &str) -> String {
    if heading.trim() == "#" {
        return "#".to_owned();
    }
    let letters = heading.to_lowercase().replace(|c: char| !c.is_alphanumeric(), " ");
    letters.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn distance(a: &[char], word: &str) -> usize {
    let b: Vec<char> = word.chars().collect();
    let mut before = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let replace = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = replace.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        before = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_own_word_is_read_back() {
        for own in SourceKind::ALL {
            assert_eq!(kind(own.word()), Some(own));
            assert_eq!(kind(&own.word().to_uppercase().replace(' ', "_")), Some(own));
        }
        for own in Connection::ALL {
            assert_eq!(Connection::from_word(own.word()), Some(own));
        }
        for own in Column::ALL {
            assert_eq!(Column::candidates(own.word()), &[own]);
        }
    }

    #[test]
    fn synonyms_are_plain_and_named_once() {
        for (index, (synonym, _)) in KIND_SYNONYMS.iter().enumerate() {
            assert_eq!(plain(synonym), *synonym);
            assert_eq!(SourceKind::from_word(synonym), None, "{synonym} is a kind's own word");
            assert!(KIND_SYNONYMS[index + 1..].iter().all(|(other, _)| other != synonym), "{synonym} stands twice");
        }
        assert_eq!(kind(" Lead-Vocal "), Some(SourceKind::SoloVocal));
        assert_eq!(kind("drums"), None);
    }

    /// Textbook pairs: kitten → sitting takes 3 steps; a swap of neighbours takes 1.
    #[test]
    fn distances_of_the_textbook() {
        for (a, b, steps) in
            [("kitten", "sitting", 3), ("flaw", "lawn", 2), ("ab", "ba", 1), ("", "abc", 3), ("x", "x", 0)]
        {
            assert_eq!(distance(&a.chars().collect::<Vec<_>>(), b), steps, "{a} → {b}");
        }
    }

    #[test]
    fn near_words_are_offered_and_far_ones_are_not() {
        assert_eq!(near_kind("vokal"), Some("solo vocal"));
        assert_eq!(near_kind("trumpte"), Some("brass"));
        assert_eq!(near_kind("guitar"), None);
        assert_eq!(near_kind(""), None);
        assert_eq!(near_kind(&"k".repeat(100_000)), None);
    }
}
