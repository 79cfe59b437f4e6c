//! The evidence: what a tone's history says for and against a ring, each as a number.
//!
//! Input: a tone's points, 20 ms apart, and its neighbours. The *line* is the longest newest stretch (0.1 to 4.5 s)
//! whose level in dB lies on a straight line within 1.5 times what the noise around the tone would shake it by.
//! With the noise h dB below the tone, levels shake by about 6 · 10^(−h/20) dB and frequencies by as many Hz:
//! first-order Rice statistics, widened for sound that is no noise.

use super::ring::Signs;
use super::track::{MOST, Point, STEP, Track};
use crate::units::{Db, Dbfs, Seconds};

/// Lengths, in spectra, over which a straight line is tried.
const LENGTHS: [usize; 13] = [5, 6, 8, 10, 14, 20, 28, 40, 56, 80, 112, 160, 224];
/// Harmonic kinship: ratios of small whole numbers.
const RATIOS: [f64; 18] = [
    2.0,
    3.0,
    4.0,
    5.0,
    6.0,
    0.5,
    1.0 / 3.0,
    0.25,
    0.2,
    1.5,
    2.0 / 3.0,
    4.0 / 3.0,
    0.75,
    1.25,
    0.8,
    1.2,
    5.0 / 3.0,
    0.6,
];
/// Points that other sound may cover one after the other.
const COVERED_IN_A_ROW: u32 = 15;
/// Hz by which a window full of growth draws a tone's frequency, for each dB a second.
const PULLED: f64 = 0.01;
const LOWEST_FUNDAMENTAL: f64 = 60.0;
const OF_A_FAMILY: f64 = 0.004;
const HIGHEST_PARTIAL: f64 = 24.0;
const LONGEST_SERIES: u8 = 6;
/// Tones nearer than this are one.
const APART: f64 = 0.03;
/// A neighbour counts from this height on, and this age in spectra.
const NEIGHBOUR_HEIGHT: f32 = 12.0;
const NEIGHBOUR_AGE: u64 = 5;

/// The signs of a tone that is there now, and its mean frequency along the line in Hz; `None` while it is too young
/// or too low to be judged.
pub(super) fn signs<'a>(track: &Track, all: impl Iterator<Item = &'a Track> + Clone) -> Option<(Signs, f64)> {
    let now = track.point(0).filter(|now| track.age >= 5 && now.height >= 11.0)?;
    let line = Line::newest(track)?;
    let frequency = track.peak.frequency.get();
    let growth = line.sums.slope();
    let company = if growth > 0.0 { Company::of(track, line.length, all) } else { Company::default() };
    let signs = Signs {
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
        partials: company.partials.map(|level| track.peak.level - level),
        comb: company.comb,
        foot: Db::new(line.foot),
        covered: line.covered,
        older: company.older,
        kin: company.kin,
        kin_rising: company.kin_rising,
        peers: company.peers,
        share: Db::new(f64::from(now.level - now.rest)),
        family_rising: company.family_rising,
        series: company.series,
        alike: company.alike,
        elsewhere: 0,
        returned: false,
    };
    Some((signs, track.base + line.sums.frequency()))
}

fn below(line: Dbfs, level: Dbfs) -> Option<Db> {
    (!line.is_silence()).then(|| level - line)
}

/// The newest straight stretch.
struct Line {
    sums: Sums,
    length: usize,
    bend: f64,
    covered: f64,
    foot: f64,
}

