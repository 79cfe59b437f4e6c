//! Plugs in each other's sockets: named with both channels within 5 s of the tap, put right, and ticked.

use super::{Evening, at, drawn, is_accusation, seeds};
use beforedoors::engine::linecheck::{Call, LineAdvice, LineOutcome, LineStep, RigFault};
use beforedoors::units::ChannelId;

/// From the first tap to the words that name both channels.
const IN_TIME: f64 = 5.0;

/// The first step that says that `from` came in on `on`, and how long after its first tap it came.
fn named(evening: &Evening, from: ChannelId, on: ChannelId) -> Option<f64> {
    let says = |advice: &LineAdvice| match advice.step {
        LineStep::Call { why: Call::Follow { from: told }, .. } => {
            told == from && advice.why.heard_on.is_none_or(|it| it == on) && advice.channel == Some(on)
        }
        LineStep::Swap { with } => {
            (advice.channel == Some(from) && with == on) || (advice.channel == Some(on) && with == from)
        }
        _ => false,
    };
    let said = evening.steps.iter().position(|(_, advice)| says(advice))?;
    // The call that was on the screen before it.
    let (called, _) =
        evening.steps[..said].iter().rev().find(|(_, advice)| matches!(advice.step, LineStep::Call { .. }))?;
    let tapped = evening.knocked_since(from, *called)?;
    Some(evening.steps[said].0 - tapped.get())
}

/// Two of the stage's inputs, microphones and lines alike.
fn two(seed: u64) -> (ChannelId, ChannelId) {
    let first = drawn(seed, 1, 12);
    let second = (first + 1 + drawn(seed, 2, 11)) % 12;
    (at(first.min(second) as u16), at(first.max(second) as u16))
}

#[test]
fn every_swap_is_named_in_time_and_put_right() {
    let mut slowest = 0f64;
    for seed in seeds() {
        let (a, b) = two(seed);
        let evening = Evening::new(seed, &[RigFault::Swapped(a, b)]).run();
        let tell = || format!("{} and {} swapped, {}", a.number(), b.number(), evening.tell());
        let took = named(&evening, a, b).unwrap_or_else(|| panic!("not named: {}", tell()));
        assert!(took <= IN_TIME, "{took} s: {}", tell());
        slowest = slowest.max(took);
        let swap = |advice: &LineAdvice| advice.step == LineStep::Swap { with: b } && advice.channel == Some(a);
        assert!(evening.has(swap) && evening.all_right(), "{}", tell());
        // Nothing else is claimed.
        let others = evening.accusations().into_iter().filter(|advice| {
            !swap(advice) && !matches!(advice.step, LineStep::Call { why: Call::Follow { from }, .. } if from == a)
        });
        assert_eq!(others.count(), 0, "{}", tell());
        for channel in [a, b] {
            let result = evening.pipeline.snapshot().inputs[channel.index()].result;
            assert!(result.put_right && result.outcome == LineOutcome::Arrived, "{}", tell());
        }
    }
    println!("slowest: both channels named {slowest:.2} s after the first tap");
}

#[test]
fn a_swap_is_named_while_people_talk() {
    for seed in seeds() {
        let (a, b) = two(seed);
        let evening = Evening::new(seed, &[RigFault::Swapped(a, b)]).with_talkers_but(&[a, b]).run();
        let swap = |advice: &LineAdvice| matches!(advice.step, LineStep::Swap { with } if [Some(a), Some(b)].contains(&advice.channel) && [a, b].contains(&with));
        assert!(evening.has(swap), "{} and {}: {}", a.number(), b.number(), evening.tell());
        let wrong = evening.accusations().into_iter().filter(|advice| match advice.step {
            LineStep::Swap { .. } => !swap(advice),
            LineStep::Rotate { .. } | LineStep::Move { .. } | LineStep::BothOn { .. } => true,
            _ => false,
        });
        assert_eq!(wrong.count(), 0, "{}", evening.tell());
    }
}

/// Three plugs went round: all three are named at once, and one visit to the box puts them right.
#[test]
fn three_that_went_round_are_named_as_one() {
    for seed in seeds() {
        let microphones = [0, 1, 2, 3, 4, 7, 8, 9, 10];
        let first = drawn(seed, 3, 9) as usize;
        let step = 1 + drawn(seed, 4, 4) as usize;
        let [a, b, c] = [0, 1, 2].map(|turn| at(microphones[(first + turn * step) % 9]));
        if a == b || b == c || a == c {
            continue;
        }
        let evening = Evening::new(seed, &[RigFault::Rotated(a, b, c)]).run();
        let rounds = [(a, b, c), (b, c, a), (c, a, b)];
        let named = |advice: &LineAdvice| match (advice.step, advice.channel) {
            (LineStep::Rotate { second, third }, Some(first)) => rounds.contains(&(first, second, third)),
            _ => false,
        };
        assert!(evening.has(named) && evening.all_right(), "{a:?} {b:?} {c:?} {}", evening.tell());
        let moves = evening
            .accusations()
            .into_iter()
            .filter(|advice| is_accusation(&advice.step) && !matches!(advice.step, LineStep::Call { .. }));
        assert_eq!(moves.count(), 1, "{}", evening.tell());
    }
}
