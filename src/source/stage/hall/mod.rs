//! Loudspeakers in a hall, whose sound comes back to the microphones: a real feedback loop.
//!
//! Taps (behind the converters) → channels of the desk → outputs → loudspeakers, which bend when they are
//! driven hard → room → microphones → preamps → taps. Here: what a hall is made of. Metres, seconds, dB.
//! Band limits and bumps of a loudspeaker, its distance and its level are part of the room's responses, so
//! that the computed truth and the sound come from the same numbers.
//! What is no number, or no room, is replaced: rooms have sides of 2 to 100 m and 0.1 to 10 s, delays end at 1 s.

mod best;
mod controls;
mod desk;
mod loudspeakers;
mod matrix;
mod measuring;
mod opened;
mod paths;
mod room;
mod truth;

pub use best::{Choice, Yardstick};
use loudspeakers::Heard;
pub use loudspeakers::Loudspeakers;
use matrix::MAX_OUTPUTS;
pub use measuring::MOST_MEASURING;
pub use opened::{Computer, Opening};
pub use room::BoxRoom;
use room::Placed;
pub use truth::{InPhase, TrueRing, Truth};

use super::dice::Dice;
use crate::dsp::biquad::{Biquad, EqBand};
use crate::units::{ChannelId, Db, Dbfs, Hertz, SampleRate, Seconds};

/// Where the sound goes back to the microphones.
#[derive(Clone, Debug)]
pub struct Hall {
    pub seed: u64,
    pub room: Room,
    /// The microphones that hear the loudspeakers; others do not.
    pub microphones: Vec<MicrophonePlace>,
    /// At most 6.
    pub outputs: Vec<Output>,
    /// Converters and buffers, once round.
    pub delay: Seconds,
    /// The room's own noise at each of these microphones' taps, RMS at the trims of the beginning.
    pub noise: Dbfs,
}

#[derive(Clone, Debug)]
pub enum Room {
    Box(BoxRoom),
    /// Responses at hand, `[output][microphone]`, the loudspeaker's among them; empty ones are silent.
    Responses(Vec<Vec<Vec<f32>>>),
}

/// Metres: to the audience's right of the middle, upstage of the front edge, above the floor.
pub type Place = (f64, f64, f64);

#[derive(Clone, Copy, Debug)]
pub struct MicrophonePlace {
    pub channel: ChannelId,
    pub place: Place,
    /// It hears a seat and is in no mix, so it never rings.
    pub measures: bool,
}

/// An output of the desk and its loudspeakers.
#[derive(Clone, Debug)]
pub struct Output {
    pub name: &'static str,
    pub feed: Feed,
    pub loudspeakers: Vec<Loudspeaker>,
    /// How loud the amplifier is: where the fader stands when the loop through this output alone begins to
    /// ring, with all microphones open, channel faders at 0 dB, everything flat and the trims of the
    /// beginning. `None`: a full-scale output gives the responses as they are.
    pub rings_at: Option<Db>,
    /// Where the fader begins.
    pub fader: Db,
    /// The level at which the loudspeaker bends.
    pub limit: Dbfs,
}

/// What goes into an output.
#[derive(Clone, Debug)]
pub enum Feed {
    /// Every open channel after its fader: the mains.
    Mix,
    /// These channels before their faders: a monitor.
    Sends(Vec<(ChannelId, Db)>),
}

#[derive(Clone, Copy, Debug)]
pub struct Loudspeaker {
    pub place: Place,
    /// Towards the audience, or back to the stage as a monitor.
    pub to_audience: bool,
}

/// From the stage's edge to the first row, and from row to row, metres.
const FIRST_ROW: f64 = 2.0;
const ROW: f64 = 0.9;

