//! How much speech is understood at a place: the speech transmission index, by the indirect method.
//!
//! In: an impulse response, and where they are known the speech's and the background's level in seven octaves, 125 Hz to
//! 8 kHz, in dB SPL. Out: 0 to 1. Source: IEC 60268-16 (edition 5, 2020): modulation transfer from the squared response
//! (M. R. Schroeder, Acustica 49, 1981) at fourteen frequencies, background, masking by the octave below (level-dependent),
//! reception threshold, male weights with redundancy. Without levels, masking and threshold are left out. The common
//! intelligibility scale is 1 + lg STI (same standard). Levels that are not numbers count as silence; an octave with
//! neither speech nor response transmits nothing.

use super::impulse::Impulse;
use super::octave::{OCTAVES, Octave};
use crate::units::Db;

/// Modulation frequencies in Hz.
pub const MODULATIONS: [f64; 14] = [0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5];

/// Weight of an octave, and of what it shares with the next.
const ALPHA: [f64; 7] = [0.085, 0.127, 0.230, 0.233, 0.309, 0.224, 0.173];
const BETA: [f64; 6] = [0.085, 0.078, 0.065, 0.011, 0.047, 0.095];
/// Below it nothing is heard, dB SPL.
const THRESHOLD: [f64; 7] = [46.0, 27.0, 12.0, 6.5, 7.5, 8.0, 12.0];
/// The male voice re its 500 Hz octave, dB.
const VOICE: [f64; 7] = [-2.5, 0.5, 0.0, -6.0, -12.0, -18.0, -24.0];
/// A-weighting at the octaves' midband frequencies (IEC 61672-1:2013, Table 3).
const A_WEIGHTING: [f64; 7] = [-16.1, -8.6, -3.2, 0.0, 1.2, 1.0, -1.1];

/// One level an octave, 125 Hz to 8 kHz, dB SPL; −∞ is silence.
pub type Levels = [f64; 7];

/// How far each octave's modulations arrive, 0 to 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Transfer(pub [[f64; 14]; 7]);

/// What a listener makes of it (IEC 60268-16, Annex E).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rating {
    Bad,
    Poor,
    Fair,
    Good,
    Excellent,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intelligibility {
    pub sti: f64,
    /// Transmission of each octave, 0 to 1.
    pub octaves: [f64; 7],
}

impl Transfer {
    /// Of the room alone. An octave that the response does not reach transmits nothing.
    pub fn new(response: &Impulse) -> Self {
        let rate = f64::from(response.rate.get());
        let from = response.start().unwrap_or(0).saturating_sub((0.001 * rate) as usize);
        Self(OCTAVES.map(|centre| {
            let Some(octave) = Octave::new(centre, response.rate) else { return [0.0; 14] };
            modulation(&octave.filter(&response.samples()[from..]), rate)
        }))
    }

    /// Of the room and a background `signal_to_noise` under the speech, octave by octave.
    pub fn in_noise(&self, signal_to_noise: [Db; 7]) -> Self {
        let mut all = self.clone();
        for (row, ratio) in all.0.iter_mut().zip(signal_to_noise) {
            let share = 1.0 / (1.0 + power(-ratio.get()));
            row.iter_mut().for_each(|m| *m *= share);
        }
        all
    }

    /// Of the room, a background, and the ear at these levels.
    pub fn heard(&self, speech: &Levels, background: &Levels) -> Self {
        let (speech, background) = (speech.map(power), background.map(power));
        let mut all = self.clone();
        for (octave, row) in all.0.iter_mut().enumerate() {
            let below = octave.checked_sub(1).map_or(0.0, |below| speech[below] + background[below]);
            let masking = below * power(masking(10.0 * below.max(1e-30).log10()));
            let whole = speech[octave] + background[octave] + masking + power(THRESHOLD[octave]);
            row.iter_mut().for_each(|m| *m *= speech[octave] / whole);
        }
        all
    }

    pub fn intelligibility(&self) -> Intelligibility {
        let octaves = self.0.map(|row| row.iter().map(|m| transmission(*m)).sum::<f64>() / 14.0);
        let weighted: f64 = ALPHA.iter().zip(octaves).map(|(weight, index)| weight * index).sum();
        let shared: f64 =
            BETA.iter().zip(octaves.windows(2)).map(|(weight, two)| weight * (two[0] * two[1]).sqrt()).sum();
        Intelligibility { sti: (weighted - shared).clamp(0.0, 1.0), octaves }
    }
}

impl Intelligibility {
    /// Common intelligibility scale; silence has none.
    pub fn common_scale(&self) -> Option<f64> {
        (self.sti > 0.0).then(|| 1.0 + self.sti.log10())
    }

