//! The sweep's safe way on the simulated stage: softly up to a result, and every refusal.

use super::*;
use beforedoors::coach::sweep::{Heard, NoSweep, Opened, SafeSweep, SweepPlan, SweepStep, TapHeard};
use beforedoors::measure::sweep::Refusal;
use beforedoors::source::stage::EqBand;

/// What goes wrong with what is recorded while the nth sweep or chirp plays.
type Spoilt<'a> = &'a dyn Fn(usize, &mut Vec<f32>);

fn untouched(_: usize, _: &mut Vec<f32>) {}

/// A tap is louder than these soft speakers.
const TAPPED: Db = Db::new(30.0);

/// A quiet hall, mains 12 dB under their limit.
fn evening(noise: f64) -> (Stage, Hall) {
    let (mut stage, hall) = hall(3, Dbfs::new(noise));
    under_its_limit(&mut stage, MAINS, Db::new(12.0));
    (stage, hall)
}

fn plan(opened: Opened, most: f64) -> SweepPlan {
    SweepPlan { most: Dbfs::new(most), ..SweepPlan::usual(rate(), opened) }
}

/// Taps the first microphone and hears what the main output does.
fn tap(stage: &mut Stage, opened: Opened) -> TapHeard {
    let silence = vec![0.0; 96_000];
    stage.tap(ChannelId::new(0), TAPPED);
    let heard = stage.sweep(&silence, &Computer::PERFECT);
    // At the main out the computer hears the desk alone; a microphone's own tap is not looked at.
    let main = if opened == Opened::AtMainOut { heard[0].clone() } else { vec![0.0; silence.len()] };
    TapHeard::new(&heard[0], &main, rate()).expect("two seconds")
}

/// Up to the end, with the levels at which something was played.
fn run(stage: &mut Stage, plan: SweepPlan, sound: Option<f64>, spoilt: Spoilt) -> (SafeSweep, Vec<f64>) {
    let opening = match plan.opened {
        Opened::AtReturn => Opening::Return { fader: Db::ZERO },
        Opened::AtMainOut => Opening::MainOut,
    };
    assert!(stage.open_loop(MAINS, opening));
    let mut sweep = SafeSweep::new(plan).expect("a sound plan");
    let mut levels: Vec<f64> = Vec::new();
    loop {
        match sweep.step().clone() {
            SweepStep::Arm => sweep.arm(),
            SweepStep::Tap => sweep.tapped(tap(stage, plan.opened)),
            SweepStep::Chirp { level } | SweepStep::Sweep { level } => {
                let sent = sweep.sent();
                let peak = sent.iter().fold(0.0, |most: f32, x| most.max(x.abs()));
                assert!((20.0 * f64::from(peak).log10() - level.get()).abs() < 0.01);
                levels.push(level.get());
                let mut channels = stage.sweep(&sent, &Computer::PERFECT);
                channels.iter_mut().for_each(|channel| spoilt(levels.len(), channel));
                let sound = sound.map(|at_full| at_full + level.get());
                sweep.heard(Heard { channels: &channels, sound });
            }
            SweepStep::Done(_) | SweepStep::Refused(_) => return (sweep, levels),
        }
    }
}

fn refused(stage: &mut Stage, plan: SweepPlan, spoilt: Spoilt) -> NoSweep {
    match run(stage, plan, None, spoilt).0.step() {
        SweepStep::Refused(why) => *why,
        _ => panic!("it was measured"),
    }
}

