//! What the readings of a whole take tell: silent, too low, an offset, rumble, too loud to hand out, an end
//! that was never written; and what its channels tell of each other.
//!
//! In: readings after each hop, then the summary. Levels are re full scale, A is the active level. Thresholds are common
//! practice: *silent* under −70 dBFS throughout; *low* A under −45 dBFS with the floor less than 30 dB below it, or no peak
//! over −36 dBFS; *offset*
//! a mean over 0.3 % (what programme leaves stays under 0.1 %); *rumble* more than a quarter of the energy under 40 Hz;
//! *loud* a true peak over
//! −1 dBTP (EBU R 128). *Unwritten end*: half a second or more of digital zero on all channels, right after sound. Two
//! channels: *one side* more than 6 dB apart; *the same* correlation over 0.999; *polarity* under −0.7.

use super::died::{Died, Stretch};
use super::print::Print;
use super::riding::Riding;
use crate::detectors::finding::{DropoutForm, EndForm, Evidence, Finding, NEAR_FLOOR, Partner};
use crate::meters::{BANDS, ChannelSummary, Programme, Readings, Summary};
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};

const SILENT: Dbfs = Dbfs::new(-70.0);
const LOW: Dbfs = Dbfs::new(-45.0);
/// A peak so low that its floor need not be known: six bits are unused.
const LOW_PEAK: Dbfs = Dbfs::new(-36.0);
const OFFSET: f64 = 0.003;
const RUMBLE_SHARE: f64 = 0.25;
const LOUDEST: Dbfs = Dbfs::new(-1.0);
const UNWRITTEN: Seconds = Seconds::new(0.5);
const STILL_SOUND: Dbfs = Dbfs::new(-85.0);
const FADED: Db = Db::new(-20.0);
/// What plays where nothing should.
const STRAY: Dbfs = Dbfs::new(-50.0);
/// Over 6 dB; half the amplitude, made on purpose, is none.
const ONE_SIDE: Db = Db::new(6.5);
const SAME: f64 = 0.999;
const INVERTED: f64 = -0.7;

/// Listens to the readings of all channels.
pub struct WholeEar {
    rate: SampleRate,
    channels: Vec<Tone>,
    end: End,
}

/// How the energy of one channel is spread.
struct Tone {
    bands: [f64; BANDS],
    frames: u64,
    riding: Riding,
    died: Died,
}

/// The hops before what may be an unwritten end.
#[derive(Clone, Copy, Debug)]
struct End {
    /// Where the last sound ended.
    sound: FrameCount,
    last_hop: Dbfs,
    /// Mean power of about the last second of sound.
    mean: f64,
    now: FrameCount,
}

/// The take as the whole ear sees it, when it is over.
pub struct WholeTake<'a> {
    pub summary: &'a Summary,
    /// Mean square under 40 Hz.
    pub low: &'a dyn Fn(ChannelId) -> f64,
    /// Of sources that live down there rumble is none.
    pub low_is_own: &'a dyn Fn(ChannelId) -> bool,
    /// The input list has nothing on this channel.
    pub is_unlisted: &'a dyn Fn(ChannelId) -> bool,
}

impl WholeEar {
    pub fn new(channels: usize, rate: SampleRate) -> Self {
        let tone = |_| Tone { bands: [0.0; BANDS], frames: 0, riding: Riding::new(), died: Died::new() };
        let end = End { sound: FrameCount::ZERO, last_hop: Dbfs::SILENCE, mean: 0.0, now: FrameCount::ZERO };
        Self { rate, channels: (0..channels).map(tone).collect(), end }
    }

    /// The newest hop.
    pub fn observe(&mut self, readings: &Readings) {
        let loudest = readings.channels.iter().map(|channel| channel.hop.rms).fold(Dbfs::SILENCE, Dbfs::max);
        for (tone, channel) in self.channels.iter_mut().zip(&readings.channels) {
            tone.died.push(channel.hop.rms, self.end.now, readings.at);
        }
        self.end.now = readings.at;
        if !loudest.is_silence() {
            self.end.sound = readings.at;
            self.end.last_hop = loudest;
            self.end.mean += (loudest.power() - self.end.mean) / 100.0;
        }
        if readings.frame_complete {
            for (tone, channel) in self.channels.iter_mut().zip(&readings.channels) {
                let bands = channel.frame.bands.map(f64::from);
                tone.bands.iter_mut().zip(bands).for_each(|(sum, band)| *sum += band);
                tone.frames += 1;
                tone.riding.push(channel.frame.rms, channel.recent.active_level);
            }
        }
    }

    /// Mean square of each channel in each third-octave band.
    pub fn bands(&self) -> Vec<[f64; BANDS]> {
        self.channels.iter().map(|tone| tone.bands.map(|sum| sum / tone.frames.max(1) as f64)).collect()
    }

