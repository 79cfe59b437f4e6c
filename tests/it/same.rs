//! The same samples end in the same snapshot, bit for bit: through the ring as from a device, from a file, and
//! through the engine's thread beside a face that looks away. Times are counts of frames.

use beforedoors::block::{BlockBuf, Format};
use beforedoors::coach::{Connection, Input};
use beforedoors::engine::session::{Hearing, Link, Pace, Session};
use beforedoors::engine::{Mood, Pipeline, Snapshot};
use beforedoors::source::file::FileSource;
use beforedoors::source::live::{LiveSource, RING_SPAN};
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::source::{Flow, Source};
use beforedoors::units::{ChannelId, SampleRate, Seconds};
use std::path::Path;
use std::time::Duration;

const RATE: u32 = 16_000;

/// Half a minute of the stage with a cough, interleaved as a device would deliver it.
fn take() -> (Vec<Input>, Format, Vec<f32>) {
    let rate = SampleRate::new(RATE).expect("a rate");
    let mut stage = Stage::new(StageConfig::new(11, Mood::ShowNight, rate));
    let inputs = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
    let format = stage.format();
    let mut block = BlockBuf::new(format.channels, RATE as usize / 10);
    let mut samples = Vec::new();
    for tenth in 0..300 {
        if tenth == 200 {
            stage.cough(ChannelId::new(0));
        }
        let Ok(_) = stage.read(&mut block);
        let view = block.as_block();
        samples.extend(
            (0..view.frames()).flat_map(|frame| (0..format.channels).map(move |line| view.channel(line)[frame])),
        );
    }
    (inputs, format, samples)
}

fn write_wav(path: &Path, format: Format, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: format.channels as u16,
        sample_rate: format.rate.get(),
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut wav = hound::WavWriter::create(path, spec).expect("a file");
    samples.iter().for_each(|&sample| wav.write_sample(sample).expect("room on the disk"));
    wav.finalize().expect("a whole file");
}

fn text(snapshot: &Snapshot) -> String {
    format!("{snapshot:?}")
}

#[test]
fn a_device_and_a_file_end_in_the_same_snapshot() {
    let (inputs, format, samples) = take();

    let (mut intake, mut live) = LiveSource::fed(format);
    let mut heard = Pipeline::new(format, &inputs, Connection::Usb);
    let mut block = BlockBuf::new(format.channels, 4_800);
    let mut rest = &samples[..];
    for length in [480, 1_024, 7, 64, 2_048, 333].into_iter().cycle() {
        let (now, later) = rest.split_at(rest.len().min(length * format.channels));
        intake.take(now);
        let _ = live.read(&mut block).expect("samples");
        heard.push(&block.as_block());
        rest = later;
        if rest.is_empty() {
            break;
        }
    }
    heard.finish();

    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("take.wav");
    write_wav(&path, format, &samples);
    let mut file = FileSource::open(&path).expect("a recording");
    let mut read = Pipeline::new(file.format(), &inputs, Connection::Usb);
    let mut block = BlockBuf::new(format.channels, RATE as usize);
    while file.read(&mut block).expect("samples") == Flow::More {
        read.push(&block.as_block());
    }
    read.push(&block.as_block());
    read.finish();

    assert_eq!(live.health().dropped.get(), 0);
    assert!(heard.snapshot().findings_total > 0, "the take holds something to find");
    assert!(text(heard.snapshot()) == text(read.snapshot()), "{:#?}\n{:#?}", heard.snapshot(), read.snapshot());
}

/// An engine that is kept from reading for a second loses nothing; kept for longer than the ring, it is told to
/// the frame what is missing.
#[test]
fn an_engine_that_stalls_for_a_second_loses_nothing() {
    let (inputs, format, samples) = take();
    let second = RATE as usize * format.channels;
    let run = |stall: usize| {
        let (mut intake, mut live) = LiveSource::fed(format);
        let mut pipeline = Pipeline::new(format, &inputs, Connection::Usb);
        let mut block = BlockBuf::new(format.channels, RATE as usize / 2);
        for callback in samples[..8 * second].chunks(second / 10) {
            let from = pipeline.snapshot().readings.at.get() as usize * format.channels;
            intake.take(callback);
            let waiting = live.health().frames.get() as usize * format.channels - from;
            // From the second second on the engine sleeps through `stall` samples.
            if from != 2 * second || waiting > stall {
                while { live.read(&mut block).expect("samples") == Flow::More } && !block.is_empty() {
                    pipeline.push(&block.as_block());
                    if block.frames() < block.capacity() {
                        break;
                    }
                }
            }
        }
        pipeline.finish();
        let health = live.health();
        assert_eq!(health.callbacks, 80, "every callback returned");
        (text(pipeline.snapshot()), pipeline.snapshot().lost_frames, health.dropped.get())
    };
    let awake = run(0);
    let asleep = run(second);
    assert_eq!((asleep.1, asleep.2), (0, 0));
    assert!(awake.0 == asleep.0, "the stall is seen in the snapshot");
    let ring = RATE as u64 * RING_SPAN.get() as u64;
    let (_, lost, dropped) = run(3 * second);
    assert_eq!(lost, dropped);
    assert!(dropped > 0 && dropped <= 2 * ring, "{dropped} frames");
}

/// A face that does not look for a second of sound: what it then sees is what a pipeline alone says of every frame
/// up to then.
#[test]
fn a_face_that_looks_away_for_a_second_loses_nothing() {
    let hearing = Hearing::Stage { seed: 4, mood: Mood::Normal, pace: Pace::RealTime };
    let session = Session::start(hearing, None, Connection::Usb, None).expect("the stage");
    let format = session.format();
    std::thread::sleep(Duration::from_secs(1));
    let mut seen = session.snapshot();
    // However slow the machine: until a second of sound has passed.
    while seen.at < Seconds::new(1.0) {
        std::thread::sleep(Duration::from_millis(20));
        seen = session.snapshot();
    }
    drop(session);

    let mut stage = Stage::new(StageConfig::new(4, Mood::Normal, format.rate));
    let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
    let mut pipeline = Pipeline::new(format, &inputs, Connection::Usb);
    pipeline.tell_knobs((0..inputs.len()).map(|input| stage.trim(ChannelId::from_index(input))));
    let mut block = BlockBuf::new(format.channels, 480);
    while pipeline.snapshot().at < seen.at {
        let Ok(_) = stage.read(&mut block);
        pipeline.push(&block.as_block());
    }
    assert_eq!(seen.lost_frames, 0);
    assert!(text(&seen) == text(pipeline.snapshot()), "{seen:#?}\n{:#?}", pipeline.snapshot());
}
