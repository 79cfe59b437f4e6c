//! How fast recordings are read, from the page cache, each reader on its own thread's core.
//!
//! `cargo bench --bench files`. Items are samples of one channel: 1,500 channel-seconds a second at 48 kHz are
//! 72 million of them, of which reading may take a small part.

use beforedoors::block::BlockBuf;
use beforedoors::source::Flow;
use beforedoors::source::Source;
use beforedoors::source::file::FileSource;
use divan::Bencher;
use divan::counter::BytesCount;
use divan::counter::ItemsCount;
use std::path::Path;
use std::path::PathBuf;

fn main() {
    divan::main();
}

const SAMPLES: usize = 1 << 24;

#[divan::bench(args = [("1 x 16", 1, 16), ("2 x 16", 2, 16), ("2 x 24", 2, 24), ("2 x 32", 2, 32), ("16 x 24", 16, 24), ("32 x 16", 32, 16)])]
fn wav(bencher: Bencher<'_, '_>, (_, channels, bits): (&str, usize, usize)) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take.wav");
    write_wav(&path, channels, bits);
    bencher
        .counter(ItemsCount::new(SAMPLES))
        .counter(BytesCount::new(SAMPLES * bits / 8))
        .bench(|| read_through(&path));
}

/// The coded fixtures are short: mostly the cost of opening.
#[divan::bench(args = ["phrase.flac", "phrase.mp3", "phrase.ogg", "phrase.m4a"])]
fn coded(bencher: Bencher<'_, '_>, name: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name);
    bencher.counter(ItemsCount::new(2 * 14_400_usize)).bench(|| read_through(&path));
}

fn read_through(path: &Path) -> usize {
    let mut source = FileSource::open(path).unwrap();
    let mut block = BlockBuf::new(source.format().channels, 4_096);
    let mut frames = 0;
    while source.read(&mut block).unwrap() == Flow::More {
        frames += divan::black_box(&block).frames();
    }
    frames
}

/// Noise, so that no value is favoured.
fn write_wav(path: &Path, channels: usize, bits: usize) {
    let size = SAMPLES * bits / 8;
    let mut bytes = Vec::with_capacity(size + 44);
    bytes.extend(b"RIFF");
    bytes.extend((size as u32 + 36).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0\x01\0");
    bytes.extend((channels as u16).to_le_bytes());
    bytes.extend(48_000_u32.to_le_bytes());
    bytes.extend((48_000 * (channels * bits / 8) as u32).to_le_bytes());
    bytes.extend(((channels * bits / 8) as u16).to_le_bytes());
    bytes.extend((bits as u16).to_le_bytes());
    bytes.extend(b"data");
    bytes.extend((size as u32).to_le_bytes());
    let mut state = 1_u32;
    bytes.extend((0..size).map(|_| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    }));
    std::fs::write(path, bytes).unwrap();
}
