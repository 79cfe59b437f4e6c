//! When to stop with one output, and what its ring-out brought.
//!
//! Any of: target reached; six bands used; three different tones within 2 dB of the fader; a new tone within a third of
//! an octave of a cut at −6; cuts that buy less than 1 dB; two neighbouring bands both at −6. Common practice. These say
//! when the cut at hand is not to be made; it ends there only if no other spread of the bands promises more (see
//! [`Spread`]): taken one by one, the rules end most halls at half of what six bands can buy, because in an echoing hall
//! the first tones always lie close together, and only when all of them are cut can the fader rise. What is never done:
//! more than six bands, two deep neighbours, going on after ten rings between which the fader rose by less than 1 dB.

use super::cuts::{Change, CutList, Grab, NoCut, same_tone};
use super::equaliser::{Equaliser, octaves};
use super::setup::{Numbers, Place};
use super::spread::{Move, Spread};
use crate::detectors::Ring;
use crate::units::{Db, Hertz};

/// Why an output's ring-out is over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The target, and nothing had to be cut.
    NoCutsNeeded,
    TargetReached,
    BandsUsed,
    ManyTones,
    NearDeepCut,
    BoughtLittle,
    DeepNeighbours,
    /// The same tone again, and its band is as deep as it may be.
    FullDepth,
    /// The equaliser here cures no ring in the middle.
    NoEqualiser,
    /// A cut could not be made, or was not wanted.
    Declined,
    /// The fader is at its end.
    FaderAtEnd,
    /// It was asked to stop.
    Stopped,
}

/// A tone that rang, and where the fader stood.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    pub frequency: Hertz,
    pub fader: Db,
    /// Cuts that had been made before it.
    pub after: u32,
}

/// The books of one output.
#[derive(Clone, Debug, Default)]
pub struct Books {
    pub cuts: CutList,
    /// The highest position that was listened to without a ring, now and before the first cut.
    pub held: Option<Db>,
    pub before: Option<Db>,
    pub onsets: Vec<Onset>,
    /// Where the fader stood at each new tone that was cut, and at each ring.
    levels: Vec<Db>,
    steps: Vec<Db>,
    /// All that rang, for another spread of the bands.
    spread: Spread,
    made: u32,
    pub low_cut: bool,
    pub end: Option<End>,
    /// Where the fader was left.
    pub left_at: Option<Db>,
    /// A trim was turned, a microphone moved: the cuts may be wrong now.
    pub check_again: bool,
}

const ROOM: usize = 96;
/// It rang at this step of 1 dB and not at the last.
const HALF_A_STEP: Db = Db::new(0.5);
/// Tones nearer than this are one as far as a wall of tones goes, in octaves.
const DIFFERENT: f64 = 1.0 / 6.0;

impl Books {
    pub fn new() -> Self {
        Self {
            onsets: Vec::with_capacity(ROOM),
            levels: Vec::with_capacity(ROOM),
            steps: Vec::with_capacity(ROOM),
            ..Self::default()
        }
    }

    /// A step was listened to and nothing rang.
    pub fn hold(&mut self, fader: Db) {
        self.held = Some(self.held.map_or(fader, |held| held.max(fader)));
        if self.made == 0 {
            self.before = self.held;
        }
    }

    /// With other microphones open the limits are found anew.
    pub fn open_more(&mut self) {
        self.held = None;
        if self.made == 0 {
            self.before = None;
        }
        self.levels.clear();
        self.steps.clear();
        self.spread.forget_below(Hertz::new(f64::INFINITY));
    }

    /// A low-cut changes what lies within an octave above it.
    pub fn cut_low(&mut self, at: Hertz) {
        self.low_cut = true;
        self.spread.forget_below(Hertz::new(2.0 * at.get()));
    }

    /// A ring was confirmed with the fader at `fader`.
    pub fn rang(&mut self, ring: &Ring, fader: Db) {
        let frequency = ring.frequency;
        let known =
            |onset: &Onset| onset.after == self.made && onset.fader <= fader && same_tone(onset.frequency, frequency);
        if !self.onsets.iter().any(known) && self.onsets.len() < ROOM {
            self.onsets.push(Onset { frequency, fader, after: self.made });
            let of_output = self.cuts.cuts().iter().filter(|cut| matches!(cut.place, Place::Output(_)));
            self.spread.rang(ring, fader - HALF_A_STEP, of_output);
        }
    }

