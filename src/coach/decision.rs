//! One channel's verdict from its evidence: the first rule that fires wins.
//!
//! 1 flat tops at full scale · 2 flat tops below it · 3 knob at its limit · 4 too high · 5 too low, or too
//! near its noise · 6 rumble · 7 set. A pure function, so that a recording, a live channel and a test are
//! judged alike. Common practice.

use super::advice::{Amount, Step, TrimCause, Turn};
use super::targets::Targets;
use crate::detectors::{Heard, NEAR_FLOOR, Tops};
use crate::units::{Db, Dbfs, Seconds};

/// More gain won't help when the sound is this near its floor.
const NEAR_ITS_FLOOR: Db = Db::new(20.0);
/// The aim below the ceiling after a turn down, and after a turn up.
const AIM_DOWN: Db = Db::new(3.0);
const AIM_UP: Db = Db::new(4.0);
/// Clipping hides how far it went over.
const CLIPPED_BY: Amount = Amount::LARGEST;
/// The leeway below that is lost with the first turn.
const TURNED_LOW: Db = Db::new(2.0);
const RUMBLE_SHARE: f64 = 0.25;
/// A take that never passes this holds nothing.
const SILENT_TAKE: Dbfs = Dbfs::new(-70.0);
/// A take whose sound lies below this, and this near to its noise, is too low.
const LOW_TAKE: Dbfs = Dbfs::new(-45.0);
/// Its highest peak leaves six of its bits unused.
const LOW_PEAK: Dbfs = Dbfs::new(-36.0);

/// What was answered or learned about the knob and the source.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Knows {
    /// The knob's end was reached in this direction.
    pub at_limit: Option<Turn>,
    /// More show lift, because "there's louder".
    pub extra_lift: Db,
    /// The knob was turned on request: now the window itself counts, not the leeway around it.
    pub turned: bool,
    /// A low-cut was asked for already.
    pub low_cut_asked: bool,
    /// Moving the microphone was asked for already.
    pub closer_asked: bool,
    /// The source was looked at already.
    pub source_asked: bool,
    /// The overload was said to be the desk's: its lamp is lit.
    pub desk_overload: bool,
    /// A mastered recording: equal peaks are meant.
    pub mastered: bool,
}

/// What to do about this channel; `None`: it is set.
pub fn decide(heard: &Heard, tops: &Tops, targets: &Targets, knows: &Knows) -> Option<Step> {
    let ceiling = targets.ceiling() - knows.extra_lift;
    let peak = heard.loudest;
    let trim = |turn, by, cause| Some(Step::Trim { turn, by, cause, again: false });
    let clipped = tops.clipped > 0 || tops.near_full_scale;

    if clipped || (knows.desk_overload && tops.flat > 0) {
        return if knows.at_limit == Some(Turn::Down) {
            Some(Step::Pad)
        } else {
            trim(Turn::Down, CLIPPED_BY, TrimCause::Clipped)
        };
    }
    if tops.flat > 0 && !knows.mastered && !knows.source_asked {
        return Some(Step::SourceOverload);
    }
    // After a turn it should stand well, not just pass.
    let (low, high) = match knows.turned {
        true => (targets.too_low() + TURNED_LOW, targets.ceiling()),
        false => (targets.too_low(), targets.too_high()),
    };
    if peak > high - knows.extra_lift {
        return if knows.at_limit == Some(Turn::Down) {
            Some(Step::Pad)
        } else {
            let by = Amount::nearest(peak - (ceiling - AIM_DOWN), Turn::Down);
            trim(Turn::Down, by, TrimCause::TooHigh)
        };
    }
    if peak < low - knows.extra_lift {
        let level = heard.activity.active_level;
        let noisy = heard.activity.floor.is_some_and(|floor| level - floor < NEAR_ITS_FLOOR);
        return if noisy && !knows.closer_asked {
            Some(Step::MoveCloser)
        } else if knows.at_limit == Some(Turn::Up) {
            Some(Step::WrongInput)
        } else {
            let by = Amount::nearest((ceiling - AIM_UP) - peak, Turn::Up);
            trim(Turn::Up, by, TrimCause::TooLow)
        };
    }
    match targets.low_cut {
        Some(at) if heard.rumble > RUMBLE_SHARE && !knows.low_cut_asked => Some(Step::LowCut { at }),
        _ => None,
    }
}

/// What to do about an input of which a whole recording was heard; `None`: it is set.
pub fn judge_input(heard: &Heard, tops: &Tops, targets: &Targets) -> Option<Step> {
    let knows = Knows::default();
    let verdict = decide(heard, tops, targets, &knows);
    let urgent = matches!(verdict, Some(Step::Trim { cause: TrimCause::Clipped, .. } | Step::SourceOverload));
    if urgent || targets.need.is_met(heard) {
        verdict
    } else if heard.active == Seconds::ZERO {
        Some(Step::CheckSource)
    } else {
        Some(Step::Listen { passage: targets.passage, again: true })
    }
}

