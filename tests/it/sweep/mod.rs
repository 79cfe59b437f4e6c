//! Sweeps on the simulated stage: halls whose loop is known, opened, measured, cut, and made to ring.
//!
//! Fifty drawn halls of three microphones, mains and a monitor; truth is `Truth` (Nyquist's condition on the very
//! responses that are played) and what the closed loop then does. A plain run takes 10, `BEFOREDOORS_FULL=1` all.

mod clocks;
mod rooms;
mod steps;
mod wedges;

use beforedoors::block::BlockBuf;
use beforedoors::measure::margin::LoopGain;
use beforedoors::measure::sweep::{Clocks, Inverse, Sweep, Taken};
use beforedoors::source::Source;
use beforedoors::source::stage::{Computer, Hall, Opening, Player, Script, Stage};
use beforedoors::units::{ChannelId, Db, Dbfs, Hertz, SampleRate, Seconds};

fn halls() -> std::ops::Range<u64> {
    0..if std::env::var_os("BEFOREDOORS_FULL").is_some() { 50 } else { 10 }
}

fn rate() -> SampleRate {
    SampleRate::new(48_000).expect("a usual rate")
}

/// Where the monitor is an output; the mains are the first.
const MAINS: usize = 0;
const MONITOR: usize = 1;

/// Three who say nothing, before microphones 1.2 m apart, and the hall's own noise, RMS at the taps.
fn hall(seed: u64, noise: Dbfs) -> (Stage, Hall) {
    let script = Script { player: Player::Speaker, every: None, peak: Dbfs::new(-42.0), floor: Dbfs::new(-150.0) };
    let mut stage = Stage::scripted(rate(), 5, &[script; 3]);
    for channel in 0..3 {
        stage.ask_quiet(ChannelId::new(channel));
    }
    let hall = Hall { noise, ..Hall::drawn(seed, stage.microphones(), 1) };
    (stage.with_loudspeakers(&hall), hall)
}

/// Only this output plays, so far under its limit.
fn under_its_limit(stage: &mut Stage, output: usize, by: Db) {
    for other in 0..2 {
        stage.set_output_fader(other, Db::new(f64::NEG_INFINITY));
    }
    stage.set_output_fader(output, Db::ZERO);
    let limit = stage.truth().expect("loudspeakers").margin_of(output);
    stage.set_output_fader(output, limit - by);
    wait(stage, 0.2);
}

fn wait(stage: &mut Stage, seconds: f64) -> Vec<f32> {
    let frames = rate().frames(Seconds::new(seconds)).get() as usize;
    let mut block = BlockBuf::new(stage.format().channels, frames);
    let Ok(_) = stage.read(&mut block);
    block.as_block().channel(0).to_vec()
}

/// Half a second of silence, the sweep, silence for the longest tail; its peak 26 dB under where loudspeakers bend.
fn sweep(hall: &Hall, output: usize) -> Vec<f32> {
    let peak = Dbfs::new(-6.0).min(hall.outputs[output].limit - Db::new(26.0));
    let (low, high) = (Hertz::new(80.0), Hertz::new(12_000.0));
    let sweep = Sweep::new(low, high, Seconds::new(5.0), Seconds::new(0.01), peak).expect("a usual sweep");
    [vec![0.0; 24_000], sweep.samples(rate()), vec![0.0; 144_000]].concat()
}

fn taken(sent: &[f32], captured: &[f32], clocks: Clocks) -> Taken {
    let inverse = Inverse::new(sent, rate()).expect("a sweep was sent");
    inverse.take(captured, clocks).unwrap_or_else(|refusal| panic!("{refusal:?}"))
}

/// The whole loop, opened at the main out, over the computer's own loopback.
fn at_the_main_out(stage: &mut Stage, hall: &Hall, output: usize, computer: &Computer) -> (LoopGain, Taken) {
    let sent = sweep(hall, output);
    assert!(stage.open_loop(output, Opening::MainOut));
    let captured = stage.sweep(&sent, computer);
    stage.close_loop();
    let found = taken(&sent, &captured[0], Clocks::Same);
    let own = taken(&sent, &computer.loopback(&sent, rate()), Clocks::Same);
    let gain = LoopGain::new(&found.response).over(&LoopGain::new(&own.response)).expect("alike");
    (gain, found)
}

fn rms(samples: &[f32]) -> Dbfs {
    Dbfs::from_power(samples.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / samples.len().max(1) as f64)
}
