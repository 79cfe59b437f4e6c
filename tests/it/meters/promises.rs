//! The meters' promises: any split, any threads, the same readings; gain in, gain out; channels apart;
//! no NaN, no panic, no allocation.

use crate::support::signals::{Noise, music};
use crate::support::takes::{format, listen, measure, push_cut};
use assert_no_alloc::assert_no_alloc;
use beforedoors::block::Block;
use beforedoors::meters::{Meters, Readings, Summary};
use beforedoors::units::{ChannelId, Db, Dbfs, FrameCount, Lufs};
use proptest::prelude::*;

const RATES: [u32; 5] = [8_000, 11_025, 44_100, 48_000, 96_000];

/// Everything that was told, as text: `Debug` prints floats to their last bit.
fn told(mut meters: Meters, push: impl FnOnce(&mut Meters, &mut dyn FnMut(&Readings))) -> Vec<String> {
    let mut lines = Vec::new();
    let mut note = |readings: &Readings| lines.push(format!("{readings:?}"));
    push(&mut meters, &mut note);
    meters.finish(&mut note);
    lines.push(format!("{:?}", meters.summary()));
    lines
}

fn watched(rate: u32, channels: usize) -> Meters {
    let mut meters = Meters::new(format(rate, channels), &[]);
    meters.watch_pair(Some((ChannelId::new(0), ChannelId::new(1))));
    meters
}

/// Music driven into flat tops, so that runs end in every hop.
fn clipped(rate: u32, seconds: f64, seed: u64) -> Vec<f32> {
    music(rate, seconds, seed).into_iter().map(|x| (3.0 * x).clamp(-0.5, 0.5)).collect()
}