    pub fn rating(&self) -> Rating {
        match self.sti {
            sti if sti >= 0.75 => Rating::Excellent,
            sti if sti >= 0.60 => Rating::Good,
            sti if sti >= 0.45 => Rating::Fair,
            sti if sti >= 0.30 => Rating::Poor,
            _ => Rating::Bad,
        }
    }

    /// The qualification band's letters (Annex F): edges 0.36 to 0.76 in steps of 0.04.
    pub fn band(&self) -> &'static str {
        const BANDS: [&str; 12] = ["U", "J", "I", "H", "G", "F", "E", "D", "C", "B", "A", "A+"];
        let step = ((self.sti - 0.36) / 0.04 + 1e-9).floor() + 1.0;
        BANDS[step.clamp(0.0, 11.0) as usize]
    }
}

/// The male voice, as loud as `level` dB(A).
pub fn voice(level: f64) -> Levels {
    VOICE.map(|voice| voice + level - weighted(&VOICE))
}

/// The male voice by octave, its RMS without any weighting at `level`.
pub fn spoken(level: f64) -> Levels {
    let whole: f64 = VOICE.into_iter().map(power).sum();
    VOICE.map(|voice| voice + level - 10.0 * whole.log10())
}

/// All octaves together as the ear weighs them: dB(A) of levels in dB; −∞ of silence.
pub fn weighted(levels: &Levels) -> f64 {
    10.0 * levels.iter().zip(A_WEIGHTING).map(|(level, a)| power(level + a)).sum::<f64>().log10()
}

/// How far under the octave below masking reaches, at that octave's level in dB SPL (Table A.2).
fn masking(level: f64) -> f64 {
    match level {
        level if level < 63.0 => 0.5 * level - 65.0,
        level if level < 67.0 => 1.8 * level - 146.9,
        level if level < 100.0 => 0.5 * level - 59.8,
        _ => -10.0,
    }
}

/// m(F): the squared response's spectrum over its sum.
fn modulation(band: &[f64], rate: f64) -> [f64; 14] {
    let whole: f64 = band.iter().map(|sample| sample * sample).sum();
    if whole.is_nan() || whole <= 0.0 {
        return [0.0; 14];
    }
    // 1 ms holds still for the fastest modulation.
    let step = ((0.001 * rate) as usize).max(1);
    let steps: Vec<f64> = band.chunks(step).map(|part| part.iter().map(|sample| sample * sample).sum()).collect();
    MODULATIONS.map(|frequency| {
        let turn = std::f64::consts::TAU * frequency * step as f64 / rate;
        let (re, im) = steps.iter().enumerate().fold((0.0, 0.0), |(re, im), (n, energy)| {
            let (sin, cos) = (turn * n as f64).sin_cos();
            (re + energy * cos, im + energy * sin)
        });
        (re.hypot(im) / whole).clamp(0.0, 1.0)
    })
}

/// From the effective signal-to-noise ratio, held at ±15 dB.
fn transmission(m: f64) -> f64 {
    let ratio = 10.0 * (m / (1.0 - m)).log10();
    if ratio.is_nan() { 0.0 } else { (ratio.clamp(-15.0, 15.0) + 15.0) / 30.0 }
}

