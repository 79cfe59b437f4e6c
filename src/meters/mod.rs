//! The meters: blocks of samples in, [`Readings`] out, one file a meter.
//!
//! In: planar amplitudes, 1.0 = full scale, 1 to 64 channels at 8–192 kHz, in blocks of any length.
//! Out: readings after each complete hop of 10 ms. The same samples give the same readings, bit for bit,
//! however they are cut. NaN and ±∞ (and anything beyond ±240 dBFS) count as 0 and are counted; samples
//! under −300 dBFS are silence. A gap before a block ends the hop and the frame in progress: their
//! samples count for the whole take, and every window that would span the gap starts anew.
//!
//! All memory is taken in [`Meters::new`], about 0.5 MB a channel; [`Meters::push`] takes none.
//! Names only `units`, `block` and `dsp`.

mod activity;
mod channel;
mod clock;
mod loudness;
mod mains;
mod pair;
mod peak;
mod readings;
mod rms;
mod runs;
pub mod sound;
mod spectrum;
mod take;

pub use loudness::LoudnessLayout;
pub use readings::{
    Activity, BANDS, BandLevels, ChannelReadings, ChannelSummary, FlatRun, Frame, Hop, Leq, MAINS_HERTZ, MainsLines,
    PairLag, Peak, Percentiles, Programme, Readings, SoundReadings, Spectrum, Summary, Tone, Whole, band_centre,
};

use crate::block::Block;
use crate::block::Format;
use crate::dsp::third_octave::{Scratch, ThirdOctave};
use crate::units::{ChannelId, FrameCount};
use channel::Channel;
use clock::{Clock, HopSpan};
use loudness::Loudness;
use mains::{MainsPlan, MainsScratch};
use pair::PairMeter;
use rayon::prelude::*;
use spectrum::{MOST_COLUMNS, MOST_PEAKS, SpectrumPlan};

/// Every meter of every channel.
pub struct Meters {
    clock: Clock,
    stretch: Stretch,
    channels: Vec<Channel>,
    weights: Vec<f64>,
    /// K-weighted energies of the newest hop.
    energies: Vec<f64>,
    tools: Tools,
    /// One for each thread; the first is always there.
    benches: Vec<Bench>,
    loudness: Loudness,
    pair: PairMeter,
    readings: Readings,
}

/// What all channels share.
struct Tools {
    bands: ThirdOctave<BANDS>,
    /// `None` unless spectra were asked for.
    spectra: Option<SpectrumPlan>,
    /// Nothing else was asked for.
    spectra_alone: bool,
    /// `None` unless the lines of the mains were asked for.
    mains: Option<MainsPlan>,
}

/// Working memory of one thread.
struct Bench {
    bands: Scratch,
    spectra: Option<spectrum::SpectrumScratch>,
    mains: Option<MainsScratch>,
}

impl Tools {
    fn bench(&self) -> Bench {
        Bench {
            bands: self.bands.scratch(),
            spectra: self.spectra.as_ref().map(SpectrumPlan::scratch),
            mains: self.mains.as_ref().map(MainsPlan::scratch),
        }
    }
}

/// Sound without a gap.
#[derive(Clone, Copy, Debug, Default)]
struct Stretch {
    start: FrameCount,
    after_gap: bool,
    frames: u64,
    /// Lost frames that no readings have told yet.
    gap: FrameCount,
    begun: bool,
}

/// What one channel made of one hop.
struct Measured {
    readings: ChannelReadings,
    energy: f64,
}

