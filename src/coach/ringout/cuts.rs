//! The cuts of one output, and which cut comes next for a ring.
//!
//! Nearest band and how deep (see [`Equaliser::depth`]); near an edge of a third-octave band the neighbour takes 2 dB
//! as well; a parametric band takes the exact frequency at Q 10, and where two rings lie less than a sixth of an octave
//! apart, one band of Q 4 between them; a swept mid has one frequency; shelves cure nothing. Below 160 Hz the low-cut
//! comes first. Depths are negative dB, in steps that never pass 4 dB a grab. Common practice. `apply`, `undo` and
//! `give_back` allocate nothing: a full list takes no more.

use super::equaliser::{Equaliser, GraphicBand, NARROW_Q, NEIGHBOUR, WIDE_Q, octaves};
use super::setup::Place;
use crate::units::{Db, Hertz};

/// Where an equaliser takes hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Band {
    Graphic(GraphicBand),
    /// Frequency and Q are set by hand.
    Exact {
        frequency: Hertz,
        q: f64,
    },
    /// A knob for the frequency; its width is the desk's.
    Swept {
        frequency: Hertz,
    },
}

/// One band that is turned down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cut {
    pub place: Place,
    pub band: Band,
    /// Below 0.
    pub depth: Db,
}

/// One band turned by one step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grab {
    pub place: Place,
    pub band: Band,
    /// This step: below 0, or 0 where a narrow band is only made wide.
    pub by: Db,
    /// Where it stands afterwards.
    pub depth: Db,
    /// The narrow band that it takes the place of.
    pub instead_of: Option<Band>,
}

/// What is done at once: the band, and its neighbour for a ring near the edge between them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    pub main: Grab,
    pub neighbour: Option<Grab>,
}

/// What helps against a ring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remedy {
    LowCut { at: Hertz },
    Cut(Change),
    Nothing(NoCut),
}

/// Why no cut can be asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoCut {
    /// Shelves cure no ring in the middle.
    Shelves,
    /// It is as deep as it may be.
    FullDepth,
    /// It was turned back or could not be made.
    Declined,
    /// The one knob stands at another frequency.
    KnobTaken,
}

/// Below this the low-cut comes first.
const LOW: Hertz = Hertz::new(160.0);
/// Two rings nearer than this share one wide band, in octaves.
pub const TOGETHER: f64 = 1.0 / 6.0;
const ROOM: usize = 24;
const STEPS: usize = 64;

/// The cuts of one output, its channels' included.
#[derive(Clone, Debug)]
pub struct CutList {
    cuts: Vec<Cut>,
    steps: Vec<Change>,
    declined: Vec<(Place, Band)>,
}

impl Default for CutList {
    fn default() -> Self {
        Self { cuts: Vec::with_capacity(ROOM), steps: Vec::with_capacity(STEPS), declined: Vec::with_capacity(ROOM) }
    }
}

impl CutList {
    /// In the order in which the bands were first touched.
    pub fn cuts(&self) -> &[Cut] {
        &self.cuts
    }

    /// The next step against a ring at `frequency`; `low_cut`: it is on already, or can't be.
    pub fn remedy(&self, frequency: Hertz, place: Place, equaliser: Equaliser, low_cut: bool) -> Remedy {
        if frequency < LOW && !low_cut {
            let at = (frequency.get() * 1.25 / 10.0).round() * 10.0;
            return Remedy::LowCut { at: Hertz::new(at.clamp(80.0, LOW.get())) };
        }
        match self.change(frequency, place, equaliser) {
            Ok(change) => Remedy::Cut(change),
            Err(why) => Remedy::Nothing(why),
        }
    }

    fn change(&self, frequency: Hertz, place: Place, equaliser: Equaliser) -> Result<Change, NoCut> {
        let alone = |main| Change { main, neighbour: None };
        match equaliser {
            Equaliser::Shelves => Err(NoCut::Shelves),
            Equaliser::Parametric => self.parametric(frequency, place, equaliser).map(alone),
            Equaliser::Sweep => {
                let standing = self.cuts.iter().find(|cut| cut.place == place);
                match standing {
                    Some(cut) if octaves(cut.band.centre(), frequency) >= TOGETHER => Err(NoCut::KnobTaken),
                    Some(cut) => self.deeper(place, cut.band, equaliser).map(alone),
                    None => self.deeper(place, Band::Swept { frequency }, equaliser).map(alone),
                }
            }
            Equaliser::ThirdOctave | Equaliser::TwoThirds | Equaliser::Octave => {
                let band = equaliser.nearest(frequency).ok_or(NoCut::Declined)?;
                let main = self.deeper(place, Band::Graphic(band), equaliser)?;
                let neighbour = equaliser.neighbour(frequency).map(Band::Graphic).and_then(|band| {
                    let most = equaliser.depth()?.most;
                    self.grab(place, band, NEIGHBOUR, most).ok()
                });
                Ok(Change { main, neighbour })
            }
        }
    }

