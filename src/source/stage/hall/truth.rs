//! The truth about the feedback loop, computed from its responses and the desk's settings.
//!
//! M(f) holds the gains once round, from each output's mix through equaliser, fader, loudspeaker, room, open
//! microphones, trims and channels to each output's mix; with one output it is a number, L(f). Its
//! eigenvalues are what all faders together meet; L of one output, with the others closed as they are, is
//! 1 − det(I − M) / det(I − M without that output), as det(I − M) is linear in its gain. It rings where such a
//! value is at least 1 with a phase of 0 (H. Nyquist, 1932; in this field T. van Waterschoot and M. Moonen,
//! Proc. IEEE 99(2), 2011, eq. 11–12). A ring is a root s of det(I − M(s)) = 0: its imaginary part is its
//! frequency, its real part its growth (8.686 dB per neper). For a pure delay that is gain ÷ delay.
//! Settings count as if every knob had glided to its place; bending loudspeakers and clipping converters
//! are left out: this is about what happens before. Outputs whose fader is off have no loop: +∞ dB of margin.

use std::f64::consts::{LN_10, TAU};
use std::sync::Arc;

use rustfft::num_complex::Complex;

use super::matrix::{MAX_OUTPUTS, Matrix};
use super::paths::Paths;
use crate::dsp::biquad::EqBand;
use crate::dsp::equaliser::Curve;
use crate::units::{ChannelId, Db, Hertz, SampleRate};

type C = Complex<f64>;

/// How a microphone's channel is set: its equaliser and its gains.
#[derive(Clone)]
pub struct ChannelSetting {
    pub channel: ChannelId,
    pub curve: Curve,
    /// Trim × mute × what the output takes, as a factor for each output.
    pub gains: Vec<f64>,
}

#[derive(Clone)]
pub struct OutputSetting {
    pub bands: Vec<EqBand>,
    pub fader: Db,
}

/// The loop at the desk's settings of one moment.
#[derive(Clone)]
pub struct Truth {
    paths: Arc<Paths>,
    channels: Vec<ChannelSetting>,
    outputs: Vec<OutputSetting>,
    curves: Vec<Curve>,
}

/// A frequency at which the loop is in phase, and its gain there: over 0 dB it rings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InPhase {
    pub frequency: Hertz,
    pub gain: Db,
}

/// A ring as it truly is. One that would die away faster than the room itself has no meaning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueRing {
    /// The output that has most to do with it.
    pub output: usize,
    /// The microphone that has most to do with it, and its share, 0 to 1.
    pub channel: ChannelId,
    pub share: f64,
    pub frequency: Hertz,
    /// Of the loop where it is in phase next to it. It crosses 0 dB when the open outputs' faders, together,
    /// go up by the negative of this.
    pub gain: Db,
    /// dB per second; negative: it dies away.
    pub growth: f64,
}

/// Which faders are thought to move.
#[derive(Clone, Copy, PartialEq)]
enum Moved {
    One(usize),
    All,
}

/// A place on a branch of the values.
#[derive(Clone, Copy)]
struct Spot {
    hz: f64,
    gain: f64,
    /// Of all branches, to find this one again nearby.
    values: [C; MAX_OUTPUTS],
    branch: usize,
}

/// The lowest frequency looked at, Hz.
const LOWEST: f64 = 20.0;
/// A ring that is weaker than the strongest by more is nobody's concern, as a factor (15 dB).
const DEPTH: f64 = 0.178;

impl Truth {
    pub fn new(paths: Arc<Paths>, channels: Vec<ChannelSetting>, outputs: Vec<OutputSetting>) -> Self {
        let curves = outputs.iter().map(|output| Curve::new(output.bands.iter().copied(), paths.rate)).collect();
        Self { paths, channels, outputs, curves }
    }

    /// The same with another band at an output: what a cut would do. A band of the same shape and
    /// frequency is replaced.
    pub fn with_band(&self, output: usize, band: EqBand) -> Self {
        let mut changed = self.clone();
        if let Some(setting) = changed.outputs.get_mut(output) {
            setting.bands.retain(|old| old.shape != band.shape || old.frequency != band.frequency);
            setting.bands.push(band);
            changed.curves[output] = Curve::new(setting.bands.iter().copied(), self.paths.rate);
        }
        changed
    }

