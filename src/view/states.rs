//! The six states of a channel: a word and a shape, so that no state rests on colour.

use crate::coach::ChannelState;
use crate::units::Seconds;

pub const STATES: [ChannelState; 6] = [
    ChannelState::NotHeard,
    ChannelState::Low,
    ChannelState::Set,
    ChannelState::High,
    ChannelState::Clipped,
    ChannelState::Lost,
];

pub const fn word(state: ChannelState) -> &'static str {
    match state {
        ChannelState::NotHeard => "not heard",
        ChannelState::Low => "low",
        ChannelState::Set => "set",
        ChannelState::High => "high",
        ChannelState::Clipped => "clipped",
        ChannelState::Lost => "lost",
    }
}

/// Something was heard, but not for long enough to judge.
pub const NOT_ENOUGH: &str = "not enough";
pub const NOT_ENOUGH_MEANING: &str = "heard, but not for long enough to judge";

/// The word as it is shown of an input that was heard for so long.
pub fn shown(state: ChannelState, active: Seconds, hits: u32) -> &'static str {
    match state {
        ChannelState::NotHeard if active > Seconds::ZERO || hits > 0 => NOT_ENOUGH,
        state => word(state),
    }
}

/// Three columns of text: dotted ring, hollow circle, filled square standing on a line, triangle, hatched block,
/// dash with a gap.
pub const fn shape(state: ChannelState) -> &'static str {
    match state {
        ChannelState::NotHeard => " ◌ ",
        ChannelState::Low => " ○ ",
        ChannelState::Set => "_■_",
        ChannelState::High => " ▲ ",
        ChannelState::Clipped => " ▨ ",
        ChannelState::Lost => "– –",
    }
}

/// What it means, and what to do about it.
pub const fn meaning(state: ChannelState) -> &'static str {
    match state {
        ChannelState::NotHeard => "nothing yet, or only the room",
        ChannelState::Low => "under the window: move closer, or UP",
        ChannelState::Set => "stands in the window: leave it",
        ChannelState::High => "over the window: DOWN",
        ChannelState::Clipped => "flat tops: DOWN, or look at the source",
        ChannelState::Lost => "was there before, is not now",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_its_own_word_shape_and_meaning() {
        let told = STATES.map(|state| (shape(state), word(state), meaning(state)));
        let expected = [
            (" ◌ ", "not heard", "nothing yet, or only the room"),
            (" ○ ", "low", "under the window: move closer, or UP"),
            ("_■_", "set", "stands in the window: leave it"),
            (" ▲ ", "high", "over the window: DOWN"),
            (" ▨ ", "clipped", "flat tops: DOWN, or look at the source"),
            ("– –", "lost", "was there before, is not now"),
        ];
        assert_eq!(told, expected);
        for (index, state) in STATES.iter().enumerate() {
            for other in &STATES[index + 1..] {
                assert_ne!(word(*state), word(*other));
                assert_ne!(shape(*state), shape(*other));
            }
        }
    }

    #[test]
    fn not_enough_is_not_the_same_as_not_heard() {
        let told = |active, hits| shown(ChannelState::NotHeard, Seconds::new(active), hits);
        assert_eq!((told(0.0, 0), told(12.0, 0), told(0.0, 3)), ("not heard", "not enough", "not enough"));
        assert_eq!(shown(ChannelState::Low, Seconds::new(12.0), 3), "low");
    }
}
