//! The armed tone into a private PulseAudio server and back through `LiveSource`, and the server's death.
//!
//! The server runs in a folder of its own with one null sink; it needs no card and no session. Each test is
//! skipped, and says so, only where the program `pulseaudio` is not installed.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use beforedoors::block::BlockBuf;
use beforedoors::engine::Connection;
use beforedoors::engine::session::{Hearing, Link, Session, Status};
use beforedoors::sink::{TONE_PITCH, TONE_STEP, ToneOutput, arm, outputs};
use beforedoors::source::Source;
use beforedoors::source::live::{LiveConfig, LiveError, LiveSource, find};
use beforedoors::units::Dbfs;

use crate::support::process::signal;

use super::child::{is_told, number, run};

pub struct Server {
    folder: tempfile::TempDir,
    process: Child,
}

impl Server {
    /// `None` where the program is missing.
    pub fn start() -> Option<Self> {
        Self::with("channels=2")
    }

    /// One whose sink has so many channels, without positions.
    pub fn of(channels: usize) -> Option<Self> {
        Self::with(&format!("channels={channels} channel_map={}", Self::channel_map(channels)))
    }

    pub fn channel_map(channels: usize) -> String {
        (0..channels).map(|channel| format!("aux{channel}")).collect::<Vec<_>>().join(",")
    }

    fn with(channels: &str) -> Option<Self> {
        let folder = tempfile::tempdir().expect("a folder");
        let socket = folder.path().join("pulse.sock");
        let orders = format!(
            "load-module module-native-protocol-unix socket={} auth-anonymous=1\n\
             load-module module-null-sink sink_name=hall format=float32le rate=48000 {channels} \
             sink_properties=device.description=Hall\n\
             set-default-sink hall\nset-default-source hall.monitor\n",
            socket.display()
        );
        let file = folder.path().join("run.pa");
        std::fs::write(&file, orders).expect("written");
        let started = launch(&file, folder.path());
        let process = match started {
            Ok(process) => process,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                println!("skipped: the program pulseaudio is not installed");
                return None;
            }
            Err(error) => panic!("pulseaudio does not start: {error}"),
        };
        let mut server = Self { folder, process };
        let begun = Instant::now();
        while !socket.exists() {
            assert!(server.process.try_wait().expect("a state").is_none(), "pulseaudio ended at once");
            assert!(begun.elapsed() < Duration::from_secs(20), "pulseaudio opens no socket");
            std::thread::sleep(Duration::from_millis(20));
        }
        Some(server)
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// For whoever is to hear or play through it.
    pub fn environment(&self) -> Vec<(&'static str, PathBuf)> {
        let folder = self.folder.path();
        // No ALSA devices beside the server's.
        let settings = folder.join("asound.conf");
        std::fs::write(&settings, "").expect("written");
        vec![
            ("PULSE_SERVER", PathBuf::from(format!("unix:{}", folder.join("pulse.sock").display()))),
            ("ALSA_CONFIG_PATH", settings),
            ("XDG_RUNTIME_DIR", folder.to_owned()),
            ("HOME", folder.to_owned()),
            ("SERVER_PID", PathBuf::from(self.process.id().to_string())),
        ]
    }

    pub fn run(&self, test: &str) -> std::collections::HashMap<String, String> {
        run(test, &self.environment(), Duration::from_secs(60))
    }
}

