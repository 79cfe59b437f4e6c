//! Slow, plain measuring in double precision, apart from the program's own meters.

use beforedoors::units::SampleRate;

const SPAN: usize = 24;

/// The highest absolute value of samples `from..to` of `signal`, also between them: four times
/// oversampled (as ITU-R BS.1770-5 Annex 2 asks at least) with a Hann-windowed sinc of 48 samples.
pub fn true_peak(signal: &[f32], from: usize, to: usize) -> f64 {
    let to = to.min(signal.len());
    let at = |index: usize| signal.get(index).map_or(0.0, |&x| f64::from(x));
    let sample_peak = signal[from..to].iter().fold(0.0, |peak: f64, &x| peak.max(f64::from(x).abs()));
    let kernels = [0.25, 0.5, 0.75].map(kernel);
    let mut peak = sample_peak;
    for gap in from..to {
        // Nothing rises far over two small neighbours.
        if at(gap).abs().max(at(gap + 1).abs()) < 0.5 * sample_peak {
            continue;
        }
        for kernel in &kernels {
            let sum: f64 =
                kernel.iter().enumerate().map(|(tap, weight)| weight * at((gap + tap + 1).wrapping_sub(SPAN))).sum();
            peak = peak.max(sum.abs());
        }
    }
    peak
}

/// Weights of the samples around a gap for the value at `offset` of the way through it.
fn kernel(offset: f64) -> Vec<f64> {
    use std::f64::consts::PI;
    (0..2 * SPAN)
        .map(|tap| {
            let x = tap as f64 + 1.0 - SPAN as f64 - offset;
            let window = (0.5 * PI * x / SPAN as f64).cos().powi(2);
            window * (PI * x).sin() / (PI * x)
        })
        .collect()
}

pub fn decibels(amplitude: f64) -> f64 {
    20.0 * amplitude.max(1e-12).log10()
}

pub fn rms(signal: &[f32]) -> f64 {
    (signal.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / signal.len().max(1) as f64).sqrt()
}

/// The active level (RMS) and the peaks of a stretch of a channel, dBFS.
pub struct Active {
    pub level: f64,
    pub peak_95: f64,
}

impl Active {
    pub fn crest(&self) -> f64 {
        self.peak_95 - self.level
    }
}

/// Active level and peaks: a 100 ms frame is active above max(floor + 12 dB, loud − 30 dB), where floor and
/// loud are the 10th and 95th percentile of the frames' RMS. Peaks: the 95th percentile of the true peaks
/// of the 400 ms windows that end with an active frame.
pub fn active(signal: &[f32], rate: SampleRate) -> Active {
    let frame = rate.get() as usize / 10;
    let levels: Vec<f64> = signal.chunks_exact(frame).map(|frame| decibels(rms(frame))).collect();
    let (floor, loud) = (percentile(levels.clone(), 0.10), percentile(levels.clone(), 0.95));
    let threshold = (floor + 12.0).max(loud - 30.0);
    let frame_peaks: Vec<f64> =
        (0..levels.len()).map(|index| true_peak(signal, index * frame, (index + 1) * frame)).collect();
    let (mut power, mut peaks) = (0.0, Vec::new());
    for index in (0..levels.len()).filter(|&index| levels[index] > threshold) {
        power += 10f64.powf(levels[index] / 10.0);
        let window = &frame_peaks[index.saturating_sub(3)..=index];
        peaks.push(decibels(window.iter().fold(0.0, |peak: f64, &x| peak.max(x))));
    }
    Active { level: 10.0 * (power / peaks.len() as f64).log10(), peak_95: percentile(peaks, 0.95) }
}

fn percentile(mut values: Vec<f64>, part: f64) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get((part * values.len() as f64) as usize).copied().unwrap_or(f64::NEG_INFINITY)
}
