//! The rig of an event, read from its folder: `patch.csv`, the desk's columns of `inputs.csv`, the rig's keys of
//! `event.toml`, and beside them `venue.toml` (the hall) and `gear.csv` (the store cupboard), shared between events.
//!
//! `event.toml` may say where those two are (`venue = "../hall.toml"`, `gear = "../gear.csv"`); else they are looked for in
//! the folder, then in the one above. Keys of the rig:
//!
//! ```toml
//! show_hours = 2.5                 # for batteries
//!
//! [[bus]]                          # an aux or a group
//! name = "aux 1"
//! for = "Soloist wedge"
//!
//! [[accepted]]                     # a “works, but” that somebody lives with; a “never” stays
//! about = "wire 6"
//! what = "too-hot"
//! because = "the pad is on and taped"
//! ```
//!
//! `venue.toml` has a version of its own; the version of `event.toml` counts for the sheets beside it.
//!
//! Edge cases: everything wrong in all files is told at once; a missing `patch.csv`, `gear.csv` or `venue.toml` is no
//! mistake, the check then says what it cannot tell.

mod desk;
mod example;
mod gear;
mod patch;
mod sheet;
mod venue;
mod words;

use std::fs;
use std::path::{Path, PathBuf};

use toml_edit::{Document, Item, TableLike};

use super::error::{EventError, EventWarning, Findings, Mistake};
use super::settings::{Reader, listed, number};
use super::{Event, Song, save, text};
use crate::coach::Targets;
use crate::plan::gear::{Gear, GearKind};
use crate::plan::rig::{Accepted, Bus, BusSetting, Rig, Strip, Thing, Venue};
use crate::units::{Db, SourceKind};
use patch::Known;

pub use example::{FILES, write_example};
pub use words::{KINDS, kind_word};

const PATCH_FILE: &str = "patch.csv";
const GEAR_FILE: &str = "gear.csv";
const VENUE_FILE: &str = "venue.toml";

/// What `venue.toml` says.
struct Hall {
    path: PathBuf,
    venue: Venue,
    places: Vec<venue::Placed>,
}

/// Reads an event with its rig, or all that is wrong in any of its files.
pub fn open(folder: impl AsRef<Path>) -> Result<(Event, Rig, Vec<EventWarning>), EventError> {
    let folder = folder.as_ref();
    let mut mistakes = Vec::new();
    let (event, mut warnings) = match Event::open(folder) {
        Ok((event, warnings)) => (event, warnings),
        Err(EventError::Mistakes(found)) => {
            // The other files are read all the same, so that one visit to the editor mends everything.
            mistakes.extend(found);
            let mut event = Event::new(folder, "");
            // Else every wire would name a source that nobody knows.
            if let Ok(bytes) = text::read(&folder.join(super::INPUTS_FILE)) {
                event.inputs = super::inputs::gather(&bytes, &mut Findings::new(PathBuf::new()));
            }
            (event, Vec::new())
        }
        Err(error) => return Err(error),
    };
    let mut files = Files { folder, mistakes, warnings: Vec::new() };
    let rig = files.rig(&event)?;
    warnings.append(&mut files.warnings);
    if files.mistakes.is_empty() { Ok((event, rig, warnings)) } else { Err(EventError::Mistakes(files.mistakes)) }
}

/// Writes a file of the folder so that it is always whole.
pub fn write(folder: &Path, name: &str, text: &str) -> Result<(), EventError> {
    let path = folder.join(name);
    let unwritable = |cause| EventError::Unwritable { path: path.clone(), cause };
    fs::create_dir_all(path.parent().unwrap_or(folder)).map_err(unwritable)?;
    save::replace(&path, text.as_bytes())
}

/// The files of a folder, and what was found wrong in them.
struct Files<'a> {
    folder: &'a Path,
    mistakes: Vec<Mistake>,
    warnings: Vec<EventWarning>,
}

