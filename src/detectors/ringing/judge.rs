//! All signs of a tone in one number: the log-odds that it is a ring.
//!
//! An additive model: each sign adds points that its own scale gives, straight between the marks and flat beyond
//! them. The points are a logistic regression (maximum likelihood with a small quadratic penalty), fitted to tones
//! of simulated loops and of music, speech and sustained notes in which nothing rings. A sign may only speak the way
//! it must: more climb, straightness, steadiness never counts against a ring, more harmonics, company or attack
//! never for it; so nothing of the simulation's own that runs against acoustics can be learned.
//! Log-odds are natural logarithms; signs that are no numbers count as 0.

use super::ring::{Certainty, Signs};
use crate::units::Db;

/// Share of the newest score in the smoothed one, at 50 a second: 60 ms.
const NEWEST: f64 = 0.3;
/// No score counts as less, so that a moment's doubt is forgotten in time.
const LEAST: f64 = -4.0;
/// Age over that of the other tones, lb, beyond which it says no more.
const OLDEST: f64 = 3.0;
const BEGINNING: f64 = -2.0;
const POSSIBLE: f64 = 3.0;
const RINGING: f64 = 3.8;
/// What a tone gets that stands over all else, purer and steadier than any player holds one.
pub(super) const STANDS: f64 = 5.0;

/// The smoothed score of a tone.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    score: f64,
}

impl Default for Look {
    fn default() -> Self {
        Self { score: BEGINNING }
    }
}

impl Look {
    pub fn push(&mut self, points: f64) {
        self.score += NEWEST * (points.max(LEAST) - self.score);
    }

    pub fn holds(&self, certainty: Certainty) -> bool {
        self.score
            > match certainty {
                Certainty::Possible => POSSIBLE,
                Certainty::Ringing => RINGING,
            }
    }
}

/// Log-odds; −∞ for what no ring can be: a tone that does not grow, wavers or hardly stands out.
pub(super) fn points(signs: &Signs, frequency: f64) -> f64 {
    if signs.growth < 1.5 || signs.wander * frequency > 3.0 || signs.height.get() < 12.0 {
        return f64::NEG_INFINITY;
    }
    START + SCALES.iter().map(|scale| scale.points((scale.of)(signs, frequency))).sum::<f64>()
}

/// Whether a tone whose other tones are not known yet comes over the least score, were they all in its favour. Of them
/// only its age speaks for a ring.
pub(super) fn may_ring(signs: &Signs, frequency: f64) -> bool {
    points(&Signs { older: OLDEST, ..*signs }, frequency) > LEAST
}

struct Scale {
    of: fn(&Signs, f64) -> f64,
    /// (mark, points), marks rising.
    points: &'static [(f64, f64)],
}

impl Scale {
    fn points(&self, value: f64) -> f64 {
        let mut below = self.points[0];
        for &(mark, points) in self.points {
            if value <= mark {
                let share = if mark > below.0 { (value - below.0) / (mark - below.0) } else { 1.0 };
                return if share < 0.0 { points } else { below.1 + share * (points - below.1) };
            }
            below = (mark, points);
        }
        if value.is_nan() { 0.0 } else { below.1 }
    }
}

// The fit.
const START: f64 = -4.19;

