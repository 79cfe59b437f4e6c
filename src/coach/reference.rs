//! What the desk's 0 reads here: the desk reference, X dBFS.
//!
//! Fed with the frames of one line after every 100 ms. First the line is proved honest: silence, a tone,
//! the same tone 10 dB up, silence. A step that is not 10.0 ± 0.5 dB, or a floor that moved, means an input
//! that rides its own level: refused, for nothing about gain can be read from it. Then a steady source with
//! the desk's meter on exactly 0: X is the sine's peak (RMS + 3.01 dB) over 5 s, steady within 0.5 dB.
//! The alignment figures of the trade quote a sine by its peak, and so does X. Common practice: X near
//! −(H + 2), H being the desk's headroom above its 0.

use crate::meters::Frame;
use crate::units::{Db, Dbfs};

const STEP: Db = Db::new(10.0);
const STEP_TOLERANCE: Db = Db::new(0.5);
/// The floor may differ by this before and after the tones.
const FLOOR_TOLERANCE: Db = Db::new(3.0);
/// Levels within this of each other are one steady level.
const STEADY: Db = Db::new(0.5);
const STEADY_FRAMES: usize = 15;
const REFERENCE_FRAMES: usize = 50;
/// The least that a tone stands over the floor.
const OVER_FLOOR: Db = Db::new(20.0);
/// Below this a floor is as good as silent: it can't be seen to move.
const SILENT: Dbfs = Dbfs::new(-85.0);
const NOISY_BELOW: Dbfs = Dbfs::new(-40.0);

/// What is waited for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Awaited {
    Silence,
    /// The tone at its first level (−30 dBFS at the output).
    Tone,
    /// The tone 10 dB higher.
    HigherTone,
    SilenceAgain,
    /// A steady source with the desk's meter on exactly 0.
    DeskAtZero,
}

/// Why the line can't be used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Refusal {
    /// 10 dB more came in as `step`: this input rides its own level.
    RidesItsLevel { step: Db },
    /// The floor moved by this while the tone played: this input rides its own level.
    FloorMoved { by: Db },
    /// The tone reaches full scale here: lower the feed.
    Clips,
}

/// The result.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DeskZero {
    /// What the desk's 0 reads here, as a sine's peak.
    pub level: Dbfs,
    /// Between the lowest and the highest 100 ms of the 5 s.
    pub spread: Db,
}

impl DeskZero {
    /// A level here on the desk's own scale.
    pub fn on_desk(&self, level: Dbfs) -> Db {
        level - self.level
    }

