//! The audio callback's body and the tone's generator, under an allocator that aborts when it is called.

use assert_no_alloc::assert_no_alloc;
use beforedoors::block::{BlockBuf, Format};
use beforedoors::sink::{TONE_PITCH, TONE_STEP, ToneGenerator};
use beforedoors::source::Source;
use beforedoors::source::live::{LiveSource, RING_SPAN};
use beforedoors::units::SampleRate;

fn rate() -> SampleRate {
    SampleRate::new(48_000).expect("a rate")
}

/// Callbacks of every length, in several formats, until long after the ring is full; then the reading.
#[test]
fn the_callback_and_the_reader_allocate_nothing() {
    let (mut intake, mut source) = LiveSource::fed(Format { rate: rate(), channels: 8 });
    let mut block = BlockBuf::new(8, 480);
    let floats = vec![0.25_f32; 8 * 4_096];
    let shorts = vec![-8_192_i16; 8 * 4_096];
    let longs = vec![u32::MAX / 4; 8 * 4_096];
    let mut given = 0;
    assert_no_alloc(|| {
        for round in 0..60 {
            let frames = (round * 997) % 4_097;
            intake.take(&floats[..8 * frames]);
            intake.take(&shorts[..8 * frames]);
            intake.take(&longs[..8 * frames]);
            given += 3 * frames as u64;
        }
    });
    let ring = rate().frames(RING_SPAN).get();
    assert!(given > ring, "the ring was filled");
    let health = source.health();
    assert_eq!((health.callbacks, health.frames.get(), health.dropped.get()), (180, given, given - ring));
    let mut read = 0;
    assert_no_alloc(|| {
        while read < ring {
            source.read(&mut block).expect("samples");
            read += block.frames() as u64;
        }
    });
    assert_eq!(read, ring);
    intake.take(&floats[..8]);
    source.read(&mut block).expect("a sample");
    let view = block.as_block();
    assert_eq!((view.start().get(), view.gap().get()), (given, given - ring));
}

#[test]
fn the_tone_allocates_nothing() {
    let mut tone = ToneGenerator::new(rate(), TONE_PITCH).expect("a pitch");
    let mut out = [0.0; 480];
    assert_no_alloc(|| {
        for _ in 0..20 {
            tone.fill(&mut out);
        }
        tone.set_level(TONE_STEP);
        tone.fill(&mut out);
        tone.stop();
        for _ in 0..20 {
            tone.fill(&mut out);
        }
    });
    assert!(tone.is_over());
}

/// A reader on another thread beside a callback that never pauses: every frame arrives in its place or is
/// counted as missing exactly where it is missing.
#[test]
fn nothing_is_lost_untold_between_threads() {
    const FRAMES: usize = 2_000_000;
    let format = Format { rate: SampleRate::new(8_000).expect("a rate"), channels: 2 };
    let (mut intake, mut source) = LiveSource::fed(format);
    let feeder = std::thread::spawn(move || {
        let mut data = Vec::with_capacity(2 * 1_000);
        for from in (0..FRAMES).step_by(1_000) {
            data.clear();
            data.extend((from..from + 1_000).flat_map(|frame| [frame as f32, -(frame as f32)]));
            intake.take(&data);
        }
        intake
    });
    let mut block = BlockBuf::new(2, 313);
    let (mut next, mut missing) = (0, 0);
    let mut read = |source: &mut LiveSource| {
        source.read(&mut block).expect("samples");
        let view = block.as_block();
        if view.frames() > 0 {
            assert_eq!(view.start().get(), next + view.gap().get());
            for (index, (left, right)) in view.channel(0).iter().zip(view.channel(1)).enumerate() {
                let frame = (view.start().get() + index as u64) as f32;
                assert_eq!((*left, *right), (frame, -frame));
            }
            missing += view.gap().get();
            next = view.start().get() + view.frames() as u64;
        }
        (view.frames(), next, missing)
    };
    while !feeder.is_finished() {
        read(&mut source);
    }
    let mut intake = feeder.join().expect("the feeder ends");
    while read(&mut source).0 > 0 {}
    // What was dropped last is told with the next frame.
    intake.take(&[FRAMES as f32, -(FRAMES as f32)]);
    let (_, next, missing) = read(&mut source);
    assert_eq!(next as usize, FRAMES + 1);
    assert_eq!(source.health().dropped.get(), missing);
}
