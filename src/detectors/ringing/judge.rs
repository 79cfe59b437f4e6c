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
const BEGINNING: f64 = -2.0;
const POSSIBLE: f64 = 2.7;
const RINGING: f64 = 3.4;

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
const START: f64 = -5.86;

const SCALES: [Scale; 20] = [
    // What it stands over all other sound, dB.
    Scale {
        of: |signs, _| signs.share.get(),
        points: &[(-40.0, 0.0), (-32.0, 2.23), (-26.0, 2.82), (-20.0, 3.03), (-14.0, 3.81)],
    },
    // Tones in equal steps around it: partials of one sound.
    Scale {
        of: |signs, _| f64::from(signs.series),
        points: &[(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (3.0, -0.25), (4.0, -1.8), (6.0, -3.47)],
    },
    // What it stands over all other sound, and its climb, dB.
    Scale {
        of: |signs, _| signs.share.get().clamp(-45.0, 20.0) + signs.rise.get().clamp(0.0, 30.0),
        points: &[(-25.0, 0.0), (-15.0, 0.56), (-7.0, 0.7), (0.0, 0.75), (8.0, 0.87), (18.0, 1.21), (35.0, 1.21)],
    },
    // Its climb along the line, dB.
    Scale {
        of: |signs, _| signs.rise.get(),
        points: &[(1.0, 0.0), (3.0, 0.0), (6.0, 0.0), (9.0, 0.0), (13.0, 0.42), (18.0, 0.85), (25.0, 1.67)],
    },
    // That climb over the departure from the line, lg.
    Scale {
        of: |signs, _| (signs.rise.get().max(0.1) / signs.rough.get().max(0.02)).log10(),
        points: &[(0.2, 0.0), (0.6, 0.0), (0.9, 0.0), (1.2, 0.0), (1.6, 0.0), (2.2, 0.81)],
    },
    // Slope, lb of dB a second.
    Scale {
        of: |signs, _| signs.growth.clamp(1.0, 250.0).log2(),
        points: &[(1.0, 0.0), (2.0, 0.27), (3.0, 0.66), (4.5, 1.36), (6.0, 2.24), (7.2, 3.22)],
    },
    // Length of the line, lb of seconds.
    Scale {
        of: |signs, _| signs.line.get().clamp(0.1, 4.5).log2(),
        points: &[(-3.0, 0.0), (-1.5, 1.72), (-0.5, 1.72), (0.5, 1.72), (1.2, 1.72), (2.0, 1.72)],
    },
    // Wander, lg of cents.
    Scale {
        of: |signs, _| (1731.0 * signs.wander).clamp(0.01, 30.0).log10(),
        points: &[(-1.5, 0.0), (-0.8, 0.0), (-0.3, 0.0), (0.2, -0.74), (0.7, -1.52), (1.2, -2.75)],
    },
    // Wander over what noise would make it, lg.
    Scale {
        of: |signs, _| signs.unsteady.clamp(0.03, 5.0).log10(),
        points: &[(-1.0, 0.0), (-0.5, 0.0), (-0.2, 0.0), (0.1, 0.0), (0.4, -0.88)],
    },
    // Its strongest harmonic, dB re the tone.
    Scale {
        of: |signs, _| beside(signs.harmonics),
        points: &[(-45.0, 0.0), (-35.0, -0.46), (-28.0, -1.65), (-20.0, -1.96), (-10.0, -3.38)],
    },
    // The strongest line whose harmonic it could be, dB re the tone.
    Scale {
        of: |signs, _| beside(signs.under),
        points: &[(-45.0, 0.0), (-30.0, 0.0), (-18.0, 0.0), (-8.0, 0.0), (2.0, -1.51)],
    },
    // Tones in small ratios to it.
    Scale {
        of: |signs, _| count(signs.family),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.1, -0.1), (1.6, -0.89), (2.3, -3.23)],
    },
    // Those of them that rise as it does.
    Scale {
        of: |signs, _| count(signs.family_rising),
        points: &[(0.0, 0.0), (0.7, -0.61), (1.1, -1.74), (1.6, -2.13)],
    },
    // All tones that rise as it does.
    Scale {
        of: |signs, _| count(signs.alike),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.1, 0.0), (1.6, -0.05), (2.3, -1.03), (3.0, -3.09)],
    },
    // All tones that rise.
    Scale {
        of: |signs, _| count(signs.company),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.6, 0.0), (2.4, 0.0), (3.2, -0.24)],
    },
    // Largest rise within 60 ms since it began, dB: an attack.
    Scale {
        of: |signs, _| signs.leap.get(),
        points: &[(2.0, 0.0), (5.0, -0.28), (8.0, -0.79), (12.0, -1.74), (18.0, -3.15), (26.0, -4.76)],
    },
    // Over its first level, dB.
    Scale {
        of: |signs, _| signs.climbed.get(),
        points: &[(0.0, 0.0), (6.0, 0.04), (12.0, 0.53), (18.0, 1.22), (25.0, 1.85), (35.0, 2.88)],
    },
    // Share of the last second in which it rose.
    Scale { of: |signs, _| signs.rising, points: &[(0.4, 0.0), (0.6, 0.61), (0.8, 1.12), (0.95, 1.12), (1.0, 1.12)] },
    // Change of slope at the end of the line, as a share.
    Scale { of: |signs, _| signs.bend, points: &[(-1.0, 0.0), (-0.5, 0.0), (-0.2, 0.0), (0.0, 0.38), (0.3, 0.92)] },
    // Width 10 dB down, Hz.
    Scale {
        of: |signs, frequency| signs.width * frequency,
        points: &[(13.0, 0.0), (15.0, -0.3), (17.0, -0.41), (20.0, -1.2), (25.0, -1.87)],
    },
];
// End of the fit.

/// dB re the tone; far down where nothing is seen.
fn beside(line: Option<Db>) -> f64 {
    line.map_or(-99.0, |below| -below.get())
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
        let worse: [Signs; 9] = [
            Signs { wander: 5e-3 / 2.0, ..ring() },
            Signs { harmonics: Some(Db::new(12.0)), ..ring() },
            Signs { under: Some(Db::new(-5.0)), ..ring() },
            Signs { family: 8, ..ring() },
            Signs { alike: 9, ..ring() },
            Signs { leap: Db::new(25.0), ..ring() },
            Signs { rise: Db::new(2.0), ..ring() },
            Signs { climbed: Db::new(0.0), ..ring() },
            Signs { width: 0.026, ..ring() },
        ];
        for signs in worse {
            assert!(points(&signs, 1000.0) < base - 0.3, "{signs:?}");
        }
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
