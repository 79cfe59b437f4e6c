//! The simulated stage: its performers sound like their kinds, and its truths are true.

mod air;
mod feedback;
mod levels;
mod reference;
mod scripts;

use beforedoors::block::BlockBuf;
use beforedoors::source::Source;
use beforedoors::source::stage::{Mood, Player, Script, Stage, StageConfig};
use beforedoors::units::{ChannelId, Db, Dbfs, SampleRate, Seconds, SourceKind};
use reference::{active, decibels, rms, true_peak};

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).expect("a rate that the meters are made for")
}

/// 10 seeds, or 100 when BEFOREDOORS_FULL is set.
fn seeds() -> std::ops::Range<u64> {
    0..if std::env::var_os("BEFOREDOORS_FULL").is_some() { 100 } else { 10 }
}

/// A stage on which nobody plays before being asked.
fn waiting(seed: u64, mood: Mood, hz: u32) -> Stage {
    Stage::new(StageConfig { playing: false, ..StageConfig::new(seed, mood, rate(hz)) })
}

fn channels(stage: &Stage) -> Vec<ChannelId> {
    (0..stage.inputs().len()).map(ChannelId::from_index).collect()
}

/// Turns every trim until the loudest passage of the present mood peaks at `peak`.
fn trim_to(stage: &mut Stage, peak: f64) {
    for channel in channels(stage) {
        let by = Dbfs::new(peak) - stage.true_peak_of_loudest(channel);
        assert!((stage.turn_trim(channel, by) - by).abs().get() < 1e-9, "the right trim is within reach");
    }
}

/// The next `seconds` of all channels, read in blocks of `frames`.
fn listen_in(stage: &mut Stage, seconds: f64, frames: usize) -> Vec<Vec<f32>> {
    let format = stage.format();
    let mut left = (seconds * f64::from(format.rate.get())) as usize;
    let mut heard = vec![Vec::with_capacity(left); format.channels];
    while left > 0 {
        let mut block = BlockBuf::new(format.channels, frames.min(left));
        let Ok(_) = stage.read(&mut block);
        for (index, heard) in heard.iter_mut().enumerate() {
            heard.extend_from_slice(block.as_block().channel(index));
        }
        left -= block.frames();
    }
    heard
}

fn listen(stage: &mut Stage, seconds: f64) -> Vec<Vec<f32>> {
    listen_in(stage, seconds, 1024)
}

/// Active crest of ordinary playing by kind, dB: common practice for school performers.
fn crest_range(kind: SourceKind) -> (f64, f64) {
    match kind {
        SourceKind::Speech => (12.0, 18.0),
        SourceKind::SoloVocal => (10.0, 16.0),
        SourceKind::Headset => (12.0, 20.0),
        SourceKind::Choir | SourceKind::Bass => (8.0, 14.0),
        SourceKind::Keys => (8.0, 16.0),
        SourceKind::Kick => (14.0, 22.0),
        SourceKind::Snare => (16.0, 24.0),
        SourceKind::Overhead => (14.0, 20.0),
        SourceKind::Percussion => (18.0, 28.0),
        SourceKind::Playback => (6.0, 14.0),
        kind => panic!("no {} on this stage", kind.word()),
    }
}

#[test]
fn each_kind_has_its_active_crest() {
    let mut wrong = Vec::new();
    // Two seeds also at the rate of a usual device.
    for (seed, hz) in seeds().map(|seed| (seed, 16_000)).chain([(1, 48_000), (2, 48_000)]) {
        let mut stage = waiting(seed, Mood::Normal, hz);
        trim_to(&mut stage, -9.0);
        for channel in channels(&stage) {
            let input = stage.inputs()[channel.index()].clone();
            stage.ask_play(channel);
            let heard = listen(&mut stage, 30.0);
            stage.ask_quiet(channel);
            listen(&mut stage, 0.5);
            let found = active(&heard[channel.index()], rate(hz));
            let (low, high) = crest_range(input.kind);
            println!("{seed} {hz} {:12} {:5.1} of {low} to {high} dB", input.name, found.crest());
            if found.crest() < low || found.crest() > high {
                wrong.push((seed, input.name, found.crest()));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:?}");
}
