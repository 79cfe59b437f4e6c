//! Where the bands of one equaliser do most: all that has rung is kept, and the few bands are spread over it anew.
//!
//! A tone that rang at some fader position, with cuts standing, would have rung lower by what they take from it: that is
//! its limit with the equaliser flat. For every spread of bands and depths the table tells the fader position at which
//! the first known tone would ring; the best is searched by adding, moving and taking away one band at a time, for a
//! soft minimum that hardens (a hard one sees no gain in the first of two cuts that are needed together). Tones that
//! were never heard are not in it: what it promises is at least what the hall can give, and each new ring corrects it.
//!
//! Responses are those of a peaking filter (R. Bristow-Johnson, Audio EQ Cookbook, its analogue prototype), which a desk
//! need not match exactly. Units: hertz, dB. Edge cases: no tones, shelves or one swept knob: nothing to spread. Nothing
//! is allocated after construction; of more tones than it can hold the most robust is forgotten.

use super::cuts::{Band, Cut, DEEP, Grab, TOGETHER, same_tone};
use super::equaliser::{Equaliser, NARROW_Q, octaves};
use super::setup::Place;
use crate::detectors::Ring;
use crate::units::{Db, Hertz};

/// A better spread: the band to turn next, and one that must make room before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Move {
    /// The tone that would ring first as things stand, as it was heard.
    pub ring: Ring,
    pub free: Option<Grab>,
    pub cut: Grab,
    /// How much further the fader would go with the whole spread, as far as is known.
    pub gains: Db,
}

const TONES: usize = 48;
/// The bands at hand and those that could be.
const SLOTS: usize = TONES + 24;
/// Depths of a band: up to three of the equaliser's, and the one it has.
const DEPTHS: usize = 4;
const BANDS: usize = 24;
/// Softness of the minimum, dB, step by step.
const SOFT: [f32; 4] = [2.0, 0.7, 0.5, 0.2];
const PASSES: usize = 16;
/// Of two spreads that go as far the shallower one: what a dB of depth must bring.
const COSTS: f32 = 0.015;

#[derive(Clone, Copy, Debug)]
struct Tone {
    ring: Ring,
    /// The fader position at which it rings with the equaliser flat, re the show mark.
    limit: Db,
}

#[derive(Clone, Copy, Debug)]
struct Slot {
    band: Band,
    /// Below 0; 0: not offered.
    depths: [Db; DEPTHS],
    /// Where it stands now.
    stands: Db,
}

/// A slot and which of its depths.
type Pick = (usize, usize);

#[derive(Clone, Debug)]
pub struct Spread {
    tones: Vec<Tone>,
    slots: Vec<Slot>,
    /// `[slot][depth][tone]`, dB, below 0.
    effects: Vec<f32>,
    picks: Vec<Pick>,
    best: Vec<Pick>,
    rest: Vec<f32>,
}

impl Default for Spread {
    fn default() -> Self {
        Self {
            tones: Vec::with_capacity(TONES),
            slots: Vec::with_capacity(SLOTS),
            effects: Vec::with_capacity(SLOTS * DEPTHS * TONES),
            picks: Vec::with_capacity(BANDS),
            best: Vec::with_capacity(BANDS),
            rest: Vec::with_capacity(TONES),
        }
    }
}

