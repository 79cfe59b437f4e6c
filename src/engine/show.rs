//! The show in a hall: rings are watched for, and asked about by the strict rules of `coach::ringout::ShowWatch`; inputs,
//! the level in the room, the device and what the face tells of recording and battery beside them, at most one at a time
//! (`coach::show`).
//!
//! Where the desk can be moved from here, "done" carries out what is asked for, and the mains can be moved for practice.
//! Faders in dB from their show marks. Edge cases: nothing is asked for while nothing rings.

pub use super::ears::stage_name;
pub use super::hall::Attending;
use super::hall::{Attention, Ears, Hall, Room};
use super::power::Power;
use crate::coach::ready::LastLook;
pub use crate::coach::ready::{Baseline, Folder, Laptop, LookFor, ReadyAdvice, ReadyStep, Trouble, Was};
pub use crate::coach::ringout::{CutList, Equaliser, Output, ShowAction, ShowAdvice, ShowEntry, ShowWatch, Urgency};
pub use crate::coach::show::Alert;
use crate::coach::show::Alerts;
use crate::coach::sound::{Calibration, SoundAction};
pub use crate::detectors::LineTrouble;
use crate::units::{ChannelId, Db, Dbfs, Seconds, Spl};

/// Of the log, for who looks ten times a second.
const NEWEST: u64 = 16;

/// How loud it is in the room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoomNow {
    /// LAeq over the last 15 min, or what of them has been heard.
    pub quarter: Dbfs,
    /// What is acted on.
    pub limit: Spl,
    /// `None`: levels are only relative.
    pub calibration: Option<Calibration>,
}

/// What was asked for about rings: how many there were, the newest, and what of them is not answered.
#[derive(Clone, Debug, Default)]
pub struct ShowLog {
    pub entries: u64,
    pub newest: Vec<ShowEntry>,
    pub open: Option<ShowEntry>,
}

impl ShowLog {
    /// Those since there were so many, as far as they are here.
    pub fn since(&self, entries: u64) -> &[ShowEntry] {
        let new = self.entries.saturating_sub(entries).min(self.newest.len() as u64);
        &self.newest[self.newest.len() - new as usize..]
    }
}

pub struct ShowDesk<H> {
    hall: H,
    watch: ShowWatch,
    alerts: Alerts,
    /// Of the recording, as the face tells it, and of the battery.
    told: [Option<Alert>; 2],
    power: Option<Power>,
    laptop: Laptop,
    mains: Db,
    channels: Vec<Db>,
    now: Seconds,
}

impl<H: Hall> ShowDesk<H> {
    /// `taps`: each of the `channels` is a microphone on a line of its own.
    pub fn new(hall: H, equaliser: Equaliser, channels: usize, taps: bool) -> Self {
        Self {
            hall,
            watch: ShowWatch::new(equaliser, taps, CutList::default()),
            alerts: Alerts::default(),
            told: [None; 2],
            power: None,
            laptop: Laptop::default(),
            mains: Db::ZERO,
            channels: vec![Db::ZERO; channels],
            now: Seconds::ZERO,
        }
    }

    /// With what the show is to watch beside rings.
    #[must_use]
    pub fn attending(mut self, to: &Attending) -> Self {
        self.hall.attend(to);
        self
    }

    /// The one thing that wants a hand.
    pub const fn alert(&self) -> Option<&Alert> {
        self.alerts.seen()
    }

    /// How many were shown, and how many only counted.
    pub const fn counts(&self) -> (u32, u32) {
        self.alerts.counts()
    }

    /// The level in the room.
    pub fn room(&self) -> Option<&Room> {
        self.hall.attention().and_then(Attention::room)
    }

    pub fn room_now(&self) -> Option<RoomNow> {
        let room = self.room()?;
        let (quarter, limit) = (room.readings().quarter.level, room.limits().acted_on());
        Some(RoomNow { quarter, limit, calibration: room.calibration().copied() })
    }

    /// The recording has room for so much more (`Some(None)`: it stopped), or all is well.
    pub const fn tell_recording(&mut self, left: Option<Option<Seconds>>) {
        self.told[0] = match left {
            Some(left) => Some(Alert::Recording { left }),
            None => None,
        };
    }

    /// A real evening: the laptop's battery is looked at, too.
    #[must_use]
    pub fn on_a_laptop(mut self) -> Self {
        self.power = Some(Power::default());
        self
    }

    /// The last look before doors begins.
    pub fn look(&mut self, mut to: LookFor) {
        self.laptop = to.laptop;
        // The simulated stage has a list of its own.
        let own = self.hall.line_inputs();
        if !own.is_empty() {
            to.inputs = own;
        }
        if let Some(ears) = self.hall.ears_mut() {
            ears.look(Some(to));
        }
    }

