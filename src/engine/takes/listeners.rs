//! What listens to a recording beside meters and live detectors, and gathers its findings when it is over.
//!
//! In: the blocks and the readings of one recording, in order, then its summary and what was odd about the file. Channels
//! spread over all cores.

use rayon::prelude::*;

use super::align::Outline;
use super::companions::Likeness;
use super::timeline::TimelineEar;
use crate::block::Block;
use crate::block::Format;
use crate::detectors::{
    EndForm, Evidence, Finding, HeaderFault, Print, TakeEar, WholeEar, WholeTake, between_channels,
};
use crate::engine::recording::Expect;
use crate::meters::{BANDS, Readings, Summary};
use crate::source::file::FileWarning;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};

const MANY_TOPS: u32 = 40;
const PASSED: Db = Db::new(1.0);
/// Flat tops nearer than this are one passage.
const ONE_PASSAGE: Seconds = Seconds::new(1.0);

pub struct Listeners {
    rate: SampleRate,
    ears: Vec<TakeEar>,
    whole: WholeEar,
    outline: Outline,
    timeline: TimelineEar,
    end: FrameCount,
}

impl Listeners {
    pub fn new(format: Format) -> Self {
        let ear = |index| TakeEar::new(ChannelId::from_index(index), format.rate);
        Self {
            rate: format.rate,
            ears: (0..format.channels).map(ear).collect(),
            whole: WholeEar::new(format.channels, format.rate),
            outline: Outline::default(),
            timeline: TimelineEar::default(),
            end: FrameCount::ZERO,
        }
    }

    pub fn observe(&mut self, readings: &Readings) {
        self.whole.observe(readings);
        self.outline.push(readings.channels.iter().map(|channel| channel.hop.rms).fold(Dbfs::SILENCE, Dbfs::max));
        self.timeline.observe(readings);
        self.end = readings.at;
    }

    /// Mean square of each channel in each third-octave band.
    pub fn bands(&self) -> Vec<[f64; BANDS]> {
        self.whole.bands()
    }

    /// A tone stood alone for seconds on some channel.
    pub fn has_lone_tone(&self) -> bool {
        self.ears.iter().any(TakeEar::has_lone_tone)
    }

    pub fn push(&mut self, block: &Block) {
        let listen = |(index, ear): (usize, &mut TakeEar)| ear.push(block.channel(index), block.start());
        if self.ears.len() == 1 {
            self.ears.iter_mut().enumerate().for_each(listen);
        } else {
            self.ears.par_iter_mut().enumerate().for_each(listen);
        }
    }

    /// Adds what was found to `findings`; gives what others are held against.
    pub fn finish(
        &mut self,
        summary: &Summary,
        expect: Expect,
        warnings: &[FileWarning],
        findings: &mut Vec<Finding>,
    ) -> Likeness {
        let end = self.end;
        let peak = |channel: ChannelId| summary.channels[channel.index()].whole.sample_peak;
        findings.retain(|finding| !is_passed(finding, peak(finding.channel)));
        join_tops(findings, self.rate.frames(ONE_PASSAGE));
        if expect.inputs().is_empty() {
            findings.retain(|finding| !finding.evidence.is_of_soundcheck());
        }
        let clipped: Vec<ChannelId> = findings.iter().filter(|f| is_clipping(f)).map(|f| f.channel).collect();
        let coded = self.ears.len() == 2 && self.ears.iter().any(TakeEar::was_clipped_and_coded);
        let heard = self.ears.iter_mut().zip(&summary.channels);
        let mut found: Vec<Finding> = heard.flat_map(|(ear, summary)| ear.finish(summary, coded)).collect();
        TakeEar::keep_shared_steps(&mut found, self.rate);
        TakeEar::drop_ruffled_tops(&mut found, |channel| clipped.contains(&channel));
        let inputs = expect.inputs();
        let low_is_own =
            |channel: ChannelId| inputs.get(channel.index()).is_some_and(|input| input.targets.low_cut.is_none());
        let is_unlisted = |channel: ChannelId| expect.is_unlisted(channel);
        let low = |channel: ChannelId| self.ears[channel.index()].low();
        let take = WholeTake { summary, low: &low, low_is_own: &low_is_own, is_unlisted: &is_unlisted };
        found.extend(self.whole.finish(&take));
        let prints: Vec<&Print> = self.ears.iter().map(TakeEar::print).collect();
        found.extend(between_channels(&prints, summary, inputs.is_empty(), end));
        let two = matches!(self.ears.as_slice(), [ear] if ear.holds_two_in_turn());
        let two = two.then_some(Evidence::Header { fault: HeaderFault::TwoAsOne { held: end.get() / 2 } });
        let of_the_file = warnings.iter().filter_map(|warning| of_warning(warning, self.rate)).chain(two);
        found.extend(of_the_file.map(|evidence| {
            let start = if matches!(evidence, Evidence::Truncated { .. }) { end } else { FrameCount::ZERO };
            Finding { channel: ChannelId::new(0), start, end, evidence }
        }));
        let silent = |channel: ChannelId| {
            found.iter().any(|other| other.channel == channel && matches!(other.evidence, Evidence::Silent { .. }))
        };
        findings.retain(|old| !matches!(old.evidence, Evidence::NotHeard { .. }) || !silent(old.channel));
        findings.extend(found);
        Likeness {
            prints: prints.into_iter().cloned().collect(),
            outline: std::mem::take(&mut self.outline),
            timeline: self.timeline.take(),
            end,
        }
    }
}

