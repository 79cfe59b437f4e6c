//! Rings: found in loops with known truth, not found in notes; bad input; the published features beside them.

mod bad_input;
mod found;
mod references;
mod spectrum;

use crate::support::takes::{format, push_cut};
use beforedoors::block::{Block, Format};
use beforedoors::detectors::{Certainty, Ring, RingEvent, Ringing};
use beforedoors::meters::Meters;
use beforedoors::units::{FrameCount, Seconds};

/// What was said about one channel, in order, and how each ring ended.
struct Said {
    first: Vec<Ring>,
    ended: Vec<Ring>,
}

impl Said {
    fn ringing(&self) -> impl Iterator<Item = &Ring> {
        self.first.iter().filter(|ring| ring.certainty == Certainty::Ringing)
    }

    fn take(&mut self, ringing: &mut Ringing) {
        for event in ringing.drain() {
            match event {
                RingEvent::Said(ring) => self.first.push(ring),
                RingEvent::Ended(ring) => self.ended.push(ring),
            }
        }
    }
}

fn tools(format: Format) -> (Meters, Ringing) {
    (Meters::new(format, &[]).with_spectra(), Ringing::new(format.channels))
}

/// Listens to one channel in blocks of 1000 samples.
fn listen(rate: u32, samples: &[f32]) -> Said {
    let planes = [samples.to_vec()];
    let (mut meters, mut ringing) = tools(format(rate, 1));
    let mut said = Said { first: Vec::new(), ended: Vec::new() };
    push_cut(&mut meters, &planes, &[1000], &mut |readings| {
        ringing.observe(readings);
        said.take(&mut ringing);
    });
    ringing.finish(Seconds::new(samples.len() as f64 / f64::from(rate)));
    said.take(&mut ringing);
    said
}

/// Pushes pieces with gaps of so many seconds before them.
fn listen_with_gaps(rate: u32, pieces: &[(f64, Vec<f32>)]) -> Said {
    let (mut meters, mut ringing) = tools(format(rate, 1));
    let mut said = Said { first: Vec::new(), ended: Vec::new() };
    let mut at = 0;
    for (gap, piece) in pieces {
        let gap = (gap * f64::from(rate)) as u64;
        at += gap;
        let planes = [piece.clone()];
        meters.push(&Block::new(&planes, FrameCount::new(at), FrameCount::new(gap)), &mut |readings| {
            ringing.observe(readings);
            said.take(&mut ringing);
        });
        at += piece.len() as u64;
    }
    ringing.finish(FrameCount::new(at).at(format(rate, 1).rate));
    said.take(&mut ringing);
    said
}

fn cents(a: f64, b: f64) -> f64 {
    1200.0 * (a / b).log2().abs()
}