impl Meters {
    /// `weights`: each channel's share in the loudness of the programme, see [`LoudnessLayout`]; channels
    /// without one weigh 1, weights that are no positive number 0.
    pub fn new(format: Format, weights: &[f64]) -> Self {
        let Format { rate, channels } = format;
        let weight = |index: usize| {
            let weight = weights.get(index).copied().unwrap_or(1.0);
            if weight.is_finite() { weight.max(0.0) } else { 0.0 }
        };
        let shortest = (rate.get() / 10) as usize;
        let bands = ThirdOctave::new(rate, [shortest, channel::longest_frame(rate)], |band| band_centre(band).get());
        let tools = Tools { bands, spectra: None, spectra_alone: false, mains: None };
        let empty = || ChannelReadings { runs: Vec::with_capacity(Channel::most_runs(rate)), ..Default::default() };
        Self {
            clock: Clock::new(rate),
            stretch: Stretch::default(),
            channels: (0..channels).map(|_| Channel::new(rate)).collect(),
            weights: (0..channels).map(weight).collect(),
            energies: vec![0.0; channels],
            benches: vec![tools.bench()],
            tools,
            loudness: Loudness::new(rate),
            pair: PairMeter::new(rate),
            readings: Readings {
                rate,
                at: FrameCount::ZERO,
                gap: FrameCount::ZERO,
                frames: 0,
                frame_complete: false,
                channels: (0..channels).map(|_| empty()).collect(),
                programme: Programme::default(),
                pair: None,
            },
        }
    }

    /// Also measures spectra, which cost as much as all else together.
    pub fn with_spectra(mut self) -> Self {
        let plan = SpectrumPlan::new(self.readings.rate);
        for (channel, readings) in self.channels.iter_mut().zip(&mut self.readings.channels) {
            channel.ask_for_spectra(&plan);
            readings.spectrum.peaks.reserve_exact(MOST_PEAKS);
            readings.spectrum.columns.reserve_exact(MOST_COLUMNS);
        }
        self.tools.spectra = Some(plan);
        self.benches = vec![self.tools.bench()];
        self
    }

    /// Measures the peaks of spectra and nothing else, no columns for the eye: what a second look at a recording needs. Goes with `push` alone.
    pub fn with_spectra_alone(self) -> Self {
        let mut meters = self.with_spectra();
        meters.tools.spectra_alone = true;
        meters.tools.spectra.iter_mut().for_each(SpectrumPlan::leave_out_columns);
        meters
    }

    /// Also measures the lines of the mains in every frame.
    pub fn with_mains(mut self) -> Self {
        self.tools.mains = Some(MainsPlan::new(self.readings.rate));
        self.benches = vec![self.tools.bench()];
        self
    }

    /// Measures a block, on the caller's thread and without allocating.
    pub fn push(&mut self, block: &Block, on_hop: &mut dyn FnMut(&Readings)) {
        self.begin(block);
        let mut rest = *block;
        while rest.frames() > 0 {
            let (part, later) = rest.split_at(self.clock.missing());
            let at = self.clock.in_frame();
            for (index, channel) in self.channels.iter_mut().enumerate().take(block.channels()) {
                channel.append(at, part.channel(index));
            }
            if let Some(span) = self.clock.advance(part.frames()) {
                let (end, fresh) = (self.stretch.end(&span), self.stretch.is_fresh(&span));
                for (index, channel) in self.channels.iter_mut().enumerate() {
                    let readings = &mut self.readings.channels[index];
                    if self.tools.spectra_alone {
                        channel.look_alone(&span, &self.tools, &mut self.benches[0], readings);
                        continue;
                    }
                    self.energies[index] = channel.hop(&span, end, fresh, readings);
                    channel.look(&span, &self.tools, &mut self.benches[0], readings);
                    if span.completes_frame {
                        channel.end_frame(span.to, &self.tools, &mut self.benches[0], readings);
                    }
                }
                self.complete(&span, on_hop);
            }
            rest = later;
        }
    }

