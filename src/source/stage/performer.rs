//! One performer: phrases and rests, the loudest passage now and then and when asked for.
//!
//! A phrase is a stretch of rendered material played at one gain. All decisions fall at frames that do
//! not depend on how the output is cut into blocks. The level is that of the loudest passage, as an
//! amplitude before any trim.

use super::cast::Player;
use super::dice::Dice;
use super::material::Material;

/// How a performer goes through the material.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// Phrases with rests, the loudest once in 60 to 120 s.
    Free,
    /// The loudest passage over and over, always alike.
    Steady,
    /// One hit (a drum) or the loudest passage each so many frames, always alike.
    Every(u64),
}

pub struct Performer {
    material: Material,
    dice: Dice,
    pace: Pace,
    rate: f64,
    rest: (f64, f64),
    /// Frames of a beat, 0 without one.
    beat: u64,
    level: f64,
    /// Further unevenness of each phrase, ± dB.
    restless: f64,
    clock: u64,
    plays: bool,
    state: State,
    next: Next,
    last_phrase: usize,
    pass_gain: f64,
    /// Stop what is played at this frame and go on with `next`.
    stop: Option<u64>,
    own_loudest: u64,
}

#[derive(Clone, Copy)]
enum State {
    Silent,
    Resting { until: u64 },
    Playing { at: usize, end: usize, gain: f32, fading: bool },
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Next {
    Nothing,
    Ordinary,
    Loudest(usize),
}

/// Of a phrase that is broken off.
const FADE_SECONDS: f64 = 0.03;
/// A phrase is up to this much weaker than its material, dB.
const PHRASE_DROP: f64 = 1.0;
/// A loudest passage lies between these about the truth, dB.
const PASS_SPREAD: (f64, f64) = (-0.25, 0.15);

impl Performer {
    pub fn new(player: Player, material: Material, pace: Pace, restless: f64, dice: Dice, rate: f64) -> Self {
        let beat = (player.beat().get() * rate).round() as u64;
        let mut performer = Self {
            material,
            dice,
            pace,
            rate,
            rest: player.rest(),
            beat,
            level: 0.0,
            restless,
            clock: 0,
            plays: false,
            state: State::Silent,
            next: Next::Nothing,
            last_phrase: usize::MAX,
            pass_gain: 1.0,
            stop: None,
            own_loudest: 0,
        };
        performer.plan_own_loudest();
        performer
    }

    /// How much each phrase and passage is off its level beyond the usual, ± dB.
    pub fn set_restless(&mut self, restless: f64) {
        self.restless = restless;
    }

    /// The amplitude of the loudest passage's true peak, from the next phrase on.
    pub fn set_level(&mut self, level: f64) {
        self.level = level;
    }

    pub fn tracks(&self) -> usize {
        self.material.tracks.len()
    }

    pub fn ask_play(&mut self) {
        if !self.plays {
            self.plays = true;
            self.stop = None;
            self.plan_own_loudest();
            if let State::Silent = self.state {
                let wait = self.dice.between(0.2, 0.8);
                self.begin_after(wait, self.usual());
            }
        }
    }

    pub fn ask_quiet(&mut self) {
        self.plays = false;
        self.next = Next::Nothing;
        self.stop = Some(self.clock);
    }

    /// Breaks off what is played in about a second; the loudest passage follows on the beat.
    pub fn ask_loudest(&mut self) {
        let wait = self.dice.between(0.8, 1.6);
        self.next = Next::Loudest(0);
        self.stop = Some(self.clock + (wait * self.rate) as u64);
    }

    /// The next `frames` of each track, into the first `frames` of `outs`.
    pub fn play(&mut self, frames: usize, outs: &mut [Vec<f32>]) {
        let mut done = 0;
        while done < frames {
            let left = (frames - done) as u64;
            let to_stop = self.stop.map_or(u64::MAX, |stop| stop.saturating_sub(self.clock));
            let run = match self.state {
                State::Silent => left.min(to_stop),
                State::Resting { until } => left.min(until.saturating_sub(self.clock)).min(to_stop),
                State::Playing { at, end, .. } => left.min((end - at) as u64).min(to_stop),
            };
            if run == 0 {
                if to_stop == 0 {
                    self.break_off()
                } else {
                    self.go_on()
                }
                continue;
            }
            let span = done..done + run as usize;
            for (track, out) in outs.iter_mut().enumerate() {
                self.sound(track, &mut out[span.clone()]);
            }
            if let State::Playing { at, .. } = &mut self.state {
                *at += run as usize;
            }
            self.clock += run;
            done += run as usize;
        }
    }

