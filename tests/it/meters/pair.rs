//! The pair meter on a real delay: spill of one channel in another.

use crate::support::signals::{Noise, music};
use crate::support::takes::format;
use beforedoors::block::Block;
use beforedoors::meters::Meters;
use beforedoors::units::{ChannelId, FrameCount};

/// A copy 20 dB down and 12 ms late, with noise of its own, 3.4 ms per metre: a microphone 4 m away.
#[test]
fn spill_with_a_lag() {
    let loud = music(48_000, 4.0, 3);
    let lag = 576;
    let own = Noise::new(4).map(|x| (0.0005 * x) as f32);
    let quiet =
        (0..loud.len()).zip(own).map(|(i, own)| own - if i < lag { 0.0 } else { 0.1 * loud[i - lag] }).collect();
    let planes = [quiet, loud];
    let (quiet, loud) = (ChannelId::new(0), ChannelId::new(1));
    let mut meters = Meters::new(format(48_000, 2), &[]);
    meters.watch_pair(Some((quiet, loud)));
    let mut answers = Vec::new();
    let (first, rest) = Block::new(&planes, FrameCount::ZERO, FrameCount::ZERO).split_at(48_000);
    meters.push(&first, &mut |_| {});
    meters.push(&rest, &mut |readings| answers.extend(readings.pair));
    assert_eq!(answers.len(), 15);
    let right = answers.iter().filter(|pair| (pair.lag.get() - 0.012).abs() < 0.0005 && pair.correlation > 0.8);
    assert!(right.count() >= 13, "{answers:?}");
    assert!(answers.iter().all(|pair| pair.quiet == quiet && pair.loud == loud));
    for pair in [None, Some((quiet, ChannelId::new(9)))] {
        meters.watch_pair(pair);
        meters.push(&Block::new(&planes, FrameCount::ZERO, FrameCount::ZERO), &mut |r| assert!(r.pair.is_none()));
    }
}
