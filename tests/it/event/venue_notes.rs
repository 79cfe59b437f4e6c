//! What a hall taught: kept beside its `venue.toml`, added to and never lost, told as something to confirm.

use std::fs;

use beforedoors::coach::ringout::{Band, Equaliser, Output, OutputResult};
use beforedoors::engine::ringout::Ended;
use beforedoors::event::{Date, EventError, Note, NotedCut, NotedKnob, NotedLoop, NotedSeat, VenueNotes, Way};
use beforedoors::units::{ChannelId, Db, Hertz, Seconds};
use beforedoors::view::venue_notes::{TO_CONFIRM, known_lines, noted_cuts, notes_lines, notes_records, ring_out_notes};

fn day(day: u8) -> Option<Date> {
    Date::new(2027, 3, day)
}

fn sweep(on: u8, rings: &[f64]) -> NotedLoop {
    NotedLoop {
        date: day(on),
        way: Way::AtReturn,
        output: Output::Mains,
        channel: Some(ChannelId::new(3)),
        microphone: Some("Soloist".into()),
        left: Some(Db::new(4.1)),
        rings: rings.iter().copied().map(Hertz::new).collect(),
        cuts: vec![NotedCut { at: Hertz::new(1259.0), depth: Db::new(-3.0), q: None }],
    }
}

fn knob(stands: &str) -> Note {
    let microphone = Some("Soloist".to_owned());
    let (channel, knob, stands) = (ChannelId::new(3), "Trim".to_owned(), stands.to_owned());
    Note::Knob(NotedKnob { date: day(12), channel, microphone, knob, stands })
}

fn seat(sti: f64) -> NotedSeat {
    NotedSeat {
        date: day(12),
        seat: "row 12".into(),
        place: Some((1.5, -9.0)),
        sti,
        over_background: Some(Db::new(14.0)),
        t20: Some(Seconds::new(1.4)),
        t30: None,
        edt: Some(Seconds::new(1.25)),
        c50: Some(Db::new(-1.2)),
    }
}

/// An event whose hall's folder is another one.
fn event(hall: &tempfile::TempDir) -> std::path::PathBuf {
    fs::write(hall.path().join("hall.toml"), "name = \"School hall\"\n").expect("written");
    let event = hall.path().join("spring");
    fs::create_dir(&event).expect("made");
    fs::write(event.join("event.toml"), "name = \"Spring\"\nvenue = \"../hall.toml\"\n").expect("written");
    event
}

#[test]
fn what_is_added_is_read_again_beside_the_hall() {
    let hall = tempfile::tempdir().expect("a folder");
    let event = event(&hall);
    assert!(VenueNotes::of(&event).expect("none yet").0.loops.is_empty());
    let first = sweep(12, &[1253.0, 2480.0]);
    let path = VenueNotes::add(&event, &[Note::Loop(first.clone()), knob("2 o'clock")]).expect("kept");
    assert_eq!(path.canonicalize().unwrap(), hall.path().join("venue-notes.toml").canonicalize().unwrap());
    // Somebody's own words and keys stay.
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, format!("# The curtain helps.\n{text}\n[caretaker]\nname = \"downstairs\"\n")).unwrap();
    let second = NotedLoop { date: day(20), channel: None, microphone: None, left: None, ..sweep(20, &[]) };
    VenueNotes::add(&event, &[Note::Loop(second.clone()), Note::Seat(seat(0.52))]).expect("kept");
    let text = fs::read_to_string(&path).unwrap();
    assert!(text.starts_with("# The curtain helps.") && text.contains("downstairs"), "{text}");
    let (notes, warnings) = VenueNotes::of(&event).expect("read");
    assert_eq!((notes.loops, notes.seats), (vec![first, second], vec![seat(0.52)]));
    assert_eq!(notes.knobs.len(), 1);
    assert!(warnings.iter().any(|warning| warning.to_string().contains("caretaker")), "{warnings:?}");
}

/// What can't be read is told with its place, and never written over.
#[test]
fn broken_notes_stay_as_they_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("venue-notes.toml");
    for (text, says) in [
        ("[[loop]\nway = 3", "TOML"),
        ("version = 9\n", "version 9"),
        ("[[loop]]\nway = \"guess\"\n", "sweep at a return"),
        ("[[loop]]\nrings_hz = [\"loud\"]\n", "[1253, 2480]"),
        ("[[loop]]\ncuts = [{ hz = 100, db = 3 }]\n", "{ hz = 1250, db = -3 }"),
        ("[[knob]]\nchannel = 65\nstands = \"up\"\n", "1 to 64"),
        ("[[seat]]\nseat = \"row 1\"\nsti = 2\n", "0 to 1"),
        ("loop = 3\n", "[[loop]]"),
    ] {
        fs::write(&path, text).unwrap();
        let read = VenueNotes::of(folder.path()).expect_err(text);
        let added = VenueNotes::add(folder.path(), &[knob("up")]).expect_err(text);
        for error in [&read, &added] {
            assert!(matches!(error, EventError::Mistakes(_)), "{text}: {error}");
            assert!(error.to_string().contains(says), "{text}: {error}");
        }
        assert_eq!(fs::read_to_string(&path).unwrap(), text);
    }
}

