//! In the show: the strict rules. The fader first, then one cut, and never more than 6 dB of it in one grab.
//!
//! A confirmed ring: 3 dB down on the fader of the microphone that rings, or, where that can't be known, 2 dB on the
//! mains, and after that the microphones not in use. Only when the fader is down: 3 dB on the band, once a ring. After
//! 60 s of quiet the fader may creep back by 2 dB. Everything is logged. Nothing here asks to solo, to search by
//! boosting, or to patch anything. Common practice. Edge cases: a merely possible ring asks for nothing; of several the
//! loudest comes first; a full log drops its oldest entry. Observing allocates nothing.

use super::cuts::{Change, CutList, Remedy, same_tone};
use super::equaliser::Equaliser;
use super::rings::{alive, loudest};
use super::setup::{Output, Place};
use crate::detectors::{Certainty, Ring};
use crate::units::{ChannelId, Db, Seconds};

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ShowAction {
    /// As rehearsed.
    Nothing,
    FaderDown {
        channel: ChannelId,
        by: u8,
    },
    MainsDown {
        by: u8,
    },
    MuteIdle,
    Cut(Change),
    CreepBack {
        channel: Option<ChannelId>,
        by: u8,
    },
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShowAdvice {
    pub action: ShowAction,
    pub ring: Option<Ring>,
    pub urgency: Urgency,
}

/// How soon it wants a hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Whenever there is time for it.
    Later,
    /// At the next pause.
    Soon,
    /// At once.
    Now,
}

/// One line of the log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShowEntry {
    pub at: Seconds,
    pub ring: Option<Ring>,
    pub action: ShowAction,
    /// The person said so.
    pub carried_out: bool,
}

const FADER: u8 = 3;
const MAINS: u8 = 2;
const CREEP: u8 = 2;
const QUIET: Seconds = Seconds::new(60.0);
/// Still ringing so long after the fader went down: the next thing.
const STILL: Seconds = Seconds::new(2.0);
/// The same tap must be this much louder than others to be named.
const CLEARLY: Db = Db::new(3.0);
/// A grab in the show.
const GRAB: Db = Db::new(-3.0);
const LOG: usize = 256;
const MOVES: usize = 16;

/// A fader that went down and was not brought back.
#[derive(Clone, Copy, Debug)]
struct Lowered {
    channel: Option<ChannelId>,
    by: u8,
}

/// Watches for rings in the show.
#[derive(Clone, Debug)]
pub struct ShowWatch {
    equaliser: Equaliser,
    /// Whether each microphone is heard on a line of its own.
    taps: bool,
    cuts: CutList,
    lowered: Vec<Lowered>,
    /// A ring that the fader has calmed and no cut has met yet.
    to_cut: Option<Ring>,
    answered: Option<Seconds>,
    last_ring: Seconds,
    advice: ShowAdvice,
    log: Vec<ShowEntry>,
    /// Entries so far, dropped ones included.
    entries: u64,
    now: Seconds,
}

impl ShowWatch {
    /// `taps`: each microphone is heard on a line of its own; `cuts`: those of the ring-out.
    pub fn new(equaliser: Equaliser, taps: bool, cuts: CutList) -> Self {
        Self {
            equaliser,
            taps,
            cuts,
            lowered: Vec::with_capacity(MOVES),
            to_cut: None,
            answered: None,
            last_ring: Seconds::ZERO,
            advice: CALM,
            log: Vec::with_capacity(LOG),
            entries: 0,
            now: Seconds::ZERO,
        }
    }

    pub fn advice(&self) -> &ShowAdvice {
        &self.advice
    }

    pub fn cuts(&self) -> &CutList {
        &self.cuts
    }

    pub fn equaliser(&self) -> Equaliser {
        self.equaliser
    }

    /// Oldest first.
    pub fn log(&self) -> &[ShowEntry] {
        &self.log
    }

    /// Those since the log had so many.
    pub fn logged_since(&self, entries: u64) -> &[ShowEntry] {
        let new = self.entries.saturating_sub(entries).min(self.log.len() as u64);
        &self.log[self.log.len() - new as usize..]
    }

    /// How many entries the log has had.
    pub fn entries(&self) -> u64 {
        self.entries
    }

    /// What is asked for and neither done nor left.
    pub fn open_question(&self) -> Option<&ShowEntry> {
        let waits = self.advice.action != ShowAction::Nothing && self.answered.is_none();
        self.log.last().filter(|_| waits)
    }

    /// The rings of a complete frame.
    pub fn observe(&mut self, rings: &[Ring], now: Seconds) {
        self.now = now;
        let ring = loudest(rings, |ring| alive(ring) && ring.certainty == Certainty::Ringing);
        if let Some(ring) = ring {
            self.last_ring = now;
            self.rings(ring, rings);
        } else if self.answered.is_some() || self.advice.action == ShowAction::Nothing {
            self.quiet();
        }
    }