    /// It is over.
    pub fn end_look(&mut self) {
        if let Some(ears) = self.hall.ears_mut() {
            ears.look(None);
        }
    }

    /// What it asks for.
    pub fn ready(&self) -> Option<&ReadyAdvice> {
        self.hall.ears().and_then(Ears::last_look).map(LastLook::advice)
    }

    /// What is known of the laptop now, its battery aside.
    pub const fn tell_laptop(&mut self, laptop: Laptop) {
        self.laptop = laptop;
    }

    /// It was put right (`true`; on the simulated stage somebody does that now), or is left as it is.
    pub fn answer_look(&mut self, mended: bool) {
        let channel = self.ready().and_then(|advice| advice.channel);
        if !mended {
            self.with_look(LastLook::leave);
        } else if let Some(channel) = channel {
            self.hall.mend(channel);
        }
        self.power.iter_mut().for_each(Power::ask_again);
    }

    /// A whole look anew.
    pub fn look_again(&mut self) {
        self.power.iter_mut().for_each(Power::ask_again);
        self.with_look(LastLook::again);
    }

    fn with_look(&mut self, what: impl FnOnce(&mut LastLook)) {
        if let Some(look) = self.hall.ears_mut().and_then(Ears::last_look_mut) {
            what(look);
        }
    }

    /// Another song.
    pub fn song_begins(&mut self) {
        self.alerts.song_begins();
    }

    /// What is seen is known, and not told again in this song.
    pub fn ignore(&mut self) {
        self.alerts.ignore();
    }

    pub fn log(&self) -> ShowLog {
        let entries = self.watch.entries();
        let newest = self.watch.logged_since(entries.saturating_sub(NEWEST)).to_vec();
        ShowLog { entries, newest, open: self.watch.open_question().cloned() }
    }

    pub fn watch(&self) -> &ShowWatch {
        &self.watch
    }

    pub fn hall(&self) -> &H {
        &self.hall
    }

    pub fn now(&self) -> Seconds {
        self.now
    }

    /// Hears 100 ms more; `false`: the sound is over.
    pub fn go_on(&mut self) -> bool {
        let Some((now, rings)) = self.hall.listen() else { return false };
        self.now = now;
        self.watch.observe(rings, now);
        self.told[1] = self.power.as_mut().and_then(Power::little).map(|left| Alert::Battery { left });
        if self.ready().is_some() {
            let laptop = Laptop { battery: self.power.as_mut().and_then(Power::battery), ..self.laptop };
            self.with_look(|look| look.tell(laptop));
        }
        let ring = Some(Alert::Ring(*self.watch.advice()));
        let lost = self.hall.lost().map(|_| Alert::DeviceLost);
        let beside = self.told.into_iter().chain([ring, lost]).flatten();
        match self.hall.attention() {
            Some(attention) => {
                let standing = beside.chain(attention.alerts(now));
                self.alerts.observe(standing, now, attention.claps());
            }
            None => self.alerts.observe(beside, now, false),
        }
        true
    }

    /// What was asked for is done, or (`false`) left.
    pub fn answer(&mut self, carried_out: bool) {
        match self.alerts.seen().copied() {
            None | Some(Alert::Ring(_)) => self.answer_ring(carried_out),
            Some(Alert::Loud(advice)) => {
                if let (true, SoundAction::MainsDown { by }) = (carried_out, advice.action) {
                    self.move_mains(Db::new(-f64::from(by)));
                }
                if let Some(attention) = self.hall.attention_mut() {
                    attention.answer_level();
                }
            }
            Some(_) => {}
        }
        self.alerts.answer();
    }

    fn answer_ring(&mut self, carried_out: bool) {
        if carried_out {
            match self.watch.advice().action {
                ShowAction::FaderDown { channel, by } => self.move_channel(channel, Db::new(-f64::from(by))),
                ShowAction::MainsDown { by } => self.move_mains(Db::new(-f64::from(by))),
                ShowAction::CreepBack { channel: Some(channel), by } => {
                    self.move_channel(channel, Db::new(f64::from(by)));
                }
                ShowAction::CreepBack { channel: None, by } => self.move_mains(Db::new(f64::from(by))),
                ShowAction::Cut(change) => {
                    for grab in change.grabs() {
                        self.hall.set_band(grab.place, grab.band, grab.depth);
                    }
                }
                ShowAction::Nothing | ShowAction::MuteIdle => {}
            }
        }
        self.watch.answer(carried_out);
    }

    /// On a desk that is moved from here.
    pub fn move_mains(&mut self, by: Db) {
        self.mains += by;
        self.hall.set_output(Output::Mains, self.mains);
    }

    fn move_channel(&mut self, channel: ChannelId, by: Db) {
        if let Some(at) = self.channels.get_mut(channel.index()) {
            *at += by;
            self.hall.set_channel(channel, *at);
        }
    }
}