impl Hall {
    /// A school's hall for these microphones, drawn by the seed: a room of 50 to 3500 m³ that reverberates for
    /// 0.3 to 2.8 s, mains at both sides of the stage and monitors before the first microphones.
    pub fn drawn(seed: u64, microphones: Vec<MicrophonePlace>, monitors: usize) -> Self {
        let dice = &mut Dice::new(seed, 900);
        let volume = 50.0 * 70f64.powf(dice.unit());
        let height = (0.42 * volume.powf(0.36)).clamp(2.4, 9.0) * dice.between(0.9, 1.15);
        let slim = dice.between(1.2, 2.1);
        let width = (volume / height / slim).sqrt();
        let t60 = (0.35 * (volume / 60.0).powf(0.42) * dice.between(0.7, 1.6)).clamp(0.3, 2.8);
        let size = [width, slim * width, height];
        let output = |name, feed, loudspeakers, dice: &mut Dice| {
            let rings_at = Db::new(dice.between(-12.0, 2.0));
            let limit = Dbfs::new(rings_at.get() + dice.between(-12.0, -3.0));
            Output { name, feed, loudspeakers, rings_at: Some(rings_at), fader: rings_at - Db::new(20.0), limit }
        };
        let side = (width / 2.0 - 0.7).min(5.0);
        let main = |x| Loudspeaker { place: (x, -0.8, 2.3), to_audience: true };
        let mut outputs = vec![output("Mains", Feed::Mix, vec![main(-side), main(side)], dice)];
        for (microphone, name) in microphones.iter().zip(["Monitor 1", "Monitor 2", "Monitor 3"]).take(monitors) {
            let (x, y, _) = microphone.place;
            let before = Loudspeaker { place: (x + dice.between(-0.4, 0.4), y - 1.3, 0.3), to_audience: false };
            let sends = vec![(microphone.channel, Db::ZERO)];
            outputs.push(output(name, Feed::Sends(sends), vec![before], dice));
        }
        let delay = Seconds::new(0.001 * 12f64.powf(dice.unit()));
        let noise = Dbfs::new(dice.between(-72.0, -56.0));
        Self { seed, room: Room::Box(BoxRoom { size, t60 }), microphones, outputs, delay, noise }
    }

    /// The same without monitors, with a second loudspeaker halfway to the last row.
    pub fn with_second(seed: u64, microphones: Vec<MicrophonePlace>) -> Self {
        let mut hall = Self::drawn(seed, microphones, 0);
        let last = hall.seats().iter().map(|(_, (_, y))| *y).fold(0.0, f64::min);
        let second = Loudspeaker { place: (1.5, 0.5 * last, 2.3), to_audience: true };
        let like = &hall.outputs[0];
        let output = Output { name: "Second", feed: Feed::Mix, loudspeakers: vec![second], ..like.clone() };
        hall.outputs.push(output);
        hall
    }

    /// From the nearest loudspeaker of an output to a microphone, both counted from 0, as the sound goes.
    pub fn distance(&self, output: usize, microphone: usize) -> Option<f64> {
        let Room::Box(room) = &self.room else { return None };
        let room = room.plausible();
        let ear = placed(&room, self.microphones.get(microphone)?.place, [0.0; 3]).place;
        let away = |loudspeaker: &Loudspeaker| {
            let from = placed(&room, loudspeaker.place, [0.0; 3]).place;
            (0..3).map(|axis| (from[axis] - ear[axis]).powi(2)).sum::<f64>().sqrt()
        };
        self.outputs.get(output)?.loudspeakers.iter().map(away).min_by(f64::total_cmp)
    }

    /// Rows of seats before the stage, 0.9 m apart: the first, the middle and the last one's middle, and the last one's end
    /// at a wall, by their names.
    pub fn seats(&self) -> Vec<(String, (f64, f64))> {
        let Room::Box(room) = &self.room else { return Vec::new() };
        let [width, length, _] = room.plausible().size;
        let deep = length - edge(length);
        let rows = (((deep - FIRST_ROW - 1.0) / ROW).max(0.0) as usize) + 1;
        let y = |row: usize| -(FIRST_ROW.min(0.8 * deep) + ROW * (row - 1) as f64);
        let mut middles = vec![1, rows.div_ceil(2), rows];
        middles.dedup();
        let mut seats: Vec<_> = middles.into_iter().map(|row| (format!("row {row}"), (0.0, y(row)))).collect();
        seats.push((format!("row {rows} at the wall"), (0.8 - width / 2.0, y(rows))));
        seats
    }