    /// Exact at first; a second ring close by makes it wide, between the two.
    fn parametric(&self, frequency: Hertz, place: Place, equaliser: Equaliser) -> Result<Grab, NoCut> {
        let near = |cut: &&Cut| cut.place == place && octaves(cut.band.centre(), frequency) < TOGETHER;
        let nearest =
            |a: &&Cut, b: &&Cut| octaves(a.band.centre(), frequency).total_cmp(&octaves(b.band.centre(), frequency));
        let Some(cut) = self.cuts.iter().filter(near).min_by(nearest) else {
            return self.deeper(place, Band::Exact { frequency, q: NARROW_Q }, equaliser);
        };
        match cut.band {
            Band::Exact { frequency: at, q } if q > WIDE_Q && !same_tone(at, frequency) => {
                let between = Hertz::new((at.get() * frequency.get()).sqrt());
                let band = Band::Exact { frequency: between, q: WIDE_Q };
                Ok(Grab { place, band, by: Db::ZERO, depth: cut.depth, instead_of: Some(cut.band) })
            }
            band => self.deeper(place, band, equaliser),
        }
    }

    fn deeper(&self, place: Place, band: Band, equaliser: Equaliser) -> Result<Grab, NoCut> {
        let depth = equaliser.depth().ok_or(NoCut::Shelves)?;
        let step = if self.depth(place, band) < Db::ZERO { depth.more } else { depth.first };
        self.grab(place, band, step, depth.most)
    }

    /// As much of `step` as is left before `most`.
    fn grab(&self, place: Place, band: Band, step: Db, most: Db) -> Result<Grab, NoCut> {
        if self.declined.contains(&(place, band)) || self.cuts.len() >= ROOM - 1 {
            return Err(NoCut::Declined);
        }
        let stands = self.depth(place, band);
        let by = step.max(most - stands);
        if by >= Db::ZERO {
            return Err(NoCut::FullDepth);
        }
        Ok(Grab { place, band, by, depth: stands + by, instead_of: None })
    }

    /// 0 where nothing was cut.
    pub fn depth(&self, place: Place, band: Band) -> Db {
        let cut = self.cuts.iter().find(|cut| cut.place == place && cut.band == band);
        cut.map_or(Db::ZERO, |cut| cut.depth)
    }

    /// Bands that a change would add to the list.
    pub fn new_bands(&self, change: &Change) -> usize {
        let is_new = |grab: &&Grab| grab.instead_of.is_none() && self.depth(grab.place, grab.band) == Db::ZERO;
        change.grabs().filter(is_new).count()
    }

    /// A change was carried out.
    pub fn apply(&mut self, change: Change) {
        for grab in change.grabs() {
            self.set(grab.place, grab.instead_of.unwrap_or(grab.band), Some((grab.band, grab.depth)));
        }
        if self.steps.len() < STEPS {
            self.steps.push(change);
        }
    }

    /// A band was turned that nobody asked for.
    pub fn turned(&mut self, place: Place, band: Band, by: Db) {
        let depth = (self.depth(place, band) + by).min(Db::ZERO);
        self.set(place, band, (depth < Db::ZERO).then_some((band, depth)));
    }

    /// The change that was made last.
    pub fn last(&self) -> Option<Change> {
        self.steps.last().copied()
    }

    /// The last change was turned back; its bands are not asked for again.
    pub fn undo(&mut self) {
        let Some(change) = self.steps.pop() else { return };
        for grab in change.grabs() {
            let (band, before) = (grab.instead_of.unwrap_or(grab.band), grab.depth - grab.by);
            self.set(grab.place, grab.band, (before < Db::ZERO).then_some((band, before)));
            self.decline(grab);
        }
    }

