//! The show's page at work: its hall, the last look before doors, the recording, what goes into the event's log.

use super::App;
use crate::engine::record::RecordPlan;
use crate::engine::session::Hearing;
use crate::engine::show::{Attending, Laptop};
use crate::engine::watched::{LookSay, Moment, Say, Where};
use crate::event::Consent;
use crate::gui::View;
use crate::gui::evening::{KeepWish, recordings_of};
use crate::gui::show::{Looking, ShowWish};
use crate::view::{evening, labels, multitrack};

impl App {
    pub(super) fn begin_the_show(&mut self) {
        let equaliser = self.ringout.wish().equaliser;
        let link = self.begin(&Moment::Show(equaliser, self.attending()), self.place());
        self.show.begun(link);
        self.show.say(Say::Recording(self.kept.trouble()));
        if !self.soundcheck.is_staged()
            && let Err(error) = self.kept.open(&self.setup)
        {
            self.soundcheck.noted = Some(error.to_string());
        }
    }

    pub(super) fn wished_in_the_show(&mut self, wish: ShowWish) {
        match wish {
            ShowWish::Say(say) => {
                if let Say::Show(done) = say
                    && let Some((log, alert)) = self.show.asked()
                {
                    self.kept.answer(&log, alert.as_ref(), done);
                }
                self.show.say(say);
            }
            ShowWish::Keep(wish) => self.record(wish),
            ShowWish::Ready => self.begin_the_last_look(),
            ShowWish::AskRoom => {}
            ShowWish::Room(room) => {
                self.soundcheck.noted = self.setup.keep_room(room).err().map(|error| error.to_string());
                self.show.end();
                self.begin_the_show();
            }
            ShowWish::ToTheShow if self.soundcheck.is_staged() => {
                self.show.end();
                self.begin_the_show();
            }
            ShowWish::ToTheShow => {
                self.show.say(Say::Look(LookSay::End));
                self.show.look(None);
            }
        }
    }

    fn record(&mut self, wish: KeepWish) {
        let agreed = match wish {
            KeepWish::Stop => return self.kept.stop(),
            KeepWish::Record => self.setup.event.as_ref().and_then(|event| event.settings.recording.clone()),
            KeepWish::Agreed(consent) => match self.setup.keep_consent(&consent) {
                Ok(()) => Some(consent),
                Err(error) => return self.soundcheck.noted = Some(error.to_string()),
            },
        };
        let told = match (&self.setup.event, agreed) {
            _ if self.soundcheck.is_staged() => Some(labels::STAGE_NOT_RECORDED.into()),
            (None, _) => Some(labels::RECORDING_WANTS_AN_EVENT.into()),
            (Some(_), None) => {
                self.kept.ask();
                None
            }
            (Some(event), Some(consent)) => {
                let folder = recordings_of(event.folder());
                let plan = evening::plan(&folder, multitrack::SHOW, &consent);
                Some(self.begin_recording(plan, &consent))
            }
        };
        self.soundcheck.noted = told;
    }

    /// What is to be told of it.
    fn begin_recording(&mut self, plan: RecordPlan, consent: &Consent) -> String {
        let link = match &self.soundcheck.link {
            Ok(link) => link,
            Err(why) => return why.clone(),
        };
        if let Err(error) = self.kept.open(&self.setup) {
            return error.to_string();
        }
        match link.record(plan) {
            Ok(recording) => self.kept.record(recording, consent).map_or_else(String::new, |news| news.text),
            Err(error) => error.to_string(),
        }
    }

    /// What happens beside the sound goes into the event's log, and what wants a hand to the show.
    pub(super) fn follow_the_evening(&mut self) {
        if let (Some(snapshot), false) = (&self.soundcheck.snapshot, self.soundcheck.is_staged()) {
            if let Some(news) = self.kept.hear(snapshot, &self.soundcheck.status).into_iter().next_back() {
                self.soundcheck.noted = Some(news.text);
                self.show.say(Say::Recording(self.kept.trouble()));
            }
            if let Some((log, alert, next)) = self.show.told(&self.setup) {
                self.kept.watch(&log, alert.as_ref(), &next, self.show.song_at_hand());
            }
        }
    }

    /// Against the soundcheck that is stored; on the simulated stage as that one left it, before anybody plays.
    fn begin_the_last_look(&mut self) {
        let before = match self.setup.stored_soundcheck(self.soundcheck.is_staged()) {
            Ok(Some(before)) => before,
            Ok(None) => return self.soundcheck.noted = Some(labels::NO_SOUNDCHECK.into()),
            Err(error) => return self.soundcheck.noted = Some(error.to_string()),
        };
        if let Hearing::Stage { seed, .. } = self.soundcheck.hearing {
            let knobs = before.left.lines.iter().map(|line| line.knob).collect();
            let (moment, wake) = (Moment::Show(self.ringout.wish().equaliser, self.attending()), self.wake(View::Show));
            let link = (self.world.hall)(&moment, Where::QuietStage { seed, knobs }, wake);
            self.show.begun(link);
        }
        let may_sleep = self.soundcheck.link.as_ref().is_ok_and(|link| link.may_sleep());
        let laptop = Laptop { may_sleep, odd_clock: self.setup.odd_clock(), ..Laptop::default() };
        let device = self.soundcheck.source().to_owned();
        let look = self.setup.look_for(&before, &device, laptop);
        self.show.say(Say::Look(LookSay::Begin(Box::new(look))));
        self.show.look(Some(Looking { before, device }));
        self.soundcheck.noted = None;
    }

    /// What the show attends to, with the microphone in the room if the device has that line.
    fn attending(&self) -> Attending {
        let lines = self.soundcheck.link.as_ref().map_or(0, |link| link.format().channels);
        self.setup.attending(self.setup.room().filter(|room| room.index() < lines))
    }
}