impl Spread {
    /// It rang with the fader there and these cuts.
    pub fn rang<'a>(&mut self, ring: &Ring, fader: Db, cuts: impl Iterator<Item = &'a Cut>) {
        let frequency = ring.frequency;
        let limit = fader + cuts.fold(Db::ZERO, |sum, cut| sum + response(cut.band, cut.depth, frequency));
        if let Some(tone) = self.tones.iter_mut().find(|tone| same_tone(tone.ring.frequency, frequency)) {
            tone.limit = tone.limit.min(limit);
            return;
        }
        if self.tones.len() == TONES {
            let robust = (0..TONES).max_by(|&a, &b| self.tones[a].limit.get().total_cmp(&self.tones[b].limit.get()));
            self.tones.swap_remove(robust.unwrap_or(0));
        }
        self.tones.push(Tone { ring: *ring, limit });
    }

    /// That tone was none of this loop's.
    pub fn forget(&mut self, frequency: Hertz) {
        self.tones.retain(|tone| !same_tone(tone.ring.frequency, frequency));
    }

    /// Other microphones, another low-cut: what rang from there down may ring elsewhere now.
    pub fn forget_below(&mut self, frequency: Hertz) {
        self.tones.retain(|tone| tone.ring.frequency > frequency);
    }

    /// Where the first known tone rings with these cuts; +∞ where none is known.
    pub fn limit(&self, cuts: &[Cut]) -> Db {
        self.first(cuts).map_or(Db::new(f64::INFINITY), |(_, limit)| limit)
    }

    fn first(&self, cuts: &[Cut]) -> Option<(Ring, Db)> {
        let limit = |tone: &Tone| {
            let response = |cut: &Cut| response(cut.band, cut.depth, tone.ring.frequency);
            let of_output = cuts.iter().filter(|cut| matches!(cut.place, Place::Output(_)));
            of_output.map(response).fold(tone.limit, |limit, response| limit - response)
        };
        let limits = self.tones.iter().map(|tone| (tone.ring, limit(tone)));
        limits.reduce(|first, other| if other.1 < first.1 { other } else { first })
    }

    /// The next turn on the way to the best spread of `most` bands. `may` tells which bands can be asked for.
    pub fn next(
        &mut self,
        (place, equaliser): (Place, Equaliser),
        cuts: &[Cut],
        most: usize,
        may: impl Fn(Band) -> bool,
    ) -> Option<Move> {
        let (ring, _) = self.first(cuts)?;
        let frequency = ring.frequency;
        self.lay_out(place, equaliser, cuts, &may)?;
        let before = self.search(most);
        let after = self.lowest(&self.best);
        let gains = Db::new(f64::from(before - after));
        let step = equaliser.depth()?.more;
        let aim = |slot: usize| self.best.iter().find(|pick| pick.0 == slot).map_or(Db::ZERO, |pick| self.depth(*pick));
        let grab = |slot: usize, depth: Db| {
            let Slot { band, stands, .. } = self.slots[slot];
            Grab { place, band, by: depth - stands, depth, instead_of: None }
        };
        let mut found: Option<(f64, Move)> = None;
        for slot in 0..self.slots.len() {
            let Slot { band, stands, .. } = self.slots[slot];
            if aim(slot) >= stands {
                continue;
            }
            let cut = grab(slot, aim(slot).max(stands + step));
            let others = || (0..self.slots.len()).filter(|&other| other != slot && self.slots[other].stands < Db::ZERO);
            let at = |other: usize| (self.slots[other].band, self.slots[other].stands);
            let mut clashing = others().filter(|&other| clash((band, cut.depth), at(other)));
            let full = stands == Db::ZERO && others().count() >= most;
            let free = match (clashing.next(), clashing.next()) {
                (Some(other), None) => Some(other),
                (None, _) if full => {
                    let idle = others().filter(|&other| aim(other) == Db::ZERO);
                    idle.reduce(|a, b| if at(b).1 > at(a).1 { b } else { a })
                }
                (None, _) => None,
                (Some(_), Some(_)) => continue,
            };
            let free = free.map(|other| grab(other, aim(other)));
            if full && free.is_none_or(|grab| grab.depth < Db::ZERO) {
                continue;
            }
            let does = response(band, cut.depth, frequency) - response(band, stands, frequency);
            if found.is_none_or(|(most, _)| does.get() < most) {
                found = Some((does.get(), Move { ring, free, cut, gains }));
            }
        }
        found.map(|(_, found)| found)
    }

    fn depth(&self, (slot, depth): Pick) -> Db {
        self.slots[slot].depths[depth]
    }

    fn effect(&self, (slot, depth): Pick) -> &[f32] {
        let from = (slot * DEPTHS + depth) * self.tones.len();
        &self.effects[from..from + self.tones.len()]
    }

    /// Bands and what they do; `picks` is how they stand.
    fn lay_out(&mut self, place: Place, equaliser: Equaliser, cuts: &[Cut], may: &impl Fn(Band) -> bool) -> Option<()> {
        let depth = equaliser.depth()?;
        if self.tones.is_empty() || equaliser == Equaliser::Sweep {
            return None;
        }
        let (first, second) = (depth.more.max(depth.most), (depth.more + depth.more).max(depth.most));
        let third = if second > depth.most { depth.most } else { Db::ZERO };
        self.slots.clear();
        for cut in cuts.iter().filter(|cut| cut.place == place) {
            let keep = |level: Db| if may(cut.band) { level } else { Db::ZERO };
            let depths = [keep(first), keep(second), keep(third), cut.depth];
            self.slots.push(Slot { band: cut.band, depths, stands: cut.depth });
        }
        for tone in &self.tones {
            for band in candidates(equaliser, tone.ring.frequency).into_iter().flatten() {
                let known = self.slots.iter().any(|slot| same_tone(slot.band.centre(), band.centre()));
                if !known && may(band) && self.slots.len() < SLOTS {
                    self.slots.push(Slot { band, depths: [first, second, third, Db::ZERO], stands: Db::ZERO });
                }
            }
        }
        self.effects.clear();
        for slot in &self.slots {
            for depth in slot.depths {
                let effect = |tone: &Tone| response(slot.band, depth, tone.ring.frequency).get() as f32;
                self.effects.extend(self.tones.iter().map(effect));
            }
        }
        Some(())
    }

    /// Puts the best spread that is found into `best`; how far the fader goes as it is, less its sign.
    fn search(&mut self, most: usize) -> f32 {
        let present = |slots: &[Slot], picks: &mut Vec<Pick>| {
            picks.clear();
            picks.extend((0..slots.len()).filter(|&slot| slots[slot].stands < Db::ZERO).map(|slot| (slot, 3)));
        };
        present(&self.slots, &mut self.picks);
        let before = self.lowest(&self.picks);
        self.best.clear();
        self.best.extend_from_slice(&self.picks);
        let mut best = if self.picks.len() <= most { self.score(&self.picks, 0.0) } else { f32::INFINITY };
        for (from_flat, skip) in [(true, 0), (true, 1), (false, 0), (false, 1)] {
            if from_flat {
                self.picks.clear()
            } else {
                present(&self.slots, &mut self.picks)
            }
            for &soft in &SOFT[skip..] {
                for _ in 0..PASSES {
                    if !self.improve(most, soft) {
                        break;
                    }
                }
            }
            let score = self.score(&self.picks, 0.0);
            if score < best - 1e-3 && self.picks.len() <= most && !self.clashes() {
                best = score;
                self.best.clear();
                self.best.extend_from_slice(&self.picks);
            }
        }
        before
    }

    fn clashes(&self) -> bool {
        let at = |pick: &Pick| (self.slots[pick.0].band, self.depth(*pick));
        self.picks.iter().enumerate().any(|(n, a)| self.picks[..n].iter().any(|b| clash(at(a), at(b))))
    }

    /// The best single band taken away, added or put in another's place; whether that helped.
    fn improve(&mut self, most: usize, soft: f32) -> bool {
        let mut best = (self.score(&self.picks, soft) - 1e-3, None);
        for out in (0..self.picks.len()).map(Some).chain([None]) {
            let others = |n: usize| Some(n) != out;
            let mut rest = std::mem::take(&mut self.rest);
            rest.clear();
            rest.extend(self.tones.iter().map(|tone| -tone.limit.get() as f32));
            let mut depth = 0.0;
            for (_, &pick) in self.picks.iter().enumerate().filter(|(n, _)| others(*n)) {
                rest.iter_mut().zip(self.effect(pick)).for_each(|(sum, effect)| *sum += effect);
                depth -= self.depth(pick).get() as f32;
            }
            if out.is_some() {
                let score = soft_maximum(rest.iter().copied(), soft) + COSTS * depth;
                if score < best.0 {
                    best = (score, Some((out, None)));
                }
            }
            if self.picks.len() - usize::from(out.is_some()) < most.min(BANDS) {
                for pick in (0..self.slots.len()).flat_map(|slot| (0..DEPTHS).map(move |depth| (slot, depth))) {
                    let own = self.depth(pick);
                    let taken = |(n, other): (usize, &Pick)| {
                        others(n)
                            && (other.0 == pick.0
                                || clash(
                                    (self.slots[pick.0].band, own),
                                    (self.slots[other.0].band, self.depth(*other)),
                                ))
                    };
                    if own == Db::ZERO || self.picks.iter().enumerate().any(taken) {
                        continue;
                    }
                    let sums = rest.iter().zip(self.effect(pick)).map(|(rest, effect)| rest + effect);
                    let score = soft_maximum(sums, soft) + COSTS * (depth - own.get() as f32);
                    if score < best.0 {
                        best = (score, Some((out, Some(pick))));
                    }
                }
            }
            self.rest = rest;
        }
        let Some((out, put)) = best.1 else { return false };
        if let Some(out) = out {
            self.picks.remove(out);
        }
        self.picks.extend(put);
        true
    }

    fn score(&self, picks: &[Pick], soft: f32) -> f32 {
        let depth: f64 = picks.iter().map(|pick| self.depth(*pick).get()).sum();
        soft_maximum(self.sums(picks), soft) - COSTS * depth as f32
    }

    /// The fader position at which the first known tone rings, less its sign.
    fn lowest(&self, picks: &[Pick]) -> f32 {
        soft_maximum(self.sums(picks), 0.0)
    }

    fn sums<'a>(&'a self, picks: &'a [Pick]) -> impl Iterator<Item = f32> + Clone + 'a {
        self.tones.iter().enumerate().map(move |(at, tone)| {
            picks.iter().map(|pick| self.effect(*pick)[at]).sum::<f32>() - tone.limit.get() as f32
        })
    }
}

