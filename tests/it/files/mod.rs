//! Recordings: what comes out of a file against what was put in.

mod bad;
mod big;
mod codecs;
mod fixtures;
mod make;
mod mutations;
mod widths;

use beforedoors::block::BlockBuf;
use beforedoors::source::Flow;
use beforedoors::source::Source;
use beforedoors::source::file::FileError;
use beforedoors::source::file::FileSource;
use std::io::Cursor;
use std::path::PathBuf;

fn fixture(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn open_bytes(bytes: Vec<u8>) -> Result<FileSource, FileError> {
    FileSource::from_stream(Box::new(Cursor::new(bytes)))
}

/// Everything that a source gives, one vector per channel; lost frames are left out.
fn hear(source: &mut FileSource) -> Result<Vec<Vec<f32>>, FileError> {
    let channels = source.format().channels;
    let mut block = BlockBuf::new(channels, 4_096);
    let mut heard = vec![Vec::new(); channels];
    while source.read(&mut block)? == Flow::More {
        assert!(!block.is_empty(), "more to come, but nothing came");
        for (channel, plane) in heard.iter_mut().enumerate() {
            plane.extend_from_slice(block.as_block().channel(channel));
        }
    }
    assert!(block.is_empty());
    Ok(heard)
}

fn hear_fixture(name: &str) -> (FileSource, Vec<Vec<f32>>) {
    let mut source = FileSource::open(&fixture(name)).unwrap_or_else(|error| panic!("{name}: {error}"));
    let heard = hear(&mut source).unwrap_or_else(|error| panic!("{name}: {error}"));
    (source, heard)
}
