//! The line check's one way of a sample: block → meters → line ears → coach → picture.
//!
//! `push` cannot fail and allocates nothing.

use super::{AssemblyFound, LineLevel, LineSnapshot, LineStatus};
use crate::block::{Block, Format};
use crate::coach::linecheck::{
    Assembly, LineAdvice, LineAnswer, LineCheck, LinePlan, LineRequest, SpeakerResult, TestSound,
};
use crate::detectors::LineEars;
use crate::meters::{Meters, Readings};
use crate::units::{ChannelId, FrameCount, Seconds};

/// Hops of a line's shown level.
const SHOWN: usize = 10;

pub struct LinePipeline {
    format: Format,
    meters: Meters,
    ears: LineEars,
    coach: Coach,
    snapshot: LineSnapshot,
}

enum Coach {
    Check(Box<LineCheck>),
    Assembly(Box<Assembly>),
}

impl LinePipeline {
    /// A whole line check; the plan's `channels` are those of `format`.
    pub fn new(format: Format, plan: LinePlan) -> Self {
        let plan = LinePlan { channels: format.channels, ..plan };
        Self::with(format, Coach::Check(Box::new(LineCheck::new(plan, format.rate))))
    }

    /// The assembly: one microphone and a video, no list.
    pub fn assembly(format: Format) -> Self {
        Self::with(format, Coach::Assembly(Box::new(Assembly::new(format.channels, format.rate))))
    }

    fn with(format: Format, coach: Coach) -> Self {
        let snapshot = LineSnapshot {
            at: Seconds::ZERO,
            advice: *coach.advice(),
            inputs: coach.statuses(),
            lines: vec![LineLevel::default(); format.channels],
            speakers: SpeakerResult::default(),
            assembly: coach.assembly(),
            sound: TestSound::Silent,
            lost_frames: 0,
            trouble: None,
        };
        let meters = Meters::new(format, &vec![1.0; format.channels]).with_mains();
        Self { format, meters, ears: LineEars::new(format.channels, format.rate), coach, snapshot }
    }

    pub fn format(&self) -> Format {
        self.format
    }

    pub fn push(&mut self, block: &Block) {
        self.snapshot.lost_frames += block.gap().get();
        let mut rest = *block;
        // What the coach asks for reaches ears and meters at the hop where it arose.
        while rest.frames() > 0 {
            let (part, later) = rest.split_at(self.meters.frames_to_hop());
            let Self { meters, ears, coach, .. } = self;
            meters.push(&part, &mut |readings| observe(ears, coach, readings));
            meters.watch_pair(ears.wanted_pair());
            rest = later;
        }
        self.refresh();
    }

    pub fn answer(&mut self, answer: LineAnswer) {
        self.coach.answer(answer, self.meters.readings().at);
        self.coach.carry_out(&mut self.ears);
        self.refresh();
    }

    /// Why no sound could be made.
    pub fn note_trouble(&mut self, trouble: String) {
        self.snapshot.trouble = Some(trouble);
    }

    pub fn snapshot(&self) -> &LineSnapshot {
        &self.snapshot
    }

    fn refresh(&mut self) {
        let Self { meters, ears, coach, snapshot, format } = self;
        snapshot.at = meters.readings().at.at(format.rate);
        snapshot.advice = *coach.advice();
        (snapshot.speakers, snapshot.sound, snapshot.assembly) = (coach.speakers(), coach.sound(), coach.assembly());
        coach.tell(&mut snapshot.inputs);
        for (index, line) in snapshot.lines.iter_mut().enumerate() {
            let channel = ChannelId::from_index(index);
            *line = LineLevel { level: ears.level(channel, SHOWN), floor: ears.floor(channel) };
        }
    }
}

fn observe(ears: &mut LineEars, coach: &mut Coach, readings: &Readings) {
    ears.observe(readings);
    if readings.frame_complete {
        coach.observe(ears, readings.at);
        coach.carry_out(ears);
    }
}

impl Coach {
    fn advice(&self) -> &LineAdvice {
        match self {
            Self::Check(coach) => coach.advice(),
            Self::Assembly(coach) => coach.advice(),
        }
    }

    fn observe(&mut self, ears: &LineEars, now: FrameCount) {
        match self {
            Self::Check(coach) => coach.observe(ears, now),
            Self::Assembly(coach) => coach.observe(ears, now),
        }
    }

    fn answer(&mut self, answer: LineAnswer, now: FrameCount) {
        match self {
            Self::Check(coach) => coach.answer(answer, now),
            Self::Assembly(coach) => coach.answer(answer, now),
        }
    }

    fn carry_out(&mut self, ears: &mut LineEars) {
        let Self::Check(coach) = self else { return };
        for request in coach.take_requests() {
            match request {
                LineRequest::RestartAll => ears.restart_all(),
                LineRequest::Watch(pair) => ears.watch(pair),
            }
        }
    }

    fn speakers(&self) -> SpeakerResult {
        match self {
            Self::Check(coach) => coach.speakers(),
            Self::Assembly(_) => SpeakerResult::default(),
        }
    }

    fn sound(&self) -> TestSound {
        match self {
            Self::Check(coach) => coach.sound(),
            Self::Assembly(_) => TestSound::Silent,
        }
    }

    fn assembly(&self) -> Option<AssemblyFound> {
        match self {
            Self::Check(_) => None,
            Self::Assembly(coach) => {
                Some(AssemblyFound { microphone: coach.microphone(), video: coach.video(), hall: coach.hall() })
            }
        }
    }

    fn statuses(&self) -> Vec<LineStatus> {
        let status = |(input, result)| LineStatus { input, result };
        match self {
            Self::Check(coach) => coach.results().map(status).collect(),
            Self::Assembly(coach) => coach.results().map(status).collect(),
        }
    }

    fn tell(&self, inputs: &mut [LineStatus]) {
        let put = |(place, (input, result)): (&mut LineStatus, _)| *place = LineStatus { input, result };
        match self {
            Self::Check(coach) => inputs.iter_mut().zip(coach.results()).for_each(put),
            Self::Assembly(coach) => inputs.iter_mut().zip(coach.results()).for_each(put),
        }
    }
}