    /// All that the take as a whole shows.
    pub fn finish(&mut self, take: &WholeTake) -> Vec<Finding> {
        let end = self.end.now;
        let mut found = Vec::new();
        let unwritten = self.end.finding(self.rate);
        for (index, (tone, summary)) in self.channels.iter_mut().zip(&take.summary.channels).enumerate() {
            let channel = ChannelId::from_index(index);
            let all = |evidence| Finding { channel, start: FrameCount::ZERO, end, evidence };
            found.extend(level(summary).map(all));
            if is_silent(summary) {
                continue;
            }
            let offset = summary.whole.dc;
            found.extend((offset.abs() > OFFSET).then(|| all(Evidence::Dc { mean: offset })));
            let all_power = (summary.whole.rms.power() - offset * offset).max(f64::MIN_POSITIVE);
            let share = ((take.low)(channel) / all_power).min(1.0);
            let rumble = share > RUMBLE_SHARE && !(take.low_is_own)(channel);
            found.extend(rumble.then(|| all(Evidence::Rumble { share })));
            let died = tone.died(channel, take.summary.channels[index].take.active_level, self.rate);
            found.extend(died.into_iter().filter(|died| unwritten.is_none_or(|end| died.start < end.start)));
            found.extend(tone.riding.rise().map(|rise| all(Evidence::Riding { rise })));
            let active = summary.take.active_level;
            let stray = (take.is_unlisted)(channel) && active > STRAY;
            found.extend(stray.then(|| all(Evidence::WrongTrack { level: active })));
        }
        found.extend(loud(&take.summary.programme, end));
        found.extend(unwritten);
        found
    }
}

impl Tone {
    fn died(&mut self, channel: ChannelId, active: Dbfs, rate: SampleRate) -> Vec<Finding> {
        let finding = |stretch: Stretch| {
            let length = (stretch.end - stretch.start).at(rate);
            let evidence = Evidence::Dropout { length, form: DropoutForm::Died };
            Finding { channel, start: stretch.start, end: stretch.end, evidence }
        };
        self.died.finish(active).into_iter().map(finding).collect()
    }
}

impl End {
    fn finding(&self, rate: SampleRate) -> Option<Finding> {
        let empty = (self.now - self.sound).at(rate);
        let abrupt = self.last_hop > STILL_SOUND && self.last_hop - Dbfs::from_power(self.mean) > FADED;
        (empty >= UNWRITTEN && abrupt).then(|| Finding {
            channel: ChannelId::new(0),
            start: self.sound,
            end: self.now,
            evidence: Evidence::Truncated { missing: Some(empty), form: EndForm::Unwritten },
        })
    }
}

fn is_silent(summary: &ChannelSummary) -> bool {
    summary.whole.length > Seconds::ZERO && summary.whole.rms < SILENT && summary.take.loud < SILENT
}

fn level(summary: &ChannelSummary) -> Option<Evidence> {
    let (active, floor) = (summary.take.active_level, summary.take.floor);
    let near = floor.is_some_and(|floor| active - floor < NEAR_FLOOR);
    if is_silent(summary) {
        Some(Evidence::Silent { level: summary.whole.rms })
    } else if !active.is_silence() && (active < LOW && near || summary.whole.sample_peak < LOW_PEAK) {
        Some(Evidence::Low { active, floor })
    } else {
        None
    }
}

fn loud(programme: &Programme, end: FrameCount) -> Option<Finding> {
    let evidence = Evidence::Loud { true_peak: programme.true_peak, integrated: programme.integrated };
    let finding = Finding { channel: ChannelId::new(0), start: FrameCount::ZERO, end, evidence };
    (programme.true_peak > LOUDEST).then_some(finding)
}

/// What the channels of one recording tell of each other; `sides`: two are left and right of one programme.
pub fn between_channels(prints: &[&Print], summary: &Summary, sides: bool, end: FrameCount) -> Vec<Finding> {
    let mut found = Vec::new();
    let all = |index: usize, evidence| Finding {
        channel: ChannelId::from_index(index),
        start: FrameCount::ZERO,
        end,
        evidence,
    };
    let sounds = |index: usize| !is_silent(&summary.channels[index]);
    for (later, print) in prints.iter().enumerate() {
        for (earlier, other) in prints[..later].iter().enumerate().filter(|&(earlier, _)| sounds(earlier)) {
            let Some(alike) = other.alike(print).filter(|_| sounds(later)) else { continue };
            let with = Partner { file: None, channel: ChannelId::from_index(earlier) };
            if alike.correlation > SAME {
                let evidence = Evidence::Duplicate { of: with, gain: alike.gain, correlation: alike.correlation };
                found.push(all(later, evidence));
                if sides && prints.len() == 2 {
                    found.push(all(0, Evidence::Mono { gain: alike.gain }));
                }
            } else if alike.correlation < INVERTED {
                found.push(all(later, Evidence::Polarity { with, correlation: alike.correlation }));
            }
        }
    }
    if let [left, right] = summary.channels.as_slice()
        && sides
        && sounds(0)
        && sounds(1)
        && (left.whole.rms - right.whole.rms).abs() > ONE_SIDE
    {
        let weak = usize::from(left.whole.rms > right.whole.rms);
        found.push(all(weak, Evidence::OneSide { below: (left.whole.rms - right.whole.rms).abs() }));
    }
    found
}