    fn rings(&mut self, ring: Ring, rings: &[Ring]) {
        let same = self.advice.ring.is_some_and(|known| same_tone(known.frequency, ring.frequency));
        match (self.advice.action, self.answered) {
            // It was asked for and is not done yet.
            (ShowAction::FaderDown { .. } | ShowAction::MainsDown { .. } | ShowAction::MuteIdle, None) if same => {}
            (ShowAction::FaderDown { .. } | ShowAction::MainsDown { .. }, Some(at)) if same => {
                if self.now - at >= STILL {
                    let next = match self.advice.action {
                        ShowAction::FaderDown { .. } => ShowAction::MainsDown { by: MAINS },
                        _ => ShowAction::MuteIdle,
                    };
                    self.ask(next, Some(ring), Urgency::Now);
                }
            }
            (ShowAction::MuteIdle, Some(at)) if same && self.now - at < STILL => {}
            _ => {
                let action = match self.whose(&ring, rings) {
                    Some(channel) => ShowAction::FaderDown { channel, by: FADER },
                    None => ShowAction::MainsDown { by: MAINS },
                };
                self.ask(action, Some(ring), Urgency::Now);
            }
        }
        self.to_cut = Some(ring);
    }

    /// The fader was moved and nothing rings.
    fn quiet(&mut self) {
        if let Some(ring) = self.to_cut.take() {
            let remedy = self.cuts.remedy(ring.frequency, Place::Output(Output::Mains), self.equaliser, true);
            // A parametric first grab is 4 dB; in the show no grab passes 3.
            if let Remedy::Cut(Change { main, .. }) = remedy
                && main.by < Db::ZERO
            {
                let by = main.by.max(GRAB);
                let main = super::cuts::Grab { by, depth: main.depth - main.by + by, ..main };
                self.ask(ShowAction::Cut(Change { main, neighbour: None }), Some(ring), Urgency::Soon);
                return;
            }
        }
        let waits = self.answered.is_none() && self.advice.action != ShowAction::Nothing;
        if waits {
            return;
        }
        let since = self.answered.map_or(self.last_ring, |at| if at > self.last_ring { at } else { self.last_ring });
        match self.lowered.last() {
            Some(lowered) if self.now - since >= QUIET => {
                let action = ShowAction::CreepBack { channel: lowered.channel, by: CREEP.min(lowered.by) };
                self.ask(action, None, Urgency::Later);
            }
            _ => self.advice = CALM,
        }
    }

    /// The person carried it out, or (`false`) leaves it.
    pub fn answer(&mut self, carried_out: bool) {
        if self.open_question().is_none() {
            return;
        }
        if let Some(entry) = self.log.last_mut() {
            entry.carried_out = carried_out;
        }
        self.answered = Some(self.now);
        match self.advice.action {
            ShowAction::FaderDown { channel, by } if carried_out => self.lower(Some(channel), by),
            ShowAction::MainsDown { by } if carried_out => self.lower(None, by),
            ShowAction::Cut(change) if carried_out => self.cuts.apply(change),
            ShowAction::CreepBack { by, .. } => {
                if let Some(lowered) = self.lowered.last_mut() {
                    lowered.by -= by.min(lowered.by);
                    if lowered.by == 0 || !carried_out {
                        self.lowered.pop();
                    }
                }
            }
            _ => {}
        }
    }

    fn lower(&mut self, channel: Option<ChannelId>, by: u8) {
        if self.lowered.len() == MOVES {
            self.lowered.remove(0);
        }
        self.lowered.push(Lowered { channel, by });
    }

    /// The one microphone that hears it clearly loudest.
    fn whose(&self, ring: &Ring, rings: &[Ring]) -> Option<ChannelId> {
        let same = |other: &Ring| {
            other.channel != ring.channel && other.end.is_none() && same_tone(other.frequency, ring.frequency)
        };
        let next = loudest(rings, same);
        let alone = next.is_none_or(|next| ring.level - next.level >= CLEARLY);
        (self.taps && alone).then_some(ring.channel)
    }

    fn ask(&mut self, action: ShowAction, ring: Option<Ring>, urgency: Urgency) {
        self.advice = ShowAdvice { action, ring, urgency };
        self.answered = None;
        if self.log.len() == LOG {
            self.log.remove(0);
        }
        self.log.push(ShowEntry { at: self.now, ring, action, carried_out: false });
        self.entries += 1;
    }
}

