//! What goes out: the test tone, through an armed output or as a WAV file to play from elsewhere; the noise for two
//! sides, an excerpt of a recording and a signal for measuring, through an armed output; copies of recordings as WAV;
//! what is heard, recorded while it is heard (`record`).
//!
//! No sound leaves the machine before the person has confirmed the volume: `arm` gives the token that
//! `start` of every output wants. Levels are sine peaks in dBFS. Names `units`, `block` and `dsp` only.

mod error;
mod excerpt;
mod live;
mod narrow;
mod once;
pub mod record;
mod tone;
mod wav;
mod wave;
mod wave_form;

pub use crate::dsp::side_noise::Sides;
pub use error::SinkError;
pub use excerpt::{EXCERPT_PEAK, EXCERPT_RMS, Excerpt};
pub use live::{OutputDevice, SampleOutput, SideOutput, ToneOutput, find_output, outputs};
pub use narrow::{Narrow, Width};
pub use once::EDGE;
pub use tone::{RAMP, TONE_HIGHEST, TONE_PITCH, TONE_START, TONE_STEP, ToneGenerator};
pub use wav::{TONE_FILE, TonePart, write_signal_wav, write_tone_wav};
pub use wave::WaveCopy;
pub use wave_form::{Mark, WaveShape};

/// Leave to make a sound, given once for each confirmation.
#[derive(Debug)]
pub struct Armed(());

/// Arms the output when the person has said that the volume is down and that nobody is near a loudspeaker.
pub fn arm(confirmed_volume: bool) -> Result<Armed, SinkError> {
    if confirmed_volume { Ok(Armed(())) } else { Err(SinkError::NotArmed) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_confirmation_no_token() {
        assert_eq!(arm(false).err(), Some(SinkError::NotArmed));
        assert!(arm(true).is_ok());
        assert!(SinkError::NotArmed.to_string().contains("all the way down"));
    }
}
