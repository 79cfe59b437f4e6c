//! The whole program at work, not the meters alone.
//!
//! 1. Live: pipeline (meters, detectors, coach), and meters with the ring detector, on 32 channels of 48 kHz in
//!    blocks of 256, as share of one core.
//! 2. Coded recordings of two minutes: all of `recordings` against decoding alone plus the meters alone. Made with
//!    `ffmpeg`; without it this part says so and is left out.
//! 3. `recordings` with all that it looks for on 48 kHz WAV of 24 bits, with and without ringing everywhere.
//! 4. Many recordings on all cores against one.
//!
//! Channel-seconds are seconds of one channel. Each time is the median of several runs, in seconds that the thread
//! had a core (where the system tells them, else by the clock), since the machine may have other work; it stands
//! beside the `ebur128` crate's in all its modes on the same samples. Only the last part goes by the clock.

use beforedoors::block::{Block, BlockBuf, Format};
use beforedoors::detectors::Ringing;
use beforedoors::engine::recording::{Expect, measure, measure_all};
use beforedoors::engine::ring_recording;
use beforedoors::engine::{Connection, Input, Mood, Pipeline};
use beforedoors::meters::Meters;
use beforedoors::source::file::FileSource;
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::source::{Flow, Source};
use beforedoors::units::{FrameCount, SampleRate};
use ebur128::{Channel, EbuR128, Mode};
use std::hint::black_box;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::Instant;

const RATE: u32 = 48_000;
const LIVE_CHANNELS: usize = 32;
const LIVE_SECONDS: usize = 20;
const SONG_SECONDS: usize = 120;
const SONG_CHANNELS: usize = 2;
const ROUNDS: usize = 7;

fn main() {
    let stage = stage(LIVE_SECONDS);
    live(&stage);
    let song = song(&stage);
    let folder = tempfile::tempdir().expect("a folder");
    let wav = folder.path().join("song.wav");
    write_wav(&wav, &song);
    coded(&song, &wav);
    taken(&stage, folder.path());
    many(&wav, folder.path());
}

/// Runs each in turn, several times; the median seconds of each by `clock`.
fn medians<const N: usize>(clock: fn() -> f64, mut runs: [&mut dyn FnMut(); N]) -> [f64; N] {
    let mut times = [[0.0; ROUNDS]; N];
    for round in 0..ROUNDS {
        for (run, times) in runs.iter_mut().zip(&mut times) {
            let start = clock();
            run();
            times[round] = clock() - start;
        }
    }
    times.map(|mut times| {
        times.sort_by(f64::total_cmp);
        times[ROUNDS / 2]
    })
}

/// Seconds by the clock.
fn wall() -> f64 {
    static START: OnceLock<Instant> = OnceLock::new();
    START.get_or_init(Instant::now).elapsed().as_secs_f64()
}

/// Seconds that this thread had a core.
fn core() -> f64 {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    told.split(' ').next().and_then(|nanos| nanos.parse::<f64>().ok()).map_or_else(wall, |nanos| nanos * 1e-9)
}

/// The simulated stage's microphones, over and over until there are enough.
fn stage(seconds: usize) -> Vec<Vec<f32>> {
    let mut stage = Stage::new(StageConfig::new(1, Mood::ShowNight, SampleRate::new(RATE).expect("a rate")));
    let own = stage.format().channels;
    let mut block = BlockBuf::new(own, RATE as usize);
    let mut planes = vec![Vec::new(); LIVE_CHANNELS];
    for _ in 0..seconds {
        let Ok(_) = stage.read(&mut block);
        for (index, plane) in planes.iter_mut().enumerate() {
            plane.extend_from_slice(block.as_block().channel(index % own));
        }
    }
    planes
}

/// Two of its lines, repeated to a song's length.
fn song(stage: &[Vec<f32>]) -> Vec<Vec<f32>> {
    stage[..SONG_CHANNELS].iter().map(|plane| plane.repeat(SONG_SECONDS / LIVE_SECONDS)).collect()
}

