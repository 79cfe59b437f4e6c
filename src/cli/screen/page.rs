//! The page of the live screen: the next step, the shelf meter of the channel at hand, the table, the keys.
//!
//! A pure function of what is known, so that every state and every size can be tested. Order: one sentence first, then
//! the meter, then (in what room is left) why or help, then the table; the keys always stand at the bottom.

use super::Around;
use super::keys;
use super::paint::{Line, Tone, fit, fit_right, wrap};
use super::rail::{self, Extras};
use crate::engine::session::Status;
use crate::engine::{ChannelState, Connection, InputStatus, Snapshot};
use crate::units::ChannelId;
use crate::view::Trail;
use crate::view::numbers::{self, counted};
use crate::view::who;
use crate::view::{self, Arrow, NextStep, Shelf, words};

/// All that a page is drawn from.
pub struct Picture<'a> {
    pub snapshot: &'a Snapshot,
    pub status: &'a Status,
    pub around: Around<'a>,
    pub at_hand: Option<ChannelId>,
    pub panel: Panel,
    /// What came of the last key.
    pub noted: Option<&'a str>,
    pub trail: &'a Trail,
    pub columns: usize,
    pub rows: usize,
}

/// What stands between the meter and the table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Panel {
    #[default]
    None,
    Why,
    Help,
}

/// The arrow's column, blanks included.
const GUTTER: usize = 13;
const DOWN: [&str; 4] = ["  ███  ", "  ███  ", "▜█████▛", "  ▜█▛  "];
const UP: [&str; 4] = ["  ▟█▙  ", "▟█████▙", "  ███  ", "  ███  "];
/// Narrower than this there is only the small arrow.
const WIDE: usize = 76;

pub fn page(picture: &Picture) -> Vec<Line> {
    let next = next(picture);
    let mut top = vec![Line::new()];
    if let Some(told) = words::status(picture.status).or(picture.around.doubt.clone()) {
        top.extend(indented(Tone::Strong, &format!("– – {told}"), picture.columns));
        top.push(Line::new());
    }
    top.extend(next_step(picture, &next));
    top.push(Line::new());
    // A room microphone sees no input.
    if let Some(channel) = picture.at_hand.filter(|_| picture.around.connection != Connection::Room) {
        top.extend(meter(picture, channel));
        top.push(Line::new());
    }
    match picture.panel {
        Panel::None => {}
        Panel::Why => top.extend(why(picture)),
        Panel::Help => top.extend(help(picture)),
    }
    let keys = keys(picture, &next);
    let room = picture.rows.saturating_sub(keys.len() + 1);
    top.truncate(room);
    let left = room - top.len();
    top.extend(table(picture, left));
    top.push(Line::new());
    top.extend(keys);
    top
}

/// The words of the next step.
pub fn next(picture: &Picture) -> NextStep {
    let advice = &picture.snapshot.advice;
    view::next_step(advice, &who(advice.channel, &picture.around.setup.names), &picture.around.setup.desk)
        .with_the_end(picture.snapshot.inputs.iter().map(|input| input.state))
}

/// Arrow, sentence, what to ask, proof: always in that place.
fn next_step(picture: &Picture, next: &NextStep) -> Vec<Line> {
    let wide = picture.columns >= WIDE;
    let gutter = if wide { GUTTER } else { 5 };
    let columns = picture.columns.saturating_sub(gutter + 1).max(20);
    let tone = match (next.arrow, picture.snapshot.advice.channel) {
        (Arrow::None, _) | (_, None) => Tone::Text,
        (_, Some(channel)) => Tone::State(state(picture, channel)),
    };
    let arrow: [&str; 4] = match next.arrow {
        Arrow::Down if wide => DOWN,
        Arrow::Up if wide => UP,
        arrow => [if wide { "" } else { arrow.sign() }, if wide { arrow.sign() } else { "" }, "", ""],
    };
    let texts = [(Tone::Strong, &next.sentence, " "), (Tone::Text, &next.then, " "), (Tone::Quiet, &next.proof, " · ")];
    let mut texts: Vec<(Tone, String)> = texts
        .into_iter()
        .flat_map(|(tone, text, between)| wrap(text, between, columns).into_iter().map(move |line| (tone, line)))
        .collect();
    if let Some(noted) = picture.noted {
        texts.push((Tone::Strong, noted.to_owned()));
    }
    if wide && texts.len() < 4 {
        texts.insert(0, (Tone::Text, String::new()));
    }
    texts.resize(texts.len().max(4), (Tone::Text, String::new()));
    let row = |(index, (text_tone, text)): (usize, (Tone, String))| {
        let sign = arrow.get(index).copied().unwrap_or_default();
        Line::of(tone, format!("   {sign}")).up_to(gutter).and(text_tone, text)
    };
    texts.into_iter().enumerate().map(row).collect()
}

