//! What a file is, by its first bytes; its name is not asked.
//!
//! In: up to [`LOOK`] bytes. Sources: the published signature of each format (RIFF, Ogg RFC 3533 and 7845,
//! ASF, AMR RFC 4867, Standard MIDI Files, ZIP, PDF, PNG, JPEG, AppleDouble RFC 1740).

use super::error::FileError;

/// How many bytes are looked at.
pub const LOOK: usize = 512;

/// Which reader takes the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reader {
    /// RIFF, RF64, BW64: read here.
    Wave,
    /// Everything else that may be sound: by the decoder library.
    Decoder,
}

pub fn sniff(head: &[u8]) -> Result<Reader, FileError> {
    const SAVE: &str = "Open it in an audio editor and save it as WAV";
    const UNPACK: &str = "Unpack it and name the recording inside";
    const NAME: &str = "Name a recording instead";
    const FOREIGN: [(&[u8], &str, &str); 15] = [
        (b"riff\x2e\x91\xcf\x11", "a Wave64 recording", SAVE),
        (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11", "Windows Media", SAVE),
        (b"#!AMR", "AMR telephone sound", SAVE),
        (b"wvpk", "WavPack", SAVE),
        (b"MAC ", "Monkey's Audio", SAVE),
        (b"DSD ", "one-bit DSD sound", SAVE),
        (b"FRM8", "one-bit DSD sound", SAVE),
        (b"MThd", "a MIDI file: notes, not sound", "Play it into a recorder, or name a recording instead"),
        (b"\x00\x05\x16\x07", "a Mac's side file", "Name the file without \"._\" before its name"),
        (b"PK\x03\x04", "a ZIP archive", UNPACK),
        (b"Rar!", "a RAR archive", UNPACK),
        (b"7z\xbc\xaf\x27\x1c", "a 7z archive", UNPACK),
        (b"%PDF", "a PDF page", NAME),
        (b"\x89PNG", "a picture", NAME),
        (b"\xff\xd8\xff", "a picture", NAME),
    ];
    if head.is_empty() {
        return Err(FileError::Empty);
    }
    if let [b'R', b'I', b'F', b'F' | b'X', ..] | [b'R', b'F', b'6', b'4', ..] | [b'B', b'W', b'6', b'4', ..] = head {
        return Ok(Reader::Wave);
    }
    if head.starts_with(b"OggS") && head.windows(8).any(|bytes| bytes == b"OpusHead") {
        return Err(FileError::Opus);
    }
    if let Some((_, what, mend)) = FOREIGN.iter().find(|(start, ..)| head.starts_with(start)) {
        return Err(FileError::Foreign { what, mend });
    }
    if is_text(head) { Err(FileError::Text) } else { Ok(Reader::Decoder) }
}

/// UTF-8 (possibly cut at the end) without control characters, or UTF-16 by its mark.
fn is_text(head: &[u8]) -> bool {
    if let [0xff, 0xfe, _, 0, ..] | [0xfe, 0xff, 0, ..] = head {
        return true;
    }
    let valid = match std::str::from_utf8(head) {
        Ok(text) => text,
        Err(error) if error.error_len().is_none() => std::str::from_utf8(&head[..error.valid_up_to()]).unwrap_or(""),
        Err(_) => return false,
    };
    !valid.is_empty() && !valid.chars().any(|c| c.is_control() && !matches!(c, '\t' | '\r' | '\n' | '\x0c'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_goes_its_way() {
        for start in [&b"RIFF"[..], b"RF64", b"BW64", b"RIFX"] {
            assert_eq!(sniff(start).unwrap(), Reader::Wave);
        }
        for start in [&b"fLaC\0\0\0\x22"[..], b"ID3\x04\0", b"\xff\xfb\x90\x64", b"\0\0\0\x18ftyp", b"FORM\0\0"] {
            assert_eq!(sniff(start).unwrap(), Reader::Decoder);
        }
        assert!(matches!(sniff(b"channel;name\r\n1;Ana\xc3"), Err(FileError::Text)));
        assert!(matches!(sniff(b"\xff\xfeH\0i\0"), Err(FileError::Text)));
        assert!(matches!(sniff(b"OggS\0\x02........................OpusHead"), Err(FileError::Opus)));
        assert!(matches!(sniff(b"MThd\0\0\0\x06"), Err(FileError::Foreign { .. })));
        assert!(matches!(sniff(b""), Err(FileError::Empty)));
    }
}
