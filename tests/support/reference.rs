//! Slow, obvious references in `f64`, written from the definitions.

/// ITU-R BS.1770-5 Annex 2, order 48, four phases of 12 taps, as printed.
#[rustfmt::skip]
const TRUE_PEAK: [[f64; 4]; 12] = [
    [ 0.0017089843750, -0.0291748046875, -0.0189208984375, -0.0083007812500],
    [ 0.0109863281250,  0.0292968750000,  0.0330810546875,  0.0148925781250],
    [-0.0196533203125, -0.0517578125000, -0.0582275390625, -0.0266113281250],
    [ 0.0332031250000,  0.0891113281250,  0.1015625000000,  0.0476074218750],
    [-0.0594482421875, -0.1665039062500, -0.2003173828125, -0.1022949218750],
    [ 0.1373291015625,  0.4650878906250,  0.7797851562500,  0.9721679687500],
    [ 0.9721679687500,  0.7797851562500,  0.4650878906250,  0.1373291015625],
    [-0.1022949218750, -0.2003173828125, -0.1665039062500, -0.0594482421875],
    [ 0.0476074218750,  0.1015625000000,  0.0891113281250,  0.0332031250000],
    [-0.0266113281250, -0.0582275390625, -0.0517578125000, -0.0196533203125],
    [ 0.0148925781250,  0.0330810546875,  0.0292968750000,  0.0109863281250],
    [-0.0083007812500, -0.0189208984375, -0.0291748046875,  0.0017089843750],
];

/// 20 lg.
pub fn decibels(amplitude: f64) -> f64 {
    20.0 * amplitude.log10()
}

pub fn sample_peak(samples: &[f32]) -> f64 {
    samples.iter().fold(0.0, |peak, &x| f64::from(x).abs().max(peak))
}

pub fn rms(samples: &[f32]) -> f64 {
    (samples.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / samples.len() as f64).sqrt()
}

/// The filter run over the samples and 11 zeros on either side, and the samples themselves.
pub fn true_peak(samples: &[f32]) -> f64 {
    let at = |i: usize| i.checked_sub(11).and_then(|i| samples.get(i)).map_or(0.0, |&x| f64::from(x));
    let mut peak = sample_peak(samples);
    for n in 11..samples.len() + 22 {
        let mut phases = [0f64; 4];
        for (tap, row) in TRUE_PEAK.iter().enumerate() {
            for (phase, weight) in phases.iter_mut().zip(row) {
                *phase += weight * at(n - tap);
            }
        }
        peak = phases.iter().fold(peak, |peak, value| peak.max(value.abs()));
    }
    peak
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_forms() {
        let sine: Vec<f32> = (0..4800).map(|i| (f64::from(i) * std::f64::consts::TAU / 48.0).sin() as f32).collect();
        assert!((decibels(rms(&sine)) + 3.0103).abs() < 1e-4);
        assert!(decibels(sample_peak(&sine)).abs() < 1e-6);
        assert_eq!(true_peak(&[1.0]), 1.0);
        assert!(decibels(true_peak(&sine)).abs() < 0.3);
    }
}
