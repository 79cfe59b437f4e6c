//! A quiet sweep's safe way in words: the cautions, why there is no result and what to do about it.
//!
//! Levels in dBFS and dB(A). A refusal is one sentence and, after a full stop, how to mend it.

use super::numbers::{self, span};
use super::ringout::frequency;
use super::sweeps;
use crate::coach::sweep::{NoSweep, Opened};

/// Said before anything is armed.
pub const SWEEP_CAUTIONS: [&str; 4] = [
    "Everyone out of the hall, or ears covered; nobody at a loudspeaker, no child near one.",
    "Loudspeakers off before any plug is moved; on last, turned down.",
    "Show microphones not assigned to what is measured; every other loudspeaker muted.",
    "One hand at the keyboard: any key stops the sound.",
];

/// Why there is no result, and what to do about it; `who` names the measured microphones.
pub fn no_sweep(why: NoSweep, opened: Opened, who: &dyn Fn(usize) -> String) -> String {
    match why {
        NoSweep::LoopNotOpen(_) if opened == Opened::AtReturn => {
            "The tap came out of the loudspeakers: the loop is closed. Take the microphones off that output, and tap again"
                .into()
        }
        NoSweep::LoopNotOpen(_) => {
            "The computer did not hear the tap: the loop is not open there. Plug the desk’s main output into its input"
                .into()
        }
        NoSweep::NoTap(_) => {
            "The tapped microphone was not heard. Look whether it is on and comes to the computer, and tap again".into()
        }
        NoSweep::Unfit { channel, why } => {
            let text = sweeps::refused(why);
            format!("{}: {text}", who(channel))
        }
        NoSweep::NotConnected { level } => format!(
            "Nothing arrived, not even at {}. Look whether the output is connected, up, and not muted",
            numbers::dbfs(level)
        ),
        NoSweep::Hum { channel, mains, share } => format!(
            "{}: {:.0} Hz hum is {:.0} % of the noise and hides the sweep. Find the hum first",
            who(channel),
            mains.get(),
            100.0 * share
        ),
        NoSweep::RidesItsLevel { channel, pause } => format!(
            "{}: this input rides its own level (the pause after lies {} lower). Turn off automatic level and \
             enhancements in the system’s sound settings",
            who(channel),
            span(pause)
        ),
        NoSweep::Limited { channel, missing } => format!(
            "{}: the louder sweep gave {} too little: a limiter or compressor. Take it out, and measure again",
            who(channel),
            span(missing)
        ),
        NoSweep::TooSoft { level, sound, least } => {
            let sound = sound.map_or(String::new(), |sound| format!(", {sound:.0} dB(A)"));
            let stands = match least {
                Some((octave, ratio)) => {
                    format!("the sweep stands only {} over the noise around {}", span(ratio), frequency(octave))
                }
                None => "the sweep is still under the noise".into(),
            };
            format!("At the limit ({}{sound}) {stands}. Wait for a quieter hall", numbers::dbfs(level))
        }
        NoSweep::DeviceLost => "The device was lost while it played. Plug it in again, and start anew".into(),
        NoSweep::Stopped => "Stopped. Nothing plays; start anew when you are ready".into(),
    }
}

/// A word for records.
pub const fn no_sweep_kind(why: NoSweep) -> &'static str {
    match why {
        NoSweep::LoopNotOpen(_) => "loop_not_open",
        NoSweep::NoTap(_) => "no_tap",
        NoSweep::Unfit { why, .. } => sweeps::kind(why),
        NoSweep::NotConnected { .. } => "not_connected",
        NoSweep::Hum { .. } => "hum",
        NoSweep::RidesItsLevel { .. } => "rides_its_level",
        NoSweep::Limited { .. } => "limited",
        NoSweep::TooSoft { .. } => "too_soft",
        NoSweep::DeviceLost => "device_lost",
        NoSweep::Stopped => "stopped",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::sweep::TapHeard;
    use crate::measure::sweep::Refusal;
    use crate::units::{Db, Dbfs, Hertz, Seconds};

    /// Every refusal says what is wrong and, after a full stop, how to mend it; no two have one word.
    #[test]
    fn every_refusal_says_what_to_do() {
        let level = Dbfs::new(-30.0);
        let tap = TapHeard { microphone: level, microphone_quiet: level, main: level, main_quiet: level };
        let all = [
            NoSweep::LoopNotOpen(tap),
            NoSweep::NoTap(tap),
            NoSweep::Unfit { channel: 0, why: Refusal::DoorSlam { at: Seconds::new(2.0), over_sweep: Db::new(3.0) } },
            NoSweep::NotConnected { level },
            NoSweep::Hum { channel: 0, mains: Hertz::new(50.0), share: 0.8 },
            NoSweep::RidesItsLevel { channel: 1, pause: Db::new(6.0) },
            NoSweep::Limited { channel: 0, missing: Db::new(3.0) },
            NoSweep::Unfit { channel: 0, why: Refusal::Moved { worst: Db::new(2.0), at: Hertz::new(400.0) } },
            NoSweep::TooSoft { level, sound: Some(75.0), least: Some((Hertz::new(250.0), Db::new(9.0))) },
            NoSweep::TooSoft { level, sound: None, least: None },
            NoSweep::Unfit { channel: 0, why: Refusal::SoundLost { by: Seconds::new(-0.021) } },
            NoSweep::DeviceLost,
            NoSweep::Stopped,
        ];
        let mut kinds: Vec<&str> = all.map(no_sweep_kind).to_vec();
        for why in all {
            for opened in [Opened::AtReturn, Opened::AtMainOut] {
                let text = no_sweep(why, opened, &|channel| format!("Channel {}", channel + 1));
                assert!(
                    text.split_once(". ").is_some_and(|(wrong, mend)| !wrong.is_empty() && mend.len() > 10),
                    "{text}"
                );
            }
        }
        kinds.sort_unstable();
        kinds.dedup();
        assert_eq!(kinds.len(), all.len() - 1, "too soft stands there twice");
    }
}
