//! A ring-out on a hall whose desk can be moved from here, or on one where a person moves it.
//!
//! Orders (a fader, a cut, a mute) are checked, carried out and told to the coach; each can be undone. Units: faders and
//! cuts in dB, an output's fader from its show mark. Edge cases: an order that the desk can't carry out changes nothing
//! and says how to mend it; a gap in what is heard is for the detector.

use thiserror::Error;

use super::hall::Hall;
use crate::coach::ringout::same_tone;
pub use crate::coach::ringout::{
    Band, Change, Cut, Equaliser, Grab, Microphone, Microphones, Output, OutputPlan, OutputResult, Place, RingAdvice,
    RingAnswer, RingOut, RingOutPlan, RingStep, RingWish, SPARE_FOR_CHOIR, SPARE_FOR_VOICES,
};
use crate::units::{ChannelId, Db, Hertz, Seconds};

/// Something to be moved on the desk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Order {
    /// Up or down by so much.
    Output(Output, Db),
    Channel(ChannelId, Db),
    Cut {
        place: Place,
        frequency: Hertz,
        by: Db,
    },
    LowCut {
        channel: ChannelId,
        at: Hertz,
    },
    Mute(ChannelId),
    Open(ChannelId),
    Undo,
}

/// Why an order was not carried out.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum OrderError {
    #[error("this desk is moved by hand. Turn it there, then type done")]
    NotHere,
    #[error("there is no {0} here. The outputs are: {1}")]
    NoOutput(String, String),
    #[error("there is no channel {0} here. Channels are 1 to {1}")]
    NoChannel(u16, usize),
    #[error("the fader would stand at {0:+.1} dB; it goes from -60 to +24. Ask for less")]
    FaderEnd(f64),
    #[error("{0:+.1} dB is no cut. Give a number from -9 to -1, or undo")]
    NoCut(f64),
    #[error("that would make it {0:.1} dB deep; 12 is the desk’s end. Ask for less")]
    TooDeep(f64),
    #[error("this equaliser has no band at {0}. The nearest is {1}")]
    NoBand(String, String),
    #[error("only shelves here: no band to cut. Take the fader down, or move the microphone")]
    Shelves,
    #[error("channels have no equaliser of their own here. Cut the output: cut mains 1.6k -3")]
    NoChannelEqualiser,
    #[error("the last cut can’t go back just now. Finish this step first")]
    NotNow,
    #[error("there is nothing to undo yet")]
    NothingToUndo,
}

const FADER: (f64, f64) = (-60.0, 24.0);
const DEEPEST: Db = Db::new(-12.0);
/// A band is meant if what was typed lies this near to it (printed and exact frequencies differ by less).
const MEANT: f64 = 0.03;

/// How an output stands, with its books.
#[derive(Clone, Debug)]
pub struct Ended {
    pub result: OutputResult,
    pub cuts: Vec<Cut>,
    /// What rang, the first tone first, each once.
    pub rang: Vec<Hertz>,
}

/// How the desk stands, and what was done to it.
pub struct RingOutDesk<H> {
    hall: H,
    coach: RingOut,
    outputs: Vec<(Output, Db)>,
    channels: Vec<(Db, bool)>,
    low_cuts: Vec<ChannelId>,
    bands: Vec<Cut>,
    done: Vec<Undo>,
    now: Seconds,
}

#[derive(Clone, Copy, Debug)]
enum Undo {
    Output(Output, Db),
    Channel(ChannelId, Db),
    Band(Cut, Db),
    /// What a step asked for, as it asked for it.
    Asked(Change),
    Open(ChannelId, bool),
}

impl<H: Hall> RingOutDesk<H> {
    /// `channels`: how many the desk has; all muted, but for the first of each output once the ring-out opens it.
    pub fn new(hall: H, plan: RingOutPlan, channels: usize) -> Self {
        let start = plan.numbers.start;
        let outputs = plan.outputs.iter().map(|output| (output.output, start)).collect();
        Self {
            hall,
            outputs,
            channels: vec![(Db::ZERO, true); channels],
            low_cuts: Vec::new(),
            bands: Vec::new(),
            done: Vec::new(),
            coach: RingOut::new(plan),
            now: Seconds::ZERO,
        }
    }

