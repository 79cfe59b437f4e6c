//! The words of the recordings: what to do with none, the list, one that is opened, hearing a passage of it, picking.
//!
//! Times are a clock from the recording's start; levels are re full scale.

use super::bad::Bad;
use super::numbers::{self, counted};
use super::sentence::{Arrow, NextStep, Reply};
use super::takes::{Fault, Take};
use super::words::plain;
use crate::engine::excerpt::Played;
use crate::units::{Dbfs, Seconds};

pub const PICK: &str = "Pick files or folders  O";
pub const OPEN: &str = "Open it  Enter";
pub const TOGETHER: &str = "Tracks and problems  T";
pub const LIST: &str = "Back to the list  T";
pub const REPORT: &str = "Write a report  R";
pub const REPORT_FILE: &str = "recordings-report.html";
pub const BACK: &str = "Back to the list  Esc";
pub const PLAY: &str = "Hear it  P";
pub const STOP: &str = "STOP  Esc";
pub const EARLIER: &str = "Fault before  ←";
pub const LATER: &str = "Next fault  →";
pub const YES: &str = "Yes, it is down  Y";
pub const NO: &str = "No  Esc";

/// Asked before anything of a recording sounds, once for each that is opened.
pub const ASK_VOLUME: &str = "Headphones off your ears, volume down?";
pub const WHAT_IS_PLAYED: &str =
    "Six seconds around the fault, its channel alone, turned down to −20 dBFS where it is louder.";

pub const PICK_FIELD: &str = "Folder or file";
pub const PICK_UP: &str = "Up, to the folder around it";
pub const PICK_CLOSE: &str = "Close  Esc";
pub const NO_FOLDER: &str = "no folder or file is called that. Type another, or pick from the lines below";
pub const NOTHING_HERE: &str = "Nothing to pick here: no folders, no recordings";

/// The lines of the keys, for the help.
pub const KEYS: [(&str, &str); 7] = [
    ("↑ ↓", "walk the recordings"),
    ("Enter", "open one, or close it"),
    ("← →", "in an opened one: walk its faults"),
    ("P", "hear a few seconds around the fault; Esc stops"),
    ("O", "pick files or folders"),
    ("T", "all tracks and their problems, the cue list"),
    ("R", "write a report to print"),
];

/// "Read all here: 12 recordings".
pub fn read_all(recordings: usize, folders: usize) -> String {
    let recordings = counted(recordings as u64, "recording", "recordings");
    if folders == 0 {
        format!("Read all here: {recordings}")
    } else {
        format!("Read all here: {recordings}, {}", counted(folders as u64, "folder", "folders"))
    }
}

/// A line to pick.
pub fn entry(name: &str, is_folder: bool) -> String {
    if is_folder { format!("{} (folder)", plain(name)) } else { plain(name) }
}

/// No thread could be had.
pub fn cannot_begin(error: &std::io::Error) -> String {
    format!("reading could not begin: {error}. Close other programs, try again")
}

/// Where a report went, or why it could not be written.
pub fn written(path: &std::path::Path, failed: Option<String>) -> String {
    failed.unwrap_or_else(|| format!("Wrote {}", plain(&path.display().to_string())))
}

/// "clipped · Trim of …": where the name has a line of its own.
pub fn word_and_line(take: &Take) -> String {
    format!("{} · {}", take.bad.word(), take.line)
}

/// The whole list as a step: the worst first. Gives the headline and the step.
pub fn all(worst: Option<&Take>, read: usize, wanted: usize, failed: Option<&str>) -> (String, NextStep) {
    let (headline, then) = match worst {
        None if wanted > 0 => ("Reading …".into(), "they are only read".into()),
        None => ("Drop recordings here".to_owned(), "files or whole folders; they are only read".to_owned()),
        Some(take) if take.bad <= Bad::Note => (take.bad.headline().into(), "nothing is wrong with any of them".into()),
        // A long name stands whole in its own line below.
        Some(take) if take.name.chars().count() > 40 => (take.bad.headline().into(), take.line.clone()),
        Some(take) => (take.bad.headline().into(), format!("{}: {}", take.name, take.line)),
    };
    let proof = match failed {
        Some(why) => why.to_owned(),
        None if wanted == 0 => String::new(),
        None => format!("{read} of {} read", counted(wanted as u64, "recording", "recordings")),
    };
    (headline.clone(), NextStep { arrow: Arrow::None, sentence: headline, then, proof, reply: Reply::Over })
}

