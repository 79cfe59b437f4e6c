//! Loudspeakers: left, right, and whether they pull together, by a quiet noise and somebody's ears.
//!
//! Nothing plays before somebody said yes. Each side plays for at most 12 s, then falls silent and can be asked for
//! again. For polarity both play twice, 2 s each, the second time with the right one upside down: whichever has more body is the right way up.
//! A microphone in the hall decides by itself where the two differ by 3 dB (two boxes that pull together give 6 dB in
//! the middle, and nearly nothing against each other; elsewhere in the hall less, hence the question).

use super::LineCheck;
use super::advice::{LineAnswer, LineStep, Side, SpeakerResult, TestSound};
use crate::detectors::LineEars;
use crate::units::{Db, Dbfs, FrameCount, Seconds};

const PLAYS: Seconds = Seconds::new(12.0);
/// Of the two sounds that are compared: each, and the rest between.
const SOUND: Seconds = Seconds::new(2.0);
const REST: Seconds = Seconds::new(0.5);
/// What is measured of each: the last part, in hops.
const HOPS: usize = 120;
const CLEAR: Db = Db::new(3.0);
/// Over the hall's own noise.
const HEARD: Db = Db::new(6.0);

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Speakers {
    pub result: SpeakerResult,
    pub sound: TestSound,
    asked: bool,
    sides: [Option<LineAnswer>; 2],
    mended: [bool; 3],
    polarity_over: bool,
    room_over: bool,
    /// What the hall's microphone read of the first sound.
    first: Option<Dbfs>,
}

impl LineCheck {
    /// What is still to be asked about the loudspeakers.
    pub(super) fn next_speaker_step(&self) -> Option<LineStep> {
        let Speakers { result, asked, sides, mended, .. } = self.speakers;
        let side = |answer: Option<LineAnswer>, side| answer.is_none().then_some(LineStep::WhichSide { side });
        if !self.plan.loudspeakers {
            return None;
        }
        if !asked {
            return Some(LineStep::AskSound);
        }
        if !result.checked {
            return None;
        }
        side(sides[0], Side::Left)
            .or_else(|| side(sides[1], Side::Right))
            .or_else(|| (result.swapped && !mended[0]).then_some(LineStep::SwapSpeakers))
            .or_else(|| {
                let silent = [Side::Left, Side::Right].into_iter().find(|side| result.silent[*side as usize])?;
                (!mended[1]).then_some(LineStep::SpeakerSilent { side: silent })
            })
            .or_else(|| {
                let both = !result.silent.contains(&true) && !result.one_for_both;
                (both && !self.speakers.polarity_over).then_some(match self.plan.room {
                    Some(_) if !self.speakers.room_over => LineStep::RoomListens,
                    _ => LineStep::Fuller,
                })
            })
            .or_else(|| (result.reversed == Some(true) && !mended[2]).then_some(LineStep::SpeakersReversed))
    }

    pub(super) fn show_speaker_step(&mut self, step: LineStep, now: FrameCount) {
        self.speakers.first = None;
        self.speakers.sound = TestSound::Silent;
        self.show(step, None, now);
    }

    /// Time goes by while something plays.
    pub(super) fn follow_speakers(&mut self, ears: &LineEars, now: FrameCount) {
        let waited = self.waited(now);
        let (first, second) = (REST + SOUND, REST + SOUND + REST + SOUND);
        self.speakers.sound = match self.current.step {
            LineStep::WhichSide { side } if waited < PLAYS => match side {
                Side::Left => TestSound::Left,
                Side::Right => TestSound::Right,
            },
            LineStep::Fuller | LineStep::RoomListens if waited >= REST && waited < first => TestSound::Same,
            LineStep::Fuller | LineStep::RoomListens if waited >= first + REST && waited < second => {
                TestSound::Reversed
            }
            _ => TestSound::Silent,
        };
        if self.current.step == LineStep::RoomListens
            && let Some(room) = self.plan.room
        {
            let level = ears.level(room, HOPS);
            if waited >= first && self.speakers.first.is_none() {
                self.speakers.first = Some(level);
            }
            if waited >= second {
                let same = self.speakers.first.unwrap_or(Dbfs::SILENCE);
                let heard = ears.floor(room).is_some_and(|floor| same.max(level) >= floor + HEARD);
                self.speakers.room_over = true;
                if heard && (same - level).abs() >= CLEAR {
                    self.polarity(level > same);
                }
                self.go_on(now);
            }
        }
    }

    pub(super) fn answer_speakers(&mut self, answer: LineAnswer, now: FrameCount) {
        use LineAnswer::{Again, Both, Done, First, Left, Nowhere, Right, Same, Second, Skip};
        match (self.current.step, answer) {
            (LineStep::AskSound, Done | LineAnswer::No | Skip) => {
                self.speakers.asked = true;
                self.speakers.result.checked = answer == Done;
            }
            (LineStep::WhichSide { .. } | LineStep::Fuller, Again) => {
                return self.show_speaker_step(self.current.step, now);
            }
            (LineStep::WhichSide { side }, Left | Right | Both | Nowhere | Skip) => {
                self.speakers.sides[side as usize] = Some(answer);
                self.judge_sides();
            }
            (LineStep::Fuller, First | Second | Same | Skip) => {
                self.speakers.polarity_over = true;
                if matches!(answer, First | Second) {
                    self.polarity(answer == Second);
                }
            }
            (LineStep::SwapSpeakers, Done | Skip) => self.mended(0, answer == Done),
            (LineStep::SpeakerSilent { .. }, Done | Skip) => self.mended(1, answer == Done),
            (LineStep::SpeakersReversed, Done | Skip) => {
                self.mended(2, false);
                if answer == Done {
                    (self.speakers.polarity_over, self.speakers.room_over) = (false, false);
                }
            }
            (LineStep::RoomListens, Skip) => self.speakers.room_over = true,
            _ => return,
        }
        self.go_on(now);
    }

    /// Once both were answered.
    fn judge_sides(&mut self) {
        use LineAnswer::{Both, Left, Nowhere, Right};
        let Speakers { sides, result, .. } = &mut self.speakers;
        if sides.contains(&None) {
            return;
        }
        let before = result.has_fault();
        result.swapped =
            matches!(sides, [Some(Right), Some(Left | Nowhere)]) || matches!(sides, [Some(Nowhere), Some(Left)]);
        result.one_for_both = sides.contains(&Some(Both));
        // A swapped pair with one box silent: it is the box on the other side that is.
        let silent = sides.map(|side| side == Some(Nowhere));
        result.silent = if result.swapped { [silent[1], silent[0]] } else { silent };
        result.put_right |= before && !result.has_fault();
    }

    fn polarity(&mut self, reversed: bool) {
        let result = &mut self.speakers.result;
        result.put_right |= result.reversed == Some(true) && !reversed;
        result.reversed = Some(reversed);
        self.speakers.polarity_over = true;
    }

    /// A cure was asked for; if it was carried out, both sides are heard again.
    fn mended(&mut self, which: usize, done: bool) {
        self.speakers.mended[which] = true;
        if done {
            self.speakers.sides = [None; 2];
        }
    }
}
