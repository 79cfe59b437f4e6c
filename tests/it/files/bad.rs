//! What is no recording, or a broken one: a clear error that says what to do, never a panic, never silence.

use super::hear;
use super::make::Header;
use super::open_bytes;
use beforedoors::source::file::FileError;
use beforedoors::source::file::FileSource;
use beforedoors::source::file::FileWarning;
use std::path::Path;

fn refused(bytes: &[u8]) -> FileError {
    match open_bytes(bytes.to_vec()) {
        Err(error) => {
            let text = error.to_string();
            assert!(text.len() > 30, "says too little: {text}");
            error
        }
        Ok(source) => panic!("opened as {:?}", source.info()),
    }
}

fn refused_path(path: &Path) -> FileError {
    FileSource::open(path).map(|source| source.info().clone()).unwrap_err()
}

fn plain() -> Header {
    Header::new(1, 2, 48_000, 16)
}

#[test]
fn what_is_no_file_of_sound_at_all() {
    let folder = tempfile::tempdir().unwrap();
    assert!(matches!(refused_path(folder.path()), FileError::Folder));
    assert!(matches!(refused_path(&folder.path().join("absent.wav")), FileError::Missing));
    let path = folder.path().join("empty.wav");
    std::fs::write(&path, []).unwrap();
    assert!(matches!(refused_path(&path), FileError::Empty));
    std::fs::write(&path, "1 Ana vocal mic\n2 Ben guitar\n").unwrap();
    assert!(matches!(refused_path(&path), FileError::Text));
    #[cfg(unix)]
    assert!(matches!(refused_path(Path::new("/dev/null")), FileError::NotAFile));
}

/// An administrator may read everything, so the system's answer is given by hand.
#[test]
fn a_file_that_may_not_be_read() {
    let answer = std::io::Error::from(std::io::ErrorKind::PermissionDenied);
    assert!(matches!(FileError::from(answer), FileError::Forbidden));
}

#[test]
fn what_sound_files_are_mistaken_for() {
    for (head, word) in [
        (&b"MThd\0\0\0\x06\0\x01\0\x02\x01\xe0MTrk"[..], "MIDI"),
        (b"PK\x03\x04\x14\0\0\0\x08\0", "ZIP"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "picture"),
        (b"\x30\x26\xb2\x75\x8e\x66\xcf\x11\xa6\xd9", "Windows Media"),
        (b"#!AMR\n\x3c\x91\x17\x16", "AMR"),
        (b"\0\x05\x16\x07\0\x02\0\0Mac OS X", "Mac"),
        (b"RIFF\x24\0\0\0AVI LIST", "AVI"),
    ] {
        let text = refused(head).to_string();
        assert!(text.contains(word), "{text}");
    }
    assert!(matches!(refused(&[0; 4_096]), FileError::Unknown));
    assert!(matches!(refused(b"\x01\x02\x03"), FileError::Unknown));
}

#[test]
fn headers_with_impossible_formats() {
    let with = |header: Header| refused(&header.with(&[0; 4_096]));
    assert!(matches!(with(Header { channels: 0, ..plain() }), FileError::Channels { channels: 0 }));
    assert!(matches!(with(Header::new(1, 65, 48_000, 16)), FileError::Channels { channels: 65 }));
    assert!(matches!(with(Header { rate: 0, ..plain() }), FileError::Rate { hz: 0 }));
    assert!(matches!(with(Header { rate: 7_999, ..plain() }), FileError::Rate { hz: 7_999 }));
    assert!(matches!(with(Header { rate: 192_001, ..plain() }), FileError::Rate { hz: 192_001 }));
    assert!(matches!(with(Header { bits: 0, frame_bytes: 0, ..plain() }), FileError::Codec { .. }));
    assert!(matches!(with(Header { bits: 64, frame_bytes: 16, ..plain() }), FileError::Codec { .. }));
    assert!(matches!(with(Header { tag: 3, ..plain() }), FileError::Codec { .. }));
}