/// Music before and after a gain, and that gain in dB. Over a bed of noise (−30.8 dBFS RMS) that keeps all of it above what
/// is absolute: the gate of −70 LUFS, and the −50 dBFS under which a sound that never changes is taken for the room.
fn turned_down(seed: u64, db: f64) -> (Summary, Summary, f64) {
    let noise = Noise::new(seed).map(|x| (0.05 * x) as f32);
    let loud = [music(48_000, 4.0, seed).into_iter().zip(noise).map(|(x, noise)| x + noise).collect::<Vec<f32>>()];
    let factor = Db::new(db).ratio() as f32;
    let soft = [loud[0].iter().map(|x| x * factor).collect::<Vec<f32>>()];
    (measure(48_000, &loud), measure(48_000, &soft), Db::from_ratio(f64::from(factor)).get())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn any_split_gives_the_same(rate in prop::sample::select(&RATES[..]), seed in 0u64..1000,
                                cuts in prop::collection::vec(1usize..3000, 1..12)) {
        let planes = [music(rate, 0.9, seed), clipped(rate, 0.9, seed + 1)];
        let whole = told(watched(rate, 2), |m, f| push_cut(m, &planes, &[usize::MAX / 2], f));
        let cut = told(watched(rate, 2), |m, f| push_cut(m, &planes, &cuts, f));
        prop_assert_eq!(whole, cut);
    }

    #[test]
    fn threads_give_the_same(rate in prop::sample::select(&RATES[..]), seed in 0u64..1000, channels in 1usize..6,
                             cut in 1usize..50_000, pair in any::<bool>()) {
        let planes: Vec<_> = (0..channels as u64).map(|channel| clipped(rate, 1.3, seed + channel)).collect();
        let meters = || if pair { watched(rate, channels) } else { Meters::new(format(rate, channels), &[]) };
        let alone = told(meters(), |m, f| push_cut(m, &planes, &[1000], f));
        let together = told(meters(), |meters, on_hop| {
            let mut rest = Block::new(&planes, FrameCount::ZERO, FrameCount::ZERO);
            while rest.frames() > 0 {
                let (part, later) = rest.split_at(cut);
                meters.push_parallel(&part, on_hop);
                rest = later;
            }
        });
        prop_assert_eq!(alone, together);
    }

    #[test]
    fn gain_in_is_gain_out(seed in 0u64..1000, db in -18.0f64..0.0) {
        let (loud, soft, change) = turned_down(seed, db);
        let (a, b) = (loud.channels[0], soft.channels[0]);
        let pairs = [
            (a.whole.sample_peak.get(), b.whole.sample_peak.get(), 0.001),
            (a.whole.true_peak.get(), b.whole.true_peak.get(), 0.001),
            (a.whole.rms.get(), b.whole.rms.get(), 0.001),
            (loud.programme.momentary_max.get(), soft.programme.momentary_max.get(), 0.001),
            (loud.programme.short_term.get(), soft.programme.short_term.get(), 0.001),
            (loud.programme.integrated.get(), soft.programme.integrated.get(), 0.05),
            (a.take.loud.get(), b.take.loud.get(), 0.05),
        ];
        for (value, (a, b, tolerance)) in pairs.into_iter().enumerate() {
            prop_assert!((b - a - change).abs() < tolerance, "value {value}: {a} and {b} with {change} dB");
        }
    }

    /// What counts as sound is decided on levels counted in steps, the widest of 2 dB: by whole ones every frame is judged
    /// as before; by a part of one, a frame on the edge may fall to the other side.
    #[test]
    fn gain_in_whole_steps_is_gain_out_of_what_sounds(seed in 0u64..1000, steps in 1u32..10) {
        let (loud, soft, change) = turned_down(seed, -2.0 * f64::from(steps));
        let (a, b) = (loud.channels[0].take, soft.channels[0].take);
        prop_assert_eq!(a.active_time, b.active_time);
        prop_assert_eq!(a.floor.is_some(), b.floor.is_some());
        for (a, b, tolerance) in [(a.active_level, b.active_level, 0.05), (a.peak_95, b.peak_95, 0.11)] {
            prop_assert!((b.get() - a.get() - change).abs() < tolerance, "{a:?} and {b:?} with {change} dB");
        }
    }

    #[test]
    fn channels_do_not_mix(seed in 0u64..1000) {
        let planes: Vec<_> = (0..3).map(|channel| music(44_100, 1.0, seed + channel)).collect();
        let swapped = [planes[2].clone(), planes[0].clone(), planes[1].clone()];
        let (a, b) = (measure(44_100, &planes), measure(44_100, &swapped));
        for (from, to) in [(0, 1), (1, 2), (2, 0)] {
            prop_assert_eq!(format!("{:?}", a.channels[from]), format!("{:?}", b.channels[to]));
        }
        // Sums over the channels are taken in another order.
        prop_assert!((a.programme.integrated.get() - b.programme.integrated.get()).abs() < 1e-9);
    }

    /// Samples of every kind: levels are never NaN, infinities only as silence.
    #[test]
    fn wild_samples(bits in prop::collection::vec(any::<u32>(), 1..6000), rate in prop::sample::select(&RATES[..])) {
        let planes = [bits.iter().map(|&bits| f32::from_bits(bits)).collect::<Vec<f32>>(), vec![1e12; bits.len()]];
        let summary = listen(rate, &planes, &mut check);
        sound(&summary);
        let invalid = planes[0].iter().filter(|x| x.is_nan() || x.abs() > 1e12).count() as u64;
        prop_assert_eq!(summary.channels[0].whole.invalid_samples, invalid);
    }
}

fn level(level: Dbfs) {
    assert!(level.get() < f64::INFINITY, "{level:?}");
}

fn lufs(level: Lufs) {
    assert!(level.get() < f64::INFINITY, "{level:?}");
}

