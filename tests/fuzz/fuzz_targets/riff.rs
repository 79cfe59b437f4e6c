//! Any bytes as a WAV file: reading ends, does not panic, and gives no more than the bytes can hold.
//!
//! `RUSTC_BOOTSTRAP=1 cargo fuzz run --fuzz-dir tests/fuzz --sanitizer none riff`; the WAV files in `fixtures/` are
//! good seeds. The bytes get a RIFF, RF64 or BW64 mark, so that no time is spent on other kinds.

#![no_main]

use beforedoors::block::BlockBuf;
use beforedoors::source::Flow;
use beforedoors::source::Source;
use beforedoors::source::file::FileSource;
use std::io::Cursor;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let mut bytes = bytes.to_vec();
    let marks = [b"RIFF", b"RF64", b"BW64"];
    if bytes.len() >= 4 && !marks.iter().any(|mark| bytes.starts_with(&mark[..])) {
        let mark = marks[usize::from(bytes[0]) % marks.len()];
        bytes[..4].copy_from_slice(mark);
    }
    let length = bytes.len();
    let Ok(mut source) = FileSource::from_stream(Box::new(Cursor::new(bytes))) else { return };
    let promised = source.info().frames;
    // Whatever the decoder library took over counts its frames in its own way.
    let plain = ["WAV", "RF64", "BW64"].iter().any(|family| source.info().kind.starts_with(family));
    let mut block = BlockBuf::new(source.format().channels, 1_024);
    let mut frames = 0;
    while let Ok(Flow::More) = source.read(&mut block) {
        frames += block.frames();
    }
    if plain {
        assert!(frames * source.format().channels <= length);
        assert_eq!(promised, Some(frames as u64));
    }
});