    /// Its bands can't be cut, or shall not be.
    pub fn decline(&mut self, grab: &Grab) {
        if self.declined.len() < ROOM && !self.declined.contains(&(grab.place, grab.band)) {
            self.declined.push((grab.place, grab.band));
        }
    }

    /// The shallowest cut, for the words' sake; of two the later one.
    pub fn shallowest(&self) -> Option<Cut> {
        self.cuts.iter().copied().reduce(|best, cut| if cut.depth >= best.depth { cut } else { best })
    }

    /// A cut was turned back to 0.
    pub fn give_back(&mut self, cut: Cut) {
        self.set(cut.place, cut.band, None);
        self.steps.clear();
    }

    /// It rings without it: it stands again.
    pub fn cut_again(&mut self, cut: Cut) {
        self.set(cut.place, cut.band, Some((cut.band, cut.depth)));
    }

    /// Whether a step would leave two neighbouring bands of one place at −6 or deeper.
    pub fn makes_deep_neighbours(&self, grab: &Grab) -> bool {
        let beside = |cut: &Cut| {
            let own = cut.band == grab.band || Some(cut.band) == grab.instead_of;
            cut.place == grab.place && !own && cut.depth <= DEEP && cut.band.is_next_to(grab.band)
        };
        grab.depth <= DEEP && self.cuts.iter().any(beside)
    }

    /// Whether a band can be asked for.
    pub fn may(&self, place: Place, band: Band) -> bool {
        !self.declined.contains(&(place, band))
    }

    /// A band made room for another; what was done before can't go back one by one.
    pub fn free(&mut self, grab: &Grab) {
        self.set(grab.place, grab.band, (grab.depth < Db::ZERO).then_some((grab.band, grab.depth)));
        self.steps.clear();
    }

    /// Whether a new tone lies within a third of an octave of a cut at −6 or deeper, in another band than its own.
    pub fn is_near_a_deep_cut(&self, frequency: Hertz, change: &Change) -> bool {
        let own = |cut: &Cut| change.main.instead_of.unwrap_or(change.main.band) == cut.band;
        let near = |cut: &Cut| octaves(cut.band.centre(), frequency) <= 1.0 / 3.0 + 1e-3;
        self.cuts.iter().any(|cut| cut.place == change.main.place && cut.depth <= DEEP && near(cut) && !own(cut))
    }

    fn set(&mut self, place: Place, band: Band, to: Option<(Band, Db)>) {
        let index = self.cuts.iter().position(|cut| cut.place == place && cut.band == band);
        match (index, to) {
            (Some(index), Some((band, depth))) => self.cuts[index] = Cut { place, band, depth },
            (Some(index), None) => {
                self.cuts.remove(index);
            }
            (None, Some((band, depth))) if self.cuts.len() < ROOM => self.cuts.push(Cut { place, band, depth }),
            (None, _) => {}
        }
    }
}

/// From here on a cut is heard as a hole.
pub const DEEP: Db = Db::new(-6.0);

impl Band {
    pub fn centre(self) -> Hertz {
        match self {
            Self::Graphic(band) => band.centre(),
            Self::Exact { frequency, .. } | Self::Swept { frequency } => frequency,
        }
    }

    pub fn is_next_to(self, other: Self) -> bool {
        match (self, other) {
            (Self::Graphic(a), Self::Graphic(b)) => a.is_next_to(b),
            _ => octaves(self.centre(), other.centre()) <= 1.0 / 3.0 + 1e-3,
        }
    }
}

impl Change {
    pub fn grabs(&self) -> impl Iterator<Item = &Grab> {
        std::iter::once(&self.main).chain(self.neighbour.as_ref())
    }
}

