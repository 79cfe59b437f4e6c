//! No frame is lost on the way from a device through the engine: thirty-two channels of numbered sound, beside two threads
//! that keep both cores busy.
//!
//! Twice the face holds the engine up for longer than the ring lasts: what is dropped then is missing exactly where and
//! as long as it is told. What the device itself loses is counted apart: by the feeder on an ALSA pipe, as zeros and
//! jumps behind a sound server. A plain run takes 20 s; `BEFOREDOORS_FULL=1` an hour of each.

use std::fs::File;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::time::{Duration, Instant};

use beforedoors::block::BlockBuf;
use beforedoors::engine::session::{Hearing, Link, Session, Waker};
use beforedoors::engine::{Connection, Snapshot};
use beforedoors::source::{Flow, Source};

use super::child::{is_told, number, run};
use super::fifo::Pipe;
use super::numbers::{CHANNELS, Heard, RATE, feed};
use super::server::Server;

const SHORT: u64 = 20;
const HOUR: u64 = 3_600;
/// The ring lasts 2 s.
const STALL: Duration = Duration::from_secs(3);
/// What two stalls cost, in frames.
const STALLED: f64 = 2.0 * RATE as f64;

fn full() -> bool {
    std::env::var_os("BEFOREDOORS_FULL").is_some()
}

type Found = std::collections::HashMap<String, String>;

/// What holds for every way: nothing is lost by us but what was dropped, and that is told to the frame.
fn check(found: &Found, seconds: u64) {
    let of = |key: &str| number(found, key);
    for none in ["doubled", "torn", "misplaced"] {
        assert_eq!(of(none), 0.0, "{none}\n{}", found["stdout"]);
    }
    assert_eq!(of("told"), of("lost_frames"), "the picture's own count");
    // Each stall takes a second and more beyond the ring; what more depends on the machine.
    let most = 2.0 * STALLED + 0.001 * f64::from(RATE) * seconds as f64;
    assert!(of("told") < most, "{} frames dropped", of("told"));
}

#[test]
fn no_frame_of_a_device_is_lost_untold() {
    from_a_device(SHORT);
}

#[test]
fn no_frame_of_a_device_is_lost_in_an_hour() {
    if full() {
        from_a_device(HOUR);
    }
}

#[test]
fn no_frame_from_a_server_is_lost_untold() {
    from_a_server(SHORT);
}

#[test]
fn no_frame_from_a_server_is_lost_in_an_hour() {
    if full() {
        from_a_server(HOUR);
    }
}

fn from_a_device(seconds: u64) {
    let pipe = Pipe::of(CHANNELS);
    let (to, held) = (pipe.open(Pipe::NON_BLOCKING), pipe.open(Pipe::NON_BLOCKING));
    roomy(&to);
    let begin = pipe.folder().join("begin");
    let frames = seconds * u64::from(RATE);
    let feeder = std::thread::spawn(move || feed(to, frames, &begin));
    let found = child(pipe.environment(), pipe.folder(), "Hall Desk", seconds);
    super::fifo::drain(&held, &feeder);
    let unwritten = feeder.join().expect("the feeder ends");
    println!("the feeder found no room for {unwritten} frames");
    check(&found, seconds);
    assert!(number(&found, "told") > 0.9 * STALLED, "{}", found["stdout"]);
    assert_eq!(number(&found, "zeros"), 0.0);
    assert_eq!(number(&found, "invented"), 0.0);
    assert_eq!(number(&found, "at"), number(&found, "frames") + number(&found, "told"), "the audio clock");
    // All that is missing and was not told is what the feeder could not write.
    assert_eq!(number(&found, "untold") + number(&found, "unheard"), unwritten as f64, "{}", found["stdout"]);
}

fn from_a_server(seconds: u64) {
    let Some(server) = Server::of(CHANNELS) else { return };
    let folder = server.folder().to_owned();
    let fifo = folder.join("play.fifo");
    assert!(Command::new("mkfifo").arg(&fifo).status().expect("mkfifo runs").success());
    let open = |flags| File::options().read(true).write(true).custom_flags(flags).open(&fifo).expect("it opens");
    let (to, from) = (open(Pipe::NON_BLOCKING), open(0));
    roomy(&to);
    let mut player = play(&server, from);
    let frames = seconds * u64::from(RATE);
    let begin = folder.join("begin");
    let feeder = std::thread::spawn(move || feed(to, frames, &begin));
    let found = child(server.environment(), &folder, "hall", seconds);
    let _ = player.kill();
    let _ = player.wait();
    let held = open(Pipe::NON_BLOCKING);
    super::fifo::drain(&held, &feeder);
    let unwritten = feeder.join().expect("the feeder ends");
    let own = number(&found, "untold");
    println!("before the server: {unwritten} frames; the server lost {own} and gave {} zeros", found["zeros"]);
    check(&found, seconds);
    // A server loses some of its own beside busy threads, the more the busier the machine; so little can be asked here.
    assert!(number(&found, "frames") - number(&found, "zeros") > 0.3 * frames as f64, "{}", found["stdout"]);
}