/// Bands that could be cut for a tone: its own and, where bands are narrow, the two beside it; or one exactly there.
fn candidates(equaliser: Equaliser, frequency: Hertz) -> [Option<Band>; 3] {
    if equaliser == Equaliser::Parametric {
        return [Some(Band::Exact { frequency, q: NARROW_Q }), None, None];
    }
    let own = equaliser.nearest(frequency);
    let [below, above] = own.filter(|_| !equaliser.is_blunt()).map_or([None, None], |band| equaliser.beside(band));
    [own, below, above].map(|band| band.map(Band::Graphic))
}

/// Two deep neighbours are a hole; two narrow bands close together are one wide one.
fn clash((a, at): (Band, Db), (b, to): (Band, Db)) -> bool {
    let exact = matches!((a, b), (Band::Exact { .. }, Band::Exact { .. }));
    (at <= DEEP && to <= DEEP && a.is_next_to(b)) || (exact && octaves(a.centre(), b.centre()) < TOGETHER)
}

/// What a band does to a tone, dB.
fn response(band: Band, depth: Db, frequency: Hertz) -> Db {
    let q = match band {
        Band::Graphic(band) => band.q(),
        Band::Exact { q, .. } => q,
        Band::Swept { .. } => return Db::ZERO,
    };
    let amplitude = 10f64.powf(depth.get() / 40.0);
    let ratio = frequency.get() / band.centre().get();
    let apart = (1.0 - ratio * ratio).powi(2);
    let (above, below) = ((amplitude * ratio / q).powi(2), (ratio / (amplitude * q)).powi(2));
    Db::new(10.0 * ((apart + above) / (apart + below)).log10())
}

