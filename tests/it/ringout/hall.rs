//! A toy hall: a few modes, each with the fader position at which it begins to ring, and how fast it grows for each dB
//! above that. Cuts act by the cookbook's peaking response (W3C Audio EQ Cookbook). What the detector would say is
//! taken from the modes themselves, late and coarse: this tests the procedure, not the ears.

use beforedoors::coach::ringout::{Band, Change, Cut, Equaliser, Output, Place};
use beforedoors::detectors::{Certainty, Ring, Signs};
use beforedoors::engine::hall as engine;
use beforedoors::units::{ChannelId, Db, Dbfs, Hertz, Seconds};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

pub const FRAME: f64 = 0.1;
const FLOOR: f64 = -78.0;
const FULL: f64 = -3.0;
/// Seen from here on; heard by people from here on.
const SEEN: f64 = -70.0;
const AUDIBLE: f64 = -45.0;
/// A growing track above this is called a ring after so many frames.
const SURE: f64 = -49.0;
const SURE_AFTER: u32 = 4;
/// A tone hangs on within this margin.
const HANGS: f64 = 5.0;

#[derive(Clone, Debug)]
pub struct Mode {
    pub hz: f64,
    /// The fader position, re the show mark, from which on it rings with the equaliser flat.
    pub limit: f64,
    /// dB/s for each dB above that: the reciprocal of the loop's effective delay.
    pub rate: f64,
    level: f64,
    before: [f64; 3],
    growing: u32,
    stood: f64,
    ringing: bool,
    pub audible: f64,
}

impl Mode {
    pub fn new(hz: f64, limit: f64, rate: f64) -> Self {
        Self { hz, limit, rate, level: FLOOR, before: [FLOOR; 3], growing: 0, stood: 0.0, ringing: false, audible: 0.0 }
    }
}

#[derive(Clone, Debug)]
pub struct Hall {
    pub modes: Vec<Mode>,
    pub fader: f64,
    pub cuts: Vec<Cut>,
    /// Notes that someone plays: frequency, from, to.
    pub notes: Vec<(f64, f64, f64)>,
    pub now: f64,
    /// The longest time that a ring was audible.
    pub longest: f64,
    pub channels: u16,
    pub by_hand: bool,
    pub open: Vec<ChannelId>,
    pub low_cuts: Vec<(ChannelId, Hertz)>,
    /// The room's own tones are being learned.
    pub learning: bool,
    /// Seconds in which they were, and in how many of these the fader was up.
    pub learned: (f64, f64),
    rings: Vec<Ring>,
}

impl Hall {
    pub fn new(modes: Vec<Mode>) -> Self {
        Self {
            rings: Vec::with_capacity(4 * modes.len() + 8),
            modes,
            fader: -12.0,
            cuts: Vec::new(),
            notes: Vec::new(),
            now: 0.0,
            longest: 0.0,
            channels: 1,
            by_hand: false,
            learning: false,
            learned: (0.0, 0.0),
            open: Vec::new(),
            low_cuts: Vec::new(),
        }
    }

    /// Modes over the whole range; the most sensitive somewhere around the show mark.
    pub fn random(seed: u64) -> Self {
        let mut random = Pcg64Mcg::seed_from_u64(seed);
        let first = random.random_range(-6.0..8.0);
        let rate = random.random_range(4.0..17.0);
        let count = random.random_range(8..40);
        let modes = (0..count).map(|index| {
            let hz = 180.0 * 2f64.powf(random.random_range(0.0..5.0));
            let above: f64 = -3.0 * (1.0 - random.random_range(0.0..1.0f64)).ln();
            let limit = first + if index == 0 { 0.0 } else { above };
            Mode::new(hz, limit, rate * random.random_range(0.7..1.4))
        });
        Self::new(modes.collect())
    }

    /// What the equaliser does at a frequency, dB.
    fn response(cuts: &[Cut], hz: f64) -> f64 {
        cuts.iter().map(|cut| peaking(cut.band.centre().get(), cut.depth.get(), q(cut.band), hz)).sum()
    }

