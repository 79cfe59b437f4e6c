//! Flat runs: three or more equal samples at a local extreme, or at full scale.
//!
//! In: amplitudes, 1.0 = full scale. A run at full scale is three or more samples of one sign at or above
//! 0.9999, equal or not; a run below it is three or more equal ones, or four or more that are alike within
//! 0.3 %: what is cut off before a converter carries the converter's noise. Its neighbours must both be lower,
//! and it must stand out: above −42 dBFS and within 12 dB of the channel's recent peak (which falls
//! 8.7 dB a second), else the rounding of quiet sound would count.
//!
//! `overshoot` says whether a run is a cut-off crest. The slopes just outside it, s1 rising and s2
//! falling, a distance D apart, belong to a parabola that rises D · (s1 + s2) / 8 above the points where
//! they were taken (the middle of a cubic with these slopes). For the rounded top of a smooth wave that
//! meets the run itself. A run is told once two samples after it are known. An unbroken constant is a
//! run that has not ended.

use crate::dsp::lanes::larger;
use crate::units::{Db, FrameCount};
use multiversion::multiversion;

use super::readings::FlatRun;

/// Samples after a run that the meter waits for, and those before a hop that it looks back.
const AHEAD: usize = 2;
const BEHIND: usize = SHORTEST - 1 + AHEAD;
/// Samples before the hop that [`Runs::scan`] needs.
pub(super) const HISTORY: usize = AHEAD + BEHIND;

const SHORTEST: usize = 3;
/// Samples that are alike, not equal, prove less: one more of them is wanted.
const SHORTEST_ALIKE: u32 = 4;
const ALIKE: f32 = 0.003;
const FULL_SCALE: f32 = 0.9999;
const FAINTEST: f32 = 1.0 / 128.0;
const UNDER_RECENT_PEAK: f32 = 0.25;
const PEAK_DECAY: f32 = 0.99;

/// The run detector of one channel.
#[derive(Clone, Debug, Default)]
pub(super) struct Runs {
    open: Option<Open>,
    recent_peak: f32,
}

/// A run that has not ended yet.
#[derive(Clone, Copy, Debug)]
struct Open {
    start: FrameCount,
    samples: u32,
    sum: f64,
    /// What the others are alike to; at full scale the largest.
    value: f32,
    full_scale: bool,
    equal: bool,
    /// The two samples before it.
    before: [f32; AHEAD],
}

impl Runs {
    /// Looks at `samples[HISTORY..]`, which end at frame `end`, two samples late; `peak` is their largest magnitude.
    /// Adds the runs that ended to `runs`, as far as its capacity reaches.
    pub fn scan(&mut self, samples: &[f32], end: FrameCount, peak: f32, runs: &mut Vec<FlatRun>) {
        self.recent_peak = larger(self.recent_peak * PEAK_DECAY, peak);
        let floor = larger(self.recent_peak * UNDER_RECENT_PEAK, FAINTEST);
        let last = samples.len() - AHEAD;
        if self.open.is_none() && !has_run(&samples[BEHIND + 1 - SHORTEST..last], floor) {
            return;
        }
        for i in BEHIND..last {
            let sample = samples[i];
            match &mut self.open {
                Some(open) if open.continues(sample) => {
                    open.extend(sample);
                    continue;
                }
                Some(open) => {
                    if let Some(run) = open.close([sample, samples[i + 1]])
                        && runs.len() < runs.capacity()
                    {
                        runs.push(run);
                    }
                    self.open = None;
                }
                None => {}
            }
            let start = i + 1 - SHORTEST;
            let first = [samples[start], samples[start + 1], sample];
            if is_run(first, floor) {
                let at = FrameCount::new(end.get() - (samples.len() - start) as u64);
                self.open = Some(Open::new(at, first, [samples[start - 2], samples[start - 1]]));
            }
        }
    }

    /// Drops an open run, after a gap.
    pub fn reset(&mut self) {
        self.open = None;
    }
}

impl Open {
    fn new(start: FrameCount, first: [f32; SHORTEST], before: [f32; AHEAD]) -> Self {
        let full_scale = first.iter().all(|sample| sample.abs() >= FULL_SCALE);
        let largest = first.into_iter().fold(0f32, |largest, x| if x.abs() > largest.abs() { x } else { largest });
        Self {
            start,
            samples: SHORTEST as u32,
            sum: first.iter().map(|&sample| f64::from(sample)).sum(),
            value: if full_scale { largest } else { first[1] },
            full_scale,
            equal: first[0] == first[1] && first[1] == first[2],
            before,
        }
    }