    /// That tone was none of this loop's.
    pub fn forget(&mut self, frequency: Hertz) {
        self.onsets.retain(|onset| onset.after != self.made || !same_tone(onset.frequency, frequency));
        self.spread.forget(frequency);
    }

    /// It was cut; `new_tone`: its band was not touched before.
    pub fn cut(&mut self, change: Change, fader: Db) {
        let new_tone = self.cuts.depth(change.main.place, change.main.band) == Db::ZERO;
        if new_tone && self.levels.len() < ROOM {
            self.levels.push(fader);
        }
        self.made += 1;
        self.cuts.apply(change);
    }

    /// A band went back to make room; only `fader` is known to be quiet without it.
    pub fn free(&mut self, grab: &Grab, fader: Db) {
        self.held = self.held.map(|held| held.min(fader));
        self.cuts.free(grab);
    }

    /// A ring is about to be dealt with.
    pub fn met(&mut self, fader: Db) {
        if self.steps.len() < ROOM {
            self.steps.push(fader);
        }
    }

    /// Where the first tone that is known would ring now.
    pub fn limit(&self) -> Db {
        self.spread.limit(self.cuts.cuts())
    }

    /// Whether the last rings bought too little, whatever is promised.
    pub fn is_tired(&self, fader: Db, numbers: &Numbers) -> bool {
        let before = self.steps.len().checked_sub(numbers.poor_rings + 1).map(|index| self.steps[index]);
        before.is_some_and(|before| fader - before < numbers.poor)
    }

    /// The next turn towards the best spread of the bands of an output.
    pub fn better(&mut self, on: (Place, Equaliser), numbers: &Numbers) -> Option<Move> {
        let Self { spread, cuts, .. } = self;
        let of_output = matches!(on.0, Place::Output(_));
        spread.next(on, cuts.cuts(), numbers.bands, |band| cuts.may(on.0, band)).filter(|_| of_output)
    }

    /// What the cuts bought: from the highest position without them to the highest now.
    pub fn bought(&self) -> Db {
        match (self.before, self.held) {
            (Some(before), Some(held)) => (held - before).max(Db::ZERO),
            _ => Db::ZERO,
        }
    }

    /// Whether to stop rather than make `change` against the tone that rings at `fader`.
    pub fn judge(&self, frequency: Hertz, fader: Db, change: &Change, numbers: &Numbers) -> Option<End> {
        let list = &self.cuts;
        let touched = list.depth(change.main.place, change.main.instead_of.unwrap_or(change.main.band)) < Db::ZERO;
        if list.makes_deep_neighbours(&change.main) {
            return Some(End::DeepNeighbours);
        }
        if !self.rang_before(frequency) && list.is_near_a_deep_cut(frequency, change) {
            return Some(End::NearDeepCut);
        }
        if list.cuts().len() + list.new_bands(change) > numbers.bands {
            return Some(End::BandsUsed);
        }
        let tones = self.tones_together(fader, numbers.tones_within);
        if tones >= numbers.tones && list.cuts().len() + tones > numbers.bands {
            return Some(End::ManyTones);
        }
        let before = self.levels.len().checked_sub(numbers.poor_cuts).and_then(|index| self.levels.get(index));
        if !touched && before.is_some_and(|&before| fader - before < numbers.poor) {
            return Some(End::BoughtLittle);
        }
        None
    }

    fn rang_before(&self, frequency: Hertz) -> bool {
        self.onsets.iter().any(|onset| onset.after < self.made && same_tone(onset.frequency, frequency))
    }

    /// Different tones that rang since the last cut, within `range` of each other.
    fn tones_together(&self, fader: Db, range: Db) -> usize {
        let near = |onset: &Onset| onset.after == self.made && (onset.fader - fader).abs() <= range;
        let together = || self.onsets.iter().filter(|onset| near(onset));
        let first = |(index, onset): (usize, &Onset)| {
            !together().take(index).any(|other| octaves(other.frequency, onset.frequency) < DIFFERENT)
        };
        together().enumerate().filter(|&(index, onset)| first((index, onset))).count()
    }
}

