//! From "this one came in on that one's channel" to what is plugged wrong: pairs, rounds of three, loose ends.
//!
//! Each wrong arrival leads to the input whose channel it was, until the round closes, or something else is heard. A
//! tap that was made on the wrong microphone shows here: its channel's own microphone then comes in where it belongs.

use crate::units::ChannelId;

/// Input and the channel it came in on.
type Link = (ChannelId, ChannelId);

/// What a chain of wrong arrivals comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turnout {
    /// Call this one next.
    Follow(ChannelId),
    Swap(ChannelId, ChannelId),
    Rotate(ChannelId, ChannelId, ChannelId),
    /// Two inputs came in on one channel: the newer, the channel.
    Both(ChannelId, ChannelId),
}

/// The arrivals of one search, in the order of the calls.
#[derive(Clone, Debug)]
pub(super) struct Chain(Vec<Link>);

impl Chain {
    pub fn new(inputs: usize) -> Self {
        Self(Vec::with_capacity(inputs + 1))
    }

    pub fn clear(&mut self) {
        self.0.clear();
    }

    /// The channel that would close the round.
    pub fn closes_on(&self) -> Option<ChannelId> {
        self.0.first().map(|(called, _)| *called)
    }

    /// The newest link, taken away.
    pub fn pop(&mut self) -> Option<Link> {
        self.0.pop()
    }

    pub fn add(&mut self, called: ChannelId, on: ChannelId) -> Turnout {
        if self.0.iter().any(|(_, known)| *known == on) {
            return Turnout::Both(called, on);
        }
        self.0.push((called, on));
        let Some(start) = self.0.iter().position(|(input, _)| *input == on) else { return Turnout::Follow(on) };
        match self.0[start..] {
            [(a, b), _] => Turnout::Swap(a, b),
            [(a, b), (_, c), _] => Turnout::Rotate(a, b, c),
            // Longer rounds: the first goes home, the rest is one shorter.
            [(a, b), ..] => Turnout::Swap(a, b),
            [] => Turnout::Follow(on),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn turnouts(links: &[(u16, u16)]) -> Vec<Turnout> {
        let mut chain = Chain::new(8);
        links.iter().map(|&(called, on)| chain.add(ChannelId::new(called), ChannelId::new(on))).collect()
    }

    const fn at(index: u16) -> ChannelId {
        ChannelId::new(index)
    }

    #[test]
    fn rounds_close() {
        use Turnout::{Both, Follow, Rotate, Swap};
        assert_eq!(turnouts(&[(3, 4), (4, 3)]), [Follow(at(4)), Swap(at(3), at(4))]);
        let three = [Follow(at(4)), Follow(at(5)), Rotate(at(3), at(4), at(5))];
        assert_eq!(turnouts(&[(3, 4), (4, 5), (5, 3)]), three);
        let four = turnouts(&[(0, 1), (1, 2), (2, 3), (3, 0)]);
        assert_eq!(four.last(), Some(&Swap(at(0), at(1))));
        // The third comes in where the first did.
        assert_eq!(turnouts(&[(3, 4), (4, 5), (5, 4)]).last(), Some(&Both(at(5), at(4))));
    }
}
