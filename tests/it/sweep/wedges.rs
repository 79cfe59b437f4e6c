//! A monitor's own loop, each microphone at the return, and the way from two loudspeakers to a seat.

use super::*;
use beforedoors::measure::delay::Apart;
use beforedoors::source::stage::{BoxRoom, Feed, Loudspeaker, MicrophonePlace, Output, Room};

/// With the rest muted a monitor's loop is measured as the mains are.
#[test]
fn a_monitor_is_measured_alone() {
    for seed in halls() {
        let (mut stage, hall) = hall(seed, Dbfs::SILENCE);
        under_its_limit(&mut stage, MONITOR, Db::new(8.0));
        let truth = stage.truth().expect("loudspeakers").margin_of(MONITOR);
        let (gain, found) = at_the_main_out(&mut stage, &hall, MONITOR, &Computer::PERFECT);
        let margin = gain.margin().allowing(&found.noise);
        let phase_aware = margin.phase_aware.expect("a monitor rings");
        println!("hall {seed}: {:+.2}, safe {:+.2} dB", (phase_aware - truth).get(), (margin.safe - truth).get());
        assert!((phase_aware - truth).abs().get() < 0.3, "hall {seed}: {phase_aware:?} is not {truth:?}");
        assert!(margin.safe <= truth && margin.safe >= truth - Db::new(2.0), "hall {seed}: {margin:?} of {truth:?}");
    }
}

/// A computer with knobs, buffers and a converter of its own: the loopback takes them out.
#[test]
fn the_loopback_takes_the_computer_out() {
    let (mut stage, hall) = hall(1, Dbfs::SILENCE);
    under_its_limit(&mut stage, MAINS, Db::new(8.0));
    let computer = Computer {
        out: Db::new(-3.0),
        input: Db::new(5.0),
        delay: Seconds::new(0.0234),
        noise: Dbfs::new(-110.0),
        ..Computer::PERFECT
    };
    let (gain, _) = at_the_main_out(&mut stage, &hall, MAINS, &computer);
    let found = gain.margin().phase_aware.expect("a hall rings");
    assert!((found.get() - 8.0).abs() < 0.3, "{found:?}");
}

/// At the return, all microphones in one sweep: each fader's limit, alone, is its truth: fader of the return, less the
/// highest of its way. Together they have the loop's own margin.
#[test]
fn every_microphone_at_the_return() {
    for seed in halls() {
        let (mut stage, hall) = hall(seed, Dbfs::SILENCE);
        under_its_limit(&mut stage, MAINS, Db::new(8.0));
        let sent = sweep(&hall, MAINS);
        let at = Db::new(-4.0);
        assert!(stage.open_loop(MAINS, Opening::Return { fader: at }));
        let captured = stage.sweep(&sent, &Computer::PERFECT);
        stage.close_loop();
        let gains: Vec<LoopGain> = captured
            .iter()
            .map(|channel| LoopGain::new(&taken(&sent, channel, Clocks::Same).response).raised(Db::ZERO - at))
            .collect();
        let all = LoopGain::sum(&gains).expect("three").margin().phase_aware.expect("a hall rings");
        assert!((all.get() - 8.0).abs() < 0.3, "hall {seed}: {all:?}");
        for (index, gain) in gains.iter().enumerate() {
            for other in 0..3 {
                let channel = ChannelId::from_index(other);
                if other == index { stage.open(channel) } else { stage.mute(channel) }
            }
            let truth = stage.truth().expect("loudspeakers").margin_of(MAINS);
            let found = gain.margin().phase_aware.expect("it rings");
            assert!((found - truth).abs().get() < 0.3, "hall {seed}, {index}: {found:?} is not {truth:?}");
        }
    }
}

/// Mains on the stage, a second pair in the hall, a seat behind them: told to 0.1 ms.
#[test]
fn second_loudspeakers_are_told_their_delay() {
    for seed in halls().step_by(4) {
        let seat =
            |n: u16, x: f64| MicrophonePlace { channel: ChannelId::new(n), place: (x, -13.0, 1.2), measures: false };
        let dice = seed as f64;
        let output = |name, places: Vec<(f64, f64, f64)>| Output {
            name,
            feed: Feed::Mix,
            loudspeakers: places.into_iter().map(|place| Loudspeaker { place, to_audience: true }).collect(),
            rings_at: None,
            fader: Db::ZERO,
            limit: Dbfs::new(20.0),
        };
        let hall = Hall {
            seed,
            room: Room::Box(BoxRoom { size: [14.0 + 0.1 * dice, 26.0, 6.0], t60: 0.8 + 0.03 * dice }),
            microphones: vec![seat(0, 2.0), seat(1, -1.5), seat(2, 0.6)],
            outputs: vec![
                output("Mains", vec![(-4.0, -0.8, 2.6), (4.5, -0.8, 2.6)]),
                output("Second", vec![(3.0, -9.0 - 0.05 * dice, 2.6)]),
            ],
            delay: Seconds::new(0.004),
            noise: Dbfs::SILENCE,
        };
        let script = Script { player: Player::Speaker, every: None, peak: Dbfs::new(-42.0), floor: Dbfs::new(-150.0) };
        let mut stage = Stage::scripted(rate(), 5, &[script; 3]);
        (0..3).for_each(|channel| stage.ask_quiet(ChannelId::new(channel)));
        let mut stage = stage.with_loudspeakers(&hall);
        let sent = sweep(&hall, 0);
        let mut heard = |output: usize| {
            stage.open_loop(output, Opening::Return { fader: Db::new(-10.0) });
            stage.set_output_fader(1 - output, Db::new(f64::NEG_INFINITY));
            stage.set_output_fader(output, Db::ZERO);
            wait(&mut stage, 1.5);
            stage.sweep(&sent, &Computer::PERFECT)
        };
        let (mains, second) = (heard(0), heard(1));
        for seat in 0..3 {
            let [mains, second] =
                [&mains, &second].map(|captured| taken(&sent, &captured[seat], Clocks::Same).response);
            let apart = Apart::new(&mains, &second).expect("two sounds");
            let [far, near] = [0, 1].map(|output| hall.distance(output, seat).expect("a box"));
            let truth = (far - near) / 343.0;
            println!("hall {seed}, seat {seat}: {:.2} ms, {:+.3}", 1e3 * truth, 1e3 * (apart.seconds.get() - truth));
            assert!((apart.seconds.get() - truth).abs() < 1e-4, "hall {seed}, seat {seat}: {apart:?} is not {truth}");
            assert!((apart.metres - (far - near)).abs() < 0.05);
            assert!(apart.delay.is_some_and(|[least, _]| (least.get() - truth - 0.01).abs() < 1e-4));
        }
    }
}
