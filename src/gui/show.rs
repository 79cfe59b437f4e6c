//! The show's page, almost empty: the song and its open microphones, a large clock, one line. What can't wait borders
//! the whole window in dashes.

use eframe::egui::{Button, Context, Key, LayerId, Modifiers, Order, Rect, RichText, Shape, Stroke, Ui, pos2, vec2};

use super::evening::{KeepWish, Kept};
use super::step::{self, Words};
use super::theme::{GAP, Look, TARGET, bold};
use crate::engine::show::{Alert, ReadyStep, ShowLog, Urgency};
use crate::engine::watched::{LookSay, Say, Told, WatchLink};
use crate::event::Checked;
use crate::units::{ChannelId, Db};
use crate::view::hall::{self, SongLine};
use crate::view::ready::{self, ready_headline, ready_step};
use crate::view::show::{room_line, show_headline, show_step, so_far, urgency};
use crate::view::{NextStep, Setup, labels, who};

#[derive(Default)]
pub struct ShowPage {
    /// Once it has begun; an error tells why it could not.
    link: Option<Result<Box<dyn WatchLink>, String>>,
    /// The last look before doors, while it goes on.
    look: Option<Looking>,
    song: usize,
    /// The microphone in the room is being chosen.
    asks_room: bool,
}

/// What a last look is held against.
pub struct Looking {
    pub before: Checked,
    pub device: String,
}

/// What is wished for on this page.
pub enum ShowWish {
    Say(Say),
    Ready,
    /// Which microphone is in the room?
    AskRoom,
    /// The microphone in the room, or none.
    Room(Option<ChannelId>),
    /// Of the recording.
    Keep(KeepWish),
    /// The last look is over.
    ToTheShow,
}

/// Width of the dashed border, and the length of a dash.
const BORDER: (f32, f32) = (12.0, 44.0);

impl ShowPage {
    /// The song at hand.
    pub fn song(&self, setup: &Setup) -> Option<String> {
        setup.songs().get(self.song).map(|song| song.name.clone())
    }

    /// Its number in the programme, from 0.
    pub const fn song_at_hand(&self) -> usize {
        self.song
    }

    /// What is asked for now, and what was about rings.
    pub fn asked(&self) -> Option<(ShowLog, Option<Alert>)> {
        match self.link.as_ref()?.as_ref().ok()?.picture().told {
            Told::Show { log, alert, .. } => Some((*log, alert)),
            _ => None,
        }
    }

    /// The same, and its words.
    pub fn told(&self, setup: &Setup) -> Option<(ShowLog, Option<Alert>, NextStep)> {
        let link = self.link.as_ref()?.as_ref().ok()?;
        let Told::Show { log, alert, room, .. } = link.picture().told else { return None };
        let next =
            show_step(alert.as_ref(), names(link.as_ref(), setup), room.and_then(|room| room.calibration).as_ref());
        Some((*log, alert, next))
    }

    pub const fn has_begun(&self) -> bool {
        self.link.is_some()
    }

    pub fn begun(&mut self, link: Result<Box<dyn WatchLink>, String>) {
        self.link = Some(link);
    }

    pub fn end(&mut self) {
        (self.link, self.look) = (None, None);
    }

    /// A last look has begun, or is over.
    pub fn look(&mut self, look: Option<Looking>) {
        self.look = look;
    }

    pub fn say(&self, say: Say) {
        if let Some(Ok(link)) = &self.link {
            link.say(say);
        }
    }

    pub fn keys(&mut self, context: &Context, setup: &Setup, kept: &mut Kept) -> Option<ShowWish> {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        if pressed(Key::K) {
            return Some(ShowWish::Keep(if kept.is_recording() { KeepWish::Stop } else { KeepWish::Record }));
        }
        let songs = setup.songs().len();
        if pressed(Key::ArrowDown) || pressed(Key::PageDown) {
            self.song = (self.song + 1).min(songs.saturating_sub(1));
        }
        if pressed(Key::ArrowUp) || pressed(Key::PageUp) {
            self.song = self.song.saturating_sub(1);
        }
        let looks = self.look.is_some();
        let picture = self.link.as_ref()?.as_ref().ok()?.picture();
        let Told::Show { alert, .. } = picture.told else { return None };
        if kept.asks() && alert.is_none() {
            if pressed(Key::Escape) {
                kept.leave();
            } else if pressed(Key::Space) {
                return kept.agreed().map(|consent| ShowWish::Keep(KeepWish::Agreed(consent)));
            }
        }
        // What wants a hand comes before a last look.
        if (looks || alert.is_none()) && pressed(Key::R) {
            return Some(if looks { ShowWish::Say(Say::Look(LookSay::Again)) } else { ShowWish::Ready });
        }
        if looks {
            let answer = |mended| Some(ShowWish::Say(Say::Look(LookSay::Answer(mended))));
            return if pressed(Key::Escape) {
                Some(ShowWish::ToTheShow)
            } else if pressed(Key::Space) {
                answer(true)
            } else {
                pressed(Key::S).then(|| answer(false)).flatten()
            };
        }
        if pressed(Key::L) && may_choose_room(setup, picture.has_a_desk) {
            self.asks_room = !self.asks_room;
        }
        if self.asks_room && pressed(Key::Escape) {
            self.asks_room = false;
        }
        if picture.has_a_desk {
            for (key, by) in [(Key::ArrowLeft, -1.0), (Key::ArrowRight, 1.0)] {
                if pressed(key) {
                    return Some(ShowWish::Say(Say::Mains(Db::new(by))));
                }
            }
        }
        if alert.is_none() {
            None
        } else if pressed(Key::Space) {
            Some(ShowWish::Say(Say::Show(true)))
        } else {
            pressed(Key::S).then_some(ShowWish::Say(Say::Show(false)))
        }
    }

