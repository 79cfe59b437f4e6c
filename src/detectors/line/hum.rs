//! Hum: which mains, how strong, at exactly which frequency, and is it smooth or a comb?
//!
//! In: the lines of the mains of the last 3 s of frames (100 ms each, phase and all), heard on a quiet stage, and the
//! line's floor. The mains' frequency is where the multiples' coherent powers, all turned by the same deviation, sum
//! highest (maximum likelihood for harmonics in noise; within ±0.6 Hz: EN 50160 allows ±1 % of 50 Hz, 0.5 Hz). 50 and
//! 60 Hz share 300 Hz only, which has no vote. What is left of a multiple after its coherent part is the noise beside it.
//!
//! Accuracy by the Cramér-Rao bound of a tone's frequency (Rife and Boorstyn, 1974), summed over the multiples; the
//! frequency is told if twice that is at most 0.05 Hz. Patterns (elementary): magnetic fields and earth loops give the
//! first multiples only; rectifiers and dimmers a comb that goes on. Levels: RMS of all multiples, dBFS.
//! Edge cases: less than 1 s heard, silence, a tone beside the multiples: no hum.

use std::f64::consts::TAU;

use crate::meters::{MAINS_HERTZ, MainsLines};
use crate::units::{Db, Dbfs, Hertz};

/// Whose mains.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mains {
    Fifty,
    Sixty,
}

/// How the multiples go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HumPattern {
    /// The first ones only.
    Smooth,
    /// Many: a buzz.
    Comb,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hum {
    pub mains: Mains,
    /// The mains' own frequency, where it can be told within 0.05 Hz.
    pub frequency: Option<Hertz>,
    /// The strongest multiple, by its name: 50, 100 …
    pub strongest: Hertz,
    pub level: Dbfs,
    /// Over everything else of the floor.
    pub over_rest: Db,
    pub pattern: HumPattern,
}

impl Mains {
    pub const fn hertz(self) -> u16 {
        match self {
            Self::Fifty => 50,
            Self::Sixty => 60,
        }
    }
}

const FRAMES: usize = 30;
const LEAST: usize = 10;
const FRAME: f64 = 0.1;
const MULTIPLES: usize = 10;
/// The one multiple that both have.
const SHARED: u16 = 300;
const WIDEST: f64 = 0.6;
const GRID: f64 = 0.005;
/// A multiple stands if its coherent power is so many times what noise alone would leave.
const STANDS: f64 = 12.0;
/// One family must hold so many times the other's power.
const CLEAR: f64 = 4.0;
/// Hum is told where it is more than the rest of the floor, and more than a converter's own: the knob may still be
/// far down.
const OVER_REST: Db = Db::new(3.0);
const FAINTEST: Dbfs = Dbfs::new(-100.0);
/// Multiples from here on make a comb, if they hold more than this of it.
const COMB_FROM: u16 = 250;
const COMB_SHARE: f64 = 0.01;
const TOLD_WITHIN: f64 = 0.05;

/// Remembers one line's frames.
#[derive(Clone, Debug)]
pub(super) struct HumEar {
    frames: Vec<[[f32; 2]; MAINS_HERTZ.len()]>,
    next: usize,
    seen: u64,
}

/// What one family came to.
#[derive(Clone, Copy, Default)]
struct Fit {
    off: f64,
    /// Without the shared multiple.
    own: f64,
    /// Coherent power of each multiple, squared amplitude.
    coherent: [f64; MULTIPLES],
}

impl HumEar {
    pub fn new() -> Self {
        Self { frames: Vec::with_capacity(FRAMES), next: 0, seen: 0 }
    }

    pub fn restart(&mut self) {
        self.frames.clear();
        self.next = 0;
    }

    pub fn observe(&mut self, lines: &MainsLines) {
        if lines.count == self.seen {
            return;
        }
        self.seen = lines.count;
        if self.frames.len() < FRAMES {
            self.frames.push(lines.lines);
        } else {
            self.frames[self.next] = lines.lines;
            self.next = (self.next + 1) % FRAMES;
        }
    }