    /// As [`Meters::push`], with the channels spread over the threads of rayon's pool: for recordings, in
    /// blocks of a second or so. Allocates.
    pub fn push_parallel(&mut self, block: &Block, on_hop: &mut dyn FnMut(&Readings)) {
        self.begin(block);
        let threads = rayon::current_num_threads().min(self.channels.len()).max(1);
        while self.benches.len() < threads {
            self.benches.push(self.tools.bench());
        }
        let mut rest = *block;
        while rest.frames() > 0 {
            let (part, later) = rest.split_at(self.parallel_reach(rest.frames()));
            let (measured, spans) = self.measure_parallel(&part, threads);
            let mut measured: Vec<_> = measured.into_iter().map(Vec::into_iter).collect();
            for span in spans {
                for (index, hops) in measured.iter_mut().enumerate() {
                    if let Some(hop) = hops.next() {
                        self.energies[index] = hop.energy;
                        let out = &mut self.readings.channels[index];
                        (out.hop, out.frame, out.whole) = (hop.readings.hop, hop.readings.frame, hop.readings.whole);
                        out.recent = hop.readings.recent;
                        out.runs.clear();
                        out.runs.extend_from_slice(&hop.readings.runs);
                        out.spectrum.clone_from(&hop.readings.spectrum);
                        out.mains = hop.readings.mains;
                    }
                }
                self.complete(&span, on_hop);
            }
            rest = later;
        }
    }

    /// Ends the take: measures the last short hop, tells it if there is one (or a flat run that ends with
    /// the take), and lets the true-peak filter run out. Nothing may be pushed after it.
    pub fn finish(&mut self, on_hop: &mut dyn FnMut(&Readings)) {
        let in_frame = self.clock.in_frame();
        let pending = self.clock.pending();
        let span = self.clock.close();
        let (end, fresh) = (self.stretch.end(&span), self.stretch.is_fresh(&span));
        for (channel, readings) in self.channels.iter_mut().zip(&mut self.readings.channels) {
            if pending > 0 {
                channel.hop(&span, end, fresh, readings);
            } else {
                readings.hop = Hop::default();
                readings.runs.clear();
            }
            channel.finish(in_frame, end, readings);
        }
        self.readings.frame_complete = false;
        self.readings.pair = None;
        self.raise_true_peak();
        if pending > 0 || self.readings.channels.iter().any(|channel| !channel.runs.is_empty()) {
            self.tell(end, on_hop);
        }
    }

    /// Frames that are missing to the end of the hop in progress.
    pub fn frames_to_hop(&self) -> usize {
        self.clock.missing()
    }

    /// The newest readings.
    pub fn readings(&self) -> &Readings {
        &self.readings
    }

    /// Everything since the source began.
    pub fn summary(&self) -> Summary {
        Summary {
            channels: self.channels.iter().map(|c| ChannelSummary { whole: c.whole(), take: c.take() }).collect(),
            programme: self.readings.programme,
        }
    }

    /// Forgets the recent activity of a channel whose knob was turned.
    pub fn restart_activity(&mut self, channel: ChannelId) {
        if let Some(meters) = self.channels.get_mut(channel.index()) {
            meters.restart_activity(&mut self.readings.channels[channel.index()]);
        }
    }

    /// Which pair the pair meter looks at from now on: the quieter channel, then the louder.
    pub fn watch_pair(&mut self, pair: Option<(ChannelId, ChannelId)>) {
        self.pair.watched = pair;
    }

    /// Notes where a block stands; starts anew after a gap.
    fn begin(&mut self, block: &Block) {
        if self.stretch.begun && block.gap() == FrameCount::ZERO {
            return;
        }
        let (in_frame, pending) = (self.clock.in_frame(), self.clock.pending());
        if self.stretch.begun {
            let fresh = self.stretch.after_gap && in_frame == pending && self.stretch.frames == 0;
            for channel in &mut self.channels {
                channel.gap(in_frame, pending, fresh);
            }
            self.loudness.restart();
            self.clock.restart();
        }
        self.stretch = Stretch {
            start: block.start(),
            after_gap: self.stretch.begun,
            frames: 0,
            gap: self.stretch.gap + block.gap(),
            begun: true,
        };
    }

    /// How many frames may be measured before the pair meter wants to look.
    fn parallel_reach(&self, frames: usize) -> usize {
        if self.pair.watched.is_none() {
            return frames;
        }
        let mut clock = self.clock;
        let mut reach = 0;
        while reach < frames {
            let missing = clock.missing();
            reach += missing;
            if clock.advance(missing).is_some_and(|span| span.completes_frame) {
                break;
            }
        }
        reach.min(frames)
    }

