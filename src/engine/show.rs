//! The show in a hall: rings are watched for, and asked about by the strict rules of `coach::ringout::ShowWatch`.
//!
//! Where the desk can be moved from here, "done" carries out what is asked for, and the mains can be moved for practice.
//! Faders in dB from their show marks. Edge cases: nothing is asked for while nothing rings.

use super::hall::Hall;
pub use crate::coach::ringout::{CutList, Equaliser, Output, ShowAction, ShowAdvice, ShowEntry, ShowWatch, Urgency};
use crate::units::{ChannelId, Db, Seconds};

pub struct ShowDesk<H> {
    hall: H,
    watch: ShowWatch,
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
            mains: Db::ZERO,
            channels: vec![Db::ZERO; channels],
            now: Seconds::ZERO,
        }
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
        true
    }

    /// What was asked for is done, or (`false`) left.
    pub fn answer(&mut self, carried_out: bool) {
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