fn meter(picture: &Picture, channel: ChannelId) -> Vec<Line> {
    let Some(input) = picture.snapshot.inputs.get(channel.index()) else { return Vec::new() };
    let name = who(Some(channel), &picture.around.setup.names);
    let reading = input.line.and_then(|line| picture.snapshot.readings.channels.get(line.index()));
    let (Some(line), Some(reading)) = (input.line, reading) else {
        let heard = format!("   {name} is not being listened to now");
        return vec![Line::of(Tone::Quiet, fit(&heard, picture.columns))];
    };
    let shelf =
        Shelf::new(reading.frame.sample_peak, input.heard.loudest, input.window, picture.around.setup.desk.scale());
    let turning = picture.snapshot.advice.channel == Some(channel) && next(picture).arrow != Arrow::None;
    let extras = Extras {
        who: &name,
        state: input.state,
        footprints: &picture.trail.footprints(line),
        marker: (turning && !picture.around.setup.desk.marks).then(|| picture.trail.newest(line)),
    };
    rail::lines(&shelf, &extras, picture.columns)
}

fn why(picture: &Picture) -> Vec<Line> {
    let lines = view::why_lines(&picture.snapshot.advice, &picture.around.setup.desk);
    let mut panel = vec![Line::of(Tone::Strong, "   Why")];
    panel.extend(lines.iter().flat_map(|line| indented(Tone::Text, line, picture.columns)));
    panel.push(Line::new());
    panel
}

fn help(picture: &Picture) -> Vec<Line> {
    let mut panel = Vec::new();
    for state in view::STATES {
        let cell = format!("   {} {:12}", view::shape(state), view::word(state));
        panel.push(Line::of(Tone::State(state), cell).and(Tone::Text, view::meaning(state)));
        if state == ChannelState::NotHeard {
            let cell = format!("   {} {:12}", view::shape(state), view::NOT_ENOUGH);
            panel.push(Line::of(Tone::State(state), cell).and(Tone::Text, view::NOT_ENOUGH_MEANING));
        }
    }
    panel.push(Line::new());
    let marker = "The notch under the rail is the target window; the loudest peak stands in it at the end.";
    panel.extend(indented(Tone::Text, marker, picture.columns));
    panel.extend(indented(Tone::Text, words::HEARING, picture.columns));
    panel.extend(indented(Tone::Text, words::LOCAL_RULES, picture.columns));
    panel.push(Line::new());
    panel
}

/// The channels, those around the one at hand where not all have room.
fn table(picture: &Picture, room: usize) -> Vec<Line> {
    let inputs = &picture.snapshot.inputs;
    if room < 2 || inputs.is_empty() {
        return Vec::new();
    }
    let fits = inputs.len() < room;
    let shown = if fits { inputs.len() } else { room.saturating_sub(2) };
    let at_hand = picture.at_hand.map_or(0, ChannelId::index);
    let from = at_hand.saturating_sub(shown / 2).min(inputs.len() - shown);
    let columns = Columns::of(picture);
    let mut lines = vec![columns.head(picture)];
    lines.extend((from..from + shown).map(|index| columns.row(picture, index, &inputs[index])));
    if !fits && shown > 0 {
        let more = counted((inputs.len() - shown) as u64, "more channel", "more channels");
        lines.push(Line::of(Tone::Quiet, format!("      … {more}: Tab looks at the next")));
    }
    lines.truncate(room);
    lines
}

