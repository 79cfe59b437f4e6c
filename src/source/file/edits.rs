//! The edit list of an MP4, M4A or MOV file: which part of a track is the recording.
//!
//! An AAC coder puts about two thousand frames of run-in before the first sample and fills the last packet; the
//! file says so in an edit list (ISO/IEC 14496-12, 8.6.5 and 8.6.6), which the decoder library reads past.
//! In: any seekable stream. Out: units to skip and to keep, track by track. A track without a list, with one that
//! cuts it into several pieces, or with a damaged one is left out: nothing is trimmed then.

use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;

/// The one piece of the track that is heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edit {
    /// Units of the track's own clock before the first heard one.
    pub skip: u64,
    /// Units of the track's own clock in a second.
    pub track_clock: u32,
    /// Length in units of the movie's clock; 0 is "to the end".
    pub length: u64,
    /// Units of the movie's clock in a second.
    pub movie_clock: u32,
}

/// The edit of each track that has one, by the track's number; empty for any other kind of file.
pub fn read_edits<R: Read + Seek + ?Sized>(stream: &mut R) -> Vec<(u32, Edit)> {
    let Ok(end) = stream.seek(SeekFrom::End(0)) else { return Vec::new() };
    Boxes { stream }.edits(Span { start: 0, end }).unwrap_or_default()
}

#[derive(Clone, Copy)]
struct Span {
    start: u64,
    end: u64,
}

struct Boxes<'a, R: ?Sized> {
    stream: &'a mut R,
}

/// More boxes on one level than any file has.
const MOST_BOXES: usize = 65_536;

/// More tracks than any recording has.
const MOST_TRACKS: usize = 64;