    /// `lines`: of the device; `clock`: the hall's own, "19:42".
    pub fn ui(
        &mut self,
        ui: &mut Ui,
        look: Look,
        setup: &Setup,
        lines: usize,
        clock: &str,
        kept: &mut Kept,
    ) -> Option<ShowWish> {
        let palette = look.palette();
        let tall = ui.ctx().content_rect().height();
        ui.horizontal(|ui| {
            ui.vertical(|ui| {
                let SongLine { place, open } = hall::song_line(setup.songs(), self.song);
                ui.label(RichText::new(place).font(look.then(tall)).color(palette.quiet));
                ui.label(RichText::new(open).font(bold(look.then(tall).size * 1.3)));
            });
            ui.with_layout(eframe::egui::Layout::right_to_left(eframe::egui::Align::TOP), |ui| {
                ui.label(RichText::new(clock).font(bold(tall * 0.11)));
            });
        });
        ui.add_space(tall * 0.06);
        match self.link.as_ref()? {
            Ok(link) => match &self.look {
                Some(looking) => last_look(ui, look, setup, link.as_ref(), (looking, clock)),
                None => {
                    let wish = now(ui, look, setup, link.as_ref(), self.asks_room.then_some(lines), kept);
                    if let Some(ShowWish::AskRoom | ShowWish::Room(_)) = wish {
                        self.asks_room = matches!(wish, Some(ShowWish::AskRoom)) && !self.asks_room;
                    }
                    wish
                }
            },
            Err(why) => {
                ui.label(why);
                None
            }
        }
    }
}

/// The channels', of the simulated hall its own.
fn names<'a>(link: &'a dyn WatchLink, setup: &'a Setup) -> &'a [String] {
    let own = link.names();
    if own.is_empty() { &setup.names } else { own }
}

/// The last look before doors.
fn last_look(
    ui: &mut Ui,
    look: Look,
    setup: &Setup,
    link: &dyn WatchLink,
    (looking, clock): (&Looking, &str),
) -> Option<ShowWish> {
    let Told::Show { ready, .. } = link.picture().told else { return None };
    let advice = ready?;
    let names = names(link, setup);
    let next =
        ready_step(&advice, &ready::Look { names, setup, before: &looking.before, device: &looking.device, clock });
    let headline = ready_headline(&advice, setup.minutes_left());
    let palette = look.palette();
    let then = if advice.channel.is_some() {
        format!("{}: {}", who(advice.channel, names), next.then)
    } else {
        next.then.clone()
    };
    step::next_step(ui, look, &Words { headline: &headline, then: &then, next: &next }, palette.text);
    let mut wish = None;
    ui.add_space(GAP);
    ui.horizontal_wrapped(|ui| {
        let mut offer = |label: &str, asked: ShowWish| {
            let button = Button::new(RichText::new(label).font(look.strong()));
            if ui.add(button.min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                wish = Some(asked);
            }
        };
        if matches!(advice.step, ReadyStep::Do(_)) {
            offer(labels::DONE, ShowWish::Say(Say::Look(LookSay::Answer(true))));
            offer(labels::LEAVE, ShowWish::Say(Say::Look(LookSay::Answer(false))));
        }
        offer(labels::LOOK_AGAIN, ShowWish::Say(Say::Look(LookSay::Again)));
        offer(labels::TO_THE_SHOW, ShowWish::ToTheShow);
    });
    wish
}