impl Files<'_> {
    fn rig(&mut self, event: &Event) -> Result<Rig, EventError> {
        let keys = self.keys()?;
        let stock = self.stock(keys.gear.as_deref())?;
        let hall = self.venue(keys.venue.as_deref())?;
        let (venue, places) = hall.as_ref().map_or((None, &[][..]), |hall| (Some(hall.venue.clone()), &hall.places));
        let mut known = Vec::new();
        let strips = self.strips(event, stock.as_deref().unwrap_or_default(), &mut known)?;
        known.extend(from_stock(stock.as_deref().unwrap_or_default()));
        known.extend(venue.iter().flat_map(|venue: &Venue| &venue.circuits).map(|circuit| Known {
            thing: Thing { name: circuit.name.clone(), kind: GearKind::Circuit, spec: <_>::default(), place: None },
            id: None,
        }));
        for known in &mut known {
            let place = places.iter().find(|place| place.is_of(&known.thing.name));
            known.thing.place = place.map(|place| place.at).or(known.thing.place);
        }
        // What hangs on a file that is not whole is not told of beside it.
        let no_inputs = !self.folder.join(super::INPUTS_FILE).exists();
        let unbroken = self.mistakes.is_empty();
        let whole = unbroken && stock.is_some() && !no_inputs;
        let missing = match (&stock, no_inputs) {
            (_, true) => Some((super::INPUTS_FILE, "channel,name,kind")),
            (None, _) if unbroken => Some((GEAR_FILE, gear::EXAMPLE)),
            _ => None,
        };
        if let Some(hall) = hall.as_ref().filter(|_| whole) {
            self.reading_file(hall.path.clone(), |findings| venue::unplaced(&hall.places, &known, findings));
        }
        let mut things = Vec::new();
        let wires = match self.optional(&self.folder.join(PATCH_FILE))? {
            Some(bytes) => self.reading(PATCH_FILE, |findings| {
                text::ended(&bytes, findings);
                let wires = patch::read(&bytes, hall.is_some(), &mut known, &mut things, findings);
                if !whole {
                    patch::tell_the_cause(missing, findings);
                }
                wires
            }),
            None => Vec::new(),
        };
        let open = |song: &Song| song.open.iter().map(|channel| channel.number() as u8).collect();
        Ok(Rig {
            name: event.settings.name.clone(),
            things,
            wires,
            strips,
            buses: keys.buses,
            stock,
            venue,
            accepted: keys.accepted,
            songs: event.settings.songs.iter().map(open).collect(),
            show_hours: keys.show_hours,
        })
    }

    fn strips(&mut self, event: &Event, stock: &[Gear], known: &mut Vec<Known>) -> Result<Vec<Strip>, EventError> {
        let Some(bytes) = self.optional(&self.folder.join(super::INPUTS_FILE))? else { return Ok(Vec::new()) };
        let channels = self.reading(super::INPUTS_FILE, |findings| {
            text::ended(&bytes, findings);
            desk::read(&bytes, &event.inputs, crest_and_lift, findings)
        });
        let mut strips = Vec::with_capacity(channels.len());
        for (channel, input) in channels.into_iter().zip(&event.inputs) {
            let usual = desk::usual_gear(input.kind, input.connection, input.phantom);
            let (kind, spec) = match &channel.gear {
                None => (GearKind::Source(usual), desk::only_of(GearKind::Source(usual), stock)),
                Some(word) => desk::gear_of(word, stock).unwrap_or_else(|| {
                    self.unknown_gear(word, channel.gear_at, stock);
                    (GearKind::Source(usual), <_>::default())
                }),
            };
            let thing = Thing { name: channel.strip.name.clone(), kind, spec, place: channel.strip.place };
            known.push(Known { thing, id: None });
            strips.push(channel.strip);
        }
        Ok(strips)
    }

    fn unknown_gear(&mut self, word: &str, at: (usize, usize), stock: &[Gear]) {
        let is_source = |kind: &GearKind| matches!(kind, GearKind::Source(_));
        let sources = KINDS.iter().filter(|(_, kind)| is_source(kind)).map(|(word, _)| *word);
        let own = stock.iter().filter(|gear| is_source(&gear.kind)).map(|gear| gear.name.clone());
        let words: Vec<String> = sources.clone().map(str::to_owned).chain(own).collect();
        let near = super::words::nearest(word, words.iter().map(|word| (word.as_str(), word.clone())));
        let expected = format!("a name from gear.csv, or one of: {}", super::words::list(sources));
        let stood = super::error::quote(word);
        self.reading(super::INPUTS_FILE, |findings| {
            let fault = super::error::Fault::Value { stood, thing: "a source", expected, near };
            findings.mistake(at, "gear", fault);
        });
    }

    /// The rig's keys of `event.toml`; what else is wrong there was told before.
    fn keys(&mut self) -> Result<Keys, EventError> {
        let bytes = text::read(&self.folder.join(super::EVENT_FILE))?;
        let Some(text) = text::decode(&bytes, &mut Findings::new(PathBuf::new())) else { return Ok(Keys::default()) };
        let Ok(document) = Document::parse(text.as_str()) else { return Ok(Keys::default()) };
        Ok(self.reading(super::EVENT_FILE, |findings| {
            text::ended(&bytes, findings);
            Keys::read(document.as_table(), &text, findings)
        }))
    }

    fn stock(&mut self, said: Option<&str>) -> Result<Option<Vec<Gear>>, EventError> {
        let Some((path, bytes)) = self.shared(said, GEAR_FILE)? else { return Ok(None) };
        Ok(Some(self.reading_file(path, |findings| {
            text::ended(&bytes, findings);
            gear::read(&bytes, findings)
        })))
    }

    fn venue(&mut self, said: Option<&str>) -> Result<Option<Hall>, EventError> {
        let Some((path, bytes)) = self.shared(said, VENUE_FILE)? else { return Ok(None) };
        let read = self.reading_file(path.clone(), |findings| {
            text::ended(&bytes, findings);
            text::decode(&bytes, findings).map(|text| venue::read(&text, findings))
        });
        Ok(read.map(|(venue, places)| Hall { path, venue, places }))
    }

    /// A file that events share.
    fn shared(&self, said: Option<&str>, name: &str) -> Result<Option<(PathBuf, Vec<u8>)>, EventError> {
        let Some(path) = shared(self.folder, said, name) else { return Ok(None) };
        let bytes = text::read(&path)?;
        Ok(Some((path, bytes)))
    }

    fn optional(&self, path: &Path) -> Result<Option<Vec<u8>>, EventError> {
        if path.exists() { text::read(path).map(Some) } else { Ok(None) }
    }

    fn reading<T>(&mut self, name: &str, read: impl FnOnce(&mut Findings) -> T) -> T {
        self.reading_file(self.folder.join(name), read)
    }

    fn reading_file<T>(&mut self, path: PathBuf, read: impl FnOnce(&mut Findings) -> T) -> T {
        let mut findings = Findings::new(path);
        let answer = read(&mut findings);
        for mistake in findings.mistakes {
            // Two readers of one file may find the same.
            if !self.mistakes.contains(&mistake) {
                self.mistakes.push(mistake);
            }
        }
        self.warnings.append(&mut findings.warnings);
        answer
    }
}