impl Line {
    fn newest(track: &Track) -> Option<Self> {
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
                let off = sums.rough() / sums.allowed();
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
struct Sums {
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
        (f64::from(point.level) - top - expected).abs() < 1.0 + 3.0 * allowed(point)
    }

    /// A point that its surroundings shake less weighs more.
    fn add(&mut self, back: usize, point: &Point, top: f64) {
        if point.level.is_nan() {
            return;
        }
        let (t, l, f) = (-(back as f64) * STEP, f64::from(point.level) - top, f64::from(point.off));
        let w = allowed(point).powi(-2);
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
        let weight = 10f64.powf(l / 10.0);
        self.weight += weight;
        self.weighted += weight * f;
    }

    /// Hz from the tone's first frequency.
    fn frequency(&self) -> f64 {
        self.weighted / self.weight
    }

    fn slope(&self) -> f64 {
        (self.w * self.tl - self.t * self.l) / (self.w * self.tt - self.t * self.t)
    }

    fn spread(&self) -> f64 {
        self.ll / self.w - (self.l / self.w).powi(2)
    }

    fn rough(&self) -> f64 {
        let times = self.tt / self.w - (self.t / self.w).powi(2);
        (self.spread() - self.slope().powi(2) * times).max(0.0).sqrt()
    }

    fn straight(&self) -> f64 {
        1.0 - self.rough().powi(2) / self.spread().max(1e-9)
    }

    /// Hz.
    fn wander(&self) -> f64 {
        (self.ff / self.w - (self.f / self.w).powi(2)).max(0.0).sqrt()
    }

    fn shake(&self) -> f64 {
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

/// The other tones of the channel, counted.
#[derive(Clone, Copy, Debug, Default)]
struct Company {
    alike: u8,
    family_rising: u8,
    series: u8,
    older: f64,
    kin: u8,
    kin_rising: u8,
    peers: u8,
    partials: Option<Dbfs>,
    comb: f64,
}

impl Company {
    fn of<'a>(track: &Track, line: usize, all: impl Iterator<Item = &'a Track> + Clone) -> Self {
        let mut company = Self::default();
        let frequency = track.peak.frequency.get();
        let mut ages = [0; MOST];
        let mut others = 0;
        let climbed = track.climb(line).unwrap_or(f64::INFINITY);
        for other in all.clone() {
            let ratio = other.peak.frequency.get() / frequency;
            if other.age < NEIGHBOUR_AGE || (ratio - 1.0).abs() < APART {
                continue;
            }
            let stands = other.last_height() > NEIGHBOUR_HEIGHT;
            let alike = stands && track.pace > 1.5 && (other.pace - track.pace).abs() < 1.0 + 0.3 * track.pace.abs();
            let family = RATIOS.iter().any(|known| (ratio / known - 1.0).abs() < OF_A_FAMILY);
            company.alike += u8::from(alike);
            company.family_rising += u8::from(alike && family);
            if stands {
                ages[others] = other.age;
                others += 1;
            }
            if stands && has_lasted(other, line) {
                let with = other
                    .climb(line)
                    .is_some_and(|climb| climb > 0.5 && (climb - climbed).abs() < 1.5 + 0.3 * climbed.abs());
                company.kin += u8::from(family);
                company.kin_rising += u8::from(family && with);
                company.peers += u8::from(with);
            }
            if alike && company.series < LONGEST_SERIES {
                company.series = company.series.max(series(frequency, other.peak.frequency.get(), all.clone()));
            }
        }
        company.partials = all
            .clone()
            .filter(|other| other.age >= NEIGHBOUR_AGE && other.missing == 0 && is_partial(other, frequency))
            .map(|other| other.peak.level)
            .max_by(|a, b| a.get().total_cmp(&b.get()));
        if track.pace > 1.0 {
            company.comb = comb(track, line, all);
        }
        let ages = &mut ages[..others];
        ages.sort_unstable();
        let median = ages.get(others / 2).copied().unwrap_or(1).max(5);
        company.older = (track.age as f64 / median as f64).log2();
        company
    }
}

/// How many tones more than chance would put there stand at whole multiples of one fundamental with this one, in
/// standard deviations; of the best of its first twelve possible fundamentals.
fn comb<'a>(track: &Track, line: usize, all: impl Iterator<Item = &'a Track> + Clone) -> f64 {
    let frequency = track.peak.frequency.get();
    let reach = |at: f64| 0.5 + 0.0008 * at;
    let mut best = 0.0f64;
    for number in 1..=12 {
        let fundamental = frequency / f64::from(number);
        if fundamental < LOWEST_FUNDAMENTAL {
            break;
        }
        let (mut seen, mut expected) = (0.0, 0.0);
        for other in all.clone().filter(|other| has_lasted(other, line) && other.id != track.id) {
            let at = other.peak.frequency.get();
            let multiple = at / fundamental;
            let near = (multiple - multiple.round()).abs() * fundamental < reach(at) && multiple > 0.7;
            expected += (2.0 * reach(at) / fundamental).min(1.0);
            seen += f64::from(u8::from(near));
        }
        best = best.max((seen - expected) / (expected + 0.5).sqrt());
    }
    best
}

/// At a whole multiple, up to ten.
fn is_partial(track: &Track, of: f64) -> bool {
    let ratio = track.peak.frequency.get() / of;
    ratio > 1.5 && ratio < 10.5 && (ratio - ratio.round()).abs() < 0.001 * ratio + 1.0 / of
}

/// As long as four fifths of a line.
fn has_lasted(track: &Track, line: usize) -> bool {
    5 * track.age >= 4 * line as u64
}

/// How many tones stand at whole steps around this one, if the step to another goes into its frequency a whole number
/// of times: then both are partials of one sound.
fn series<'a>(frequency: f64, other: f64, all: impl Iterator<Item = &'a Track> + Clone) -> u8 {
    let step = (other - frequency).abs();
    let number = frequency / step;
    if !(1.5..=HIGHEST_PARTIAL).contains(&number) || (number - number.round()).abs() > 0.002 * number * number {
        return 0;
    }
    let step = frequency / number.round();
    let stands = |at: f64| {
        let near = |track: &Track| (track.peak.frequency.get() / at - 1.0).abs() < 0.0015;
        all.clone().any(|track| track.age >= NEIGHBOUR_AGE && near(track))
    };
    [-3.0, -2.0, -1.0, 1.0, 2.0, 3.0]
        .into_iter()
        .map(|steps: f64| frequency + steps * step)
        .filter(|&at| at > 60.0 && stands(at))
        .count() as u8
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
            let spectrum = Spectrum { count: frame.into(), fresh: false, level: Dbfs::new(-20.0), peaks };
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
        assert_eq!((signs.family, signs.alike, signs.company), (0, 0, 0));
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
        assert_eq!((signs.family, signs.family_rising, signs.alike, signs.company), (4, 4, 4, 4));
    }

    #[test]
    fn too_young_or_too_low() {
        let mut tracks = Tracks::new();
        for frame in 0..20 {
            let peaks = vec![peak(500.0, if frame < 10 { -30.0 } else { -70.5 })];
            tracks.follow(&Spectrum { count: frame, fresh: false, level: Dbfs::new(-20.0), peaks }, Seconds::ZERO);
            let track = tracks.iter().next().unwrap();
            assert_eq!(signs(track, tracks.iter()).is_some(), (4..10).contains(&frame));
        }
    }
}
