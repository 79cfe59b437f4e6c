//! A recording that is opened: its picture, the fault at hand, hearing the passage around it, its numbers.
//!
//! Nothing sounds before the person has said that the volume is down, asked once for each recording that is opened; a
//! passage that plays is stopped by Esc, by another fault, and by leaving. Its level is the sink's business.

use std::time::Duration;

use eframe::egui::{Button, Context, Key, Modifiers, RichText, ScrollArea, Ui, vec2};

use super::picture::{self, Picture};
use super::step::{self, Words};
use super::theme::{BAR, GAP, Look, TARGET};
use crate::engine::excerpt::{self, Armed, Passage, Played, Playing};
use crate::view::{self, Fault, Take, recordings as words, who};

/// Begins to play a passage.
pub type Player = Box<dyn FnMut(Armed, Passage) -> Box<dyn Playing>>;

/// Through this machine's usual output.
pub fn of_this_machine() -> Player {
    Box::new(excerpt::play)
}

/// What is done with the one that is opened.
#[derive(Default)]
pub struct Opened {
    /// The place of the fault at hand.
    fault: usize,
    /// The person has said that the volume is down.
    confirmed: bool,
    asks: bool,
    playing: Option<Box<dyn Playing>>,
    /// Why nothing sounds.
    failed: Option<String>,
}

enum Wish {
    Earlier,
    Later,
    Pick(usize),
    Hear,
    Yes,
    No,
    Stop,
    Back,
}

impl Opened {
    /// With its worst fault at hand.
    pub fn new(take: &Take) -> Self {
        Self { fault: take.worst_first().first().copied().unwrap_or(0), ..Self::default() }
    }

    /// Whether it stays open.
    pub fn keys(&mut self, context: &Context, take: &Take, player: &mut Player) -> bool {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        let wish = if pressed(Key::Escape) {
            Some(match (&self.playing, self.asks) {
                (Some(_), _) => Wish::Stop,
                (None, true) => Wish::No,
                (None, false) => Wish::Back,
            })
        } else if self.asks && pressed(Key::Y) {
            Some(Wish::Yes)
        } else if pressed(Key::P) {
            Some(Wish::Hear)
        } else if pressed(Key::ArrowLeft) {
            Some(Wish::Earlier)
        } else if pressed(Key::ArrowRight) {
            Some(Wish::Later)
        } else {
            None
        };
        wish.is_none_or(|wish| self.carry_out(wish, take, player))
    }

    /// Draws it; whether it stays open.
    pub fn ui(&mut self, ui: &mut Ui, look: Look, take: &Take, names: &[String], player: &mut Player) -> bool {
        let palette = look.palette();
        let (headline, next) = words::one(take);
        step::next_step_of(ui, look, &Words { headline: &headline, then: &next.then, next: &next }, Some(take.bad));
        let sounds = self.follow(ui.ctx());
        let mut wish = None;
        ScrollArea::vertical().id_salt("opened").auto_shrink([false, false]).show(ui, |ui| {
            ui.set_max_width(ui.available_width() - BAR);
            ui.label(RichText::new(&take.name).font(look.strong()));
            let fault = take.faults.get(self.fault);
            if take.envelope.is_some() {
                let channel = fault.map(|fault| fault.channel);
                let at_hand = fault.map(|_| self.fault);
                if let Some(place) = picture::picture(ui, look, &Picture { take, channel, at_hand, sounds }) {
                    wish = Some(Wish::Pick(place));
                }
                let shows = words::shows(fault, &who(channel, names));
                ui.label(RichText::new(shows).font(look.small()).color(palette.quiet));
            }
            ui.horizontal_wrapped(|ui| wish = self.buttons(ui, look, take).or(wish.take()));
            if let Some(fault) = fault {
                self.at_hand(ui, look, take, fault);
            }
            ui.add_space(GAP / 2.0);
            for place in take.worst_first() {
                let fault = &take.faults[place];
                let said = format!("{}: {}", fault.bad.word(), fault.line);
                let line = Button::selectable(place == self.fault, said).wrap().min_size(vec2(0.0, TARGET));
                if ui.add(line).clicked() {
                    wish = Some(Wish::Pick(place));
                }
            }
            let heading = (!take.cues.is_empty()).then(|| view::CUE_LIST.to_owned());
            let more = view::more_findings(take.more_faults);
            for line in more.iter().chain(&take.details).chain(&heading).chain(&take.cues) {
                ui.label(RichText::new(line).color(palette.quiet));
            }
        });
        wish.is_none_or(|wish| self.carry_out(wish, take, player))
    }

