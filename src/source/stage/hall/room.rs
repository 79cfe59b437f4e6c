//! How a loudspeaker sounds at a microphone in a rectangular room.
//!
//! In: metres, directions, the reverberation time in seconds. Out: the impulse response, where a loudspeaker
//! of level 1 on its axis gives 1 at 1 m. Up to about 80 ms single reflections by image sources (J. B. Allen and
//! D. A. Berkley, JASA 65(4), 1979), drawn slightly out of place and dying away with the room; after that
//! noise of the energy that such reflections have on average, 4πc/V per second (H. Kuttruff, *Room
//! Acoustics*, ch. 4), in four bands that die away at their own pace. The microphone is a cardioid; the
//! loudspeaker sends evenly below 1 kHz and forwards above.
//! Distances below 0.3 m count as that; a response ends 60 dB down.

use std::f64::consts::{PI, TAU};

use super::super::dice::Dice;

/// At about 20 °C.
pub const SOUND_METRES_PER_SECOND: f64 = 343.0;

/// A rectangular room: width, length and height in metres, and the time in which sound dies away by 60 dB.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoxRoom {
    pub size: [f64; 3],
    pub t60: f64,
}

/// A loudspeaker or a microphone: where it stands and which way it looks (a unit vector).
#[derive(Clone, Copy, Debug)]
pub struct Placed {
    pub place: [f64; 3],
    pub aim: [f64; 3],
}

/// Between these times, seconds, single reflections give way to noise.
const EARLY: (f64, f64) = (0.06, 0.08);
/// Images beyond the first are off their place by up to this, metres: no room is quite rectangular.
const UNEVEN: f64 = 0.08;
/// Bands of the late sound: upper edge in Hz, share of the reverberation time.
const BANDS: [(f64, f64); 4] = [(300.0, 1.15), (1500.0, 1.0), (5000.0, 0.85), (f64::INFINITY, 0.6)];
/// Over this a loudspeaker sends forwards, Hz.
const FORWARD: f64 = 1000.0;
/// Mean square of a cardioid over all directions, and of the forward loudspeaker.
const CARDIOID_SQUARE: f64 = 1.0 / 3.0;
const FORWARD_SQUARE: f64 = 0.25;
/// Samples to each side over which a reflection between two samples is spread.
const SPREAD: i64 = 16;

impl BoxRoom {
    pub fn volume(&self) -> f64 {
        self.size.iter().product()
    }

    /// The nearest room that can be computed.
    pub fn plausible(&self) -> Self {
        let within = |x: f64, least: f64, most: f64| if x.is_nan() { least } else { x.clamp(least, most) };
        Self { size: self.size.map(|side| within(side, 2.0, 100.0)), t60: within(self.t60, 0.1, 10.0) }
    }

    /// From a loudspeaker to a microphone.
    pub fn response(&self, from: &Placed, to: &Placed, dice: &mut Dice, rate: f64) -> Vec<f64> {
        let length = ((self.t60 + EARLY.1) * rate) as usize;
        let (mut low, mut high) = (vec![0.0; length], vec![0.0; length]);
        self.reflect(from, to, dice, rate, &mut low, &mut high);
        self.reverberate(dice, rate, &mut low, &mut high);
        // Evenly below, forwards above: the two parts of a first-order crossover add up to all.
        let k = 1.0 - (-TAU * FORWARD / rate).exp();
        let (mut even, mut forward) = (0.0, 0.0);
        low.iter()
            .zip(&high)
            .map(|(low, high)| {
                even += k * (low - even);
                forward += k * (high - forward);
                even + high - forward
            })
            .collect()
    }

    fn reflect(&self, from: &Placed, to: &Placed, dice: &mut Dice, rate: f64, low: &mut [f64], high: &mut [f64]) {
        let reach = EARLY.1 * SOUND_METRES_PER_SECOND;
        let most = self.size.map(|side| (reach / (2.0 * side)) as i32 + 1);
        for cell in cells(most) {
            for mirrored in 0..8 {
                let mirror = [mirrored & 1, mirrored >> 1 & 1, mirrored >> 2 & 1];
                let bounces: i32 = (0..3).map(|axis| (2 * cell[axis] - mirror[axis]).abs()).sum();
                let flip = mirror.map(|mirror| f64::from(1 - 2 * mirror));
                let mut way: [f64; 3] = std::array::from_fn(|axis| {
                    let image = flip[axis] * from.place[axis] + 2.0 * f64::from(cell[axis]) * self.size[axis];
                    to.place[axis] - image
                });
                if bounces > 1 {
                    way = way.map(|way| way + dice.between(-UNEVEN, UNEVEN));
                }
                let distance = length(&way).max(0.3);
                if distance > reach {
                    continue;
                }
                let time = distance / SOUND_METRES_PER_SECOND;
                let lost = if bounces > 0 { 10f64.powf(-3.0 * time / self.t60) } else { 1.0 };
                let fade = (1.0 - late(time)).sqrt();
                // Seen from its own side, a mirrored loudspeaker sends the other way.
                let sent: f64 = (0..3).map(|axis| flip[axis] * way[axis] * from.aim[axis]).sum::<f64>() / distance;
                let met: f64 = (0..3).map(|axis| -way[axis] * to.aim[axis]).sum::<f64>() / distance;
                let gain = lost * fade * 0.5 * (1.0 + met).max(0.0) / distance;
                add(low, time * rate, gain);
                add(high, time * rate, gain * (0.5 * (1.0 + sent).max(0.0)).powf(1.5));
            }
        }
    }

