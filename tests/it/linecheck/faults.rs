//! Each other fault is found, put right, and nothing else is claimed: hum by its mains, a dead cable, a missing +48 as a
//! question, a copy, a reversed leg, hiss, loudspeakers.

use super::{Evening, at, drawn, seeds};
use beforedoors::engine::linecheck::{HumCure, LineAdvice, LineStep, Mains, RigFault, Side, StageSide};
use beforedoors::units::{ChannelId, Db, Dbfs, Hertz};

/// Runs it, and wants every claim to be `expected`, at least one, and all right in the end.
fn found(seed: u64, fault: RigFault, expected: impl Fn(&LineAdvice) -> bool) -> Evening {
    let evening = Evening::new(seed, &[fault]).run();
    let claims = evening.accusations();
    assert!(!claims.is_empty() && claims.iter().all(&expected), "{fault:?}: {claims:?}\n{}", evening.tell());
    assert!(evening.all_right(), "{fault:?}\n{}", evening.tell());
    evening
}

fn about(advice: &LineAdvice, channel: ChannelId) -> bool {
    advice.channel == Some(channel)
}

/// 49.8 to 50.2 and 59.8 to 60.2 Hz, smooth or a comb, 8 to 24 dB over the line's own noise: the family is never the
/// other, and the frequency is right within 0.05 Hz wherever it is told.
#[test]
fn hum_is_named_by_its_mains_with_its_frequency() {
    let (mut told, mut all, mut worst) = (0, 0, 0f64);
    for seed in seeds() {
        for (mains, family) in [(50.0, Mains::Fifty), (60.0, Mains::Sixty)] {
            let channel = at(drawn(seed, 5, 12) as u16);
            let hertz = mains + (drawn(seed, 6, 401) as f64 - 200.0) / 1000.0;
            let over = Db::new(8.0 + drawn(seed, 7, 17) as f64);
            let fault = RigFault::Hum { channel, mains: Hertz::new(hertz), over, comb: drawn(seed, 8, 2) == 0 };
            // With the knob far down it drowns in the converter's own noise.
            if Evening::new(seed, &[]).stage.true_floor(channel) + over < Dbfs::new(-98.0) {
                continue;
            }
            let evening =
                found(seed, fault, |advice| about(advice, channel) && matches!(advice.step, LineStep::HumCure(_)));
            for (_, advice) in evening.steps.iter().filter(|(_, advice)| matches!(advice.step, LineStep::HumCure(_))) {
                let hum = advice.why.hum.expect("the hum that is cured");
                assert_eq!(hum.mains, family, "{hertz} Hz: {hum:?}\n{}", evening.tell());
                all += 1;
                if let Some(frequency) = hum.frequency {
                    told += 1;
                    worst = worst.max((frequency.get() - hertz).abs());
                }
            }
        }
    }
    println!("frequency told for {told} of {all}, worst {worst:.4} Hz off");
    assert!(worst <= 0.05 && told * 10 >= all * 9, "{told} of {all}, worst {worst}");
}

/// The DI's own lift comes first, and nothing is asked of a microphone that has none.
#[test]
fn the_lift_of_a_di_comes_first() {
    let hum = |channel| RigFault::Hum { channel, mains: Hertz::new(50.0), over: Db::new(18.0), comb: false };
    let first = |channel| {
        let evening = Evening::new(3, &[hum(channel)]).run();
        evening.accusations().first().map(|advice| advice.step)
    };
    assert_eq!(first(at(6)), Some(LineStep::HumCure(HumCure::Lift)));
    assert_eq!(first(at(2)), Some(LineStep::HumCure(HumCure::LeadAway)));
    assert_eq!(first(at(11)), Some(LineStep::HumCure(HumCure::Charger)));
}

#[test]
fn a_dead_cable_stays_silent_until_it_is_changed() {
    for seed in seeds() {
        let channel = at([0, 1, 2, 5, 6, 7, 8, 10, 11][drawn(seed, 9, 9) as usize]);
        found(seed, RigFault::DeadCable(channel), |advice| about(advice, channel) && advice.step == LineStep::NotHeard);
    }
}

