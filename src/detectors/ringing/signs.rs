//! The evidence: what a tone's history says for and against a ring, each as a number.
//!
//! Input: a tone's points, 20 ms apart, and its neighbours. With the noise h dB below the tone, levels shake by about
//! 6 · 10^(−h/20) dB and frequencies by as many Hz: first-order Rice statistics, widened for sound that is no noise.

use super::company::{Company, partials};
use super::judge::may_ring;
use super::line::Line;
use super::ring::Signs;
use super::track::{Point, STEP, Track};
use crate::units::{Db, Dbfs, Seconds};

/// Hz by which a window full of growth draws a tone's frequency, for each dB a second.
const PULLED: f64 = 0.01;
/// A tone that stands over all else: dB, spectra, and dB down to its strongest partial.
const STANDS_OVER: f32 = 15.0;
const STANDS_FOR: usize = 25;
const STANDS_PURE: f64 = 12.0;

/// The signs of a tone that is there now, and its mean frequency along the line in Hz; `None` while it is too young
/// or too low to be judged.
pub(super) fn signs<'a>(track: &Track, all: impl Iterator<Item = &'a Track> + Clone) -> Option<(Signs, f64)> {
    let now = track.point(0).filter(|now| track.age >= 5 && now.height >= 11.0)?;
    let line = Line::newest(track)?;
    let frequency = track.peak.frequency.get();
    let growth = line.sums.slope();
    let mut signs = Signs {
        width: track.peak.width.get() / frequency,
        wander: line.sums.wander() / frequency,
        unsteady: line.sums.wander() / (0.05 + line.sums.shake() + PULLED * growth.abs()),
        straight: line.sums.straight(),
        height: Db::new(f64::from(now.height)),
        harmonics: below(track.peak.over, track.peak.level),
        under: below(track.peak.under, track.peak.level),
        stood: Seconds::new(track.age as f64 * STEP),
        line: Seconds::new(line.length as f64 * STEP),
        growth,
        rise: Db::new(growth * line.length as f64 * STEP),
        rough: Db::new(line.sums.rough()),
        bend: line.bend / growth.max(1.5),
        climbed: Db::new(f64::from(now.level) - track.first),
        rising: track.rising(),
        leap: Db::new(track.leap),
        after_leap: Db::new(f64::from(now.level) - track.leapt_to),
        foot: Db::new(line.foot),
        covered: line.covered,
        share: Db::new(f64::from(now.level - now.rest)),
        ..Signs::default()
    };
    // The other tones are asked only where their answer may matter: most of the work would be theirs.
    if may_ring(&signs, frequency) {
        let company = Company::of(track, line.length, all);
        signs.partials = company.partials.map(|level| track.peak.level - level);
        (signs.kin, signs.kin_rising, signs.peers, signs.alike) =
            (company.kin, company.kin_rising, company.peers, company.alike);
        (signs.family_rising, signs.series) = (company.family_rising, company.series);
        (signs.comb, signs.older) = (company.comb, company.older);
    }
    Some((signs, track.base + line.sums.frequency()))
}

fn below(line: Dbfs, level: Dbfs) -> Option<Db> {
    (!line.is_silence()).then(|| level - line)
}

/// Whether a tone stands over all else as pure and steady as no player holds one: a loop at its limit, which may have
/// got there too fast for its growth to be seen.
pub(super) fn stands<'a>(track: &Track, all: impl Iterator<Item = &'a Track> + Clone) -> bool {
    let Some(now) = track.point(0).filter(|now| now.level - now.rest > STANDS_OVER) else { return false };
    let steady = (0..STANDS_FOR).all(|back| {
        let near = |point: &Point| (point.level - now.level).abs() < 0.15 && (point.off - now.off).abs() < 0.15;
        track.point(back).is_some_and(near)
    });
    let level = track.peak.level.get();
    steady && partials(track, all).is_none_or(|partial| level - partial.get() > STANDS_PURE)
}
#[cfg(test)]
mod tests {
    use super::super::track::Tracks;
    use super::*;
    use crate::meters::{Peak, Spectrum};
    use crate::units::Hertz;

