//! What the recordings of a folder are together, in words: a table of tracks and problems, a cue list, recorders lined up.
//!
//! Levels re full scale, times a clock from the start of the take.

use std::cmp::Reverse;
use std::path::Path;

use serde_json::{Value, json};

use super::bad::Bad;
use super::findings::FaultKind;
use super::numbers::{clock, counted, length, level, span, thousandths};
use super::setup::{Setup, who};
use super::words::plain;
use crate::engine::takes::{Better, Cue, CueKind, Gathering, MatchedBy, Pair, Track, TrackRow};
use crate::units::{ChannelId, Seconds};

/// The keys of a folder's lines, for a help text.
pub const TOGETHER_KEYS: &str = "\
track, after the last file of a folder with two or more: file, channel (null: it has one), input (its line in the list), \
matched_by (name, number, order, nothing), sample_peak_dbfs, active_level_dbfs, kinds

cue, of a multitrack folder: folder, kind (sound, applause, quiet), start_s, end_s

pair, two recorders of one event: file, with_file, offset_s, ppm, better_for_voices (a file; null: alike), text";

pub const CUE_LIST: &str = "Cue list";

/// A folder, ready to show.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// "concert: 16 tracks".
    pub title: String,
    /// The kinds of problems that there are.
    pub columns: Vec<FaultKind>,
    /// The worst first, then as they lie in the folder.
    pub rows: Vec<Row>,
    pub cues: Vec<String>,
    pub pairs: Vec<Vec<String>>,
}

/// One track of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub name: String,
    /// "3 Soloist", how it was matched; nothing without a list.
    pub input: String,
    pub peak: String,
    pub active: String,
    pub worst: Bad,
    /// One for each column.
    pub cells: Vec<Option<Bad>>,
}

impl Together {
    pub fn new(gathering: &Gathering, setup: &Setup) -> Self {
        let mut columns: Vec<FaultKind> = Vec::new();
        for evidence in gathering.rows.iter().flat_map(|row| &row.faults) {
            let kind = FaultKind::of(evidence);
            if !columns.contains(&kind) {
                columns.push(kind);
            }
        }
        columns.sort_by_key(|kind| kind.word());
        let what = if gathering.is_multitrack { ("track", "tracks") } else { ("channel", "channels") };
        let folder = gathering.folder.file_name().map_or_else(String::new, |name| plain(&name.to_string_lossy()));
        let mut rows: Vec<Row> = gathering.rows.iter().map(|row| Row::new(row, &columns, setup)).collect();
        rows.sort_by_key(|row| Reverse(row.worst));
        let title = counted(gathering.rows.len() as u64, what.0, what.1);
        Self {
            title: if folder.is_empty() { title } else { format!("{folder}: {title}") },
            rows,
            columns,
            cues: cue_lines(&gathering.cues),
            pairs: gathering.pairs.iter().map(pair_lines).collect(),
        }
    }