/// soft × ln Σ exp(term / soft); the maximum itself for 0.
fn soft_maximum(terms: impl Iterator<Item = f32> + Clone, soft: f32) -> f32 {
    let top = terms.clone().fold(f32::NEG_INFINITY, f32::max);
    if soft == 0.0 || !top.is_finite() {
        return top;
    }
    // What lies further below adds nothing that counts.
    let near = terms.map(|term| (term - top) / soft).filter(|term| *term > -8.0);
    top + soft * near.map(f32::exp).sum::<f32>().ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::ringout::rings::tests::heard;
    use crate::coach::ringout::setup::Output;

    const MAINS: Place = Place::Output(Output::Mains);
    const THIRDS: Equaliser = Equaliser::ThirdOctave;

    fn table(tones: &[(f64, f64)]) -> Spread {
        let mut spread = Spread::default();
        tones.iter().for_each(|&(hz, limit)| spread.rang(&heard(hz), Db::new(limit), [].iter()));
        spread
    }

    fn graphic(hz: f64) -> Band {
        Band::Graphic(THIRDS.nearest(Hertz::new(hz)).unwrap())
    }

    fn cut(hz: f64, depth: f64) -> Cut {
        Cut { place: MAINS, band: graphic(hz), depth: Db::new(depth) }
    }

    /// Carries out what is asked for as long as it gains a tenth of a decibel.
    fn follow(spread: &mut Spread, cuts: &mut Vec<Cut>, most: usize) {
        for _ in 0..40 {
            let next = spread.next((MAINS, THIRDS), cuts, most, |_| true);
            let Some(next) = next.filter(|next| next.gains.get() >= 0.1) else { return };
            for grab in next.free.iter().chain([&next.cut]) {
                cuts.retain(|cut| cut.band != grab.band);
                if grab.depth < Db::ZERO {
                    cuts.push(Cut { place: MAINS, band: grab.band, depth: grab.depth });
                }
            }
            assert!(cuts.len() <= most, "{cuts:?}");
        }
        panic!("no end: {cuts:?}");
    }

    /// By definition: all of the gain in the middle, half of it in dB at the edges of the band.
    #[test]
    fn a_band_does_half_at_its_edges() {
        let (band, depth) = (graphic(1000.0), Db::new(-6.0));
        assert!((response(band, depth, Hertz::new(1000.0)).get() + 6.0).abs() < 1e-9);
        for edge in [2f64.powf(1.0 / 6.0), 2f64.powf(-1.0 / 6.0)] {
            assert!((response(band, depth, Hertz::new(1000.0 * edge)).get() + 3.0).abs() < 0.02);
        }
    }

    #[test]
    fn the_idle_band_makes_room_for_the_one_that_is_needed() {
        let mut spread = table(&[(250.0, 0.0), (1000.0, 0.5), (4000.0, 12.0)]);
        let cuts = [cut(250.0, -6.0), cut(4000.0, -3.0)];
        let next = spread.next((MAINS, THIRDS), &cuts, 2, |_| true).unwrap();
        let (free, grab) = (next.free.unwrap(), next.cut);
        assert_eq!((free.band, free.by.get(), free.depth.get()), (graphic(4000.0), 3.0, 0.0));
        assert_eq!((grab.band, grab.by.get(), grab.depth.get()), (graphic(1000.0), -3.0, -3.0));
        assert_eq!(next.ring.frequency, Hertz::new(1000.0));
        assert!(next.gains.get() > 3.0, "{next:?}");
    }

    #[test]
    fn what_may_not_be_cut_is_left_alone() {
        let mut spread = table(&[(250.0, 0.0), (1000.0, 0.5)]);
        let asked = spread.next((MAINS, THIRDS), &[cut(250.0, -3.0)], 2, |band| band.centre().get() < 300.0);
        assert!(asked.is_none_or(|next| next.cut.band.centre().get() < 300.0), "{asked:?}");
        assert_eq!(spread.next((MAINS, Equaliser::Shelves), &[], 6, |_| true), None);
        assert_eq!(Spread::default().next((MAINS, THIRDS), &[], 6, |_| true), None);
        spread.forget_below(Hertz::new(500.0));
        assert!((spread.limit(&[]).get() - 0.5).abs() < 1e-9);
        spread.forget(Hertz::new(1001.0));
        assert_eq!(spread.limit(&[]).get(), f64::INFINITY);
    }

    #[test]
    fn cuts_that_stood_are_counted() {
        let mut spread = Spread::default();
        spread.rang(&heard(1000.0), Db::new(8.0), [cut(1000.0, -6.0)].iter());
        assert!((spread.limit(&[]).get() - 2.0).abs() < 1e-9);
        assert!((spread.limit(&[cut(1000.0, -9.0)]).get() - 11.0).abs() < 1e-9);
    }

    /// Against all spreads of two bands, tried one by one (a dB must be worth its depth, which costs 0.3 dB at most);
    /// two deep neighbours never come about.
    #[test]
    fn near_the_best_of_all_spreads() {
        let mut number = 1u64;
        let mut random = move |from: f64, to: f64| {
            number = number.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            from + (to - from) * (number >> 40) as f64 / (1u64 << 24) as f64
        };
        for _ in 0..60 {
            let tones: Vec<(f64, f64)> =
                (0..6).map(|_| (250.0 * 2f64.powf(random(0.0, 4.0)), random(0.0, 6.0))).collect();
            let mut spread = table(&tones);
            let mut cuts = Vec::new();
            follow(&mut spread, &mut cuts, 2);
            assert!(cuts.iter().all(|a| !cuts.iter().any(|b| a != b && clash((a.band, a.depth), (b.band, b.depth)))));
            let bands: Vec<Band> = (-8..=8).map(|n| graphic(1000.0 * 10f64.powf(f64::from(n) / 10.0))).collect();
            let all = bands.iter().flat_map(|band| [-3.0, -6.0, -9.0].map(|depth| (*band, Db::new(depth))));
            let best = all.clone().flat_map(|a| all.clone().map(move |b| (a, b))).filter(|(a, b)| !clash(*a, *b));
            let limit = |(a, b): ((Band, Db), (Band, Db))| {
                let of = |(band, depth): (Band, Db)| Cut { place: MAINS, band, depth };
                let both = [of(a), of(b)];
                spread.limit(if a.0 == b.0 { &both[..1] } else { &both }).get()
            };
            let best = best.map(limit).fold(spread.limit(&[]).get(), f64::max);
            let reached = spread.limit(&cuts).get();
            assert!(reached > best - 0.6, "{reached} of {best}: {tones:?} {cuts:?}");
        }
    }
}
