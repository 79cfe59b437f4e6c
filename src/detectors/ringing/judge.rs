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

/// Spectra in a row for which a score must hold.
const HOLD: usize = 3;
const POSSIBLE: f64 = 2.8;
const RINGING: f64 = 3.8;

/// The newest scores of a tone.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    points: [f64; HOLD],
}

impl Default for Look {
    fn default() -> Self {
        Self { points: [f64::NEG_INFINITY; HOLD] }
    }
}

impl Look {
    pub fn push(&mut self, points: f64) {
        self.points.rotate_left(1);
        self.points[HOLD - 1] = points;
    }

    pub fn holds(&self, certainty: Certainty) -> bool {
        let mark = match certainty {
            Certainty::Possible => POSSIBLE,
            Certainty::Ringing => RINGING,
        };
        self.points.iter().all(|&points| points > mark)
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
const START: f64 = -3.41;

const SCALES: [Scale; 18] = [
    // What it stands over all other sound, and its climb, dB.
    Scale {
        of: |signs, _| signs.share.get().clamp(-45.0, 20.0) + signs.rise.get().clamp(0.0, 30.0),
        points: &[(-25.0, 0.0), (-15.0, 2.27), (-7.0, 2.49), (0.0, 2.88), (8.0, 3.35), (18.0, 3.63), (35.0, 4.11)],
    },
    // Its climb along the line, dB.
    Scale {
        of: |signs, _| signs.rise.get(),
        points: &[(1.0, 0.0), (3.0, 0.0), (6.0, 0.22), (9.0, 0.29), (13.0, 0.93), (18.0, 1.34), (25.0, 1.95)],
    },
    // That climb over the departure from the line, lg.
    Scale {
        of: |signs, _| (signs.rise.get().max(0.1) / signs.rough.get().max(0.02)).log10(),
        points: &[(0.2, 0.0), (0.6, 0.0), (0.9, 0.0), (1.2, 0.0), (1.6, 0.16), (2.2, 1.08)],
    },
    // Slope, lb of dB a second.
    Scale {
        of: |signs, _| signs.growth.clamp(1.0, 250.0).log2(),
        points: &[(1.0, 0.0), (2.0, -0.15), (3.0, 0.31), (4.5, 0.55), (6.0, 0.69), (7.2, 0.94)],
    },
    // Wander, lg of cents.
    Scale {
        of: |signs, _| (1731.0 * signs.wander).clamp(0.01, 30.0).log10(),
        points: &[(-1.5, 0.0), (-0.8, 0.0), (-0.3, 0.0), (0.2, -0.14), (0.7, -1.09), (1.2, -1.98)],
    },
    // Wander over what noise would make it, lg.
    Scale {
        of: |signs, _| signs.unsteady.clamp(0.03, 5.0).log10(),
        points: &[(-1.0, 0.0), (-0.5, 0.0), (-0.2, 0.0), (0.1, 0.0), (0.4, -1.23)],
    },
    // Its strongest harmonic, dB re the tone.
    Scale {
        of: |signs, _| beside(signs.harmonics),
        points: &[(-45.0, 0.0), (-35.0, -0.18), (-28.0, -1.66), (-20.0, -1.91), (-10.0, -3.03)],
    },
    // The strongest line whose harmonic it could be, dB re the tone.
    Scale {
        of: |signs, _| beside(signs.under),
        points: &[(-45.0, 0.0), (-30.0, 0.0), (-18.0, 0.0), (-8.0, 0.0), (2.0, -1.5)],
    },
    // Tones in small ratios to it.
    Scale {
        of: |signs, _| count(signs.family),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.1, -0.09), (1.6, -0.92), (2.3, -2.81)],
    },
    // Those of them that rise as it does.
    Scale {
        of: |signs, _| count(signs.family_rising),
        points: &[(0.0, 0.0), (0.7, -0.63), (1.1, -1.54), (1.6, -1.93)],
    },
    // All tones that rise as it does.
    Scale {
        of: |signs, _| count(signs.alike),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.1, -0.04), (1.6, -0.36), (2.3, -1.44), (3.0, -3.46)],
    },
    // All tones that rise.
    Scale {
        of: |signs, _| count(signs.company),
        points: &[(0.0, 0.0), (0.7, 0.0), (1.6, 0.0), (2.4, 0.0), (3.2, -0.8)],
    },
    // Largest rise within 60 ms since it began, dB: an attack.
    Scale {
        of: |signs, _| signs.leap.get(),
        points: &[(2.0, 0.0), (5.0, -0.07), (8.0, -0.36), (12.0, -1.4), (18.0, -3.01), (26.0, -4.78)],
    },
    // Over its first level, dB.
    Scale {
        of: |signs, _| signs.climbed.get(),
        points: &[(0.0, 0.0), (6.0, 0.38), (12.0, 0.58), (18.0, 1.19), (25.0, 1.84), (35.0, 3.5)],
    },
    // Age, lb of seconds.
    Scale {
        of: |signs, _| signs.stood.get().clamp(0.1, 8.0).log2(),
        points: &[(-2.5, 0.0), (-1.3, 0.85), (-0.3, 0.37), (0.7, 0.13), (1.7, -0.1), (2.8, 1.22)],
    },
    // Share of the last second in which it rose.
    Scale { of: |signs, _| signs.rising, points: &[(0.4, 0.0), (0.6, 0.0), (0.8, 0.76), (0.95, 0.89), (1.0, 0.89)] },
    // Change of slope at the end of the line, as a share.
    Scale { of: |signs, _| signs.bend, points: &[(-1.0, 0.0), (-0.5, 0.0), (-0.2, 0.0), (0.0, 0.11), (0.3, 0.99)] },
    // Width 10 dB down, Hz.
    Scale {
        of: |signs, frequency| signs.width * frequency,
        points: &[(13.0, 0.0), (15.0, -0.5), (17.0, -0.69), (20.0, -1.31), (25.0, -1.69)],
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
