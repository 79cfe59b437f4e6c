//! The ring-out and the show for the eye: headlines, the frequency scale and what stands on it, the line of what was won.
//!
//! Places are shares of the picture: left to right 70 Hz to 16 kHz, each octave equally wide; bottom to top −110 dBFS to
//! full scale. Edge cases: what is no number has no place; a ring that several microphones hear is one mark, the loudest.

use super::numbers::{counted, span};
use super::ringout::{band, frequency, note, output_name};
use crate::coach::ringout::{
    Band, Cut, Equaliser, Grab, Haste, Microphones, Output, Place, RingAdvice, RingStep, RingWish, SPARE_FOR_CHOIR,
    SPARE_FOR_VOICES, ShowAction, ShowAdvice, Urgency,
};
use crate::detectors::{Certainty, Ring};
use crate::event::Song;
use crate::units::{Db, Hertz};

/// The scale: the detector's own range.
const LOWEST: f64 = 70.0;
const OCTAVES: f64 = 7.84;
const QUIETEST: f64 = -110.0;
/// Columns of a spectrum in an octave.
const PER_OCTAVE: f64 = 24.0;
/// Marks of one tone: within a third of a semitone.
const SAME: f64 = 1.02;

/// As it is read from two metres: at most 26 letters.
pub fn ring_headline(advice: &RingAdvice) -> String {
    let output = advice.output.map_or_else(|| "Mains".to_owned(), output_name);
    match advice.step {
        RingStep::Cautions => "Is everyone safe?".into(),
        RingStep::Prepare { .. } => format!("{output}: equaliser flat"),
        RingStep::SetFader { to } if to.get() < -0.05 => format!("{output} {} under mark", number(to)),
        RingStep::SetFader { .. } => format!("{output} fader to mark"),
        RingStep::Open(Microphones::One(channel)) => format!("Open {} only", channel.number()),
        RingStep::Open(Microphones::Two(one, two)) => format!("Open {} and {} only", one.number(), two.number()),
        RingStep::Open(Microphones::Show) => "Open all of the show".into(),
        RingStep::Up { by, .. } | RingStep::BackUp { by } => format!("{output} fader UP {by}"),
        RingStep::Wait => "Listening".into(),
        RingStep::DropToTest { by } => format!("{output} DOWN {by} to test"),
        RingStep::Down { by, haste: Haste::Now, .. } => format!("DOWN NOW {output} {by}"),
        RingStep::Down { by, .. } => format!("{output} fader DOWN {by}"),
        RingStep::AskQuiet => "Ask for quiet".into(),
        RingStep::LowCut { at, place: Place::Output(_) } => format!("Low-cuts ON, {:.0} Hz", at.get()),
        RingStep::LowCut { at, place: Place::Channel(channel) } => {
            format!("Low-cut {} ON, {:.0} Hz", channel.number(), at.get())
        }
        RingStep::Cut(change) => turn(&change.main, "DOWN"),
        RingStep::Free(grab) => turn(&grab, "UP"),
        RingStep::PutBack(change) => turn(&change.main, "UP"),
        RingStep::Leave { by, .. } if by < Db::ZERO => format!("{output} DOWN {}, leave it", number(by)),
        RingStep::Leave { by, .. } => format!("{output} UP {}, leave it", number(by)),
        RingStep::AskDull => "Did words get dull?".into(),
        RingStep::GiveBack(cut) => format!("{} {} UP {}", place(cut.place), band(cut.band), number(cut.depth)),
        RingStep::CutAgain(cut) => format!("{} {} DOWN {}", place(cut.place), band(cut.band), number(cut.depth)),
        RingStep::Over => "The ring-out is over".into(),
    }
}

/// The same for the show.
pub fn show_headline(advice: &ShowAdvice) -> String {
    match advice.action {
        ShowAction::Nothing => "As rehearsed".into(),
        ShowAction::FaderDown { channel, by } => format!("Ch {} DOWN {by} now", channel.number()),
        ShowAction::MainsDown { by } => format!("Mains DOWN {by} now"),
        ShowAction::MuteIdle => "Mute what is not in use".into(),
        ShowAction::Cut(change) => turn(&change.main, "DOWN"),
        ShowAction::CreepBack { channel: Some(channel), by } => format!("Ch {} may go UP {by}", channel.number()),
        ShowAction::CreepBack { channel: None, by } => format!("Mains may go UP {by}"),
    }
}

