//! Runs the meters over whole takes, cut into blocks in any way.

use beforedoors::block::{Block, Format};
use beforedoors::meters::{LoudnessLayout, Meters, Readings, Summary};
use beforedoors::units::{FrameCount, SampleRate};

pub fn format(rate: u32, channels: usize) -> Format {
    Format { rate: SampleRate::new(rate).expect("a rate within range"), channels }
}

/// The meters for a take, weights by the usual meaning of its channel count.
pub fn meters_for(rate: u32, planes: &[Vec<f32>]) -> Meters {
    let weights = LoudnessLayout::of_recording(planes.len()).weights(planes.len());
    Meters::new(format(rate, planes.len()), &weights)
}

/// Measures a take in blocks of 1000 samples and gives every hop's readings to `on_hop`.
pub fn listen(rate: u32, planes: &[Vec<f32>], on_hop: &mut dyn FnMut(&Readings)) -> Summary {
    let mut meters = meters_for(rate, planes);
    push_cut(&mut meters, planes, &[1000], on_hop);
    meters.finish(on_hop);
    meters.summary()
}

/// As `listen`, without looking at the hops.
pub fn measure(rate: u32, planes: &[Vec<f32>]) -> Summary {
    listen(rate, planes, &mut |_| {})
}

/// Pushes a take in blocks whose lengths are `cuts`, over and over.
pub fn push_cut(meters: &mut Meters, planes: &[Vec<f32>], cuts: &[usize], on_hop: &mut dyn FnMut(&Readings)) {
    let mut rest = Block::new(planes, FrameCount::ZERO, FrameCount::ZERO);
    for &cut in cuts.iter().cycle() {
        if rest.frames() == 0 {
            break;
        }
        let (part, later) = rest.split_at(cut);
        meters.push(&part, on_hop);
        rest = later;
    }
}
