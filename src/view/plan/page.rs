//! The plan's page in the window: what its buttons and its states say. What is found of a rig is worded elsewhere here.

use crate::view::sentence::{Arrow, NextStep, Reply};

pub const NEXT: &str = "Next  ↓";
pub const BEFORE: &str = "Before  ↑";
pub const HALL: &str = "Seats  H";
pub const WIRES: &str = "Wires  H";
pub const PRINT: &str = "Print on A4  P";
pub const LETTER: &str = "Print on Letter  L";
pub const AGAIN: &str = "Read again  R";
pub const MAKE: &str = "Make the worked example  X";
pub const COMPUTED: &str = "Computed";
pub const NOT_COMPUTED: &str = "Nothing to compute here";
pub const CAUTIONS: &str = "Cautions";

pub const KEYS: [(&str, &str); 5] = [
    ("H", "in the plan: what the hall’s seats hear, and back to the wires"),
    ("↓ ↑", "in the plan: the next finding, or the one before"),
    ("PgDn PgUp", "in the plan and the line check: more of the picture"),
    ("P L", "in the plan: print the sheets, on A4 or Letter"),
    ("R", "in the plan: read the files again"),
];

/// Why there is no plan to be looked at, and the way on.
pub enum Missing {
    NoEvent,
    NoPatch,
    /// What is wrong in the files, a line each.
    Broken(String),
}

impl Missing {
    pub fn words(&self) -> (&'static str, NextStep) {
        let (headline, sentence, then, proof) = match self {
            Self::NoEvent => (
                "No event yet",
                "No event is open, so there is no rig to check.".to_owned(),
                "Drop an event’s folder on the window, or make the worked example: X".to_owned(),
                "an event is a folder with event.toml, inputs.csv and patch.csv, all plain text".to_owned(),
            ),
            Self::NoPatch => (
                "No wires yet",
                "The event has no patch.csv, so nobody knows which wire goes where.".to_owned(),
                "Write patch.csv into the event’s folder, one line a wire: wire,from,out,to,in,cable,length_m".to_owned(),
                "its first line is these words; 1,Lectern,,Hall desk,mic 1,mic cable,20 is a wire. It is read as soon as \
                 it is there"
                    .to_owned(),
            ),
            Self::Broken(told) => {
                let mut lines = told.lines().map(str::trim).filter(|line| !line.is_empty());
                let first = lines.next().unwrap_or_default().to_owned();
                let more = lines.collect::<Vec<_>>().join(" · ");
                ("Mend the files", "The event’s files can’t be read.".to_owned(), first, more)
            }
        };
        (headline, NextStep { arrow: Arrow::None, sentence, then, proof, reply: Reply::Over })
    }
}

/// Where the sheets lie.
pub fn printed(count: usize, folder: &str) -> String {
    format!("Wrote {count} sheets into {folder}. Open all.html there and print it")
}

pub fn example_made(folder: &str) -> String {
    format!(
        "Wrote the worked example into {folder}: an invented school’s concert, with faults to find. The simulated stage keeps its own inputs"
    )
}

/// "3 of 12".
pub fn place(at: usize, all: usize) -> String {
    format!("{} of {all}", at + 1)
}

pub const CHANGED: &str = "The files have changed: read again";
