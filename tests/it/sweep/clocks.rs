//! Two devices whose clocks are 100 ppm apart, with a microphone each channel at the return: one sweep has to tell it, or the
//! two of the safe way do.

use super::*;
use beforedoors::coach::sweep::{Heard, Measured, NoSweep, Opened, SafeSweep, SweepPlan, SweepStep, TapHeard};

/// Told to 25 ppm in every hall, where two loudspeakers arrive together too; in half of them it costs less than 0.15 dB.
#[test]
fn clocks_apart_cost_little() {
    let mut errors: Vec<f64> = Vec::new();
    for seed in halls() {
        let (mut stage, hall) = hall(seed, Dbfs::SILENCE);
        under_its_limit(&mut stage, MAINS, Db::new(8.0));
        let sent = sweep(&hall, MAINS);
        stage.open_loop(MAINS, Opening::Return { fader: Db::ZERO });
        let captured = stage.sweep(&sent, &Computer::PERFECT);
        let microphone = (seed % 3) as usize;
        let truth = alone(&mut stage, microphone);
        let drift_ppm = if seed % 2 == 0 { 100.0 } else { -100.0 };
        let noise = rms(&captured[microphone][24_000..264_000]) - Db::new(40.0);
        let computer = Computer { drift_ppm, noise, seed, ..Computer::PERFECT };
        let found = taken(&sent, &computer.records(&captured[microphone], rate()), Clocks::Unknown);
        let margin = LoopGain::new(&found.response).margin().phase_aware.expect("it rings");
        let error = (margin - truth).get();
        let off = found.drift_ppm - drift_ppm;
        println!("hall {seed}: {off:+.1} ppm, {error:+.2} dB");
        assert!(off.abs() < 25.0, "hall {seed}: {off} ppm");
        errors.push(error.abs());
    }
    errors.sort_by(f64::total_cmp);
    let [half, most] = [0.5, 0.95].map(|share| errors[(share * (errors.len() - 1) as f64).round() as usize]);
    println!("half within {half:.2}, 95 of 100 within {most:.2} dB");
    assert!(half < 0.15, "{errors:?}");
}

/// The safe way in a hall with noise: the clocks are told to 1 ppm, and cost no more than 0.3 dB beside the same evening on
/// one clock; with the noise it is within 1 dB. One hall in fifty may be refused for its noise.
#[test]
fn two_sweeps_tell_the_clocks() {
    let mut refused = 0;
    for seed in halls() {
        let microphone = (seed % 3) as usize;
        let evening = |drift_ppm: f64| -> Result<f64, NoSweep> {
            let (mut stage, _) = hall(seed, Dbfs::new(-80.0));
            under_its_limit(&mut stage, MAINS, Db::new(8.0));
            stage.open_loop(MAINS, Opening::Return { fader: Db::ZERO });
            let computer = Computer { drift_ppm, noise: Dbfs::new(-110.0), seed, ..Computer::PERFECT };
            let measured = measured(&mut stage, microphone, &computer)?;
            let (taken, gain) = measured.channels[0].as_ref().expect("it hears the loudspeakers");
            let truth = alone(&mut stage, microphone);
            let margin = gain.margin().allowing(&taken.noise);
            assert!((taken.drift_ppm - drift_ppm).abs() < 1.0, "hall {seed}: {} ppm", taken.drift_ppm);
            assert!(margin.safe <= truth, "hall {seed}: {:?} of {truth:?}", margin.safe);
            Ok((margin.phase_aware.expect("it rings") - truth).get())
        };
        let (one, apart) = match (evening(0.0), evening(if seed % 2 == 0 { 100.0 } else { -100.0 })) {
            (Ok(one), Ok(apart)) => (one, apart),
            (Err(why), _) | (_, Err(why)) => {
                println!("hall {seed}: {why:?}");
                refused += 1;
                continue;
            }
        };
        println!("hall {seed}: {apart:+.2} dB, on one clock {one:+.2} dB");
        assert!((apart - one).abs() < 0.3, "hall {seed}: {apart} dB for {one}");
        assert!(apart.abs() < 1.0, "hall {seed}: {apart} dB");
    }
    assert!(50 * refused <= halls().count(), "{refused} are refused");
}

/// Through the safe way up to a result, this microphone on the one channel.
fn measured(stage: &mut Stage, microphone: usize, computer: &Computer) -> Result<Measured, NoSweep> {
    let (loud, quiet) = (Dbfs::new(-20.0), Dbfs::new(-80.0));
    let mut sweep = SafeSweep::new(SweepPlan::usual(rate(), Opened::AtReturn)).expect("a sound plan");
    loop {
        match sweep.step() {
            SweepStep::Arm => sweep.arm(),
            SweepStep::Tap => {
                let tap = TapHeard { microphone: loud, microphone_quiet: quiet, main: quiet, main_quiet: quiet };
                sweep.tapped(tap);
            }
            SweepStep::Chirp { .. } | SweepStep::Sweep { .. } => {
                let played = sweep.sent();
                let captured = stage.sweep(&[played.clone(), vec![0.0; 480]].concat(), &Computer::PERFECT);
                let mut channel = computer.records(&captured[microphone], rate());
                channel.resize(played.len(), 0.0);
                sweep.heard(Heard { channels: &[channel], sound: None });
            }
            SweepStep::Done(measured) => return Ok(measured.as_ref().clone()),
            SweepStep::Refused(why) => return Err(*why),
        }
    }
}

/// How far this microphone alone is from ringing.
fn alone(stage: &mut Stage, microphone: usize) -> Db {
    for other in 0..3 {
        let channel = ChannelId::from_index(other);
        if other == microphone { stage.open(channel) } else { stage.mute(channel) }
    }
    stage.truth().expect("loudspeakers").margin_of(MAINS)
}
