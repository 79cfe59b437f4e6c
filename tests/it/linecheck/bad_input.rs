//! One channel, sixty-four, silence, what is no number, a device that falls silent: no panic, no claim, an end.

use beforedoors::block::{BlockBuf, Format};
use beforedoors::engine::linecheck::{LineAnswer, LineOutcome, LinePipeline, LinePlan, LineStep};
use beforedoors::units::{ChannelId, FrameCount, SampleRate};

/// Hears `seconds` of what `sample` gives by channel and frame; answers questions with `answer`. Steps that came up.
fn hear(
    rate: u32,
    channels: usize,
    inputs: usize,
    seconds: u64,
    answer: LineAnswer,
    mut sample: impl FnMut(usize, u64) -> f32,
) -> (LinePipeline, Vec<LineStep>) {
    let rate = SampleRate::new(rate).expect("a rate");
    let plan = LinePlan { loudspeakers: true, ..LinePlan::of_lines(inputs) };
    let mut pipeline = LinePipeline::new(Format { rate, channels }, plan);
    let tenth = u64::from(rate.get() / 10);
    let mut steps = Vec::new();
    for frame in (0..seconds * 10).map(|tenths| tenths * tenth) {
        let mut block = BlockBuf::new(channels, tenth as usize);
        block.restart(FrameCount::new(frame), FrameCount::ZERO);
        for (channel, plane) in block.planes_mut().iter_mut().enumerate() {
            plane.extend((0..tenth).map(|n| sample(channel, frame + n)));
        }
        pipeline.push(&block.as_block());
        let step = pipeline.snapshot().advice.step;
        if steps.last() != Some(&step) {
            steps.push(step);
        }
        if !matches!(step, LineStep::Call { .. } | LineStep::Quiet | LineStep::Over) {
            pipeline.answer(answer);
        }
    }
    (pipeline, steps)
}

fn outcomes(pipeline: &LinePipeline) -> Vec<LineOutcome> {
    pipeline.snapshot().inputs.iter().map(|input| input.result.outcome).collect()
}

fn noise(seed: &mut u32) -> f32 {
    *seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
    (*seed >> 8) as f32 / 8_388_608.0 - 1.0
}

#[test]
fn digital_silence_ends_with_everything_silent() {
    for (rate, channels) in [(8_000, 1), (44_100, 1), (48_000, 3), (192_000, 1)] {
        let (pipeline, _) = hear(rate, channels, channels, 60 * channels as u64, LineAnswer::Skip, |_, _| 0.0);
        assert!(pipeline.snapshot().is_over());
        assert!(outcomes(&pipeline).iter().all(|outcome| *outcome == LineOutcome::Silent), "{rate}");
    }
}

/// The floor alone, however loud: never an arrival, never a swap.
#[test]
fn noise_alone_is_no_tap_on_any_of_sixty_four() {
    let mut seed = 5;
    let (pipeline, steps) = hear(8_000, 64, 64, 100, LineAnswer::Skip, |channel, _| {
        10f32.powf(-(40.0 + channel as f32) / 20.0) * noise(&mut seed)
    });
    assert!(outcomes(&pipeline).iter().all(|outcome| matches!(outcome, LineOutcome::Silent | LineOutcome::Open)));
    assert!(!steps.iter().any(|step| matches!(step, LineStep::Swap { .. } | LineStep::Move { .. })), "{steps:?}");
}

#[test]
fn what_is_no_number_is_silence() {
    for value in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1e30] {
        let (pipeline, _) = hear(48_000, 2, 2, 90, LineAnswer::Skip, |_, _| value);
        assert!(pipeline.snapshot().is_over() || outcomes(&pipeline).contains(&LineOutcome::Silent));
        assert!(!outcomes(&pipeline).contains(&LineOutcome::Arrived), "{value}");
    }
}

/// A list longer than the device: those beyond are called, and silent.
#[test]
fn inputs_beyond_the_device_are_silent() {
    let (pipeline, _) = hear(8_000, 1, 3, 200, LineAnswer::Skip, |_, _| 0.0);
    assert!(pipeline.snapshot().is_over());
    assert_eq!(outcomes(&pipeline), [LineOutcome::Silent; 3]);
}

/// An empty list: floors, the loudspeakers, the end.
#[test]
fn an_empty_list_ends() {
    let (pipeline, steps) = hear(48_000, 2, 0, 20, LineAnswer::No, |_, _| 0.0);
    assert!(pipeline.snapshot().is_over());
    assert_eq!(steps, [LineStep::Quiet, LineStep::AskSound, LineStep::Over]);
}

/// Answers that fit no step change nothing; a gap starts the floors anew.
#[test]
fn odd_answers_and_gaps() {
    let rate = SampleRate::new(48_000).expect("a rate");
    let mut pipeline = LinePipeline::new(Format { rate, channels: 2 }, LinePlan::of_lines(2));
    let all = [
        LineAnswer::Done,
        LineAnswer::No,
        LineAnswer::Left,
        LineAnswer::Right,
        LineAnswer::Both,
        LineAnswer::Nowhere,
        LineAnswer::First,
        LineAnswer::Second,
        LineAnswer::Same,
        LineAnswer::Again,
    ];
    let mut seed = 9;
    for turn in 0..120u64 {
        let mut block = BlockBuf::new(2, 4800);
        // Every second a tenth is lost.
        let gap = if turn % 10 == 9 { 4800 } else { 0 };
        block.restart(FrameCount::new(turn * 4800 + turn / 10 * 4800 + gap), FrameCount::new(gap));
        block.planes_mut().iter_mut().for_each(|plane| plane.extend((0..4800).map(|_| 1e-4 * noise(&mut seed))));
        pipeline.push(&block.as_block());
        let before = pipeline.snapshot().advice.step;
        pipeline.answer(all[turn as usize % all.len()]);
        if matches!(before, LineStep::Quiet | LineStep::Call { .. }) {
            assert_eq!(pipeline.snapshot().advice.step, before);
        }
    }
    assert_eq!(pipeline.snapshot().lost_frames, 12 * 4800);
    assert_eq!(pipeline.snapshot().advice.channel, Some(ChannelId::new(0)));
}
