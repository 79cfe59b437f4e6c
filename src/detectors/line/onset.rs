//! Onsets: on which line did something begin, when, and was it as short as a tap?
//!
//! In: the levels of all lines, hop by hop (10 ms). A line has an onset where a hop stands 12 dB over its floor and over
//! the 50 ms before it (the hop just before may hold the beginning). Onsets within 60 ms, in which sound walks 20 m, are
//! one event; it belongs to the line that it lifts highest over its own floor, whatever the knobs' positions. It is short if the
//! line is 15 dB down again, or back at its floor, within 0.1 s: a tap on a microphone is, a word or a note is not.
//! Told 0.18 s after it began. Working values, common practice; times in frames from the start.

use super::levels::Levels;
use crate::units::{ChannelId, Db, Dbfs, FrameCount, SampleRate, Seconds};

/// Something began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Onset {
    /// The line that it lifted highest over its own floor.
    pub channel: ChannelId,
    pub at: FrameCount,
    /// RMS of its strongest hop.
    pub level: Dbfs,
    /// Of that over the line's floor.
    pub rise: Db,
    pub short: bool,
    /// The next line, and how far it rose over its own floor.
    pub second: Option<(ChannelId, Db)>,
}

const JUMP: f32 = 12.0;
const DECAY: f32 = 15.0;
const BACK: f32 = 6.0;
/// Hops after which a hop is judged.
const DELAY: usize = 12;
/// Hops in which an onset reaches other lines.
const TOGETHER: usize = 6;
/// The same line has no other onset for so many hops.
const REST: u64 = 12;
const SPACE: usize = 64;
const HOP: Seconds = Seconds::new(0.01);

#[derive(Clone, Debug)]
pub(super) struct Onsets {
    hops: u64,
    hop: FrameCount,
    /// By line: when its newest onset was seen.
    newest: Vec<Option<u64>>,
    /// When the first onset of an event was seen.
    open: Option<u64>,
    told: Vec<Onset>,
}

impl Onsets {
    pub fn new(channels: usize, rate: SampleRate) -> Self {
        Self {
            hops: 0,
            hop: rate.frames(HOP),
            newest: vec![None; channels],
            open: None,
            told: Vec::with_capacity(SPACE),
        }
    }

    pub fn restart(&mut self) {
        self.hops = 0;
        self.newest.fill(None);
        self.open = None;
    }

    pub fn told(&self) -> &[Onset] {
        &self.told
    }

    pub fn forget_told(&mut self) {
        self.told.clear();
    }

    /// After every line took the hop that ends at `now`.
    pub fn observe(&mut self, lines: &[Levels], now: FrameCount) {
        self.hops += 1;
        // Before that, there is no past to rise from.
        if self.hops < 2 * DELAY as u64 {
            return;
        }
        for (line, newest) in lines.iter().zip(&mut self.newest) {
            let Some(floor) = line.floor() else { continue };
            let before = line.highest(DELAY + 2, DELAY + 6).max(floor.get() as f32);
            if line.at(DELAY) - before >= JUMP && newest.is_none_or(|newest| self.hops - newest > REST) {
                *newest = Some(self.hops);
                self.open.get_or_insert(self.hops);
            }
        }
        if self.open.is_some_and(|open| self.hops - open >= TOGETHER as u64) {
            self.close(lines, now);
        }
    }

    /// The event is over: whose was it?
    fn close(&mut self, lines: &[Levels], now: FrameCount) {
        let Some(open) = self.open.take() else { return };
        let (first, last) = (DELAY + TOGETHER, DELAY - 2);
        let mut best: Option<(usize, f32, f32)> = None;
        let mut second: Option<(usize, f32)> = None;
        for (index, line) in lines.iter().enumerate() {
            let (Some(floor), Some(newest)) = (line.floor(), self.newest[index]) else { continue };
            if newest < open {
                continue;
            }
            let top = line.highest(last, first);
            let rise = top - floor.get() as f32;
            match best {
                Some((_, _, highest)) if rise <= highest => {
                    if second.is_none_or(|(_, known)| rise > known) {
                        second = Some((index, rise));
                    }
                }
                earlier => {
                    second = earlier.map(|(index, _, rise)| (index, rise));
                    best = Some((index, top, rise));
                }
            }
        }
        let Some((index, top, rise)) = best else { return };
        let line = &lines[index];
        let after = (5..=9).map(|back| line.at(back)).sum::<f32>() / 5.0;
        let short = top - after >= DECAY || after <= top - rise + BACK;
        if self.told.len() < SPACE {
            let back = self.hop.get() * (DELAY + TOGETHER + 1) as u64;
            self.told.push(Onset {
                channel: ChannelId::from_index(index),
                at: now - FrameCount::new(back),
                level: Dbfs::new(f64::from(top)),
                rise: Db::new(f64::from(rise)),
                short,
                second: second.map(|(index, rise)| (ChannelId::from_index(index), Db::new(f64::from(rise)))),
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hears the levels of each line, hop by hop; gives what was told.
    fn hear(hops: usize, level: impl Fn(usize, usize) -> f64) -> Vec<Onset> {
        let rate = SampleRate::new(48_000).unwrap();
        let (mut lines, mut onsets) = (vec![Levels::new(); 3], Onsets::new(3, rate));
        for hop in 0..hops {
            for (index, line) in lines.iter_mut().enumerate() {
                line.push(Dbfs::new(level(index, hop)));
                line.refresh();
            }
            onsets.observe(&lines, FrameCount::new(480 * (hop as u64 + 1)));
        }
        onsets.told().to_vec()
    }

    fn tap(hop: usize, at: usize, top: f64, floor: f64) -> f64 {
        if hop < at { floor } else { (top - 6.0 * (hop - at) as f64).max(floor) }
    }

    /// Lines of unequal gain: the tap stands highest over the floor of the line it was made on.
    #[test]
    fn a_tap_is_told_on_its_own_line_with_its_time() {
        let told = hear(200, |line, hop| match line {
            0 => tap(hop, 102, -22.0, -50.0),
            1 => tap(hop, 100, -40.0, -90.0),
            _ => -70.0,
        });
        assert_eq!(told.len(), 1, "{told:?}");
        let onset = told[0];
        assert_eq!((onset.channel, onset.at), (ChannelId::new(1), FrameCount::new(48_000)));
        assert!((onset.rise.get() - 50.0).abs() < 1e-3 && onset.short);
        assert_eq!(onset.second.map(|(channel, _)| channel), Some(ChannelId::new(0)));
    }

    #[test]
    fn a_held_note_is_not_short_and_a_floor_has_none() {
        let told = hear(200, |line, hop| if line == 2 && hop >= 100 { -20.0 } else { -70.0 });
        assert_eq!(told.len(), 1);
        assert!(!told[0].short && told[0].channel == ChannelId::new(2));
        assert!(hear(400, |line, hop| -70.0 + ((hop * 7 + line * 3) % 5) as f64).is_empty());
        assert!(hear(400, |_, _| f64::NEG_INFINITY).is_empty());
    }

    /// While someone talks on the first line, a tap on the second is still the second's.
    #[test]
    fn talk_elsewhere_takes_no_tap() {
        let told = hear(300, |line, hop| match line {
            0 => {
                if hop < 60 {
                    -70.0
                } else {
                    -20.0
                }
            }
            1 => tap(hop, 200, -28.0, -70.0),
            _ => -70.0,
        });
        let taps: Vec<_> = told.iter().filter(|onset| onset.short).collect();
        assert_eq!(taps.len(), 1);
        assert_eq!(taps[0].channel, ChannelId::new(1));
    }
}
