//! What one place in the hall hears: how it dies away there, and how much of what is said arrives, over what else sounds.
//!
//! In: a capture of a sweep at that place; how loud speech leaves the desk. Out: reverberation and clarity, speech over the
//! background by octave in dB, speech transmission from 0 to 1 with and without that background. The response tells how
//! loud each octave of the male voice (IEC 60268-16) arrives, the pauses around the sweep how loud the rest is; both by the
//! same microphone, so that it needs no calibration. With one, the ear's threshold and masking count as well. Edge cases:
//! without a pause nothing is known of the background, and it is left out; an octave of digital silence, or one that the
//! sweep does not reach, has no number and hides nothing.

pub use crate::coach::sound::Calibration;
use crate::measure::background::gains;
use crate::measure::decay::Room;
pub use crate::measure::speech::{Intelligibility, Rating};
use crate::measure::speech::{Transfer, spoken, weighted};
use crate::measure::sweep::{Refusal, Taken};
use crate::units::{Db, Dbfs};

/// Speech, and what is known beside the sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Talk {
    /// Its RMS while somebody speaks, sent as the sweep is, with the fader at 0 dB.
    pub level: Dbfs,
    /// The fader of the return that the sweep was played into.
    pub at_return: Db,
    /// So far over the background in every octave, instead of what was measured.
    pub over_noise: Option<Db>,
    /// Of the measuring microphone, with its knob as it stands.
    pub calibration: Option<Calibration>,
}

/// 20 dB under full scale: common practice for the mean of a mix, and what is left of the −15…−9 dBFS of a speaker's
/// rehearsed peaks (`coach::targets`) with 6 dB of show lift and a crest of 14 dB.
pub const USUAL_SPEECH: Dbfs = Dbfs::new(-20.0);

impl Default for Talk {
    fn default() -> Self {
        Self { level: USUAL_SPEECH, at_return: Db::ZERO, over_noise: None, calibration: None }
    }
}

/// Speech over the background.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Over {
    /// 125 Hz to 8 kHz; `None`: nothing sounds there, or the sweep does not reach it.
    pub octaves: [Option<Db>; 7],
    /// All of them as the ear weighs them.
    pub whole: Option<Db>,
}

#[derive(Clone, Debug)]
pub struct Seat {
    pub room: Room,
    /// `None`: nothing is known of the background.
    pub over: Option<Over>,
    /// The ear's threshold and masking are in it.
    pub by_ear: bool,
    alone: Intelligibility,
    heard: Intelligibility,
    pub drift_ppm: f64,
    pub signal_to_noise: Db,
}

impl Seat {
    pub fn new(taken: &Taken, talk: &Talk) -> Result<Self, Refusal> {
        let room = Room::new(&taken.raw).ok_or(Refusal::NotASweep)?;
        let transfer = Transfer::new(&taken.response);
        let gains = gains(&taken.response);
        let sent = spoken(talk.level.get());
        let speech: [Option<Dbfs>; 7] =
            std::array::from_fn(|octave| Some(Dbfs::new(sent[octave]) + gains[octave]? - talk.at_return));
        let over = match (talk.over_noise, taken.background) {
            (Some(over), _) => Some(Over { octaves: [Some(over); 7], whole: Some(over) }),
            (None, Some(background)) => Some(Over::new(&speech, &background)),
            (None, None) => None,
        };
        let over_or = |octave: usize| over.and_then(|over| over.octaves[octave]).unwrap_or(Db::new(f64::INFINITY));
        let heard = match &talk.calibration {
            None => transfer.in_noise(std::array::from_fn(over_or)),
            Some(calibration) => {
                let level = |at: Option<Dbfs>| at.map_or(f64::NEG_INFINITY, |at| calibration.level(at).get());
                let speech = speech.map(level);
                let background = std::array::from_fn(|octave| speech[octave] - over_or(octave).get());
                transfer.heard(&speech, &background)
            }
        };
        Ok(Self {
            room,
            over,
            by_ear: talk.calibration.is_some(),
            alone: transfer.intelligibility(),
            heard: heard.intelligibility(),
            drift_ppm: taken.drift_ppm,
            signal_to_noise: taken.signal_to_noise,
        })
    }

    /// Of the room and the loudspeakers alone.
    pub const fn alone(&self) -> Intelligibility {
        self.alone
    }

    /// Over the background, where it is known.
    pub const fn heard(&self) -> Intelligibility {
        self.heard
    }
}