    pub fn coach(&self) -> &RingOut {
        &self.coach
    }

    /// Output by output.
    pub fn ended(&self) -> Vec<Ended> {
        let ended = |(at, result): (usize, OutputResult)| {
            let books = self.coach.books(at);
            let mut rang: Vec<Hertz> = Vec::new();
            for onset in books.iter().flat_map(|books| &books.onsets) {
                if !rang.iter().any(|known| same_tone(*known, onset.frequency)) {
                    rang.push(onset.frequency);
                }
            }
            Ended { result, cuts: books.map_or(Vec::new(), |books| books.cuts.cuts().to_vec()), rang }
        };
        self.coach.results().enumerate().map(ended).collect()
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
        self.coach.observe(rings, now);
        // Before the fader first goes up nothing can ring: what stands is the room's own.
        let step = self.coach.advice().step;
        let still = matches!(
            step,
            RingStep::Cautions
                | RingStep::Prepare { .. }
                | RingStep::SetFader { .. }
                | RingStep::Open(Microphones::One(_))
        );
        self.hall.learn_room(still);
        true
    }

    /// What the person says. Where the desk is moved from here, "done" carries out what the step asks for.
    pub fn answer(&mut self, answer: RingAnswer) {
        let before = self.coach.advice().step;
        if answer == RingAnswer::Done && self.hall.has_a_desk() {
            self.do_as_asked(before);
        }
        // A known movement of the fader has been taken for "done" already.
        if answer != RingAnswer::Done || self.coach.advice().step == before {
            self.coach.answer(answer);
        }
    }

    /// Moves the desk.
    pub fn obey(&mut self, order: Order) -> Result<(), OrderError> {
        if !self.hall.has_a_desk() {
            if order != Order::Undo {
                return Err(OrderError::NotHere);
            }
            self.coach.answer(RingAnswer::Undo);
            return Ok(());
        }
        match order {
            Order::Output(output, by) => {
                let before = self.output(output)?;
                let to = fader(before + by)?;
                self.done.push(Undo::Output(output, before));
                self.move_output(output, to);
            }
            Order::Channel(channel, by) => {
                let (before, _) = self.channel(channel)?;
                let to = fader(before + by)?;
                self.done.push(Undo::Channel(channel, before));
                self.channels[channel.index()].0 = to;
                self.hall.set_channel(channel, to);
            }
            Order::Cut { place, frequency, by } => self.cut(place, frequency, by)?,
            Order::LowCut { channel, at } => {
                self.channel(channel)?;
                self.low_cuts.push(channel);
                self.hall.set_low_cut(channel, at);
                self.tell_low_cut();
            }
            Order::Mute(channel) => self.open(channel, false)?,
            Order::Open(channel) => self.open(channel, true)?,
            Order::Undo => self.undo()?,
        }
        Ok(())
    }

    fn do_as_asked(&mut self, step: RingStep) {
        let output = self.coach.advice().output.unwrap_or(Output::Mains);
        let by = match step {
            RingStep::SetFader { to } => self.output(output).map_or(Db::ZERO, |at| to - at),
            RingStep::Up { by, .. } | RingStep::BackUp { by } => Db::new(f64::from(by)),
            RingStep::DropToTest { by } | RingStep::Down { by, .. } => Db::new(-f64::from(by)),
            RingStep::Leave { by, .. } => by,
            RingStep::Open(which) => return self.open_only(which, output),
            RingStep::LowCut { at, place } => return self.low_cut(place, at),
            RingStep::Cut(change) => {
                self.turn(&change);
                self.done.push(Undo::Asked(change));
                return;
            }
            RingStep::PutBack(change) => return self.turn_back(&change),
            RingStep::Free(Grab { place, band, depth, .. }) => return self.set_band(Cut { place, band, depth }),
            RingStep::GiveBack(cut) => return self.set_band(Cut { depth: Db::ZERO, ..cut }),
            RingStep::CutAgain(cut) => return self.set_band(cut),
            _ => return,
        };
        if let Ok(before) = self.output(output)
            && by != Db::ZERO
        {
            self.done.push(Undo::Output(output, before));
            self.move_output(output, before + by);
        }
    }

