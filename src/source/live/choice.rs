//! Which of the formats that a device offers is taken.
//!
//! All of its channels at its own rate, in its own sample format, in chunks of about 10 ms. A device that
//! offers every channel count up to 31 or more converts in software; then its default count is the honest
//! one. Rates in Hz, channels per frame.

use cpal::{BufferSize, SampleFormat, StreamConfig, SupportedBufferSize, SupportedStreamConfig};
use cpal::{SupportedStreamConfigRange, traits::DeviceTrait};

use crate::units::{ChannelId, SampleRate};

/// From here on, "every count from 1" is taken for conversion in software: a sound server says 31 of any
/// device, an ALSA converter 64. Hardware names its one count, or a few.
const ELASTIC_FROM: usize = 31;

/// What the caller asks of a device; `None` leaves it to the device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LiveConfig {
    pub rate: Option<SampleRate>,
    pub channels: Option<usize>,
}

/// Rates from `lowest` to `highest`, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct RateRange {
    pub lowest: SampleRate,
    pub highest: SampleRate,
}

/// A device's own account of what it can do for input.
pub(super) struct Offer {
    pub default: SupportedStreamConfig,
    pub ranges: Vec<SupportedStreamConfigRange>,
}

/// What a stream is opened with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Choice {
    pub rate: SampleRate,
    pub channels: usize,
    pub format: SampleFormat,
    pub buffer: BufferSize,
}

impl Offer {
    pub fn of(device: &cpal::Device) -> Result<Self, cpal::Error> {
        let default = device.default_input_config()?;
        // One-bit streams are no samples.
        let ranges = device.supported_input_configs()?.filter(|range| !range.sample_format().is_dsd()).collect();
        Ok(Self::with_its_own(default, ranges))
    }

    /// A sound server lists up to 31 channels of any device, and has some with 32: its own form counts as offered.
    fn with_its_own(default: SupportedStreamConfig, mut ranges: Vec<SupportedStreamConfigRange>) -> Self {
        let (channels, rate, format) = (default.channels(), default.sample_rate(), default.sample_format());
        if !ranges.iter().any(|range| range.channels() == channels) {
            ranges.push(SupportedStreamConfigRange::new(channels, rate, rate, *default.buffer_size(), format));
        }
        Self { default, ranges }
    }

    /// Every count of channels that may be asked for, rising.
    pub fn channel_counts(&self) -> Vec<usize> {
        let mut counts: Vec<usize> = self.ranges.iter().map(|range| usize::from(range.channels())).collect();
        counts.push(usize::from(self.default.channels()));
        counts.retain(|count| (1..=ChannelId::MAX_CHANNELS).contains(count));
        counts.sort_unstable();
        counts.dedup();
        counts
    }

    /// How many channels the device has.
    pub fn channels(&self) -> usize {
        let counts = self.channel_counts();
        let highest = counts.last().copied().unwrap_or(0);
        let elastic = highest >= ELASTIC_FROM && counts.len() == highest;
        if elastic { usize::from(self.default.channels()).min(ChannelId::MAX_CHANNELS) } else { highest }
    }

    /// What it offers with so many channels, within the rates that the meters are made for.
    pub fn rates(&self, channels: usize) -> Vec<RateRange> {
        let mut rates: Vec<RateRange> = (self.ranges.iter())
            .filter(|range| usize::from(range.channels()) == channels)
            .filter_map(|range| {
                Some(RateRange {
                    lowest: SampleRate::new(range.min_sample_rate().max(SampleRate::LOWEST))?,
                    highest: SampleRate::new(range.max_sample_rate().min(SampleRate::HIGHEST))?,
                })
            })
            .collect();
        rates.sort_unstable();
        rates.dedup();
        rates
    }

    /// The device's own rate, or the one nearest to it that the meters are made for.
    pub fn rate(&self, channels: usize) -> Option<SampleRate> {
        let own = self.default.sample_rate();
        let fits = |range: &RateRange| (range.lowest.get()..=range.highest.get()).contains(&own);
        let rates = self.rates(channels);
        if rates.iter().any(fits) {
            return SampleRate::new(own);
        }
        (rates.iter().flat_map(|range| [range.lowest, range.highest])).min_by_key(|rate| rate.get().abs_diff(own))
    }

    /// `None` when the device does not offer what is wanted.
    pub fn choose(&self, want: &LiveConfig) -> Option<Choice> {
        let channels = want.channels.unwrap_or_else(|| self.channels());
        let rate = want.rate.or_else(|| self.rate(channels))?;
        let own = self.default.sample_format();
        let fitting = |range: &&SupportedStreamConfigRange| {
            usize::from(range.channels()) == channels && range.contains_rate(rate.get())
        };
        let best = (self.ranges.iter().filter(fitting))
            .max_by(|a, b| {
                let is_own = |range: &SupportedStreamConfigRange| range.sample_format() == own;
                is_own(a).cmp(&is_own(b)).then_with(|| a.cmp_default_heuristics(b))
            })
            .filter(|_| channels <= ChannelId::MAX_CHANNELS)?;
        Some(Choice { rate, channels, format: best.sample_format(), buffer: chunk(rate, best.buffer_size()) })
    }

    /// For error texts: `1, 2, 8 channels; 44100–96000 Hz`.
    pub fn in_words(&self) -> String {
        let listed: Vec<String> = self.channel_counts().iter().map(usize::to_string).collect();
        let counts = match &listed[..] {
            [first, .., last] if listed.len() > 8 => format!("{first} to {last}"),
            _ => listed.join(", "),
        };
        let rates: Vec<String> = (self.rates(self.channels()).iter())
            .map(|range| {
                if range.lowest == range.highest {
                    range.lowest.get().to_string()
                } else {
                    format!("{}–{}", range.lowest.get(), range.highest.get())
                }
            })
            .collect();
        format!("{counts} channels at {} Hz", rates.join(", "))
    }
}