/// The server by these orders, in this folder.
pub fn launch(orders: &Path, folder: &Path) -> std::io::Result<Child> {
    Command::new("pulseaudio")
        .args(["-n", "-F"])
        .arg(orders)
        .args(["--daemonize=no", "--exit-idle-time=-1", "--disallow-exit", "--use-pid-file=no"])
        .args(["--log-target=stderr", "--realtime=no", "--high-priority=no", "--disable-shm=yes"])
        .env("XDG_RUNTIME_DIR", folder)
        .env("HOME", folder)
        .env_remove("PULSE_SERVER")
        .stderr(Stdio::null())
        .spawn()
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Levels of a sine by the way through a sound server: no gain, no loss. It starts at −30, rises by exactly
/// 10 dB, and is gone after the stop.
#[test]
fn the_tone_comes_back_at_its_level() {
    let Some(server) = Server::start() else { return };
    let found = server.run("live::server::child_plays");
    assert_eq!(found["input"], "Monitor of Hall pulseaudio:hall.monitor", "{}", found["stdout"]);
    assert_eq!(found["output"], "Hall pulseaudio:hall");
    let (first, second) = (number(&found, "first"), number(&found, "second"));
    // 24 bits of `f32` and a crest that falls between samples by at most 1/96 turn.
    assert!((first + 30.0).abs() < 0.01, "{first}");
    assert!((second - first - 10.0).abs() < 0.01, "{second}");
    assert_eq!(found["after"], "-inf");
    assert_eq!(found["loudest_start"], "true");
    assert!(number(&found, "close_ms") < 1_000.0);
}

/// The peak of what comes within `seconds`, on both channels.
fn hear(source: &mut LiveSource, seconds: f64) -> f64 {
    let mut block = BlockBuf::new(2, 4_800);
    let frames = (seconds * f64::from(source.format().rate.get())) as usize;
    let (mut heard, mut peak) = (0, 0.0_f32);
    let begun = Instant::now();
    while heard < frames && begun.elapsed() < Duration::from_secs(20) {
        source.read(&mut block).expect("samples");
        heard += block.frames();
        let view = block.as_block();
        for channel in 0..2 {
            peak = view.channel(channel).iter().fold(peak, |peak, sample| peak.max(sample.abs()));
        }
    }
    Dbfs::from_amplitude(f64::from(peak)).get()
}

#[test]
fn child_plays() {
    if !is_told("live::server::child_plays") {
        return;
    }
    let input = find("hall").expect("the input");
    let output = outputs().expect("outputs").into_iter().find(|output| output.is_default).expect("a default");
    println!("\ninput={} {}\noutput={} {}", input.name, input.id, output.name, output.id);
    let mut source = LiveSource::open(&input, LiveConfig::default()).expect("it opens");
    let leave = arm(true).expect("confirmed");
    let tone = ToneOutput::start(leave, Some(&output), TONE_PITCH).expect("it plays");
    // Nothing of the start is louder than its level.
    let start = hear(&mut source, 1.0);
    println!("loudest_start={}", start < -29.99);
    println!("first={}", hear(&mut source, 0.5));
    tone.set_level(TONE_STEP);
    hear(&mut source, 1.0);
    println!("second={}", hear(&mut source, 0.5));
    tone.stop();
    hear(&mut source, 1.0);
    assert!(tone.is_over() && tone.failure().is_none());
    println!("after={}", hear(&mut source, 0.5));
    let closing = Instant::now();
    drop((tone, source));
    println!("close_ms={}", closing.elapsed().as_millis());
}

/// The server is killed while it is heard: one clear error, again and again, and no hanging.
#[test]
fn a_dead_server_is_a_loss() {
    let Some(server) = Server::start() else { return };
    let found = server.run("live::server::child_loses");
    assert_eq!(found["error"], "Lost", "{}", found["stdout"]);
    assert!(number(&found, "close_ms") < 1_000.0);
}

#[test]
fn child_loses() {
    if !is_told("live::server::child_loses") {
        return;
    }
    let mut source = LiveSource::open(&find("hall").expect("the input"), LiveConfig::default()).expect("it opens");
    hear(&mut source, 0.2);
    let server = std::env::var("SERVER_PID").expect("the server's number");
    signal("-9", &server);
    let mut block = BlockBuf::new(2, 4_800);
    let begun = Instant::now();
    let error = loop {
        match source.read(&mut block) {
            Err(error) => break error,
            Ok(_) => assert!(begun.elapsed() < Duration::from_secs(20), "no error"),
        }
    };
    println!("\nerror={}", if matches!(error, LiveError::Lost { .. }) { "Lost" } else { "another" });
    println!("text={error}");
    assert_eq!(source.read(&mut block).err(), Some(error));
    let closing = Instant::now();
    drop(source);
    println!("close_ms={}", closing.elapsed().as_millis());
}

/// The server dies and starts again while the soundcheck listens: said in words, heard again by itself, the gap counted.
/// A face that looks at nothing for a second loses no sound by that.
#[test]
fn a_device_that_comes_back_is_heard_again() {
    let Some(mut server) = Server::start() else { return };
    let waiting = server.folder.path().join("returns");
    let socket = server.folder.path().join("pulse.sock");
    let (orders, folder) = (server.folder.path().join("run.pa"), server.folder.path().to_owned());
    let again = std::thread::spawn({
        let waiting = waiting.clone();
        move || {
            while !waiting.exists() {
                std::thread::sleep(Duration::from_millis(10));
            }
            let _ = std::fs::remove_file(socket);
            launch(&orders, &folder).expect("it started before")
        }
    });
    let found = server.run("live::server::child_waits");
    let second = again.join().expect("a server");
    let first = std::mem::replace(&mut server.process, second);
    drop(first);
    assert_eq!(found["stalled_lost"], "0", "{}", found["stdout"]);
    assert!(number(&found, "stalled_heard") >= 0.9);
    assert!(found["lost"].contains("is gone"), "{}", found["lost"]);
    assert!(number(&found, "back_after") < 3.0, "{}", found["back_after"]);
    let (away, gap) = (number(&found, "away"), number(&found, "gap"));
    assert!((away - gap).abs() < 0.5, "away for {away} s, a gap of {gap} s");
}

#[test]
fn child_waits() {
    if !is_told("live::server::child_waits") {
        return;
    }
    let hearing = Hearing::Live { device: Some("hall".into()) };
    let session = Session::start(hearing, None, Connection::Usb, None).expect("it opens");
    let wait = |what: &str, done: &dyn Fn(&Status, f64) -> bool| {
        let begun = Instant::now();
        while !done(&session.status(), session.snapshot().at.get()) {
            assert!(begun.elapsed() < Duration::from_secs(30), "never {what}");
            std::thread::sleep(Duration::from_millis(20));
        }
    };
    wait("heard", &|_, at| at > 0.5);
    let before = session.snapshot();
    std::thread::sleep(Duration::from_secs(1));
    let after = session.snapshot();
    println!("\nstalled_lost={}\nstalled_heard={}", after.lost_frames, (after.at - before.at).get());
    signal("-9", &std::env::var("SERVER_PID").expect("the server's number"));
    wait("lost", &|status, _| matches!(status, Status::Lost(_)));
    let (lost, heard) = (Instant::now(), session.snapshot().at.get());
    let Status::Lost(why) = session.status() else { panic!("it came back by itself") };
    println!("lost={why}");
    std::thread::sleep(Duration::from_secs(1));
    let folder = std::env::var("HOME").expect("the server's folder");
    std::fs::write(Path::new(&folder).join("returns"), "").expect("written");
    let socket = Path::new(&folder).join("pulse.sock");
    let begun = Instant::now();
    while !socket.exists() {
        assert!(begun.elapsed() < Duration::from_secs(20), "no new server");
        std::thread::sleep(Duration::from_millis(10));
    }
    let there = Instant::now();
    wait("heard again", &|status, at| !matches!(status, Status::Lost(_)) && at > heard + 0.2);
    let gap = session.snapshot().lost_frames as f64 / f64::from(session.format().rate.get());
    println!("back_after={}\naway={}\ngap={gap}", there.elapsed().as_secs_f64(), lost.elapsed().as_secs_f64());
}