    fn sound(&self, track: usize, out: &mut [f32]) {
        let State::Playing { at, end, gain, fading } = self.state else {
            return out.fill(0.0);
        };
        let Some(played) = self.material.tracks.get(track).and_then(|track| track.get(at..at + out.len())) else {
            return out.fill(0.0);
        };
        if fading {
            let whole = 1.0 / (FADE_SECONDS * self.rate) as f32;
            for (n, (out, sample)) in out.iter_mut().zip(played).enumerate() {
                *out = gain * sample * ((end - at - n) as f32 * whole).min(1.0);
            }
        } else {
            for (out, sample) in out.iter_mut().zip(played) {
                *out = gain * sample;
            }
        }
    }

    /// The moment of `stop` has come.
    fn break_off(&mut self) {
        self.stop = None;
        match &mut self.state {
            State::Playing { at, end, fading, .. } => {
                *end = (*end).min(*at + (FADE_SECONDS * self.rate) as usize);
                *fading = true;
            }
            _ => self.follow(),
        }
    }

    /// A rest or a phrase is over.
    fn go_on(&mut self) {
        match self.state {
            State::Playing { .. } => self.follow(),
            State::Resting { .. } => self.start_phrase(),
            State::Silent => {}
        }
    }

    /// Rests before what comes next, or falls silent.
    fn follow(&mut self) {
        let wait = match (self.next, self.pace) {
            (Next::Nothing, _) => {
                self.state = State::Silent;
                return;
            }
            (Next::Loudest(_), Pace::Free) => self.dice.between(0.2, 0.3),
            _ => self.dice.between(self.rest.0, self.rest.1),
        };
        self.begin_after(wait, self.next);
    }

    fn begin_after(&mut self, seconds: f64, next: Next) {
        let until = self.clock + (seconds * self.rate) as u64;
        let until = match (self.pace, self.beat) {
            // Half a second after each whole period, so that the first hit is not cut.
            (Pace::Every(period), _) => {
                let first = (0.5 * self.rate) as u64;
                self.clock.saturating_sub(first).next_multiple_of(period) + first
            }
            (_, 0) => until,
            (_, beat) => until.next_multiple_of(beat),
        };
        self.next = next;
        self.state = State::Resting { until };
    }

    fn start_phrase(&mut self) {
        let uneven = if self.pace == Pace::Free { self.dice.between(-self.restless, self.restless) } else { 0.0 };
        let (phrase, decibels) = match self.next {
            Next::Nothing => (0..0, 0.0),
            Next::Ordinary => {
                let count = self.material.ordinary.len();
                let mut pick = self.dice.pick(count);
                if pick == self.last_phrase && count > 1 {
                    pick = (pick + 1) % count;
                }
                self.last_phrase = pick;
                let drop = self.dice.between(-PHRASE_DROP, 0.0);
                (self.material.ordinary.get(pick).cloned().unwrap_or(0..0), drop + uneven)
            }
            Next::Loudest(index) => {
                if index == 0 {
                    self.pass_gain = match self.pace {
                        Pace::Free => self.dice.between(PASS_SPREAD.0, PASS_SPREAD.1) + uneven,
                        _ => 0.0,
                    };
                }
                (self.material.loudest.get(index).cloned().unwrap_or(0..0), self.pass_gain)
            }
        };
        let gain = (self.level * 10f64.powf(decibels / 20.0)) as f32;
        let end = match self.pace {
            Pace::Every(period) => phrase.end.min(phrase.start + period.saturating_sub(1) as usize),
            _ => phrase.end,
        };
        self.state = State::Playing { at: phrase.start, end, gain, fading: false };
        self.next = self.after(self.next);
    }

    /// What follows the phrase that just began.
    fn after(&mut self, now: Next) -> Next {
        match now {
            Next::Loudest(index) if index + 1 < self.material.loudest.len() => Next::Loudest(index + 1),
            Next::Loudest(_) => {
                self.plan_own_loudest();
                if self.plays { self.usual() } else { Next::Nothing }
            }
            _ if !self.plays => Next::Nothing,
            _ if self.clock >= self.own_loudest => Next::Loudest(0),
            _ => self.usual(),
        }
    }

    fn usual(&self) -> Next {
        if self.pace == Pace::Free { Next::Ordinary } else { Next::Loudest(0) }
    }

    fn plan_own_loudest(&mut self) {
        self.own_loudest = self.clock + (self.dice.between(60.0, 110.0) * self.rate) as u64;
    }
}