/// Nothing in the readings is NaN or +∞.
fn check(readings: &Readings) {
    for channel in &readings.channels {
        let (hop, frame, whole, recent) = (channel.hop, channel.frame, channel.whole, channel.recent);
        [hop.sample_peak, hop.true_peak, hop.rms, frame.sample_peak, frame.true_peak, frame.rms]
            .into_iter()
            .for_each(level);
        [whole.sample_peak, whole.true_peak, whole.rms].into_iter().for_each(level);
        [recent.loud, recent.threshold, recent.active_level, recent.peak_95].into_iter().for_each(level);
        recent.floor.into_iter().for_each(level);
        assert!(frame.bands.iter().all(|band| band.is_finite() && *band >= 0.0));
        assert!(whole.dc.is_finite());
        for run in &channel.runs {
            assert!(run.value.is_finite() && run.overshoot.get().is_finite(), "{run:?}");
        }
    }
    let programme = readings.programme;
    [programme.momentary, programme.momentary_max, programme.short_term, programme.short_term_max]
        .into_iter()
        .for_each(lufs);
    lufs(programme.integrated);
    level(programme.true_peak);
    assert!(programme.range.is_none_or(|range| range.get().is_finite()));
    assert!(readings.pair.is_none_or(|pair| pair.correlation.is_finite()));
}

fn sound(summary: &Summary) {
    for channel in &summary.channels {
        let take = channel.take;
        [channel.whole.rms, take.loud, take.threshold, take.active_level, take.peak_95].into_iter().for_each(level);
    }
}

#[test]
fn silence_subnormals_and_constants() {
    for value in [0.0, -0.0, 1e-45, -1e-39, 1e-14, 0.5, -1.0, 1e12, f32::NAN, f32::NEG_INFINITY] {
        let summary = listen(48_000, &[vec![value; 48_000], vec![value; 48_000]], &mut check);
        sound(&summary);
        let whole = summary.channels[0].whole;
        if value == 0.0 || !value.is_finite() || value.abs() < 1e-30 {
            assert!(whole.rms.is_silence() && whole.true_peak.is_silence() && whole.crest().is_none());
        }
    }
}

#[test]
fn nothing_at_all() {
    for planes in [vec![vec![]; 2], vec![]] {
        let summary = listen(48_000, &planes, &mut |_| panic!("no hop in nothing"));
        assert!(summary.programme.integrated.is_silence() && summary.programme.range.is_none());
        assert!(summary.channels.iter().all(|channel| channel.whole.rms.is_silence()));
    }
    let short = measure(48_000, &[vec![0.5; 7]]).channels[0];
    assert!((short.whole.rms.get() + 6.0206).abs() < 1e-3 && (short.take.active_level.get() + 6.0206).abs() < 1e-3);
}

/// After construction `push` and `finish` take no memory: sound, flat tops, pairs, gaps and a restart included.
#[test]
fn no_allocation() {
    let planes: Vec<Vec<f32>> = (0..4)
        .map(|channel| {
            clipped(44_100, 2.0, channel).into_iter().zip(Noise::new(channel)).map(|(x, n)| x + (0.01 * n) as f32)
        })
        .map(|plane| plane.map(|x: f32| x.clamp(-0.5, 0.5)).collect())
        .collect();
    let square = vec![(0..88_200).map(|i| if i / 3 % 2 == 0 { 1.0 } else { -1.0 }).collect::<Vec<f32>>(); 4];
    let mut meters = watched(44_100, 4);
    let mut hops = 0;
    assert_no_alloc(|| {
        for (sound, start, gap) in [(&planes, 0, 0), (&square, 88_200, 0), (&planes, 200_000, 23_600)] {
            let block = Block::new(sound, FrameCount::new(start), FrameCount::new(gap));
            let (first, mut rest) = block.split_at(137);
            meters.push(&first, &mut |_| hops += 1);
            meters.restart_activity(ChannelId::new(2));
            while rest.frames() > 0 {
                let (part, later) = rest.split_at(256);
                meters.push(&part, &mut |_| hops += 1);
                rest = later;
            }
        }
        meters.finish(&mut |_| hops += 1);
    });
    assert_eq!(hops, 600);
}