/// Few flat tops far below what the take reaches elsewhere: a sound that is flat there, no limit.
fn is_passed(finding: &Finding, peak: Dbfs) -> bool {
    match finding.evidence {
        Evidence::FlatTop { places, level, .. } => places < MANY_TOPS && peak - level > PASSED,
        _ => false,
    }
}

/// The flat tops of both half-waves, and of values that take turns, as one passage.
fn join_tops(findings: &mut Vec<Finding>, nearer: FrameCount) {
    findings.sort_by_key(|finding| (finding.channel, finding.start));
    let mut joined: Vec<Finding> = Vec::with_capacity(findings.len());
    for finding in findings.drain(..) {
        let Evidence::FlatTop { places, longest, level, overshoot } = finding.evidence else {
            joined.push(finding);
            continue;
        };
        let is_tops = |known: &&mut Finding| {
            known.channel == finding.channel && matches!(known.evidence, Evidence::FlatTop { .. })
        };
        match joined.iter_mut().rev().find(is_tops) {
            Some(Finding {
                end,
                evidence: Evidence::FlatTop { places: p, longest: l, level: v, overshoot: o },
                ..
            }) if finding.start < *end + nearer => {
                *end = (*end).max(finding.end);
                (*p, *l, *v, *o) = (*p + places, (*l).max(longest), v.max(level), o.max(overshoot));
            }
            _ => joined.push(finding),
        }
    }
    *findings = joined;
}

fn is_clipping(finding: &Finding) -> bool {
    matches!(finding.evidence, Evidence::Clipped { .. } | Evidence::FlatTop { .. })
}

/// What was odd about the file, where it is a fault of the recording.
fn of_warning(warning: &FileWarning, rate: SampleRate) -> Option<Evidence> {
    let header = |fault| Some(Evidence::Header { fault });
    let cut = |missing: Option<u64>| {
        let missing = missing.map(|frames| FrameCount::new(frames).at(rate));
        Some(Evidence::Truncated { missing, form: EndForm::CutShort })
    };
    match *warning {
        FileWarning::Unfinished { frames } => header(HeaderFault::Unfinished { held: frames }),
        FileWarning::LongerThanStated { stated, held } => header(HeaderFault::TooShort { stated, held }),
        FileWarning::FrameSize { stated, used } => header(HeaderFault::FrameSize { stated, used }),
        FileWarning::Truncated { promised, held } | FileWarning::CutWhileRead { promised, held } => {
            cut(Some(promised.saturating_sub(held)))
        }
        FileWarning::EndMissing | FileWarning::StoppedEarly { .. } => cut(None),
        _ => None,
    }
}
