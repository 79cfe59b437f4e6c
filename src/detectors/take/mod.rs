//! What only a recording as a whole shows, one channel at a time: dropouts of all forms, clicks, hum, tops that a codec ruffled,
//! where its spectrum ends, and a print of it to hold against other tracks.
//!
//! In: amplitudes, 1.0 = full scale, in slices of any length; NaN, ±∞ and what lies beyond ±240 dBFS count as 0. Out:
//! findings when it is over. The samples are looked at in blocks of 100 ms with 40 ms on either side, which stand at
//! multiples of their length from the last gap: the same samples give the same findings however they are cut. Faults of
//! the last 40 ms are not looked for. `push` allocates nothing; the memory, about 1 MB, does not grow with the length.
//! What is told from readings alone is in [`whole`].

mod clicks;
mod died;
mod dropouts;
mod held;
mod hiss;
mod hum;
mod looks;
mod plateaus;
mod print;
mod repeats;
mod riding;
mod steps;
mod turns;
mod whole;

pub use hum::MainsHum;
pub use print::{Alike, Print};
pub use whole::{WholeEar, WholeTake, between_channels};

use super::finding::{DropoutForm, Evidence, Finding};
use crate::dsp::lanes;
use crate::meters::ChannelSummary;
use crate::units::{ChannelId, Dbfs, FrameCount, SampleRate, Seconds};
use clicks::Clicks;
use dropouts::{Dropout, Dropouts};
use hum::HumEar;
use looks::Looks;
use plateaus::Plateaus;
use repeats::Repeats;
use steps::Steps;
use turns::Turns;

const BLOCK: Seconds = Seconds::new(0.1);
/// Steps of two channels within this are one.
const SAME_STEP: Seconds = Seconds::new(0.001);
const AROUND: Seconds = Seconds::new(0.04);

/// One channel of a recording.
pub struct TakeEar {
    channel: ChannelId,
    rate: SampleRate,
    /// What lies behind the block, the block, what lies ahead of it.
    buffer: Vec<f32>,
    filled: usize,
    around: usize,
    /// The frame at which the buffer begins.
    start: u64,
    ears: Ears,
}

struct Ears {
    dropouts: Dropouts,
    repeats: Repeats,
    steps: Steps,
    clicks: Clicks,
    plateaus: Plateaus,
    hum: HumEar,
    looks: Looks,
    print: Print,
    turns: Turns,
}

/// A block in its surroundings: look at `samples[from..to]`.
#[derive(Clone, Copy)]
struct View<'a> {
    samples: &'a [f32],
    from: usize,
    to: usize,
    /// The frame of `samples[0]`.
    start: u64,
}

impl<'a> View<'a> {
    fn block(&self) -> &'a [f32] {
        &self.samples[self.from..self.to]
    }

    fn frame(&self, index: usize) -> u64 {
        self.start + index as u64
    }
}

impl TakeEar {
    pub fn new(channel: ChannelId, rate: SampleRate) -> Self {
        let (block, around) = (rate.frames(BLOCK).get() as usize, rate.frames(AROUND).get() as usize);
        Self {
            channel,
            rate,
            buffer: vec![0.0; block + 2 * around],
            filled: 0,
            around,
            start: 0,
            ears: Ears {
                dropouts: Dropouts::new(rate),
                repeats: Repeats::new(rate, block, around),
                steps: Steps::new(rate, block, around),
                clicks: Clicks::new(rate),
                plateaus: Plateaus::new(rate),
                hum: HumEar::new(rate),
                looks: Looks::new(rate),
                print: Print::new(),
                turns: Turns::default(),
            },
        }
    }

    /// The next samples, which begin at frame `at`. Where that is not where the last ones ended, there was a gap.
    pub fn push(&mut self, samples: &[f32], at: FrameCount) {
        if at.get() != self.start + self.filled as u64 {
            self.flush();
            self.ears.restart();
            (self.filled, self.start) = (0, at.get());
        }
        let mut rest = samples;
        while !rest.is_empty() {
            let room = (self.buffer.len() - self.filled).min(rest.len());
            let (now, later) = rest.split_at(room);
            lanes::clean(now, &mut self.buffer[self.filled..self.filled + room]);
            self.filled += room;
            rest = later;
            if self.filled == self.buffer.len() {
                self.look(self.buffer.len() - self.around);
                let kept = 2 * self.around;
                self.start += (self.buffer.len() - kept) as u64;
                self.buffer.copy_within(self.filled - kept.., 0);
                self.filled = kept;
            }
        }
    }

