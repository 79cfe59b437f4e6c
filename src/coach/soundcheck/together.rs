//! The last listening: everyone plays the loudest song, with every knob where it will stay.
//!
//! A hand may have turned a knob that no one asked for, and no single reading gives that away while the
//! others play. So after the last turn every input is heard once more, and only who is out of reach is
//! asked again. Common practice: a run of the loudest song ends the soundcheck.

use super::{Connection, Current, Outcome, Request, Soundcheck, TRIMS};
use crate::coach::advice::{Advice, Step, Why};
use crate::coach::decision;
use crate::coach::targets::{Need, Targets};
use crate::detectors::Detectors;
use crate::units::{ChannelId, Db, Dbfs, Seconds};

/// As long as a verse and a chorus, and no longer than a song.
const AT_LEAST: Seconds = Seconds::new(20.0);
const AT_MOST: Seconds = Seconds::new(120.0);
/// Of a peak among others.
const DOUBT: Db = Db::new(1.0);

impl Soundcheck {
    /// Whether everyone has to be heard together before all is set.
    pub(super) fn owes_a_run(&self) -> bool {
        self.turned && self.connection == Connection::Usb && self.checks.len() > 1
    }

    pub(super) fn begin_run(&mut self, now: Seconds) {
        self.requests.push(Request::RestartAll);
        self.show(0, Step::PlayTogether, now);
    }

    pub(super) fn follow_run(&mut self, current: Current, detectors: &Detectors, now: Seconds) {
        let waited = now - current.since;
        let heard = |input: usize| self.checks[input].enough(detectors.heard(ChannelId::from_index(input)));
        let all = (0..self.checks.len()).all(|input| self.checks[input].outcome != Outcome::Set || heard(input));
        if (all && waited >= AT_LEAST) || current.done_at.is_some() || waited >= AT_MOST {
            self.end_run(detectors);
        }
    }

    /// Judges whoever was heard enough; the others stay as they were.
    fn end_run(&mut self, detectors: &Detectors) {
        self.turned = false;
        for (index, check) in self.checks.iter_mut().enumerate() {
            let heard = detectors.heard(ChannelId::from_index(index));
            if check.outcome != Outcome::Set || !check.enough(heard) {
                continue;
            }
            check.judged = heard.loudest;
            if !is_well_in_reach(heard.loudest, &check.input.targets) && check.trims < TRIMS {
                check.outcome = Outcome::Open;
                check.knows.turned = true;
                check.confirmed = false;
                check.expect = None;
                // They were asked just now: what remains is whether that was the loudest.
                check.asked = true;
            }
        }
        self.drop_step();
    }

    pub(super) fn explain_run(&mut self, detectors: &Detectors, now: Seconds) {
        let unseen = self.advice.why.unseen;
        let since = self.current.map_or(now, |current| current.since);
        let loudest = detectors.channels().map(|line| detectors.heard(line).loudest);
        let why = Why {
            active: now - since,
            need: Some(Need::Active(AT_LEAST)),
            peak: loudest.fold(Dbfs::SILENCE, Dbfs::max),
            ..super::nothing(unseen)
        };
        self.advice = Advice { step: Step::PlayTogether, channel: None, why };
    }
}

/// With the others' sound upon it a peak may read a little high.
fn is_well_in_reach(peak: Dbfs, targets: &Targets) -> bool {
    decision::is_in_reach(peak - DOUBT, targets) && decision::is_in_reach(peak + DOUBT, targets)
}