/// It goes up softly, by 6 dB, above −40 by 3; then two sweeps in one sound; the result is the loop's.
#[test]
fn softly_up_to_a_result() {
    for opened in [Opened::AtMainOut, Opened::AtReturn] {
        let (mut stage, _) = evening(-75.0);
        let (sweep, levels) = run(&mut stage, plan(opened, -12.0), None, &untouched);
        let SweepStep::Done(measured) = sweep.step() else { panic!("{:?} after {levels:?}", sweep.step()) };
        assert_eq!(levels[0], -50.0);
        let chirps = &levels[..levels.len() - 1];
        for pair in chirps.windows(2) {
            let most = if pair[0] + 6.0 > -40.0 { 3.0 } else { 6.0 };
            assert!((pair[1] - pair[0] - most).abs() < 1e-9, "{levels:?}");
        }
        assert_eq!(levels.last(), chirps.last());
        assert_eq!(measured.level.get(), chirps[chirps.len() - 1]);
        assert!(sweep.sent().is_empty());
        if opened == Opened::AtMainOut {
            let (_, gain) = measured.channels[0].as_ref().expect("a loop");
            let found = gain.margin().phase_aware.expect("it rings somewhere");
            let truth = stage.truth().expect("loudspeakers").margin_of(MAINS);
            assert!((found - truth).abs().get() < 0.5, "{found:?} {truth:?}");
        } else {
            assert_eq!(measured.channels.iter().filter(|channel| channel.is_ok()).count(), 3);
        }
    }
}

/// Nothing may be played before it was armed and the loop proven open; no answer to another question counts.
#[test]
fn nothing_plays_unarmed() {
    let mut sweep = SafeSweep::new(plan(Opened::AtMainOut, -12.0)).unwrap();
    let (high, low) = (Dbfs::new(-20.0), Dbfs::new(-80.0));
    let open = TapHeard { microphone: high, microphone_quiet: low, main: high, main_quiet: low };
    sweep.tapped(open);
    sweep.heard(Heard { channels: &[vec![0.0; 480_000]], sound: None });
    assert!(matches!(sweep.step(), SweepStep::Arm) && sweep.sent().is_empty());
    sweep.arm();
    assert!(matches!(sweep.step(), SweepStep::Tap) && sweep.sent().is_empty());
    sweep.tapped(open);
    assert!(matches!(sweep.step(), SweepStep::Chirp { .. }) && !sweep.sent().is_empty());
    sweep.stop();
    assert!(matches!(sweep.step(), SweepStep::Refused(NoSweep::Stopped)) && sweep.sent().is_empty());
    sweep.arm();
    assert!(matches!(sweep.step(), SweepStep::Refused(NoSweep::Stopped)), "nothing is repeated by itself");
    assert!(SafeSweep::new(plan(Opened::AtReturn, -60.0)).is_none());
    assert!(SafeSweep::new(plan(Opened::AtReturn, f64::NAN)).is_none());
}

/// At the return a tap must not come out of the mains; at the main out it must come in. Nonsense proves nothing.
#[test]
fn the_loop_has_to_be_open() {
    let (high, low) = (Dbfs::new(-20.0), Dbfs::new(-80.0));
    let nan = Dbfs::new(f64::NAN);
    for (opened, main, main_quiet) in [
        (Opened::AtReturn, high, low),
        (Opened::AtMainOut, low, low),
        (Opened::AtMainOut, nan, low),
        (Opened::AtReturn, nan, low),
    ] {
        let mut sweep = SafeSweep::new(plan(opened, -12.0)).unwrap();
        sweep.arm();
        sweep.tapped(TapHeard { microphone: high, microphone_quiet: low, main, main_quiet });
        assert!(matches!(sweep.step(), SweepStep::Refused(NoSweep::LoopNotOpen(_))), "{:?}", sweep.step());
    }
    let mut sweep = SafeSweep::new(plan(Opened::AtReturn, -12.0)).unwrap();
    sweep.arm();
    sweep.tapped(TapHeard { microphone: low, microphone_quiet: low, main: low, main_quiet: low });
    assert!(matches!(sweep.step(), SweepStep::Refused(NoSweep::NoTap(_))));
    // On the stage: with the loop closed the computer hears no tap.
    let (mut stage, _) = evening(-75.0);
    stage.close_loop();
    stage.tap(ChannelId::new(0), TAPPED);
    let microphone = wait(&mut stage, 2.0);
    let heard = TapHeard::new(&microphone, &[0.0; 96_000], rate()).unwrap();
    let mut sweep = SafeSweep::new(plan(Opened::AtMainOut, -12.0)).unwrap();
    sweep.arm();
    sweep.tapped(heard);
    assert!(matches!(sweep.step(), SweepStep::Refused(NoSweep::LoopNotOpen(_))), "{:?}", sweep.step());
}