impl Over {
    fn new(speech: &[Option<Dbfs>; 7], background: &[Dbfs; 7]) -> Self {
        let finite = |ratio: Db| ratio.get().is_finite().then_some(ratio);
        let octaves = std::array::from_fn(|octave| finite(speech[octave]? - background[octave]));
        // Only octaves that the sweep reaches are compared.
        let both = |of: &dyn Fn(usize) -> Dbfs| {
            weighted(&std::array::from_fn(|octave| speech[octave].map_or(f64::NEG_INFINITY, |_| of(octave).get())))
        };
        let said = both(&|octave| speech[octave].unwrap_or(Dbfs::SILENCE));
        Self { octaves, whole: finite(Db::new(said - both(&|octave| background[octave]))) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::sound::{Microphone, Standard};
    use crate::measure::sweep::{Clocks, Inverse, Sweep};
    use crate::units::{SampleRate, Spl};

    const GAIN: Db = Db::new(-26.0);

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// White noise of this RMS.
    fn noise(level: Dbfs, frames: usize) -> Vec<f32> {
        let mut state = 9_u32;
        let next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (level.amplitude() * 3f64.sqrt() * (f64::from(state >> 8) / 8_388_608.0 - 1.0)) as f32
        };
        std::iter::repeat_with(next).take(frames).collect()
    }

    /// One way of 5 ms and a known gain, in white noise.
    fn taken(background: Dbfs) -> Taken {
        let silence = |seconds: f64| vec![0.0; (seconds * 48_000.0) as usize];
        let sweep = Sweep::usual(Dbfs::new(-3.0)).unwrap().samples(rate());
        let sent = [silence(3.0), sweep, silence(4.0)].concat();
        let gain = GAIN.ratio() as f32;
        let captured: Vec<f32> = noise(background, sent.len())
            .iter()
            .enumerate()
            .map(|(n, noise)| noise + n.checked_sub(240).map_or(0.0, |at| gain * sent[at]))
            .collect();
        Inverse::new(&sent, rate()).unwrap().take(&captured, Clocks::Same).unwrap()
    }

    /// By hand: voice by octave, less its whole (10 lg of the sum of the spectrum, 4.70 dB), less the way, over white noise
    /// of so much in an octave: f/√2 of 24 kHz, 0.2 dB more through the filter.
    #[test]
    fn a_known_gain_over_a_known_background() {
        let voice = [-2.5, 0.5, 0.0, -6.0, -12.0, -18.0, -24.0];
        let whole = 10.0 * voice.iter().map(|db: &f64| 10f64.powf(db / 10.0)).sum::<f64>().log10();
        let seat = |level: f64, at_return: f64| {
            let talk = Talk { level: Dbfs::new(level), at_return: Db::new(at_return), ..Talk::default() };
            Seat::new(&taken(Dbfs::new(-70.0)), &talk).unwrap()
        };
        let found = seat(-20.0, 0.0).over.unwrap();
        for (octave, voice) in voice.into_iter().enumerate() {
            let centre = 125.0 * 2f64.powi(octave as i32);
            let noise = -70.0 + 10.0 * (centre / 2f64.sqrt() / 24_000.0 * std::f64::consts::FRAC_PI_3).log10();
            let expected = voice - whole - 20.0 + GAIN.get() - noise;
            let over = found.octaves[octave].unwrap();
            assert!((over.get() - expected).abs() < 1.0, "{centre} Hz: {over:?}, {expected}");
        }
        // 10 dB louder speech is 10 dB more over it; what was played into a return at −10 dB hears 10 dB too little.
        for other in [seat(-10.0, 0.0), seat(-20.0, -10.0)] {
            let more = other.over.unwrap().whole.unwrap() - found.whole.unwrap();
            assert!((more.get() - 10.0).abs() < 1e-9, "{more:?}");
        }
        assert!(seat(-50.0, 0.0).heard().sti < seat(-20.0, 0.0).heard().sti);
        assert!((seat(-20.0, 0.0).alone().sti - 1.0).abs() < 0.02);
    }

    /// IEC 60268-16: no echo and speech as loud as the background transmit half; the ear takes more off soft speech.
    #[test]
    fn half_is_heard_at_0_db() {
        let of = |over: Option<f64>, full_scale: Option<f64>| {
            let calibration = full_scale.map(|full_scale| Calibration {
                full_scale: Spl::new(full_scale),
                with: Standard::MeterOfClass1,
                microphone: Microphone::Measuring,
                spread: Db::ZERO,
            });
            let talk = Talk { over_noise: over.map(Db::new), calibration, ..Talk::default() };
            Seat::new(&taken(Dbfs::new(-70.0)), &talk).unwrap().heard().sti
        };
        assert!((of(Some(0.0), None) - 0.5).abs() < 0.01);
        // At 69 dB unweighted the ear costs a little, at 39 dB its threshold costs much.
        let (loud, soft) = (of(Some(15.0), Some(115.0)), of(Some(15.0), Some(60.0)));
        assert!(loud < of(Some(15.0), None) + 1e-9 && soft < loud - 0.1, "{loud} {soft}");
    }

    #[test]
    fn without_a_pause_nothing_is_said_of_the_background() {
        let taken = Taken { background: None, ..taken(Dbfs::new(-70.0)) };
        let seat = Seat::new(&taken, &Talk::default()).unwrap();
        assert!(seat.over.is_none() && seat.heard() == seat.alone());
    }
}