    fn continues(&self, sample: f32) -> bool {
        if self.full_scale {
            sample * self.value.signum() >= FULL_SCALE
        } else {
            // What reaches full scale begins a run of its own.
            sample.abs() < FULL_SCALE && are_alike(sample, self.value)
        }
    }

    fn extend(&mut self, sample: f32) {
        self.samples = self.samples.saturating_add(1);
        self.sum += f64::from(sample);
        self.equal &= sample == self.value;
        if self.full_scale && sample.abs() > self.value.abs() {
            self.value = sample;
        }
    }

    /// The run, if it was an extreme.
    fn close(&self, after: [f32; AHEAD]) -> Option<FlatRun> {
        let sign = self.value.signum();
        let value = if self.full_scale { self.value } else { (self.sum / f64::from(self.samples)) as f32 };
        let height = f64::from(value.abs());
        let [left_far, left] = self.before.map(|x| f64::from(x * sign));
        let [right, right_far] = after.map(|x| f64::from(x * sign));
        if left >= height || right >= height {
            return None;
        }
        let slopes = (left - left_far) + (right - right_far);
        let distance = f64::from(self.samples) + 2.0;
        let middle = (left + left_far + right + right_far) / 4.0;
        let crest = middle + slopes * (distance / 8.0 + 0.125 / distance);
        let overshoot = if crest > height { Db::from_ratio(crest / height) } else { Db::ZERO };
        let stands = self.full_scale || self.equal || self.samples >= SHORTEST_ALIKE;
        stands.then_some(FlatRun { start: self.start, samples: self.samples, value, overshoot })
    }
}

#[inline(always)]
fn is_run([a, b, c]: [f32; SHORTEST], floor: f32) -> bool {
    let alike = are_alike(a, b) & are_alike(c, b) & (b.abs() >= floor);
    let above = (a >= FULL_SCALE) & (b >= FULL_SCALE) & (c >= FULL_SCALE);
    let below = (a <= -FULL_SCALE) & (b <= -FULL_SCALE) & (c <= -FULL_SCALE);
    alike | above | below
}

#[inline(always)]
fn are_alike(sample: f32, other: f32) -> bool {
    (sample - other).abs() <= ALIKE * other.abs()
}

