//! Scripted inputs with known peaks, freak events, and channels that are not there.

use super::*;

fn script(player: Player, every: Option<f64>) -> Script {
    Script { player, every: every.map(Seconds::new), peak: Dbfs::new(-12.0), floor: Dbfs::new(-75.0) }
}

/// A drum once a second and a triangle every 8 s, first after half a second, all at −12 dBFS true peak.
#[test]
fn drums_hit_on_time_with_a_known_peak() {
    let scripts =
        [script(Player::Snare, Some(1.0)), script(Player::Triangle, Some(8.0)), script(Player::Kick, Some(1.0))];
    let mut stage = Stage::scripted(rate(48_000), 1, &scripts);
    let heard = listen(&mut stage, 17.0);
    for (channel, every) in [(0, 1), (1, 8), (2, 1)] {
        for hit in (0..17).step_by(every) {
            let at = hit * 48_000 + 24_000;
            let peak = decibels(true_peak(&heard[channel], at, at + 24_000));
            assert!((peak + 12.0).abs() < 0.15, "hit {hit} of {channel}: {peak}");
            assert!(decibels(rms(&heard[channel][at - 4800..at])) < -45.0);
            assert!(decibels(true_peak(&heard[channel], at, at + 480)) > -22.0);
        }
    }
    assert!((stage.true_peak_of_loudest(ChannelId::new(0)).get() + 12.0).abs() < 1e-9);
}

#[test]
fn a_steady_performer_is_always_alike() {
    let mut stage = Stage::scripted(rate(16_000), 2, &[script(Player::Narrator, None), script(Player::Keys, None)]);
    let heard = listen(&mut stage, 120.0);
    for channel in heard {
        let peaks: Vec<f64> = (0..6).map(|n| decibels(true_peak(&channel, n * 320_000, (n + 1) * 320_000))).collect();
        assert!(peaks.iter().all(|peak| (peak + 12.0).abs() < 0.15), "{peaks:?}");
    }
}

/// A cough and a knock stand 12 dB over the loudest; the knock has over 70 % of its energy below 60 Hz.
#[test]
fn freak_events_come_when_called() {
    let mut stage = waiting(3, Mood::Normal, 16_000);
    trim_to(&mut stage, -20.0);
    listen(&mut stage, 0.5);
    let channel = ChannelId::new(0);
    for call in [Stage::cough, Stage::bump] {
        call(&mut stage, channel);
        let heard = listen(&mut stage, 1.0);
        assert!((decibels(true_peak(&heard[0], 0, 16_000)) + 8.0).abs() < 0.2);
        assert!(decibels(rms(&heard[1])) < -60.0, "the others do not hear it");
    }
    stage.bump(channel);
    let heard = listen(&mut stage, 1.0).swap_remove(0);
    let (low, all): (f64, f64) = (energy(&heard, 1..60), energy(&heard, 1..400));
    assert!(low > 0.7 * all, "{}", low / all);
}

/// Energy of a second of sound in whole-hertz bins, by the plain definition of the Fourier transform.
fn energy(second: &[f32], hertz: std::ops::Range<usize>) -> f64 {
    hertz
        .map(|hz| {
            let turn = std::f64::consts::TAU * hz as f64 / second.len() as f64;
            let (mut re, mut im) = (0.0, 0.0);
            for (n, &x) in second.iter().enumerate() {
                re += f64::from(x) * (turn * n as f64).cos();
                im += f64::from(x) * (turn * n as f64).sin();
            }
            re * re + im * im
        })
        .sum()
}

#[test]
fn a_channel_that_is_not_there_is_silent() {
    let mut stage = waiting(1, Mood::Normal, 16_000);
    let nobody = ChannelId::new(63);
    stage.ask_loudest(nobody);
    stage.ask_quiet(nobody);
    stage.cough(nobody);
    assert_eq!(stage.turn_trim(nobody, Db::new(3.0)), Db::ZERO);
    assert!(stage.true_show_peak(nobody).is_silence() && stage.true_floor(nobody).is_silence());
    // A block of more channels than the stage has, and one without room.
    for (channels, frames) in [(3, 100), (12, 0)] {
        let mut block = BlockBuf::new(channels, frames);
        let Ok(_) = stage.read(&mut block);
        assert_eq!(block.frames(), frames);
    }
    let empty = Stage::scripted(rate(16_000), 1, &[]);
    assert_eq!(empty.format().channels, 0);
}
