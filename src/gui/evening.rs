//! What is kept of an evening in the window: the event's log, and a recording of all channels, which goes on whatever page
//! is looked at. Who may be recorded is asked once for an event, and kept there.

use std::path::{Path, PathBuf};

use eframe::egui::{Button, RichText, ScrollArea, Ui, vec2};

use super::theme::{Look, TARGET};
use crate::engine::Snapshot;
use crate::engine::record::Recording;
use crate::engine::session::Status;
use crate::engine::show::{Alert, ShowLog};
use crate::event::{Consent, Date};
use crate::units::{ChannelId, Seconds};
use crate::view::evening::{Evening, News};
use crate::view::{NextStep, Setup, labels, multitrack, who};

#[derive(Default)]
pub struct Kept {
    evening: Option<Evening>,
    /// Of this event.
    folder: Option<PathBuf>,
    /// Who may be recorded, while that is being said; the days after which recordings are to go.
    asking: Option<(Vec<ChannelId>, Option<u16>)>,
    alert: Option<Alert>,
    /// Since when it is recorded, on the audio clock.
    since: Seconds,
    at: Seconds,
}

/// What is wished for.
pub enum KeepWish {
    /// Begin to record, if it is known who may be.
    Record,
    /// This is who may be.
    Agreed(Consent),
    Stop,
}

/// After so many days recordings may be wanted gone.
const DAYS: [Option<u16>; 4] = [None, Some(14), Some(30), Some(90)];

impl Kept {
    /// The log of this event from now on; an error tells why there is none.
    pub fn open(&mut self, setup: &Setup) -> std::io::Result<()> {
        let folder = setup.event.as_ref().map(|event| event.folder().to_owned());
        if self.evening.is_none() || folder != self.folder {
            *self = Self::default();
            self.evening = folder.is_some().then(|| Evening::of(setup)).transpose()?;
            self.folder = folder;
        }
        Ok(())
    }

    /// All of it ends; what was heard is written.
    pub fn close(&mut self) {
        *self = Self::default();
    }

    pub fn is_recording(&self) -> bool {
        self.recording().is_some()
    }

    fn recording(&self) -> Option<&Recording> {
        self.evening.as_ref().and_then(Evening::recording).filter(|recording| !recording.is_over())
    }

    pub fn ask(&mut self) {
        self.asking = Some((Vec::new(), None));
    }

    pub fn asks(&self) -> bool {
        self.asking.is_some()
    }

    pub fn leave(&mut self) {
        self.asking = None;
    }

    /// A recording has begun.
    pub fn record(&mut self, recording: Recording, consent: &Consent) -> Option<News> {
        (self.asking, self.since) = (None, self.at);
        self.evening.as_mut().map(|evening| evening.keep(recording, consent))
    }

    pub fn stop(&self) {
        self.recording().into_iter().for_each(Recording::stop);
    }

    /// What happened since.
    pub fn hear(&mut self, snapshot: &Snapshot, status: &Status) -> Vec<News> {
        self.at = snapshot.at;
        self.evening.as_mut().map(|evening| evening.hear(snapshot, status)).unwrap_or_default()
    }

    /// What the show asks for, and the song at hand.
    pub fn watch(&mut self, log: &ShowLog, alert: Option<&Alert>, next: &NextStep, song: usize) {
        let Some(evening) = &mut self.evening else { return };
        evening.song_is(song);
        evening.watch(log);
        if let Some(alert) = alert.filter(|alert| self.alert.is_none_or(|before| before != **alert)) {
            evening.alert(alert, next);
        }
        self.alert = alert.copied();
    }

    /// It is done, or left.
    pub fn answer(&self, log: &ShowLog, alert: Option<&Alert>, done: bool) {
        if let Some(evening) = &self.evening {
            evening.answer(log.open.as_ref(), alert, done);
        }
    }

    /// As [`Evening::trouble`].
    pub fn trouble(&self) -> Option<Option<Seconds>> {
        self.evening.as_ref().and_then(Evening::trouble)
    }

    /// "Recording 0:12:31", beside every page.
    pub fn told(&self) -> Option<String> {
        self.recording().map(|_| multitrack::goes_on(self.at - self.since))
    }

    /// The row that begins it, or stops it.
    pub fn row(&self, ui: &mut Ui, look: Look, setup: &Setup) -> Option<KeepWish> {
        let (Some(told), Some(recording)) = (self.told(), self.recording()) else {
            return (!self.asks() && ui.button(labels::RECORD).clicked()).then_some(KeepWish::Record);
        };
        let barred = setup.event.as_ref().and_then(|event| event.settings.recording.as_ref());
        let tracks =
            multitrack::tracks(recording.tracks.len(), barred.map_or(&[][..], |consent| &consent.barred), &setup.names);
        let row = ui.horizontal(|ui| {
            let stop = ui.button(labels::STOP_RECORDING).clicked().then_some(KeepWish::Stop);
            ui.label(RichText::new(format!("{told}, {tracks}")).color(look.palette().quiet));
            stop
        });
        row.inner
    }

    /// Who may be recorded, while it is asked.
    pub fn question(&mut self, ui: &mut Ui, look: Look, setup: &Setup) -> Option<KeepWish> {
        let (barred, days) = self.asking.as_mut()?;
        let (mut wish, mut leave) = (None, false);
        ui.horizontal_wrapped(|ui| {
            let button = |label: &str| {
                Button::new(RichText::new(label).font(look.strong())).min_size(vec2(TARGET * 2.0, TARGET))
            };
            if ui.add(button(labels::BEGIN_RECORDING)).clicked() {
                wish = Some(KeepWish::Agreed(Self::consent(barred, *days)));
            }
            leave = ui.add(button(labels::NO_RECORDING)).clicked();
        });
        ui.horizontal_wrapped(|ui| {
            ui.label(labels::DELETE_AFTER);
            for choice in DAYS {
                if ui.add(Button::selectable(choice == *days, labels::days(choice))).clicked() {
                    *days = choice;
                }
            }
        });
        ui.label(labels::NOT_RECORDED);
        ScrollArea::vertical().show(ui, |ui| {
            ui.horizontal_wrapped(|ui| {
                for channel in (0..setup.names.len()).map(ChannelId::from_index) {
                    let at = barred.iter().position(|other| *other == channel);
                    let sign = if at.is_some() { "× " } else { "" };
                    let name = format!("{sign}{}", who(Some(channel), &setup.names));
                    if ui.add(Button::selectable(at.is_some(), name)).clicked() {
                        match at {
                            Some(at) => drop(barred.remove(at)),
                            None => barred.push(channel),
                        }
                    }
                }
            });
        });
        if leave {
            self.asking = None;
        }
        wish
    }

    /// As it was said so far.
    pub fn agreed(&self) -> Option<Consent> {
        self.asking.as_ref().map(|(barred, days)| Self::consent(barred, *days))
    }

    fn consent(barred: &[ChannelId], days: Option<u16>) -> Consent {
        let mut barred = barred.to_vec();
        barred.sort();
        let delete_after = days.and_then(|days| Date::today()?.after(days));
        Consent { barred, delete_after }
    }
}

/// Where an event's recordings go.
pub fn recordings_of(event: &Path) -> PathBuf {
    event.join("recordings")
}