    /// For a terminal: a heading, rows, cues, pairs.
    pub fn lines(&self) -> Vec<String> {
        const NAME: usize = 28;
        let wide = |text: &dyn Fn(&Row) -> &str, least: usize| {
            self.rows.iter().map(|row| columns_of(text(row))).max().unwrap_or(0).clamp(least, NAME)
        };
        let (name, input) = (wide(&|row| &row.name, 4), wide(&|row| &row.input, 0));
        let mut heading = format!("  {:name$}", "");
        if input > 0 {
            heading.push_str(&format!("  {:input$}", "input"));
        }
        heading.push_str("    peak       A");
        for kind in &self.columns {
            heading.push_str(&format!("  {}", kind.short()));
        }
        let mut lines = vec![self.title.clone(), heading];
        for row in &self.rows {
            let mut line = format!("  {}", fitted(&row.name, name));
            if input > 0 {
                line.push_str(&format!("  {}", fitted(&row.input, input)));
            }
            line.push_str(&format!("  {:>6}  {:>6}", row.peak, row.active));
            for (kind, cell) in self.columns.iter().zip(&row.cells) {
                let shape = cell.map_or("", Bad::shape);
                line.push_str(&format!("  {shape:^wide$}", wide = kind.short().chars().count()));
            }
            lines.push(line.trim_end().to_owned());
        }
        let used = |bad: &Bad| self.rows.iter().flat_map(|row| &row.cells).any(|cell| *cell == Some(*bad));
        let legend: Vec<String> = Bad::ALL
            .iter()
            .filter(|bad| used(bad))
            .map(|bad| format!("{} {}", bad.shape().trim(), bad.word()))
            .collect();
        if !legend.is_empty() {
            lines.push(format!("  {}", legend.join("   ")));
        }
        if !self.cues.is_empty() {
            lines.push(format!("  {CUE_LIST}"));
            lines.extend(self.cues.iter().map(|cue| format!("    {cue}")));
        }
        for pair in &self.pairs {
            lines.extend(
                pair.iter().enumerate().map(|(at, line)| format!("{}{line}", if at == 0 { "  " } else { "    " })),
            );
        }
        lines
    }
}

impl Row {
    fn new(row: &TrackRow, columns: &[FaultKind], setup: &Setup) -> Self {
        let file = name_of(&row.path);
        let bad = |kind: &FaultKind| {
            let place = row.faults.iter().position(|evidence| FaultKind::of(evidence) == *kind)?;
            Some(if row.faults[place].is_note() { Bad::Note } else { Bad::of_severity(row.severities[place]) })
        };
        let cells: Vec<Option<Bad>> = columns.iter().map(bad).collect();
        let input = match row.track {
            None => {
                row.channel.filter(|_| !setup.names.is_empty()).map_or(String::new(), |at| who(Some(at), &setup.names))
            }
            Some(Track::Unlisted) => "not in the list".into(),
            Some(Track::Input(index, _)) => who(Some(ChannelId::from_index(index)), &setup.names),
        };
        Self {
            name: row.channel.map_or(file.clone(), |channel| format!("{file} {}", channel.number())),
            input,
            peak: level(row.peak),
            active: level(row.active),
            worst: cells.iter().flatten().copied().max().unwrap_or(Bad::Fine),
            cells,
        }
    }
}

/// " 1  0:00 to 3:12  sound (3:12)": none where all of it is one sound.
pub fn cue_lines(cues: &[Cue]) -> Vec<String> {
    if cues.len() < 2 {
        return Vec::new();
    }
    let line = |(cue, number): (&Cue, usize)| {
        format!(
            "{number:>2}  {:>7} to {:>7}  {} ({})",
            clock(cue.start),
            clock(cue.end),
            cue_word(cue.kind),
            length(cue.end - cue.start)
        )
    };
    cues.iter().zip(1..).map(line).collect()
}

pub const fn cue_word(kind: CueKind) -> &'static str {
    match kind {
        CueKind::Sound => "sound",
        CueKind::Applause => "applause",
        CueKind::Quiet => "quiet",
    }
}

