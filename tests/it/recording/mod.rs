//! Recording while listening: nothing allocated on the engine's thread, killed at any moment, on a real desk's way; the
//! log beside it; who may be recorded; the folder that carries the program.

#[cfg(target_os = "linux")]
mod carried;
mod consent;
#[cfg(unix)]
mod kills;
#[cfg(target_os = "linux")]
mod show;

use std::fs::File;
use std::path::{Path, PathBuf};

use assert_no_alloc::assert_no_alloc;
use beforedoors::block::{BlockBuf, Format};
use beforedoors::sink::record::{Gap, RecordEvent, RecordPlan, Stop, start};
use beforedoors::source::file::maker_of;
use beforedoors::units::{ChannelId, FrameCount, SampleRate};

const RATE: u32 = 48_000;

fn format(channels: usize) -> Format {
    Format { rate: SampleRate::new(RATE).expect("a rate"), channels }
}

fn plan(folder: &Path, barred: &[ChannelId]) -> RecordPlan {
    let mark = |gap: &Gap| format!("{:.3} s missing", gap.span.get());
    RecordPlan { folder: folder.to_owned(), stem: "take".into(), barred: barred.to_vec(), mark }
}

/// The code of 24 bits that stands for a frame of a channel.
fn code(frame: u64, channel: usize) -> i32 {
    (frame * 8 + channel as u64) as i32 % 8_000_000 + 1
}

fn fill(block: &mut BlockBuf, start: u64, frames: u64, gap: u64) {
    block.restart(FrameCount::new(start), FrameCount::new(gap));
    for (channel, plane) in block.planes_mut().iter_mut().enumerate() {
        plane.extend((start..start + frames).map(|frame| code(frame, channel) as f32 / 8_388_608.0));
    }
}

fn only_wav(folder: &Path) -> PathBuf {
    let files = std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("readable").path());
    let mut files: Vec<PathBuf> = files.filter(|path| path.extension().is_some_and(|end| end == "wav")).collect();
    assert_eq!(files.len(), 1, "{files:?}");
    files.remove(0)
}

#[cfg(target_os = "linux")]
fn lines(text: &str) -> Vec<serde_json::Value> {
    text.lines().map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{line}: {error}"))).collect()
}

/// Interleaved, and how many channels.
fn read(path: &Path) -> (usize, Vec<i32>) {
    let mut wav = hound::WavReader::new(File::open(path).expect("there")).unwrap_or_else(|error| {
        panic!("{}: {error}", path.display());
    });
    (usize::from(wav.spec().channels), wav.samples::<i32>().map(|code| code.expect("a sample")).collect())
}

/// Blocks of every length, gaps, a queue that overflows: what the engine's thread calls allocates nothing.
#[test]
fn taking_a_block_allocates_nothing() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut recorder, recording) = start(format(8), plan(folder.path(), &[ChannelId::new(2)])).expect("it begins");
    let mut block = BlockBuf::new(8, 30_000);
    let mut at = 0;
    for (frames, gap) in (0..200).map(|n| (n * 37 % 30_000 + 1, u64::from(n % 50 == 7) * 5_000)) {
        at += gap;
        fill(&mut block, at, frames, gap);
        assert_no_alloc(|| recorder.take(&block.as_block()));
        at += frames;
    }
    // Far more than the queue holds, as fast as can be.
    fill(&mut block, at, 30_000, 0);
    for _ in 0..60 {
        assert_no_alloc(|| recorder.take(&block.as_block()));
        at += 30_000;
    }
    drop(recorder);
    let news = recording.end();
    let Some(RecordEvent::Stopped { why: Stop::Asked, length }) = news.last() else { panic!("{news:?}") };
    let (channels, codes) = read(&only_wav(folder.path()));
    assert_eq!((channels, codes.len() as u64), (7, 7 * at));
    // Not the name that this program's copies bear, which are no takes.
    assert_eq!(maker_of(&only_wav(folder.path())).as_deref(), Some("beforedoors recording"));
    assert_eq!(length.get(), at as f64 / f64::from(RATE));
}

/// Another program's file of the same second stays; a folder that can't be written is told before anything begins.
#[test]
fn what_stands_there_stays_and_no_folder_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut files = Vec::new();
    for _ in 0..5 {
        let (_, recording) = start(format(1), plan(folder.path(), &[])).expect("it begins");
        files.push(recording.file.clone());
    }
    files.sort();
    files.dedup();
    assert_eq!(files.len(), 5, "each has a name of its own");
    std::fs::write(folder.path().join("file"), "").expect("written");
    let told = start(format(1), plan(&folder.path().join("file/takes"), &[])).err().expect("no folder").to_string();
    assert!(told.contains("no recording can be made there") && told.contains("Name a folder"), "{told}");
}
