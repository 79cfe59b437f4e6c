//! A ring-out, a quiet sweep or a show on a thread of its own: it publishes pictures, ten a second, and takes what the person says.
//!
//! Latest wins. On the simulated stage time goes by as it does in a hall. Edge cases: a hall that is over stays as its
//! last picture, with the reason; so does one that panicked.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use super::hall::{Hall, LiveHall, Overheard, StageHall};
use super::quiet::{LivePlace, Place, QuietAnswer, QuietResult, QuietStep, QuietSweep, QuietWish, StagePlace};
use super::ringout::{Ended, Microphone, Order, RingAdvice, RingAnswer, RingOutDesk, RingOutPlan};
use super::running::lock;
use super::show::{Alert, Attending, LookFor, ReadyAdvice, RoomNow, ShowDesk, ShowLog};
use crate::coach::ringout::{Cut, Equaliser, RingWish};
use crate::detectors::Ring;
use crate::units::{ChannelId, Db, Seconds};

/// What is watched over in the hall.
#[derive(Clone, Debug, PartialEq)]
pub enum Moment {
    RingOut(RingWish),
    /// A wish without channels is for all microphones.
    Quiet(QuietWish),
    /// With the equaliser of the mains, and what is attended to beside rings.
    Show(Equaliser, Attending),
}

/// Where.
pub enum Where {
    /// A simulated hall.
    Stage { seed: u64 },
    /// The simulated stage before doors, as its soundcheck left the knobs; nobody plays.
    QuietStage { seed: u64, knobs: Vec<Option<Db>> },
    /// The real one; its microphones by channel, none where the lines are not known to be microphones' own.
    Hall { sound: Overheard, microphones: Vec<Microphone> },
}

/// What the person says or moves.
#[derive(Clone, Debug, PartialEq)]
pub enum Say {
    Ring(RingAnswer),
    Order(Order),
    Quiet(QuietAnswer),
    /// In the show: done, or (`false`) left.
    Show(bool),
    /// On the simulated stage, in the show: the mains, by so much.
    Mains(Db),
    /// In the show: the last look before doors.
    Look(LookSay),
    /// In the show: the recording has room for so much more, `Some(None)`: it stopped; `None`: all is well.
    Recording(Option<Option<Seconds>>),
}

/// What is said of the last look.
#[derive(Clone, Debug, PartialEq)]
pub enum LookSay {
    Begin(Box<LookFor>),
    Again,
    /// Put right, or (`false`) left.
    Answer(bool),
    End,
}

/// The newest state; latest wins.
#[derive(Clone, Debug)]
pub struct Picture {
    pub at: Seconds,
    pub told: Told,
    /// What rings now, on all channels.
    pub rings: Vec<Ring>,
    /// The loudest of all channels in each 24th of an octave (see `meters::Spectrum`), mean square.
    pub spectrum: Vec<f32>,
    /// Of the output at hand.
    pub equaliser: Equaliser,
    /// On the output at hand.
    pub cuts: Vec<Cut>,
    /// The desk is moved from here.
    pub has_a_desk: bool,
    /// The last order was not carried out: why.
    pub refused: Option<String>,
    /// The sound is over; why, if that is anybody's fault.
    pub over: Option<Option<String>>,
}

#[derive(Clone, Debug)]
pub enum Told {
    RingOut {
        advice: RingAdvice,
        target: Option<Db>,
        results: Vec<Ended>,
    },
    Quiet {
        step: QuietStep,
        result: Option<Arc<QuietResult>>,
    },
    Show {
        alert: Option<Alert>,
        room: Option<RoomNow>,
        counts: (u32, u32),
        ready: Option<Box<ReadyAdvice>>,
        log: Box<ShowLog>,
    },
}

/// What a face has of it.
pub trait WatchLink {
    fn picture(&self) -> Picture;
    fn say(&self, say: Say) -> bool;
    fn names(&self) -> &[String];
}

/// What goes on in a hall.
pub trait Watched {
    /// Hears 100 ms more; `false`: the sound is over.
    fn go_on(&mut self) -> bool;
    /// An error tells how to mend it.
    fn hear(&mut self, say: Say) -> Result<(), String>;
    fn picture(&self) -> Picture;
    /// Why the sound is over, if that is anybody's fault.
    fn lost(&self) -> Option<String>;
}

impl<H: Hall> Watched for RingOutDesk<H> {
    fn go_on(&mut self) -> bool {
        Self::go_on(self)
    }

