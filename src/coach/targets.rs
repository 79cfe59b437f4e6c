//! What each kind of source wants: peak ceiling, target window, show lift, listening time, low-cut.
//!
//! dBFS. Ceiling C = −(show lift + 3); the target window for the loudest rehearsed peak is C − 6 … C. All
//! are working values of common practice for school performers (children play 3 to 9 dB louder on the
//! night), editable: an event may give each input its own show lift.

use crate::detectors::Heard;
use crate::units::{Db, Dbfs, Hertz, Seconds, SourceKind};

/// Left free above the loudest peak of the show.
const RESERVE: Db = Db::new(3.0);
const WINDOW: Db = Db::new(6.0);

/// How much must be heard before anything is said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Need {
    Active(Seconds),
    Hits(u32),
}

impl Need {
    /// Whether this much was heard.
    pub fn is_met(&self, heard: &Heard) -> bool {
        match *self {
            Self::Active(time) => heard.active.get() >= time.get() - 1e-9,
            Self::Hits(hits) => heard.hits >= hits,
        }
    }
}

/// What the performer is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Passage {
    ToTheBackWall,
    LoudestChorus,
    ShoutedLine,
    EveryoneWithPiano,
    StrumAndPick,
    LoudestStyle,
    LoudestPatch,
    LoudestHits,
    FullGroove,
    Fortissimo,
    LoudestCue,
    LoudestPart,
}

/// Targets for one input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Targets {
    /// Expected difference of P95 and active level, least and most, in dB.
    pub active_crest: (Db, Db),
    pub show_lift: Db,
    /// Where the active level usually stands when the peak is right.
    pub nominal: (Dbfs, Dbfs),
    pub need: Need,
    pub passage: Passage,
    /// Where a low-cut starts; `None` where it stays off.
    pub low_cut: Option<Hertz>,
    /// An area microphone: limited by ringing, so its low side is wider.
    pub area: bool,
    /// A close source whose floor should lie this far under its active level.
    pub floor_margin: Db,
}

impl Targets {
    /// The defaults of a kind.
    pub fn of(kind: SourceKind) -> Self {
        use SourceKind as K;
        use TableNeed::{Active, Hits};
        // Crest least and most, show lift, usual active level least and most, need, passage, low-cut.
        let (crest, lift, nominal, need, passage, low_cut) = match kind {
            K::Speech => ((12, 18), 6, (-30, -23), Active(15), Passage::ToTheBackWall, 110),
            K::SoloVocal => ((10, 16), 6, (-26, -20), Active(20), Passage::LoudestChorus, 105),
            K::Headset => ((12, 20), 9, (-32, -24), Active(15), Passage::ShoutedLine, 135),
            K::Choir => ((8, 14), 4, (-28, -18), Active(30), Passage::EveryoneWithPiano, 150),
            K::AcousticGuitar => ((12, 18), 4, (-27, -20), Active(15), Passage::StrumAndPick, 90),
            K::Bass => ((8, 14), 4, (-22, -16), Active(15), Passage::LoudestStyle, 0),
            K::Keys => ((8, 16), 6, (-24, -17), Active(10), Passage::LoudestPatch, 0),
            K::Kick => ((14, 22), 6, (-30, -20), Hits(8), Passage::LoudestHits, 0),
            K::Snare => ((16, 24), 6, (-32, -22), Hits(8), Passage::LoudestHits, 90),
            K::Overhead => ((14, 20), 6, (-32, -24), Active(15), Passage::FullGroove, 200),
            K::Brass => ((10, 18), 6, (-27, -20), Active(10), Passage::Fortissimo, 80),
            K::Woodwind => ((10, 16), 5, (-25, -18), Active(15), Passage::LoudestPart, 100),
            K::Piano => ((12, 18), 4, (-27, -19), Active(15), Passage::LoudestPart, 50),
            K::Percussion => ((18, 28), 6, (-36, -26), Hits(8), Passage::LoudestHits, 150),
            K::Playback => ((6, 14), 1, (-22, -14), Active(20), Passage::LoudestCue, 0),
            K::Other => ((10, 18), 6, (-27, -20), Active(15), Passage::LoudestPart, 0),
        };
        Self {
            active_crest: (db(crest.0), db(crest.1)),
            show_lift: db(lift),
            nominal: (Dbfs::new(f64::from(nominal.0)), Dbfs::new(f64::from(nominal.1))),
            need: need.into(),
            passage,
            low_cut: (low_cut > 0).then(|| Hertz::new(f64::from(low_cut))),
            area: matches!(kind, K::Choir | K::Overhead),
            floor_margin: if matches!(kind, K::Choir | K::Overhead) { db(20) } else { db(40) },
        }
    }

    /// With an event's own show lift.
    pub fn with_show_lift(self, show_lift: Option<Db>) -> Self {
        Self { show_lift: show_lift.unwrap_or(self.show_lift), ..self }
    }

    /// C: the loudest rehearsed peak should not pass this.
    pub fn ceiling(&self) -> Dbfs {
        Dbfs::new(0.0) - self.show_lift - RESERVE
    }

    /// The target window for the loudest rehearsed peak.
    pub fn window(&self) -> (Dbfs, Dbfs) {
        (self.ceiling() - WINDOW, self.ceiling())
    }

    /// Below this the peak is too low; an area microphone may stay 4 dB lower.
    pub fn too_low(&self) -> Dbfs {
        self.ceiling() - if self.area { Db::new(12.0) } else { Db::new(8.0) }
    }

    /// Above this the peak is too high.
    pub fn too_high(&self) -> Dbfs {
        self.ceiling() + Db::new(1.0)
    }
}

/// `Need` as the table writes it: whole seconds, hits.
enum TableNeed {
    Active(u32),
    Hits(u32),
}

impl From<TableNeed> for Need {
    fn from(need: TableNeed) -> Self {
        match need {
            TableNeed::Active(seconds) => Self::Active(Seconds::new(f64::from(seconds))),
            TableNeed::Hits(hits) => Self::Hits(hits),
        }
    }
}

fn db(value: i32) -> Db {
    Db::new(f64::from(value))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Common practice for school performers, by kind: the window for the loudest rehearsed peak.
    #[test]
    fn windows_of_the_trade() {
        let window = |kind| {
            let (low, high) = Targets::of(kind).window();
            (low.get(), high.get())
        };
        assert_eq!(window(SourceKind::Speech), (-15.0, -9.0));
        assert_eq!(window(SourceKind::Headset), (-18.0, -12.0));
        assert_eq!(window(SourceKind::Choir), (-13.0, -7.0));
        assert_eq!(window(SourceKind::Woodwind), (-14.0, -8.0));
        assert_eq!(window(SourceKind::Playback), (-10.0, -4.0));
        assert_eq!(Targets::of(SourceKind::Choir).too_low().get(), -19.0);
    }

    #[test]
    fn an_event_may_set_its_own_show_lift() {
        let keys = Targets::of(SourceKind::Keys).with_show_lift(Some(Db::new(3.0)));
        assert_eq!(keys.window(), (Dbfs::new(-12.0), Dbfs::new(-6.0)));
    }
}