/// Noise of a seed, evenly over ±1.
fn noise(count: usize) -> Vec<f32> {
    let mut state = 7_u32;
    let next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) as f32 / 8_388_608.0 - 1.0
    };
    std::iter::repeat_with(next).take(count).collect()
}

fn peak(samples: &[f32]) -> f32 {
    samples.iter().fold(0.0, |most: f32, x| most.max(x.abs()))
}

/// While the two sweeps go: longer than a chirp.
fn whole(samples: &[f32]) -> bool {
    samples.len() > 300_000
}

/// Of those two, the first; nothing of a chirp.
fn louder(samples: &mut [f32]) -> &mut [f32] {
    let half = if whole(samples) { samples.len() / 2 } else { 0 };
    &mut samples[..half]
}

#[test]
fn what_disturbs_a_sweep_ends_it() {
    let run = |spoilt: Spoilt| refused(&mut evening(-95.0).0, plan(Opened::AtMainOut, -12.0), spoilt);
    let slam = run(&|_, x| {
        if whole(x) {
            let loud = 3.0 * peak(x);
            x[150_000..156_000].iter_mut().zip(noise(6000)).for_each(|(x, n)| *x += loud * n);
        }
    });
    assert!(matches!(slam, NoSweep::Unfit { why: Refusal::DoorSlam { .. }, .. }), "{slam:?}");
    let talker = run(&|_, x| {
        if whole(x) {
            let loud = 0.7 * peak(x);
            let word = |n: usize| if (n / 9600).is_multiple_of(2) { loud } else { 0.05 * loud };
            noise(x.len()).iter().enumerate().for_each(|(n, noise)| x[n] += word(n) * noise);
        }
    });
    assert!(matches!(talker, NoSweep::Unfit { why: Refusal::Talker { .. }, .. }), "{talker:?}");
    let clipped = run(&|_, x| {
        let most = 0.5 * peak(x);
        if whole(x) {
            x.iter_mut().for_each(|x| *x = x.clamp(-most, most));
        }
    });
    assert!(matches!(clipped, NoSweep::Unfit { why: Refusal::Clipped { .. }, .. }), "{clipped:?}");
    let bent = run(&|_, x| {
        let most = 0.5 * peak(x);
        if whole(x) {
            x.iter_mut().for_each(|x| *x = most * (*x / most).tanh());
        }
    });
    assert!(matches!(bent, NoSweep::Unfit { why: Refusal::Limited { .. }, .. }), "{bent:?}");
    // In the first chirp, and in the sweeps.
    for cut in [1, 2] {
        let gone = run(&|nth, x| {
            if nth == cut {
                x.truncate(40_000)
            }
        });
        assert_eq!(gone, NoSweep::DeviceLost);
    }
}

/// A slow limiter bends nothing, but louder gives less; an input that rides its own level lies low in the pause after.
#[test]
fn a_chain_that_changes_its_gain_is_told() {
    let run = |spoilt: Spoilt| refused(&mut evening(-95.0).0, plan(Opened::AtMainOut, -12.0), spoilt);
    // The level that the louder sweep reached is given out 3 dB lower.
    let limited = run(&|_, x| louder(x).iter_mut().for_each(|x| *x *= 0.7));
    assert!(matches!(limited, NoSweep::Limited { missing, .. } if (missing.get() - 3.1).abs() < 0.3), "{limited:?}");
    let rides = run(&|_, x| {
        // Down by 12 dB within the sweep, back up over ten seconds.
        let mut gain = 1.0_f32;
        let quiet = rms(&x[..24_000]);
        for block in 0..x.len() / 480 {
            let part = &mut x[480 * block..480 * (block + 1)];
            let target = if rms(part) > quiet + Db::new(10.0) { 0.25 } else { 1.0 };
            let speed = if target < gain { 0.2 } else { 0.001 };
            gain += speed * (target - gain);
            part.iter_mut().for_each(|x| *x *= gain);
        }
    });
    assert!(matches!(rides, NoSweep::RidesItsLevel { .. }), "{rides:?}");
}

