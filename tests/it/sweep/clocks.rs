//! Two devices whose clocks are 100 ppm apart: one sweep has to tell it, with a microphone each channel at the return.

use super::*;

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
        for other in 0..3 {
            let channel = ChannelId::from_index(other);
            if other == microphone { stage.open(channel) } else { stage.mute(channel) }
        }
        let truth = stage.truth().expect("loudspeakers").margin_of(MAINS);
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
