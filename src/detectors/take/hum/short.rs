//! Short looks under 1 kHz: the bursts of a mobile phone, and how much lies under 40 Hz.
//!
//! In: decimated samples, their mean taken off. Windows are 0.35 s (Hann), each begins in the middle of the one before it.
//!
//! *A phone* sends in one of the eight slots of a frame of 120/26 ms (3GPP TS 45.002); an input that picks it up hears pulses
//! 216.67 times a second for a third of a second or longer. A look shows them where the first four multiples stand 10 dB
//! over their surroundings (25 to 95 Hz on each side, median) and within 0.6 Hz, together within 0.15 Hz a multiple; no
//! line is more than 20 dB under the strongest, and nothing stands exactly between them, as the partials of a note an
//! octave lower would. Two looks in a row at one pitch are a burst; bursts less than two seconds apart are told as one.
//! The nearest note, A3, is 26 cents off. *Low*: the mean square of all bins under 40 Hz, down to about 1 Hz.

use std::f64::consts::TAU;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

const WINDOW: f64 = 0.35;
const LOW: f64 = 40.0;
const FRAMES_A_SECOND: f64 = 26.0 / 0.12;
const LINES: usize = 4;
const BESIDE: (f64, f64) = (25.0, 95.0);
const STANDS_OUT: f32 = 10.0;
const EXACT: f64 = 0.6;
const EXACT_ALL: f64 = 0.15;
const SAME_PITCH: f64 = 0.25;
/// The weakest line re the strongest, in power.
const WEAKEST: f32 = 0.01;
/// Mean square of a line under which nobody hears it: −90 dBFS.
const FAINTEST: f32 = 1e-9;
const APART: f64 = 2.0;
const MOST: usize = 16;

/// The looks at one channel.
pub(super) struct ShortLooks {
    rate: f64,
    /// Frames from sample to sample.
    factor: u64,
    fft: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    ring: Vec<f32>,
    filled: usize,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    powers: Vec<f32>,
    around: Vec<f32>,
    low: f64,
    looks: u32,
    last: Option<Pulses>,
    bursts: Vec<Burst>,
}

/// What one look shows of a phone.
#[derive(Clone, Copy)]
struct Pulses {
    hertz: f64,
    power: f64,
    /// Frames, without the faded ends of the window.
    start: u64,
    end: u64,
}

/// Pulses for a while.
#[derive(Clone, Copy)]
pub(super) struct Burst {
    pub start: u64,
    pub end: u64,
    /// All four lines, in the look that shows most of them.
    pub power: f64,
    hertz: f64,
    looks: u32,
}

impl Burst {
    pub fn hertz(&self) -> f64 {
        self.hertz / f64::from(self.looks)
    }
}

impl ShortLooks {
    /// `rate` of samples that are `factor` frames apart.
    pub fn new(rate: f64, factor: usize) -> Self {
        let length = (rate * WINDOW) as usize;
        let fft = RealFftPlanner::<f32>::new().plan_fft_forward(length.next_power_of_two());
        let output = fft.make_output_vec();
        Self {
            rate,
            factor: factor as u64,
            window: (0..length).map(|i| (0.5 - 0.5 * (TAU * (i as f64 + 0.5) / length as f64).cos()) as f32).collect(),
            ring: vec![0.0; length],
            filled: 0,
            input: fft.make_input_vec(),
            scratch: fft.make_scratch_vec(),
            powers: vec![0.0; output.len()],
            around: Vec::with_capacity(output.len()),
            output,
            fft,
            low: 0.0,
            looks: 0,
            last: None,
            bursts: Vec::with_capacity(MOST),
        }
    }

    /// The next sample, which stands at frame `at`.
    pub fn push(&mut self, sample: f32, at: u64) {
        self.ring[self.filled] = sample;
        self.filled += 1;
        if self.filled == self.ring.len() {
            self.look(at);
            let half = self.ring.len() / 2;
            self.ring.copy_within(half.., 0);
            self.filled -= half;
        }
    }

    /// After a gap.
    pub fn restart(&mut self) {
        (self.filled, self.last) = (0, None);
    }

    /// Mean square of what lies under 40 Hz.
    pub fn low(&self) -> f64 {
        self.low / f64::from(self.looks.max(1))
    }

    /// Whether a phone was heard after `frame`.
    pub fn heard_since(&self, frame: u64) -> bool {
        self.bursts.last().is_some_and(|burst| burst.end > frame)
    }

    pub fn bursts(&self) -> &[Burst] {
        &self.bursts
    }