    /// The same with an output's fader elsewhere.
    pub fn with_fader(&self, output: usize, fader: Db) -> Self {
        let mut changed = self.clone();
        if let Some(setting) = changed.outputs.get_mut(output) {
            setting.fader = fader;
        }
        changed
    }

    /// L(f) of an output, the others closed as they are.
    pub fn open_loop(&self, output: usize, frequency: Hertz) -> C {
        self.values(Moved::One(output), C::new(0.0, TAU * frequency.get()), &[C::default(); MAX_OUTPUTS])[0]
    }

    /// How far the open outputs' faders may go up together until something rings; negative when it does.
    pub fn margin(&self) -> Db {
        self.highest(Moved::All)
    }

    /// How far this output's fader may go up, the others where they are (and quiet without it).
    pub fn margin_of(&self, output: usize) -> Db {
        self.highest(Moved::One(output))
    }

    /// The same by the highest |L| of any phase: never above the truth.
    pub fn safe_margin(&self, output: usize) -> Db {
        let highest = self.scan(output).map(|(_, gain)| gain.norm_sqr()).fold(0.0, f64::max);
        -Db::from_ratio(highest.sqrt())
    }

    /// Where the loop through an output is in phase, the strongest first.
    pub fn in_phase(&self, output: usize) -> Vec<InPhase> {
        let spots = self.spots(Moved::One(output)).into_iter();
        spots.map(|spot| InPhase { frequency: Hertz::new(spot.hz), gain: Db::from_ratio(spot.gain) }).collect()
    }

    /// The rings, the strongest first: those that grow and those that would with more gain.
    pub fn rings(&self, most: usize) -> Vec<TrueRing> {
        let spots = self.spots(Moved::All);
        let Some(top) = spots.first().copied() else { return Vec::new() };
        let mut rings: Vec<TrueRing> = Vec::new();
        for spot in spots.iter().take_while(|spot| spot.gain > DEPTH * top.gain) {
            if rings.len() == most {
                break;
            }
            let Some(root) = self.settle(Moved::All, spot).and_then(|spot| Some((spot, self.root(&spot)?))) else {
                continue;
            };
            let (spot, root) = root;
            let (hz, growth) = (root.im / TAU, 20.0 / LN_10 * root.re);
            let known =
                |ring: &TrueRing| (ring.frequency.get() - hz).abs() < 0.02 && (ring.growth - growth).abs() < 0.5;
            if !rings.iter().any(known) {
                let gain = Db::from_ratio(spot.gain);
                let (channel, share) = self.microphone(&spot);
                let output = self.origin(&spot);
                rings.push(TrueRing { output, channel, share, frequency: Hertz::new(hz), gain, growth });
            }
        }
        rings.sort_by(|a, b| b.gain.get().total_cmp(&a.gain.get()));
        rings
    }

    pub(super) fn rate(&self) -> SampleRate {
        self.paths.rate
    }

    /// L of an output over the whole grid, upwards: Hz and L.
    pub(super) fn scan(&self, output: usize) -> impl Iterator<Item = (f64, C)> {
        let mut values = [C::default(); MAX_OUTPUTS];
        self.bins().map(move |bin| {
            let (hz, matrix) = self.matrix_of_bin(Moved::One(output), bin);
            evaluate(Moved::One(output), &matrix, &mut values);
            (hz, values[0])
        })
    }

    fn highest(&self, moved: Moved) -> Db {
        let spots = self.spots(moved);
        // The grid is fine, not endless: the nearest few are looked at exactly.
        let exact = spots.iter().take(4).filter_map(|spot| self.settle(moved, spot));
        exact.map(|spot| -Db::from_ratio(spot.gain)).fold(Db::new(f64::INFINITY), Db::min)
    }

    /// Where a branch crosses the positive real axis, the strongest first.
    fn spots(&self, moved: Moved) -> Vec<Spot> {
        let mut found = Vec::new();
        let count = self.active(moved).1;
        let mut values = [C::default(); MAX_OUTPUTS];
        let mut before = (0.0, values);
        for bin in self.bins() {
            let (hz, matrix) = self.matrix_of_bin(moved, bin);
            evaluate(moved, &matrix, &mut values);
            for branch in 0..if moved == Moved::All { count } else { 1 } {
                let (a, b): (C, C) = (before.1[branch], values[branch]);
                if a.im * b.im <= 0.0 && a.re > 0.0 && b.re > 0.0 && a.im != b.im {
                    let part = a.im / (a.im - b.im);
                    let hz = before.0 + part * (hz - before.0);
                    found.push(Spot { hz, gain: a.re + part * (b.re - a.re), values, branch });
                }
            }
            before = (hz, values);
        }
        found.sort_by(|a, b| b.gain.total_cmp(&a.gain));
        found
    }

