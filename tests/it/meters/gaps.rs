//! Lost frames: windows that would span the gap start anew, whole-take values leave it out.

use crate::support::signals::stepped_sine;
use crate::support::takes::format;
use beforedoors::block::Block;
use beforedoors::meters::{Meters, Readings};
use beforedoors::units::{ChannelId, Db, FrameCount};

fn push(meters: &mut Meters, plane: &[f32], start: u64, gap: u64, on_hop: &mut dyn FnMut(&Readings)) {
    let planes = [plane.to_vec()];
    meters.push(&Block::new(&planes, FrameCount::new(start), FrameCount::new(gap)), on_hop);
}

#[test]
fn gap_in_a_tone() {
    let tone = stepped_sine(48_000, 1000.0, &[(2.0, -20.0)]);
    let mut meters = Meters::new(format(48_000, 1), &[]);
    push(&mut meters, &tone[..48_100], 0, 0, &mut |readings| assert_eq!(readings.gap.get(), 0));
    assert_eq!(meters.readings().frames, 10);
    let before = meters.readings().programme;
    let mut hops = Vec::new();
    // The phase jumps by a quarter of a period at the gap: a spanning true-peak window would overshoot.
    push(&mut meters, &tone[48_112..], 60_000, 11_900, &mut |readings| {
        hops.push((readings.at.get(), readings.gap.get(), readings.channels[0].hop.true_peak.get()));
        // The weighting filter starts anew too, and the onset of the tone tells it.
        assert!(readings.programme.momentary <= before.momentary_max + Db::new(0.05));
    });
    assert_eq!(hops[0].0, 60_480);
    assert_eq!((hops[0].1, hops[1].1), (11_900, 0));
    assert!(hops.iter().all(|hop| hop.2 < -19.9), "{hops:?}");
    assert_eq!(meters.readings().frames, 10 + 9);
    meters.finish(&mut |_| {});
    let whole = meters.summary().channels[0].whole;
    // The hundred samples before the gap count although their hop never ended.
    assert!((whole.length.get() - (96_000.0 - 12.0) / 48_000.0).abs() < 1e-9);
    assert!((whole.rms.get() + 23.0103).abs() < 0.01);
    assert!(whole.true_peak.get() < -19.9);
}

/// Momentary loudness after a gap knows nothing from before it.
#[test]
fn windows_are_empty_after_a_gap() {
    let tone = stepped_sine(48_000, 1000.0, &[(1.0, -20.0)]);
    let mut meters = Meters::new(format(48_000, 1), &[]);
    push(&mut meters, &tone, 0, 0, &mut |_| {});
    let integrated = meters.readings().programme.integrated;
    push(&mut meters, &[0.0; 4800], 50_000, 2_000, &mut |readings| {
        assert!(readings.programme.momentary.is_silence() && readings.programme.short_term.is_silence());
    });
    assert_eq!(meters.readings().programme.integrated, integrated);
    assert!(meters.readings().channels[0].frame.rms.is_silence());
}

/// A gap before an empty block is told with the next hop.
#[test]
fn empty_block_with_a_gap() {
    let mut meters = Meters::new(format(48_000, 1), &[]);
    push(&mut meters, &[0.5; 480], 0, 0, &mut |_| {});
    push(&mut meters, &[], 700, 220, &mut |_| {});
    let mut gaps = Vec::new();
    push(&mut meters, &[0.5; 960], 700, 0, &mut |readings| gaps.push(readings.gap.get()));
    assert_eq!(gaps, [220, 0]);
    assert_eq!(meters.readings().at.get(), 1660);
}

/// A turned knob: only what was heard after it counts as recent, the whole take keeps everything.
#[test]
fn restarted_activity() {
    let mut meters = Meters::new(format(48_000, 1), &[]);
    push(&mut meters, &stepped_sine(48_000, 1000.0, &[(2.05, -10.0)]), 0, 0, &mut |_| {});
    meters.restart_activity(ChannelId::new(0));
    meters.restart_activity(ChannelId::new(7));
    assert!(meters.readings().channels[0].recent.active_level.is_silence());
    push(&mut meters, &stepped_sine(48_000, 1000.0, &[(2.0, -30.0)]), 98_400, 0, &mut |_| {});
    let recent = meters.readings().channels[0].recent;
    assert!((recent.active_level.get() + 33.0103).abs() < 0.01, "{recent:?}");
    assert!((recent.active_time.get() - 1.9).abs() < 1e-9);
    assert!((recent.peak_95.get() + 30.0).abs() < 0.1);
    let take = meters.summary().channels[0].take;
    // 20 dB under the loud part is its floor.
    assert!(
        (take.active_level.get() + 13.0).abs() < 0.2 && (take.floor.unwrap().get() + 33.0103).abs() < 0.06,
        "{take:?}"
    );
    assert!((2.0..2.2).contains(&take.active_time.get()));
}
