//! The level of a recording over time, in a fixed space, gathered while it is measured.
//!
//! In: readings every hop of 10 ms. Out: for any stretch of time the highest sample peak, the loudest and the quietest
//! RMS of a hop, of one channel or of all. A channel has at most 2000 columns; when they are full, neighbours are joined
//! and each column stands for twice the time, so that no length need be known before. Levels are kept in steps of half a
//! decibel, −100 to +27 dBFS. What was never heard (before the start, in a gap, behind the end) is `None`.

use crate::meters::Readings;
use crate::units::{ChannelId, Dbfs, Seconds};

pub const MOST_COLUMNS: usize = 2000;
const HOPS_A_SECOND: u64 = 100;
const LOWEST: f64 = -100.0;

/// The levels of a recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Envelope {
    channels: Vec<Vec<Column>>,
    hops_a_column: u64,
}

/// What a stretch of time held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    pub peak: Dbfs,
    /// RMS of the loudest 10 ms.
    pub loud: Dbfs,
    /// RMS of the quietest 10 ms.
    pub quiet: Dbfs,
}

/// Codes of half decibels; 0 is silence.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Column {
    peak: u8,
    loud: u8,
    quiet: u8,
    heard: bool,
}

impl Column {
    const EMPTY: Self = Self { peak: 0, loud: 0, quiet: u8::MAX, heard: false };

    fn join(self, other: Self) -> Self {
        Self {
            peak: self.peak.max(other.peak),
            loud: self.loud.max(other.loud),
            quiet: self.quiet.min(other.quiet),
            heard: self.heard || other.heard,
        }
    }
}

impl Envelope {
    pub fn new(channels: usize) -> Self {
        Self { channels: vec![Vec::new(); channels], hops_a_column: 1 }
    }

    /// Takes the newest hop in.
    pub fn observe(&mut self, readings: &Readings) {
        let hop = (readings.at.get() * HOPS_A_SECOND).div_ceil(u64::from(readings.rate.get())).saturating_sub(1);
        while hop / self.hops_a_column >= MOST_COLUMNS as u64 {
            self.halve();
        }
        let at = (hop / self.hops_a_column) as usize;
        for (columns, channel) in self.channels.iter_mut().zip(&readings.channels) {
            if columns.len() <= at {
                columns.resize(at + 1, Column::EMPTY);
            }
            let rms = code(channel.hop.rms);
            let new = Column { peak: code(channel.hop.sample_peak), loud: rms, quiet: rms, heard: true };
            columns[at] = columns[at].join(new);
        }
    }

    /// What lies from one time to another, at least the column that `from` lies in; without a channel, of all together:
    /// the loudest channel at each time.
    pub fn within(&self, channel: Option<ChannelId>, from: Seconds, to: Seconds) -> Option<Extent> {
        let column = |at: Seconds| (at.get().max(0.0) * HOPS_A_SECOND as f64 / self.hops_a_column as f64) as usize;
        let (first, last) = (column(from), column(to).max(column(from) + 1));
        let stretch = |columns: &[Column]| {
            let columns = columns.get(first..last.min(columns.len()))?;
            let joined = columns.iter().filter(|column| column.heard).copied().reduce(Column::join)?;
            Some(Extent { peak: level(joined.peak), loud: level(joined.loud), quiet: level(joined.quiet) })
        };
        match channel {
            Some(channel) => stretch(self.channels.get(channel.index())?),
            None => self.channels.iter().filter_map(|columns| stretch(columns)).reduce(|a, b| Extent {
                peak: a.peak.max(b.peak),
                loud: a.loud.max(b.loud),
                quiet: a.quiet.max(b.quiet),
            }),
        }
    }

    fn halve(&mut self) {
        for columns in &mut self.channels {
            *columns = columns.chunks(2).map(|pair| pair.iter().copied().fold(Column::EMPTY, Column::join)).collect();
        }
        self.hops_a_column *= 2;
    }
}

fn code(level: Dbfs) -> u8 {
    // Silence and NaN fall to 0.
    ((level.get() - LOWEST) * 2.0).round().clamp(0.0, 254.0) as u8
}