/// A file that events share: where it was said to be, or here, or in the folder above.
fn shared(folder: &Path, said: Option<&str>, name: &str) -> Option<PathBuf> {
    match said {
        Some(said) => Some(folder.join(said)),
        None => [folder.join(name), folder.join("..").join(name)].into_iter().find(|path| path.exists()),
    }
}

/// The hall's own folder: that of its `venue.toml`, or the event's where there is none.
pub(super) fn venue_folder(folder: &Path) -> PathBuf {
    let said = || {
        let text = fs::read_to_string(folder.join(super::EVENT_FILE)).ok()?;
        let event = Document::parse(text).ok()?;
        event.get("venue").and_then(Item::as_str).map(str::to_owned)
    };
    let venue = shared(folder, said().as_deref(), VENUE_FILE);
    venue.and_then(|path| Some(path.parent()?.to_owned())).unwrap_or_else(|| folder.to_owned())
}

/// The things of the gear list that wires may name: a lone one by its name, several by name and number too.
fn from_stock(stock: &[Gear]) -> impl Iterator<Item = Known> {
    let named = |gear: &Gear, name: String| Known {
        thing: Thing { name, kind: gear.kind, spec: gear.spec.clone(), place: None },
        id: None,
    };
    let things =
        stock.iter().filter(|gear| !matches!(gear.kind, GearKind::Lead(_) | GearKind::Box(_) | GearKind::Stand(_)));
    things.flat_map(move |gear| {
        let single = (gear.count <= 1).then(|| named(gear, gear.name.clone()));
        let numbered = (1..=gear.count.min(64)).filter(|_| gear.count > 1);
        single.into_iter().chain(numbered.map(move |n| named(gear, format!("{} {n}", gear.name))))
    })
}