/// Widths of the table's columns.
struct Columns {
    name: usize,
    level: usize,
    window: bool,
}

impl Columns {
    const STATE: usize = 16;
    const WINDOW: usize = 11;

    fn of(picture: &Picture) -> Self {
        let names = picture.around.setup.names.iter().map(|name| Line::of(Tone::Text, name.as_str()).columns());
        let window = picture.columns >= 72;
        let level = if window { 18 } else { 9 };
        let others = 8 + Self::STATE + level + if window { Self::WINDOW } else { 0 } + 14;
        let room = picture.columns.saturating_sub(others).clamp(4, 24);
        Self { name: names.max().unwrap_or(0).clamp(4, room), level, window }
    }

    fn head(&self, picture: &Picture) -> Line {
        let name = fit("", self.name);
        let unit =
            if self.window { format!(" {}", picture.around.setup.desk.scale().short_unit()) } else { String::new() };
        let level = fit_right(&format!("loudest{unit}"), self.level);
        let window = if self.window { fit_right("window", Self::WINDOW) } else { String::new() };
        Line::of(Tone::Quiet, format!("        {name}{:16}{level}{window}   heard", ""))
    }

    fn row(&self, picture: &Picture, index: usize, input: &InputStatus) -> Line {
        let channel = ChannelId::from_index(index);
        let scale = picture.around.setup.desk.scale();
        let name = picture.around.setup.names.get(index).map_or("", String::as_str);
        let at_hand = picture.at_hand == Some(channel);
        let mark = if at_hand { '›' } else { ' ' };
        let level = fit_right(&scale.number(input.heard.loudest), self.level);
        let window = if self.window { fit_right(&scale.window(input.window), Self::WINDOW) } else { String::new() };
        let heard = view::heard_of(input.heard.active, input.heard.hits, input.need);
        let shown = view::shown(input.state, input.heard.active, input.heard.hits);
        let tone = if at_hand { Tone::Strong } else { Tone::Text };
        Line::of(tone, format!("  {mark}{:>3}  {}", channel.number(), fit(name, self.name)))
            .and(Tone::State(input.state), format!("  {} {shown:10}", view::shape(input.state)))
            .up_to(8 + self.name + Self::STATE)
            .and(Tone::Text, level)
            .and(Tone::Quiet, window)
            .and(Tone::Quiet, format!("   {}", heard.trim_start_matches("heard ")))
    }
}

fn keys(picture: &Picture, next: &NextStep) -> Vec<Line> {
    let answers = keys::answers(next.reply, next.arrow, picture.around.staged && picture.at_hand.is_some());
    let line = format!("{answers}W why   1–9, 0 look at   ? help   Q leave");
    let rate = picture.snapshot.readings.rate.get();
    let source = if picture.around.staged { "simulated stage" } else { words::connection(picture.around.connection) };
    let mut facts = format!("{source} · {} kHz · {}", f64::from(rate) / 1000.0, numbers::clock(picture.snapshot.at));
    if picture.snapshot.lost_frames > 0 {
        facts += &format!(" · {} lost", counted(picture.snapshot.lost_frames, "frame", "frames"));
    }
    if picture.around.staged {
        facts += &format!(" · {}", words::YOUR_DESK);
    }
    let mut lines = joined(Tone::Quiet, &line, "   ", picture.columns);
    lines.extend(joined(Tone::Quiet, &facts, " · ", picture.columns));
    lines
}

fn state(picture: &Picture, channel: ChannelId) -> ChannelState {
    picture.snapshot.inputs.get(channel.index()).map_or(ChannelState::NotHeard, |input| input.state)
}

fn indented(tone: Tone, text: &str, columns: usize) -> Vec<Line> {
    joined(tone, text, " ", columns)
}