fn live(sound: &[Vec<f32>]) {
    let kinds: Vec<Input> = {
        let stage = Stage::new(StageConfig::new(1, Mood::ShowNight, SampleRate::new(RATE).expect("a rate")));
        let inputs = stage.inputs();
        (0..LIVE_CHANNELS).map(|index| Input::new(inputs[index % inputs.len()].kind, None)).collect()
    };
    let [whole, meters, rings, theirs] = medians(
        core,
        [&mut || pipeline(sound, &kinds), &mut || meters(sound, 256), &mut || rings(sound), &mut || yardstick(sound)],
    );
    let share = |seconds: f64| 100.0 * seconds / LIVE_SECONDS as f64;
    println!(
        "live, {LIVE_CHANNELS} channels: pipeline {:.1} % of one core (meters alone {:.1} %, meters and rings {:.1} %); ebur128 {:.1} %, ratio {:.2}",
        share(whole),
        share(meters),
        share(rings),
        share(theirs),
        theirs / whole
    );
}

fn format(sound: &[Vec<f32>]) -> Format {
    Format { rate: SampleRate::new(RATE).expect("a rate"), channels: sound.len() }
}

fn blocks(sound: &[Vec<f32>], frames: usize, mut each: impl FnMut(&Block)) {
    let mut rest = Block::new(sound, FrameCount::ZERO, FrameCount::ZERO);
    while rest.frames() > 0 {
        let (part, later) = rest.split_at(frames);
        each(&part);
        rest = later;
    }
}

fn rings(sound: &[Vec<f32>]) {
    let mut meters = Meters::new(format(sound), &vec![1.0; sound.len()]).with_spectra();
    let mut ringing = Ringing::new(sound.len());
    blocks(sound, 256, |block| meters.push(block, &mut |readings| ringing.observe(readings)));
    black_box(ringing.rings());
}

fn pipeline(sound: &[Vec<f32>], inputs: &[Input]) {
    let mut pipeline = Pipeline::new(format(sound), inputs, Connection::Usb);
    blocks(sound, 256, |block| pipeline.push(block));
    pipeline.finish();
    black_box(pipeline.snapshot());
}

fn meters(sound: &[Vec<f32>], frames: usize) {
    let mut meters = Meters::new(format(sound), &[]);
    blocks(sound, frames, |block| {
        meters.push(block, &mut |readings| {
            black_box(readings);
        });
    });
    meters.finish(&mut |_| {});
    black_box(meters.summary());
}

/// Fed in blocks of 10 ms and asked for everything once at the end.
fn yardstick(sound: &[Vec<f32>]) {
    let modes = Mode::M | Mode::S | Mode::I | Mode::LRA | Mode::SAMPLE_PEAK | Mode::TRUE_PEAK;
    let mut meter = EbuR128::new(sound.len() as u32, RATE, modes).expect("a meter");
    // It leaves channels from the sixth on out of the loudness unless it is told what they are.
    (0..sound.len() as u32).for_each(|channel| meter.set_channel(channel, Channel::Center).expect("a channel"));
    let mut planes = Vec::with_capacity(sound.len());
    for start in (0..sound[0].len()).step_by(480) {
        planes.clear();
        planes.extend(sound.iter().map(|plane| &plane[start..(start + 480).min(plane.len())]));
        meter.add_frames_planar_f32(&planes).expect("planes alike");
    }
    black_box((meter.loudness_global().ok(), meter.loudness_range().ok(), meter.true_peak(0).ok()));
}

/// How each format is coded.
const CODERS: [(&str, &[&str]); 4] = [
    ("song.flac", &["-c:a", "flac"]),
    ("song.mp3", &["-c:a", "libmp3lame", "-q:a", "2"]),
    ("song.m4a", &["-c:a", "aac", "-b:a", "160k"]),
    ("song.ogg", &["-c:a", "libvorbis", "-q:a", "5"]),
];

fn coded(song: &[Vec<f32>], wav: &Path) {
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    let work = (SONG_CHANNELS * SONG_SECONDS) as f64;
    let files: Vec<PathBuf> = std::iter::once(wav.to_owned())
        .chain(CODERS.iter().filter_map(|(name, options)| encode(wav, name, options)))
        .collect();
    for path in files {
        let all = || {
            medians(
                core,
                [
                    &mut || drop(black_box(measure(&path, &[], &|_| {}).expect("a recording"))),
                    &mut || decode(&path),
                    &mut || meters(song, RATE as usize),
                    &mut || yardstick(song),
                ],
            )
        };
        // On the pool's only thread, so that the channels' share of the work is counted, too.
        let [whole, decoding, metering, theirs] = one.install(all);
        println!(
            "{}: {:.0} channel-seconds per core-second; {:.2} × (decoding {:.0} ms + meters {:.0} ms), ebur128 {:.0} ms, ratio {:.2}",
            path.extension().unwrap_or_default().to_string_lossy(),
            work / whole,
            whole / (decoding + metering),
            decoding * 1e3,
            metering * 1e3,
            theirs * 1e3,
            (decoding + theirs) / whole,
        );
    }
}

