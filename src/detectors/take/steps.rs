//! Steps: samples that are missing between two others, told by the wave that doesn't go on.
//!
//! In: blocks of amplitudes with their surroundings. A linear predictor of order 8 (autocorrelation method with a Hann
//! window, Levinson and Durbin) is fitted to 180 ms; what it can't foresee is small all along but at a step, where its
//! own memory is of another wave: for 8 samples, no more. A step is a millisecond whose residual stands 14 dB over the
//! 20 ms before and after, is over within those 8 samples, and has sound on both sides: their root mean squares over 5 ms
//! within 10 dB of each other. The stroke of a stick or a plosive lasts longer or begins in silence; a reed's pulse comes
//! again. Only jumps are found that the sound doesn't cover: two in three in music, fewer under drums. An edit looks the
//! same, and a lone sample gone wrong: so they count where two channels have them at once. Order after Makhoul 1975; the rest own working values, held against clean programme.

use super::View;
use super::dropouts::Dropout;
use crate::detectors::finding::DropoutForm;
use crate::dsp::lanes;
use crate::units::{SampleRate, Seconds};

const ORDER: usize = 8;
const STANDS_OUT: f32 = 5.0;
const BESIDE: usize = 20;
const SIDE: Seconds = Seconds::new(0.005);
const UNEVEN: f64 = 0.3;
/// Re the root mean square beside it.
const LEAST: f64 = 0.1;
/// Not even a quiet take's sound, as a mean square.
const SOUND: f64 = 1e-8;
/// White noise this far under the sound steadies the fit.
const STEADY: f64 = 1e-7;
const MOST: usize = 1_000;

/// The steps of one channel.
pub(super) struct Steps {
    milli: usize,
    side: usize,
    hann: Vec<f32>,
    windowed: Vec<f32>,
    residual: Vec<f32>,
    peaks: Vec<f32>,
    found: Vec<Dropout>,
}

impl Steps {
    pub fn new(rate: SampleRate, block: usize, around: usize) -> Self {
        let length = block + 2 * around;
        let milli = (rate.get() / 1000).max(1) as usize;
        let hann = |i: usize| {
            let turn = std::f64::consts::TAU * (i as f64 + 0.5) / length as f64;
            (0.5 - 0.5 * turn.cos()) as f32
        };
        Self {
            milli,
            side: rate.frames(SIDE).get() as usize,
            hann: (0..length).map(hann).collect(),
            windowed: vec![0.0; length],
            residual: vec![0.0; length],
            peaks: Vec::with_capacity(length / milli + 1),
            found: Vec::with_capacity(MOST),
        }
    }

    pub fn look(&mut self, view: &View) {
        // The last stretch of a take is too short to fit anything to.
        let length = view.samples.len();
        if length < self.hann.len() {
            return;
        }
        for ((out, sample), weight) in self.windowed.iter_mut().zip(view.samples).zip(&self.hann) {
            *out = sample * weight;
        }
        let power = lanes::moments(&self.windowed).1;
        if power < SOUND * length as f64 {
            return;
        }
        let lag = |lag: usize| f64::from(lanes::dot(&self.windowed[lag..], &self.windowed));
        let mut correlation: [f64; ORDER + 1] = std::array::from_fn(lag);
        correlation[0] *= 1.0 + STEADY;
        let predictor = levinson(&correlation).map(|x| x as f32);
        foresee(view.samples, &predictor, &mut self.residual);
        self.peaks.clear();
        self.peaks.extend(self.residual.chunks_exact(self.milli).map(lanes::peak));
        let (first, last) = (view.from / self.milli, view.to / self.milli);
        for milli in first..last {
            if let Some(at) = self.step(view.samples, milli)
                && self.found.len() < MOST
            {
                let frame = view.frame(at);
                let edge = lanes::peak(&view.samples[at - self.side..at]);
                if self.found.last().is_none_or(|last| frame - last.start > 2 * self.milli as u64) {
                    self.found.push(Dropout { start: frame, end: frame + 1, form: DropoutForm::Step, edge });
                }
            }
        }
    }

    pub fn found(&self) -> &[Dropout] {
        &self.found
    }

    /// Where in `samples` a step lies that begins in this millisecond.
    fn step(&self, samples: &[f32], milli: usize) -> Option<usize> {
        let loudest = |part: &[f32]| part.iter().fold(0f32, |most, &peak| lanes::larger(most, peak));
        let height = loudest(&self.peaks[milli..milli + 2]);
        let before = loudest(&self.peaks[milli.checked_sub(BESIDE)?..milli]);
        let after = loudest(self.peaks.get(milli + 2..milli + 2 + BESIDE)?);
        if height <= STANDS_OUT * before || height <= STANDS_OUT * after || self.peaks[milli] < 0.5 * height {
            return None;
        }
        let from = milli * self.milli;
        let stretch = &self.residual[from..from + 2 * self.milli];
        let stands = |&(_, residual): &(usize, &f32)| residual.abs() > height / STANDS_OUT;
        let begin = from + stretch.iter().enumerate().find(stands)?.0;
        let end = from + stretch.iter().enumerate().rfind(stands)?.0 + 1;
        let rms = |part: &[f32]| (lanes::moments(part).1 / part.len() as f64).sqrt();
        let (left, right) = (rms(samples.get(begin - self.side..begin)?), rms(samples.get(end..end + self.side)?));
        let (weaker, louder) = (left.min(right), left.max(right));
        let sounds = weaker * weaker > SOUND && weaker >= UNEVEN * louder && f64::from(height) >= LEAST * louder;
        (end - begin <= ORDER && sounds).then_some(begin)
    }
}

/// The predictor's coefficients of these autocorrelations.
fn levinson(correlation: &[f64; ORDER + 1]) -> [f64; ORDER] {
    let mut predictor = [0.0; ORDER];
    let mut error = correlation[0];
    for order in 0..ORDER {
        let foreseen: f64 = (0..order).map(|i| predictor[i] * correlation[order - i]).sum();
        let reflection = (correlation[order + 1] - foreseen) / error;
        let old = predictor;
        for i in 0..order {
            predictor[i] -= reflection * old[order - 1 - i];
        }
        predictor[order] = reflection;
        error *= 1.0 - reflection * reflection;
    }
    predictor
}

/// What the predictor leaves of each sample; 0 for the first few.
#[multiversion::multiversion(targets("x86_64+avx2"))]
fn foresee(samples: &[f32], predictor: &[f32; ORDER], residual: &mut [f32]) {
    residual[..ORDER].fill(0.0);
    for (window, out) in samples.array_windows::<{ ORDER + 1 }>().zip(&mut residual[ORDER..]) {
        let mut rest = window[ORDER];
        for lag in 0..ORDER {
            rest -= predictor[lag] * window[ORDER - 1 - lag];
        }
        *out = rest;
    }
}
