//! The choice of the input in words: devices, how the sound comes, whether any arrives, and the desk's own words.

use super::numbers::{Scale, counted};
use super::words::{self, plain};
use crate::engine::Snapshot;
use crate::engine::session::{InputDevice, Status};
use crate::units::{ChannelId, Db, Dbfs, Seconds};
use crate::view::who;

pub const HOW: &str = "How the sound comes:";
pub const STAGE: &str = "Simulated stage";
pub const LOOKING: &str = "Looking for input devices …";
pub const NONE: &str = "No input device. Plug the desk in by USB and look again";
pub const LOOK_AGAIN: &str = "Look again";
pub const KEEP: &str = "Keep these words";
pub const MARKS: &str = "yes, dB marks";
pub const NO_MARKS: &str = "no marks";

/// "16 channels · 48.0 kHz · ALSA".
pub fn about(device: &InputDevice) -> String {
    let channels = counted(device.channels as u64, "channel", "channels");
    format!("{channels} · {:.1} kHz · {}", f64::from(device.rate.get()) / 1000.0, device.host)
}

/// What stands on a desk is short; anything else is not an answer.
pub fn desk_word(answer: &str, usual: &str) -> String {
    let word: String = plain(answer).chars().filter(|&c| c != '\u{fffd}').take(20).collect();
    if word.trim().is_empty() { usual.to_owned() } else { word.trim().to_owned() }
}

/// Whether sound arrives from a device, line by line, since it was chosen.
#[derive(Clone, Debug, Default)]
pub struct Arrivals {
    heard: Seconds,
    frames: u64,
    lines: Vec<Line>,
}

#[derive(Clone, Copy, Debug)]
struct Line {
    peak: Dbfs,
    floor: Dbfs,
}

/// Under this, a peak may be the converter's own noise (common practice).
const FAINT: Dbfs = Dbfs::new(-60.0);
/// Above this it is no noise, even if it never pauses (common practice).
const PLAIN: Dbfs = Dbfs::new(-40.0);
/// Noise by itself peaks 10 to 14 dB over its own RMS; what peaks so far over the quietest moment has begun.
const OVER: Db = Db::new(20.0);
const FIRST_WORDS: Seconds = Seconds::new(0.5);

impl Arrivals {
    pub fn follow(&mut self, snapshot: &Snapshot) {
        let readings = &snapshot.readings;
        if readings.frames == self.frames {
            return;
        }
        (self.heard, self.frames) = (snapshot.at, readings.frames);
        self.lines.resize(readings.channels.len(), Line { peak: Dbfs::SILENCE, floor: Dbfs::new(0.0) });
        for (line, reading) in self.lines.iter_mut().zip(&readings.channels) {
            let frame = &reading.frame;
            line.peak = if frame.sample_peak > line.peak { frame.sample_peak } else { line.peak };
            line.floor = if frame.rms < line.floor { frame.rms } else { line.floor };
        }
    }

    /// Found on these lines, the loudest first.
    fn arrived(&self) -> Vec<(ChannelId, Dbfs)> {
        let sounds = |line: &Line| line.peak > FAINT && (line.peak > PLAIN || line.peak - line.floor > OVER);
        let lines = self.lines.iter().enumerate().filter(|(_, line)| sounds(line));
        let mut found: Vec<_> = lines.map(|(at, line)| (ChannelId::from_index(at), line.peak)).collect();
        found.sort_by(|a, b| b.1.get().total_cmp(&a.1.get()));
        found
    }

    /// What the listening test says.
    pub fn told(&self, status: &Status, names: &[String]) -> String {
        if let Some(unwell) = words::status(status) {
            return unwell;
        }
        if self.heard < FIRST_WORDS {
            return "Listening …".into();
        }
        let all = counted(self.lines.len() as u64, "channel", "channels");
        let found = self.arrived();
        match found.first() {
            None => format!("Nothing on {all} yet: speak into one microphone, or play something"),
            Some(&(loudest, peak)) => format!(
                "Sound arrives on {} of {all}. Loudest: {}, {}",
                found.len(),
                who(Some(loudest), names),
                Scale::of(None).level(peak)
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arrivals(lines: &[(f64, f64)]) -> Arrivals {
        let lines = lines.iter().map(|&(peak, floor)| Line { peak: Dbfs::new(peak), floor: Dbfs::new(floor) });
        Arrivals { heard: Seconds::new(3.0), frames: 30, lines: lines.collect() }
    }

    #[test]
    fn noise_alone_is_no_sound_and_a_word_is() {
        // A preamplifier's noise, turned up; a word over it; a steady tone; a click too faint to count.
        let found = arrivals(&[(-47.0, -60.0), (-38.0, -61.0), (-18.0, -21.0), (-62.0, -90.0)]);
        assert_eq!(
            found.told(&Status::Running, &["Lectern".into()]),
            "Sound arrives on 2 of 4 channels. Loudest: channel 3, −18.0 dBFS"
        );
        let silent = arrivals(&[(-47.0, -60.0)]);
        let told = silent.told(&Status::Running, &[]);
        assert_eq!(told, "Nothing on 1 channel yet: speak into one microphone, or play something");
    }

    #[test]
    fn a_source_that_is_not_well_is_said_first() {
        let told = arrivals(&[(-18.0, -21.0)]).told(&Status::AllZero, &[]);
        assert_eq!(told, "Only digital zeros: check microphone permission, mute and routing");
        assert_eq!(Arrivals::default().told(&Status::Running, &[]), "Listening …");
    }

    #[test]
    fn words_of_a_desk_are_short() {
        assert_eq!(desk_word("  Gain ", "Trim"), "Gain");
        assert_eq!(desk_word("", "Trim"), "Trim");
        assert_eq!(desk_word("a word that nobody would print beside a knob", "Trim").chars().count(), 20);
    }
}