impl From<NoCut> for End {
    fn from(why: NoCut) -> Self {
        match why {
            NoCut::Shelves => Self::NoEqualiser,
            NoCut::FullDepth => Self::FullDepth,
            NoCut::Declined => Self::Declined,
            NoCut::KnobTaken => Self::BandsUsed,
        }
    }
}

impl End {
    /// Whether all that was wanted is there.
    pub const fn is_target(self) -> bool {
        matches!(self, Self::NoCutsNeeded | Self::TargetReached)
    }
}

#[cfg(test)]
mod tests {
    use super::super::cuts::Remedy;
    use super::super::equaliser::Equaliser;
    use super::super::rings::tests::heard;
    use super::super::setup::{Output, Place};
    use super::*;

    fn numbers() -> Numbers {
        Numbers::default()
    }

    /// A ring at the fader's position: cut, or the reason not to.
    fn ring(books: &mut Books, hz: f64, fader: f64) -> Option<End> {
        let (frequency, fader) = (Hertz::new(hz), Db::new(fader));
        books.rang(&heard(hz), fader);
        let Remedy::Cut(change) =
            books.cuts.remedy(frequency, Place::Output(Output::Mains), Equaliser::ThirdOctave, true)
        else {
            return Some(End::FullDepth);
        };
        let end = books.judge(frequency, fader, &change, &numbers());
        if end.is_none() {
            books.cut(change, fader);
        }
        end
    }

    #[test]
    fn six_bands_are_enough() {
        let mut books = Books::new();
        for (index, hz) in [250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0].into_iter().enumerate() {
            assert_eq!(ring(&mut books, hz, index as f64), None);
        }
        assert_eq!(ring(&mut books, 1005.0, 7.0), None);
        assert_eq!(ring(&mut books, 630.0, 8.0), Some(End::BandsUsed));
    }

    #[test]
    fn cuts_that_buy_nothing() {
        let mut books = Books::new();
        for hz in [250.0, 1000.0, 4000.0] {
            assert_eq!(ring(&mut books, hz, 3.0), None);
        }
        // The same tone again is another matter.
        assert_eq!(ring(&mut books, 4000.0, 3.0), None);
        assert_eq!(ring(&mut books, 500.0, 3.9), Some(End::BoughtLittle));
        assert_eq!(ring(&mut books, 500.0, 4.0), None);
    }

    /// Four tones at once: with three bands left not all can be cut.
    #[test]
    fn more_tones_at_once_than_bands_left() {
        let wall = |cut_before: &[f64]| {
            let mut books = Books::new();
            for (index, &hz) in cut_before.iter().enumerate() {
                assert_eq!(ring(&mut books, hz, index as f64 * 2.0), None);
            }
            for (hz, fader) in [(500.0, 9.0), (505.0, 9.0), (1000.0, 10.0), (4000.0, 10.0), (3000.0, 6.5)] {
                books.rang(&heard(hz), Db::new(fader));
            }
            ring(&mut books, 2000.0, 11.0)
        };
        assert_eq!(wall(&[200.0, 315.0]), None);
        assert_eq!(wall(&[200.0, 315.0, 8000.0]), Some(End::ManyTones));
    }

    #[test]
    fn a_new_tone_by_a_deep_cut() {
        let mut books = Books::new();
        assert_eq!(ring(&mut books, 1000.0, 1.0), None);
        assert_eq!(ring(&mut books, 1000.0, 1.0), None);
        assert_eq!(ring(&mut books, 1250.0, 2.0), Some(End::NearDeepCut));
        assert_eq!(ring(&mut books, 1000.0, 2.0), None);
        assert_eq!(ring(&mut books, 1000.0, 3.0), Some(End::FullDepth));
    }

    #[test]
    fn two_deep_neighbours() {
        let mut books = Books::new();
        for hz in [1000.0, 1250.0, 1000.0] {
            assert_eq!(ring(&mut books, hz, 1.0), None);
        }
        assert_eq!(ring(&mut books, 1250.0, 1.0), Some(End::DeepNeighbours));
        assert_eq!(ring(&mut books, 1000.0, 1.0), None);
    }

    #[test]
    fn what_was_bought() {
        let mut books = Books::new();
        books.hold(Db::new(2.0));
        assert_eq!(ring(&mut books, 1000.0, 3.0), None);
        assert_eq!(books.bought(), Db::ZERO);
        books.hold(Db::new(5.5));
        assert_eq!(books.bought(), Db::new(3.5));
    }
}