fn power(db: f64) -> f64 {
    if db.is_nan() { 0.0 } else { 10f64.powf(db / 10.0) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Hertz, SampleRate};

    fn sti(rows: [f64; 7]) -> f64 {
        Transfer(rows.map(|m| [m; 14])).intelligibility().sti
    }

    fn decay(time: f64) -> Transfer {
        let m =
            |f: f64| 1.0 / (1.0 + (std::f64::consts::TAU * f * time / (6.0 * std::f64::consts::LN_10)).powi(2)).sqrt();
        Transfer([MODULATIONS.map(m); 7])
    }

    /// IEC 60268-16 ed. 5, A.2.2: two neighbouring octaves alone.
    #[test]
    fn pairs_of_octaves() {
        for (at, expected) in [0.127, 0.279, 0.398, 0.531, 0.486, 0.302].into_iter().enumerate() {
            let mut rows = [0.0; 7];
            rows[at..at + 2].fill(1.0);
            assert!((sti(rows) - expected).abs() < 0.001, "{at}: {}", sti(rows));
        }
        // Table A.1, note: 1.036, held at 1.
        assert_eq!(sti([1.0, 0.0, 1.0, 1.0, 1.0, 1.0, 1.0]), 1.0);
    }

    /// IEC 60268-16, A.3.1.2 (tolerance 0.01) and Table C.2 (0.05): one modulation everywhere.
    #[test]
    fn uniform_modulation() {
        let table = [0.0, 0.059351, 0.11182, 0.20076, 0.33386, 0.5, 0.66614, 0.79924, 0.88818, 0.94065, 1.0];
        for (n, m) in table.into_iter().enumerate() {
            assert!((sti([m; 7]) - 0.1 * n as f64).abs() < 0.01, "{m}: {}", sti([m; 7]));
        }
        let staircase = [0.0, 0.18, 0.30, 0.38, 0.44, 0.50, 0.56, 0.62, 0.70, 0.82, 1.0];
        for (n, expected) in staircase.into_iter().enumerate() {
            assert!((sti([0.1 * n as f64; 7]) - expected).abs() < 0.05, "{n}");
        }
    }

    /// Table A.2.
    #[test]
    fn masking_by_level() {
        for (level, expected) in [(60.0, -35.0), (65.0, -29.9), (80.0, -19.8), (100.0, -10.0)] {
            assert!((masking(level) - expected).abs() < 0.1, "{level}: {}", masking(level));
        }
    }

    /// Exponential decay m = 1/√(1 + (2πF·T/13.8)²) (C.3.3), noise alone m = 1/(1 + 10^(−SNR/10)), and both.
    #[test]
    fn closed_forms() {
        for (time, expected) in [(0.5, 0.7361), (1.0, 0.5882), (2.0, 0.4371), (4.0, 0.3033)] {
            assert!((decay(time).intelligibility().sti - expected).abs() < 0.001, "{time}");
        }
        for (ratio, expected) in [(-6.0, 0.3), (0.0, 0.5), (6.0, 0.7), (10.0, 0.8333)] {
            let found = Transfer([[1.0; 14]; 7]).in_noise([Db::new(ratio); 7]).intelligibility().sti;
            assert!((found - expected).abs() < 1e-4, "{ratio}: {found}");
        }
        for (time, ratio, expected) in [(1.0, 10.0, 0.5302), (1.0, 0.0, 0.3584), (2.0, 10.0, 0.4069)] {
            let found = decay(time).in_noise([Db::new(ratio); 7]).intelligibility().sti;
            assert!((found - expected).abs() < 1e-3, "{time} s, {ratio} dB: {found}");
        }
    }

    /// A response that decays by 60 dB in a second, against the closed form.
    #[test]
    fn from_a_response() {
        let mut state = 7_u32;
        let mut uniform = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24) - 0.5
        };
        let samples = (0..48_000 * 3).map(|n| uniform() * 10f64.powf(-3.0 * f64::from(n) / 48_000.0)).collect();
        let rate = SampleRate::new(48_000).unwrap();
        let response = Impulse::new(rate, samples, 0, Hertz::new(80.0), Hertz::new(12_000.0)).unwrap();
        let found = Transfer::new(&response).intelligibility().sti;
        assert!((found - 0.588).abs() < 0.02, "{found}");
    }

    /// By hand: threshold and masking alone at 500 Hz under a level of 65 dB(A); quiet speech is lost in them.
    #[test]
    fn the_ear() {
        let loud = voice(65.0);
        assert!((weighted(&loud) - 65.0).abs() < 1e-9);
        let whole: f64 = spoken(-20.0).into_iter().map(power).sum();
        assert!((10.0 * whole.log10() + 20.0).abs() < 1e-9);
        // By hand: the weighted sum 0.981 over the plain one 2.948.
        assert!((weighted(&spoken(-20.0)) + 24.777).abs() < 0.001, "{}", weighted(&spoken(-20.0)));
        let whole = Transfer([[1.0; 14]; 7]);
        let heard = whole.heard(&loud, &[f64::NEG_INFINITY; 7]);
        let below = loud[1];
        let expected = power(loud[2]) / (power(loud[2]) + power(below + masking(below)) + power(12.0));
        assert!((heard.0[2][0] - expected).abs() < 1e-12);
        let index = |level: f64| whole.heard(&voice(level), &[f64::NEG_INFINITY; 7]).intelligibility().sti;
        assert!(index(20.0) < index(40.0) && index(40.0) < index(65.0) && index(100.0) < index(70.0));
        assert_eq!(whole.heard(&[f64::NAN; 7], &[40.0; 7]).intelligibility().sti, 0.0);
    }

    /// Annex E and F.
    #[test]
    fn words_and_letters() {
        let of = |sti: f64| Intelligibility { sti, octaves: [sti; 7] };
        assert_eq!(
            [0.29, 0.3, 0.45, 0.6, 0.75].map(|sti| of(sti).rating()),
            [Rating::Bad, Rating::Poor, Rating::Fair, Rating::Good, Rating::Excellent]
        );
        assert_eq!([0.35, 0.36, 0.5, 0.72, 0.76].map(|sti| of(sti).band()), ["U", "J", "G", "A", "A+"]);
        assert!((of(0.5).common_scale().unwrap() - 0.699).abs() < 1e-3);
        assert_eq!(of(0.0).common_scale(), None);
    }
}