    /// The root next to an in-phase place: Newton's method on the logarithm of the branch, which is a
    /// straight line for a pure delay.
    fn root(&self, spot: &Spot) -> Option<C> {
        let start = TAU * spot.hz;
        let mut s = C::new(0.0, start);
        let mut near = spot.values;
        for _ in 0..40 {
            near = self.values(Moved::All, s, &near);
            let step = near[spot.branch].ln() / self.slope(Moved::All, s, &near, spot.branch);
            // At most 5 Hz at once.
            s -= step * (TAU * 5.0 / step.norm()).min(1.0);
            if !s.is_finite() {
                return None;
            }
            if step.norm() < 1e-6 {
                return ((s.im - start).abs() < 0.05 * start).then_some(s);
            }
        }
        None
    }

    /// Exactly in phase: Newton's method along the imaginary axis.
    fn settle(&self, moved: Moved, spot: &Spot) -> Option<Spot> {
        let mut s = C::new(0.0, TAU * spot.hz);
        let mut near = spot.values;
        for _ in 0..20 {
            near = self.values(moved, s, &near);
            let turn = (self.slope(moved, s, &near, spot.branch) * C::i()).im;
            let step = near[spot.branch].arg() / turn;
            if !step.is_finite() {
                return None;
            }
            s.im -= step.clamp(-TAU, TAU);
            if step.abs() < 1e-7 {
                break;
            }
        }
        let values = self.values(moved, s, &near);
        Some(Spot { hz: s.im / TAU, gain: values[spot.branch].norm(), values, branch: spot.branch })
    }

    /// d ln value / ds, by a difference over 2 mHz.
    fn slope(&self, moved: Moved, s: C, values: &[C; MAX_OUTPUTS], branch: usize) -> C {
        let small = TAU * 1e-3;
        let (after, before) = (self.values(moved, s + small, values), self.values(moved, s - small, values));
        (after[branch] - before[branch]) / (2.0 * small * values[branch])
    }

    /// The output whose fader moves this value most.
    fn origin(&self, spot: &Spot) -> usize {
        let (active, count) = self.active(Moved::All);
        let matrix = self.matrix_at(Moved::All, C::new(0.0, TAU * spot.hz));
        let moves = |row: usize| {
            let mut louder = matrix;
            louder.cells[row].iter_mut().for_each(|cell| *cell *= 1.01);
            let mut values = spot.values;
            evaluate(Moved::All, &louder, &mut values);
            (values[spot.branch] - spot.values[spot.branch]).norm()
        };
        let most = (0..count).max_by(|&a, &b| moves(a).total_cmp(&moves(b)));
        active[most.unwrap_or(0)]
    }

    /// The microphone whose gain moves this value most, and its share of what all do.
    fn microphone(&self, spot: &Spot) -> (ChannelId, f64) {
        let s = C::new(0.0, TAU * spot.hz);
        let moves = |at: usize| {
            let mut louder = self.clone();
            louder.channels[at].gains.iter_mut().for_each(|gain| *gain *= 1.01);
            (louder.values(Moved::All, s, &spot.values)[spot.branch] - spot.values[spot.branch]).norm()
        };
        let (mut most, mut all) = ((0, 0.0), 0.0);
        for at in 0..self.channels.len() {
            let moved = moves(at);
            all += moved;
            if moved > most.1 {
                most = (at, moved);
            }
        }
        let channel = self.channels.get(most.0).map_or(ChannelId::new(0), |setting| setting.channel);
        (channel, if all > 0.0 { most.1 / all } else { 0.0 })
    }

    /// All branches at s (1/s); `near` are values from nearby.
    fn values(&self, moved: Moved, s: C, near: &[C; MAX_OUTPUTS]) -> [C; MAX_OUTPUTS] {
        let mut values = *near;
        evaluate(moved, &self.matrix_at(moved, s), &mut values);
        values
    }

