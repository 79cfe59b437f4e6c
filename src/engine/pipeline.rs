//! The one way of a sample: block → meters → detectors → coach → snapshot.
//!
//! `push` cannot fail and allocates nothing; the same samples and the same answers at the same times give
//! the same snapshot, however the samples are cut into blocks.

use super::snapshot::{InputStatus, Snapshot};
use crate::block::Block;
use crate::block::Format;
use crate::coach::ready::{Keeper, Was};
use crate::coach::{Answer, Connection, Input, Request, Soundcheck};
use crate::detectors::{Detectors, Expected, Finding};
use crate::meters::{LoudnessLayout, Meters, Readings};
use crate::units::{ChannelId, Db, Seconds, SourceKind};

/// Meters, detectors and the soundcheck's coach on one stream.
pub struct Pipeline {
    format: Format,
    meters: Meters,
    watch: Watch,
    snapshot: Snapshot,
}

/// All that listens to the readings.
struct Watch {
    detectors: Detectors,
    coach: Soundcheck,
    keepers: Vec<Keeper>,
    requests: Vec<Request>,
    wanted_pair: Option<(ChannelId, ChannelId)>,
}

impl Pipeline {
    /// Inputs without a line of their own in `format` are never heard; lines without an input are read as "other".
    pub fn new(format: Format, inputs: &[Input], connection: Connection) -> Self {
        let nobody = Expected { kind: SourceKind::Other, low_cut: None };
        let expected: Vec<Expected> = (0..format.channels)
            .map(|line| match connection {
                Connection::Usb => inputs.get(line).map_or(nobody, Input::expected),
                Connection::Feed | Connection::Room => nobody,
            })
            .collect();
        let inputs = if connection == Connection::Usb { &inputs[..inputs.len().min(format.channels)] } else { inputs };
        let meters = Meters::new(format, &LoudnessLayout::Equal.weights(format.channels));
        let coach = Soundcheck::new(inputs, connection);
        let detectors = match connection {
            Connection::Usb => Detectors::of_inputs(&expected, format.rate),
            Connection::Feed | Connection::Room => Detectors::of_programme(&expected, format.rate),
        };
        let status = |input| InputStatus {
            state: coach.state(ChannelId::from_index(input), &detectors),
            line: coach.line(ChannelId::from_index(input)),
            window: coach.targets(ChannelId::from_index(input)).window(),
            need: coach.targets(ChannelId::from_index(input)).need,
            heard: Default::default(),
            tops: Default::default(),
            trims: 0,
        };
        let snapshot = Snapshot {
            at: Seconds::ZERO,
            readings: meters.readings().clone(),
            inputs: (0..inputs.len()).map(status).collect(),
            advice: *coach.advice(),
            findings: Vec::with_capacity(Snapshot::FINDINGS + 1),
            findings_total: 0,
            lost_frames: 0,
            lines: vec![Was::default(); format.channels],
        };
        let keepers = vec![Keeper::default(); format.channels];
        let watch = Watch { detectors, coach, keepers, requests: Vec::with_capacity(16), wanted_pair: None };
        Self { format, meters, watch, snapshot }
    }

    /// One that has heard nothing yet, after this one failed; what the source lost stays counted.
    pub fn anew(&self, inputs: &[Input], connection: Connection) -> Self {
        let mut anew = Self::new(self.format, inputs, connection);
        (anew.snapshot.at, anew.snapshot.lost_frames) = (self.snapshot.at, self.snapshot.lost_frames);
        anew
    }

    pub fn format(&self) -> Format {
        self.format
    }

    pub fn push(&mut self, block: &Block) {
        self.snapshot.lost_frames += block.gap().get();
        let mut rest = *block;
        let watch = &mut self.watch;
        // Requests and the wanted pair reach the meters at the hop where they arose: one hop at a time.
        while rest.frames() > 0 {
            let (part, later) = rest.split_at(self.meters.frames_to_hop());
            self.meters.push(&part, &mut |readings| watch.observe(readings));
            watch.carry_out(&mut self.meters);
            rest = later;
        }
        self.refresh();
    }

    /// The source is over.
    pub fn finish(&mut self) {
        let watch = &mut self.watch;
        self.meters.finish(&mut |readings| watch.observe(readings));
        self.watch.detectors.finish(self.meters.readings().at);
        self.refresh();
    }