pub const fn urgency_word(urgency: Urgency) -> &'static str {
    match urgency {
        Urgency::Now => "now",
        Urgency::Soon => "soon",
        Urgency::Later => "later",
    }
}

/// "Mains 2.5k DOWN 3".
fn turn(grab: &Grab, direction: &str) -> String {
    format!("{} {} {direction} {}", place(grab.place), band(grab.band), number(grab.by))
}

fn place(place: Place) -> String {
    match place {
        Place::Output(output) => output_name(output),
        Place::Channel(channel) => format!("Ch {}", channel.number()),
    }
}

/// Without sign and unit.
fn number(db: Db) -> String {
    span(db).trim_end_matches(" dB").to_owned()
}

/// Where a frequency stands.
pub fn frequency_place(at: Hertz) -> Option<f64> {
    let place = (at.get() / LOWEST).log2() / OCTAVES;
    (0.0..=1.0).contains(&place).then_some(place)
}

/// A spectrum's columns as a line.
pub fn spectrum_line(columns: &[f32]) -> Vec<(f64, f64)> {
    let up = |power: f32| {
        let level = 10.0 * f64::from(power).max(1e-30).log10();
        (1.0 - level / QUIETEST).clamp(0.0, 1.0)
    };
    columns.iter().enumerate().map(|(at, &power)| (at as f64 / PER_OCTAVE / OCTAVES, up(power))).collect()
}

/// Octave bands as they are printed (ISO 266).
pub fn octaves() -> Vec<(f64, &'static str)> {
    const PRINTED: [(f64, &str); 7] = [
        (125.0, "125"),
        (250.0, "250"),
        (500.0, "500"),
        (1000.0, "1k"),
        (2000.0, "2k"),
        (4000.0, "4k"),
        (8000.0, "8k"),
    ];
    PRINTED.iter().filter_map(|&(hz, name)| Some((frequency_place(Hertz::new(hz))?, name))).collect()
}

/// The Cs of a keyboard, from C3 to C9.
pub fn notes() -> Vec<(f64, String)> {
    let c = |octave: i32| Hertz::new(440.0 * 2f64.powf(f64::from(octave) - 4.75));
    (3..=9).filter_map(|octave| Some((frequency_place(c(octave))?, note(c(octave))?))).collect()
}

/// A band of the desk's equaliser: where it begins and ends, what is printed on it, and how deep it is cut.
#[derive(Clone, Debug, PartialEq)]
pub struct BandMark {
    pub from: f64,
    pub to: f64,
    pub printed: String,
    pub depth: Db,
}

/// The bands of a graphic equaliser, with what is cut of `on`.
pub fn bands(equaliser: Equaliser, on: Output, cuts: &[Cut]) -> Vec<BandMark> {
    let mut next = equaliser.nearest(Hertz::new(LOWEST));
    let mut marks = Vec::new();
    while let Some(at) = next {
        let edge = |factor: f64| frequency_place(Hertz::new(at.centre().get() * factor));
        let half = 10f64.powf(at.spacing() / 20.0);
        let (from, to) = (edge(1.0 / half).unwrap_or(0.0), edge(half).unwrap_or(1.0));
        if from < to && at.centre().get() < 16_500.0 {
            let mine = |cut: &&Cut| cut.place == Place::Output(on) && cut.band == Band::Graphic(at);
            let depth = cuts.iter().find(mine).map_or(Db::ZERO, |cut| cut.depth);
            marks.push(BandMark { from, to, printed: band(Band::Graphic(at)), depth });
        }
        next = equaliser.beside(at)[1];
    }
    marks
}

/// A ring on the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct RingMark {
    pub place: f64,
    /// Else only possible.
    pub ringing: bool,
    /// "ringing 2.44 kHz · D#7 · band 2.5k · +14 dB/s".
    pub label: String,
}

