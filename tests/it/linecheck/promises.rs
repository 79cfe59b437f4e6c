//! Time is the frame count, and `push` takes no memory: however the samples are cut, the steps are the same.

use std::cell::Cell;

use super::{Evening, at};
use assert_no_alloc::assert_no_alloc;
use beforedoors::block::{BlockBuf, Format};
use beforedoors::engine::linecheck::{
    LineAnswer, LineInput, LinePipeline, LinePlan, LineStep, RigFault, TestSound, Wire,
};
use beforedoors::source::Source;
use beforedoors::units::{FrameCount, SampleRate, SourceKind};

/// A stage whose helper taps at fixed frames, heard in blocks of `frames`: the steps and their times.
fn steps(frames: usize) -> Vec<(u64, LineStep)> {
    const SECONDS: usize = 12;
    let mut evening = Evening::new(4, &[RigFault::Swapped(at(0), at(1))]);
    let tenth = 4800;
    let mut recorded: Vec<Vec<f32>> = vec![Vec::new(); 12];
    for step in 0..10 * SECONDS {
        if step > 35 && step % 5 == 0 {
            evening.stage.tap(at(u16::from(step > 60)), beforedoors::units::Db::new(-4.0));
        }
        let mut block = BlockBuf::new(12, tenth);
        let Ok(_) = evening.stage.read(&mut block);
        for (all, plane) in recorded.iter_mut().zip(block.planes_mut()) {
            all.extend_from_slice(plane);
        }
    }
    let mut told = Vec::new();
    let mut from = 0;
    while from < recorded[0].len() {
        let count = frames.min(recorded[0].len() - from);
        let mut block = BlockBuf::new(12, count);
        block.restart(FrameCount::new(from as u64), FrameCount::ZERO);
        for (plane, all) in block.planes_mut().iter_mut().zip(&recorded) {
            plane.extend_from_slice(&all[from..from + count]);
        }
        let block = block.as_block();
        assert_no_alloc(|| evening.pipeline.push(&block));
        from += count;
        let snapshot = evening.pipeline.snapshot();
        if told.last().is_none_or(|(_, last)| *last != snapshot.advice.step) {
            // Times are known to within a block here; the order is exact.
            told.push(((from as u64) / 48_000, snapshot.advice.step));
        }
    }
    told
}

#[test]
fn the_steps_do_not_depend_on_the_blocks() {
    let whole = steps(480);
    assert!(whole.len() >= 3, "{whole:?}");
    for frames in [1, 4801, 48_000].into_iter().skip(1) {
        let other = steps(frames);
        let order = |told: &[(u64, LineStep)]| told.iter().map(|(_, step)| *step).collect::<Vec<_>>();
        let (whole, other) = (order(&whole), order(&other));
        // Long blocks may show only the last of two steps that came within one.
        assert!(other.iter().all(|step| whole.contains(step)) && other.last() == whole.last(), "{frames}: {other:?}");
    }
}

/// No sound before the yes; after it left, right, both, and silence again.
#[test]
fn nothing_plays_before_somebody_said_yes() {
    let mut evening = Evening::new(2, &[]);
    let asked = Cell::new(false);
    let mut played = Vec::new();
    while !evening.pipeline.snapshot().is_over() {
        evening.go_on();
        let snapshot = evening.pipeline.snapshot();
        if snapshot.advice.step == LineStep::AskSound {
            asked.set(true);
        }
        if snapshot.sound != TestSound::Silent {
            assert!(asked.get() && snapshot.speakers.checked, "{:?} before a yes", snapshot.sound);
            if played.last() != Some(&snapshot.sound) {
                played.push(snapshot.sound);
            }
        }
    }
    assert_eq!(evening.pipeline.snapshot().sound, TestSound::Silent);
    assert_eq!(played[..2], [TestSound::Left, TestSound::Right]);
}

#[test]
fn a_no_to_the_sound_plays_nothing() {
    let mut evening = Evening::new(2, &[]);
    while evening.pipeline.snapshot().advice.step != LineStep::AskSound {
        evening.go_on();
    }
    evening.pipeline.answer(LineAnswer::No);
    evening.go_on();
    let snapshot = evening.pipeline.snapshot();
    assert!(snapshot.is_over() && !snapshot.speakers.checked && snapshot.sound == TestSound::Silent);
}