const SCALES: [Scale; 29] = [
    // What it stands over all other sound, dB.
    Scale {
        of: |s, _| s.share.get(),
        points: &[(-40.0, 0.0), (-32.0, 1.24), (-26.0, 1.24), (-20.0, 1.24), (-14.0, 1.24)],
    },
    // Tones in equal steps around it: partials of one sound.
    Scale {
        of: |s, _| f64::from(s.series),
        points: &[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, -0.12), (4.0, -0.84), (6.0, -2.32)],
    },
    // What it stands over all other sound, and its climb, dB.
    Scale {
        of: |s, _| s.share.get().clamp(-45.0, 20.0) + s.rise.get().clamp(0.0, 30.0),
        points: &[(-25.0, 0.0), (-15.0, 0.22), (-7.0, 0.57), (0.0, 1.1), (8.0, 1.65), (18.0, 2.31), (35.0, 2.31)],
    },
    // Its climb over the departure from the line, lg.
    Scale {
        of: |s, _| climb_over_departure(s),
        points: &[(0.2, 0.0), (0.6, 0.0), (0.9, 0.0), (1.2, 0.16), (1.6, 0.36), (2.2, 1.49)],
    },
    // Slope, lb of dB a second.
    Scale {
        of: |s, _| s.growth.clamp(1.0, 250.0).log2(),
        points: &[(1.0, 0.0), (2.0, 0.02), (3.0, 0.13), (4.5, 0.13), (6.0, -0.36), (7.2, -1.35)],
    },
    // Wander, lg of cents.
    Scale {
        of: |s, _| (1731.0 * s.wander).clamp(0.01, 30.0).log10(),
        points: &[(-1.5, 0.0), (-0.8, 0.0), (-0.3, 0.0), (0.2, 0.0), (0.7, -1.07), (1.2, -2.6)],
    },
    // Wander over what noise and growth would make it, lg.
    Scale {
        of: |s, _| s.unsteady.clamp(0.03, 20.0).log10(),
        points: &[(-1.0, 0.0), (-0.5, 0.0), (-0.2, -0.22), (0.1, -0.64), (0.4, -1.06), (0.7, -1.54), (1.0, -2.55)],
    },
    // Its strongest harmonic, dB re the tone.
    Scale {
        of: |s, _| beside(s.harmonics),
        points: &[(-45.0, 0.0), (-35.0, 0.0), (-28.0, -0.57), (-20.0, -0.57), (-10.0, -1.16)],
    },
    // The same, while there is little else.
    Scale {
        of: |s, _| -60.0 + (beside(s.harmonics).max(-60.0) + 60.0) * alone(s),
        points: &[(-58.0, 0.0), (-50.0, -0.9), (-40.0, -1.03), (-30.0, -1.66), (-20.0, -2.59)],
    },
    // The strongest tone at a whole multiple, dB re the tone.
    Scale {
        of: |s, _| beside(s.partials).max(-60.0),
        points: &[(-58.0, 0.0), (-50.0, 0.0), (-40.0, 0.0), (-30.0, -0.89), (-20.0, -0.9), (-10.0, -1.54)],
    },
    // The strongest line whose harmonic it could be, dB re the tone.
    Scale {
        of: |s, _| beside(s.under),
        points: &[(-45.0, 0.0), (-30.0, 0.0), (-18.0, 0.0), (-8.0, -0.24), (2.0, -0.9), (10.0, -1.21), (20.0, -1.21)],
    },
    // Tones in small ratios to it that rise as it does.
    Scale { of: |s, _| count(s.family_rising), points: &[(0.0, 0.0), (0.7, -0.11), (1.1, -0.73), (1.6, -1.84)] },
    // Tones in small ratios that have stood as long as its line.
    Scale { of: |s, _| count(s.kin), points: &[(0.0, 0.0), (0.7, -0.41), (1.1, -0.48), (1.6, -0.84), (2.3, -2.1)] },
    // Those of them that climbed as it did along the line.
    Scale { of: |s, _| count(s.kin_rising), points: &[(0.0, 0.0), (0.7, -0.39), (1.1, -1.21), (1.6, -1.55)] },
    // All tones that climbed as it did along the line.
    Scale { of: |s, _| count(s.peers), points: &[(0.0, 0.0), (0.7, 0.0), (1.1, 0.0), (1.6, -0.01), (2.3, -1.26)] },
    // Tones that share a fundamental with it, over chance.
    Scale {
        of: |s, _| s.comb,
        points: &[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, -0.28), (4.0, -1.29), (6.0, -2.25)],
    },
    // All tones that rise as it does.
    Scale {
        of: |s, _| count(s.alike),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.1, 0.0), (1.6, 0.0), (2.3, -0.18), (3.0, -2.66)],
    },
    // An attack: largest rise within 60 ms, over what its growth would make, dB.
    Scale {
        of: |s, _| attack(s),
        points: &[(0.0, 0.0), (2.0, -0.45), (5.0, -0.72), (8.0, -1.3), (12.0, -1.78), (18.0, -2.11), (26.0, -2.58)],
    },
    // The same less what it climbed since.
    Scale {
        of: |s, _| attack(s) - s.after_leap.get().max(0.0),
        points: &[(-20.0, 0.0), (-8.0, -0.07), (0.0, -0.35), (5.0, -0.99), (10.0, -0.99), (18.0, -1.44)],
    },
    // Over its first level, dB.
    Scale {
        of: |s, _| s.climbed.get(),
        points: &[(0.0, 0.0), (6.0, 1.33), (12.0, 1.78), (18.0, 2.18), (25.0, 2.72), (35.0, 3.57)],
    },
    // Share of the last second in which it rose.
    Scale { of: |s, _| s.rising, points: &[(0.4, 0.0), (0.6, 0.64), (0.8, 1.78), (0.95, 1.78), (1.0, 1.78)] },
    // Change of slope at the end of the line, as a share.
    Scale { of: |s, _| s.bend, points: &[(-1.0, 0.0), (-0.5, 0.0), (-0.2, 0.0), (0.0, 0.08), (0.3, 1.08)] },
    // Width 10 dB down, Hz.
    Scale {
        of: |s, frequency| s.width * frequency,
        points: &[(13.0, 0.0), (15.0, -0.42), (17.0, -0.91), (20.0, -1.39), (25.0, -2.03)],
    },
    // Share of the line that other sound covered.
    Scale { of: |s, _| s.covered, points: &[(0.0, 0.0), (0.05, 0.0), (0.15, 0.0), (0.3, -1.11), (0.5, -1.55)] },
    // Age over that of the other tones, lb.
    Scale {
        of: |s, _| s.older,
        points: &[(-1.0, 0.0), (0.0, 0.19), (1.0, 1.81), (2.0, 2.03), (OLDEST, 2.26), (4.0, 2.26)],
    },
    // Over its surroundings, dB.
    Scale { of: |s, _| s.height.get(), points: &[(12.0, 0.0), (18.0, 0.55), (25.0, 1.32), (35.0, 2.15), (50.0, 2.64)] },
    // Over its surroundings where the line begins, dB.
    Scale {
        of: |s, _| s.foot.get(),
        points: &[(11.0, 0.0), (15.0, -0.15), (20.0, -1.01), (27.0, -1.24), (35.0, -1.54)],
    },
    // Fast growth: over all other sound, dB.
    Scale {
        of: |s, _| -30.0 + (s.share.get().clamp(-30.0, 20.0) + 30.0) * fast(s),
        points: &[(-29.0, 0.0), (-20.0, 0.0), (-10.0, 0.0), (0.0, 0.7), (10.0, 0.92)],
    },
    // Fast growth: climb over departure, lg.
    Scale {
        of: |s, _| fast(s) * climb_over_departure(s),
        points: &[(0.3, 0.0), (0.8, 0.02), (1.1, 0.02), (1.4, 0.46), (1.7, 1.45)],
    },
];
// End of the fit.

