//! The *line*: the longest newest stretch of a tone, 0.1 to 4.5 s, whose level in dB lies on a straight line.
//!
//! Straight: within 1.5 times what the noise around the tone shakes it by. A point counts the more, the less its
//! surroundings shake it; points off the line of those before them, up to half of all, are taken for covered by other
//! sound. A window full of growth bends the line's ends by some 0.004 dB for each dB a second (measured).

use super::track::{Point, STEP, Track};

/// Lengths, in spectra, over which a straight line is tried.
const LENGTHS: [usize; 13] = [5, 6, 8, 10, 14, 20, 28, 40, 56, 80, 112, 160, 224];
/// Points that other sound may cover one after the other.
const COVERED_IN_A_ROW: u32 = 15;
/// dB by which the window bends a line's ends, for each dB a second.
const BENT: f64 = 0.004;

/// The newest straight stretch.
pub(super) struct Line {
    pub sums: Sums,
    pub length: usize,
    pub bend: f64,
    pub covered: f64,
    pub foot: f64,
}

impl Line {
    pub fn newest(track: &Track) -> Option<Self> {
        let top = f64::from(track.point(0)?.level);
        let mut sums = Sums::default();
        let mut slopes = [0.0; LENGTHS.len() + 1];
        let mut best = None;
        let mut next = 0;
        let (mut covered, mut in_a_row) = (0u32, 0);
        let mut foot = 0.0;
        for back in 0..track.len().min(LENGTHS[LENGTHS.len() - 1]) {
            let point = track.point(back)?;
            if sums.takes(back, point, top) {
                sums.add(back, point, top);
                in_a_row = 0;
                foot += 0.3 * (f64::from(point.height) - foot);
            } else {
                (covered, in_a_row) = (covered + 1, in_a_row + 1);
                if in_a_row > COVERED_IN_A_ROW || 2 * covered as usize > back {
                    break;
                }
            }
            let length = back + 1;
            if length != LENGTHS[next] && (length != track.len() || length < 5) {
                continue;
            }
            if sums.n >= 5.0 {
                let off = sums.rough() / (sums.allowed() + BENT * sums.slope().abs());
                slopes[next] = sums.slope();
                if off <= 1.5 {
                    let bend = if next >= 2 { slopes[next - 2] - slopes[next] } else { 0.0 };
                    best = Some(Self { sums, length, bend, covered: f64::from(covered) / length as f64, foot });
                } else if off > 4.0 {
                    break;
                }
            }
            next += usize::from(length == LENGTHS[next]);
        }
        best
    }
}

/// Sums over points, level and frequency against time.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sums {
    n: f64,
    w: f64,
    t: f64,
    tt: f64,
    l: f64,
    tl: f64,
    ll: f64,
    f: f64,
    ff: f64,
    shake: f64,
    weight: f64,
    weighted: f64,
}

impl Sums {
    /// Whether a point lies near the line of those before it, or it is too early to say.
    fn takes(&self, back: usize, point: &Point, top: f64) -> bool {
        if point.level.is_nan() {
            return false;
        }
        if self.n < 8.0 {
            return true;
        }
        let expected = (self.l - self.slope() * self.t) / self.w - self.slope() * back as f64 * STEP;
        (f64::from(point.level) - top - expected).abs() < 1.0 + 3.0 * (allowed(point) + BENT * self.slope().abs())
    }

    /// A point that its surroundings shake less weighs more.
    fn add(&mut self, back: usize, point: &Point, top: f64) {
        if point.level.is_nan() {
            return;
        }
        let (t, l, f) = (-(back as f64) * STEP, f64::from(point.level) - top, f64::from(point.off));
        let allowed = allowed(point);
        let w = 1.0 / (allowed * allowed);
        self.n += 1.0;
        self.w += w;
        self.t += w * t;
        self.tt += w * t * t;
        self.l += w * l;
        self.tl += w * t * l;
        self.ll += w * l * l;
        self.f += w * f;
        self.ff += w * f * f;
        self.shake += w * f64::from(point.shake);
        // The noise is the same, so a louder point is a surer one.
        let weight = f64::from(point.power);
        self.weight += weight;
        self.weighted += weight * f;
    }

    /// Hz from the tone's first frequency.
    pub fn frequency(&self) -> f64 {
        self.weighted / self.weight
    }

    pub fn slope(&self) -> f64 {
        (self.w * self.tl - self.t * self.l) / (self.w * self.tt - self.t * self.t)
    }

    fn spread(&self) -> f64 {
        self.ll / self.w - (self.l / self.w).powi(2)
    }

    pub fn rough(&self) -> f64 {
        let times = self.tt / self.w - (self.t / self.w).powi(2);
        (self.spread() - self.slope().powi(2) * times).max(0.0).sqrt()
    }

    pub fn straight(&self) -> f64 {
        1.0 - self.rough().powi(2) / self.spread().max(1e-9)
    }

    /// Hz.
    pub fn wander(&self) -> f64 {
        (self.ff / self.w - (self.f / self.w).powi(2)).max(0.0).sqrt()
    }

    pub fn shake(&self) -> f64 {
        self.shake / self.w
    }

    fn allowed(&self) -> f64 {
        (self.n / self.w).sqrt()
    }
}

/// By how much a point may be off, dB.
fn allowed(point: &Point) -> f64 {
    0.25 + f64::from(point.shake)
}
