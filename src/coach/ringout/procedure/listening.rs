//! What each frame of rings does to the procedure: down at any ring, die, test, hold.
//!
//! Levels in dBFS, growth in dB/s, times on the audio clock. Of several rings the loudest comes first.

use super::{After, CALM, Goal, Phase, RingOut, TEST, WORTH_IT};
use crate::coach::advice::{Amount, Turn};
use crate::coach::ringout::advice::Haste;
use crate::coach::ringout::cures;
use crate::coach::ringout::cuts::{Change, Grab, NoCut, Remedy, same_tone};
use crate::coach::ringout::rings::{alive, is_fast, is_loud, loudest, settled, shares};
use crate::coach::ringout::setup::Place;
use crate::coach::ringout::spread::Move;
use crate::coach::ringout::stop::End;
use crate::detectors::{Certainty, Ring};
use crate::units::{Db, Dbfs, Seconds};

const HASTY: Db = Db::new(6.0);
/// After the fader went down a ring of this loop is gone, or dying, by then.
const DIES_WITHIN: Seconds = Seconds::new(2.0);
const TEST_WITHIN: Seconds = Seconds::new(2.5);
/// A ring that begins anew grows by more, dB/s.
const GROWS: f64 = 1.0;
/// A tone that grows so fast, dB/s, is listened to for longer.
const GROWS_SLOWLY: f64 = 0.3;
/// A quiet tone that only hangs on is climbed past in small steps; a stronger one is tested.
const STRONG: Dbfs = Dbfs::new(-50.0);
/// A growth is known so long after it changed.
const SLOW_TO_TELL: Seconds = Seconds::new(1.0);
/// Other tones that die with a ring, so much under it, may seem to grow as they fade; for so long after it.
const FAINT: Db = Db::new(10.0);
const SLOW_TO_DIE: Seconds = Seconds::new(3.0);
/// Turns in a row without listening.
const TURNS: u8 = 8;
/// Nobody carries a step out and hears a ring sooner than this.
const TIME_TO_ACT: Seconds = Seconds::new(1.0);

impl RingOut {
    pub(super) fn follow(&mut self, rings: &[Ring]) {
        let alarm =
            loudest(rings, |ring| alive(ring) && ring.certainty == Certainty::Ringing && !self.tones.is_aside(ring));
        let alarm = alarm.filter(|ring| !self.is_an_echo(ring));
        match (self.phase, alarm) {
            (Phase::Over | Phase::Cautions, _) => {}
            (Phase::Down { by, haste, again, done, after }, _) => {
                self.follow_down(rings, (by, haste, again, done, after))
            }
            (_, Some(ring)) => self.alarm(ring, rings),
            (Phase::Hold { since, goal }, None) => self.follow_hold(rings, since, goal),
            (Phase::Test { done: Some(done) }, None) => self.follow_test(rings, done),
            _ => {}
        }
    }

    /// The last of a ring that the fader has stopped already, not a new one.
    fn is_an_echo(&self, ring: &Ring) -> bool {
        let same = self.rang.is_some_and(|rang| same_tone(rang.frequency, ring.frequency));
        match self.phase {
            Phase::Hold { .. } => self.fader + CALM <= self.rang_at && self.is_the_last_of_it(ring),
            Phase::Cut(_)
            | Phase::Free { .. }
            | Phase::LowCut { .. }
            | Phase::Back { .. }
            | Phase::Open
            | Phase::Start { .. }
            | Phase::Leave { .. } => (same && ring.growth < GROWS) || self.is_the_last_of_it(ring),
            Phase::Test { done: Some(done) } => same && self.now - done < SLOW_TO_TELL && !is_fast(ring),
            _ => false,
        }
    }

    /// Much quieter than what has just died.
    fn is_the_last_of_it(&self, ring: &Ring) -> bool {
        let quieter = self.rang.is_some_and(|rang| rang.level - ring.level > FAINT);
        quieter && self.now - self.died < SLOW_TO_DIE && !is_loud(ring)
    }

    /// It rings: the fader comes down before anything else.
    fn alarm(&mut self, ring: Ring, rings: &[Ring]) {
        self.undoing = None;
        self.about = None;
        self.ending = None;
        let after = match self.phase {
            Phase::Prepare | Phase::Start { .. } | Phase::Open => After::Start,
            Phase::Hold { goal: Goal::Given(cut), .. } => After::CutAgain(cut),
            Phase::Hold { goal: Goal::Left, .. } | Phase::Leave { .. } | Phase::OpenAll | Phase::Dull => After::Lower,
            Phase::GiveBack(_) => After::Lower,
            Phase::CutAgain(cut) => After::CutAgain(cut),
            _ => After::Cut,
        };
        // A step that was not confirmed yet may be the very reason.
        if let (Phase::Up { .. } | Phase::Back { .. }, Some(asked)) = (self.phase, self.asked()) {
            let unseen = !self.sees_fader && self.now - self.shown >= TIME_TO_ACT;
            self.fader += if unseen { asked } else { self.moved };
        }
        self.moved = Db::ZERO;
        let same = self.rang.is_some_and(|rang| same_tone(rang.frequency, ring.frequency));
        let down = !matches!(self.phase, Phase::Back { .. });
        let still = (same && down) || self.now - self.died < SLOW_TO_DIE;
        self.rang_at = match self.phase {
            // It began further up, before the fader came down.
            Phase::Cut(_) | Phase::Free { .. } | Phase::LowCut { .. } | Phase::Back { .. } if still => self.rang_at,
            Phase::Test { done: Some(_) } => self.fader + Db::new(f64::from(TEST)),
            _ => self.fader,
        };
        self.rang = Some(ring);
        self.fine = true;
        self.shared = shares(&ring, rings);
        let haste = if is_fast(&ring) { Haste::Now } else { Haste::Calm };
        self.phase = Phase::Down { by: self.down_by(&ring, haste), haste, again: false, done: None, after };
        self.note_all(rings);
    }