impl LiveConfig {
    /// For error texts: `8 channels at 48000 Hz`.
    pub(super) fn in_words(&self) -> String {
        let channels = self.channels.map(|channels| format!("{channels} channels"));
        let rate = self.rate.map(|rate| rate.to_string());
        match (channels, rate) {
            (Some(channels), Some(rate)) => format!("{channels} at {rate}"),
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => "a format that can be metered (8 to 192 kHz, at most 64 channels)".to_owned(),
        }
    }
}

impl Choice {
    pub fn stream_config(&self) -> StreamConfig {
        StreamConfig { channels: self.channels as u16, sample_rate: self.rate.get(), buffer_size: self.buffer }
    }
}

/// About 10 ms, where the device lets the size be chosen.
fn chunk(rate: SampleRate, offered: &SupportedBufferSize) -> BufferSize {
    match *offered {
        SupportedBufferSize::Range { min, max } if min <= max => {
            BufferSize::Fixed((rate.get() / 100).clamp(min.max(1), max.max(1)))
        }
        _ => BufferSize::Default,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ANY: SupportedBufferSize = SupportedBufferSize::Range { min: 16, max: 8192 };

    fn range(channels: u16, rates: (u32, u32), format: SampleFormat) -> SupportedStreamConfigRange {
        SupportedStreamConfigRange::new(channels, rates.0, rates.1, ANY, format)
    }

    /// An interface of 18 inputs that also offers its first two alone; stereo is the system's default.
    fn interface() -> Offer {
        Offer {
            default: SupportedStreamConfig::new(2, 48_000, ANY, SampleFormat::I32),
            ranges: vec![
                range(2, (44_100, 96_000), SampleFormat::I32),
                range(18, (44_100, 48_000), SampleFormat::I16),
                range(18, (44_100, 48_000), SampleFormat::I32),
            ],
        }
    }

    #[test]
    fn all_channels_in_the_own_format() {
        let chosen = interface().choose(&LiveConfig::default()).expect("a choice");
        assert_eq!((chosen.channels, chosen.rate.get(), chosen.format), (18, 48_000, SampleFormat::I32));
        assert_eq!(chosen.buffer, BufferSize::Fixed(480));
    }

    #[test]
    fn what_is_asked_is_taken_or_refused() {
        let ask = |channels, rate| {
            let want = LiveConfig { channels, rate: SampleRate::new(rate) };
            interface().choose(&want).map(|choice| (choice.channels, choice.rate.get()))
        };
        assert_eq!(ask(Some(2), 96_000), Some((2, 96_000)));
        assert_eq!(ask(Some(18), 96_000), None);
        assert_eq!(ask(Some(5), 0), None);
        assert_eq!(ask(None, 44_100), Some((18, 44_100)));
    }

    /// A converting layer offers everything: its default tells what the device has.
    #[test]
    fn a_converter_does_not_count_as_64_channels() {
        let offer = Offer {
            default: SupportedStreamConfig::new(2, 48_000, ANY, SampleFormat::F32),
            ranges: (1..=64).map(|channels| range(channels, (4_000, 192_000), SampleFormat::F32)).collect(),
        };
        assert_eq!(offer.channels(), 2);
        assert_eq!(Offer { ranges: offer.ranges[..31].to_vec(), ..offer }.channels(), 2);
        assert_eq!(Offer { ranges: offer.ranges[31..32].to_vec(), ..offer }.channels(), 32);
        assert_eq!(offer.choose(&LiveConfig { rate: None, channels: Some(8) }).map(|choice| choice.channels), Some(8));
        assert_eq!(offer.in_words(), "1 to 64 channels at 8000–192000 Hz");
    }

    #[test]
    fn a_server_of_32_channels() {
        let listed = (1..=31).map(|channels| range(channels, (1, 192_000), SampleFormat::F32)).collect();
        let offer = Offer::with_its_own(SupportedStreamConfig::new(32, 48_000, ANY, SampleFormat::F32), listed);
        let chosen = offer.choose(&LiveConfig::default()).expect("a choice");
        assert_eq!((chosen.channels, chosen.rate.get(), chosen.format), (32, 48_000, SampleFormat::F32));
    }

    /// Beyond what the meters are made for, the nearest rate within is taken.
    #[test]
    fn rates_out_of_reach() {
        let offer = Offer {
            default: SupportedStreamConfig::new(1, 384_000, ANY, SampleFormat::F32),
            ranges: vec![range(1, (48_000, 384_000), SampleFormat::F32)],
        };
        assert_eq!(offer.choose(&LiveConfig::default()).map(|choice| choice.rate.get()), Some(192_000));
        let only = Offer { ranges: vec![range(1, (384_000, 384_000), SampleFormat::F32)], ..offer };
        assert_eq!(only.choose(&LiveConfig::default()), None);
    }

    #[test]
    fn chunks_keep_within_the_offer() {
        let rate = SampleRate::new(48_000).expect("a rate");
        assert_eq!(chunk(rate, &SupportedBufferSize::Unknown), BufferSize::Default);
        assert_eq!(chunk(rate, &SupportedBufferSize::Range { min: 512, max: 512 }), BufferSize::Fixed(512));
        assert_eq!(chunk(rate, &SupportedBufferSize::Range { min: 9, max: 1 }), BufferSize::Default);
    }
}
