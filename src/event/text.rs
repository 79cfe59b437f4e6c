//! From the bytes of a file to text: UTF-8 with or without a byte-order mark, UTF-16 with one.
//!
//! Sources: RFC 3629 (UTF-8), RFC 2781 (UTF-16 and its byte-order mark). Anything else is refused with the
//! byte that gives it away, because a guessed code page would turn names into nonsense without a word.
//! Edge cases: an empty file is empty text; a NUL byte or a spreadsheet's own (zipped) file is not text;
//! a device or a pipe is not a file, and nothing longer than [`LONGEST`] is read.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::error::{Doubt, EventError, Fault, Findings};

/// A list for 64 channels is a few kilobytes; this leaves room for long notes.
pub(super) const LONGEST: u64 = 1 << 18;

/// All bytes of a small file.
pub(super) fn read(path: &Path) -> Result<Vec<u8>, EventError> {
    let unreadable = |cause| EventError::Unreadable { path: path.to_owned(), cause };
    if !path.metadata().map_err(unreadable)?.is_file() {
        return Err(EventError::NotAFile(path.to_owned()));
    }
    let mut bytes = Vec::new();
    File::open(path).and_then(|file| file.take(LONGEST + 1).read_to_end(&mut bytes)).map_err(unreadable)?;
    if bytes.len() as u64 > LONGEST {
        return Err(EventError::TooLong { path: path.to_owned(), limit: LONGEST });
    }
    Ok(bytes)
}

/// The text, without its byte-order mark; `None` after saying why not.
pub(super) fn decode(bytes: &[u8], findings: &mut Findings) -> Option<String> {
    let decoded = match bytes {
        [0xEF, 0xBB, 0xBF, rest @ ..] => utf8(rest, 3),
        [0xFF, 0xFE, rest @ ..] => utf16(rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => utf16(rest, u16::from_be_bytes),
        [b'P', b'K', 3, 4, ..] => Err((0, Fault::Binary { offset: 3, byte: 3 })),
        _ => utf8(bytes, 0),
    };
    decoded
        .map_err(|(offset, fault)| {
            let read = String::from_utf8_lossy(&bytes[..offset]);
            findings.mistake(line_column(&read, read.len()), "", fault);
        })
        .ok()
}

/// Says so where the last line has no end: a file that was copied half may look whole.
pub(super) fn ended(bytes: &[u8], findings: &mut Findings) {
    let last = bytes.strip_suffix(b"\0").unwrap_or(bytes).last();
    if last.is_some_and(|byte| !matches!(byte, b'\n' | b'\r')) {
        let lines = bytes.iter().filter(|&&byte| byte == b'\n').count();
        findings.warn((lines + 1, 1), "", Doubt::CutOff);
    }
}

/// Line and column, counted from 1, of the byte at `offset`; columns count characters.
pub(super) fn line_column(text: &str, offset: usize) -> (usize, usize) {
    let before = text.get(..offset).unwrap_or(text);
    let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
    let line = before.bytes().filter(|&byte| byte == b'\n').count() + 1;
    (line, before[line_start..].chars().count() + 1)
}

/// `skipped` bytes of the file stand before these; offsets in faults are counted from 1 over the whole file.
fn utf8(bytes: &[u8], skipped: usize) -> Result<String, (usize, Fault)> {
    if let Some(nul) = bytes.iter().position(|&byte| byte == 0) {
        return Err((skipped + nul, Fault::Binary { offset: skipped + nul + 1, byte: 0 }));
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.to_owned()),
        Err(error) => {
            let at = error.valid_up_to();
            Err((skipped + at, Fault::NotUtf8 { offset: skipped + at + 1, byte: bytes[at] }))
        }
    }
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<String, (usize, Fault)> {
    let (pairs, rest) = bytes.as_chunks::<2>();
    let mut text = String::with_capacity(pairs.len());
    let mut offset = 2;
    for decoded in char::decode_utf16(pairs.iter().map(|&pair| unit(pair))) {
        match decoded {
            Ok('\0') => return Err((0, Fault::Binary { offset: offset + 1, byte: 0 })),
            Ok(c) => {
                text.push(c);
                offset += 2 * c.len_utf16();
            }
            Err(_) => return Err((0, Fault::NotUtf16 { offset: offset + 1 })),
        }
    }
    if rest.is_empty() { Ok(text) } else { Err((0, Fault::NotUtf16 { offset: offset + 1 })) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(bytes: &[u8]) -> Result<String, Vec<String>> {
        let mut findings = Findings::new("inputs.csv".into());
        let text = decode(bytes, &mut findings);
        text.ok_or_else(|| findings.mistakes.iter().map(ToString::to_string).collect())
    }

    /// The same word in every encoding that is read; the bytes of U+00E9 are those of RFC 3629 and RFC 2781.
    #[test]
    fn every_encoding_gives_the_same_text() {
        let forms: [&[u8]; 4] =
            [b"caf\xC3\xA9", b"\xEF\xBB\xBFcaf\xC3\xA9", b"\xFF\xFEc\0a\0f\0\xE9\0", b"\xFE\xFF\0c\0a\0f\0\xE9"];
        for form in forms {
            assert_eq!(decoded(form).as_deref(), Ok("café"));
        }
        assert_eq!(decoded(b"").as_deref(), Ok(""));
        assert_eq!(decoded(b"\xEF\xBB\xBF").as_deref(), Ok(""));
    }

    #[test]
    fn what_is_not_text_names_its_byte() {
        let cases: [(&[u8], &str); 6] = [
            (
                b"channel\n1,caf\xE9",
                "inputs.csv:2:6: byte 14 is 0xE9, which is not UTF-8 text. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)",
            ),
            (
                b"\xEF\xBB\xBF\xFF",
                "inputs.csv:1:2: byte 4 is 0xFF, which is not UTF-8 text. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)",
            ),
            (
                b"ab\0",
                "inputs.csv:1:3: not text: byte 3 is 0x00. Expected plain text; from a spreadsheet, export the sheet as CSV (UTF-8)",
            ),
            (
                b"PK\x03\x04rest",
                "inputs.csv:1:1: not text: byte 3 is 0x03. Expected plain text; from a spreadsheet, export the sheet as CSV (UTF-8)",
            ),
            (
                b"\xFF\xFEa\0\0\xD8b\0",
                "inputs.csv:1:1: byte 5 begins no UTF-16 character. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)",
            ),
            (
                b"\xFF\xFEa\0b",
                "inputs.csv:1:1: byte 5 begins no UTF-16 character. Save the file again as UTF-8 (spreadsheets: “CSV UTF-8”)",
            ),
        ];
        for (bytes, text) in cases {
            assert_eq!(decoded(bytes), Err(vec![text.to_owned()]));
        }
    }

    #[test]
    fn columns_count_characters() {
        assert_eq!(line_column("é=1\nname", 0), (1, 1));
        assert_eq!(line_column("é=1", 2), (1, 2));
        assert_eq!(line_column("é=1\nname", 6), (2, 2));
        assert_eq!(line_column("a", 99), (1, 2));
    }
}