    fn reverberate(&self, dice: &mut Dice, rate: f64, low: &mut [f64], high: &mut [f64]) {
        let energy = 4.0 * PI * SOUND_METRES_PER_SECOND / (self.volume() * rate) * CARDIOID_SQUARE;
        let (even, forward) = (energy.sqrt(), (energy * FORWARD_SQUARE).sqrt());
        let splits = BANDS.map(|(edge, _)| 1.0 - (-TAU * edge / rate).exp());
        let mut states = [0.0; BANDS.len()];
        let first = (EARLY.0 * rate) as usize;
        for n in first..low.len() {
            let time = n as f64 / rate;
            // The sum of three even spreads over ±1 has the mean square 1.
            let noise: f64 = (0..3).map(|_| dice.noise()).sum();
            let (mut below, mut sound) = (0.0, 0.0);
            for ((state, split), (_, share)) in states.iter_mut().zip(splits).zip(BANDS) {
                *state += split * (noise - *state);
                sound += (*state - below) * 10f64.powf(-3.0 * time / (self.t60 * share));
                below = *state;
            }
            let fade = late(time).sqrt();
            low[n] += even * fade * sound;
            high[n] += forward * fade * sound;
        }
    }
}

/// 0 in the early sound, 1 in the late.
fn late(time: f64) -> f64 {
    ((time - EARLY.0) / (EARLY.1 - EARLY.0)).clamp(0.0, 1.0)
}

fn cells(most: [i32; 3]) -> impl Iterator<Item = [i32; 3]> {
    (-most[0]..=most[0])
        .flat_map(move |x| (-most[1]..=most[1]).flat_map(move |y| (-most[2]..=most[2]).map(move |z| [x, y, z])))
}

fn length(vector: &[f64; 3]) -> f64 {
    vector.iter().map(|x| x * x).sum::<f64>().sqrt()
}

