//! `notes`: what the hall taught on other evenings, and what this one adds.
//!
//! Exit codes: 0 something is noted, 2 nothing is yet.

use std::path::Path;

use anyhow::Context;

use super::args::NotesArgs;
use super::{Exit, out, setup};
use crate::event::{Date, Event, Note, NotedKnob, VenueNotes};
use crate::units::ChannelId;
use crate::view::Setup;
use crate::view::venue_notes::{NO_NOTES, kept, notes_lines, notes_records};

/// Rings of each output that are told.
const MOST: usize = 8;

pub fn run(args: &NotesArgs) -> anyhow::Result<Exit> {
    let setup = setup::read(args.event.as_deref())?;
    let event = setup.event.as_ref().context("no event is named. Give its folder with --event FOLDER")?;
    if let Some([channel, stands]) = args.knob.as_deref() {
        let note = knob(&setup, event, channel, stands, args.named.as_deref())?;
        return keep(Some(event.folder()), &[note], args.json).map(|()| Exit::Fine);
    }
    let notes = of(&setup)?;
    let lines = notes_lines(&notes, MOST);
    if args.json {
        notes_records(&notes).iter().try_for_each(out::json)?;
    } else if lines.is_empty() {
        out::line(NO_NOTES)?;
    } else {
        lines.iter().try_for_each(|line| out::line(line))?;
    }
    Ok(if lines.is_empty() { Exit::CannotTell } else { Exit::Fine })
}

fn knob(setup: &Setup, event: &Event, channel: &str, stands: &str, named: Option<&str>) -> anyhow::Result<Note> {
    let number = channel.parse::<u16>().ok().and_then(|number| number.checked_sub(1));
    let channel = number.map(ChannelId::new).filter(|channel| channel.index() < ChannelId::MAX_CHANNELS);
    let channel = channel.context("that is no channel. Give its number, then the position: --knob 4 \"2 o'clock\"")?;
    let line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let stands = line(stands);
    anyhow::ensure!(
        !stands.is_empty() && !stands.contains(char::is_control) && stands.len() <= 80,
        "a position is a few words. For example: --knob 4 \"2 o'clock\""
    );
    let microphone = event.inputs.iter().find(|input| input.channel == channel).map(|input| input.name.clone());
    let knob = named.map_or_else(|| setup.desk.knob.clone(), line);
    Ok(Note::Knob(NotedKnob { date: Date::today(), channel, microphone, knob, stands }))
}

/// Of the hall that the event is in; none without an event.
pub fn of(setup: &Setup) -> anyhow::Result<VenueNotes> {
    let Some(event) = &setup.event else { return Ok(VenueNotes::default()) };
    let (notes, warnings) = VenueNotes::of(event.folder()).context("the notes of this hall can't be read")?;
    warnings.iter().for_each(|warning| out::note(&warning.to_string()));
    Ok(notes)
}

/// Adds these to the notes of this event's hall, where there is an event, and says where they stand.
pub fn keep(event: Option<&Path>, notes: &[Note], json: bool) -> anyhow::Result<()> {
    let Some(event) = event.filter(|_| !notes.is_empty()) else { return Ok(()) };
    let path = VenueNotes::add(event, notes).context("the notes of this hall can't be kept")?;
    let told = kept(&path);
    if json {
        out::note(&told)
    } else {
        out::line(&told)?
    }
    Ok(())
}
