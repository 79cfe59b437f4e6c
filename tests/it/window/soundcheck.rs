//! The soundcheck in the window: a first run to its first set input, by keys and by buttons; states of the device; sizes.

use beforedoors::engine::session::Status;
use beforedoors::engine::{ChannelState, Mood, Step};
use beforedoors::units::Seconds;
use eframe::egui::Key;
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::{Rehearsal, window};
use beforedoors::gui::App;

/// Does what the window says, by keys alone, until `enough`; the sentences that it said.
fn follow(
    harness: &mut Harness<App>,
    playing: &Rehearsal,
    longest: Seconds,
    enough: impl Fn(&Rehearsal) -> bool,
) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    let end = playing.snapshot().at + longest;
    let mut turned = None;
    while playing.snapshot().at < end && !enough(playing) {
        playing.play(Seconds::new(0.5));
        harness.step();
        let told = harness.get_by_label_contains("Next step").value().unwrap_or_default();
        if said.last() != Some(&told) {
            said.push(told);
        }
        let snapshot = playing.snapshot();
        let step = (snapshot.advice.step, snapshot.advice.channel);
        match snapshot.advice.step {
            _ if turned == Some(step) => {}
            Step::Listen { .. } => harness.key_press(Key::A),
            Step::Trim { turn, by, .. } => {
                let key = if turn == beforedoors::coach::Turn::Down { Key::ArrowLeft } else { Key::ArrowRight };
                for _ in 0..by.db() {
                    harness.key_press(key);
                    harness.step();
                }
                harness.key_press(Key::Space);
            }
            _ => harness.key_press(Key::Space),
        }
        turned = Some(step);
        harness.step();
    }
    said
}

#[test]
fn a_hot_channel_is_found_turned_down_and_set_by_keys_alone() {
    let playing = Rehearsal::new(3, Mood::ShowNight);
    let mut harness = window(&playing, 1280.0, 800.0);
    harness.step();
    harness.get_by_label_contains("Simulated stage: no device is used");
    let is_set = |playing: &Rehearsal| {
        playing.snapshot().inputs.iter().any(|input| input.state == ChannelState::Set && input.trims > 0)
    };
    let said = follow(&mut harness, &playing, Seconds::new(300.0), is_set);
    assert!(is_set(&playing), "{said:#?}");
    assert!(said.iter().any(|told| told.contains("DOWN")), "{said:#?}");
    playing.play(Seconds::new(0.5));
    harness.step();
    assert!(harness.query_all_by_label_contains(": set").count() > 0);
}

#[test]
fn every_answer_has_a_button_that_is_large_enough() {
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    playing.play(Seconds::new(1.0));
    harness.step();
    for label in ["Skip  S", "Ask for it  A", "Turn DOWN  ←", "Why  W", "Table  T", "Help  ?", "Input  I"] {
        let target = harness.get_by_label(label).rect();
        assert!(target.height() >= 55.9 && target.width() >= 55.9, "{label}: {target:?}");
    }
    let before = playing.snapshot().advice;
    harness.get_by_label("Skip  S").click();
    harness.step();
    playing.play(Seconds::new(0.5));
    harness.step();
    let after = playing.snapshot().advice;
    assert_ne!((before.step, before.channel), (after.step, after.channel));
}

#[test]
fn what_opens_from_the_bottom_never_covers_the_next_step() {
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    playing.play(Seconds::new(20.0));
    harness.step();
    for (key, proof) in
        [(Key::W, "Loudest peak that counts"), (Key::Questionmark, "or yes"), (Key::I, "How the sound comes")]
    {
        harness.key_press(key);
        harness.step();
        harness.step();
        let step = harness.get_by_label_contains("Next step").rect();
        let opened = harness.query_all_by_label_contains(proof).next().expect(proof).rect();
        assert!(step.bottom() <= opened.top(), "{proof}: {step:?} {opened:?}");
        harness.key_press(Key::Escape);
        harness.step();
        harness.step();
        assert!(harness.query_by_label_contains(proof).is_none(), "{proof}");
    }
}

#[test]
fn states_of_the_device_are_said_in_words() {
    let playing = Rehearsal::new(1, Mood::Normal);
    let mut harness = window(&playing, 1280.0, 800.0);
    for (status, words) in [
        (Status::Quiet, "nothing"),
        (Status::AllZero, "zero"),
        (Status::Lost("the device was unplugged. Plug it in again".into()), "unplugged"),
    ] {
        let told = beforedoors::view::words::status(&status).expect("words");
        assert!(told.to_lowercase().contains(words), "{told}");
        playing.set_status(status);
        harness.step();
        harness.get_by_label_contains(&told);
    }
    playing.set_status(Status::Running);
    harness.step();
    harness.get_by_label_contains("Simulated stage");
}

/// Nothing stands outside the window, whatever its size and the size of text.
#[test]
fn every_size_of_window_and_text_holds_its_parts() {
    let playing = Rehearsal::new(1, Mood::Normal);
    playing.play(Seconds::new(30.0));
    for (width, height) in [(1280.0, 800.0), (1920.0, 1080.0), (900.0, 600.0)] {
        let mut harness = window(&playing, width, height);
        for size in 0..5 {
            harness.step();
            let step = harness.get_by_label_contains("Next step").rect();
            assert!(step.left() >= 0.0 && step.right() <= width && step.bottom() <= height, "{size}: {step:?}");
            harness.key_press(Key::Plus);
            harness.step();
        }
        harness.key_press(Key::D);
        harness.step();
    }
}