    fn hear(&mut self, say: Say) -> Result<(), String> {
        match say {
            Say::Ring(answer) => self.answer(answer),
            Say::Order(order) => self.obey(order).map_err(|error| error.to_string())?,
            Say::Quiet(_) | Say::Show(_) | Say::Mains(_) | Say::Look(_) | Say::Recording(_) => {}
        }
        Ok(())
    }

    fn lost(&self) -> Option<String> {
        self.hall().lost()
    }

    fn picture(&self) -> Picture {
        let coach = self.coach();
        let advice = *coach.advice();
        let outputs = &coach.plan().outputs;
        let at_hand = outputs.iter().position(|plan| Some(plan.output) == advice.output);
        let equaliser = at_hand.map_or(Equaliser::ThirdOctave, |output| outputs[output].equaliser);
        let results = self.ended();
        let cuts = at_hand.and_then(|at| results.get(at)).map_or(Vec::new(), |ended| ended.cuts.clone());
        let told = Told::RingOut { advice, target: coach.plan().target, results };
        Picture { cuts, ..picture(self.hall(), self.now(), told, equaliser) }
    }
}

impl<H: Hall> Watched for ShowDesk<H> {
    fn go_on(&mut self) -> bool {
        Self::go_on(self)
    }

    fn hear(&mut self, say: Say) -> Result<(), String> {
        match say {
            Say::Show(done) => self.answer(done),
            Say::Mains(by) if self.hall().has_a_desk() => self.move_mains(by),
            Say::Look(LookSay::Begin(to)) => self.look(*to),
            Say::Look(LookSay::Again) => self.look_again(),
            Say::Look(LookSay::Answer(mended)) => self.answer_look(mended),
            Say::Look(LookSay::End) => self.end_look(),
            Say::Recording(trouble) => self.tell_recording(trouble),
            Say::Mains(_) | Say::Ring(_) | Say::Order(_) | Say::Quiet(_) => {}
        }
        Ok(())
    }

    fn lost(&self) -> Option<String> {
        self.hall().lost()
    }

    fn picture(&self) -> Picture {
        let watch = self.watch();
        let (alert, room, counts) = (self.alert().copied(), self.room_now(), self.counts());
        let told =
            Told::Show { alert, room, counts, ready: self.ready().copied().map(Box::new), log: Box::new(self.log()) };
        let cuts = watch.cuts().cuts().to_vec();
        Picture { cuts, ..picture(self.hall(), self.now(), told, watch.equaliser()) }
    }
}

impl<P: Place> Watched for QuietSweep<P> {
    fn go_on(&mut self) -> bool {
        Self::go_on(self)
    }

    fn hear(&mut self, say: Say) -> Result<(), String> {
        if let Say::Quiet(answer) = say {
            self.answer(answer);
        }
        Ok(())
    }

    /// Its step tells it.
    fn lost(&self) -> Option<String> {
        None
    }

    fn picture(&self) -> Picture {
        Picture {
            at: self.now(),
            told: Told::Quiet { step: self.step(), result: self.result().cloned() },
            rings: Vec::new(),
            spectrum: Vec::new(),
            equaliser: Equaliser::ThirdOctave,
            cuts: Vec::new(),
            has_a_desk: false,
            refused: None,
            over: None,
        }
    }
}

fn picture(hall: &impl Hall, at: Seconds, told: Told, equaliser: Equaliser) -> Picture {
    let mut spectrum = Vec::new();
    hall.spectrum(&mut spectrum);
    Picture {
        at,
        told,
        rings: hall.rings().to_vec(),
        spectrum,
        equaliser,
        cuts: Vec::new(),
        has_a_desk: hall.has_a_desk(),
        refused: None,
        over: None,
    }
}

