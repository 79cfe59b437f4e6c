//! The equalisers that stand on desks, and what each can do against a ring.
//!
//! Units: hertz, dB. Graphic bands: ISO 266 / IEC 61260-1 mid-bands 1000·10^(n/10) Hz, edges half a spacing away;
//! depths are common practice. Edge cases: a frequency outside the bands takes the outermost band; one that is no
//! number, or not above 0, takes none.

use crate::units::{Db, Hertz};

/// What the desk offers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Equaliser {
    /// 31 bands, a third of an octave each.
    ThirdOctave,
    /// 15 bands, two thirds of an octave each.
    TwoThirds,
    /// 7 to 9 bands, an octave each: the usual powered mixer.
    Octave,
    Parametric,
    /// One mid band of a channel with a knob for its frequency.
    Sweep,
    /// Only Lo and Hi.
    Shelves,
}

/// A band of a graphic equaliser, by its place in the third-octave series: 0 is 1 kHz, 1 is 1.25 kHz.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct GraphicBand {
    number: i8,
    /// In third octaves.
    spacing: i8,
}

/// How far one grab goes, and all of them together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Depth {
    pub first: Db,
    pub more: Db,
    pub most: Db,
}

/// Between the sixth and the eighth of an octave (8.65 … 11.5).
pub const NARROW_Q: f64 = 10.0;
/// One cut over two rings that are close together.
pub const WIDE_Q: f64 = 4.0;
/// A ring so near to a band's edge is cut in both bands.
const NEAR_THE_EDGE: f64 = 0.05;
/// What the neighbour takes then.
pub const NEIGHBOUR: Db = Db::new(-2.0);

impl Equaliser {
    pub const ALL: [Self; 6] =
        [Self::ThirdOctave, Self::TwoThirds, Self::Octave, Self::Parametric, Self::Sweep, Self::Shelves];

    /// `None`: no cut helps a ring in the middle.
    pub const fn depth(self) -> Option<Depth> {
        let (first, more, most) = match self {
            Self::ThirdOctave => (-3.0, -3.0, -9.0),
            Self::TwoThirds | Self::Sweep => (-3.0, -3.0, -6.0),
            Self::Octave => (-2.0, -2.0, -6.0),
            Self::Parametric => (-4.0, -4.0, -9.0),
            Self::Shelves => return None,
        };
        Some(Depth { first: Db::new(first), more: Db::new(more), most: Db::new(most) })
    }

    /// Whether a cut takes so much with it that it dulls the voices.
    pub const fn is_blunt(self) -> bool {
        matches!(self, Self::TwoThirds | Self::Octave)
    }

    /// Lowest and highest band, and their spacing.
    const fn bands(self) -> Option<(i8, i8, i8)> {
        match self {
            Self::ThirdOctave => Some((-17, 13, 1)),
            Self::TwoThirds => Some((-16, 12, 2)),
            Self::Octave => Some((-12, 12, 3)),
            Self::Parametric | Self::Sweep | Self::Shelves => None,
        }
    }

    /// The band that a frequency lies in; `None` for what is no graphic equaliser.
    pub fn nearest(self, frequency: Hertz) -> Option<GraphicBand> {
        let (lowest, highest, spacing) = self.bands()?;
        if !(frequency.get() > 0.0 && frequency.get().is_finite()) {
            return None;
        }
        let place = 10.0 * (frequency.get() / 1000.0).log10();
        let steps = ((place - f64::from(lowest)) / f64::from(spacing)).round() * f64::from(spacing);
        let number = (f64::from(lowest) + steps).clamp(f64::from(lowest), f64::from(highest));
        Some(GraphicBand { number: number as i8, spacing })
    }

    /// The bands below and above one.
    pub fn beside(self, band: GraphicBand) -> [Option<GraphicBand>; 2] {
        let (lowest, highest, spacing) = self.bands().unwrap_or((0, 0, 0));
        let there = |number: i8| (number >= lowest && number <= highest).then_some(GraphicBand { number, spacing });
        [there(band.number - spacing), there(band.number + spacing)]
    }