    /// The fader position at which the first mode rings.
    pub fn limit(&self, cuts: &[Cut]) -> f64 {
        let limits = self.modes.iter().map(|mode| mode.limit - Self::response(cuts, mode.hz));
        limits.fold(f64::INFINITY, f64::min)
    }

    pub fn go_on(&mut self) -> &[Ring] {
        self.now += FRAME;
        self.rings.clear();
        for (id, mode) in self.modes.iter_mut().enumerate() {
            let excess = self.fader + Self::response(&self.cuts, mode.hz) - mode.limit;
            mode.before.rotate_left(1);
            mode.before[2] = mode.level;
            // Below the limit it stands at the colour of a loop that almost rings, 20 dB at most.
            let colour = if excess < 0.0 { (-20.0 * (1.0 - 10f64.powf(excess / 20.0)).log10()).min(20.0) } else { 0.0 };
            let next = mode.level + excess * mode.rate * FRAME;
            mode.level = if excess < 0.0 { next.max((FLOOR + colour).min(mode.level + 1.0)) } else { next.min(FULL) };
            let growth = (mode.level - mode.before[0]) / (3.0 * FRAME);
            mode.growing = if growth > 0.5 && mode.level > SURE { mode.growing + 1 } else { 0 };
            mode.ringing = mode.level > SEEN && (mode.ringing || mode.growing >= SURE_AFTER);
            let seen = mode.level > SEEN || excess > -HANGS;
            mode.stood = if seen { mode.stood + FRAME } else { 0.0 };
            mode.audible = if mode.level > AUDIBLE && excess > 0.0 { mode.audible + FRAME } else { 0.0 };
            self.longest = self.longest.max(mode.audible);
            if !seen {
                continue;
            }
            for channel in 0..self.channels {
                self.rings.push(Ring {
                    id: id as u32,
                    channel: ChannelId::new(channel),
                    certainty: if mode.ringing { Certainty::Ringing } else { Certainty::Possible },
                    frequency: Hertz::new(mode.hz * (1.0 + 1e-4 * f64::from(channel))),
                    level: Dbfs::new(mode.level - f64::from(channel)),
                    growth,
                    excess: mode.ringing.then(|| Db::new(growth / 8.0)),
                    clips_in: None,
                    start: Seconds::ZERO,
                    reported: Seconds::ZERO,
                    end: None,
                    signs: Signs { stood: Seconds::new(mode.stood), ..Signs::default() },
                });
            }
        }
        for &(hz, from, to) in &self.notes {
            if self.now >= from && self.now < to {
                self.rings.push(note(hz, self.now - from));
            }
        }
        &self.rings
    }

    /// Ears without a desk: for a real one, which is moved by hand.
    pub fn rings(&self) -> &[Ring] {
        &self.rings
    }

    /// Carries a change out.
    pub fn cut(&mut self, change: &Change) {
        for grab in change.grabs() {
            let was = grab.instead_of.unwrap_or(grab.band);
            self.cuts.retain(|cut| (cut.place, cut.band) != (grab.place, was));
            if grab.depth < Db::ZERO {
                self.cuts.push(Cut { place: grab.place, band: grab.band, depth: grab.depth });
            }
        }
    }

    /// The most that six third-octave bands, none deeper than 9 dB, can buy: each next dB goes to the band of the mode
    /// that rings first.
    pub fn best_six(&self) -> f64 {
        let kind = Equaliser::ThirdOctave;
        let place = Place::Output(Output::Mains);
        let mut cuts: Vec<Cut> = Vec::new();
        let mut best = self.limit(&cuts);
        for _ in 0..54 {
            let first = self.modes.iter().min_by(|a, b| {
                let at = |mode: &Mode| mode.limit - Self::response(&cuts, mode.hz);
                at(a).total_cmp(&at(b))
            });
            let band = Band::Graphic(kind.nearest(Hertz::new(first.unwrap().hz)).unwrap());
            let full = cuts.len() == 6;
            match cuts.iter_mut().find(|cut| cut.band == band) {
                Some(cut) if cut.depth.get() <= -9.0 => break,
                Some(cut) => cut.depth += Db::new(-1.0),
                None if full => break,
                None => cuts.push(Cut { place, band, depth: Db::new(-1.0) }),
            }
            best = best.max(self.limit(&cuts));
        }
        best - self.limit(&[])
    }
}