    /// Each channel's hops, and the spans of the hops.
    fn measure_parallel(&mut self, part: &Block, threads: usize) -> (Vec<Vec<Measured>>, Vec<HopSpan>) {
        let (clock, stretch, tools) = (self.clock, self.stretch, &self.tools);
        let size = self.channels.len().div_ceil(threads).max(1);
        let measured = self
            .channels
            .par_chunks_mut(size)
            .zip(self.readings.channels.par_chunks_mut(size))
            .zip(self.benches.par_iter_mut())
            .enumerate()
            .flat_map_iter(|(chunk, ((channels, readings), bench))| {
                let measure = move |(index, (channel, readings)): (usize, (&mut Channel, &mut ChannelReadings))| {
                    let samples =
                        if chunk * size + index < part.channels() { part.channel(chunk * size + index) } else { &[] };
                    measure_all(channel, samples, clock, stretch, tools, bench, readings)
                };
                channels.iter_mut().zip(readings).enumerate().map(measure)
            })
            .collect();
        let mut spans = Vec::new();
        let mut rest = part.frames();
        while rest > 0 {
            let samples = rest.min(self.clock.missing());
            spans.extend(self.clock.advance(samples));
            rest -= samples;
        }
        (measured, spans)
    }

    /// After all channels measured a hop: the meters over all of them, then the caller.
    fn complete(&mut self, span: &HopSpan, on_hop: &mut dyn FnMut(&Readings)) {
        let energy = self.energies.iter().zip(&self.weights).map(|(energy, weight)| energy * weight).sum();
        self.loudness.push(energy, &mut self.readings.programme);
        self.raise_true_peak();
        self.readings.frame_complete = span.completes_frame;
        self.readings.pair = None;
        if span.completes_frame {
            self.readings.frames += 1;
            self.stretch.frames += 1;
            if self.stretch.frames.is_multiple_of(pair::FRAMES) {
                let channels = &self.channels;
                self.readings.pair = self.pair.look(|id| Some(channels.get(id.index())?.history()));
            }
        }
        self.tell(self.stretch.end(span), on_hop);
    }

    fn raise_true_peak(&mut self) {
        let peaks = self.readings.channels.iter().map(|channel| channel.whole.true_peak);
        self.readings.programme.true_peak = peaks.fold(self.readings.programme.true_peak, |a, b| a.max(b));
    }

    fn tell(&mut self, end: FrameCount, on_hop: &mut dyn FnMut(&Readings)) {
        self.readings.at = end;
        self.readings.gap = std::mem::take(&mut self.stretch.gap);
        on_hop(&self.readings);
    }
}

impl Stretch {
    fn end(&self, span: &HopSpan) -> FrameCount {
        self.start + FrameCount::new(span.end)
    }

    fn is_fresh(&self, span: &HopSpan) -> bool {
        span.first && self.after_gap
    }
}

/// Measures all samples of one channel; the hops that they complete.
fn measure_all(
    channel: &mut Channel,
    samples: &[f32],
    mut clock: Clock,
    stretch: Stretch,
    tools: &Tools,
    bench: &mut Bench,
    readings: &mut ChannelReadings,
) -> Vec<Measured> {
    let mut measured = Vec::with_capacity(samples.len() / clock.missing().max(1) + 1);
    let mut rest = samples;
    while !rest.is_empty() {
        let (part, later) = rest.split_at(rest.len().min(clock.missing()));
        channel.append(clock.in_frame(), part);
        if let Some(span) = clock.advance(part.len()) {
            let energy = channel.hop(&span, stretch.end(&span), stretch.is_fresh(&span), readings);
            channel.look(&span, tools, bench, readings);
            if span.completes_frame {
                channel.end_frame(span.to, tools, bench, readings);
            }
            measured.push(Measured { readings: readings.clone(), energy });
        }
        rest = later;
    }
    measured
}