    pub fn measure(&self, floor: Dbfs) -> Option<Hum> {
        let count = self.frames.len();
        if count < LEAST || floor.get() <= -130.0 {
            return None;
        }
        let (fifty, sixty) = (self.fit(Mains::Fifty), self.fit(Mains::Sixty));
        let (mains, fit) = if fifty.own >= CLEAR * sixty.own {
            (Mains::Fifty, fifty)
        } else if sixty.own >= CLEAR * fifty.own {
            (Mains::Sixty, sixty)
        } else {
            return None;
        };
        let (mut power, mut comb, mut information) = (0.0, 0.0, 0.0);
        let (mut standing, mut strongest) = (0, (0.0, 0u16));
        for multiple in 1..=MULTIPLES {
            let hertz = mains.hertz() * multiple as u16;
            let whole = self.mean_power(hertz);
            let coherent = fit.coherent[multiple - 1];
            let noise = (whole - coherent).max(1e-9 * whole).max(1e-18);
            if coherent * (count as f64) < STANDS * noise {
                continue;
            }
            standing += 1;
            power += coherent / 2.0;
            comb += if hertz >= COMB_FROM { coherent / 2.0 } else { 0.0 };
            information += (multiple * multiple) as f64 * coherent / noise;
            if coherent > strongest.0 {
                strongest = (coherent, hertz);
            }
        }
        let low = strongest.1 <= 2 * mains.hertz();
        if standing < 2 && !(standing == 1 && low) {
            return None;
        }
        let level = Dbfs::from_power(power);
        let rest = (floor.power() - power).max(power * 1e-3);
        let over_rest = Db::new(10.0 * (power / rest).log10());
        let inside = fit.off.abs() < WIDEST - GRID;
        let heard = inside && level >= FAINTEST && over_rest >= OVER_REST;
        heard.then(|| {
            let n = count as f64;
            let bound = (6.0 / (n * (n * n - 1.0) * (TAU * FRAME).powi(2) * information)).sqrt();
            let frequency = Hertz::new(f64::from(mains.hertz()) + fit.off);
            Hum {
                mains,
                frequency: (2.0 * bound <= TOLD_WITHIN).then_some(frequency),
                strongest: Hertz::new(f64::from(strongest.1)),
                level,
                over_rest,
                pattern: if comb >= COMB_SHARE * power { HumPattern::Comb } else { HumPattern::Smooth },
            }
        })
    }

    /// The deviation at which a family holds most.
    fn fit(&self, mains: Mains) -> Fit {
        let steps = (WIDEST / GRID).round() as i32;
        let at = |step: f64| self.family(mains, step * GRID);
        let best = (-steps..=steps)
            .map(|step| (step, at(f64::from(step)).own))
            .fold((0, -1.0), |best, (step, own)| if own > best.1 { (step, own) } else { best });
        // The parabola through the highest and its neighbours.
        let step = f64::from(best.0);
        let (before, after) = (at(step - 1.0).own, at(step + 1.0).own);
        let bend = before - 2.0 * best.1 + after;
        let aside = if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        at(step + aside)
    }

    fn family(&self, mains: Mains, off: f64) -> Fit {
        let mut fit = Fit { off, ..Fit::default() };
        for multiple in 1..=MULTIPLES {
            let hertz = mains.hertz() * multiple as u16;
            let coherent = self.coherent(hertz, off * multiple as f64);
            fit.coherent[multiple - 1] = coherent;
            fit.own += if hertz == SHARED { 0.0 } else { coherent };
        }
        fit
    }

    /// The squared amplitude of a tone at `hertz + off`.
    fn coherent(&self, hertz: u16, off: f64) -> f64 {
        let Some(line) = line(hertz) else { return 0.0 };
        let (sin, cos) = (-TAU * off * FRAME).sin_cos();
        let (mut turn, mut sum) = ((1.0, 0.0), (0.0, 0.0));
        for frame in self.in_order() {
            let (re, im) = (f64::from(frame[line][0]), f64::from(frame[line][1]));
            sum = (sum.0 + re * turn.0 - im * turn.1, sum.1 + re * turn.1 + im * turn.0);
            turn = (turn.0 * cos - turn.1 * sin, turn.0 * sin + turn.1 * cos);
        }
        let count = self.frames.len().max(1) as f64;
        (sum.0 * sum.0 + sum.1 * sum.1) / (count * count)
    }

    fn mean_power(&self, hertz: u16) -> f64 {
        let Some(line) = line(hertz) else { return 0.0 };
        let power = |frame: &[[f32; 2]; MAINS_HERTZ.len()]| {
            f64::from(frame[line][0]).powi(2) + f64::from(frame[line][1]).powi(2)
        };
        self.frames.iter().map(power).sum::<f64>() / self.frames.len().max(1) as f64
    }

    fn in_order(&self) -> impl Iterator<Item = &[[f32; 2]; MAINS_HERTZ.len()]> {
        let (newer, older) = self.frames.split_at(self.next);
        older.iter().chain(newer)
    }
}