/// One mark a tone, loudest first.
pub fn ring_marks(rings: &[Ring], equaliser: Equaliser) -> Vec<RingMark> {
    let mut standing: Vec<&Ring> = rings.iter().filter(|ring| ring.end.is_none()).collect();
    standing.sort_by(|a, b| b.certainty.cmp(&a.certainty).then(b.level.get().total_cmp(&a.level.get())));
    let mut marks: Vec<(f64, RingMark)> = Vec::new();
    for ring in standing {
        let hz = ring.frequency.get();
        let known = marks.iter().any(|(other, _)| (hz / other).max(other / hz) < SAME);
        if let Some(place) = frequency_place(ring.frequency).filter(|_| !known) {
            let mark = RingMark { place, ringing: ring.certainty == Certainty::Ringing, label: label(ring, equaliser) };
            marks.push((hz, mark));
        }
    }
    marks.into_iter().map(|(_, mark)| mark).collect()
}

fn label(ring: &Ring, equaliser: Equaliser) -> String {
    let sure = match ring.certainty {
        Certainty::Ringing => "ringing",
        Certainty::Possible => "possible",
    };
    let mut parts = vec![format!("{sure} {}", frequency(ring.frequency))];
    parts.extend(note(ring.frequency));
    parts.extend(equaliser.nearest(ring.frequency).map(|at| format!("band {}", band(Band::Graphic(at)))));
    if ring.growth.is_finite() {
        parts.push(format!("{:+.0} dB/s", ring.growth).replace('-', "−"));
    }
    parts.join(" · ")
}

/// The picture for who can't see it.
pub fn spectrum_spoken(marks: &[RingMark]) -> String {
    let rings: Vec<&str> = marks.iter().map(|mark| mark.label.as_str()).collect();
    if rings.is_empty() { "Spectrum: nothing rings".into() } else { format!("Spectrum: {}", rings.join("; ")) }
}

/// What the cuts have won: "bought 4 dB", "3 bands", "quiet to 2 dB above the mark, 6 dB wanted".
pub fn won(advice: &RingAdvice) -> Vec<String> {
    let why = &advice.why;
    let mut parts = vec![format!("bought {}", span(why.bought)), counted(why.bands as u64, "band", "bands")];
    if let Some(held) = why.held {
        let side = if held < Db::ZERO { "below" } else { "above" };
        let wanted = why.target.map(|target| format!(", {} wanted", span(target))).unwrap_or_default();
        parts.push(format!("quiet to {} {side} the mark{wanted}", span(held)));
    }
    parts
}

/// An equaliser, as a button.
pub const fn equaliser_name(equaliser: Equaliser) -> &'static str {
    match equaliser {
        Equaliser::ThirdOctave => "31 bands",
        Equaliser::TwoThirds => "15 bands",
        Equaliser::Octave => "7 to 9 bands",
        Equaliser::Parametric => "Parametric",
        Equaliser::Sweep => "Sweepable mid",
        Equaliser::Shelves => "Hi and Lo only",
    }
}

/// What may be wanted, as buttons.
pub const WANTED: [(&str, Option<Db>); 3] = [
    ("Voices: 6 dB in hand", Some(SPARE_FOR_VOICES)),
    ("Choir: 10 dB in hand", Some(SPARE_FOR_CHOIR)),
    ("As much as the hall gives", None),
];

/// Before it begins.
pub fn wish_words(wish: &RingWish) -> String {
    let outputs: Vec<String> = wish.outputs.iter().map(|output| output_name(*output)).collect();
    format!("{} with {}", outputs.join(", "), equaliser_name(wish.equaliser).to_lowercase())
}

/// The song at hand.
pub struct SongLine {
    /// "Song 4 of 9: Homeward".
    pub place: String,
    /// "Open: 1, 2, 6".
    pub open: String,
}