    /// Whether its own crests show that it was clipped, then coded.
    pub fn was_clipped_and_coded(&self) -> bool {
        self.ears.plateaus.evidence(plateaus::ALONE).is_some()
    }

    /// The take is over: what was found in it, beside what `summary` tells; `other_side`: that of a stereo recording was
    /// clipped, then coded.
    pub fn finish(&mut self, summary: &ChannelSummary, other_side: bool) -> Vec<Finding> {
        self.flush();
        let proof = if other_side { plateaus::CONFIRMED } else { plateaus::ALONE };
        let end = FrameCount::new(self.start + self.filled as u64);
        let all = |evidence| Finding { channel: self.channel, start: FrameCount::ZERO, end, evidence };
        let programme = summary.take.active_level;
        let dropouts = self.dropouts(programme);
        let mut found: Vec<Finding> = dropouts.iter().map(|gap| gap.finding(self.channel, self.rate)).collect();
        found.extend(self.ears.clicks.passages(&dropouts, programme, self.channel));
        if let Some(hum) = self.ears.hum.measure(programme) {
            found.extend(hum.evidence(self.rate).map(all));
        }
        let passing = |(start, end, evidence)| Finding { channel: self.channel, start, end, evidence };
        found.extend(self.ears.hum.phones(programme).map(passing));
        found.extend(self.ears.plateaus.evidence(proof).map(passing));
        found.extend(self.ears.looks.evidence(programme).into_iter().map(all));
        found.extend(self.ears.looks.held().map(passing));
        found
    }

    /// Mean square of what lies under 40 Hz.
    pub fn low(&self) -> f64 {
        self.ears.hum.low()
    }

    /// Runs at full scale or flat tops were found: the tops need no second look.
    pub fn drop_ruffled_tops(found: &mut Vec<Finding>, clipped: impl Fn(ChannelId) -> bool) {
        found.retain(|finding| !matches!(finding.evidence, Evidence::CodedClip { .. }) || !clipped(finding.channel));
    }

    /// Samples that the machine lost are missing on all its channels; a jump on one alone may be an edit, or a sound.
    pub fn keep_shared_steps(found: &mut Vec<Finding>, rate: SampleRate) {
        let is_step = |evidence| matches!(evidence, Evidence::Dropout { form: DropoutForm::Step, .. });
        let steps: Vec<Finding> = found.iter().filter(|finding| is_step(finding.evidence)).copied().collect();
        let near = rate.frames(SAME_STEP).get();
        let beside = |a: &Finding, b: &Finding| a.channel != b.channel && a.start.get().abs_diff(b.start.get()) <= near;
        found.retain(|finding| !is_step(finding.evidence) || steps.iter().any(|other| beside(finding, other)));
    }

    /// Whether left and right stand here in turn, as if they were one channel.
    pub fn holds_two_in_turn(&self) -> bool {
        self.ears.turns.are_two()
    }

    /// A tone stood alone for seconds: it may have rung.
    pub fn has_lone_tone(&self) -> bool {
        self.ears.looks.has_lone_tone()
    }

    pub fn print(&self) -> &Print {
        &self.ears.print
    }

    /// Of all forms, each place once.
    fn dropouts(&self, programme: Dbfs) -> Vec<Dropout> {
        let Ears { dropouts, repeats, steps, .. } = &self.ears;
        let mut all: Vec<Dropout> = dropouts.found().iter().chain(repeats.found()).copied().collect();
        // A block that begins again begins with a step.
        let lone = |step: &&Dropout| !all.iter().any(|gap| gap.holds(step.start, self.rate));
        let lone: Vec<Dropout> = steps.found().iter().filter(lone).copied().collect();
        all.extend(lone);
        all.retain(|gap| gap.is_cut_out(programme, self.rate));
        all.sort_by_key(|gap| gap.start);
        all
    }

    fn flush(&mut self) {
        if self.filled > 2 * self.around {
            self.look(self.filled - self.around);
        }
    }

    fn look(&mut self, to: usize) {
        let view = View { samples: &self.buffer[..self.filled], from: self.around, to, start: self.start };
        self.ears.dropouts.look(&view);
        self.ears.repeats.look(&view);
        self.ears.steps.look(&view);
        self.ears.clicks.look(&view);
        self.ears.plateaus.look(&view);
        self.ears.hum.look(&view);
        self.ears.looks.look(&view);
        self.ears.print.look(&view);
        self.ears.turns.look(&view);
    }
}

impl Ears {
    /// After a gap.
    fn restart(&mut self) {
        self.dropouts.restart();
        self.repeats.restart();
        self.clicks.restart();
        self.hum.restart();
        self.looks.restart();
    }
}