/// Whether any three consecutive samples are a run: the fast way through sound without any.
#[multiversion(targets("x86_64+avx2"))]
fn has_run(samples: &[f32], floor: f32) -> bool {
    let mut hit = 0u32;
    for i in 0..samples.len().saturating_sub(SHORTEST - 1) {
        hit |= u32::from(is_run([samples[i], samples[i + 1], samples[i + 2]], floor));
    }
    hit != 0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Runs of a wave, scanned in hops of 480.
    fn runs(wave: impl Fn(f64) -> f64) -> Vec<FlatRun> {
        let mut samples = vec![0f32; HISTORY];
        samples.extend((0..48_000).map(|i| wave(f64::from(i) / 48_000.0) as f32));
        let (mut meter, mut all) = (Runs::default(), Vec::new());
        for hop in 0..100 {
            let window = &samples[hop * 480..][..HISTORY + 480];
            let peak = window[HISTORY..].iter().fold(0f32, |peak, x| peak.max(x.abs()));
            let mut found = Vec::with_capacity(200);
            meter.scan(window, FrameCount::new((hop as u64 + 1) * 480), peak, &mut found);
            all.append(&mut found);
        }
        all
    }

    fn sine(hz: f64, t: f64) -> f64 {
        (std::f64::consts::TAU * hz * t).sin()
    }

    fn rounded(x: f64) -> f64 {
        (x * 32_767.0).round() / 32_767.0
    }

    /// A sine driven 6 dB over its limit is cut off from 30° to 150°: two thirds of 24 samples at 1 kHz.
    #[test]
    fn clipped_sine() {
        for limit in [1.0, 0.4] {
            let found = runs(|t| rounded((2.0 * limit * sine(1000.0, t + 1e-5)).clamp(-limit, limit)));
            assert!((1990..=2000).contains(&found.len()), "{}", found.len());
            for pair in found.windows(2) {
                assert!(pair[1].start.get() - pair[0].start.get() == 24);
                assert!(pair[0].value * pair[1].value < 0.0);
                assert!((15..=17).contains(&pair[0].samples) && pair[0].overshoot.get() > 3.0, "{:?}", pair[0]);
            }
        }
    }

    /// What was cut off is found again: 1 and 3 dB over the limit, from the shape of a sine.
    #[test]
    fn overshoot_measures_the_loss() {
        for over in [1.0, 2.0, 3.0] {
            let found = runs(|t| rounded((Db::new(over).ratio() * sine(200.0, t)).clamp(-1.0, 1.0)));
            assert!(found.len() > 390);
            for run in found {
                assert!((run.overshoot.get() - over).abs() < 0.25, "{over}: {run:?}");
            }
        }
    }

    /// The tops of low sines, rounded to 16 bits, are flat without being cut off.
    #[test]
    fn rounded_tops_have_no_overshoot() {
        for hz in [20.0, 50.0, 100.0] {
            for level in [0.89, 0.5, 0.1, 0.02] {
                let found = runs(|t| rounded(level * sine(hz, t)));
                assert!(level > 0.02 || !found.is_empty());
                for run in found {
                    assert!(run.overshoot.get() < 0.1, "{hz} Hz at {level}: {run:?}");
                }
            }
        }
    }

    /// The same with a converter's noise upon it, 86 dB under full scale: the run and its loss are found again.
    #[test]
    fn noise_upon_flat_tops() {
        let mut dice = 1u32;
        let mut noise = || {
            dice = dice.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (f64::from(dice >> 8) / 8_388_608.0 - 1.0) * 8.7e-5
        };
        let limit = 0.2;
        let wave: Vec<f64> =
            (0..48_000).map(|i| (2.0 * limit * sine(300.0, f64::from(i) / 48_000.0)).clamp(-limit, limit)).collect();
        let noisy: Vec<f64> = wave.iter().map(|x| x + noise()).collect();
        let found = runs(|t| noisy[(t * 48_000.0).round() as usize]);
        assert!((590..=600).contains(&found.len()), "{}", found.len());
        for run in found {
            assert!((52..=55).contains(&run.samples) && run.overshoot.get() > 3.0, "{run:?}");
            assert!((f64::from(run.value.abs()) / limit - 1.0).abs() < 0.001, "{run:?}");
        }
        let clean: Vec<f64> = (0..48_000).map(|i| limit * sine(300.0, f64::from(i) / 48_000.0) + noise()).collect();
        assert!(runs(|t| clean[(t * 48_000.0).round() as usize]).iter().all(|run| run.overshoot.get() < 0.3));
    }

    /// A slow wave nears its limit through samples that are alike; the run is at full scale all the same.
    #[test]
    fn slowly_into_full_scale() {
        for hz in [20.0, 60.0] {
            let found = runs(|t| rounded((1.05 * sine(hz, t)).clamp(-1.0, 1.0)));
            let clipped = found.iter().filter(|run| run.value.abs() >= FULL_SCALE);
            // From asin(1 / 1.05) = 72.2° to 107.8°.
            let expected = 48_000.0 / hz * 35.55 / 360.0;
            assert!(clipped.clone().count() as f64 >= 2.0 * hz - 2.0, "{hz} Hz: {}", found.len());
            assert!(
                clipped.clone().all(|run| (f64::from(run.samples) / expected - 1.0).abs() < 0.05),
                "{hz}: {found:?}"
            );
        }
    }

    /// Equal samples on a slope or in a quiet passage are no clipping; unequal ones at full scale are.
    #[test]
    fn slopes_quiet_sound_and_full_scale() {
        let steps = |t: f64| ((t * 48_000.0 % 480.0) / 4.0).floor() / 240.0 - 0.25;
        assert!(runs(steps).iter().all(|run| run.value.abs() >= 0.24));
        assert!(runs(|t| if t < 0.2 { sine(997.0, t) } else { rounded(0.0001 * sine(50.0, t)) }).is_empty());
        let hot = runs(|t| 1.2 * sine(500.0, t));
        assert!(hot.len() > 900 && hot.iter().all(|run| run.value.abs() > 1.1 && run.samples > 10));
        assert!(runs(|_| 0.5).is_empty());
    }
}