/// A ring's frequency moves by less than this while it is the same ring.
pub fn same_tone(a: Hertz, b: Hertz) -> bool {
    (a.get() / b.get() - 1.0).abs() < 0.01
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::coach::ringout::setup::Output;
    use crate::units::ChannelId;

    const MAINS: Place = Place::Output(Output::Mains);

    fn hz(hz: f64) -> Hertz {
        Hertz::new(hz)
    }

    fn ask(list: &CutList, at: f64, kind: Equaliser) -> Remedy {
        list.remedy(hz(at), MAINS, kind, false)
    }

    /// Asks, carries out, and tells how the band and its neighbour stand.
    fn cut(list: &mut CutList, at: f64, kind: Equaliser) -> Vec<(i64, f64, f64)> {
        match ask(list, at, kind) {
            Remedy::Cut(change) => {
                list.apply(change);
                let told = |grab: &Grab| (grab.band.centre().get().round() as i64, grab.by.get(), grab.depth.get());
                change.grabs().map(told).collect()
            }
            other => panic!("{at} Hz: {other:?}"),
        }
    }

    #[test]
    fn third_octaves_go_down_by_threes_to_nine() {
        let mut list = CutList::default();
        for depth in [-3.0, -6.0, -9.0] {
            assert_eq!(cut(&mut list, 1250.0, Equaliser::ThirdOctave), [(1259, -3.0, depth)]);
        }
        assert_eq!(ask(&list, 1250.0, Equaliser::ThirdOctave), Remedy::Nothing(NoCut::FullDepth));
        assert_eq!(list.cuts().len(), 1);
    }

    #[test]
    fn near_an_edge_the_neighbour_takes_two() {
        let mut list = CutList::default();
        assert_eq!(cut(&mut list, 1110.0, Equaliser::ThirdOctave), [(1000, -3.0, -3.0), (1259, -2.0, -2.0)]);
        assert_eq!(cut(&mut list, 1110.0, Equaliser::ThirdOctave), [(1000, -3.0, -6.0), (1259, -2.0, -4.0)]);
        assert_eq!(cut(&mut list, 1130.0, Equaliser::ThirdOctave), [(1259, -3.0, -7.0), (1000, -2.0, -8.0)]);
        assert_eq!(cut(&mut list, 1130.0, Equaliser::ThirdOctave), [(1259, -2.0, -9.0), (1000, -1.0, -9.0)]);
    }

    #[test]
    fn blunt_bands_stop_at_six() {
        let mut list = CutList::default();
        assert_eq!(cut(&mut list, 1110.0, Equaliser::TwoThirds), [(1000, -3.0, -3.0)]);
        assert_eq!(cut(&mut list, 1110.0, Equaliser::TwoThirds), [(1000, -3.0, -6.0)]);
        assert_eq!(ask(&list, 1110.0, Equaliser::TwoThirds), Remedy::Nothing(NoCut::FullDepth));
        let mut list = CutList::default();
        for depth in [-2.0, -4.0, -6.0] {
            assert_eq!(cut(&mut list, 480.0, Equaliser::Octave), [(501, -2.0, depth)]);
        }
        assert_eq!(ask(&list, 480.0, Equaliser::Octave), Remedy::Nothing(NoCut::FullDepth));
    }

    #[test]
    fn a_parametric_band_is_exact_and_goes_to_nine() {
        let mut list = CutList::default();
        assert_eq!(cut(&mut list, 1234.0, Equaliser::Parametric), [(1234, -4.0, -4.0)]);
        assert_eq!(list.cuts()[0].band, Band::Exact { frequency: hz(1234.0), q: 10.0 });
        assert_eq!(cut(&mut list, 1236.0, Equaliser::Parametric), [(1234, -4.0, -8.0)]);
        assert_eq!(cut(&mut list, 1236.0, Equaliser::Parametric), [(1234, -1.0, -9.0)]);
        assert_eq!(ask(&list, 1236.0, Equaliser::Parametric), Remedy::Nothing(NoCut::FullDepth));
    }

    /// A sixth of an octave above 1000 Hz is 1122.5 Hz.
    #[test]
    fn two_rings_close_together_share_a_wide_band() {
        let mut list = CutList::default();
        cut(&mut list, 1000.0, Equaliser::Parametric);
        assert_eq!(cut(&mut list, 1100.0, Equaliser::Parametric), [(1049, 0.0, -4.0)]);
        assert_eq!(list.cuts().len(), 1);
        let Band::Exact { frequency, q } = list.cuts()[0].band else { panic!("{list:?}") };
        assert!((frequency.get() - 1_100_000f64.sqrt()).abs() < 1e-9 && q == 4.0);
        assert_eq!(cut(&mut list, 1100.0, Equaliser::Parametric), [(1049, -4.0, -8.0)]);
        list.undo();
        list.undo();
        assert_eq!(list.cuts()[0].band, Band::Exact { frequency: hz(1000.0), q: 10.0 });
        let mut list = CutList::default();
        cut(&mut list, 1000.0, Equaliser::Parametric);
        assert_eq!(cut(&mut list, 1123.0, Equaliser::Parametric), [(1123, -4.0, -4.0)]);
    }

    #[test]
    fn a_swept_mid_has_one_frequency_a_channel() {
        let mut list = CutList::default();
        let channel = Place::Channel(ChannelId::new(3));
        let Remedy::Cut(change) = list.remedy(hz(800.0), channel, Equaliser::Sweep, false) else { panic!() };
        assert_eq!((change.main.band, change.main.by.get()), (Band::Swept { frequency: hz(800.0) }, -3.0));
        list.apply(change);
        let Remedy::Cut(change) = list.remedy(hz(805.0), channel, Equaliser::Sweep, false) else { panic!() };
        assert_eq!(change.main.depth.get(), -6.0);
        list.apply(change);
        let next = |at, place| list.remedy(hz(at), place, Equaliser::Sweep, false);
        assert_eq!(next(805.0, channel), Remedy::Nothing(NoCut::FullDepth));
        assert_eq!(next(2000.0, channel), Remedy::Nothing(NoCut::KnobTaken));
        assert!(matches!(next(2000.0, Place::Channel(ChannelId::new(4))), Remedy::Cut(_)));
    }

    #[test]
    fn shelves_cure_nothing_and_low_rings_want_the_low_cut_first() {
        let list = CutList::default();
        assert_eq!(ask(&list, 1000.0, Equaliser::Shelves), Remedy::Nothing(NoCut::Shelves));
        assert_eq!(ask(&list, 100.0, Equaliser::ThirdOctave), Remedy::LowCut { at: hz(130.0) });
        assert_eq!(ask(&list, 40.0, Equaliser::Shelves), Remedy::LowCut { at: hz(80.0) });
        assert_eq!(ask(&list, 159.0, Equaliser::ThirdOctave), Remedy::LowCut { at: hz(160.0) });
        assert!(matches!(list.remedy(hz(159.0), MAINS, Equaliser::ThirdOctave, true), Remedy::Cut(_)));
        assert!(matches!(ask(&list, 161.0, Equaliser::ThirdOctave), Remedy::Cut(_)));
    }

    #[test]
    fn what_was_turned_back_is_not_asked_for_again() {
        let mut list = CutList::default();
        cut(&mut list, 1250.0, Equaliser::ThirdOctave);
        cut(&mut list, 1250.0, Equaliser::ThirdOctave);
        list.undo();
        assert_eq!(list.cuts()[0].depth.get(), -3.0);
        assert_eq!(ask(&list, 1250.0, Equaliser::ThirdOctave), Remedy::Nothing(NoCut::Declined));
        list.undo();
        assert!(list.cuts().is_empty());
        list.undo();
    }

    #[test]
    fn the_shallowest_is_given_back() {
        let mut list = CutList::default();
        assert_eq!(list.shallowest(), None);
        cut(&mut list, 2000.0, Equaliser::ThirdOctave);
        cut(&mut list, 2000.0, Equaliser::ThirdOctave);
        cut(&mut list, 500.0, Equaliser::ThirdOctave);
        let cut = list.shallowest().unwrap();
        assert_eq!((cut.band.centre().get().round(), cut.depth.get()), (501.0, -3.0));
        list.give_back(cut);
        assert_eq!(list.cuts().len(), 1);
        list.cut_again(cut);
        assert_eq!(list.depth(cut.place, cut.band).get(), -3.0);
    }

    #[test]
    fn near_a_deep_cut() {
        let mut list = CutList::default();
        cut(&mut list, 1000.0, Equaliser::ThirdOctave);
        let change = |list: &CutList, at| match ask(list, at, Equaliser::ThirdOctave) {
            Remedy::Cut(change) => change,
            other => panic!("{other:?}"),
        };
        assert!(!list.is_near_a_deep_cut(hz(1250.0), &change(&list, 1250.0)));
        cut(&mut list, 1000.0, Equaliser::ThirdOctave);
        assert!(list.is_near_a_deep_cut(hz(1250.0), &change(&list, 1250.0)));
        assert!(!list.is_near_a_deep_cut(hz(1005.0), &change(&list, 1005.0)));
        assert!(!list.is_near_a_deep_cut(hz(1600.0), &change(&list, 1600.0)));
    }
}
