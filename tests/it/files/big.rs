//! Beyond 4 GB: sizes that need 64 bits, in memory that stays flat.

use super::make::Header;
use beforedoors::block::BlockBuf;
use beforedoors::source::Flow;
use beforedoors::source::Source;
use beforedoors::source::file::FileSource;
use beforedoors::source::file::FileWarning;
use std::fs::File;
use std::io::Seek;
use std::io::SeekFrom;
use std::io::Write;
use std::path::Path;

/// 64 channels of 64-bit float make 512 bytes a frame, so that 4 GB are read in a few seconds.
const CHANNELS: u16 = 64;
const FRAME: u64 = 512;
const FRAMES: u64 = (4 << 30) / FRAME + 1_000;

/// A file with a hole in it: only the header and the last frame take room on the disk.
fn sparse(path: &Path, header: &[u8]) {
    let mut file = File::create(path).unwrap();
    file.write_all(header).unwrap();
    let last: Vec<u8> = (0..CHANNELS).flat_map(|channel| (f64::from(channel) / 64.0).to_le_bytes()).collect();
    file.seek(SeekFrom::Start(header.len() as u64 + (FRAMES - 1) * FRAME)).unwrap();
    file.write_all(&last).unwrap();
}

fn header() -> Header {
    Header {
        family: b"RF64",
        data_size: Some(u32::MAX),
        ds64: Some(FRAMES * FRAME),
        ..Header::new(3, CHANNELS, 48_000, 64)
    }
}

/// Reads to the end without one allocation after the opening; gives the last frame.
fn last_frame(source: &mut FileSource) -> Vec<f32> {
    let mut block = BlockBuf::new(usize::from(CHANNELS), 4_096);
    let mut last = vec![0.0; usize::from(CHANNELS)];
    let mut frames = 0;
    assert_no_alloc::assert_no_alloc(|| {
        while let Ok(Flow::More) = source.read(&mut block) {
            frames += block.frames() as u64;
            for (channel, last) in last.iter_mut().enumerate() {
                *last = block.as_block().channel(channel)[block.frames() - 1];
            }
        }
    });
    assert_eq!(frames, FRAMES);
    last
}

#[test]
fn an_rf64_beyond_four_gigabytes_is_read_to_its_last_frame() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.wav");
    sparse(&path, &header().before(0));
    let mut source = FileSource::open(&path).unwrap();
    assert_eq!((source.info().kind.as_str(), source.info().frames), ("RF64 64-bit float", Some(FRAMES)));
    let last = last_frame(&mut source);
    assert!(last.iter().enumerate().all(|(channel, &x)| x == channel as f32 / 64.0));
    assert!(source.warnings().is_empty());
}

#[test]
fn sizes_beyond_32_bits_are_found_however_the_header_puts_them() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long.wav");
    let open = |header: Header| {
        sparse(&path, &header.before(0));
        let source = FileSource::open(&path).unwrap();
        (source.info().frames, source.warnings().to_vec())
    };
    assert_eq!(open(Header { family: b"BW64", ..header() }), (Some(FRAMES), vec![]));
    let unfinished = vec![FileWarning::Unfinished { frames: FRAMES }];
    assert_eq!(open(Header { ds64: Some(0), ..header() }), (Some(FRAMES), unfinished.clone()));
    assert_eq!(open(Header { ds64: None, ..header() }), (Some(FRAMES), unfinished));
    // A plain RIFF whose writer let the 32-bit length run over.
    let wrapped = (FRAMES * FRAME) as u32;
    let header = Header { family: b"RIFF", ds64: None, data_size: Some(wrapped), ..header() };
    let stated = u64::from(wrapped) / FRAME;
    assert_eq!(open(header), (Some(FRAMES), vec![FileWarning::LongerThanStated { stated, held: FRAMES }]));
}