/// An impulse at a place between samples: a windowed sinc.
fn add(response: &mut [f64], at: f64, gain: f64) {
    let nearest = at.round() as i64;
    for n in nearest - SPREAD..=nearest + SPREAD {
        let x = n as f64 - at;
        let window = (0.5 * PI * x / (SPREAD as f64 + 1.0)).cos().powi(2);
        let sinc = if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) };
        if let Some(sample) = usize::try_from(n).ok().and_then(|n| response.get_mut(n)) {
            *sample += gain * window * sinc;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rustfft::FftPlanner;
    use rustfft::num_complex::Complex;

    const RATE: f64 = 48_000.0;

    fn placed(place: [f64; 3], aim: [f64; 3]) -> Placed {
        Placed { place, aim }
    }

    fn far_response(room: BoxRoom, seed: u64) -> Vec<f64> {
        let from = placed([1.0, 2.0, 2.0], [0.0, 1.0, 0.0]);
        let to = placed(room.size.map(|side| 0.8 * side), [1.0, 0.0, 0.0]);
        room.response(&from, &to, &mut Dice::new(seed, 1), RATE)
    }

    /// Sound takes 2.915 ms per metre at 343 m/s and falls by 1/r; a cardioid hears nothing from behind.
    #[test]
    fn direct_sound() {
        let room = BoxRoom { size: [30.0, 30.0, 12.0], t60: 1.0 };
        let from = placed([15.0, 12.0, 6.0], [0.0, 1.0, 0.0]);
        for (metres, toward, expected) in [(1.0, -1.0, 1.0), (4.0, -1.0, 0.25), (2.0, 1.0, 0.0)] {
            let to = placed([15.0, 12.0 + metres, 6.0], [0.0, toward, 0.0]);
            let heard = room.response(&from, &to, &mut Dice::new(1, 1), RATE);
            let at = metres / SOUND_METRES_PER_SECOND * RATE;
            let near = &heard[(at as usize).saturating_sub(20)..at as usize + 20];
            assert!((near.iter().sum::<f64>() - expected).abs() < 0.03, "{metres} m: {}", near.iter().sum::<f64>());
        }
    }

    /// The level of late sound falls by 60 dB in the reverberation time (ISO 3382-1: a line through the
    /// backward integral from −5 to −35 dB), here between 500 Hz and 1 kHz.
    #[test]
    fn it_dies_away_in_its_time() {
        for (seed, size, t60) in [(1, [8.0, 6.0, 3.0], 0.3), (2, [18.0, 12.0, 6.0], 1.2), (3, [25.0, 12.0, 9.0], 2.8)] {
            let heard = far_response(BoxRoom { size, t60 }, seed);
            let band: Vec<f64> = filtered(&heard);
            let mut left: f64 = band.iter().map(|x| x * x).sum();
            let all = left;
            let mut times = [0.0; 2];
            for (n, x) in band.iter().enumerate() {
                for (time, down) in times.iter_mut().zip([5.0, 35.0]) {
                    if *time == 0.0 && left < all * 10f64.powf(-down / 10.0) {
                        *time = n as f64 / RATE;
                    }
                }
                left -= x * x;
            }
            let found = 2.0 * (times[1] - times[0]);
            assert!((found / t60 - 1.0).abs() < 0.12, "{found} s, not {t60}");
        }
    }

    fn filtered(signal: &[f64]) -> Vec<f64> {
        use crate::dsp::biquad::{Biquad, EqBand};
        use crate::units::{Hertz, SampleRate};
        let rate = SampleRate::new(RATE as u32).unwrap();
        let bands = [EqBand::high_pass(Hertz::new(500.0)), EqBand::low_pass(Hertz::new(1000.0))];
        let mut filters = [bands[0], bands[0], bands[1], bands[1]].map(|band| Biquad::new(band.coefficients(rate)));
        signal.iter().map(|&x| filters.iter_mut().fold(x, |x, filter| filter.next(x))).collect()
    }

    /// M. R. Schroeder (1964): over a band B the highest in-phase value of a room's response, which limits the
    /// gain, stands 10 lg(lg(B·T60/22)) + 3.8 dB over the mean of its power. The formula is an approximation:
    /// of noise that dies away evenly (the model of a room behind it) it is found some tenths of a dB to 1 dB
    /// higher. The room's late sound against both, on the average over seeds and bands.
    #[test]
    fn peaks_stand_over_the_mean_as_in_rooms() {
        let (mut found, mut model, mut formula, mut count) = (0.0, 0.0, 0.0, 0.0);
        for seed in 0..15 {
            let t60 = [0.8, 1.4, 2.2][seed as usize % 3];
            let room = far_response(BoxRoom { size: [22.0, 13.0, 7.0], t60 }, seed);
            let late = room.get((EARLY.1 * RATE) as usize..).unwrap();
            let mut dice = Dice::new(seed, 77);
            let noise: Vec<f64> = (0..late.len())
                .map(|n| {
                    let draw: f64 = (0..3).map(|_| dice.noise()).sum();
                    draw * 10f64.powf(-3.0 * n as f64 / RATE / t60)
                })
                .collect();
            for (sound, sum) in [(late, &mut found), (&noise, &mut model)] {
                *sum += [700.0, 1100.0].map(|low| in_phase_peak(sound, low, 400.0)).iter().sum::<f64>();
            }
            formula += 2.0 * (10.0 * (400.0 * t60 / 22.0f64).log10().log10() + 3.8);
            count += 2.0;
        }
        let [found, model, formula] = [found, model, formula].map(|sum| sum / count);
        assert!((found - model).abs() < 0.4, "{found:.2} dB, {model:.2} dB of plain noise");
        assert!((0.0..1.2).contains(&(found - formula)), "{found:.2} dB, {formula:.2} dB by the formula");
    }

    /// Of a band in Hz: the highest in-phase value over the mean power, dB.
    fn in_phase_peak(response: &[f64], low: f64, width: f64) -> f64 {
        let length = (8 * response.len()).next_power_of_two();
        let mut bins: Vec<Complex<f64>> = response.iter().map(|&x| Complex::new(x, 0.0)).collect();
        bins.resize(length, Complex::default());
        FftPlanner::new().plan_fft_forward(length).process(&mut bins);
        let at = |hz: f64| (hz / RATE * length as f64) as usize;
        let band = &bins[at(low)..at(low + width)];
        let mean = band.iter().map(Complex::norm_sqr).sum::<f64>() / band.len() as f64;
        let crossings = band.windows(2).filter(|pair| pair[0].im * pair[1].im <= 0.0);
        let highest = crossings.map(|pair| pair[0].re).fold(0.0, f64::max);
        10.0 * (highest * highest / mean).log10()
    }
}