    fn open_only(&mut self, which: Microphones, output: Output) {
        let show: Vec<ChannelId> = self.microphones(output).collect();
        for index in 0..self.channels.len() {
            let channel = ChannelId::from_index(index);
            let open = match which {
                Microphones::One(one) => channel == one,
                Microphones::Two(one, two) => channel == one || channel == two,
                Microphones::Show => show.contains(&channel),
            };
            self.channels[index].1 = open;
            self.hall.set_open(channel, open);
        }
    }

    fn low_cut(&mut self, place: Place, at: Hertz) {
        let channels: Vec<ChannelId> = match place {
            Place::Channel(channel) => vec![channel],
            Place::Output(output) => self.microphones(output).collect(),
        };
        for channel in channels {
            self.low_cuts.push(channel);
            self.hall.set_low_cut(channel, at);
        }
    }

    fn microphones(&self, output: Output) -> impl Iterator<Item = ChannelId> + '_ {
        let plan = self.coach.plan().outputs.iter().find(move |it| it.output == output);
        plan.into_iter().flat_map(|plan| plan.microphones.iter().map(|it| it.channel))
    }

    fn turn(&mut self, change: &Change) {
        for grab in change.grabs() {
            if let Some(before) = grab.instead_of {
                self.set_band(Cut { place: grab.place, band: before, depth: Db::ZERO });
            }
            self.set_band(Cut { place: grab.place, band: grab.band, depth: grab.depth });
        }
    }

    fn turn_back(&mut self, change: &Change) {
        for grab in change.grabs() {
            let before = grab.depth - grab.by;
            match grab.instead_of {
                Some(band) => {
                    self.set_band(Cut { place: grab.place, band: grab.band, depth: Db::ZERO });
                    self.set_band(Cut { place: grab.place, band, depth: before });
                }
                None => self.set_band(Cut { place: grab.place, band: grab.band, depth: before }),
            }
        }
    }

    fn output(&self, output: Output) -> Result<Db, OrderError> {
        let found = self.outputs.iter().find(|(known, _)| *known == output);
        found.map(|(_, at)| *at).ok_or_else(|| {
            let names: Vec<String> = self.outputs.iter().map(|(output, _)| output.word()).collect();
            OrderError::NoOutput(output.word(), names.join(", "))
        })
    }

    fn channel(&self, channel: ChannelId) -> Result<(Db, bool), OrderError> {
        let known = self.channels.get(channel.index()).copied();
        known.ok_or(OrderError::NoChannel(channel.number(), self.channels.len()))
    }

    fn move_output(&mut self, output: Output, to: Db) {
        let before = self.output(output).unwrap_or(to);
        if let Some(entry) = self.outputs.iter_mut().find(|(known, _)| *known == output) {
            entry.1 = to;
        }
        self.hall.set_output(output, to);
        if self.coach.advice().output == Some(output) {
            self.coach.fader_moved(to - before);
        }
    }

    fn open(&mut self, channel: ChannelId, open: bool) -> Result<(), OrderError> {
        let (_, before) = self.channel(channel)?;
        self.done.push(Undo::Open(channel, before));
        self.channels[channel.index()].1 = open;
        self.hall.set_open(channel, open);
        Ok(())
    }

    fn cut(&mut self, place: Place, frequency: Hertz, by: Db) -> Result<(), OrderError> {
        if !(by.get() >= -9.0 && by.get() <= -1.0) {
            return Err(OrderError::NoCut(by.get()));
        }
        match place {
            Place::Output(output) => self.output(output).map(|_| ())?,
            Place::Channel(channel) => self.channel(channel).map(|_| ())?,
        }
        let band = self.band(place, frequency)?;
        let before = self.depth(place, band);
        let depth = before + by;
        if depth < DEEPEST {
            return Err(OrderError::TooDeep(-depth.get()));
        }
        self.done.push(Undo::Band(Cut { place, band, depth: before }, by));
        self.set_band(Cut { place, band, depth });
        self.coach.band_turned(place, band, by);
        Ok(())
    }

    fn set_band(&mut self, cut: Cut) {
        self.bands.retain(|known| (known.place, known.band) != (cut.place, cut.band));
        if cut.depth < Db::ZERO {
            self.bands.push(cut);
        }
        self.hall.set_band(cut.place, cut.band, cut.depth);
    }

    fn depth(&self, place: Place, band: Band) -> Db {
        let known = self.bands.iter().find(|cut| (cut.place, cut.band) == (place, band));
        known.map_or(Db::ZERO, |cut| cut.depth)
    }

    /// The band that is meant: the one asked for, one that stands already, or a new one.
    fn band(&self, place: Place, frequency: Hertz) -> Result<Band, OrderError> {
        let meant = |band: &Band| (band.centre().get() / frequency.get() - 1.0).abs() <= MEANT;
        if let RingStep::Cut(change) = self.coach.advice().step {
            let asked = change.grabs().find(|grab| grab.place == place && meant(&grab.band));
            if let Some(grab) = asked {
                return Ok(grab.band);
            }
        }
        if let Some(cut) = self.bands.iter().find(|cut| cut.place == place && meant(&cut.band)) {
            return Ok(cut.band);
        }
        let plan = self.coach.plan();
        let equaliser = match place {
            Place::Output(output) => plan.outputs.iter().find(|it| it.output == output).map(|it| it.equaliser),
            Place::Channel(_) if plan.channel_equaliser == Equaliser::Shelves => {
                return Err(OrderError::NoChannelEqualiser);
            }
            Place::Channel(_) => Some(plan.channel_equaliser),
        };
        match equaliser {
            None | Some(Equaliser::Shelves) => Err(OrderError::Shelves),
            Some(Equaliser::Parametric) => Ok(Band::Exact { frequency, q: 10.0 }),
            Some(Equaliser::Sweep) => Ok(Band::Swept { frequency }),
            Some(graphic) => match graphic.nearest(frequency).map(Band::Graphic) {
                Some(band) if meant(&band) => Ok(band),
                Some(band) => Err(OrderError::NoBand(hertz(frequency), hertz(band.centre()))),
                None => Err(OrderError::NoBand(hertz(frequency), "1000 Hz".into())),
            },
        }
    }

    fn undo(&mut self) -> Result<(), OrderError> {
        match self.done.pop().ok_or(OrderError::NothingToUndo)? {
            Undo::Output(output, to) => self.move_output(output, to),
            Undo::Channel(channel, to) => {
                self.channels[channel.index()].0 = to;
                self.hall.set_channel(channel, to);
            }
            Undo::Open(channel, open) => {
                self.channels[channel.index()].1 = open;
                self.hall.set_open(channel, open);
            }
            Undo::Asked(change) => {
                self.coach.answer(RingAnswer::Undo);
                if self.coach.advice().step == RingStep::PutBack(change) {
                    self.turn_back(&change);
                    self.coach.answer(RingAnswer::Done);
                } else {
                    self.done.push(Undo::Asked(change));
                    return Err(OrderError::NotNow);
                }
            }
            Undo::Band(before, by) => {
                self.set_band(before);
                self.coach.band_turned(before.place, before.band, -by);
            }
        }
        Ok(())
    }

    /// The low-cut that the step asks for is on, on all its channels.
    fn tell_low_cut(&mut self) {
        let RingStep::LowCut { place, .. } = self.coach.advice().step else { return };
        let on = |channel: ChannelId| self.low_cuts.contains(&channel);
        let all = match place {
            Place::Channel(channel) => on(channel),
            Place::Output(output) => self.microphones(output).all(on),
        };
        if all {
            self.coach.answer(RingAnswer::Done);
        }
    }
}

fn fader(to: Db) -> Result<Db, OrderError> {
    if to.get() >= FADER.0 && to.get() <= FADER.1 { Ok(to) } else { Err(OrderError::FaderEnd(to.get())) }
}

fn hertz(frequency: Hertz) -> String {
    format!("{:.0} Hz", frequency.get())
}