/// A silent condenser: a question, then everything muted, then +48, then a wait, in this order; never anything else.
#[test]
fn phantom_is_asked_about_and_switched_last_with_everything_muted() {
    for seed in seeds() {
        let channel = at([3, 4, 9][drawn(seed, 10, 3) as usize]);
        let evening = found(seed, RigFault::NoPhantom(channel), |advice| about(advice, channel));
        let claims: Vec<LineStep> = evening.accusations().iter().map(|advice| advice.step).collect();
        let order = [LineStep::AskPhantom, LineStep::MuteForPhantom, LineStep::PhantomOn, LineStep::PhantomWait];
        assert_eq!(claims, order, "{}", evening.tell());
        // All plugging was over by then: after the mute no other input is called.
        let muted = evening.steps.iter().position(|(_, advice)| advice.step == LineStep::MuteForPhantom).unwrap();
        let called = evening.steps[muted..].iter().filter(|(_, advice)| matches!(advice.step, LineStep::Call { .. }));
        assert!(called.clone().count() == 1 && called.clone().all(|(_, advice)| about(advice, channel)));
        assert!(evening.pipeline.snapshot().inputs[channel.index()].result.phantom_off);
    }
}

/// A condenser whose +48 is on and whose cable is dead: the answer yes leads to the cable.
#[test]
fn a_condenser_with_a_dead_cable_gets_another() {
    for seed in seeds() {
        let allowed = [LineStep::AskPhantom, LineStep::NotHeard];
        found(seed, RigFault::DeadCable(at(9)), |advice| about(advice, at(9)) && allowed.contains(&advice.step));
    }
}

#[test]
fn the_same_signal_on_two_channels_is_named_with_both() {
    for seed in seeds() {
        let from = drawn(seed, 11, 11);
        let to = from + 1 + drawn(seed, 12, 11 - from);
        let (from, to) = (at(from as u16), at(to as u16));
        let copied = |advice: &LineAdvice| about(advice, from) && advice.step == LineStep::Copied { to };
        found(seed, RigFault::Copied { from, to }, copied);
    }
}

#[test]
fn a_reversed_leg_shows_against_its_partner() {
    for seed in seeds() {
        let channel = at(3 + drawn(seed, 13, 2) as u16);
        found(seed, RigFault::LegReversed(channel), |advice| {
            about(advice, at(4)) && advice.step == LineStep::Reversed { with: at(3) }
        });
    }
}

#[test]
fn a_line_that_hisses_is_named() {
    for seed in seeds() {
        let channel = at(drawn(seed, 14, 12) as u16);
        let fault = RigFault::Noisy(channel, Dbfs::new(-32.0));
        found(seed, fault, |advice| about(advice, channel) && advice.step == LineStep::Noisy);
    }
}

#[test]
fn loudspeakers_are_told_apart_by_ear() {
    for (fault, step) in [
        (RigFault::SpeakersSwapped, LineStep::SwapSpeakers),
        (RigFault::SpeakerReversed, LineStep::SpeakersReversed),
        (RigFault::SpeakerDead(StageSide::Left), LineStep::SpeakerSilent { side: Side::Left }),
        (RigFault::SpeakerDead(StageSide::Right), LineStep::SpeakerSilent { side: Side::Right }),
    ] {
        let evening = found(1, fault, |advice| advice.step == step);
        assert!(evening.pipeline.snapshot().speakers.put_right, "{}", evening.tell());
    }
}

/// Several at once, as on a real evening.
#[test]
fn several_faults_are_all_found() {
    for seed in seeds() {
        let faults = [
            RigFault::Swapped(at(0), at(2)),
            RigFault::Hum { channel: at(6), mains: Hertz::new(60.0), over: Db::new(15.0), comb: true },
            RigFault::NoPhantom(at(9)),
            RigFault::LegReversed(at(4)),
            RigFault::SpeakerReversed,
        ];
        let evening = Evening::new(seed, &faults).run();
        let has = |step: fn(&LineStep) -> bool| evening.has(|advice| step(&advice.step));
        assert!(has(|step| matches!(step, LineStep::Swap { .. })), "{}", evening.tell());
        assert!(has(|step| matches!(step, LineStep::HumCure(_))), "{}", evening.tell());
        assert!(has(|step| matches!(step, LineStep::PhantomOn)), "{}", evening.tell());
        assert!(has(|step| matches!(step, LineStep::Reversed { .. })), "{}", evening.tell());
        assert!(has(|step| matches!(step, LineStep::SpeakersReversed)), "{}", evening.tell());
        assert!(evening.all_right(), "{}", evening.tell());
    }
}
