//! Two lines that carry the same: a copy, or a pair that pulls together or against each other.
//!
//! In: looks of the pair meter (the last 170 ms) while both lines sound. A copy correlates by 0.97 or more at no lag
//! (within 0.15 ms, 5 cm of sound: no second microphone is that near). Polarity is told by the sign of the correlation
//! where it reaches 0.5 within 3 ms (1 m). A verdict wants two looks that agree and none that does not.
//! Working values, common practice.

use crate::meters::PairLag;

const COPY: f64 = 0.97;
const NO_LAG: f64 = 0.000_15;
const RELATED: f64 = 0.5;
const NEAR: f64 = 0.003;
const ENOUGH: u32 = 2;

/// How the looks at a pair came out.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Alike {
    /// While both sounded.
    pub looks: u32,
    copies: u32,
    upright: u32,
    inverted: u32,
    /// The strongest correlation so far.
    pub correlation: f64,
}

impl Alike {
    pub(super) fn look(&mut self, pair: &PairLag) {
        let lag = pair.lag.get().abs();
        self.looks += 1;
        self.copies += u32::from(pair.correlation >= COPY && lag <= NO_LAG);
        if pair.correlation >= RELATED && lag <= NEAR {
            *(if pair.inverted { &mut self.inverted } else { &mut self.upright }) += 1;
        }
        self.correlation = self.correlation.max(pair.correlation);
    }

    /// Whether the two carry one signal; `None` until two looks agree.
    pub fn is_copy(&self) -> Option<bool> {
        match (self.copies, self.looks - self.copies) {
            (ENOUGH.., 0) => Some(true),
            (0, ENOUGH..) => Some(false),
            (copies, others) if copies + others >= 3 * ENOUGH => Some(copies > others),
            _ => None,
        }
    }

    /// Whether one is the other upside down; `None` until two looks agree.
    pub fn is_inverted(&self) -> Option<bool> {
        match (self.upright, self.inverted) {
            (ENOUGH.., 0) => Some(false),
            (0, ENOUGH..) => Some(true),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{ChannelId, Seconds};

    fn looks(pairs: &[(f64, f64, bool)]) -> Alike {
        let mut alike = Alike::default();
        for &(correlation, milliseconds, inverted) in pairs {
            let lag = Seconds::new(milliseconds / 1000.0);
            alike.look(&PairLag { quiet: ChannelId::new(0), loud: ChannelId::new(1), lag, correlation, inverted });
        }
        alike
    }

    #[test]
    fn a_copy_has_no_lag() {
        assert_eq!(looks(&[(0.99, 0.0, false)]).is_copy(), None);
        assert_eq!(looks(&[(0.99, 0.0, false), (0.98, 0.1, false)]).is_copy(), Some(true));
        // Spill, however much alike, comes later.
        assert_eq!(looks(&[(0.99, 2.0, false), (0.99, 2.0, false)]).is_copy(), Some(false));
    }

    #[test]
    fn polarity_wants_two_that_agree() {
        assert_eq!(looks(&[(0.7, 0.4, true), (0.8, -0.2, true)]).is_inverted(), Some(true));
        assert_eq!(looks(&[(0.7, 0.4, false), (0.8, -0.2, false)]).is_inverted(), Some(false));
        assert_eq!(looks(&[(0.7, 0.4, true), (0.8, -0.2, false)]).is_inverted(), None);
        assert_eq!(looks(&[(0.4, 0.0, true), (0.9, 20.0, true)]).is_inverted(), None);
    }
}
