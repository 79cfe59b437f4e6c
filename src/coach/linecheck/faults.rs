//! What is wrong with a line that arrives: hum, noise, a copy, a pair against each other; and +48.

use super::advice::{Call, HumCure, LineOutcome, LineRequest, LineStep};
use super::setup::{LineInput, Way, Wire};
use super::{Check, LineCheck, Phantom};
use crate::detectors::LineEars;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, Seconds, SourceKind};

/// A line that reads this when nothing sounds is too noisy at any gain (common practice).
const TOO_NOISY: Dbfs = Dbfs::new(-40.0);
/// So is one over whose floor a tap rises by less.
const TOO_NEAR: Db = Db::new(18.0);
/// Hum so far over the rest of the floor may hide a tap: it is cured first.
const HIDES: Db = Db::new(15.0);
/// How long a sound in the middle of a pair is waited for.
const MIDDLE: Seconds = Seconds::new(15.0);
/// +48 stands after this.
const PHANTOM_STANDS: Seconds = Seconds::new(10.0);

/// What the last quiet told: a steady floor, or something that came and went. A line that arrived with a low floor does not
/// begin to hiss: someone plays there.
pub(super) fn note_noise(check: &mut Check, floor: Option<Dbfs>, steady: bool) {
    if check.result.outcome == LineOutcome::Arrived && check.result.noisy.is_none() {
        return;
    }
    let noisy = floor.filter(|floor| *floor >= TOO_NOISY && steady);
    check.result.put_right |= check.result.noisy.is_some() && noisy.is_none();
    check.result.noisy = noisy;
}

/// How far the call rose over it.
pub(super) fn note_rise(check: &mut Check, rise: Db, floor: Option<Dbfs>) {
    if rise < TOO_NEAR && check.result.noisy.is_none() {
        check.result.noisy = floor;
    }
}

/// What hum is cured by, in this order.
pub(super) fn hum_cures(input: &LineInput) -> &'static [HumCure] {
    match (input.wire, input.kind) {
        (Wire::Di, SourceKind::Playback) => &[HumCure::Lift, HumCure::Charger, HumCure::LeadAway],
        (Wire::Di, _) => &[HumCure::Lift, HumCure::LeadAway, HumCure::OtherLead],
        (Wire::Line, SourceKind::Playback) => &[HumCure::Charger, HumCure::LeadAway, HumCure::OtherLead],
        _ => &[HumCure::LeadAway, HumCure::OtherLead],
    }
}

impl LineCheck {
    /// The first thing that is wrong with an input that arrived, or that can't arrive for its noise.
    pub(super) fn due_fault(&self) -> Option<(LineStep, usize)> {
        let fault = |(index, check): (usize, &Check)| {
            let (result, input) = (&check.result, &self.plan.inputs[index]);
            let arrived = result.outcome == LineOutcome::Arrived;
            let open = result.outcome == LineOutcome::Open && self.is_next(index);
            let step = match (result.copied_to, result.hum) {
                (Some(to), _) if arrived && !check.copy_asked => LineStep::Copied { to },
                (_, Some(hum)) if (arrived || (open && hum.over_rest >= HIDES)) && !check.hum_left => {
                    LineStep::HumCure(*hum_cures(input).get(usize::from(check.cures))?)
                }
                _ if result.noisy.is_some() && result.hum.is_none() && (arrived || open) && !check.noise_asked => {
                    LineStep::Noisy
                }
                _ => return None,
            };
            Some((step, index))
        };
        self.checks.iter().enumerate().find_map(fault)
    }

    fn is_next(&self, input: usize) -> bool {
        let open = |check: &Check| check.result.outcome == LineOutcome::Open && check.phantom != Phantom::Off;
        self.checks.iter().position(open) == Some(input)
    }

    /// A pair whose both sides arrived, and of which nothing is known yet.
    pub(super) fn due_pair(&self) -> Option<(usize, usize)> {
        self.plan.pairs.iter().find_map(|&(first, second)| {
            let (first, second) = (self.input_of(first)?, self.input_of(second)?);
            let arrived = |input: usize| self.checks[input].result.outcome == LineOutcome::Arrived;
            (arrived(first) && arrived(second) && !self.checks[second].middle_over).then_some((first, second))
        })
    }

    pub(super) fn begin_middle(&mut self, first: usize, second: usize, now: FrameCount) {
        let (with, way) = (self.channel(first), self.plan.inputs[second].way());
        let again = self.checks[second].middles > 0;
        self.checks[second].middles += 1;
        self.heard.alike = None;
        // Anew, even if these two were watched before.
        self.requests.push(LineRequest::Watch(None));
        self.requests.push(LineRequest::Watch(Some((self.channel(second), with))));
        self.show(LineStep::Middle { with, way, again }, Some(second), now);
    }

    pub(super) fn follow_middle(&mut self, with: ChannelId, way: Way, again: bool, ears: &LineEars, now: FrameCount) {
        let Some(second) = self.current.input else { return };
        let patient = self.waited(now) < MIDDLE;
        let check = &mut self.checks[second];
        match ears.alike().is_inverted() {
            Some(inverted) => {
                self.heard.alike = Some(ears.alike().correlation);
                check.result.put_right |= check.result.reversed == Some(true) && !inverted;
                check.result.reversed = Some(inverted);
                if inverted && !check.turned_over {
                    self.show(LineStep::Reversed { with }, Some(second), now);
                } else {
                    check.middle_over = true;
                    self.go_on(now);
                }
            }
            None if patient => {}
            None if again => {
                check.middle_over = true;
                self.go_on(now);
            }
            None => {
                check.middles += 1;
                self.show(LineStep::Middle { with, way, again: true }, Some(second), now);
            }
        }
    }

    pub(super) fn follow_phantom(&mut self, now: FrameCount) {
        if self.waited(now) >= PHANTOM_STANDS
            && let Some(input) = self.current.input
        {
            self.checks[input].phantom = Phantom::Switched;
            self.recall = Some((input, Call::Recheck));
            self.quiet(now);
        }
    }
}
