//! An input list from outside: a spreadsheet's cells, a CSV, or plain lines.
//!
//! Cells under headings are read as `inputs.csv` is. Where nothing is headed, the usual headings are taken if the first
//! cell of the first line is a channel; and where no line has more than one cell, each line is a name, on channel 1 and
//! the following ones, with the kind that the name itself is a word for. Mistakes tell the line as it stands in what was
//! given. Source of the form: RFC 4180. Edge cases: nothing at all is a mistake; bytes that are no text are refused.

use std::path::Path;

use super::error::{EventError, EventWarning, Fault, Findings};
use super::inputs::{Input, parse_inputs};
use super::table::HEADINGS;
use super::text;
use super::words::{self, Column};
use crate::units::{ChannelId, SourceKind};

pub(super) fn parse(name: &Path, bytes: &[u8]) -> Result<(Vec<Input>, Vec<EventWarning>), EventError> {
    let mut findings = Findings::new(name.to_owned());
    let Some(text) = text::decode(bytes, &mut findings) else { return Err(EventError::Mistakes(findings.mistakes)) };
    let lines: Vec<&str> = text.lines().map(str::trim_end).filter(|line| !line.trim().is_empty()).collect();
    let separator = ['\t', ';', ','].into_iter().find(|separator| lines.iter().any(|line| line.contains(*separator)));
    match (lines.first(), separator) {
        (Some(first), Some(separator)) if begins_with_a_channel(first, separator) => {
            let cells = first.split(separator).count();
            let headings: Vec<&str> = HEADINGS.split(',').take(cells.max(3)).collect();
            let headed = format!("{}\n{text}", headings.join(&separator.to_string()));
            parse_inputs(name, headed.as_bytes()).map_err(without_the_first_line)
        }
        (Some(first), None) if Column::candidates(first).is_empty() => names(&lines, findings),
        _ => parse_inputs(name, bytes),
    }
}

fn begins_with_a_channel(line: &str, separator: char) -> bool {
    let first = line.split(separator).next().unwrap_or_default().trim().trim_matches('"');
    first.parse().is_ok_and(|number: usize| (1..=ChannelId::MAX_CHANNELS).contains(&number))
}

/// The heading line was put there by us.
fn without_the_first_line(error: EventError) -> EventError {
    let EventError::Mistakes(mut mistakes) = error else { return error };
    for mistake in &mut mistakes {
        mistake.at.line = mistake.at.line.saturating_sub(1).max(1);
        if let Fault::SameChannel { first, .. } = &mut mistake.fault {
            *first = first.saturating_sub(1).max(1);
        }
    }
    EventError::Mistakes(mistakes)
}

fn names(lines: &[&str], mut findings: Findings) -> Result<(Vec<Input>, Vec<EventWarning>), EventError> {
    let mut inputs = Vec::new();
    for (index, line) in lines.iter().enumerate() {
        if index >= ChannelId::MAX_CHANNELS {
            let fault = Fault::Value {
                stood: super::error::quote(line),
                thing: "one of 64 channels",
                expected: format!("at most {} names", ChannelId::MAX_CHANNELS),
                near: None,
            };
            findings.mistake((index + 1, 1), "", fault);
            break;
        }
        if let Some(control) = line.chars().find(|c| c.is_control() && !c.is_whitespace()) {
            findings.mistake((index + 1, 1), "", Fault::Control(control as u32));
        }
        let name = line.split_whitespace().collect::<Vec<_>>().join(" ");
        let kind = words::kind(&name).unwrap_or(SourceKind::Other);
        inputs.push(Input::new(ChannelId::from_index(index), name, kind));
    }
    if findings.mistakes.is_empty() {
        Ok((inputs, findings.warnings))
    } else {
        Err(EventError::Mistakes(findings.mistakes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<(u16, String, SourceKind)>, String> {
        let read = parse(Path::new("paste"), text.as_bytes()).map_err(|error| error.to_string())?;
        Ok(read.0.into_iter().map(|input| (input.channel.number(), input.name, input.kind)).collect())
    }

    fn lectern_and_choir() -> Vec<(u16, String, SourceKind)> {
        vec![(1, "Lectern".into(), SourceKind::Speech), (5, "Choir".into(), SourceKind::Choir)]
    }

    #[test]
    fn with_headings_and_without() {
        for text in [
            "channel\tname\tkind\n1\tLectern\tspeech\n5\tChoir\tchoir\n",
            "Nr;Name;Type\r\n1;Lectern;speech\r\n5;Choir;choir\r\n",
            "1\tLectern\tspeech\n5\tChoir\tchoir",
            "1,Lectern,speech,mic,\n5,Choir,choir,mic,3\n",
        ] {
            assert_eq!(read(text).unwrap(), lectern_and_choir(), "{text}");
        }
        // Two cells: no kind is told, so each is other.
        assert_eq!(read("1\tLectern\n").unwrap(), [(1, "Lectern".into(), SourceKind::Other)]);
    }

    #[test]
    fn names_alone_are_channels_in_order() {
        let read = read("Narrator\n\n  Grand piano \r\nAnna’s bass\n").unwrap();
        assert_eq!(
            read,
            [
                (1, "Narrator".into(), SourceKind::Speech),
                (2, "Grand piano".into(), SourceKind::Piano),
                (3, "Anna’s bass".into(), SourceKind::Other)
            ]
        );
    }

    #[test]
    fn mistakes_tell_the_line_that_was_pasted() {
        let said = read("1\tLectern\tspeech\n2\tFlute\tfloot\n1\tChoir\tchoir\n").unwrap_err();
        assert!(said.contains("paste:2:3 (kind): “floot” is not a kind of source. Expected one of:"), "{said}");
        assert!(said.contains("paste:3:1 (channel): channel 1 is listed twice, first on line 1"), "{said}");
        let said = read("channel\tname\n1\tLectern\n").unwrap_err();
        assert!(said.contains("paste:1:1: no column is headed “kind”. Expected a heading line such as"), "{said}");
        assert!(read("").unwrap_err().contains("nothing is written here"));
        let many = "a name\n".repeat(65);
        assert!(read(&many).unwrap_err().contains("paste:65:1: “a name” is not one of 64 channels"));
        let binary = parse(Path::new("paste"), b"PK\x03\x04").unwrap_err().to_string();
        assert!(binary.contains("not text"), "{binary}");
    }
}