/// The middle of the kind's usual crest, and its show lift.
fn crest_and_lift(kind: SourceKind) -> (Db, Db) {
    let targets = Targets::of(kind);
    let (least, most) = targets.active_crest;
    (Db::new((least.get() + most.get()) / 2.0), targets.show_lift)
}

/// What `event.toml` says of the rig.
#[derive(Default)]
struct Keys {
    venue: Option<String>,
    gear: Option<String>,
    show_hours: Option<f64>,
    buses: Vec<BusSetting>,
    accepted: Vec<Accepted>,
}

impl Keys {
    fn read(event: &dyn TableLike, text: &str, findings: &mut Findings) -> Self {
        let mut reader = Reader::new(text, findings);
        Self {
            venue: reader.words(event, "venue"),
            gear: reader.words(event, "gear"),
            show_hours: reader.value(event, "show_hours", "a length", "a number from 0.1 to 24 (hours)", |item| {
                number(item, 0.1..=24.0)
            }),
            buses: listed(&mut reader, event, "bus", bus).into_iter().flatten().collect(),
            accepted: listed(&mut reader, event, "accepted", |reader, table| {
                reader.unknown_keys(table, &["about", "what", "because"]);
                let about = venue::required(reader, table, "about", "what it is about, such as \"wire 6\"");
                let what = venue::required(reader, table, "what", "the finding's word, such as \"too-hot\"");
                let because = venue::required(reader, table, "because", "the reason, in \"quotes\"");
                Some(Accepted { about: about?, what: what?, because: because? })
            }),
        }
    }
}

/// `main` is two buses.
fn bus(reader: &mut Reader, table: &dyn TableLike) -> Option<Vec<BusSetting>> {
    reader.unknown_keys(table, &["name", "for", "mute", "to_main"]);
    let name = venue::required(reader, table, "name", "aux 1, group 1 or main")?;
    let answer = |reader: &mut Reader, key| {
        reader.value(table, key, "an answer", "true or false", toml_edit::Item::as_bool).unwrap_or(false)
    };
    let (mute, to_main) = (answer(reader, "mute"), answer(reader, "to_main"));
    let for_whom = reader.words(table, "for").unwrap_or_default();
    let number = |word: &str| {
        let number = name.to_lowercase().strip_prefix(word)?.trim().parse::<u8>().ok()?;
        (1..=64).contains(&number).then_some(number)
    };
    let buses = match (name.to_lowercase().as_str(), number("aux"), number("group")) {
        ("main", _, _) => vec![Bus::MainLeft, Bus::MainRight],
        (_, Some(aux), _) => vec![Bus::Aux(aux)],
        (_, _, Some(group)) => vec![Bus::Group(group)],
        _ => {
            if let Some(item) = table.get("name") {
                reader.wrong(item, "name", "a bus", "\"aux 1\", \"group 1\" or \"main\"");
            }
            return None;
        }
    };
    let setting = |bus| BusSetting { bus, to_main, mute, for_whom: for_whom.clone() };
    Some(buses.into_iter().map(setting).collect())
}