    fn peak(hz: f64, level: f64) -> Peak {
        Peak {
            frequency: Hertz::new(hz),
            level: Dbfs::new(level),
            width: Hertz::new(15.0),
            surroundings: Dbfs::new(-80.0),
            over: Dbfs::SILENCE,
            under: Dbfs::SILENCE,
        }
    }

    /// Signs of the first tone after spectra whose peaks `at` gives.
    fn after(frames: u32, at: impl Fn(f64) -> Vec<Peak>) -> Signs {
        let mut tracks = Tracks::new();
        for frame in 0..frames {
            let peaks = at(f64::from(frame) * STEP);
            let spectrum =
                Spectrum { count: frame.into(), fresh: false, level: Dbfs::new(-20.0), peaks, ..Spectrum::default() };
            tracks.follow(&spectrum, Seconds::ZERO);
        }
        let first = tracks.iter().next().expect("a tone");
        signs(first, tracks.iter()).expect("old and high enough").0
    }

    /// Closed forms of a straight line: 20 dB a second for a second.
    #[test]
    fn a_straight_line() {
        let signs = after(51, |t| vec![peak(1000.0, -65.0 + 20.0 * t)]);
        assert!((signs.growth - 20.0).abs() < 1e-3 && (signs.line.get() - 1.02).abs() < 1e-9, "{signs:?}");
        assert!((signs.rise.get() - 20.4).abs() < 1e-3 && (signs.climbed.get() - 20.0).abs() < 1e-4);
        assert!(signs.rough.get() < 1e-2 && signs.straight > 0.9999 && signs.wander < 1e-9 && signs.bend.abs() < 1e-3);
        assert!(
            (signs.leap.get() - 1.2).abs() < 1e-4 && (signs.height.get() - 35.0).abs() < 1e-4 && signs.rising == 1.0
        );
        assert_eq!((signs.family_rising, signs.alike, signs.kin, signs.peers), (0, 0, 0, 0));
    }

    /// An attack of 30 dB in 60 ms, then nothing: the line is level and the leap tells.
    #[test]
    fn an_attack() {
        let signs = after(60, |t| vec![peak(440.0, -50.0 + (500.0 * t).min(30.0))]);
        assert!(signs.growth.abs() < 0.5 && signs.leap.get() > 29.0 && signs.rise.get() < 1.0, "{signs:?}");
    }

    /// Vibrato of a quarter of a semitone, 6 a second.
    #[test]
    fn a_wobble() {
        let signs = after(60, |t| vec![peak(440.0 + 3.0 * (37.7 * t).sin(), -50.0 + 10.0 * t)]);
        assert!(signs.wander > 0.002 && signs.unsteady > 5.0, "{signs:?}");
    }

    #[test]
    fn partials_that_rise_together() {
        let signs = after(40, |t| (1..6).map(|k| peak(500.0 * f64::from(k), -60.0 + 20.0 * t)).collect());
        assert_eq!((signs.family_rising, signs.alike, signs.kin, signs.kin_rising, signs.peers), (4, 4, 4, 4, 4));
    }

    #[test]
    fn too_young_or_too_low() {
        let mut tracks = Tracks::new();
        for frame in 0..20 {
            let peaks = vec![peak(500.0, if frame < 10 { -30.0 } else { -70.5 })];
            tracks.follow(
                &Spectrum { count: frame, fresh: false, level: Dbfs::new(-20.0), peaks, ..Spectrum::default() },
                Seconds::ZERO,
            );
            let track = tracks.iter().next().unwrap();
            assert_eq!(signs(track, tracks.iter()).is_some(), (4..10).contains(&frame));
        }
    }
}
