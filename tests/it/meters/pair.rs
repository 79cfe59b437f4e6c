//! The pair meter on a real delay: spill of one channel in another.

use crate::support::signals::{Noise, music};
use crate::support::takes::format;
use beforedoors::block::Block;
use beforedoors::meters::Meters;
use beforedoors::units::{ChannelId, FrameCount};

/// A copy 20 dB down and 12 ms late, with noise of its own: a microphone 4 m away at 340 m/s. The source has
/// breath in it, as voices have; a bare held note repeats itself and fits at many lags.
#[test]
fn spill_with_a_lag() {
    let breath = Noise::new(5).map(|x| (0.02 * x) as f32);
    let loud: Vec<f32> = music(48_000, 4.0, 3).into_iter().zip(breath).map(|(x, breath)| x + breath).collect();
    let lag = 576;
    let own = Noise::new(4).map(|x| (0.0005 * x) as f32);
    let late = |i: usize| if i < lag { 0.0 } else { 0.1 * loud[i - lag] };
    let quiet = own.take(loud.len()).enumerate().map(|(i, own)| own - late(i)).collect();
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