    fn follow_down(&mut self, rings: &[Ring], state: (u8, Haste, bool, Option<Seconds>, After)) {
        let (by, haste, again, done, after) = state;
        let Some(rang) = self.rang else { return };
        let still = loudest(rings, |ring| alive(ring) && same_tone(ring.frequency, rang.frequency));
        self.shared |= shares(&rang, rings);
        if let Some(ring) = still {
            let louder = ring.level.max(rang.level);
            self.rang = Some(Ring { level: louder, growth: ring.growth.max(rang.growth), ..ring });
        }
        let Some(done_at) = done else {
            self.note_all(rings);
            // A hand that is on its way is not told anew.
            let late = self.now - self.shown >= TIME_TO_ACT;
            let more = self.rang.filter(|_| still.is_some_and(|ring| is_loud(&ring) || (late && is_fast(&ring))));
            if let Some(ring) = more.filter(|_| haste == Haste::Calm) {
                let by = by.max(self.down_by(&ring, Haste::Now));
                self.phase = Phase::Down { by, haste: Haste::Now, again, done, after };
            }
            return;
        };
        match still {
            None => self.has_died(after),
            Some(ring) if self.now - done_at < dies_within(&ring) || (again && self.now - done_at < DIES_WITHIN) => {}
            Some(_) if !again => {
                let by = self.down_by(&rang, Haste::Now);
                self.phase = Phase::Down { by, haste: Haste::Now, again: true, done: None, after };
            }
            Some(ring) => {
                self.tones.set_aside(&ring);
                self.books[self.output].forget(ring.frequency);
                self.phase = Phase::Quiet;
            }
        }
    }

    fn has_died(&mut self, after: After) {
        self.died = self.now;
        match after {
            // Cuts are for the microphones of the show; with fewer open only their limit is of interest.
            After::Cut if self.round + 1 < self.plan.outputs[self.output].rounds() => self.open_more(),
            After::Cut => self.remedy(),
            After::Start => self.phase = Phase::Start { to: self.plan.numbers.start },
            After::Lower => self.leave(),
            After::CutAgain(cut) => self.phase = Phase::CutAgain(cut),
        }
    }

    fn follow_hold(&mut self, rings: &[Ring], since: Seconds, goal: Goal) {
        let possible = loudest(rings, |ring| ring.end.is_none() && !self.tones.is_aside(ring));
        self.fine |= possible.is_some();
        let numbers = self.plan.numbers;
        // What grows and is heard in the hall is not waited for.
        let heard_growing = possible.is_some_and(|ring| settled(&ring) && is_heard_growing(&ring));
        let heard = self.now - since;
        if heard.get() + 1e-6 < numbers.wait.get() && !(heard_growing && goal == Goal::Climb) {
            return;
        }
        let growing = loudest(rings, |ring| ring.end.is_none() && ring.growth > GROWS_SLOWLY).is_some();
        let there = goal == Goal::Climb && self.plan.target.is_some_and(|target| self.fader >= target);
        let at_most = if there { numbers.wait_at_the_target } else { numbers.wait_at_most };
        if growing && !heard_growing && heard < at_most {
            return;
        }
        let proved = |ring: &Ring| self.tones.is_proved(ring.frequency);
        let grows = loudest(rings, |ring| settled(ring) && proved(ring) && is_heard_growing(ring));
        let testable = |ring: &Ring| settled(ring) && ring.level > STRONG && self.tones.has_room();
        let doubtful = loudest(rings, |ring| testable(ring) && !proved(ring) && !self.tones.is_aside(ring));
        match (goal, grows, doubtful) {
            // It follows the fader and it grows: no detector need be surer.
            (Goal::Climb, Some(ring), _) => self.alarm(ring, rings),
            (Goal::Climb, None, Some(ring)) => {
                self.rang = Some(ring);
                self.phase = Phase::Test { done: None };
            }
            (Goal::Climb, None, None) => self.climb(),
            (Goal::Left, ..) => {
                self.books[self.output].left_at = Some(self.fader);
                let cut = !self.books[self.output].cuts.cuts().is_empty();
                if cut { self.phase = Phase::Dull } else { self.next_output() }
            }
            (Goal::Given(_), ..) => self.next_output(),
        }
    }