const CALM: ShowAdvice = ShowAdvice { action: ShowAction::Nothing, ring: None, urgency: Urgency::Later };

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Dbfs, Hertz};

    fn ring(channel: u16, hz: f64, level: f64) -> Ring {
        Ring {
            id: 1,
            channel: ChannelId::new(channel),
            certainty: Certainty::Ringing,
            frequency: Hertz::new(hz),
            level: Dbfs::new(level),
            growth: 20.0,
            excess: None,
            clips_in: None,
            start: Seconds::ZERO,
            reported: Seconds::ZERO,
            end: None,
            signs: Default::default(),
        }
    }

    struct Evening {
        watch: ShowWatch,
        at: f64,
    }

    impl Evening {
        fn new(taps: bool) -> Self {
            Self { watch: ShowWatch::new(Equaliser::ThirdOctave, taps, CutList::default()), at: 0.0 }
        }

        fn hear(&mut self, rings: &[Ring], seconds: f64) -> ShowAction {
            for _ in 0..(seconds * 10.0).round() as u32 {
                self.at += 0.1;
                self.watch.observe(rings, Seconds::new(self.at));
            }
            self.watch.advice().action
        }
    }

    const CH4: ChannelId = ChannelId::new(3);

    #[test]
    fn fader_then_band_then_after_a_minute_back_by_two() {
        let mut evening = Evening::new(true);
        assert_eq!(evening.hear(&[], 5.0), ShowAction::Nothing);
        assert_eq!(evening.hear(&[ring(3, 2500.0, -40.0)], 0.3), ShowAction::FaderDown { channel: CH4, by: 3 });
        assert_eq!(evening.watch.advice().urgency, Urgency::Now);
        // Gone or not: it is not done yet.
        assert_eq!(evening.hear(&[], 1.0), ShowAction::FaderDown { channel: CH4, by: 3 });
        evening.watch.answer(true);
        let ShowAction::Cut(change) = evening.hear(&[], 0.2) else { panic!("{:?}", evening.watch.advice()) };
        assert_eq!((change.main.by.get(), change.main.band.centre().get().round()), (-3.0, 2512.0));
        assert_eq!(evening.watch.advice().urgency, Urgency::Soon);
        evening.watch.answer(true);
        assert_eq!(evening.hear(&[], 59.0), ShowAction::Nothing);
        assert_eq!(evening.hear(&[], 2.0), ShowAction::CreepBack { channel: Some(CH4), by: 2 });
        evening.watch.answer(true);
        assert_eq!(evening.hear(&[], 59.0), ShowAction::Nothing);
        assert_eq!(evening.hear(&[], 2.0), ShowAction::CreepBack { channel: Some(CH4), by: 1 });
        evening.watch.answer(true);
        assert_eq!(evening.hear(&[], 300.0), ShowAction::Nothing);
        assert_eq!((evening.watch.log().len(), evening.watch.entries()), (4, 4));
        assert_eq!(evening.watch.logged_since(3), &evening.watch.log()[3..]);
        assert!(evening.watch.logged_since(4).is_empty() && evening.watch.open_question().is_none());
        assert!(evening.watch.log().iter().all(|entry| entry.carried_out));
    }

    #[test]
    fn an_unknown_microphone_lowers_the_mains_and_then_mutes_what_is_idle() {
        let mut evening = Evening::new(false);
        let howl = [ring(0, 800.0, -30.0)];
        assert_eq!(evening.hear(&howl, 0.1), ShowAction::MainsDown { by: 2 });
        evening.watch.answer(true);
        assert_eq!(evening.hear(&howl, 1.5), ShowAction::MainsDown { by: 2 });
        assert_eq!(evening.hear(&howl, 1.0), ShowAction::MuteIdle);
        evening.watch.answer(true);
        // It goes on: from the beginning.
        assert_eq!(evening.hear(&howl, 3.0), ShowAction::MainsDown { by: 2 });
    }

    #[test]
    fn two_microphones_that_hear_it_alike_name_nobody() {
        let mut evening = Evening::new(true);
        let both = [ring(3, 800.0, -30.0), ring(5, 801.0, -31.0)];
        assert_eq!(evening.hear(&both, 0.1), ShowAction::MainsDown { by: 2 });
        let mut evening = Evening::new(true);
        let one = [ring(3, 800.0, -30.0), ring(5, 801.0, -34.0)];
        assert_eq!(evening.hear(&one, 0.1), ShowAction::FaderDown { channel: CH4, by: 3 });
    }

    #[test]
    fn no_grab_passes_three_and_no_band_nine() {
        let mut watch = ShowWatch::new(Equaliser::Parametric, true, CutList::default());
        let mut depths = Vec::new();
        for evening in 0..6 {
            let at = f64::from(evening) * 10.0;
            watch.observe(&[ring(3, 1000.0, -40.0)], Seconds::new(at));
            watch.answer(true);
            watch.observe(&[], Seconds::new(at + 1.0));
            if let ShowAction::Cut(change) = watch.advice().action {
                assert!(change.main.by >= Db::new(-3.0));
                depths.push(change.main.depth.get());
                watch.answer(true);
            }
        }
        assert_eq!(depths, [-3.0, -6.0, -9.0]);
    }

    #[test]
    fn a_possible_ring_asks_for_nothing() {
        let mut evening = Evening::new(true);
        let maybe = Ring { certainty: Certainty::Possible, ..ring(3, 800.0, -30.0) };
        assert_eq!(evening.hear(&[maybe], 5.0), ShowAction::Nothing);
        assert!(evening.watch.log().is_empty());
    }
}