/// The one line, and what answers it.
fn now(
    ui: &mut Ui,
    look: Look,
    setup: &Setup,
    link: &dyn WatchLink,
    room_among: Option<usize>,
    kept: &mut Kept,
) -> Option<ShowWish> {
    let picture = link.picture();
    let Told::Show { alert, room, counts, .. } = &picture.told else { return None };
    let alert = alert.as_ref();
    let palette = look.palette();
    let calibration = room.as_ref().and_then(|room| room.calibration.as_ref());
    let mut next = show_step(alert, names(link, setup), calibration);
    if let Some(over) = &picture.over {
        next.proof = over.clone().unwrap_or_default();
    }
    let urgency = urgency(alert);
    if alert.is_some_and(|alert| alert.urgency() == Urgency::Now) {
        border(ui, look);
    }
    let then = urgency.map_or_else(|| next.then.clone(), |urgency| format!("{urgency}: {}", next.then));
    let headline = show_headline(alert);
    step::next_step(ui, look, &Words { headline: &headline, then: &then, next: &next }, palette.text);
    ui.add_space(GAP);
    // What wants a hand comes before the question.
    let asks = kept.asks() && urgency.is_none();
    let mut said = if asks { kept.question(ui, look, setup).map(ShowWish::Keep) } else { None };
    ui.horizontal_wrapped(|ui| {
        if asks {
            return;
        }
        let mut offer = |label: &str, wish: ShowWish| {
            let button = Button::new(RichText::new(label).font(look.strong()));
            if ui.add(button.min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                said = Some(wish);
            }
        };
        if urgency.is_some() {
            offer(labels::DONE, ShowWish::Say(Say::Show(true)));
            offer(labels::LEAVE, ShowWish::Say(Say::Show(false)));
        } else {
            offer(labels::READY, ShowWish::Ready);
        }
        if picture.has_a_desk {
            offer(labels::MAINS_DOWN, ShowWish::Say(Say::Mains(Db::new(-1.0))));
            offer(labels::MAINS_UP, ShowWish::Say(Say::Mains(Db::new(1.0))));
        }
    });
    if asks {
        return said;
    }
    ui.with_layout(eframe::egui::Layout::bottom_up(eframe::egui::Align::LEFT), |ui| {
        let (shown, held) = *counts;
        ui.label(RichText::new(so_far(shown, held)).color(palette.quiet));
        if let Some(room) = room {
            ui.label(RichText::new(room_line(room)).color(palette.quiet));
        }
        if may_choose_room(setup, picture.has_a_desk) {
            said = choose_room(ui, setup, room_among).or(said.take());
            said = kept.row(ui, look, setup).map(ShowWish::Keep).or(said.take());
        }
    });
    said
}

/// The event keeps it; the simulated hall has none.
const fn may_choose_room(setup: &Setup, simulated: bool) -> bool {
    setup.event.is_some() && !simulated
}

/// Which of so many lines is the microphone in the room, while that is asked; else a button that asks.
fn choose_room(ui: &mut Ui, setup: &Setup, among: Option<usize>) -> Option<ShowWish> {
    let chosen = setup.room();
    let Some(lines) = among else {
        return ui.button(labels::room_microphone(chosen)).clicked().then_some(ShowWish::AskRoom);
    };
    let mut said = None;
    ui.horizontal_wrapped(|ui| {
        ui.label(labels::ROOM_MICROPHONE);
        for line in std::iter::once(None).chain((0..lines).map(|line| Some(ChannelId::from_index(line)))) {
            let name = line.map_or_else(|| labels::NONE.to_owned(), |line| line.number().to_string());
            if ui.add(Button::selectable(chosen == line, name)).clicked() {
                said = Some(ShowWish::Room(line));
            }
        }
    });
    said
}

/// Dashes of the text's colour and the ground's dark around everything.
fn border(ui: &Ui, look: Look) {
    let palette = look.palette();
    let painter = ui.ctx().layer_painter(LayerId::new(Order::Foreground, ui.scope_id().with("now")));
    let (wide, dash) = BORDER;
    let rect: Rect = ui.ctx().content_rect().shrink(wide / 2.0);
    let corners = [rect.left_top(), rect.right_top(), rect.right_bottom(), rect.left_bottom(), rect.left_top()];
    painter.rect_stroke(rect, 0.0, Stroke::new(wide, palette.hatch), eframe::egui::StrokeKind::Middle);
    for side in corners.windows(2) {
        let (from, to) = (side[0], side[1]);
        let long = from.distance(to);
        let along = (to - from) / long;
        let mut at = 0.0;
        while at < long {
            let end = (at + dash).min(long);
            let points = [from + along * at, from + along * end].map(|p| pos2(p.x, p.y));
            painter.add(Shape::line_segment(points, Stroke::new(wide, palette.text)));
            at += 2.0 * dash * 0.84;
        }
    }
}