/// Two channels and sixteen, as a recorder writes them.
fn taken(stage: &[Vec<f32>], folder: &Path) {
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("a thread");
    for (channels, seconds) in [(2, 120), (16, 40)] {
        let sound: Vec<Vec<f32>> = stage[..channels].iter().map(|plane| plane.repeat(seconds / LIVE_SECONDS)).collect();
        let path = folder.join(format!("take-{channels}.wav"));
        write_wav_of(&path, &sound, 24);
        let all = || {
            medians(
                core,
                [
                    &mut || drop(black_box(measure(&path, &[], &|_| {}).expect("a recording"))),
                    &mut || drop(black_box(ring_recording::listen(&path, &|_| {}).expect("a recording"))),
                    &mut || decode(&path),
                    &mut || yardstick(&sound),
                ],
            )
        };
        let [whole, rings, decoding, theirs] = one.install(all);
        let work = (channels * seconds) as f64;
        println!(
            "recordings, {channels} channels: {:.0} channel-seconds per core-second, {:.2} × (decoding and ebur128); with --rings {:.0}",
            work / whole,
            whole / (decoding + theirs),
            work / (whole + rings)
        );
    }
}

fn encode(wav: &Path, name: &str, options: &[&str]) -> Option<PathBuf> {
    let path = wav.with_file_name(name);
    let made = Command::new("ffmpeg")
        .args(["-nostdin", "-loglevel", "error", "-y", "-i"])
        .arg(wav)
        .args(options)
        .arg(&path)
        .status();
    match made {
        Ok(status) if status.success() => Some(path),
        Ok(status) => {
            println!("{name} left out: ffmpeg ends with {status}");
            None
        }
        Err(error) => {
            println!("{name} left out: ffmpeg can’t be run: {error}");
            None
        }
    }
}

fn decode(path: &Path) {
    let mut source = FileSource::open(path).expect("a recording");
    let mut block = BlockBuf::new(source.format().channels, RATE as usize);
    while source.read(&mut block).expect("samples") == Flow::More {
        black_box(&block);
    }
}

/// Eight recordings, on all cores and on one.
fn many(wav: &Path, folder: &Path) {
    let paths: Vec<PathBuf> = (0..8)
        .map(|index| {
            let path = folder.join(format!("copy-{index}.wav"));
            std::fs::copy(wav, &path).expect("room on the disk");
            path
        })
        .collect();
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let pool = |threads| rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
    let (one, all) = (pool(1), pool(cores));
    let run = |pool: &rayon::ThreadPool| {
        pool.install(|| {
            measure_all(&paths, &|_| Expect::Channels(&[]), &|_, _| {}, &|_, result| {
                black_box(result.expect("a recording"));
                ControlFlow::Continue(())
            });
        });
    };
    let [alone, together] = medians(wall, [&mut || run(&one), &mut || run(&all)]);
    let work = (paths.len() * SONG_CHANNELS * SONG_SECONDS) as f64;
    println!(
        "{} recordings: {:.0} channel-seconds a second on one core, {:.0} on {cores}, ratio {:.2}",
        paths.len(),
        work / alone,
        work / together,
        alone / together
    );
}

fn write_wav(path: &Path, planes: &[Vec<f32>]) {
    write_wav_of(path, planes, 16);
}

/// Integers, as recorders write them.
fn write_wav_of(path: &Path, planes: &[Vec<f32>], bits_per_sample: u16) {
    let sample_format = hound::SampleFormat::Int;
    let full = f64::from((1u32 << (bits_per_sample - 1)) - 1);
    let spec = hound::WavSpec { channels: planes.len() as u16, sample_rate: RATE, bits_per_sample, sample_format };
    let mut wav = hound::WavWriter::create(path, spec).expect("a file");
    for frame in 0..planes[0].len() {
        for plane in planes {
            wav.write_sample((f64::from(plane[frame]) * full).round() as i32).expect("room on the disk");
        }
    }
    wav.finalize().expect("a whole file");
}