    fn responses(&self, rate: SampleRate) -> Vec<Vec<Vec<f32>>> {
        let room = match &self.room {
            Room::Box(room) => &room.plausible(),
            Room::Responses(responses) => {
                let sound = |&x: &f32| if x.is_finite() { x } else { 0.0 };
                let clean = |response: &Vec<f32>| response.iter().map(sound).collect();
                return responses.iter().take(MAX_OUTPUTS).map(|row| row.iter().map(clean).collect()).collect();
            }
        };
        let hz = f64::from(rate.get());
        let ears: Vec<Placed> =
            self.microphones.iter().map(|microphone| placed(room, microphone.place, [0.0, -1.0, 0.0])).collect();
        let outputs = self.outputs.iter().take(MAX_OUTPUTS).enumerate();
        let response = |stream: u64, output: &Output, ear: &Placed, colour: &[EqBand]| -> Vec<f32> {
            let mut dice = Dice::new(self.seed, stream);
            let mut sum: Vec<f64> = Vec::new();
            for loudspeaker in &output.loudspeakers {
                let aim = [0.0, if loudspeaker.to_audience { 1.0 } else { -1.0 }, 0.0];
                let one = room.response(&placed(room, loudspeaker.place, aim), ear, &mut dice, hz);
                sum.resize(one.len().max(sum.len()), 0.0);
                sum.iter_mut().zip(one).for_each(|(sum, one)| *sum += one);
            }
            let mut filters: Vec<Biquad> = colour.iter().map(|band| Biquad::new(band.coefficients(rate))).collect();
            sum.iter().map(|&x| filters.iter_mut().fold(x, |x, filter| filter.next(x)) as f32).collect()
        };
        outputs
            .map(|(index, output)| {
                let colour = colour(&mut Dice::new(self.seed, 1000 + index as u64));
                let stream = |microphone: usize| 1100 + 100 * index as u64 + microphone as u64;
                let ears = ears.iter().enumerate();
                ears.map(|(microphone, ear)| response(stream(microphone), output, ear, &colour)).collect()
            })
            .collect()
    }
}

/// The sound of a loudspeaker and a microphone before it: band limits about 80 Hz and 14 kHz, and bumps.
fn colour(dice: &mut Dice) -> Vec<EqBand> {
    let mut bands = vec![
        EqBand::high_pass(Hertz::new(dice.between(60.0, 110.0))),
        EqBand::low_pass(Hertz::new(dice.between(10_000.0, 16_000.0))),
        EqBand::low_pass(Hertz::new(16_000.0)),
    ];
    for bump in 0..5 {
        let frequency = Hertz::new(150.0 * 50f64.powf(dice.unit()));
        let gain = if bump < 2 { dice.between(3.0, 8.0) } else { dice.between(-5.0, 4.0) };
        bands.push(EqBand::peak(frequency, dice.between(1.0, 4.0), Db::new(gain)));
    }
    bands
}

/// From the wall behind the stage to its front edge.
fn edge(length: f64) -> f64 {
    (0.35 * length).min(6.5)
}

/// From the stage's metres to the room's, kept clear of the walls. The stage is at one end.
fn placed(room: &BoxRoom, (x, y, z): Place, aim: [f64; 3]) -> Placed {
    let [width, length, height] = room.size;
    let edge = edge(length);
    let keep = |at: f64, side: f64, clear: f64| at.min(side - clear).max(clear);
    Placed { place: [keep(width / 2.0 + x, width, 0.4), keep(edge - y, length, 0.4), keep(z, height, 0.25)], aim }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A drawn hall is one that a school may have.
    #[test]
    fn halls_are_plausible() {
        let places = |count: u16| {
            let place = |n: u16| MicrophonePlace {
                channel: ChannelId::new(n),
                place: (f64::from(n) - 1.0, 1.0, 1.5),
                measures: false,
            };
            (0..count).map(place).collect()
        };
        for seed in 0..200 {
            let hall = Hall::drawn(seed, places(3), 2);
            let Room::Box(room) = hall.room else { panic!("a drawn hall is a box") };
            assert!((40.0..4500.0).contains(&room.volume()), "{room:?}");
            assert!(
                (0.3..=2.8).contains(&room.t60) && room.size.iter().all(|side| (2.1..40.0).contains(side)),
                "{room:?}"
            );
            assert!((0.001..0.0121).contains(&hall.delay.get()) && hall.outputs.len() == 3);
        }
    }
}