fn pair_lines(pair: &Pair) -> Vec<String> {
    let (first, second) = (name_of(&pair.first), name_of(&pair.second));
    let alignment = &pair.alignment;
    // What lies at 0 in the first lies at `offset` in the second.
    let offset = alignment.offset.get();
    let begins = match offset {
        late if late < 0.0 => format!("{second} begins {:.2} s after {first}", -late),
        early => format!("{second} begins {early:.2} s before {first}"),
    };
    let drift = match alignment.lie {
        Some((true_rate, header)) => format!("it was recorded at {true_rate} Hz and is labelled {header} Hz"),
        None => {
            format!("its clock is {:.1} ppm {}", alignment.ppm.abs(), if alignment.ppm < 0.0 { "slow" } else { "fast" })
        }
    };
    let mut lines = vec![format!("Lined up: {begins}, {drift}.")];
    let Better { for_voices, over_noise, only_in, covered } = &pair.better;
    let names = [&first, &second];
    let over = |which: usize| {
        over_noise[which].map_or("no pause heard".into(), |over| format!("{} over its noise", span(over)))
    };
    match for_voices {
        Some(it) => {
            let (here, there) = (usize::from(*it), usize::from(!*it));
            lines.push(format!(
                "For words and voices: {} ({}; {} {}).",
                names[here],
                over(here),
                names[there],
                over(there)
            ));
            lines.push(format!("For the room and applause: mix in {}.", names[there]));
        }
        None => lines.push("For words and voices: both alike; take the one that stood nearer.".into()),
    }
    for (which, name) in names.iter().enumerate() {
        let parts: Vec<&str> = ["the lows", "the middle", "the highs"]
            .into_iter()
            .zip(only_in[which])
            .filter(|it| it.1)
            .map(|it| it.0)
            .collect();
        if !parts.is_empty() {
            lines.push(format!("{name} has more of {} by 12 dB and over: combine the two.", parts.join(" and ")));
        }
    }
    for (which, from, to) in covered {
        let (wrong, sound) = (names[usize::from(*which)], names[usize::from(!*which)]);
        lines.push(format!(
            "{wrong} is hurt from {} to {}: {sound} covers it.",
            clock(*from),
            clock(Seconds::new(to.get().max(from.get() + 1.0)))
        ));
    }
    lines
}

/// The lines for other programs.
pub fn together_records(gathering: &Gathering) -> Vec<Value> {
    let file = |path: &Path| path.display().to_string();
    let track = |row: &TrackRow| {
        let (input, by) = match row.track {
            Some(Track::Input(index, by)) => (Some(index + 1), matched(by)),
            Some(Track::Unlisted) => (None, "nothing"),
            None => (None, ""),
        };
        let kinds: Vec<&str> = row.faults.iter().map(|evidence| evidence.kind()).collect();
        json!({
            "type": "track", "file": file(&row.path), "channel": row.channel.map(ChannelId::number), "input": input,
            "matched_by": if by.is_empty() { Value::Null } else { by.into() },
            "sample_peak_dbfs": thousandths(row.peak.get()), "active_level_dbfs": thousandths(row.active.get()),
            "kinds": kinds,
        })
    };
    let cue = |cue: &Cue| {
        json!({
            "type": "cue", "folder": file(&gathering.folder), "kind": cue_word(cue.kind),
            "start_s": thousandths(cue.start.get()), "end_s": thousandths(cue.end.get()),
        })
    };
    let pair = |pair: &Pair| {
        let better = pair.better.for_voices.map(|second| file(if second { &pair.second } else { &pair.first }));
        json!({
            "type": "pair", "file": file(&pair.second), "with_file": file(&pair.first),
            "offset_s": thousandths(pair.alignment.offset.get()), "ppm": thousandths(pair.alignment.ppm),
            "better_for_voices": better, "text": pair_lines(pair).join(" ").replace('−', "-"),
        })
    };
    let rows = gathering.rows.iter().map(track);
    rows.chain(gathering.cues.iter().map(cue)).chain(gathering.pairs.iter().map(pair)).collect()
}

const fn matched(by: MatchedBy) -> &'static str {
    match by {
        MatchedBy::Name => "name",
        MatchedBy::Number => "number",
        MatchedBy::Order => "order",
    }
}

fn name_of(path: &Path) -> String {
    plain(&path.file_name().unwrap_or(path.as_os_str()).to_string_lossy())
}

fn columns_of(text: &str) -> usize {
    text.chars().count()
}

/// As wide as this, cut where it is longer.
fn fitted(text: &str, width: usize) -> String {
    if columns_of(text) <= width {
        return format!("{text:width$}");
    }
    text.chars().take(width.saturating_sub(1)).chain(['…']).collect()
}