    fn matrix_at(&self, moved: Moved, s: C) -> Matrix {
        let rate = f64::from(self.paths.rate.get());
        let (late, lead) = ((-s / rate).exp(), (-s * (self.paths.lead as f64 / rate)).exp());
        self.matrix(moved, late, |output, microphone| lead * self.paths.at(output, microphone, late))
    }

    fn bins(&self) -> std::ops::Range<usize> {
        let width = self.paths.bin_width();
        (LOWEST / width) as usize + 1..(0.49 * f64::from(self.paths.rate.get()) / width) as usize
    }

    fn matrix_of_bin(&self, moved: Moved, bin: usize) -> (f64, Matrix) {
        let hz = bin as f64 * self.paths.bin_width();
        let turn = -TAU * hz / f64::from(self.paths.rate.get());
        let (late, lead) = (C::cis(turn), C::cis(turn * self.paths.lead as f64));
        (hz, self.matrix(moved, late, |output, microphone| lead * self.paths.bin(output, microphone, bin)))
    }

    /// The outputs whose faders are up; one that is asked for comes first.
    fn active(&self, moved: Moved) -> ([usize; MAX_OUTPUTS], usize) {
        let mut active = [0; MAX_OUTPUTS];
        let mut count = 0;
        let first = if let Moved::One(output) = moved { Some(output) } else { None };
        let up = |&output: &usize| Some(output) != first && self.outputs[output].fader.ratio() > 0.0;
        let asked = first.filter(|&output| output < self.outputs.len());
        for output in asked.into_iter().chain((0..self.outputs.len()).filter(up)).take(MAX_OUTPUTS) {
            active[count] = output;
            count += 1;
        }
        (active, count)
    }

    fn matrix(&self, moved: Moved, late: C, path: impl Fn(usize, usize) -> C) -> Matrix {
        let (active, count) = self.active(moved);
        let active = &active[..count];
        let mut matrix = Matrix::new(count);
        for (microphone, channel) in self.channels.iter().enumerate() {
            if channel.gains.iter().all(|&gain| gain == 0.0) {
                continue;
            }
            let tone = channel.curve.response(late);
            for (column, &from) in active.iter().enumerate() {
                let heard = tone * path(from, microphone);
                for (row, &to) in active.iter().enumerate() {
                    matrix.cells[row][column] += heard * channel.gains[to];
                }
            }
        }
        for (row, &to) in active.iter().enumerate() {
            let gain = self.curves[to].response(late) * self.outputs[to].fader.ratio();
            matrix.cells[row].iter_mut().for_each(|cell| *cell *= gain);
        }
        matrix
    }
}

