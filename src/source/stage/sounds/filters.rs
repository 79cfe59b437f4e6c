//! The few filters that shape noise and pulses into sounds. Frequencies in Hz; double precision, so
//! that long decays never become denormal within a passage.

use std::f64::consts::TAU;

/// Two-pole resonator with gain 1 at 0 Hz: one formant of a cascade
/// (D. H. Klatt, "Software for a cascade/parallel formant synthesizer", JASA 67(3), 1980).
#[derive(Clone, Default)]
pub struct Formant {
    a: f64,
    b: f64,
    c: f64,
    y1: f64,
    y2: f64,
}

impl Formant {
    /// Tunes it; a frequency near half the sample rate is kept below it.
    pub fn tune(&mut self, hz: f64, bandwidth: f64, rate: f64) {
        let radius = (-TAU / 2.0 * bandwidth / rate).exp();
        self.c = -radius * radius;
        self.b = 2.0 * radius * (TAU * hz.min(0.46 * rate) / rate).cos();
        self.a = 1.0 - self.b - self.c;
    }

    pub fn next(&mut self, x: f64) -> f64 {
        let y = self.a * x + self.b * self.y1 + self.c * self.y2;
        self.y2 = self.y1;
        self.y1 = y;
        y
    }
}

/// First-order low-pass.
#[derive(Clone, Default)]
pub struct LowPass {
    k: f64,
    y: f64,
}

impl LowPass {
    pub fn new(hz: f64, rate: f64) -> Self {
        Self { k: 1.0 - (-TAU * hz.min(0.49 * rate) / rate).exp(), y: 0.0 }
    }

    pub fn next(&mut self, x: f64) -> f64 {
        self.y += self.k * (x - self.y);
        self.y
    }
}

/// First-order high-pass: what a `LowPass` takes away.
#[derive(Clone, Default)]
pub struct HighPass(LowPass);

impl HighPass {
    pub fn new(hz: f64, rate: f64) -> Self {
        Self(LowPass::new(hz, rate))
    }

    pub fn next(&mut self, x: f64) -> f64 {
        x - self.0.next(x)
    }
}

/// A decay to 1/1000 (−60 dB) in a given time, sample by sample.
pub struct Decay {
    level: f64,
    factor: f64,
}

impl Decay {
    pub fn new(level: f64, seconds: f64, rate: f64) -> Self {
        Self { level, factor: 10f64.powf(-3.0 / (seconds * rate).max(1.0)) }
    }

    pub fn next(&mut self) -> f64 {
        let now = self.level;
        self.level *= self.factor;
        now
    }
}

/// The first reflections of a room: a chain of all-passes (M. R. Schroeder, "Natural sounding artificial
/// reverberation", JAES 10(3), 1962), which keeps the spectrum and spreads what is sudden.
pub struct Diffuser(Vec<(Vec<f64>, usize)>);

impl Diffuser {
    /// Delays of the stages, seconds, no two in a simple ratio.
    const DELAYS: [f64; 5] = [0.0031, 0.0079, 0.0173, 0.0371, 0.0613];
    const GAIN: f64 = 0.6;

    pub fn new(rate: f64) -> Self {
        Self(Self::DELAYS.iter().map(|delay| (vec![0.0; (delay * rate) as usize + 1], 0)).collect())
    }

    pub fn next(&mut self, x: f64) -> f64 {
        self.0.iter_mut().fold(x, |x, (line, at)| {
            let late = line[*at];
            let back = x + Self::GAIN * late;
            line[*at] = back;
            *at = (*at + 1) % line.len();
            late - Self::GAIN * back
        })
    }
}
