//! The fourfold interpolator of true-peak metering: ITU-R BS.1770-5, Annex 2, order 48 in four phases.
//!
//! In: amplitudes re full scale, 11 samples of history before the first one that counts. Out: the largest
//! magnitude between the samples. The filter is used as it stands at every sample rate; its own ripple
//! is 0.24 dB. Values lie half-way between inputs: an output at sample n sees n − 11 … n.
//!
//! Phases 0 and 3, and phases 1 and 2, are each other's mirror image. So with the sum and the difference
//! of mirrored samples, weighted by half sums (even) and half differences (odd) of the taps,
//! phase 0 = even + odd and phase 3 = even − odd, and the larger of the two is |even| + |odd|.
//! The half sums are exact in `f32`: all taps are multiples of 2⁻¹³.

use crate::dsp::lanes::larger;
use multiversion::multiversion;

/// Samples that an output looks back.
pub const HISTORY: usize = TAPS - 1;
const TAPS: usize = 12;

/// BS.1770-5 Annex 2, digit for digit; phases 3 and 2 are these two read backwards.
#[allow(clippy::excessive_precision)]
pub const PHASE_0: [f32; TAPS] = [
    0.0017089843750,
    0.0109863281250,
    -0.0196533203125,
    0.0332031250000,
    -0.0594482421875,
    0.1373291015625,
    0.9721679687500,
    -0.1022949218750,
    0.0476074218750,
    -0.0266113281250,
    0.0148925781250,
    -0.0083007812500,
];
#[allow(clippy::excessive_precision)]
pub const PHASE_1: [f32; TAPS] = [
    -0.0291748046875,
    0.0292968750000,
    -0.0517578125000,
    0.0891113281250,
    -0.1665039062500,
    0.4650878906250,
    0.7797851562500,
    -0.2003173828125,
    0.1015625000000,
    -0.0582275390625,
    0.0330810546875,
    -0.0189208984375,
];

const EVEN_0: [f32; TAPS / 2] = halves(PHASE_0, 1.0);
const ODD_0: [f32; TAPS / 2] = halves(PHASE_0, -1.0);
const EVEN_1: [f32; TAPS / 2] = halves(PHASE_1, 1.0);
const ODD_1: [f32; TAPS / 2] = halves(PHASE_1, -1.0);

/// The largest magnitude of the four phases over `samples[HISTORY..]`; 0 without any.
#[multiversion(targets("x86_64+avx2"))]
pub fn interpolated_peak(samples: &[f32]) -> f32 {
    const LANES: usize = 16;
    let outputs = samples.len().saturating_sub(HISTORY);
    let mut lanes = [0f32; LANES];
    let whole = outputs - outputs % LANES;
    for start in (0..whole).step_by(LANES) {
        raise(&samples[start..start + LANES + HISTORY], &mut lanes);
    }
    let mut rest = [0f32; 1];
    for start in whole..outputs {
        raise(&samples[start..start + TAPS], &mut rest);
    }
    lanes.into_iter().fold(rest[0], larger)
}

/// Raises each lane to the peak of its output.
#[inline(always)]
fn raise<const LANES: usize>(samples: &[f32], peaks: &mut [f32; LANES]) {
    let mut even_0 = [0f32; LANES];
    let mut odd_0 = [0f32; LANES];
    let mut even_1 = [0f32; LANES];
    let mut odd_1 = [0f32; LANES];
    for tap in 0..TAPS / 2 {
        let late: &[f32; LANES] = samples[HISTORY - tap..].first_chunk().unwrap_or(&[0.0; LANES]);
        let early: &[f32; LANES] = samples[tap..].first_chunk().unwrap_or(&[0.0; LANES]);
        for lane in 0..LANES {
            let sum = late[lane] + early[lane];
            let difference = late[lane] - early[lane];
            even_0[lane] += EVEN_0[tap] * sum;
            odd_0[lane] += ODD_0[tap] * difference;
            even_1[lane] += EVEN_1[tap] * sum;
            odd_1[lane] += ODD_1[tap] * difference;
        }
    }
    for lane in 0..LANES {
        let outer = even_0[lane].abs() + odd_0[lane].abs();
        let inner = even_1[lane].abs() + odd_1[lane].abs();
        peaks[lane] = larger(peaks[lane], larger(outer, inner));
    }
}

const fn halves(taps: [f32; TAPS], sign: f32) -> [f32; TAPS / 2] {
    let mut out = [0.0; TAPS / 2];
    let mut tap = 0;
    while tap < TAPS / 2 {
        out[tap] = (taps[tap] + sign * taps[HISTORY - tap]) / 2.0;
        tap += 1;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sums of the published table: 1.001587 and 0.973022.
    #[test]
    fn direct_current() {
        let sum = |taps: [f32; TAPS]| taps.iter().sum::<f32>();
        assert!((sum(PHASE_0) - 1.001587).abs() < 1e-6);
        assert!((sum(PHASE_1) - 0.973022).abs() < 1e-6);
        assert!((interpolated_peak(&[1.0; 60]) - 1.001587).abs() < 1e-6);
    }

    /// A single unit sample gives back the largest tap, wherever it stands.
    #[test]
    fn unit_sample() {
        for place in HISTORY..HISTORY + 40 {
            let mut samples = [0f32; 2 * HISTORY + 41];
            samples[place] = -1.0;
            assert_eq!(interpolated_peak(&samples), 0.972_167_97);
        }
    }

    #[test]
    fn too_short() {
        assert_eq!(interpolated_peak(&[]), 0.0);
        assert_eq!(interpolated_peak(&[1.0; HISTORY]), 0.0);
    }
}