/// The values of all branches; `values` are those of a neighbour.
fn evaluate(moved: Moved, matrix: &Matrix, values: &mut [C; MAX_OUTPUTS]) {
    match moved {
        Moved::One(_) if matrix.size > 1 => values[0] = 1.0 - matrix.return_difference(0) / matrix.return_difference(1),
        Moved::All if matrix.size > 1 => matrix.eigenvalues(values),
        _ => values[0] = matrix.cells[0][0],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// One output and one microphone.
    fn single(response: Vec<f32>, lead: usize, fader: f64) -> Truth {
        of(vec![vec![response]], lead, &[fader])
    }

    /// Microphones of gain 1 into every output.
    fn of(responses: Vec<Vec<Vec<f32>>>, lead: usize, faders: &[f64]) -> Truth {
        let microphones = responses[0].len();
        let channel = |at| ChannelSetting {
            channel: ChannelId::from_index(at),
            curve: Curve::default(),
            gains: vec![1.0; faders.len()],
        };
        let channels = (0..microphones).map(channel).collect();
        let outputs = faders.iter().map(|&fader| OutputSetting { bands: Vec::new(), fader: Db::new(fader) }).collect();
        Truth::new(Arc::new(Paths::new(responses, lead, rate())), channels, outputs)
    }

    /// A pure delay: +0.5 dB in 10 ms is 50 dB/s, in 100 ms 5 dB/s (a published worked example); in-phase
    /// frequencies lie 1/delay apart: 100 and 10 Hz.
    #[test]
    fn pure_delay() {
        for (milliseconds, gain, growth) in
            [(10, 0.5, 50.0), (100, 0.5, 5.0), (20, 3.0, 150.0), (5, 6.0, 1200.0), (10, -1.0, -100.0)]
        {
            let truth = single(vec![1.0], 48 * milliseconds, gain);
            assert!((truth.margin() + Db::new(gain)).abs().get() < 1e-6, "{:?}", truth.margin());
            assert!((truth.safe_margin(0) + Db::new(gain)).abs().get() < 1e-6);
            let rings = truth.rings(20);
            assert_eq!(rings.len(), 20);
            for ring in rings {
                assert!((ring.growth - growth).abs() < 1e-3 * growth.abs(), "{ring:?}");
                let spacing = 1000.0 / milliseconds as f64;
                let off = ring.frequency.get() / spacing;
                assert!((off - off.round()).abs() < 1e-6, "{ring:?}");
            }
        }
    }

    /// In opposite phase a gain over 1 does not ring (Nyquist): with a sign turned round, the in-phase
    /// frequencies lie half way between, and only there.
    #[test]
    fn phase_decides() {
        let truth = single(vec![-1.0], 480, 3.0);
        for place in truth.in_phase(0).iter().take(50) {
            let off = place.frequency.get() / 100.0 - 0.5;
            assert!((off - off.round()).abs() < 1e-3, "{place:?}");
        }
    }

    /// A first-order recursion in the loop has its poles in closed form: h = gⁿ from n = D on gives
    /// z^D − g z^(D−1) = k; the truncated response has the same root.
    #[test]
    fn a_decaying_response() {
        let decay: Vec<f32> = (0..4000).map(|n| 0.98f64.powi(n) as f32).collect();
        // Faster than the response itself (8421 dB/s) nothing dies away.
        let truth = single(decay, 40, -11.0);
        let k = Db::new(-11.0).ratio();
        let rings = truth.rings(3);
        assert!(rings[0].growth > 0.0 && rings[2].growth < 0.0, "{rings:?}");
        for ring in rings.iter().filter(|ring| ring.growth > -5000.0) {
            let rate = f64::from(rate().get());
            let s = C::new(ring.growth * LN_10 / 20.0, TAU * ring.frequency.get());
            let z = (s / rate).exp();
            let residue = z.powi(40) - 0.98 * z.powi(39) - k;
            assert!(residue.norm() < 1e-6, "{ring:?}: {residue}");
        }
    }

    /// Two outputs into two microphones: where one fader's limit is, the other's is too, and that of both
    /// together; there det(I − M) has a root that neither grows nor dies.
    #[test]
    fn several_outputs() {
        let response = |seed: usize| -> Vec<f32> {
            let noise = |n: usize| ((n * 7919 + seed * 104_729) % 211) as f32 / 211.0 - 0.5;
            (0..600).map(|n| noise(n) * 0.98f32.powi(n as i32)).collect()
        };
        let responses = vec![vec![response(1), response(2)], vec![response(3), response(4)]];
        let truth = of(responses, 100, &[-40.0, -40.0]);
        for output in 0..2 {
            let half = truth.margin_of(output) + Db::new(-40.0);
            // The other somewhat under its own limit.
            let other = truth.margin_of(1 - output) + Db::new(-42.0);
            let truth = truth.with_fader(output, half).with_fader(1 - output, other);
            let limit = truth.with_fader(output, half + truth.margin_of(output));
            assert!(limit.margin_of(output).abs().get() < 1e-6);
            assert!(limit.margin().abs().get() < 1e-6, "{:?}", limit.margin());
            let ring = limit.rings(1)[0];
            assert!(ring.growth.abs() < 1e-3 && ring.gain.abs().get() < 1e-6, "{ring:?}");
            let louder = limit.with_fader(output, half + truth.margin_of(output) + Db::new(0.5));
            assert!(louder.rings(1)[0].growth > 0.0 && louder.margin().get() < 0.0);
        }
        // A ring belongs to the output that is near its limit, not to one that is far from it.
        for output in 0..2 {
            let limit = truth.with_fader(output, truth.margin_of(output) + Db::new(-40.0));
            assert_eq!(limit.rings(1)[0].output, output);
        }
        let off = Db::new(f64::NEG_INFINITY);
        assert_eq!(truth.with_fader(0, off).margin_of(0).get(), f64::INFINITY);
        assert_eq!(truth.with_fader(0, off).with_fader(1, off).margin().get(), f64::INFINITY);
    }
}
