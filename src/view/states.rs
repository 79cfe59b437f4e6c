//! The six states of a channel: a word and a shape, so that no state rests on colour.

use crate::coach::ChannelState;

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

/// One character: dotted ring, hollow circle, filled square, triangle, hatched block, dash with a gap.
pub const fn shape(state: ChannelState) -> char {
    match state {
        ChannelState::NotHeard => '◌',
        ChannelState::Low => '○',
        ChannelState::Set => '■',
        ChannelState::High => '▲',
        ChannelState::Clipped => '▨',
        ChannelState::Lost => '╌',
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_state_has_its_own_word_and_shape() {
        for (index, state) in STATES.iter().enumerate() {
            for other in &STATES[index + 1..] {
                assert_ne!(word(*state), word(*other));
                assert_ne!(shape(*state), shape(*other));
            }
        }
    }
}
