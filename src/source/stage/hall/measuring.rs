//! Measuring microphones in the seats: what each truly hears of an output.
//!
//! They stand in no mix, at the height of an ear, look at the stage, and hear as much as the lectern's microphone would
//! there. Metres as on the stage: seats lie at negative y.

use super::super::cast::{Part, Player};
use super::super::dice::Dice;
use super::super::material::Material;
use super::super::performer::{Pace, Performer};
use super::super::{Actor, RIGHT_PEAK};
use super::MicrophonePlace;
use crate::source::stage::Stage;
use crate::units::{ChannelId, Db};

/// Of who sits there.
const EAR: f64 = 1.2;
const NAMES: [&str; 4] = ["Measuring 1", "Measuring 2", "Measuring 3", "Measuring 4"];
/// So many can be had.
pub const MOST_MEASURING: usize = NAMES.len();

impl Stage {
    /// Adds a channel for each place, with nobody at it; where they hear, for a hall.
    pub fn add_measuring(&mut self, places: &[(f64, f64)]) -> Vec<MicrophonePlace> {
        let hz = f64::from(self.format.rate.get());
        let added = |(name, &(x, y)): (&&'static str, &(f64, f64))| {
            let channel = ChannelId::from_index(self.channels.len());
            let mut dice = Dice::new(self.seed, 100 + channel.index() as u64);
            let player = Player::Speaker;
            let actor = Actor {
                player,
                show: RIGHT_PEAK - player.right_gain(),
                lower_normal: Db::ZERO,
                lower_shy: Db::ZERO,
                first_channel: channel.index(),
                performer: Performer::new(player, Material::hits(player, &mut dice, hz), Pace::Free, 0.0, dice, hz),
            };
            let part = Part { player, inputs: &[("", (0.0, 0.0))] };
            self.add(&part, actor, self.seed, |_| (player.right_gain(), player.floor() - player.right_gain()));
            if let Some(input) = self.inputs.last_mut() {
                (input.name, input.place) = (name, (x, y));
            }
            MicrophonePlace { channel, place: (x, y, EAR), measures: true }
        };
        NAMES.iter().zip(places).map(added).collect()
    }

    /// What a channel truly hears of an output that is played into at a return of 0 dB: amplitudes, without what comes before
    /// the first sound.
    pub fn true_response(&self, output: usize, channel: ChannelId) -> Option<Vec<f64>> {
        let gain = self.trim(channel).ratio();
        let heard = self.loudspeakers.as_ref()?.response(output, channel)?;
        Some(heard.iter().map(|sample| gain * sample).collect())
    }
}
