//! Noise taken out of a response: each band ends where it drowns.
//!
//! In: the response from before the direct sound until well after, with noise in both. It is split into ten bands
//! that add up to it again (raised cosines on a scale of octaves, without delay); each is cut at its own knee, with a
//! fade, and what lies more than 30 ms before the direct sound is gone. Noise a sample comes from before the direct
//! sound, or from the last part, whichever is less. A band that never leaves the noise is dropped.

use std::f64::consts::PI;

use crate::measure::fourier::{fit, signal, spectrum};
use crate::measure::knee::{knee, noise};

/// Octaves, and thirds of one where loudspeakers fall off.
const BANDS: [f64; 10] = [125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0, 6300.0, 8000.0, 10_000.0, 12_500.0];
/// Kept before the direct sound, in seconds.
pub(super) const BEFORE: f64 = 0.03;
/// Kept beyond the knee, as a share of the way there: single resonances outlast their band.
const BEYOND: f64 = 1.2;
const FADE: f64 = 1.15;

/// What a band holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Band {
    pub centre: f64,
    /// Energy of the response that is kept, the noise in it taken away.
    pub energy: f64,
    /// Noise energy a sample of the response.
    pub noise: f64,
    /// Samples kept.
    pub kept: usize,
}

/// The response without its noise, and its bands. `direct` is the direct sound's sample.
pub(super) fn gate(response: &[f64], direct: usize, rate: f64) -> (Vec<f64>, Vec<Band>) {
    let length = fit(response.len() + (0.1 * rate) as usize);
    let whole = spectrum(response, length);
    let step = rate / length as f64;
    let guard = (BEFORE * rate) as usize;
    let from = direct.saturating_sub(guard);
    let mut sum = vec![0.0; response.len()];
    let mut bands = Vec::new();
    for (index, centre) in BANDS.into_iter().enumerate() {
        let bins = whole.iter().enumerate().map(|(k, bin)| bin * share(k as f64 * step, index)).collect();
        let mut part = signal(bins, length);
        part.truncate(response.len());
        let squares: Vec<f64> = part.iter().map(|sample| sample * sample).collect();
        let noise = noise(&squares, from, rate);
        let Some(knee) = knee(&squares, from, noise, rate) else {
            bands.push(Band { centre, energy: 0.0, noise, kept: 0 });
            continue;
        };
        let last = from as f64 + BEYOND * (knee.at - from) as f64;
        let gone = from as f64 + FADE * (last - from as f64);
        let rise = 0.25 * guard as f64;
        let mut energy = 0.0;
        for n in from..(gone as usize).min(part.len()) {
            let at = n as f64;
            let end = 1.0 - ramp((at - last) / (gone - last));
            let begin = ramp((at - from as f64) / rise.max(1.0));
            sum[n] += part[n] * end * begin;
            energy += squares[n] * end * end;
        }
        let kept = (last as usize).min(part.len()) - from;
        bands.push(Band { centre, energy: (energy - noise * kept as f64).max(0.0), noise, kept });
    }
    (sum, bands)
}

/// From 0 to 1 in a raised cosine.
fn ramp(part: f64) -> f64 {
    if part <= 0.0 {
        0.0
    } else if part >= 1.0 {
        1.0
    } else {
        0.5 - 0.5 * (PI * part).cos()
    }
}

/// How much of a frequency belongs to a band; over all bands it is 1.
fn share(hz: f64, band: usize) -> f64 {
    let under = band.checked_sub(1).map_or(f64::NEG_INFINITY, |below| BANDS[below]);
    if hz <= under || BANDS.get(band + 1).is_some_and(|above| hz >= *above) {
        return 0.0;
    }
    let place = hz.max(1e-9).log2();
    let towards = |other: Option<&f64>| {
        let Some(other) = other else { return 1.0 };
        let part = (place - BANDS[band].log2()) / (other.log2() - BANDS[band].log2());
        (0.5 * PI * part.clamp(0.0, 1.0)).cos().powi(2)
    };
    if hz < BANDS[band] {
        towards(band.checked_sub(1).map(|below| &BANDS[below]))
    } else {
        towards(BANDS.get(band + 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_add_up() {
        for hz in [0.0, 20.0, 125.0, 200.0, 1700.0, 8000.0, 20_000.0] {
            let sum: f64 = (0..BANDS.len()).map(|band| share(hz, band)).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{hz}: {sum}");
        }
    }

    /// An impulse in silence comes out as it went in, and silence stays silent.
    #[test]
    fn what_has_no_noise_stays() {
        let mut response = vec![0.0; 48_000];
        response[9600] = 1.0;
        let (gated, _) = gate(&response, 9600, 48_000.0);
        let difference: f64 = gated.iter().zip(&response).map(|(a, b)| (a - b).powi(2)).sum();
        assert!(difference < 1e-4, "{difference}");
        let (gated, bands) = gate(&[0.0; 48_000], 9600, 48_000.0);
        assert!(gated.iter().all(|sample| *sample == 0.0) && bands.len() == BANDS.len());
    }
}