/// A moment in a hall, with the channels' names.
pub fn watched(moment: &Moment, place: Where) -> Result<(Box<dyn Watched + Send>, Vec<String>), String> {
    const MONITORS: usize = 3;
    let none = || "the simulated hall can’t be built. Choose another number for it".to_owned();
    match place {
        Where::Stage { seed } => match moment {
            Moment::RingOut(wish) => {
                let hall = StageHall::new(seed, MONITORS).ok_or_else(none)?;
                let (names, plan) = (hall.names(), RingOutPlan::of(wish, &hall.microphones(), false));
                Ok((Box::new(RingOutDesk::new(hall, plan, names.len())), names))
            }
            Moment::Quiet(wish) => {
                let place = StagePlace::new(seed, MONITORS, wish.output).ok_or_else(none)?;
                let names = place.names();
                let wish = wish.clone().or_for(&place.microphones());
                Ok((Box::new(QuietSweep::new(place, wish).ok_or_else(none)?), names))
            }
            Moment::Show(equaliser, _) => {
                let hall = StageHall::on_show_night(seed).ok_or_else(none)?;
                let names = hall.names();
                let desk = ShowDesk::new(hall, *equaliser, names.len(), true).attending(&Attending::default());
                Ok((Box::new(desk), names))
            }
        },
        Where::QuietStage { seed, knobs } => {
            let hall = StageHall::before_doors(seed, knobs, &[]).ok_or_else(none)?;
            let names = hall.names();
            Ok((Box::new(ShowDesk::new(hall, Equaliser::ThirdOctave, names.len(), true)), names))
        }
        Where::Hall { sound, microphones } => match moment {
            Moment::RingOut(wish) => {
                let hall = LiveHall::of(sound);
                let channels = hall.channels();
                let plan = RingOutPlan::of(wish, &microphones, true);
                if plan.outputs.is_empty() {
                    return Err(NO_MICROPHONE.into());
                }
                Ok((Box::new(RingOutDesk::new(hall, plan, channels)), Vec::new()))
            }
            Moment::Quiet(wish) => {
                let channels: Vec<ChannelId> = microphones.iter().map(|microphone| microphone.channel).collect();
                let sweep = QuietSweep::new(LivePlace::new(sound, None), wish.clone().or_for(&channels));
                Ok((Box::new(sweep.ok_or(NO_MICROPHONE)?), Vec::new()))
            }
            Moment::Show(equaliser, attending) => {
                let hall = LiveHall::of(sound);
                let (channels, taps) = (hall.channels(), !microphones.is_empty());
                let desk = ShowDesk::new(hall, *equaliser, channels, taps).attending(attending).on_a_laptop();
                Ok((Box::new(desk), Vec::new()))
            }
        },
    }
}

const FAILED: &str =
    "the listening stopped unexpectedly. Begin again; faders and cuts on the desk stand where they were";
const NO_MICROPHONE: &str = "no microphone is in the input list. Name one there, then begin";

/// It runs until it is dropped.
pub struct Watch {
    picture: Arc<Mutex<Picture>>,
    say: SyncSender<Option<Say>>,
    names: Vec<String>,
    thread: Option<JoinHandle<()>>,
}

const WAITING: usize = 64;
const FRAME: Duration = Duration::from_millis(100);

impl Watch {
    /// `wake` is called from the thread with each new picture.
    pub fn start(moment: &Moment, place: Where, mut wake: Box<dyn FnMut(&Picture) + Send>) -> Result<Self, String> {
        let paced = matches!(place, Where::Stage { .. } | Where::QuietStage { .. });
        let (watched, names) = watched(moment, place)?;
        let picture = Arc::new(Mutex::new(watched.picture()));
        let (say, heard) = sync_channel(WAITING);
        let shared = Arc::clone(&picture);
        let run = move || {
            let mut publish = |picture| {
                lock(&shared).clone_from(&picture);
                wake(&picture);
            };
            if catch_unwind(AssertUnwindSafe(|| run(watched, &heard, paced, &mut publish))).is_err() {
                let last = lock(&shared).clone();
                publish(Picture { over: Some(Some(FAILED.into())), ..last });
            }
        };
        let thread = std::thread::Builder::new()
            .name("hall".into())
            .spawn(run)
            .map_err(|error| format!("the hall can’t be listened to: {error}. Close other programs and try again"))?;
        Ok(Self { picture, say, names, thread: Some(thread) })
    }
}

fn run(
    mut watched: Box<dyn Watched + Send>,
    said: &Receiver<Option<Say>>,
    paced: bool,
    publish: &mut impl FnMut(Picture),
) {
    let began = Instant::now();
    let mut frames = 0;
    let mut refused = None;
    loop {
        while let Ok(say) = said.try_recv() {
            let Some(say) = say else { return };
            refused = watched.hear(say).err();
        }
        let goes_on = watched.go_on();
        let mut picture = watched.picture();
        picture.refused.clone_from(&refused);
        if !goes_on {
            picture.over = Some(watched.lost());
            publish(picture);
            return;
        }
        publish(picture);
        frames += 1;
        if let Some(ahead) = (FRAME * frames).checked_sub(began.elapsed()).filter(|_| paced) {
            std::thread::sleep(ahead);
        }
    }
}

impl WatchLink for Watch {
    fn picture(&self) -> Picture {
        lock(&self.picture).clone()
    }

    fn say(&self, say: Say) -> bool {
        self.say.try_send(Some(say)).is_ok()
    }

    fn names(&self) -> &[String] {
        &self.names
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.say.try_send(None);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