    fn follow_test(&mut self, rings: &[Ring], done: Seconds) {
        let Some(tested) = self.rang else { return self.hold(Goal::Climb) };
        let same = |ring: &Ring| ring.end.is_none() && same_tone(ring.frequency, tested.frequency);
        let fell = |ring: &Ring| tested.level - ring.level >= Db::new(f64::from(TEST));
        match loudest(rings, |ring| same(ring) && alive(ring) && !fell(ring)) {
            None => {
                self.tones.prove(tested.frequency);
                // Others that die with it are proved by the same test.
                rings.iter().filter(|ring| !alive(ring)).for_each(|ring| self.tones.prove(ring.frequency));
            }
            Some(ring) if self.now - done >= TEST_WITHIN => self.tones.set_aside(&ring),
            Some(_) => return,
        }
        self.phase = Phase::Back { by: Db::new(f64::from(TEST)) };
    }

    /// Enough for a ring to die at once, and no more than a hand does in one move. The last step up is not always the
    /// first that was too high.
    fn down_by(&self, ring: &Ring, haste: Haste) -> u8 {
        let calm = CALM + Db::new(2.0 * f64::from(self.stepped));
        let least = if haste == Haste::Now { calm.max(HASTY) } else { calm };
        let excess = ring.excess.map_or(Db::ZERO, |excess| excess.max(Db::ZERO));
        Amount::nearest((excess + CALM).max(least), Turn::Down).db()
    }

    /// Every tone that rings now goes into the books.
    fn note_all(&mut self, rings: &[Ring]) {
        if !matches!(self.phase, Phase::Down { after: After::Cut, .. }) {
            return;
        }
        for ring in rings.iter().filter(|ring| alive(ring) && ring.certainty == Certainty::Ringing) {
            if !self.tones.is_aside(ring) {
                self.books[self.output].rang(ring, self.rang_at);
            }
        }
    }

    /// What to do about the ring that has just died.
    pub(super) fn remedy(&mut self) {
        let Some(ring) = self.rang else { return };
        let place = self.place(&ring);
        let equaliser = self.equaliser(place);
        let numbers = self.plan.numbers;
        let microphones = self.microphones().len();
        let kind = self.kind(ring.channel);
        let books = &mut self.books[self.output];
        books.rang(&ring, self.rang_at);
        books.met(self.rang_at);
        let alone = !self.shared && microphones > 1;
        self.cures[self.output] =
            cures::for_ring(ring.frequency, kind, alone, &books.onsets).or(self.cures[self.output]);
        match books.cuts.remedy(ring.frequency, place, equaliser, books.low_cut) {
            Remedy::LowCut { at } => self.phase = Phase::LowCut { at, place },
            Remedy::Nothing(NoCut::FullDepth) => self.spread_anew(place, End::FullDepth),
            Remedy::Nothing(why) => self.finish(why.into()),
            Remedy::Cut(mut change) => {
                // The last band is for the nearest one alone, and no neighbour is worth a hole.
                let full = books.cuts.cuts().len() + books.cuts.new_bands(&change) > numbers.bands;
                let deep = |grab: &Grab| grab.by < Db::ZERO && books.cuts.makes_deep_neighbours(grab);
                if full || change.neighbour.as_ref().is_some_and(deep) {
                    change.neighbour = None;
                }
                match books.judge(ring.frequency, self.rang_at, &change, &numbers) {
                    Some(end) => self.spread_anew(place, end),
                    None => {
                        self.about = None;
                        self.phase = Phase::Cut(change);
                    }
                }
            }
        }
    }

    /// The bands spread another way may do more; else it ends here.
    fn spread_anew(&mut self, place: Place, end: End) {
        self.turns = 0;
        // Against a wall of tones it must be worth the while.
        let least = if end == End::ManyTones { WORTH_IT } else { self.plan.numbers.worth };
        // The bands end as they do most for all that was heard, not as the last try left them.
        self.ending = self.books[self.output].is_tired(self.rang_at, &self.plan.numbers).then_some(end);
        if !self.turn_next(place, least) {
            self.finish(end);
        }
    }

    /// The next turn towards a better spread of the bands, if there is one.
    pub(super) fn turn_next(&mut self, place: Place, least: Db) -> bool {
        let on = (place, self.equaliser(place));
        let next = self.books[self.output].better(on, &self.plan.numbers);
        let next = next.filter(|next| next.gains >= least && self.turns < TURNS);
        let Some(Move { ring, free, cut, .. }) = next else { return false };
        self.turns += 1;
        self.about = Some(ring);
        self.phase = match free {
            Some(free) => Phase::Free { free, cut },
            None => Phase::Cut(Change { main: cut, neighbour: None }),
        };
        true
    }
}

/// What people hear and what does not fall is not waited for.
fn dies_within(ring: &Ring) -> Seconds {
    if ring.level > STRONG { SLOW_TO_TELL } else { DIES_WITHIN }
}

/// It grows and people hear it, or it is loud.
fn is_heard_growing(ring: &Ring) -> bool {
    (ring.growth > GROWS_SLOWLY && ring.level > STRONG) || is_loud(ring)
}