    /// The other band of a ring near an edge; only where bands are narrow enough to share.
    pub fn neighbour(self, frequency: Hertz) -> Option<GraphicBand> {
        if self != Self::ThirdOctave {
            return None;
        }
        let (lowest, highest, spacing) = self.bands()?;
        let band = self.nearest(frequency)?;
        let up = frequency.get() > band.centre().get();
        let number = if up { band.number + spacing } else { band.number - spacing };
        let edge = band.centre().get() * 10f64.powf(if up { 0.05 } else { -0.05 } * f64::from(spacing));
        let near = (frequency.get() / edge - 1.0).abs() <= NEAR_THE_EDGE;
        (near && number >= lowest && number <= highest).then_some(GraphicBand { number, spacing })
    }
}

impl GraphicBand {
    /// Of a band whose −3 dB points are its edges (4.318 for a third of an octave).
    pub fn q(self) -> f64 {
        let octaves = 2f64.powf(f64::from(self.spacing) / 3.0);
        octaves.sqrt() / (octaves - 1.0)
    }

    /// The exact mid-band frequency.
    pub fn centre(self) -> Hertz {
        Hertz::new(1000.0 * 10f64.powf(f64::from(self.number) / 10.0))
    }

    /// Its place among the third octaves: 0 is 1 kHz, −3 is 500 Hz.
    pub const fn number(self) -> i8 {
        self.number
    }

    /// From its centre to the next band's, in third octaves.
    pub fn spacing(self) -> f64 {
        f64::from(self.spacing)
    }

    pub const fn is_next_to(self, other: Self) -> bool {
        self.spacing == other.spacing && (self.number - other.number).abs() == self.spacing
    }
}

/// How far apart two frequencies are, in octaves, without a sign.
pub fn octaves(a: Hertz, b: Hertz) -> f64 {
    (a.get() / b.get()).log2().abs()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn centre(kind: Equaliser, hz: f64) -> f64 {
        kind.nearest(Hertz::new(hz)).unwrap().centre().get()
    }

    /// ISO 266 by IEC 61260-1: 31.623, 1258.925, 1995.262, 3162.278 …
    #[test]
    fn bands_of_the_standard() {
        for (hz, exact) in [(31.5, 31.623), (1250.0, 1258.925), (2000.0, 1995.262), (3150.0, 3162.278), (63.0, 63.096)]
        {
            assert!((centre(Equaliser::ThirdOctave, hz) - exact).abs() < 1e-3, "{hz}");
        }
        let count = |kind: Equaliser| {
            let mut bands: Vec<_> = (10..25_000).filter_map(|hz| kind.nearest(Hertz::new(f64::from(hz)))).collect();
            bands.dedup();
            bands.len()
        };
        assert_eq!([Equaliser::ThirdOctave, Equaliser::TwoThirds, Equaliser::Octave].map(count), [31, 15, 9]);
    }

    /// 15 bands: 25 40 63 100 160 250 400 630 1k 1.6k 2.5k …; octaves: 63 125 250 500 1k 2k …
    #[test]
    fn blunter_equalisers_take_the_nearest_of_theirs() {
        assert!((centre(Equaliser::TwoThirds, 1250.0) - 1000.0).abs() < 1e-9);
        assert!((centre(Equaliser::TwoThirds, 1300.0) - 1584.893).abs() < 1e-3);
        assert!((centre(Equaliser::Octave, 1400.0) - 1000.0).abs() < 1e-9);
        assert!((centre(Equaliser::Octave, 1500.0) - 1995.262).abs() < 1e-3);
        assert!((centre(Equaliser::Octave, 30_000.0) - 15_848.932).abs() < 1e-3);
        assert_eq!(Equaliser::Parametric.nearest(Hertz::new(1000.0)), None);
        assert_eq!(Equaliser::ThirdOctave.nearest(Hertz::new(f64::NAN)), None);
        assert_eq!(Equaliser::ThirdOctave.nearest(Hertz::new(0.0)), None);
    }

    /// The upper edge of 1 kHz is 1122 Hz: within 5 % of it means 1066 … 1178 Hz.
    #[test]
    fn near_an_edge_both_bands_share() {
        let other =
            |hz: f64| Equaliser::ThirdOctave.neighbour(Hertz::new(hz)).map(|band| band.centre().get().round() as i64);
        assert_eq!(
            [1000.0, 1060.0, 1070.0, 1121.0, 1123.0, 1170.0, 1180.0].map(other),
            [None, None, Some(1259), Some(1259), Some(1000), Some(1000), None]
        );
        assert_eq!(other(930.0), Some(794));
        assert_eq!(Equaliser::TwoThirds.neighbour(Hertz::new(1255.0)), None);
        assert_eq!(other(22_000.0), None);
    }
}