    /// What is amiss with it, given the desk's headroom above its 0.
    pub fn caution(&self, headroom: Db) -> Option<Caution> {
        if Dbfs::new(0.0) - self.level < headroom {
            Some(Caution::ClipsBeforeTheDesk)
        } else if self.level < NOISY_BELOW {
            Some(Caution::Noisy)
        } else {
            None
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Caution {
    /// The laptop's input is full before the desk is: lower the feed or attenuate.
    ClipsBeforeTheDesk,
    /// The desk's 0 lies near the noise here: raise the feed.
    Noisy,
}

/// Leads through the measurement.
#[derive(Clone, Debug)]
pub struct Reference {
    awaited: Awaited,
    recent: Vec<Dbfs>,
    floor: Dbfs,
    tone: Dbfs,
    refusal: Option<Refusal>,
    result: Option<DeskZero>,
}

impl Reference {
    pub fn new() -> Self {
        Self {
            awaited: Awaited::Silence,
            recent: Vec::with_capacity(REFERENCE_FRAMES + 1),
            floor: Dbfs::SILENCE,
            tone: Dbfs::SILENCE,
            refusal: None,
            result: None,
        }
    }

    /// For a line that was proved before: straight to the desk's 0.
    pub fn of_proved_line() -> Self {
        Self { awaited: Awaited::DeskAtZero, ..Self::new() }
    }

    pub fn awaited(&self) -> Awaited {
        self.awaited
    }

    pub fn refusal(&self) -> Option<Refusal> {
        self.refusal
    }

    pub fn result(&self) -> Option<DeskZero> {
        self.result
    }

    /// The newest 100 ms of the line.
    pub fn observe(&mut self, frame: &Frame) {
        if self.refusal.is_some() || self.result.is_some() {
            return;
        }
        if self.awaited != Awaited::Silence && frame.sample_peak >= Dbfs::new(-0.1) {
            self.refusal = Some(Refusal::Clips);
            return;
        }
        if self.recent.len() > REFERENCE_FRAMES {
            self.recent.remove(0);
        }
        self.recent.push(frame.rms);
        match self.awaited {
            Awaited::Silence => {
                // Noise wobbles: its mean over the frames will do.
                if self.recent.len() >= STEADY_FRAMES {
                    self.floor = mean(&self.recent);
                    self.go_on(Awaited::Tone);
                }
            }
            Awaited::Tone => {
                if let Some(level) = self.steady(STEADY_FRAMES).filter(|&level| level - self.floor >= OVER_FLOOR) {
                    self.tone = level;
                    self.go_on(Awaited::HigherTone);
                }
            }
            Awaited::HigherTone => {
                // A riding input pulls the new level back to the old one, or part of the way.
                let moved = |level: Dbfs| (level - self.tone).abs() > STEADY;
                let stood = self.recent.len() > REFERENCE_FRAMES;
                if let Some(level) = self.steady(STEADY_FRAMES).filter(|&level| moved(level) || stood) {
                    let step = level - self.tone;
                    if (step - STEP).abs() > STEP_TOLERANCE {
                        self.refusal = Some(Refusal::RidesItsLevel { step });
                    } else {
                        self.go_on(Awaited::SilenceAgain);
                    }
                }
            }
            Awaited::SilenceAgain => {
                let quiet = self.recent.iter().rev().take(STEADY_FRAMES).all(|&level| self.tone - level > STEP);
                if self.recent.len() >= STEADY_FRAMES && quiet {
                    let floor = mean(&self.recent[self.recent.len() - STEADY_FRAMES..]);
                    let by = floor.max(SILENT) - self.floor.max(SILENT);
                    if by.abs() > FLOOR_TOLERANCE {
                        self.refusal = Some(Refusal::FloorMoved { by });
                    } else {
                        self.go_on(Awaited::DeskAtZero);
                    }
                }
            }
            Awaited::DeskAtZero => {
                let over_floor = |level: &Dbfs| *level - self.floor >= OVER_FLOOR;
                if let Some(level) = self.steady(REFERENCE_FRAMES).filter(over_floor) {
                    let spread = spread(&self.recent[self.recent.len() - REFERENCE_FRAMES..]);
                    self.result = Some(DeskZero { level: level + Dbfs::AES17_OFFSET, spread });
                }
            }
        }
    }

    fn go_on(&mut self, awaited: Awaited) {
        self.awaited = awaited;
        self.recent.clear();
    }

    /// The mean of the last `frames`, if they are one steady level.
    fn steady(&self, frames: usize) -> Option<Dbfs> {
        let last = &self.recent[self.recent.len().checked_sub(frames)?..];
        (spread(last) <= STEADY).then(|| mean(last))
    }
}

impl Default for Reference {
    fn default() -> Self {
        Self::new()
    }
}

fn mean(levels: &[Dbfs]) -> Dbfs {
    Dbfs::from_power(levels.iter().map(|level| level.power()).sum::<f64>() / levels.len().max(1) as f64)
}

fn spread(levels: &[Dbfs]) -> Db {
    let least = levels.iter().copied().reduce(Dbfs::min).unwrap_or(Dbfs::SILENCE);
    let most = levels.iter().copied().reduce(Dbfs::max).unwrap_or(Dbfs::SILENCE);
    most - least
}

#[cfg(test)]
mod tests {
    use super::*;

    fn play(reference: &mut Reference, rms: f64, frames: usize) {
        for _ in 0..frames {
            let rms = Dbfs::new(rms);
            reference.observe(&Frame { rms, sample_peak: rms + Db::new(3.01), ..Frame::default() });
        }
    }

    #[test]
    fn an_honest_line_gives_the_sines_peak() {
        let mut reference = Reference::new();
        for (rms, frames) in [(-75.0, 20), (-40.0, 30), (-30.0, 30), (-75.2, 30)] {
            play(&mut reference, rms, frames);
        }
        assert_eq!(reference.awaited(), Awaited::DeskAtZero);
        play(&mut reference, -23.01, 60);
        let zero = reference.result().expect("a reference");
        assert!((zero.level.get() + 20.0).abs() < 0.01, "{zero:?}");
        // Common practice: a desk with 18 dB above its 0 wants X at −20.
        assert_eq!(zero.caution(Db::new(18.0)), None);
        assert_eq!(zero.caution(Db::new(22.0)), Some(Caution::ClipsBeforeTheDesk));
        assert!((zero.on_desk(Dbfs::new(-14.0)).get() - 6.0).abs() < 0.01);
    }

    #[test]
    fn an_input_that_rides_its_level_is_refused() {
        let mut reference = Reference::new();
        for (rms, frames) in [(-75.0, 20), (-40.0, 30), (-36.0, 60)] {
            play(&mut reference, rms, frames);
        }
        assert_eq!(reference.refusal(), Some(Refusal::RidesItsLevel { step: Db::new(4.0) }));
        let mut levelled = Reference::new();
        for (rms, frames) in [(-75.0, 20), (-40.0, 90)] {
            play(&mut levelled, rms, frames);
        }
        assert!(matches!(levelled.refusal(), Some(Refusal::RidesItsLevel { .. })));
        let mut pumping = Reference::new();
        for (rms, frames) in [(-75.0, 20), (-40.0, 30), (-30.0, 30), (-62.0, 40)] {
            play(&mut pumping, rms, frames);
        }
        assert!(matches!(pumping.refusal(), Some(Refusal::FloorMoved { .. })));
    }

    #[test]
    fn an_unsteady_source_gives_no_reference() {
        let mut reference = Reference::of_proved_line();
        for step in 0..200 {
            play(&mut reference, -22.0 - f64::from(step % 3), 1);
        }
        assert_eq!(reference.result(), None);
    }
}