/// A door that opens between the two sweeps: here a resonance that was not there.
#[test]
fn a_room_that_moves_is_told() {
    let moved = refused(&mut evening(-95.0).0, plan(Opened::AtMainOut, -12.0), &|_, x| {
        let band = EqBand::peak(Hertz::new(365.0), 8.0, Db::new(4.0));
        let mut filter = beforedoors::dsp::biquad::Biquad::new(band.coefficients(rate()));
        louder(x).iter_mut().for_each(|x| *x = filter.next(f64::from(*x)) as f32);
    });
    assert!(matches!(moved, NoSweep::Unfit { why: Refusal::Moved { .. }, .. }), "{moved:?}");
}

/// 21 ms that are missing, or that come twice, between the two sweeps or within one of them: no number is given.
#[test]
fn sound_that_was_lost_on_the_way_is_told() {
    const MISSING: usize = 1008;
    // In seconds of the sound: the louder sweep lies from 1 to 6, the softer one from 10 to 15.
    for at in [8.0, 2.9, 4.1, 12.5] {
        for twice in [false, true] {
            let lost = refused(&mut evening(-95.0).0, plan(Opened::AtMainOut, -12.0), &|_, x| {
                if whole(x) {
                    let (from, length) = ((48_000.0 * at) as usize, x.len());
                    let quiet = x[..MISSING].to_vec();
                    if twice {
                        let again = x[from..from + MISSING].to_vec();
                        x.splice(from..from, again);
                        x.truncate(length);
                    } else {
                        x.drain(from..from + MISSING);
                        x.extend(quiet);
                    }
                }
            });
            let NoSweep::Unfit { why: Refusal::SoundLost { by }, .. } = lost else { panic!("{at} s: {lost:?}") };
            // Within a sweep by the octaves, between both to the sample.
            let exact = if at == 8.0 { 1e-4 } else { 1e-3 };
            let signed = if twice { 0.021 } else { -0.021 };
            assert!((by.get() - signed).abs() < exact, "{at} s: {by:?}");
        }
    }
}

/// Nothing arrives; something else arrives; hum; too soft for the limit in dBFS and in dB(A).
#[test]
fn what_is_not_heard_is_told_by_its_reason() {
    let mut off = evening(-95.0).0;
    let plan = plan(Opened::AtReturn, -38.0);
    off.set_output_fader(MAINS, Db::new(f64::NEG_INFINITY));
    assert!(matches!(refused(&mut off, plan, &untouched), NoSweep::NotConnected { level } if level.get() > -38.1));
    let other = refused(&mut evening(-75.0).0, plan, &|_, x| {
        let noise = noise(x.len());
        x.iter_mut().zip(noise).for_each(|(x, noise)| *x = 0.1 * noise);
    });
    assert!(matches!(other, NoSweep::Unfit { why: Refusal::WrongChannel { .. }, .. }), "{other:?}");
    let buzz = |n: usize| {
        let phase = std::f64::consts::TAU * 50.0 * n as f64 / 48_000.0;
        (1..40).map(|k| (f64::from(k) * phase).sin() / f64::from(k)).sum::<f64>() as f32
    };
    let hum = refused(&mut evening(-75.0).0, plan, &|_, x| {
        x.iter_mut().enumerate().for_each(|(n, x)| *x += 0.5 * buzz(n));
    });
    assert!(matches!(hum, NoSweep::Hum { mains, .. } if mains.get() == 50.0), "{hum:?}");
    let soft = refused(&mut evening(-50.0).0, plan, &untouched);
    assert!(matches!(soft, NoSweep::TooSoft { level, .. } if level.get() <= -38.0), "{soft:?}");
    // With a meter that reads 100 dB(A) at full scale, 66 dB(A) are reached at −34 dBFS.
    let (sweep, levels) = run(
        &mut evening(-40.0).0,
        SweepPlan { most: Dbfs::new(-12.0), most_sound: 66.0, ..plan },
        Some(100.0),
        &untouched,
    );
    assert!(matches!(sweep.step(), SweepStep::Refused(_)), "{:?}", sweep.step());
    let most = levels.iter().copied().fold(-99.0, f64::max);
    assert!((-35.0..=-34.0).contains(&most), "{levels:?}");
}
