//! An event: one occasion in one place, as a folder of plain text that anybody can read and mend.
//!
//! Names `units`, `plan` (the rig) and, of the coach, its targets and limits; knows nothing of audio, faces or wording of advice.
//!
//! # `event.toml`
//!
//! ```toml
//! version = 1                      # of this format
//! name = "Spring concert"
//! place = "School hall"            # optional, as is everything below
//! doors = 2027-03-12T18:30:00      # the hall's own clock; or just "18:30"
//! connection = "usb"               # "usb" all channels, "feed" one feed, "room" a room mic only
//! device = "Desk"                  # the input, by name
//!
//! [desk]
//! knob = "Trim"                    # the word beside the input knob
//! lamp = "Peak"                    # the word beside a meter's top lamp
//! marks = true                     # whether the knobs have dB marks
//! reference_dbfs = -22.0           # what a sine that reads 0 on the desk peaks at here
//! headroom_db = 20                 # from the desk's 0 to its clipping
//! date = 2027-03-10                # when that was measured
//!
//! [sound]                          # the level in the room
//! room_mic = 16                    # the channel of the microphone there
//! full_scale_db = 118.4            # what reads 0 dBFS there, dB re 20 µPa; without it levels are only relative
//! compared_with = "class 2 meter"  # or class 1 meter, other meter, class 1 calibrator, class 2 calibrator
//! microphone = "ordinary"          # or "measuring"
//! spread_db = 0.8                  # how far the reading wandered meanwhile
//! date = 2027-03-10                # when that was
//! note_dba = 88                    # LAeq over 15 min that is worth a note
//! act_dba = 93                     # and that is acted on
//! instant_dba = 105                # LAF at any moment
//! cap_dba = 100                    # LAeq over 15 min that is never passed
//! daily_dba = [80, 85, 87]         # for staff, LEX,8h: lower and upper action value, limit
//! peak_dbc = [135, 137, 140]       # the same for peaks
//!
//! [recording]
//! asked = true                     # it was asked who may be recorded
//! barred = [4, 7]                  # the channels that are never recorded
//! delete_after = 2027-04-30        # recordings should be gone after this day; nothing is deleted by itself
//!
//! [[song]]                         # one for each song, in the order of the programme
//! name = "Opening song"
//! open = [1, 2, 6]                 # the channels that are open in it
//! ```
//!
//! # `inputs.csv`
//!
//! ```csv
//! channel,name,kind,connection,show_lift_db
//! 1,Lectern,speech,mic,
//! 2,Soloist,solo vocal,radio,9
//! ```
//!
//! One line a channel, 1 to 64. `kind` is a word of [`SourceKind`](crate::units::SourceKind) or a plain
//! synonym, `connection` one of mic, di, line, radio, usb; an empty `show_lift_db` takes the kind's own.
//! Optional columns: person, stand, phantom (yes or no), notes, place_x_m, place_y_m (metres from the middle
//! of the stage's front edge). Headings may come in any order and case; columns and keys that are not known
//! are kept. Cells may be separated by `,`, `;` or tabs, numbers may have a decimal comma, the text may be
//! UTF-8 or, with a byte-order mark, UTF-16.
//!
//! What the hall taught on other evenings stands in `venue-notes.toml`, beside `venue.toml` (`venue_notes.rs`).
//! `soundcheck.toml` holds how the last soundcheck left each line (`checked.rs`). `log.jsonl` tells what happened (`log.rs`). `linecheck.csv` holds the ticks of the last line check (`ticks.rs`).
//!
//! Edge cases: everything wrong in both files is told at once, with file, line, column and what was expected
//! ([`EventError::Mistakes`]); what is merely doubtful is an [`EventWarning`]. Nothing is written that could
//! not be read back, and nothing over a file that somebody changed meanwhile.

pub mod carried;
mod checked;
mod error;
mod inputs;
mod list;
pub mod log;
mod pairs;
mod paste;
mod recent;
mod recording;
mod rewrite;
pub mod rig;
mod row;
mod save;
mod settings;
mod sound;
mod table;
mod text;
mod ticks;
mod venue_notes;
mod when;
mod words;

use std::fs;
use std::path::{Path, PathBuf};

pub use checked::{Checked, keep_checked, read_checked};
pub use error::{Doubt, EventError, EventWarning, Fault, Mistake, Spot};
pub use inputs::{Input, inputs_text, parse_inputs, read_inputs, write_inputs};
pub use list::{Change, List};
pub use pairs::pairs;
pub use recent::Recent;
pub use recording::Consent;
pub use settings::{Desk, Settings, Song};
pub use sound::Sound;
pub use ticks::{Tick, read_ticks, write_ticks};
pub use venue_notes::{Note, NotedCut, NotedKnob, NotedLoop, NotedSeat, VenueNotes, Way};
pub use when::{Date, Doors, clock};
pub use words::{Column, Connection, Listening};

use crate::units::ChannelId;

/// Puts `bytes` in a file's place in one step: whatever happens, what stands there is whole.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), EventError> {
    save::replace(path, bytes)
}
use error::Findings;

const EVENT_FILE: &str = "event.toml";
const INPUTS_FILE: &str = "inputs.csv";

/// An event folder, read.
#[derive(Clone, Debug)]
pub struct Event {
    /// What `event.toml` says.
    pub settings: Settings,
    /// What `inputs.csv` says, in the order of its lines.
    pub inputs: Vec<Input>,
    folder: PathBuf,
    /// The files as they were read or last written, to see what changed.
    event_bytes: Option<Vec<u8>>,
    inputs_bytes: Option<Vec<u8>>,
    inputs_read: Vec<Input>,
}