/// Room for 0.17 s, as much as a pipe may have.
fn roomy(pipe: &File) {
    rustix::pipe::fcntl_setpipe_size(pipe, 1 << 20).expect("a pipe of 1 MB");
}

fn play(server: &Server, from: File) -> Child {
    let mut player = Command::new("pacat");
    player
        .args(["--playback", "--raw", "--format=float32le", "--rate=48000", "--device=hall", "--latency-msec=200"])
        .arg(format!("--channels={CHANNELS}"))
        .arg(format!("--channel-map={}", Server::channel_map(CHANNELS)))
        .envs(server.environment())
        .stdin(from)
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    player.spawn().expect("pacat, of pulseaudio-utils")
}

fn child(mut environment: Vec<(&'static str, PathBuf)>, folder: &Path, device: &str, seconds: u64) -> Found {
    let length = seconds.to_string();
    environment.extend([("DEVICE", device.into()), ("LENGTH", length.into()), ("FOLDER", folder.to_owned())]);
    let found = run("live::hour::child_listens", &environment, Duration::from_secs(2 * seconds + 60));
    println!("{}\n{}", found["stdout"], found["stderr"]);
    found
}

/// Holds the engine up when a third and when two thirds of the time have gone by.
fn stalling(length: f64) -> Waker {
    let mut due = vec![length * 2.0 / 3.0, length / 3.0];
    Box::new(move |picture: &Snapshot, _| {
        if due.last().is_some_and(|due| picture.at.get() > *due) {
            due.pop();
            std::thread::sleep(STALL);
        }
    })
}

#[test]
fn child_listens() {
    if !is_told("live::hour::child_listens") {
        return;
    }
    let told = |key: &str| std::env::var(key).expect("told");
    let seconds: u64 = told("LENGTH").parse().expect("a number");
    let hearing = Hearing::Live { device: Some(told("DEVICE")) };
    let wake = stalling(seconds as f64);
    let session = Session::start(hearing, None, Connection::Usb, Some(wake)).expect("it opens");
    assert_eq!(session.format().channels, CHANNELS);
    let mut overheard = session.overhear().expect("a device is heard");
    std::fs::write(Path::new(&told("FOLDER")).join("begin"), "").expect("written");
    let over = AtomicBool::new(false);
    let frames = seconds * u64::from(RATE);
    let mut heard = Heard::default();
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                while !over.load(Relaxed) {
                    std::hint::spin_loop();
                }
            });
        }
        let mut block = BlockBuf::new(CHANNELS, 24_000);
        let (begun, mut came) = (Instant::now(), Instant::now());
        let length = Duration::from_secs(seconds);
        // To the end of what was fed, and until nothing new has come for longer than a stall.
        while heard.unheard_of(frames) > 0 || begun.elapsed() < length {
            let Ok(_) = overheard.read(&mut block);
            let before = heard.frames - heard.zeros;
            heard.take(&block.as_block());
            if heard.frames - heard.zeros > before {
                came = Instant::now();
            }
            if begun.elapsed() > length && came.elapsed() > 2 * STALL {
                break;
            }
        }
        over.store(true, Relaxed);
    });
    // The rest, and the picture of the last block.
    session.end();
    let mut block = BlockBuf::new(CHANNELS, 24_000);
    while let Ok(Flow::More) = overheard.read(&mut block) {
        heard.take(&block.as_block());
    }
    let snapshot = session.snapshot();
    println!("\nframes={}\ntold={}\nmissing={}\nuntold={}", heard.frames, heard.told, heard.missing, heard.untold);
    println!("invented={}\ndoubled={}\ntorn={}\nzeros={}", heard.invented, heard.doubled, heard.torn, heard.zeros);
    println!("misplaced={}\nunheard={}", heard.misplaced, heard.unheard_of(frames));
    println!("lost_frames={}\nat={}", snapshot.lost_frames, snapshot.readings.at.get());
}