fn line(hertz: u16) -> Option<usize> {
    MAINS_HERTZ.iter().position(|line| *line == hertz)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames of tones (Hz, peak amplitude) in noise of an RMS, by the definition of the lines.
    fn ear(tones: &[(f64, f64)], noise: f64, frames: usize) -> (HumEar, Dbfs) {
        const N: usize = 1600;
        let mut ear = HumEar::new();
        let mut seed = 7u32;
        let mut power = 0.0;
        for frame in 0..frames {
            let samples: Vec<f64> = (0..N)
                .map(|n| {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    let white = (f64::from(seed >> 8) / 8_388_608.0 - 1.0) * noise * 3f64.sqrt();
                    let time = (frame * N + n) as f64 / (N as f64 * 10.0);
                    white + tones.iter().map(|(hz, peak)| peak * (TAU * hz * time + hz).sin()).sum::<f64>()
                })
                .collect();
            power += samples.iter().map(|x| x * x).sum::<f64>() / (N * frames) as f64;
            let mut lines = MainsLines { count: frame as u64 + 1, ..MainsLines::default() };
            for (out, hertz) in lines.lines.iter_mut().zip(MAINS_HERTZ) {
                let step = TAU * f64::from(hertz) / (N as f64 * 10.0);
                let (mut re, mut im) = (0.0, 0.0);
                for (n, x) in samples.iter().enumerate() {
                    let (sin, cos) = (step * n as f64).sin_cos();
                    (re, im) = (re + x * cos, im - x * sin);
                }
                *out = [(2.0 * re / N as f64) as f32, (2.0 * im / N as f64) as f32];
            }
            ear.observe(&lines);
        }
        (ear, Dbfs::from_power(power))
    }

    fn hum(mains: f64, peaks: &[f64], noise: f64, frames: usize) -> Option<Hum> {
        let tones: Vec<(f64, f64)> =
            peaks.iter().enumerate().map(|(n, peak)| (mains * (n + 1) as f64, *peak)).collect();
        let (ear, floor) = ear(&tones, noise, frames);
        ear.measure(floor)
    }

    #[test]
    fn fifty_and_sixty_are_told_apart_with_their_frequency() {
        for (mains, family) in [
            (49.55, Mains::Fifty),
            (49.97, Mains::Fifty),
            (50.0, Mains::Fifty),
            (50.2, Mains::Fifty),
            (59.9, Mains::Sixty),
            (60.03, Mains::Sixty),
        ] {
            let told = hum(mains, &[0.01, 0.02, 0.003], 0.002, 30).expect("hum");
            assert_eq!(told.mains, family, "{mains}");
            let frequency = told.frequency.expect("known after 3 s").get();
            assert!((frequency - mains).abs() <= 0.05, "{mains}: {frequency}");
            assert_eq!(told.strongest.get(), f64::from(family.hertz()) * 2.0);
            // RMS of the three: √((0.01² + 0.02² + 0.003²)/2) = −36.0 dBFS.
            assert!((told.level.get() + 35.93).abs() < 0.3, "{:?}", told.level);
            assert_eq!(told.pattern, HumPattern::Smooth);
        }
    }

    #[test]
    fn a_comb_is_told_and_a_short_listen_tells_no_frequency_it_can_not_know() {
        let comb = [0.004, 0.01, 0.006, 0.008, 0.005, 0.006, 0.004, 0.005];
        assert_eq!(hum(60.0, &comb, 0.001, 30).map(|hum| hum.pattern), Some(HumPattern::Comb));
        let faint = hum(50.0, &[0.004], 0.0015, 10).expect("hum");
        if let Some(frequency) = faint.frequency {
            assert!((frequency.get() - 50.0).abs() <= 0.05, "{frequency:?}");
        }
    }

    #[test]
    fn what_is_no_hum() {
        // Noise, silence, too short.
        assert_eq!(hum(50.0, &[], 0.01, 30), None);
        assert_eq!(hum(50.0, &[], 0.0, 30), None);
        assert_eq!(hum(50.0, &[0.01, 0.02], 0.001, 5), None);
        // Notes near the multiples (equal temperament, a' = 440 Hz): G1, G2, B2, D3, A3.
        for note in [48.999, 97.999, 123.471, 146.832, 220.0] {
            let (ear, floor) = ear(&[(note, 0.02)], 0.001, 30);
            assert_eq!(ear.measure(floor), None, "{note}");
        }
    }
}
