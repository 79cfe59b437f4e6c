//! The other tones of a channel: partials of one sound stand in whole-number ratios, begin together and rise together;
//! a ring knows none of them.
//!
//! Kinship is by frequency alone, within 0.1 to 0.4 %; in a full spectrum chance makes some of it, so those that have
//! stood as long as the tone's own line are also counted apart, and a comb counts only by what it is over chance.

use super::track::{MOST, Track};
use crate::units::Dbfs;

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
const LOWEST_FUNDAMENTAL: f64 = 60.0;
const OF_A_FAMILY: f64 = 0.004;
const HIGHEST_PARTIAL: f64 = 24.0;
const LONGEST_SERIES: u8 = 6;
/// Tones nearer than this are one.
const APART: f64 = 0.03;
/// A neighbour counts from this height on, and this age in spectra.
const NEIGHBOUR_HEIGHT: f32 = 12.0;
const NEIGHBOUR_AGE: u64 = 5;

/// The other tones of the channel, counted.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Company {
    pub alike: u8,
    pub family_rising: u8,
    pub series: u8,
    pub older: f64,
    pub kin: u8,
    pub kin_rising: u8,
    pub peers: u8,
    pub partials: Option<Dbfs>,
    pub comb: f64,
}

impl Company {
    pub fn of<'a>(track: &Track, line: usize, all: impl Iterator<Item = &'a Track> + Clone) -> Self {
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
            // Asked of few: most neighbours are neither alike nor as old.
            let family = || RATIOS.iter().any(|known| (ratio - known).abs() < OF_A_FAMILY * known);
            company.alike += u8::from(alike);
            company.family_rising += u8::from(alike && family());
            if stands {
                ages[others] = other.age;
                others += 1;
            }
            if stands && has_lasted(other, line) {
                let with = other
                    .climb(line)
                    .is_some_and(|climb| climb > 0.5 && (climb - climbed).abs() < 1.5 + 0.3 * climbed.abs());
                let family = family();
                company.kin += u8::from(family);
                company.kin_rising += u8::from(family && with);
                company.peers += u8::from(with);
            }
            if alike && company.series < LONGEST_SERIES {
                company.series = company.series.max(series(frequency, other.peak.frequency.get(), all.clone()));
            }
        }
        company.partials = partials(track, all.clone());
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
fn comb<'a>(track: &Track, line: usize, all: impl Iterator<Item = &'a Track>) -> f64 {
    let frequency = track.peak.frequency.get();
    let reach = |at: f64| 0.5 + 0.0008 * at;
    let mut standing = [0.0; MOST];
    let mut count = 0;
    for other in all.filter(|other| has_lasted(other, line) && other.id != track.id) {
        standing[count] = other.peak.frequency.get();
        count += 1;
    }
    let mut best = 0.0f64;
    for number in 1..=12 {
        let fundamental = frequency / f64::from(number);
        if fundamental < LOWEST_FUNDAMENTAL {
            break;
        }
        let (mut seen, mut expected) = (0.0, 0.0);
        for &at in &standing[..count] {
            let multiple = at / fundamental;
            let near = (multiple - nearest(multiple)).abs() * fundamental < reach(at) && multiple > 0.7;
            expected += (2.0 * reach(at) / fundamental).min(1.0);
            seen += f64::from(u8::from(near));
        }
        best = best.max((seen - expected) / (expected + 0.5).sqrt());
    }
    best
}

/// The strongest tone at a whole multiple.
pub(super) fn partials<'a>(track: &Track, all: impl Iterator<Item = &'a Track>) -> Option<Dbfs> {
    let frequency = track.peak.frequency.get();
    all.filter(|other| other.age >= NEIGHBOUR_AGE && other.missing == 0 && is_partial(other, frequency))
        .map(|other| other.peak.level)
        .max_by(|a, b| a.get().total_cmp(&b.get()))
}

/// At a whole multiple, up to ten.
fn is_partial(track: &Track, of: f64) -> bool {
    let ratio = track.peak.frequency.get() / of;
    ratio > 1.5 && ratio < 10.5 && (ratio - nearest(ratio)).abs() < 0.001 * ratio + 1.0 / of
}

/// The nearest whole number to one that is not negative; quicker than what does so for all numbers.
fn nearest(number: f64) -> f64 {
    (number + 0.5) as u32 as f64
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
    if !(1.5..=HIGHEST_PARTIAL).contains(&number) || (number - nearest(number)).abs() > 0.002 * number * number {
        return 0;
    }
    let step = frequency / nearest(number);
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
