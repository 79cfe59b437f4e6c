//! The texts of a folder that carries the program: a page in plain words, the start script, what is said when it is made.
//!
//! The script is for `sh` of any Linux; nothing in it needs rights or a network.

use std::path::Path;

use super::numbers::counted;

pub const PAGE: &str = "read-me.txt";
pub const SCRIPT: &str = "start.sh";
pub const PROGRAM: &str = "beforedoors";
/// Stands in the folder of the settings, so that it is not empty: some ways of copying leave empty folders out.
pub const KEPT_HERE: (&str, &str) = ("kept-here.txt", "beforedoors keeps its settings in this folder.\n");

/// The page, for this kind of machine.
pub fn page() -> String {
    include_str!("carry/read-me.txt").replace("@MACHINE@", std::env::consts::ARCH)
}

pub fn script() -> String {
    include_str!("carry/start.sh").replace("@MACHINE@", std::env::consts::ARCH)
}

pub fn carried(folder: &Path, files: usize) -> String {
    let files = counted(files as u64, "file", "files");
    let (folder, script) = (folder.display(), folder.join(SCRIPT).display().to_string());
    format!("Put {files} into {folder}; each was read back and is the same.\nOn the other laptop: sh {script}")
}

pub const ELSEWHERE: &str = "this command makes a folder for Linux. The README says how it is done on this system";
