//! Spill between microphones, and that a stage is the same each time.

use super::*;

/// What one performer alone brings to every channel: the same stage with and without, subtracted, so that
/// its noise falls out.
fn alone(seed: u64, source: ChannelId, prepare: impl Fn(&mut Stage)) -> Vec<Vec<f32>> {
    let mut silent = waiting(seed, Mood::ShowNight, 16_000);
    let mut playing = waiting(seed, Mood::ShowNight, 16_000);
    for stage in [&mut silent, &mut playing] {
        prepare(stage);
        listen(stage, 0.5);
    }
    playing.ask_play(source);
    let (with, without) = (listen(&mut playing, 6.0), listen(&mut silent, 6.0));
    with.iter().zip(&without).map(|(a, b)| a.iter().zip(b).map(|(a, b)| a - b).collect()).collect()
}

/// The strongest spill of each source is 15 to 25 dB down, with the trims right and with equal trims, and
/// arrives (way − reach) / 343 m/s later; lines hear and give none.
#[test]
fn spill_is_15_to_25_db_down_with_its_lag() {
    let right = |stage: &mut Stage| trim_to(stage, -9.0);
    let equal = |stage: &mut Stage| {
        for channel in channels(stage) {
            let by = Db::new(34.0) - stage.trim(channel);
            stage.turn_trim(channel, by);
        }
    };
    for seed in 0..2 {
        for source in channels(&waiting(seed, Mood::ShowNight, 16_000)) {
            for prepare in [&right as &dyn Fn(&mut Stage), &equal] {
                check_spill(seed, source, &alone(seed, source, prepare));
            }
        }
    }
}

fn check_spill(seed: u64, source: ChannelId, heard: &[Vec<f32>]) {
    let stage = waiting(seed, Mood::ShowNight, 16_000);
    let own = &stage.inputs()[source.index()];
    let level = decibels(rms(&heard[source.index()]));
    let mut strongest = f64::NEG_INFINITY;
    for (index, other) in stage.inputs().iter().enumerate().filter(|(index, _)| *index != source.index()) {
        if own.kind == SourceKind::Choir && other.kind == SourceKind::Choir {
            continue;
        }
        let down = decibels(rms(&heard[index])) - level;
        if !own.microphone || !other.microphone {
            assert!(heard[index].iter().all(|&x| x == 0.0), "{} in {}", own.name, other.name);
            continue;
        }
        strongest = strongest.max(down);
        // The second choir microphone does not throw again what the first one does.
        if own.name != "Choir right" && down > -30.0 {
            let way = (own.place.0 - other.place.0).hypot(own.place.1 - other.place.1);
            let expected = (way - own.reach).max(0.0) / 343.0 * 16_000.0;
            let found = lag(&heard[source.index()], &heard[index]);
            assert!((found - expected).abs() <= 2.0, "{} in {}: {found}, not {expected}", own.name, other.name);
        }
    }
    if own.microphone {
        assert!((-25.0..=-15.0).contains(&strongest), "{} of {seed}: {strongest:.1} dB", own.name);
    }
}

/// The lag in frames at which `late` is most like `first`, up to 40 ms.
fn lag(first: &[f32], late: &[f32]) -> f64 {
    let begin = first.iter().position(|&x| x != 0.0).unwrap_or(0);
    let (first, late) = (&first[begin..begin + 32_000], &late[begin..]);
    let likeness = |lag: usize| -> f64 {
        first.iter().zip(&late[lag..]).map(|(&a, &b)| f64::from(a) * f64::from(b)).sum::<f64>().abs()
    };
    (0..640).max_by(|&a, &b| likeness(a).total_cmp(&likeness(b))).unwrap_or(0) as f64
}

/// Both choir microphones hear the same choir, not the same samples: likest within 10 ms.
#[test]
fn two_microphones_hear_one_choir() {
    let heard = alone(1, ChannelId::new(3), |stage| trim_to(stage, -9.0));
    let (left, right) = (&heard[3], &heard[4]);
    let product = |lag: usize| -> f64 {
        left.iter().zip(&right[lag..]).map(|(&a, &b)| f64::from(a) * f64::from(b)).sum::<f64>().abs()
    };
    let alike = product(75) / (rms(left) * rms(right) * left.len() as f64);
    assert!(alike > 0.2, "1.6 m further are 75 frames: {alike}");
    assert_ne!(left, right);
}

/// Bit for bit, whatever the blocks, with the same calls before the same frames.
#[test]
fn the_same_seed_gives_the_same_stage() {
    let run = |seed, frames| {
        let mut stage = Stage::new(StageConfig::new(seed, Mood::Normal, rate(16_000)));
        let mut heard = listen_in(&mut stage, 2.0, frames);
        stage.ask_loudest(ChannelId::new(4));
        stage.turn_trim(ChannelId::new(1), Db::new(-5.0));
        stage.cough(ChannelId::new(2));
        stage.set_mood(Mood::ShowNight);
        for (all, more) in heard.iter_mut().zip(listen_in(&mut stage, 0.1, frames)) {
            all.extend(more);
        }
        stage.ask_quiet(ChannelId::new(0));
        stage.turn_trim(ChannelId::new(1), Db::new(3.0));
        for (all, more) in heard.iter_mut().zip(listen_in(&mut stage, 6.0, frames)) {
            all.extend(more);
        }
        heard
    };
    let first = run(12, 1024);
    for frames in [1, 37, 160, 5000] {
        assert!(first == run(12, frames), "blocks of {frames}");
    }
    assert!(first != run(13, 1024));
}