#[test]
fn codecs_in_wav_that_are_not_read_are_named() {
    for (tag, word) in
        [(0x31, "GSM 6.10"), (0x55, "MP3 inside WAV"), (0x161, "Windows Media Audio"), (0x1234, "0x1234")]
    {
        let text = refused(&Header { tag, bits: 0, frame_bytes: 65, ..plain() }.with(&[0; 4_096])).to_string();
        assert!(text.contains(word) && text.contains("save it as WAV"), "{text}");
    }
}

#[test]
fn headers_that_stop_short() {
    let whole = plain().with(&[0; 400]);
    for cut in 1..=44 {
        let error = refused(&whole[..cut]);
        let expected = match cut {
            1..4 => matches!(error, FileError::Text),
            4..36 => matches!(error, FileError::Header { .. }),
            _ => matches!(error, FileError::NoSound),
        };
        assert!(expected, "{cut}: {error:?}");
    }
    // Half a frame is no sound either.
    assert!(matches!(refused(&whole[..46]), FileError::NoSound));
    assert!(open_bytes(whole[..48].to_vec()).is_ok());
}

#[test]
fn sizes_that_lie_are_mended_with_a_warning() {
    let sound: Vec<u8> = (0..40_000_u32).flat_map(|i| (i as u16).to_le_bytes()).collect();
    let frames = 20_000;
    for (data_size, warning) in [
        (0, FileWarning::Unfinished { frames }),
        (u32::MAX, FileWarning::Unfinished { frames }),
        (4_000_000, FileWarning::Truncated { promised: 1_000_000, held: frames }),
        (4_000, FileWarning::LongerThanStated { stated: 1_000, held: frames }),
    ] {
        let bytes = Header { data_size: Some(data_size), ..plain() }.with(&sound);
        let mut source = open_bytes(bytes).unwrap();
        assert_eq!(source.info().frames, Some(frames));
        let heard = hear(&mut source).unwrap();
        assert_eq!(heard[0].len() as u64, frames);
        assert_eq!(source.warnings(), [warning]);
    }
}

#[test]
fn a_tag_behind_the_sound_is_not_played() {
    let mut bytes = plain().with(&[1; 4_000]);
    bytes.extend(b"TAG");
    bytes.extend([b' '; 125]);
    let mut source = open_bytes(bytes).unwrap();
    assert_eq!(hear(&mut source).unwrap()[0].len(), 1_000);
    assert_eq!(source.warnings(), [FileWarning::TrailingBytes { bytes: 128 }]);
}

#[test]
fn a_file_that_is_cut_while_it_is_read_ends_with_a_warning() {
    use beforedoors::block::BlockBuf;
    use beforedoors::source::Flow;
    use beforedoors::source::Source;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take.wav");
    std::fs::write(&path, plain().with(&vec![0; 4_000_000])).unwrap();
    let mut source = FileSource::open(&path).unwrap();
    let mut block = BlockBuf::new(2, 1_000);
    assert_eq!(source.read(&mut block).unwrap(), Flow::More);
    std::fs::OpenOptions::new().write(true).open(&path).unwrap().set_len(2_000_044).unwrap();
    let mut frames = block.frames();
    while source.read(&mut block).unwrap() == Flow::More {
        frames += block.frames();
    }
    assert_eq!(frames, 500_000);
    assert_eq!(source.warnings(), [FileWarning::CutWhileRead { promised: 1_000_000, held: 500_000 }]);
}

/// A file of nothing but empty chunks is given up, not walked for minutes.
#[test]
fn endless_chunks_end() {
    let mut bytes = b"RIFF\0\0\0\0WAVE".to_vec();
    for _ in 0..200_000 {
        bytes.extend(b"JUNK\0\0\0\0");
    }
    assert!(matches!(refused(&bytes), FileError::Header { .. }));
}