/// Lists that somebody wrote in one line take more.
#[test]
fn inline_lists_are_added_to() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("venue-notes.toml");
    fs::write(&path, "knob = [{ channel = 1, knob = \"Trim\", stands = \"noon\" }]\n").unwrap();
    VenueNotes::add(folder.path(), &[knob("2 o'clock")]).expect("kept");
    let (notes, _) = VenueNotes::of(folder.path()).expect("read");
    let stands: Vec<&str> = notes.knobs.iter().map(|knob| knob.stands.as_str()).collect();
    assert_eq!(stands, ["noon", "2 o'clock"]);
}

/// The same ring on two evenings, 1 % apart, counts twice; a note of the same evening does not.
#[test]
fn rings_are_counted_over_the_evenings() {
    let rung = NotedLoop { way: Way::RingOut, channel: None, microphone: None, ..sweep(20, &[2450.0]) };
    let wedge = NotedLoop { output: Output::Wedge(2), cuts: Vec::new(), ..sweep(12, &[800.0]) };
    let notes = VenueNotes {
        loops: vec![sweep(12, &[2480.0, 630.0]), sweep(12, &[2485.0]), rung, wedge],
        knobs: Vec::new(),
        seats: vec![seat(0.4), seat(0.52)],
    };
    let lines = notes_lines(&notes, 8);
    assert_eq!(
        lines,
        [
            "Mains",
            "  2.45 kHz on 2 evenings, last on 2027-03-20",
            "  630 Hz on 1 evening, last on 2027-03-12 with 4 Soloist",
            "  cut on 2027-03-20: 1.25k DOWN 3 dB",
            "Wedge 2",
            "  800 Hz on 1 evening, last on 2027-03-12 with 4 Soloist",
            "row 12: speech transmission 0.52, 14 dB over the background on 2027-03-12",
            TO_CONFIRM,
        ]
    );
    let known = known_lines(&notes, Output::Mains, &[Hertz::new(2460.0), Hertz::new(900.0)]);
    assert_eq!(known, ["2.46 kHz is noted of 2 evenings here already, last on 2027-03-20"]);
    assert!(known_lines(&notes, Output::Wedge(1), &[Hertz::new(2460.0)]).is_empty());
    let records = notes_records(&notes);
    assert!(records.iter().all(|record| record["type"].is_string()));
    assert!(records.iter().filter(|record| record["type"] == "noted_cut").all(|cut| cut["to_confirm"] == true));
}

/// Cuts of another evening come at the bands of this desk; where it has none, none.
#[test]
fn cuts_fit_the_desk_of_today() {
    let notes = VenueNotes { loops: vec![sweep(12, &[1253.0])], ..VenueNotes::default() };
    let octave = noted_cuts(&notes, Output::Mains, Equaliser::Octave);
    assert!((octave[0].band.centre().get() - 1000.0).abs() < 1.0, "{octave:?}");
    let third = noted_cuts(&notes, Output::Mains, Equaliser::ThirdOctave);
    assert!((third[0].band.centre().get() - 1258.9).abs() < 0.1 && third[0].depth == Db::new(-3.0), "{third:?}");
    let swept = noted_cuts(&notes, Output::Mains, Equaliser::Sweep);
    assert!(matches!(swept[0].band, Band::Swept { .. }));
    for none in [Equaliser::Shelves, Equaliser::Parametric] {
        assert!(noted_cuts(&notes, Output::Mains, none).is_empty(), "{none:?}");
    }
    assert!(noted_cuts(&notes, Output::Wedge(1), Equaliser::ThirdOctave).is_empty());
}

/// An output that was not rung out has nothing to tell.
#[test]
fn a_ring_out_is_noted_when_it_ended() {
    let open = OutputResult {
        output: Output::Wedge(1),
        end: None,
        before: None,
        held: None,
        bought: Db::ZERO,
        left_at: None,
        check_again: false,
        cure: None,
    };
    let ended = Ended { result: open, cuts: Vec::new(), rang: vec![Hertz::new(500.0)] };
    assert!(ring_out_notes(&[ended], day(12)).is_empty());
}