    fn buttons(&self, ui: &mut Ui, look: Look, take: &Take) -> Option<Wish> {
        let mut wish = None;
        let mut offer = |ui: &mut Ui, label: &str, strong: bool, asked: Wish| {
            let text = if strong { RichText::new(label).font(look.strong()) } else { RichText::new(label) };
            if ui.add(Button::new(text).min_size(vec2(TARGET, TARGET))).clicked() {
                wish = Some(asked);
            }
        };
        if self.asks {
            ui.label(RichText::new(words::ASK_VOLUME).font(look.strong()));
            offer(ui, words::YES, true, Wish::Yes);
            offer(ui, words::NO, true, Wish::No);
            return wish;
        }
        if self.playing.is_some() {
            offer(ui, words::STOP, true, Wish::Stop);
        } else if !take.faults.is_empty() {
            offer(ui, words::PLAY, false, Wish::Hear);
        }
        if take.faults.len() > 1 {
            offer(ui, words::EARLIER, false, Wish::Earlier);
            offer(ui, words::LATER, false, Wish::Later);
        }
        offer(ui, words::BACK, false, Wish::Back);
        wish
    }

    /// The fault at hand in words, or what is asked or heard of it.
    fn at_hand(&self, ui: &mut Ui, look: Look, take: &Take, fault: &Fault) {
        let told = match (&self.playing, &self.failed) {
            (Some(playing), _) => words::played(&playing.played()),
            (None, Some(why)) => words::played(&Played::Failed(why.clone())),
            (None, None) => None,
        };
        if self.asks {
            ui.label(words::WHAT_IS_PLAYED);
        }
        if let Some(told) = told {
            ui.label(RichText::new(told).font(look.strong()));
        }
        ui.label(RichText::new(words::which_fault(self.fault, take.faults.len())).color(look.palette().quiet));
        ui.label(RichText::new(&fault.line).font(look.strong()));
        ui.label(&fault.advice);
    }

    /// Looks at what plays; where it is.
    fn follow(&mut self, context: &Context) -> Option<crate::units::Seconds> {
        let played = self.playing.as_ref()?.played();
        match played {
            Played::Over => self.playing = None,
            Played::Failed(why) => (self.playing, self.failed) = (None, Some(why)),
            // No event of the window's own tells how far it is.
            Played::Preparing => context.request_repaint_after(Duration::from_millis(50)),
            Played::Sounding(at) => {
                context.request_repaint_after(Duration::from_millis(50));
                return Some(at);
            }
        }
        None
    }

    /// Whether the recording stays open.
    fn carry_out(&mut self, wish: Wish, take: &Take, player: &mut Player) -> bool {
        match wish {
            Wish::Earlier => self.go(self.fault.saturating_sub(1)),
            Wish::Later => self.go((self.fault + 1).min(take.faults.len().saturating_sub(1))),
            Wish::Pick(place) => self.go(place),
            Wish::Hear if self.confirmed => self.play(take, player),
            Wish::Hear => self.asks = !take.faults.is_empty(),
            Wish::Yes => {
                (self.confirmed, self.asks) = (true, false);
                self.play(take, player);
            }
            Wish::No => self.asks = false,
            Wish::Stop => self.stop(),
            Wish::Back => {
                self.stop();
                return false;
            }
        }
        true
    }

    fn go(&mut self, place: usize) {
        if place != self.fault {
            self.stop();
            (self.fault, self.failed) = (place, None);
        }
    }

    fn play(&mut self, take: &Take, player: &mut Player) {
        self.stop();
        self.failed = None;
        let Some(fault) = take.faults.get(self.fault) else { return };
        match excerpt::arm(self.confirmed) {
            Ok(leave) => {
                self.playing = Some(player(leave, Passage::around(&take.path, fault.channel, fault.from)));
            }
            Err(error) => self.failed = Some(error.to_string()),
        }
    }

    /// Also for leaving the view: what plays is told to stop, and ends by itself.
    pub fn stop(&mut self) {
        if let Some(playing) = self.playing.take() {
            playing.stop();
        }
    }
}
