//! A passage of a recording into a private PulseAudio server and back: at another rate, within the limits, silent after
//! a stop. Skipped, and says so, only where the program `pulseaudio` is not installed.

use std::path::Path;
use std::time::{Duration, Instant};

use beforedoors::block::BlockBuf;
use beforedoors::engine::excerpt::{Passage, Played, arm, play};
use beforedoors::source::Source;
use beforedoors::source::live::{LiveConfig, LiveSource, find};
use beforedoors::units::{ChannelId, Dbfs, Seconds};

use super::child::{is_told, number};
use super::server::Server;

#[test]
fn a_passage_is_heard_within_its_limits_and_ends_when_it_is_stopped() {
    let Some(server) = Server::start() else { return };
    let found = server.run("live::passage::child_hears");
    let (rms, peak) = (number(&found, "rms"), number(&found, "peak"));
    // Full scale in the file; the limits are −20 dBFS of RMS and −10 dBFS of peak.
    assert!((-20.5..=-19.99).contains(&rms), "{rms}");
    assert!(peak <= -9.99, "{peak}");
    assert_eq!(found["after"], "-inf");
    assert_eq!(found["state"], "Over");
    println!("stopped after {} ms", found["sounding_ms"]);
}

/// Twenty seconds at full scale, 44.1 kHz.
fn write(path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).expect("a file");
    for n in 0..44_100 * 20 {
        writer.write_sample(((f64::from(n) * 0.1).sin() * 32_767.0) as i16).expect("written");
    }
    writer.finalize().expect("whole");
}

/// What comes within `seconds`, one channel of it.
fn hear(source: &mut LiveSource, seconds: f64) -> Vec<f32> {
    let mut block = BlockBuf::new(2, 4_800);
    let frames = (seconds * f64::from(source.format().rate.get())) as usize;
    let mut heard = Vec::new();
    let begun = Instant::now();
    while heard.len() < frames && begun.elapsed() < Duration::from_secs(20) {
        source.read(&mut block).expect("samples");
        heard.extend_from_slice(block.as_block().channel(0));
    }
    heard
}

#[test]
fn child_hears() {
    if !is_told("live::passage::child_hears") {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("loud.wav");
    write(&path);
    let mut source = LiveSource::open(&find("hall").expect("the input"), LiveConfig::default()).expect("it opens");
    let playing = play(arm(true).expect("confirmed"), Passage::around(&path, ChannelId::new(0), Seconds::new(10.0)));
    let begun = Instant::now();
    while !matches!(playing.played(), Played::Sounding(_)) {
        assert!(begun.elapsed() < Duration::from_secs(20), "{:?}", playing.played());
        std::thread::sleep(Duration::from_millis(1));
    }
    hear(&mut source, 1.0);
    let sound = hear(&mut source, 1.0);
    let windows = sound.chunks_exact(2_400).map(|part| {
        let power = part.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / part.len() as f64;
        Dbfs::from_power(power).get()
    });
    println!("\nrms={}", windows.fold(f64::NEG_INFINITY, f64::max));
    let peak = sound.iter().fold(0.0, |peak: f64, x| peak.max(f64::from(x.abs())));
    println!("peak={}", Dbfs::from_amplitude(peak).get());
    playing.stop();
    // Output, server and input hold some of it: told, not judged.
    let end = hear(&mut source, 1.0);
    let sounding = end.iter().rposition(|x| *x != 0.0).map_or(0, |last| last + 1);
    println!("sounding_ms={}", sounding as f64 / 48.0);
    let after = hear(&mut source, 0.5).iter().fold(0.0, |peak: f64, x| peak.max(f64::from(x.abs())));
    println!("after={}", Dbfs::from_amplitude(after).get());
    std::thread::sleep(Duration::from_millis(500));
    println!("state={:?}", playing.played());
}
