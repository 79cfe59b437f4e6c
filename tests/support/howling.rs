//! The published features of howling detection, as references: slow and plain.
//!
//! Peak-to-harmonic (PHPR) and peak-to-neighbour power ratio (PNPR), interframe peak magnitude persistence (IPMP) and
//! interframe magnitude slope deviation (IMSD): van Waterschoot and Moonen, *Fifty years of acoustic feedback
//! control*, Proc. IEEE 99(2), 2011, eqs. 40–51; *Comparative evaluation of howling detection criteria in
//! notch-filter-based howling suppression*, J. Audio Eng. Soc. 58(11), 2010.
//! Hann window of 8192 samples, hop 2048, the three highest peaks of 100 Hz … 12 kHz are candidates; a candidate howls
//! if every feature that is asked for says so.

use realfft::RealFftPlanner;

const LENGTH: usize = 8192;
const HOP: usize = 2048;
const CANDIDATES: usize = 3;
/// Frames for IMSD and IPMP.
const FRAMES: usize = 7;

/// Which features must agree.
#[derive(Clone, Copy, Debug)]
pub struct Features {
    /// PHPR ≥ 30 dB at ½, 3/2, 2, 3 and 4 times its frequency.
    pub harmonics: bool,
    /// Peakness: 15 dB over the bins 2 to 7 away.
    pub neighbours: bool,
    /// A candidate in three of five frames.
    pub persistence: bool,
    /// |IMSD| ≤ 0.5 dB a frame over seven.
    pub slope: bool,
}

/// When something howls for the first time in a second, and where: (seconds, Hz).
pub fn howls(samples: &[f32], rate: u32, features: Features) -> Vec<(f64, f64)> {
    let spectra = spectra(samples);
    let bin = |hz: f64| (hz * LENGTH as f64 / f64::from(rate)) as usize;
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut last: Vec<(f64, f64)> = Vec::new();
    let mut past: Vec<Vec<usize>> = Vec::new();
    for (frame, spectrum) in spectra.iter().enumerate() {
        let mut peaks: Vec<usize> = (bin(100.0)..bin(12_000.0))
            .filter(|&k| spectrum[k] > spectrum[k - 1] && spectrum[k] >= spectrum[k + 1] && spectrum[k] > -80.0)
            .collect();
        peaks.sort_by(|&a, &b| spectrum[b].total_cmp(&spectrum[a]));
        peaks.truncate(CANDIDATES);
        past.push(peaks.clone());
        for &k in &peaks {
            let level = spectrum[k];
            let harmonic = |m: f64| {
                let at = (k as f64 * m).round() as usize;
                spectrum.get(at - 1..at + 2).map_or(-200.0, |near| near.iter().fold(-200.0, |a: f64, &b| a.max(b)))
            };
            let harmonics = [0.5, 1.5, 2.0, 3.0, 4.0].into_iter().all(|m| level - harmonic(m) >= 30.0);
            let side = (2..=7).map(|m| (spectrum[k + m] + spectrum[k - m]) / 2.0).sum::<f64>() / 6.0;
            let seen = past.iter().rev().take(5).filter(|peaks| peaks.iter().any(|&other| other.abs_diff(k) <= 1));
            let howls = (!features.harmonics || harmonics)
                && (!features.neighbours || level - side >= 15.0)
                && (!features.persistence || seen.count() >= 3)
                && (!features.slope || slope_deviation(&spectra[..=frame], k).is_some_and(|imsd| imsd.abs() <= 0.5));
            if !howls {
                continue;
            }
            let (now, hz) =
                ((frame * HOP + LENGTH) as f64 / f64::from(rate), k as f64 * f64::from(rate) / LENGTH as f64);
            match last.iter_mut().find(|(_, other)| (other / hz - 1.0).abs() < 0.03) {
                Some(known) if now - known.0 < 1.0 => *known = (now, hz),
                _ => {
                    found.push((now, hz));
                    last.push((now, hz));
                }
            }
        }
    }
    found
}

/// dB a frame: mean over m of the slope over all frames less that over the last m.
fn slope_deviation(spectra: &[Vec<f64>], k: usize) -> Option<f64> {
    let level = |back: usize| {
        Some(
            spectra.get(spectra.len().checked_sub(1 + back)?)?[k - 1..=k + 1]
                .iter()
                .fold(-200.0, |a: f64, &b| a.max(b)),
        )
    };
    let levels: Vec<f64> = (0..FRAMES).map(level).collect::<Option<_>>()?;
    let far = levels[FRAMES - 1];
    let whole = (0..FRAMES - 1).map(|j| (levels[j] - far) / (FRAMES - 1 - j) as f64).sum::<f64>() / (FRAMES - 1) as f64;
    let part = |m: usize| (0..m).map(|j| (levels[j] - levels[m]) / (m - j) as f64).sum::<f64>() / m as f64;
    Some((1..FRAMES - 1).map(|m| whole - part(m)).sum::<f64>() / (FRAMES - 2) as f64)
}

fn spectra(samples: &[f32]) -> Vec<Vec<f64>> {
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(LENGTH);
    let window = |i: usize| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / LENGTH as f64).cos();
    let mut out = fft.make_output_vec();
    (0..(samples.len() + 1).saturating_sub(LENGTH))
        .step_by(HOP)
        .map(|start| {
            let mut frame: Vec<f64> = (0..LENGTH).map(|i| f64::from(samples[start + i]) * window(i)).collect();
            fft.process(&mut frame, &mut out).expect("the plan's own buffers");
            out.iter().map(|bin| 20.0 * (bin.norm() * 4.0 / LENGTH as f64 + 1e-10).log10()).collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::support::signals::stepped_sine;

    /// A straight line in dB and a steady tone both have a slope deviation of 0.
    #[test]
    fn slope_deviation_of_lines() {
        for slope in [0.0, 1.5, -2.0] {
            let spectra: Vec<Vec<f64>> = (0..8).map(|frame| vec![slope * f64::from(frame); 5]).collect();
            assert!(slope_deviation(&spectra, 2).unwrap().abs() < 1e-9);
        }
        let bent: Vec<Vec<f64>> = (0..8).map(|frame| vec![f64::from(frame * frame); 5]).collect();
        assert!(slope_deviation(&bent, 2).unwrap().abs() > 1.0);
    }

    /// All features take a pure held tone for a howl: what they cannot tell apart.
    #[test]
    fn a_pure_tone_howls() {
        let tone = stepped_sine(48_000, 1000.0, &[(2.0, -20.0)]);
        let all = Features { harmonics: true, neighbours: true, persistence: true, slope: true };
        let found = howls(&tone, 48_000, all);
        assert!(found.iter().any(|&(_, hz)| (hz - 1000.0).abs() < 6.0), "{found:?}");
    }
}
