//! Capture through ALSA from a named pipe: eight channels at 48 kHz, every sample known.
//!
//! A `file` device reads interleaved `f32` from a pipe; the parent feeds it 10 ms at a time, the child hears
//! it through `LiveSource`. Frame k of channel c is a sine of −18 dBFS peak whose pitch is a multiple of
//! 1 kHz, so that its crest falls on a sample, with the channel's own sign; the values must come bit for bit.

use std::fs::{File, OpenOptions};
use std::io::{Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::{Duration, Instant};

use beforedoors::block::BlockBuf;
use beforedoors::source::Source;
use beforedoors::source::live::{InputState, LiveConfig, LiveError, LiveSource, devices, find};
use beforedoors::units::{Dbfs, SampleRate};

use super::child::{is_told, number, run};

const CHANNELS: usize = 8;
const RATE: u32 = 48_000;
const CHUNK: usize = 480;
/// Two seconds of sine; the child waits for all of it.
const FRAMES: usize = 96_000;
/// What the feeder sends and the child expects.
fn sample(frame: usize, channel: usize) -> f32 {
    let kilohertz = [1, 2, 3, 4][channel % 4];
    let turn = (frame * kilohertz % 48) as f64 / 48.0;
    let sign = if channel < 4 { 1.0 } else { -1.0 };
    (sign * Dbfs::new(-18.0).amplitude() * (std::f64::consts::TAU * turn).sin()) as f32
}

/// A folder with a pipe and the settings that make a device of it.
pub struct Pipe {
    folder: tempfile::TempDir,
}

impl Pipe {
    /// `O_NONBLOCK` on Linux.
    pub const NON_BLOCKING: i32 = 0o4000;

    /// The program, which hears nothing but this; its lines are piped.
    pub fn program(&self) -> Command {
        let mut program = Command::new(env!("CARGO_BIN_EXE_beforedoors"));
        program
            .current_dir(self.folder())
            .env("ALSA_CONFIG_PATH", self.folder().join("asound.conf"))
            .env("PULSE_SERVER", "/nowhere")
            .env("XDG_RUNTIME_DIR", self.folder())
            .stdin(Stdio::null())
            .stdout(Stdio::piped());
        program
    }

    pub fn new() -> Self {
        Self::before("pcm.desk { type null }")
    }

    /// A device that has just so many channels.
    pub fn of(channels: usize) -> Self {
        let bindings: String =
            (0..channels).map(|channel| format!("bindings.{channel} {{ slave a channel {channel} }} ")).collect();
        let slaves = format!("slaves.a {{ pcm nul channels {channels} }}");
        Self::before(&format!("pcm.desk {{ type multi {slaves} {bindings}}}"))
    }

    /// What is read from the pipe has the form of this device.
    fn before(desk: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let pipe = folder.path().join("live.fifo");
        assert!(Command::new("mkfifo").arg(&pipe).status().expect("mkfifo runs").success());
        let settings = format!(
            r#"pcm.nul {{ type null }}
{desk}
pcm.live {{ type file slave.pcm "desk" file "/dev/null" infile "{}" format "raw" hint {{ show on description "Hall Desk" }} }}
pcm.broken {{ type hw card 31 hint {{ show on description "Unplugged Desk" }} }}
pcm.null {{ type null hint {{ show on description "Null" }} }}
"#,
            pipe.display()
        );
        std::fs::write(folder.path().join("asound.conf"), settings).expect("written");
        Self { folder }
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Reading and writing, so that opening does not wait for the other end and a pause is not an end.
    pub fn open(&self, flags: i32) -> File {
        let pipe = self.folder.path().join("live.fifo");
        OpenOptions::new().read(true).write(true).custom_flags(flags).open(pipe).expect("the pipe opens")
    }

    pub fn environment(&self) -> Vec<(&'static str, PathBuf)> {
        vec![
            ("ALSA_CONFIG_PATH", self.folder.path().join("asound.conf")),
            ("PULSE_SERVER", PathBuf::from("/nowhere")),
            ("XDG_RUNTIME_DIR", self.folder.path().to_owned()),
        ]
    }

    fn run(&self, test: &str) -> std::collections::HashMap<String, String> {
        run(test, &self.environment(), Duration::from_secs(60))
    }
}

/// Feeds `frames` frames at the pace of a device, then `zeros` of silence, then nothing.
pub fn feed(mut pipe: File, frames: usize, zeros: usize, done: &AtomicBool) {
    let begun = Instant::now();
    let mut bytes = Vec::with_capacity(CHUNK * CHANNELS * 4);
    for from in (0..frames + zeros).step_by(CHUNK) {
        bytes.clear();
        for frame in from..from + CHUNK {
            for channel in 0..CHANNELS {
                let value = if frame < frames { sample(frame, channel) } else { 0.0 };
                bytes.extend_from_slice(&value.to_ne_bytes());
            }
        }
        if pipe.write_all(&bytes).is_err() || done.load(Relaxed) {
            return;
        }
        let due = Duration::from_micros((from + CHUNK) as u64 * 1_000_000 / u64::from(RATE));
        std::thread::sleep(due.saturating_sub(begun.elapsed()));
    }
}

fn fed(test: &str, frames: usize, zeros: usize) -> std::collections::HashMap<String, String> {
    let pipe = Pipe::new();
    let (file, held) = (pipe.open(0), pipe.open(Pipe::NON_BLOCKING));
    let done = Arc::new(AtomicBool::new(false));
    let told = Arc::clone(&done);
    let feeder = std::thread::spawn(move || feed(file, frames, zeros, &told));
    let found = pipe.run(test);
    done.store(true, Relaxed);
    drain(&held, &feeder);
    feeder.join().expect("the feeder ends");
    found
}

/// Empties the pipe until the feeder, which may wait for room in it, has ended.
pub fn drain<T>(mut pipe: &File, feeder: &std::thread::JoinHandle<T>) {
    let mut bytes = vec![0; 1 << 16];
    while !feeder.is_finished() {
        let _ = pipe.read(&mut bytes);
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn eight() -> LiveConfig {
    LiveConfig { rate: SampleRate::new(RATE), channels: Some(CHANNELS) }
}

#[test]
fn eight_channels_arrive_bit_for_bit() {
    let found = fed("live::fifo::child_captures", FRAMES, 0);
    assert_eq!(number(&found, "frames"), FRAMES as f64);
    assert_eq!(number(&found, "wrong"), 0.0);
    assert_eq!(number(&found, "dropped"), 0.0);
    assert_eq!(number(&found, "overruns"), 0.0);
    for channel in 0..CHANNELS {
        let peak = number(&found, &format!("peak{channel}"));
        assert!((peak + 18.0).abs() < 0.005, "channel {channel}: {peak} dBFS");
    }
    // Letting go of a device that says nothing more must not wait for it.
    assert!(number(&found, "close_ms") < 1_000.0);
    assert!(number(&found, "callback_frames") > 100.0, "callbacks of about 10 ms");
}

#[test]
fn child_captures() {
    if !is_told("live::fifo::child_captures") {
        return;
    }
    let device = find("hall").expect("the device");
    println!("\nname={}", device.name);
    let mut source = LiveSource::open(&device, eight()).expect("it opens");
    let mut block = BlockBuf::new(CHANNELS, 512);
    let (mut frames, mut wrong, mut peaks) = (0, 0, [0.0_f32; CHANNELS]);
    let begun = Instant::now();
    while frames < FRAMES && begun.elapsed() < Duration::from_secs(30) {
        source.read(&mut block).expect("samples");
        let view = block.as_block();
        wrong += usize::from(view.frames() > 0 && (view.start().get() as usize, view.gap().get()) != (frames, 0));
        for (channel, peak) in peaks.iter_mut().enumerate() {
            for (index, value) in view.channel(channel).iter().enumerate() {
                wrong += usize::from(*value != sample(frames + index, channel));
                *peak = peak.max(value.abs());
            }
        }
        frames += view.frames();
    }
    let health = source.health();
    println!("frames={frames}\nwrong={wrong}\ndropped={}", health.dropped.get());
    println!("overruns={}\ncallback_frames={}", health.overruns, health.frames.get() / health.callbacks.max(1));
    for (channel, peak) in peaks.iter().enumerate() {
        println!("peak{channel}={}", Dbfs::from_amplitude(f64::from(*peak)).get());
    }
    let closing = Instant::now();
    drop(source);
    println!("close_ms={}", closing.elapsed().as_millis());
}

#[test]
fn a_device_that_stalls_is_starved_and_zeros_are_told() {
    let found = fed("live::fifo::child_starves", 48_000, 3 * 48_000);
    assert_eq!(found["first"], "Running", "{}", found["stdout"]);
    assert_eq!(found["during_zeros"], "OnlyZeros");
    assert_eq!(found["after"], "Starved");
    assert!(number(&found, "close_ms") < 1_000.0);
}

#[test]
fn child_starves() {
    if !is_told("live::fifo::child_starves") {
        return;
    }
    let mut source = LiveSource::open(&find("Hall Desk").expect("the device"), eight()).expect("it opens");
    let mut block = BlockBuf::new(CHANNELS, 4_800);
    let mut frames = 0;
    let (mut first, mut zeros) = (None, None);
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(30) {
        source.read(&mut block).expect("a stall is no error");
        frames += block.frames();
        let state = source.health().state;
        if frames > 24_000 {
            first.get_or_insert(state);
        }
        if state == InputState::OnlyZeros {
            zeros = Some(state);
        }
        if state == InputState::Starved {
            break;
        }
    }
    println!("\nfirst={:?}\nduring_zeros={:?}", first.expect("frames"), zeros.expect("zeros"));
    println!("after={:?}", source.health().state);
    let closing = Instant::now();
    drop(source);
    println!("close_ms={}", closing.elapsed().as_millis());
}

/// What cannot be opened and what is null is not listed, and nothing is printed about it.
#[test]
fn the_list_is_clean() {
    let found = fed("live::fifo::child_lists", 0, 0);
    assert_eq!(found["names"], "Hall Desk", "{}", found["stdout"]);
    assert_eq!(found["ids"], "alsa:live");
    assert_eq!(found["refused"], "NotOffered");
    assert_eq!(found["unknown"], "Unknown");
    assert!(!found["stderr"].contains("ALSA"), "{}", found["stderr"]);
}

#[test]
fn child_lists() {
    if !is_told("live::fifo::child_lists") {
        return;
    }
    let all = devices().expect("a device");
    let names: Vec<&str> = all.iter().map(|device| device.name.as_str()).collect();
    let ids: Vec<&str> = all.iter().map(|device| device.id.as_str()).collect();
    println!("\nnames={}\nids={}", names.join(","), ids.join(","));
    let want = LiveConfig { channels: Some(65), rate: None };
    let refused = matches!(LiveSource::open(&all[0], want), Err(LiveError::NotOffered { .. }));
    println!("refused={}", if refused { "NotOffered" } else { "?" });
    let unknown = matches!(find("Unplugged Desk"), Err(LiveError::Unknown { .. }));
    println!("unknown={}", if unknown { "Unknown" } else { "?" });
}
