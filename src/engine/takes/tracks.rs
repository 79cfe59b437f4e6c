//! Which line of the input list each file of a multitrack folder is.
//!
//! In: the files of a folder and the names of the list. Files are tracks where three or more of one folder have one
//! channel and one rate. A file is matched by name first: half of the words of an input's name, or more, stand in the
//! file's name, the best pair before all others; then by number, where every file has one of its own; and where nothing
//! matches and there are as many files as inputs, by order. Letters of any script count, case does not. Edge cases: names
//! that match nothing stay unmatched, which is told of them; a file is matched once, and so is an input.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use crate::source::Source;
use crate::source::file::FileSource;
use crate::units::SampleRate;

const FEWEST: usize = 3;
const HALF: f64 = 0.5;

/// How a file was matched.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MatchedBy {
    Name,
    Number,
    Order,
}

/// What a file of a multitrack folder is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Track {
    /// This line of the list, counted from 0.
    Input(usize, MatchedBy),
    /// The list has nothing that fits.
    Unlisted,
}

impl Track {
    pub const fn input(self) -> Option<usize> {
        match self {
            Self::Input(index, _) => Some(index),
            Self::Unlisted => None,
        }
    }
}

/// What a header tells beforehand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    pub rate: SampleRate,
    pub channels: usize,
    pub frames: Option<u64>,
    /// The time stamp of its first frame, in frames since midnight.
    pub stamp: Option<u64>,
}

impl Head {
    /// `None` where the file can't be read.
    pub fn of(path: &Path) -> Option<Self> {
        let source = FileSource::open(path).ok()?;
        let (format, info) = (source.format(), source.info());
        Some(Self { rate: format.rate, channels: format.channels, frames: info.frames, stamp: info.stamp })
    }
}

/// What each file is; none where its folder is no multitrack, or the list is empty. `names` are those of the list, in order.
pub fn match_tracks(files: &[(PathBuf, Option<Head>)], names: &[String]) -> HashMap<PathBuf, Track> {
    let mut folders: HashMap<&Path, Vec<&Path>> = HashMap::new();
    for (path, head) in files {
        if head.is_some_and(|head| head.channels == 1) {
            folders.entry(path.parent().unwrap_or(Path::new(""))).or_default().push(path);
        }
    }
    let of_one = |paths: Vec<&Path>| {
        let tracks = if paths.len() >= FEWEST && !names.is_empty() { of_folder(&paths, names) } else { Vec::new() };
        paths.into_iter().map(Path::to_owned).zip(tracks).collect::<Vec<_>>()
    };
    folders.into_values().flat_map(of_one).collect()
}

fn of_folder(files: &[&Path], names: &[String]) -> Vec<Track> {
    let stems: Vec<String> = files.iter().map(|path| stem(path)).collect();
    let mut tracks = vec![Track::Unlisted; files.len()];
    let mut taken = vec![false; names.len()];
    let mut pairs: Vec<(f64, usize, usize)> = Vec::new();
    for (file, stem) in stems.iter().enumerate() {
        let score = |name: &String| likeness(stem, name);
        pairs.extend(
            names.iter().enumerate().map(|(input, name)| (score(name), file, input)).filter(|pair| pair.0 >= HALF),
        );
    }
    // Of equals the one that stands in its place.
    pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| a.1.abs_diff(a.2).cmp(&b.1.abs_diff(b.2))));
    for (_, file, input) in pairs {
        if tracks[file] == Track::Unlisted && !taken[input] {
            (tracks[file], taken[input]) = (Track::Input(input, MatchedBy::Name), true);
        }
    }
    let numbers: Vec<Option<usize>> = stems.iter().map(|stem| number(stem)).collect();
    let mut seen = numbers.clone();
    seen.sort_unstable();
    seen.dedup();
    if numbers.iter().all(Option::is_some) && seen.len() == files.len() {
        for (track, number) in tracks.iter_mut().zip(&numbers) {
            let Some(input) = number.and_then(|number| number.checked_sub(1)) else { continue };
            if *track == Track::Unlisted && taken.get(input) == Some(&false) {
                (*track, taken[input]) = (Track::Input(input, MatchedBy::Number), true);
            }
        }
    }
    if files.len() == names.len() && tracks.iter().all(|track| *track == Track::Unlisted) {
        return (0..files.len()).map(|index| Track::Input(index, MatchedBy::Order)).collect();
    }
    tracks
}