/// Broken only at what stands between its pieces.
fn joined(tone: Tone, text: &str, between: &str, columns: usize) -> Vec<Line> {
    let lines = wrap(text, between, columns.saturating_sub(4).max(20));
    lines.into_iter().map(|line| Line::of(tone, format!("   {line}"))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::Mood;
    use crate::engine::session::{Hearing, Link, Pace, Session};
    use crate::units::{Dbfs, Seconds};
    use crate::view::Setup;

    fn stage() -> (Snapshot, Setup) {
        let hearing = Hearing::Stage { seed: 1, mood: Mood::Normal, pace: Pace::RealTime };
        let session = Session::start(hearing, None, Connection::Usb, None).unwrap();
        let setup = Setup { names: session.names().to_vec(), ..Setup::default() };
        (session.snapshot(), setup)
    }

    fn texts(snapshot: &Snapshot, setup: &Setup, (columns, rows): (usize, usize), panel: Panel) -> Vec<String> {
        let picture = Picture {
            snapshot,
            status: &Status::Running,
            around: Around {
                setup,
                connection: Connection::Usb,
                staged: true,
                doubt: Some("The device gives less".into()),
            },
            at_hand: Some(ChannelId::new(2)),
            panel,
            noted: Some(words::NOTED),
            trail: &Trail::default(),
            columns,
            rows,
        };
        page(&picture).iter().map(|line| line.text().trim_end().to_owned()).collect()
    }

    #[test]
    fn every_size_keeps_its_edges_and_its_keys() {
        let (mut snapshot, setup) = stage();
        for (index, input) in snapshot.inputs.iter_mut().enumerate() {
            input.state = view::STATES[index % 6];
            input.heard.loudest = Dbfs::new(-3.1 * index as f64);
            input.heard.active = Seconds::new(7.3 * index as f64);
        }
        for size in [(60, 20), (60, 40), (79, 24), (80, 25), (100, 40), (160, 60)] {
            for panel in [Panel::None, Panel::Why, Panel::Help] {
                let page = texts(&snapshot, &setup, size, panel);
                assert!(page.len() <= size.1, "{} lines on {size:?}", page.len());
                for line in &page {
                    assert!(Line::of(Tone::Text, line.as_str()).columns() <= size.0, "{size:?}: {line}");
                }
                assert!(page.iter().any(|line| line.contains("Q leave")), "{size:?} {panel:?}");
                assert!(page.iter().any(|line| line.contains("Ask ")), "{size:?} {panel:?}");
            }
        }
    }

    #[test]
    fn every_state_stands_in_the_table_as_shape_and_word() {
        let (mut snapshot, setup) = stage();
        for (input, state) in snapshot.inputs.iter_mut().zip(view::STATES) {
            input.state = state;
        }
        snapshot.inputs[6].state = ChannelState::NotHeard;
        snapshot.inputs[6].heard.active = Seconds::new(7.3);
        let page = texts(&snapshot, &setup, (100, 50), Panel::None).join("\n");
        for state in view::STATES {
            let cell = format!("{} {}", view::shape(state), view::word(state));
            assert!(page.contains(&cell), "{cell} in\n{page}");
        }
        assert!(page.contains(" ◌  not enough "), "{page}");
    }

    #[test]
    fn the_smallest_terminals_are_no_danger() {
        let (snapshot, setup) = stage();
        for size in [(0, 0), (1, 1), (10, 3), (40, 8)] {
            for panel in [Panel::None, Panel::Why, Panel::Help] {
                let _ = texts(&snapshot, &setup, size, panel);
            }
        }
    }

    #[test]
    fn names_of_any_length_leave_the_table_in_its_columns() {
        let (snapshot, mut setup) = stage();
        setup.names[0] = "合唱団の左側のマイクロフォンとピアノ".into();
        setup.names[1] = "A very long name that no desk has room for on its tape".into();
        for line in texts(&snapshot, &setup, (60, 40), Panel::None) {
            assert!(Line::of(Tone::Text, line.as_str()).columns() <= 60, "{line}");
        }
    }
}