fn level(code: u8) -> Dbfs {
    if code == 0 { Dbfs::SILENCE } else { Dbfs::new(LOWEST + f64::from(code) / 2.0) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::block::{BlockBuf, Format};
    use crate::meters::Meters;
    use crate::units::{FrameCount, SampleRate};

    fn format(channels: usize) -> Format {
        Format { rate: SampleRate::new(8_000).unwrap(), channels }
    }

    /// Of a take of so many seconds, whose sample at a time is told by `wave`.
    fn envelope(seconds: usize, wave: impl Fn(f64) -> f32) -> Envelope {
        let mut meters = Meters::new(format(1), &[1.0]);
        let mut envelope = Envelope::new(1);
        for second in 0..seconds {
            let mut block = BlockBuf::new(1, 8_000);
            block.restart(FrameCount::new(second as u64 * 8_000), FrameCount::ZERO);
            let samples: Vec<f32> = (0..8_000).map(|n| wave(second as f64 + f64::from(n) / 8_000.0)).collect();
            block.push_interleaved(&samples);
            meters.push(&block.as_block(), &mut |readings| envelope.observe(readings));
        }
        meters.finish(&mut |readings| envelope.observe(readings));
        envelope
    }

    fn within(envelope: &Envelope, from: f64, to: f64) -> Option<Extent> {
        envelope.within(Some(ChannelId::new(0)), Seconds::new(from), Seconds::new(to))
    }

    /// A square wave: peak and RMS are its height, −6.02 dBFS for a half.
    #[test]
    fn levels_stand_where_they_were() {
        let square = |at: f64| if (at * 500.0).fract() < 0.5 { 0.5 } else { -0.5 };
        let found = envelope(3, |at| if (1.0..2.0).contains(&at) { square(at) } else { 0.0 });
        let there = within(&found, 1.1, 1.9).unwrap();
        assert_eq!([there.peak, there.loud, there.quiet], [Dbfs::new(-6.0); 3]);
        let before = within(&found, 0.0, 0.9).unwrap();
        assert_eq!([before.peak, before.loud, before.quiet], [Dbfs::SILENCE; 3]);
        let both = within(&found, 0.5, 1.5).unwrap();
        assert_eq!((both.loud, both.quiet), (Dbfs::new(-6.0), Dbfs::SILENCE));
        assert_eq!(within(&found, 3.5, 4.0), None);
    }

    /// One sample of an hour is still seen, and the space stays what it is.
    #[test]
    fn a_single_peak_in_long_takes_survives() {
        for seconds in [15, 60, 500] {
            let found = envelope(seconds, |at| if (at - 7.25).abs() < 1e-6 { 1.0 } else { 0.001 });
            assert!(found.channels[0].len() <= MOST_COLUMNS, "{}", found.channels[0].len());
            assert!(seconds < 40 || found.channels[0].len() > MOST_COLUMNS / 2);
            assert_eq!(within(&found, 7.2, 7.3).unwrap().peak, Dbfs::new(0.0), "{seconds} s");
            assert_eq!(within(&found, 9.0, 10.0).unwrap().peak, Dbfs::new(-60.0));
        }
    }

    #[test]
    fn of_all_channels_the_loudest_counts() {
        let mut meters = Meters::new(format(2), &[1.0, 1.0]);
        let mut envelope = Envelope::new(2);
        let mut block = BlockBuf::new(2, 8_000);
        block.push_interleaved(&[0.5, 0.01].repeat(8_000));
        meters.push(&block.as_block(), &mut |readings| envelope.observe(readings));
        let all = envelope.within(None, Seconds::ZERO, Seconds::new(1.0)).unwrap();
        assert_eq!((all.peak, all.quiet), (Dbfs::new(-6.0), Dbfs::new(-6.0)));
        let second = envelope.within(Some(ChannelId::new(1)), Seconds::ZERO, Seconds::new(1.0)).unwrap();
        assert_eq!(second.peak, Dbfs::new(-40.0));
        assert_eq!(envelope.within(Some(ChannelId::new(9)), Seconds::ZERO, Seconds::new(1.0)), None);
    }

    /// Half an hour without a single frame in between.
    #[test]
    fn a_gap_is_not_silence() {
        let mut meters = Meters::new(format(1), &[1.0]);
        let mut envelope = Envelope::new(1);
        for (start, gap) in [(0, 0), (16_000_000, 15_992_000)] {
            let mut block = BlockBuf::new(1, 8_000);
            block.restart(FrameCount::new(start), FrameCount::new(gap));
            block.push_interleaved(&vec![0.5; 8_000]);
            meters.push(&block.as_block(), &mut |readings| envelope.observe(readings));
        }
        assert!(within(&envelope, 0.0, 0.5).is_some());
        assert_eq!(within(&envelope, 500.0, 600.0), None);
        assert!(within(&envelope, 2000.0, 2000.5).is_some());
    }
}