/// dB re the tone; far down where nothing is seen.
fn beside(line: Option<Db>) -> f64 {
    line.map_or(-99.0, |below| -below.get())
}

/// From 0, lost in other sound, to 1, with little else.
fn alone(signs: &Signs) -> f64 {
    ((signs.share.get() + 12.0) / 15.0).clamp(0.0, 1.0)
}

/// From 0, up to 35 dB a second, to 1, from 70.
fn fast(signs: &Signs) -> f64 {
    (signs.growth.max(1.0) / 35.0).log2().clamp(0.0, 1.0)
}

fn climb_over_departure(signs: &Signs) -> f64 {
    (signs.rise.get().max(0.1) / signs.rough.get().max(0.02)).log10()
}

fn attack(signs: &Signs) -> f64 {
    signs.leap.get() - 0.06 * signs.growth.clamp(0.0, 160.0)
}

fn count(others: u8) -> f64 {
    f64::from(others).ln_1p()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn ring() -> Signs {
        Signs {
            width: 0.014,
            wander: 2e-5,
            unsteady: 0.4,
            straight: 0.99,
            height: Db::new(35.0),
            stood: Seconds::new(1.0),
            line: Seconds::new(0.8),
            growth: 25.0,
            rise: Db::new(20.0),
            rough: Db::new(0.3),
            climbed: Db::new(22.0),
            rising: 1.0,
            leap: Db::new(3.0),
            after_leap: Db::new(19.0),
            older: 3.0,
            foot: Db::new(14.0),
            share: Db::new(-2.0),
            ..Signs::default()
        }
    }

    #[test]
    fn scales_are_straight_between_marks_and_flat_beyond() {
        let scale = Scale { of: |_, _| 0.0, points: &[(0.0, 1.0), (2.0, 2.0), (4.0, -2.0)] };
        for (value, points) in
            [(-9.0, 1.0), (0.0, 1.0), (1.0, 1.5), (3.0, 0.0), (4.0, -2.0), (1e9, -2.0), (f64::NAN, 0.0)]
        {
            assert_eq!(scale.points(value), points, "{value}");
        }
        for scale in &SCALES {
            assert!(scale.points.is_sorted_by(|a, b| a.0 < b.0));
        }
    }

    #[test]
    fn each_sign_speaks_the_way_it_must() {
        let base = points(&ring(), 1000.0);
        assert!(base > RINGING, "{base}");
        let worse: [Signs; 14] = [
            Signs { covered: 0.5, ..ring() },
            Signs { older: -1.0, ..ring() },
            Signs { partials: Some(Db::new(8.0)), ..ring() },
            Signs { comb: 6.0, ..ring() },
            Signs { foot: Db::new(30.0), ..ring() },
            Signs { wander: 5e-3 / 2.0, ..ring() },
            Signs { harmonics: Some(Db::new(12.0)), ..ring() },
            Signs { under: Some(Db::new(-5.0)), ..ring() },
            Signs { kin: 8, ..ring() },
            Signs { alike: 20, ..ring() },
            Signs { leap: Db::new(25.0), ..ring() },
            Signs { rise: Db::new(2.0), ..ring() },
            Signs { climbed: Db::new(0.0), ..ring() },
            Signs { width: 0.026, ..ring() },
        ];
        for signs in worse {
            assert!(points(&signs, 1000.0) < base - 0.3, "{signs:?}");
        }
    }

    /// Whatever is known of the others later: what may not ring without them does not ring with them.
    #[test]
    fn other_tones_only_take_away() {
        let alone = Signs { older: 0.0, ..ring() };
        let best = points(&Signs { older: OLDEST, ..alone }, 1000.0);
        for older in [-1.0, 0.5, 2.0, 3.5, 9.0] {
            assert!(points(&Signs { older, ..alone }, 1000.0) <= best);
            assert!(points(&Signs { older, comb: 5.0, kin: 3, alike: 4, series: 5, ..alone }, 1000.0) < best);
        }
        assert!(may_ring(&alone, 1000.0) && !may_ring(&Signs { growth: 1.0, ..alone }, 1000.0));
    }

    #[test]
    fn what_no_ring_can_be() {
        for signs in [
            Signs { growth: -20.0, ..ring() },
            Signs { growth: 0.0, ..ring() },
            Signs { wander: 0.01, ..ring() },
            Signs { height: Db::new(8.0), ..ring() },
            Signs::default(),
        ] {
            assert_eq!(points(&signs, 1000.0), f64::NEG_INFINITY);
        }
    }

    #[test]
    fn a_score_must_last() {
        let mut look = Look::default();
        look.push(9.0);
        assert!(!look.holds(Certainty::Possible));
        for _ in 0..10 {
            look.push(9.0);
        }
        assert!(look.holds(Certainty::Ringing));
        for _ in 0..10 {
            look.push(f64::NEG_INFINITY);
        }
        assert!(!look.holds(Certainty::Possible));
    }
}