/// What to do next time about a channel of a finished recording, highest at `peak`, whose source is not known; `None`: it can
/// be used. A take may come close to full scale; it may not clip, here or before, lie near its own noise, nor far below
/// what its meter has room for.
pub fn judge_take(heard: &Heard, tops: &Tops, peak: Dbfs) -> Option<Step> {
    let activity = &heard.activity;
    let near_noise = activity.floor.is_some_and(|floor| activity.active_level - floor < NEAR_FLOOR);
    if tops.clipped > 0 || tops.near_full_scale {
        Some(Step::Trim { turn: Turn::Down, by: CLIPPED_BY, cause: TrimCause::Clipped, again: false })
    } else if tops.flat > 0 {
        Some(Step::SourceOverload)
    } else if peak < SILENT_TAKE || activity.loud < SILENT_TAKE {
        Some(Step::CheckSource)
    } else if near_noise && (peak < LOW_PEAK || activity.active_level < LOW_TAKE) {
        // Gain would lift the noise as well.
        Some(Step::MoveCloser)
    } else if peak < LOW_PEAK {
        Some(Step::Trim { turn: Turn::Up, by: Amount::LARGEST, cause: TrimCause::TooLow, again: false })
    } else {
        None
    }
}

/// Whether the loudest peak stands where it may stay.
pub fn is_in_reach(peak: Dbfs, targets: &Targets) -> bool {
    peak >= targets.too_low() && peak <= targets.too_high()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meters::Activity;
    use crate::units::SourceKind;

    fn heard(peak: f64) -> Heard {
        let activity =
            Activity { floor: Some(Dbfs::new(-80.0)), active_level: Dbfs::new(peak - 12.0), ..Activity::default() };
        Heard { loudest: Dbfs::new(peak), activity, ..Heard::default() }
    }

    /// A soloist (show lift 6, ceiling −9) with this loudest peak.
    fn solo(peak: f64) -> Option<Step> {
        decide(&heard(peak), &Tops::default(), &Targets::of(SourceKind::SoloVocal), &Knows::default())
    }

    fn trim(step: Option<Step>) -> Option<(Turn, u8)> {
        match step {
            Some(Step::Trim { turn, by, .. }) => Some((turn, by.db())),
            _ => None,
        }
    }

    #[test]
    fn window_edges() {
        assert_eq!(solo(-8.0), None);
        assert_eq!(solo(-17.0), None);
        // −5 is 7 dB over the window's centre of −12.
        assert_eq!(trim(solo(-5.0)), Some((Turn::Down, 8)));
        assert_eq!(trim(solo(-7.9)), Some((Turn::Down, 4)));
        assert_eq!(trim(solo(-17.1)), Some((Turn::Up, 4)));
        assert_eq!(trim(solo(-40.0)), Some((Turn::Up, 10)));
    }

    #[test]
    fn clipping_comes_first_and_hides_its_size() {
        let tops = Tops { clipped: 1, ..Tops::default() };
        let targets = Targets::of(SourceKind::SoloVocal);
        assert_eq!(trim(decide(&heard(-12.0), &tops, &targets, &Knows::default())), Some((Turn::Down, 10)));
        let at_limit = Knows { at_limit: Some(Turn::Down), ..Knows::default() };
        assert_eq!(decide(&heard(-12.0), &tops, &targets, &at_limit), Some(Step::Pad));
    }

    #[test]
    fn flat_tops_below_full_scale_are_the_sources() {
        let tops = Tops { flat: 9, ..Tops::default() };
        let targets = Targets::of(SourceKind::Headset);
        let knows = Knows::default();
        assert_eq!(decide(&heard(-14.0), &tops, &targets, &knows), Some(Step::SourceOverload));
        assert_eq!(decide(&heard(-14.0), &tops, &targets, &Knows { mastered: true, ..knows }), None);
        let desk = Knows { desk_overload: true, ..knows };
        assert_eq!(trim(decide(&heard(-14.0), &tops, &targets, &desk)), Some((Turn::Down, 10)));
    }

    #[test]
    fn near_its_noise_gain_is_no_cure() {
        let mut faint = heard(-30.0);
        faint.activity.floor = Some(Dbfs::new(-55.0));
        let targets = Targets::of(SourceKind::Speech);
        assert_eq!(decide(&faint, &Tops::default(), &targets, &Knows::default()), Some(Step::MoveCloser));
    }

    #[test]
    fn louder_to_come_lowers_the_aim() {
        let knows = Knows { extra_lift: Db::new(3.0), ..Knows::default() };
        let step = decide(&heard(-9.0), &Tops::default(), &Targets::of(SourceKind::SoloVocal), &knows);
        assert_eq!(trim(step), Some((Turn::Down, 6)));
    }

    #[test]
    fn rumble_asks_for_the_low_cut_only_where_it_belongs() {
        let rumbling = Heard { rumble: 0.4, ..heard(-12.0) };
        let step = |kind| decide(&rumbling, &Tops::default(), &Targets::of(kind), &Knows::default());
        assert!(matches!(step(SourceKind::SoloVocal), Some(Step::LowCut { .. })));
        assert_eq!(step(SourceKind::Kick), None);
    }
}
