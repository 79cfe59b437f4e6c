//! The shelf meter as plain values: places on a rail from 0 (left, −60 dBFS) to 1 (right, full scale), and letters.
//!
//! A thin rail for the level now, a notched window for the target, the loudest so far standing on the rail, the
//! last seconds as fading footprints, the headroom lettered at the right. Silence and everything under the rail
//! stand at 0, everything over full scale at 1.

use super::numbers::{self, Scale};
use crate::units::Dbfs;

const BOTTOM: f64 = -60.0;
const MARKS: [f64; 6] = [-60.0, -48.0, -36.0, -24.0, -12.0, 0.0];

/// Ready to draw.
#[derive(Clone, Debug, PartialEq)]
pub struct Shelf {
    /// The level now.
    pub now: f64,
    pub loudest: Option<f64>,
    /// "loudest −3.1".
    pub loudest_label: String,
    pub window: (f64, f64),
    /// "window −15…−9".
    pub window_label: String,
    /// Where a knob without marks is turned to: the window's middle.
    pub line: f64,
    /// "3.1 dB of headroom"; empty before anything was heard.
    pub headroom: String,
    pub ticks: [(f64, String); 6],
}

impl Shelf {
    pub fn new(now: Dbfs, loudest: Dbfs, window: (Dbfs, Dbfs), scale: Scale) -> Self {
        let (low, high) = window;
        let heard = !loudest.is_silence();
        let headroom = Dbfs::new(0.0) - loudest;
        Self {
            now: place(now),
            loudest: heard.then(|| place(loudest)),
            loudest_label: if heard { format!("loudest {}", scale.number(loudest)) } else { String::new() },
            window: (place(low), place(high)),
            window_label: format!("window {}", scale.window(window)),
            line: (place(low) + place(high)) / 2.0,
            headroom: match heard {
                false => String::new(),
                true if headroom.get() < 0.05 => "no headroom".into(),
                true => format!("{} of headroom", numbers::span(headroom)),
            },
            ticks: MARKS.map(|mark| (place(Dbfs::new(mark)), scale.mark(Dbfs::new(mark)))),
        }
    }
}

/// Where on the rail a level stands, 0 to 1.
pub fn place(level: Dbfs) -> f64 {
    ((level.get() - BOTTOM) / -BOTTOM).clamp(0.0, 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loudest_stands_where_it_is() {
        let window = (Dbfs::new(-15.0), Dbfs::new(-9.0));
        let shelf = Shelf::new(Dbfs::new(-30.0), Dbfs::new(-12.0), window, Scale::FullScale);
        assert_eq!((shelf.now, shelf.loudest, shelf.line), (0.5, Some(0.8), 0.8));
        assert_eq!(shelf.loudest_label, "loudest −12.0");
        assert_eq!(shelf.window_label, "window −15…−9");
        assert_eq!(shelf.headroom, "12 dB of headroom");
        assert_eq!(shelf.ticks.map(|(_, letters)| letters), ["−60", "−48", "−36", "−24", "−12", "0"]);
    }

    #[test]
    fn silence_and_over_full_scale_have_a_place() {
        let window = (Dbfs::new(-15.0), Dbfs::new(-9.0));
        let silent = Shelf::new(Dbfs::SILENCE, Dbfs::SILENCE, window, Scale::FullScale);
        assert_eq!((silent.now, silent.loudest, silent.headroom.as_str()), (0.0, None, ""));
        let over = Shelf::new(Dbfs::new(6.0), Dbfs::new(6.0), window, Scale::FullScale);
        assert_eq!((over.now, over.loudest, over.headroom.as_str()), (1.0, Some(1.0), "no headroom"));
    }

    #[test]
    fn on_the_desks_scale() {
        let window = (Dbfs::new(-15.0), Dbfs::new(-9.0));
        let shelf = Shelf::new(Dbfs::SILENCE, Dbfs::new(-12.0), window, Scale::Desk(Dbfs::new(-22.0)));
        assert_eq!(shelf.loudest_label, "loudest +10.0");
        assert_eq!(shelf.window_label, "window +7…+13");
        assert_eq!(shelf.ticks[5].1, "+22");
    }
}