/// One recording as a step.
pub fn one(take: &Take) -> (String, NextStep) {
    let then = take.line.clone();
    let proof = take.details.first().filter(|_| take.envelope.is_some()).cloned().unwrap_or_default();
    (
        take.headline.clone(),
        NextStep { arrow: take.arrow, sentence: take.headline.clone(), then, proof, reply: Reply::Over },
    )
}

/// "2 of 7 faults"; of none that there are none.
pub fn which_fault(at: usize, of: usize) -> String {
    if of == 0 { "No faults found".into() } else { format!("{} of {}", at + 1, counted(of as u64, "fault", "faults")) }
}

/// What a picture says in words: "Level of hot take.wav over 3:05: loudest −0.1 dBFS, 2 faults".
pub fn picture(take: &Take, loudest: Option<Dbfs>) -> String {
    let loudest = numbers::dbfs(loudest.unwrap_or(Dbfs::SILENCE));
    let faults = counted(take.faults.len() as u64, "fault", "faults");
    format!("Level of {} over {}: loudest {loudest}, {faults}", take.name, numbers::length(take.length))
}

/// Which channel the picture shows.
pub fn shows(fault: Option<&Fault>, who: &str) -> String {
    fault.map_or_else(|| "all channels, the loudest at each time".into(), |_| who.to_owned())
}

/// How far a passage is; nothing once it is over.
pub fn played(played: &Played) -> Option<String> {
    match played {
        Played::Preparing => Some("Looking for the passage …".into()),
        Played::Sounding(at) => Some(format!("Sounds: {}", numbers::clock(*at))),
        Played::Over => None,
        Played::Failed(why) => Some(format!("Can’t be heard: {why}")),
    }
}

/// Times to letter on an axis of so many seconds: at most `most`, in steps that a clock has.
pub fn clock_marks(length: Seconds, most: usize) -> Vec<(Seconds, String)> {
    const STEPS: [u32; 16] = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14_400, 28_800];
    let most = most.max(1) as f64;
    let fits = |step: &f64| length.get() / step <= most;
    let step = STEPS.into_iter().map(f64::from).find(fits).unwrap_or_else(|| (length.get() / most).ceil().max(1.0));
    let marks = (length.get() / step).floor().max(0.0) as usize;
    (0..=marks).map(|mark| Seconds::new(mark as f64 * step)).map(|at| (at, numbers::clock(at))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_are_few_and_round() {
        let told = |length: f64, most| {
            let marks = clock_marks(Seconds::new(length), most);
            marks.into_iter().map(|(_, letters)| letters).collect::<Vec<_>>()
        };
        assert_eq!(told(4.0, 8), ["0:00", "0:01", "0:02", "0:03", "0:04"]);
        assert_eq!(told(185.0, 8), ["0:00", "0:30", "1:00", "1:30", "2:00", "2:30", "3:00"]);
        assert_eq!(told(7300.0, 5), ["0:00", "30:00", "1:00:00", "1:30:00", "2:00:00"]);
        for length in [0.0, 0.3, 59.0, 3599.0, 86_400.0, 1e7, f64::NAN] {
            assert!((1..=9).contains(&told(length, 8).len()), "{length}");
        }
    }

    #[test]
    fn faults_and_entries_in_words() {
        assert_eq!(which_fault(1, 7), "2 of 7 faults");
        assert_eq!(which_fault(0, 1), "1 of 1 fault");
        assert_eq!(which_fault(0, 0), "No faults found");
        assert_eq!(read_all(1, 0), "Read all here: 1 recording");
        assert_eq!(read_all(0, 2), "Read all here: 0 recordings, 2 folders");
        assert_eq!(entry("a\u{202e}b", true), "a\u{fffd}b (folder)");
    }

    #[test]
    fn a_passage_in_words() {
        assert_eq!(played(&Played::Sounding(Seconds::new(65.0))).unwrap(), "Sounds: 1:05");
        assert_eq!(played(&Played::Over), None);
        assert!(played(&Played::Failed("no output. Plug one in".into())).unwrap().contains("no output. Plug one in"));
    }
}