/// Without a list of songs nothing is claimed.
pub fn song_line(songs: &[Song], at: usize) -> SongLine {
    let Some(song) = songs.get(at) else {
        return SongLine { place: "Show".into(), open: String::new() };
    };
    let open: Vec<String> = song.open.iter().map(|channel| channel.number().to_string()).collect();
    let open = if open.is_empty() { "All closed".into() } else { format!("Open: {}", open.join(", ")) };
    SongLine { place: format!("{} of {}: {}", at + 1, songs.len(), song.name), open }
}

/// What can be typed in the show.
pub const SHOW_HELP: &str =
    "Type done, leave, ignore, song, sound, mark or quit; on the simulated stage also: mains +3";

/// "nothing", "2 alerts".
pub fn show_so_far(alerts: usize) -> String {
    if alerts == 0 { "nothing so far".into() } else { counted(alerts as u64, "alert so far", "alerts so far") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{ChannelId, Dbfs, Seconds};

    fn ring(channel: u16, hz: f64, level: f64, certainty: Certainty) -> Ring {
        Ring {
            id: 1,
            channel: ChannelId::new(channel),
            certainty,
            frequency: Hertz::new(hz),
            level: Dbfs::new(level),
            growth: 14.2,
            excess: None,
            clips_in: None,
            start: Seconds::ZERO,
            reported: Seconds::ZERO,
            end: None,
            signs: Default::default(),
        }
    }

    /// C4 is 261.63 Hz in equal temperament from A4 = 440 Hz; every octave is equally wide.
    #[test]
    fn the_scale_is_a_keyboard_and_a_row_of_bands() {
        let notes = notes();
        assert_eq!(notes.iter().map(|(_, name)| name.as_str()).collect::<Vec<_>>().join(" "), "C3 C4 C5 C6 C7 C8 C9");
        let c4 = frequency_place(Hertz::new(261.63)).unwrap();
        assert!((notes[1].0 - c4).abs() < 1e-4);
        let octaves = octaves();
        let wide: Vec<f64> = octaves.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
        assert!(wide.iter().all(|width| (width - 1.0 / OCTAVES).abs() < 1e-9), "{wide:?}");
        assert_eq!([f64::NAN, 0.0, -5.0, 20.0, 30_000.0].map(|hz| frequency_place(Hertz::new(hz))), [None; 5]);
    }

    /// A third of an octave each, edge to edge (ISO 266, IEC 61260-1).
    #[test]
    fn bands_stand_edge_to_edge() {
        let marks = bands(Equaliser::ThirdOctave, Output::Mains, &[]);
        assert_eq!(marks.first().unwrap().printed, "63");
        assert_eq!(marks.last().unwrap().printed, "16k");
        for pair in marks.windows(2) {
            assert!((pair[0].to - pair[1].from).abs() < 0.002, "{pair:?}");
        }
        assert!(bands(Equaliser::Parametric, Output::Mains, &[]).is_empty());
    }

    #[test]
    fn a_tone_on_two_microphones_is_one_mark_and_the_surest_comes_first() {
        let rings = [
            ring(2, 1250.0, -30.0, Certainty::Possible),
            ring(3, 2441.0, -40.0, Certainty::Ringing),
            ring(5, 2442.0, -36.0, Certainty::Ringing),
            Ring { end: Some(Seconds::ZERO), ..ring(6, 400.0, -20.0, Certainty::Ringing) },
        ];
        let marks = ring_marks(&rings, Equaliser::ThirdOctave);
        assert_eq!(marks.len(), 2);
        assert_eq!(marks[0].label, "ringing 2.44 kHz · D#7 · band 2.5k · +14 dB/s");
        assert_eq!(marks[1].label, "possible 1.25 kHz · D#6 · band 1.25k · +14 dB/s");
    }

    #[test]
    fn silence_lies_on_the_ground_and_full_scale_at_the_top() {
        let line = spectrum_line(&[0.0, 1.0, 1e-11, f32::NAN]);
        assert_eq!(line[0].1, 0.0);
        assert_eq!(line[1].1, 1.0);
        assert!(line[2].1.abs() < 1e-6);
        assert!(line.iter().all(|(x, y)| x.is_finite() && y.is_finite()));
    }
}