    fn look(&mut self, at: u64) {
        let length = self.ring.len();
        self.input[length..].fill(0.0);
        for ((out, sample), weight) in self.input.iter_mut().zip(&self.ring).zip(&self.window) {
            *out = sample * weight;
        }
        if self.fft.process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch).is_err() {
            return;
        }
        // A Hann window sums to a half of its length, its squares to three eighths.
        let scale = 8.0 / (length * length) as f32;
        self.powers.iter_mut().zip(&self.output).for_each(|(power, bin)| *power = scale * bin.norm_sqr());
        let under = &self.powers[..=(LOW / self.step()) as usize];
        let sum: f64 = under.iter().map(|&power| f64::from(power)).sum();
        self.low += sum * length as f64 / (1.5 * self.input.len() as f64);
        self.looks += 1;
        let quarter = length as u64 / 4;
        let (start, end) = (at.saturating_sub(3 * quarter * self.factor), at.saturating_sub(quarter * self.factor));
        let now = self.pulses().map(|(hertz, power)| Pulses { hertz, power, start, end });
        let before = std::mem::replace(&mut self.last, now);
        if let (Some(before), Some(now)) = (before, now)
            && (before.hertz - now.hertz).abs() < SAME_PITCH
        {
            self.add(before, now);
        }
    }

    fn add(&mut self, before: Pulses, now: Pulses) {
        let full = self.bursts.len() == MOST;
        let apart = (APART * self.rate) as u64 * self.factor;
        match self.bursts.last_mut().filter(|burst| full || before.start < burst.end + apart) {
            Some(burst) => {
                burst.end = now.end;
                burst.power = burst.power.max(now.power);
                burst.hertz += now.hertz;
                burst.looks += 1;
            }
            None => self.bursts.push(Burst {
                start: before.start,
                end: now.end,
                power: before.power.max(now.power),
                hertz: before.hertz + now.hertz,
                looks: 2,
            }),
        }
    }

    /// The pitch of the pulses in this look, if there are any, and the power of their lines.
    fn pulses(&mut self) -> Option<(f64, f64)> {
        let mut lines = [(0.0, 0f32); LINES];
        for (index, line) in lines.iter_mut().enumerate() {
            *line = self.line((index + 1) as f64 * FRAMES_A_SECOND)?;
        }
        let strongest = lines.iter().fold(0f32, |most, line| most.max(line.1));
        if lines.iter().any(|line| line.1 < WEAKEST * strongest) {
            return None;
        }
        if (0..LINES).any(|order| self.line((order as f64 + 0.5) * FRAMES_A_SECOND).is_some()) {
            return None;
        }
        let squares: f64 = (1..=LINES).map(|order| (order * order) as f64).sum();
        let hertz = lines.iter().zip(1..).map(|(line, order)| f64::from(order) * line.0).sum::<f64>() / squares;
        let power = lines.iter().map(|line| f64::from(line.1)).sum();
        ((hertz - FRAMES_A_SECOND).abs() < EXACT_ALL).then_some((hertz, power))
    }

    /// Frequency and power of a line at `hertz`.
    fn line(&mut self, hertz: f64) -> Option<(f64, f32)> {
        let step = self.step();
        let bin = |hertz: f64| (hertz / step).round() as usize;
        let (centre, near, far) = (bin(hertz), (BESIDE.0 / step) as usize, (BESIDE.1 / step) as usize);
        let powers = &self.powers;
        if centre + far >= powers.len() || centre < far {
            return None;
        }
        let top = (centre - 1..=centre + 1).max_by(|&a, &b| powers[a].total_cmp(&powers[b]))?;
        let [left, here, right] = [powers[top - 1], powers[top], powers[top + 1]];
        if here < FAINTEST || here < left || here < right {
            return None;
        }
        let (left, middle, right) = (f64::from(left).ln(), f64::from(here).ln(), f64::from(right).ln());
        let part = (0.5 * (left - right) / (left - 2.0 * middle + right)).clamp(-0.5, 0.5);
        let found = (top as f64 + part) * step;
        if (found - hertz).abs() > EXACT {
            return None;
        }
        self.around.clear();
        self.around.extend_from_slice(&powers[centre - far..centre - near]);
        self.around.extend_from_slice(&powers[centre + near..centre + far]);
        let place = self.around.len() / 2;
        let beside = *self.around.select_nth_unstable_by(place, f32::total_cmp).1;
        (here > STANDS_OUT * beside).then_some((found, here))
    }

    /// Hz from bin to bin.
    fn step(&self) -> f64 {
        self.rate / self.input.len() as f64
    }
}
