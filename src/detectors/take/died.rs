//! Lines that die: a cable, a plug, a battery or a mute, for half a second or for good.
//!
//! In: levels of hops of 10 ms. A line has *died* where its level falls by 30 dB or more within 20 ms, out of sound no more
//! than 12 dB under the active level, stays there for half a second or longer, and all of that stretch lies 15 dB and
//! more under the quietest twentieth of the rest: a hall doesn't fall so fast, and a pause has the room's noise. A take
//! whose rest is digital silence in its pauses (gated, or made by a machine) tells nothing, nor does one with more than
//! three such stretches. Own working values; the fall is ten times that of a hall of 1 s.

use crate::dsp::histogram::{LevelHistogram, rank};
use crate::units::{Db, Dbfs, FrameCount};

const FALL: Db = Db::new(-30.0);
const HOPS: usize = 3;
const LEAST: Dbfs = Dbfs::new(-60.0);
const UNDER_PROGRAMME: Db = Db::new(-12.0);
const UNDER_FLOOR: Db = Db::new(-15.0);
const FLOOR: f64 = 0.05;
/// Hops: half a second.
const SHORTEST: u64 = 50;
const MOST: usize = 3;

/// A stretch in which there may be nothing.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub start: FrameCount,
    pub end: FrameCount,
    before: Dbfs,
    loudest: Dbfs,
    hops: u64,
}

/// One channel.
pub(super) struct Died {
    last: [Dbfs; HOPS],
    open: Option<Stretch>,
    rest: LevelHistogram,
    hops: u64,
    stretches: Vec<Stretch>,
    count: usize,
}

impl Died {
    pub fn new() -> Self {
        Self {
            last: [Dbfs::SILENCE; HOPS],
            open: None,
            rest: LevelHistogram::new(-160.0, 20.0, 0.5),
            hops: 0,
            stretches: Vec::with_capacity(MOST),
            count: 0,
        }
    }

    /// The hop from `start` to `end`.
    pub fn push(&mut self, level: Dbfs, start: FrameCount, end: FrameCount) {
        if let Some(open) = self.open.as_mut().filter(|open| level - open.before <= FALL) {
            open.end = end;
            open.loudest = open.loudest.max(level);
            open.hops += 1;
        } else {
            self.close();
            let before = self.last.into_iter().fold(Dbfs::SILENCE, Dbfs::max);
            if before > LEAST && level - before <= FALL {
                self.open = Some(Stretch { start, end, before, loudest: level, hops: 1 });
            } else {
                self.rest.add(level.power());
                self.hops += 1;
            }
        }
        self.last.rotate_left(1);
        self.last[HOPS - 1] = level;
    }

    /// The take is over: the stretches in which there was nothing, in a take of this active level.
    pub fn finish(&mut self, active: Dbfs) -> Vec<Stretch> {
        self.close();
        let floor = self.rest.ranked(0.0, rank(self.hops, FLOOR)).map(Dbfs::from_power);
        let Some(floor) = floor.filter(|floor| !floor.is_silence() && self.count <= MOST) else { return Vec::new() };
        let dead = |s: &&Stretch| s.before - active >= UNDER_PROGRAMME && s.loudest - floor <= UNDER_FLOOR;
        self.stretches.iter().filter(dead).copied().collect()
    }

    fn close(&mut self) {
        let Some(stretch) = self.open.take() else { return };
        if stretch.hops >= SHORTEST {
            self.count += 1;
            if self.stretches.len() < MOST {
                self.stretches.push(stretch);
            }
        } else {
            (0..stretch.hops).for_each(|_| self.rest.add(stretch.loudest.power()));
            self.hops += stretch.hops;
        }
    }
}