impl<R: Read + Seek + ?Sized> Boxes<'_, R> {
    fn edits(&mut self, file: Span) -> Option<Vec<(u32, Edit)>> {
        let mut rest = self.find(file, b"moov")?;
        let header = self.find(rest, b"mvhd")?;
        let movie_clock = self.clock(header)?;
        let mut edits = Vec::new();
        for _ in 0..MOST_BOXES {
            let Some((id, body)) = self.next(&mut rest) else { break };
            if id == *b"trak" && edits.len() < MOST_TRACKS {
                edits.extend(self.track_edit(body, movie_clock));
            }
        }
        Some(edits)
    }

    fn track_edit(&mut self, track: Span, movie_clock: u32) -> Option<(u32, Edit)> {
        let number = self.track_number(track)?;
        let media = self.find(track, b"mdia")?;
        let header = self.find(media, b"mdhd")?;
        let track_clock = self.clock(header)?;
        let edits = self.find(track, b"edts")?;
        let list = self.find(edits, b"elst")?;
        let (skip, length) = self.only_entry(list)?;
        Some((number, Edit { skip, track_clock, length, movie_clock }))
    }

    fn bytes_at<const N: usize>(&mut self, span: Span, offset: u64) -> Option<[u8; N]> {
        let place = span.start.checked_add(offset)?;
        if place.checked_add(N as u64)? > span.end {
            return None;
        }
        let mut bytes = [0; N];
        self.stream.seek(SeekFrom::Start(place)).ok()?;
        self.stream.read_exact(&mut bytes).ok()?;
        Some(bytes)
    }

    fn be32(&mut self, span: Span, offset: u64) -> Option<u32> {
        self.bytes_at(span, offset).map(u32::from_be_bytes)
    }

    fn be64(&mut self, span: Span, offset: u64) -> Option<u64> {
        self.bytes_at(span, offset).map(u64::from_be_bytes)
    }

    /// The next box on this level; `rest` moves behind it.
    fn next(&mut self, rest: &mut Span) -> Option<([u8; 4], Span)> {
        let size = self.be32(*rest, 0)?;
        let id = self.bytes_at(*rest, 4)?;
        let (head, size) = match size {
            0 => (8, rest.end - rest.start),
            1 => (16, self.be64(*rest, 8)?),
            size => (8, u64::from(size)),
        };
        if size < head {
            return None;
        }
        let end = rest.start.saturating_add(size).min(rest.end);
        let body = Span { start: rest.start + head, end };
        rest.start = end;
        Some((id, body))
    }

    fn find(&mut self, mut span: Span, wanted: &[u8; 4]) -> Option<Span> {
        for _ in 0..MOST_BOXES {
            let (id, body) = self.next(&mut span)?;
            if id == *wanted {
                return Some(body);
            }
        }
        None
    }

    /// `mvhd` and `mdhd`: version, two dates, then the clock.
    fn clock(&mut self, header: Span) -> Option<u32> {
        let version = self.bytes_at::<1>(header, 0)?[0];
        let clock = self.be32(header, if version == 1 { 20 } else { 12 })?;
        (clock > 0).then_some(clock)
    }

    /// `tkhd`: version, two dates, then the number.
    fn track_number(&mut self, track: Span) -> Option<u32> {
        let header = self.find(track, b"tkhd")?;
        let version = self.bytes_at::<1>(header, 0)?[0];
        self.be32(header, if version == 1 { 20 } else { 12 })
    }

    /// Media time and length of the list's only piece; empty pieces (late starts) are passed over.
    fn only_entry(&mut self, list: Span) -> Option<(u64, u64)> {
        const MOST_ENTRIES: u32 = 16;
        let version = self.bytes_at::<1>(list, 0)?[0];
        let entries = self.be32(list, 4)?.min(MOST_ENTRIES);
        let mut found = None;
        for entry in 0..u64::from(entries) {
            let (length, time) = if version == 1 {
                let at = 8 + 20 * entry;
                (self.be64(list, at)?, self.be64(list, at + 8)? as i64)
            } else {
                let at = 8 + 12 * entry;
                (u64::from(self.be32(list, at)?), i64::from(self.be32(list, at + 4)? as i32))
            };
            if let Ok(time) = u64::try_from(time) {
                if found.is_some() {
                    return None;
                }
                found = Some((time, length));
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    fn make(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
        let mut bytes = (body.len() as u32 + 8).to_be_bytes().to_vec();
        bytes.extend(id);
        bytes.extend(body);
        bytes
    }

    fn words(words: &[u32]) -> Vec<u8> {
        words.iter().flat_map(|word| word.to_be_bytes()).collect()
    }

    fn movie(list: &[u32]) -> Vec<u8> {
        let track = [
            make(b"tkhd", &words(&[0, 0, 0, 7, 0])),
            make(b"edts", &make(b"elst", &words(list))),
            make(b"mdia", &make(b"mdhd", &words(&[0, 0, 0, 48_000, 0]))),
        ]
        .concat();
        let moov = [make(b"mvhd", &words(&[0, 0, 0, 600, 0])), make(b"trak", &track)].concat();
        [make(b"ftyp", b"M4A "), make(b"mdat", &[9; 100]), make(b"moov", &moov)].concat()
    }

    #[test]
    fn the_one_piece_is_found_behind_a_late_start() {
        let mut file = Cursor::new(movie(&[0, 2, 30, u32::MAX, 1 << 16, 1_200, 2_112, 1 << 16]));
        let edit = Edit { skip: 2_112, track_clock: 48_000, length: 1_200, movie_clock: 600 };
        assert_eq!(read_edits(&mut file), [(7, edit)]);
    }

    #[test]
    fn several_pieces_and_damage_trim_nothing() {
        let two = movie(&[0, 2, 30, 0, 1 << 16, 1_200, 2_112, 1 << 16]);
        assert_eq!(read_edits(&mut Cursor::new(two)), []);
        let whole = movie(&[0, 1, 1_200, 2_112, 1 << 16]);
        for cut in 0..whole.len() {
            read_edits(&mut Cursor::new(&whole[..cut]));
        }
        assert_eq!(read_edits(&mut Cursor::new(vec![0; 64])), []);
    }
}
