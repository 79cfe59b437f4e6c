//! Two devices whose clocks are 100 ppm apart: one sweep has to tell it, with a microphone each channel at the return.

use super::*;

/// In 95 of 100 halls it costs less than 0.3 dB of the margin.
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
        println!("hall {seed}: {:+.1} ppm, {error:+.2} dB", found.drift_ppm - drift_ppm);
        errors.push(error.abs());
    }
    errors.sort_by(f64::total_cmp);
    let most = errors[(0.95 * (errors.len() - 1) as f64).round() as usize];
    println!("95 of 100 within {most:.2} dB");
    assert!(most < 0.3, "{errors:?}");
}