    /// The person's answer to the step on the screen.
    pub fn answer(&mut self, answer: Answer) {
        self.watch.coach.answer(answer, self.snapshot.at);
        self.watch.collect_requests();
        self.watch.carry_out(&mut self.meters);
    }

    /// Where the knobs of the simulated stage stand; of a desk nobody knows.
    pub fn tell_knobs(&mut self, knobs: impl Iterator<Item = Db>) {
        for (line, knob) in self.snapshot.lines.iter_mut().zip(knobs) {
            line.knob = Some(knob);
        }
    }

    pub fn snapshot(&self) -> &Snapshot {
        &self.snapshot
    }

    pub fn coach(&self) -> &Soundcheck {
        &self.watch.coach
    }

    fn refresh(&mut self) {
        let Self { meters, watch, snapshot, format } = self;
        let readings = meters.readings();
        snapshot.at = readings.at.at(format.rate);
        copy(readings, &mut snapshot.readings);
        for finding in watch.detectors.drain() {
            if snapshot.findings.len() == Snapshot::FINDINGS {
                snapshot.findings.remove(0);
            }
            snapshot.findings.push(finding);
            snapshot.findings_total += 1;
        }
        for (index, status) in snapshot.inputs.iter_mut().enumerate() {
            let input = ChannelId::from_index(index);
            status.state = watch.coach.state(input, &watch.detectors);
            status.line = watch.coach.line(input);
            status.trims = watch.coach.trims(input);
            if let Some(line) = status.line {
                status.heard = *watch.detectors.heard(line);
                status.tops = watch.detectors.tops(line);
            }
        }
        for (line, keeper) in snapshot.lines.iter_mut().zip(&watch.keepers) {
            *line = Was { knob: line.knob, ..keeper.was() };
        }
        snapshot.advice = *watch.coach.advice();
    }

    /// The newest findings that `snapshot` holds, for a caller that keeps them all.
    pub fn findings_since(&self, seen: u64) -> &[Finding] {
        let findings = &self.snapshot.findings;
        let fresh = (self.snapshot.findings_total - seen).min(findings.len() as u64) as usize;
        &findings[findings.len() - fresh..]
    }
}

impl Watch {
    fn observe(&mut self, readings: &Readings) {
        self.detectors.observe(readings);
        if readings.frame_complete {
            let detectors = &self.detectors;
            let quiet = detectors.channels().all(|line| !detectors.heard(line).activity.active_now);
            for (line, keeper) in detectors.channels().zip(&mut self.keepers) {
                keeper.observe(detectors.heard(line), quiet);
            }
            self.coach.observe(&self.detectors, readings.at.at(readings.rate));
            self.collect_requests();
            self.wanted_pair = self.detectors.wanted_pair(readings.frames);
        }
    }

    fn collect_requests(&mut self) {
        self.requests.extend(self.coach.take_requests());
    }

    fn carry_out(&mut self, meters: &mut Meters) {
        for request in self.requests.drain(..) {
            match request {
                Request::Restart(line) => {
                    self.detectors.restart(line);
                    meters.restart_activity(line);
                    self.keepers[line.index()].turned();
                }
                Request::RestartAll => {
                    self.keepers.iter_mut().for_each(Keeper::anew);
                    for line in self.detectors.channels() {
                        self.detectors.restart(line);
                        meters.restart_activity(line);
                    }
                }
                Request::ExpectTurn => self.detectors.expect_turn(),
                Request::RestKnobs => self.detectors.rest_knobs(),
                Request::Retarget(line, expected) => {
                    self.detectors.retarget(line, expected);
                    meters.restart_activity(line);
                    self.keepers[line.index()].turned();
                }
            }
        }
        meters.watch_pair(self.wanted_pair);
    }
}

/// Copies readings without allocating: both have the same channels and room for their runs.
fn copy(from: &Readings, to: &mut Readings) {
    for (to, from) in to.channels.iter_mut().zip(&from.channels) {
        (to.hop, to.frame, to.whole, to.recent) = (from.hop, from.frame, from.whole, from.recent);
        to.runs.clear();
        to.runs.extend_from_slice(&from.runs);
    }
    (to.at, to.gap, to.frames, to.frame_complete) = (from.at, from.gap, from.frames, from.frame_complete);
    (to.programme, to.pair) = (from.programme, from.pair);
}