impl Event {
    /// An event of which only the name is known; nothing is written before [`Event::save`].
    pub fn new(folder: impl Into<PathBuf>, name: impl Into<String>) -> Self {
        Self {
            settings: Settings { name: name.into(), ..Settings::default() },
            inputs: Vec::new(),
            folder: folder.into(),
            event_bytes: None,
            inputs_bytes: None,
            inputs_read: Vec::new(),
        }
    }

    /// Reads the folder: the event and what was doubtful in it, or all that is wrong.
    pub fn open(folder: impl AsRef<Path>) -> Result<(Self, Vec<EventWarning>), EventError> {
        let folder = folder.as_ref();
        if !folder.is_dir() {
            return Err(EventError::NoFolder(folder.to_owned()));
        }
        let (event_path, inputs_path) = (folder.join(EVENT_FILE), folder.join(INPUTS_FILE));
        if !event_path.exists() {
            return Err(EventError::NoEventFile(folder.to_owned()));
        }
        let event_bytes = text::read(&event_path)?;
        let inputs_bytes = if inputs_path.exists() { Some(text::read(&inputs_path)?) } else { None };
        let (settings, inputs, warnings) = read_both(folder, &event_bytes, inputs_bytes.as_deref())?;
        let event = Self {
            settings,
            inputs: inputs.clone(),
            folder: folder.to_owned(),
            event_bytes: Some(event_bytes),
            inputs_bytes,
            inputs_read: inputs,
        };
        Ok((event, warnings))
    }

    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Writes what changed since it was read or last saved. Comments and keys that are not known stay; an
    /// input list that did not change is not touched.
    pub fn save(&mut self) -> Result<(), EventError> {
        let (event_path, inputs_path) = (self.folder.join(EVENT_FILE), self.folder.join(INPUTS_FILE));
        let event_bytes = self.event_text()?.into_bytes();
        let inputs_bytes = if self.inputs == self.inputs_read {
            self.inputs_bytes.clone()
        } else {
            Some(inputs_text(&self.inputs).into_bytes())
        };
        read_both(&self.folder, &event_bytes, inputs_bytes.as_deref())?;
        unchanged_since(&event_path, self.event_bytes.as_deref())?;
        unchanged_since(&inputs_path, self.inputs_bytes.as_deref())?;
        let unwritable = |cause| EventError::Unwritable { path: self.folder.clone(), cause };
        fs::create_dir_all(&self.folder).map_err(unwritable)?;
        // Songs name channels, so the channels come first.
        if let Some(bytes) = inputs_bytes.filter(|bytes| self.inputs_bytes.as_ref() != Some(bytes)) {
            save::replace(&inputs_path, &bytes)?;
            self.inputs_bytes = Some(bytes);
        }
        self.inputs_read = self.inputs.clone();
        if self.event_bytes.as_ref() != Some(&event_bytes) {
            save::replace(&event_path, &event_bytes)?;
            self.event_bytes = Some(event_bytes);
        }
        Ok(())
    }

    /// `event.toml` with what changed in it.
    fn event_text(&self) -> Result<String, EventError> {
        let path = self.folder.join(EVENT_FILE);
        let mut findings = Findings::new(path);
        let bytes = self.event_bytes.as_deref().unwrap_or_default();
        let text = text::decode(bytes, &mut findings).unwrap_or_default();
        let old = if text.is_empty() {
            Settings::default()
        } else {
            settings::read(&text, &folder_name(&self.folder), None, &mut findings)
        };
        rewrite::rewrite(&text, &old, &self.settings).map_err(|error| {
            findings.mistake((1, 1), "", Fault::Syntax(error.message().to_owned()));
            EventError::Mistakes(findings.mistakes)
        })
    }
}

/// Both files together, since songs name channels: all that is wrong in either is told at once.
fn read_both(
    folder: &Path,
    event_bytes: &[u8],
    inputs_bytes: Option<&[u8]>,
) -> Result<(Settings, Vec<Input>, Vec<EventWarning>), EventError> {
    let mut of_inputs = Findings::new(folder.join(INPUTS_FILE));
    let mut of_event = Findings::new(folder.join(EVENT_FILE));
    let inputs = match inputs_bytes {
        Some(bytes) => inputs::gather(bytes, &mut of_inputs),
        None => {
            of_inputs.warn((1, 1), "", Doubt::NoInputs(table::HEADINGS));
            Vec::new()
        }
    };
    let listed: Vec<ChannelId> = inputs.iter().map(|input| input.channel).collect();
    let complete = inputs_bytes.is_some() && of_inputs.mistakes.is_empty();
    let settings = text::decode(event_bytes, &mut of_event)
        .map(|text| settings::read(&text, &folder_name(folder), complete.then_some(&listed[..]), &mut of_event));
    let newer = |mistake: &Mistake| matches!(mistake.fault, Fault::Newer(_));
    if !of_event.mistakes.iter().any(newer) {
        of_event.mistakes.append(&mut of_inputs.mistakes);
        of_event.warnings.append(&mut of_inputs.warnings);
    }
    match settings {
        Some(settings) if of_event.mistakes.is_empty() => Ok((settings, inputs, of_event.warnings)),
        _ => Err(EventError::Mistakes(of_event.mistakes)),
    }
}

/// The folder's own name, which stands in for a missing one.
fn folder_name(folder: &Path) -> String {
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    whole.file_name().map_or_else(|| "event".to_owned(), |name| name.to_string_lossy().into_owned())
}

fn unchanged_since(path: &Path, known: Option<&[u8]>) -> Result<(), EventError> {
    let now = if path.exists() { Some(text::read(path)?) } else { None };
    if now.as_deref() == known { Ok(()) } else { Err(EventError::ChangedMeanwhile(path.to_owned())) }
}