fn note(hz: f64, stood: f64) -> Ring {
    let certainty = if stood > 1.0 { Certainty::Ringing } else { Certainty::Possible };
    Ring {
        id: 1000,
        channel: ChannelId::new(0),
        certainty,
        frequency: Hertz::new(hz),
        level: Dbfs::new(-35.0),
        growth: 0.0,
        excess: None,
        clips_in: None,
        start: Seconds::ZERO,
        reported: Seconds::ZERO,
        end: None,
        signs: Signs { stood: Seconds::new(stood), ..Signs::default() },
    }
}

fn q(band: Band) -> f64 {
    match band {
        Band::Graphic(_) => 4.318,
        Band::Exact { q, .. } => q,
        Band::Swept { .. } => 1.0,
    }
}

/// |H| of the cookbook's peaking filter in dB, 48 kHz.
fn peaking(centre: f64, gain: f64, q: f64, hz: f64) -> f64 {
    let amplitude = 10f64.powf(gain / 40.0);
    let w0 = std::f64::consts::TAU * centre / 48_000.0;
    let w = std::f64::consts::TAU * hz / 48_000.0;
    let alpha = w0.sin() / (2.0 * q);
    let power = |c0: f64, c1: f64, c2: f64| {
        let re = c0 + c1 * w.cos() + c2 * (2.0 * w).cos();
        let im = c1 * w.sin() + c2 * (2.0 * w).sin();
        re * re + im * im
    };
    let above = power(1.0 + alpha * amplitude, -2.0 * w0.cos(), 1.0 - alpha * amplitude);
    let below = power(1.0 + alpha / amplitude, -2.0 * w0.cos(), 1.0 - alpha / amplitude);
    10.0 * (above / below).log10()
}

impl engine::Hall for Hall {
    fn listen(&mut self) -> Option<(Seconds, &[Ring])> {
        self.go_on();
        if self.learning {
            self.learned.0 += FRAME;
            self.learned.1 += if self.fader > -12.0 { FRAME } else { 0.0 };
        }
        Some((Seconds::new(self.now), self.rings()))
    }

    fn rings(&self) -> &[Ring] {
        self.rings()
    }

    fn learn_room(&mut self, on: bool) {
        self.learning = on;
    }

    fn has_a_desk(&self) -> bool {
        !self.by_hand
    }

    fn set_output(&mut self, output: Output, to: Db) {
        if output == Output::Mains {
            self.fader = to.get();
        }
    }

    fn set_channel(&mut self, _: ChannelId, _: Db) {}

    fn set_open(&mut self, channel: ChannelId, open: bool) {
        self.open.retain(|known| *known != channel);
        if open {
            self.open.push(channel);
        }
    }

    fn set_low_cut(&mut self, channel: ChannelId, at: Hertz) {
        self.low_cuts.push((channel, at));
    }

    fn set_band(&mut self, place: Place, band: Band, depth: Db) {
        self.cuts.retain(|cut| (cut.place, cut.band) != (place, band));
        if depth < Db::ZERO {
            self.cuts.push(Cut { place, band, depth });
        }
    }
}

/// Half the gain stands half an octave's third away (Q 4.318 by the cookbook's own definition of bandwidth).
#[test]
fn the_toy_equaliser_is_the_cookbooks() {
    assert!((peaking(1000.0, -6.0, 4.318, 1000.0) + 6.0).abs() < 1e-9);
    for edge in [1000.0 * 2f64.powf(1.0 / 6.0), 1000.0 / 2f64.powf(1.0 / 6.0)] {
        assert!((peaking(1000.0, -6.0, 4.318, edge) + 3.0).abs() < 0.05, "{}", peaking(1000.0, -6.0, 4.318, edge));
    }
}
