//! The assembly: one microphone and a laptop's video, three taps, 90 s, no list.
//!
//! The microphone is tapped, the video plays, somebody says where it is heard in the hall. Each of the three waits for 30 s
//! at most, so that it ends in 90 s whatever happens. Which line is which is found, not asked: two short taps on any
//! line that is quiet between them; then a sound that lasts, on one or two lines that are not the microphone's.

use super::advice::{LineAdvice, LineAnswer, LineOutcome, LineResult, LineStep, LineWhy};
use super::arrivals::{Arrival, Arrivals, Called};
use super::setup::{LineInput, LinePlan, Way, Wire};
use crate::detectors::LineEars;
use crate::units::{ChannelId, FrameCount, SampleRate, Seconds, SourceKind};

/// Each step's share of the 90 s.
const STEP: Seconds = Seconds::new(30.0);
/// The video sounds when its line was present for this share of the last second.
const SOUNDS: f64 = 0.6;
const SECOND_HOPS: usize = 100;
/// Its other side, if it has one, is given this long to show.
const OTHER_SIDE: Seconds = Seconds::new(1.5);

#[derive(Clone, Debug)]
pub struct Assembly {
    plan: LinePlan,
    rate: SampleRate,
    arrivals: Arrivals,
    step: LineStep,
    since: FrameCount,
    begun: bool,
    microphone: Option<ChannelId>,
    video: [Option<ChannelId>; 2],
    video_since: Option<FrameCount>,
    hall: Option<LineAnswer>,
    heard: LineWhy,
    advice: LineAdvice,
}

impl Assembly {
    pub fn new(channels: usize, rate: SampleRate) -> Self {
        let heard = LineWhy { inputs: 2, ..LineWhy::default() };
        Self {
            plan: LinePlan::of_lines(channels),
            rate,
            arrivals: Arrivals::new(channels, rate),
            step: LineStep::AnyTap,
            since: FrameCount::ZERO,
            begun: false,
            microphone: None,
            video: [None; 2],
            video_since: None,
            hall: None,
            heard,
            advice: LineAdvice { step: LineStep::AnyTap, channel: None, why: heard },
        }
    }

    pub fn advice(&self) -> &LineAdvice {
        &self.advice
    }

    pub fn is_over(&self) -> bool {
        self.step == LineStep::Over
    }

    /// Where the microphone comes in, and the video.
    pub fn microphone(&self) -> Option<ChannelId> {
        self.microphone
    }

    pub fn video(&self) -> [Option<ChannelId>; 2] {
        self.video
    }

    /// Where the microphone is heard in the hall, if somebody said so.
    pub fn hall(&self) -> Option<LineAnswer> {
        self.hall
    }

    /// Both, as inputs of a list: each on the line it was found on, the first two lines where it was not.
    pub fn results(&self) -> impl Iterator<Item = (LineInput, LineResult)> + use<> {
        let found = |channel: Option<ChannelId>| LineResult {
            outcome: if channel.is_some() { LineOutcome::Arrived } else { LineOutcome::Silent },
            ..LineResult::default()
        };
        let input = |channel: Option<ChannelId>, otherwise, kind, wire| {
            (LineInput::new(channel.unwrap_or(ChannelId::new(otherwise)), kind, wire, false), found(channel))
        };
        [
            input(self.microphone, 0, SourceKind::Speech, Wire::Microphone),
            input(self.video[0], 1, SourceKind::Playback, Wire::Line),
        ]
        .into_iter()
    }

    pub fn observe(&mut self, ears: &LineEars, now: FrameCount) {
        if !std::mem::replace(&mut self.begun, true) {
            self.arrivals.begin(ears, now);
        }
        let late = (now - self.since).at(self.rate) >= STEP;
        match self.step {
            LineStep::AnyTap => {
                self.arrivals.observe(ears);
                // No line is called: any that is tapped will do.
                let nobody = Called { channel: ChannelId::from_index(ears.channels()), way: Way::Tap, expected: None };
                if let Arrival::On { channel, at, rise } = self.arrivals.verdict(&nobody, &self.plan, ears, now) {
                    self.microphone = Some(channel);
                    (self.heard.heard_on, self.heard.heard_at, self.heard.rise) =
                        (Some(channel), Some(at.at(self.rate)), Some(rise));
                    self.show(LineStep::AnyPlay, now);
                } else if late {
                    self.show(LineStep::AnyPlay, now);
                }
            }
            LineStep::AnyPlay => {
                let sounds = |channel: &ChannelId| {
                    Some(*channel) != self.microphone && ears.share_present(*channel, SECOND_HOPS) >= SOUNDS
                };
                let mut lines = (0..ears.channels()).map(ChannelId::from_index).filter(sounds);
                self.video = [lines.next(), lines.next()];
                if self.video[0].is_some() {
                    let since = *self.video_since.get_or_insert(now);
                    if (now - since).at(self.rate) >= OTHER_SIDE || self.video[1].is_some() {
                        (self.heard.heard_on, self.heard.heard_at) = (self.video[0], Some(since.at(self.rate)));
                        self.show(LineStep::AskHall, now);
                    }
                } else if late {
                    self.show(LineStep::AskHall, now);
                }
            }
            LineStep::AskHall if late => self.show(LineStep::Over, now),
            _ => {}
        }
        self.explain();
    }

    pub fn answer(&mut self, answer: LineAnswer, now: FrameCount) {
        match (self.step, answer) {
            (LineStep::AnyTap, LineAnswer::Skip) => self.show(LineStep::AnyPlay, now),
            (LineStep::AnyPlay, LineAnswer::Skip) => self.show(LineStep::AskHall, now),
            (LineStep::AskHall, LineAnswer::Skip) => self.show(LineStep::Over, now),
            (LineStep::AskHall, LineAnswer::Both | LineAnswer::Left | LineAnswer::Right | LineAnswer::Nowhere) => {
                self.hall = Some(answer);
                self.show(LineStep::Over, now);
            }
            _ => {}
        }
        self.explain();
    }

    fn show(&mut self, step: LineStep, now: FrameCount) {
        (self.step, self.since) = (step, now);
    }

    fn explain(&mut self) {
        let checked = usize::from(self.microphone.is_some()) + usize::from(self.video[0].is_some());
        self.advice = LineAdvice { step: self.step, channel: None, why: LineWhy { checked, ..self.heard } };
    }
}