/// A microphone in the middle of the hall hears the two sounds: alike they add up (6 dB), turned over they cancel.
#[test]
fn the_halls_microphone_tells_the_polarity() {
    use beforedoors::dsp::side_noise::{SideNoise, Sides};
    let rate = SampleRate::new(48_000).expect("a rate");
    for (wired_upside_down, expected) in [(false, Some(false)), (true, Some(true))] {
        let input = LineInput::new(at(0), SourceKind::Speech, Wire::Microphone, false);
        let plan = LinePlan { loudspeakers: true, room: Some(at(1)), ..LinePlan::new(vec![input], 2) };
        let mut pipeline = LinePipeline::new(Format { rate, channels: 2 }, plan);
        let mut noise = SideNoise::new(rate, 3);
        let mut seed = 1u32;
        let mut start = 0;
        for _ in 0..3000 {
            let snapshot = pipeline.snapshot();
            noise.play(match snapshot.sound {
                TestSound::Silent => Sides::Neither,
                TestSound::Left => Sides::Left,
                TestSound::Right => Sides::Right,
                TestSound::Same => Sides::Same,
                TestSound::Reversed => Sides::Reversed,
            });
            match snapshot.advice.step {
                LineStep::Call { .. } => pipeline.answer(LineAnswer::Skip),
                LineStep::WhichSide { side } if snapshot.sound != TestSound::Silent => {
                    use beforedoors::engine::linecheck::Side;
                    pipeline.answer(if side == Side::Left { LineAnswer::Left } else { LineAnswer::Right });
                }
                LineStep::AskSound => pipeline.answer(LineAnswer::Done),
                LineStep::SpeakersReversed => pipeline.answer(LineAnswer::Skip),
                LineStep::Fuller => panic!("the microphone could not tell"),
                LineStep::Over => break,
                _ => {}
            }
            let mut block = BlockBuf::new(2, 480);
            block.restart(FrameCount::new(start), FrameCount::ZERO);
            for _ in 0..480 {
                seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let hiss = (f64::from(seed >> 8) / 8_388_608.0 - 1.0) * 1e-4;
                let [left, right] = noise.next_frame();
                let right = if wired_upside_down { -right } else { right };
                block.planes_mut()[0].push(hiss as f32);
                block.planes_mut()[1].push(0.3 * (left + right) + hiss as f32);
            }
            start += 480;
            pipeline.push(&block.as_block());
        }
        assert_eq!(pipeline.snapshot().speakers.reversed, expected);
    }
}

/// Ninety seconds at most, whatever is heard; what is there is found on its own line without a list.
#[test]
fn an_assembly_takes_three_steps_and_ninety_seconds() {
    let rate = SampleRate::new(48_000).expect("a rate");
    let mut silent = LinePipeline::assembly(Format { rate, channels: 2 });
    let mut block = BlockBuf::new(2, 4800);
    for tenth in 0..900 {
        block.restart(FrameCount::new(4800 * tenth), FrameCount::ZERO);
        block.planes_mut().iter_mut().for_each(|plane| plane.resize(4800, 0.0));
        silent.push(&block.as_block());
    }
    assert!(silent.snapshot().is_over() && silent.snapshot().assembly.is_some_and(|found| found.microphone.is_none()));

    for seed in super::seeds() {
        let mut evening = Evening::new(seed, &[]);
        evening.pipeline = LinePipeline::assembly(evening.stage.format());
        let evening = evening.run();
        let snapshot = evening.pipeline.snapshot();
        let found = snapshot.assembly.expect("an assembly");
        assert_eq!((found.microphone, found.video), (Some(at(0)), [Some(at(11)), None]), "{}", evening.tell());
        assert_eq!(found.hall, Some(LineAnswer::Both));
        assert!(snapshot.at.get() <= 90.0 && evening.steps.len() == 3, "{}", evening.tell());
    }
}