/// The share of the name's words that stand in the file's name.
fn likeness(stem: &str, name: &str) -> f64 {
    let in_file = words(stem);
    let of_name = words(name);
    let told: usize = of_name.iter().map(|word| word.chars().count()).sum();
    let found = of_name.iter().filter(|word| in_file.contains(word)).map(|word| word.chars().count()).sum::<usize>();
    if told == 0 { 0.0 } else { found as f64 / told as f64 }
}

/// Runs of letters, and runs of digits without the zeros before them.
fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let chars: Vec<char> = lower.chars().filter(|c| *c != '\'' && *c != '’').collect();
    let kind = |c: char| (c.is_numeric(), c.is_alphanumeric());
    let parts = chars.chunk_by(|a, b| kind(*a) == kind(*b)).filter(|part| part[0].is_alphanumeric());
    parts
        .map(|part| part.iter().collect::<String>())
        .map(|word| word.trim_start_matches('0').to_owned())
        .filter(|word| !word.is_empty())
        .collect()
}

/// The first number in a name.
fn number(stem: &str) -> Option<usize> {
    words(stem).iter().find_map(|word| word.parse().ok())
}

fn stem(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tracks(files: &[&str], names: &[&str]) -> Vec<Option<usize>> {
        let paths: Vec<PathBuf> = files.iter().map(PathBuf::from).collect();
        let paths: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
        let names: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
        of_folder(&paths, &names).into_iter().map(Track::input).collect()
    }

    #[test]
    fn names_come_first_then_numbers_then_order() {
        let list = ["Lectern", "Soloist", "Choir left", "Choir right", "Keys"];
        let by_name = ["a keys.wav", "Choir_right.wav", "choir-left 2.wav", "lectern.wav", "the soloist.wav"];
        assert_eq!(tracks(&by_name, &list), [Some(4), Some(3), Some(2), Some(0), Some(1)]);
        assert_eq!(tracks(&["T01.wav", "T02.wav", "T05.wav"], &list), [Some(0), Some(1), Some(4)]);
        let neither = ["a.wav", "b.wav", "c.wav", "d.wav", "e.wav"];
        assert_eq!(tracks(&neither, &list), [Some(0), Some(1), Some(2), Some(3), Some(4)]);
        assert_eq!(tracks(&["a.wav", "b.wav", "keys.wav"], &list), [None, None, Some(4)]);
    }

    #[test]
    fn a_name_outranks_a_number_and_any_script_will_do() {
        assert_eq!(
            tracks(&["03 Lectern.wav", "01 Keys.wav", "02 x.wav"], &["Lectern", "Soloist", "Keys"]),
            [Some(0), Some(2), Some(1)]
        );
        assert_eq!(tracks(&["Хор.wav", "独唱.wav", "z.wav"], &["хор", "独唱", "Bass"]), [Some(0), Some(1), None]);
        assert_eq!(
            tracks(&["mic 1.wav", "mic 2.wav", "mic 3.wav"], &["Mic 2", "Mic 1", "Mic 3"]),
            [Some(1), Some(0), Some(2)]
        );
    }

    #[test]
    fn only_folders_of_mono_files_are_multitrack() {
        let head = |channels| Head { rate: SampleRate::new(48_000).unwrap(), channels, frames: None, stamp: None };
        let names = vec!["Lectern".to_owned()];
        let files = |channels| -> Vec<(PathBuf, Option<Head>)> {
            ["a", "b", "lectern"].map(|name| (PathBuf::from(format!("x/{name}.wav")), Some(head(channels)))).into()
        };
        assert_eq!(match_tracks(&files(2), &names).len(), 0);
        let matched = match_tracks(&files(1), &names);
        assert_eq!(matched[Path::new("x/lectern.wav")], Track::Input(0, MatchedBy::Name));
        assert_eq!(matched[Path::new("x/a.wav")], Track::Unlisted);
        assert_eq!(match_tracks(&files(1), &[]).len(), 0);
    }
}
