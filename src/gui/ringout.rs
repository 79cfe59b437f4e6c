//! The ring-out's page: before it begins what the desk has and what is wanted, to ring it out or to measure it quietly;
//! then the step, the spectrum, the cuts and the big stop; at the end how each output stands.

use eframe::egui::{
    Align, Button, Context, Key, Layout, Modifiers, Panel as EguiPanel, RichText, ScrollArea, Stroke, Ui, vec2,
};

use super::quiet;
use super::spectrum::spectrum;
use super::step::{self, Words};
use super::theme::{GAP, Look, TARGET, bold};
use crate::engine::quiet::{Opened, QuietResult, QuietWish};
use crate::engine::ringout::{Ended, Equaliser, Order, Output, RingAdvice, RingAnswer, RingStep, RingWish};
use crate::engine::watched::{Moment, Picture, Say, Told, WatchLink};
use crate::event::{Date, Note, VenueNotes};
use crate::units::Hertz;
use crate::view::hall::{self, WANTED};
use crate::view::ringout::{RING_CAUTIONS, cut_label, output_name, result_lines, ring_step};
use crate::view::venue_notes::{TO_CONFIRM, known_lines, noted_cuts, notes_lines, ring_out_notes, sweep_notes};
use crate::view::{Arrow, NextStep, Reply, labels, sweeps};

/// The monitors that can be named.
const WEDGES: u8 = 3;
/// Of each output, of other evenings.
const RINGS: usize = 3;

pub struct RingOutPage {
    wish: RingWish,
    /// A quiet sweep stands at the desk's main output, not at a return.
    at_main: bool,
    /// The quiet sweep that was begun last.
    quiet: QuietWish,
    /// What is noted of the hall.
    notes: VenueNotes,
    /// Why notes can't be read or kept, or where they are.
    kept: Option<String>,
    /// What was found is kept already, or is nothing to keep.
    is_kept: bool,
    /// Once it has begun; an error tells why it could not.
    link: Option<Result<Box<dyn WatchLink>, String>>,
}

/// What the page asks of the window.
pub enum Asked {
    Begin(Moment),
    Say(Say),
}

impl Default for RingOutPage {
    fn default() -> Self {
        Self {
            wish: RingWish::default(),
            at_main: false,
            quiet: QuietWish::usual(Opened::AtReturn),
            notes: VenueNotes::default(),
            kept: None,
            is_kept: false,
            link: None,
        }
    }
}

impl RingOutPage {
    pub fn wish(&self) -> &RingWish {
        &self.wish
    }

    /// It has begun, or can't; what is found in a real hall is to be kept.
    pub fn begun(&mut self, moment: &Moment, real: bool, link: Result<Box<dyn WatchLink>, String>) {
        if let Moment::Quiet(wish) = moment {
            self.quiet = wish.clone();
        }
        (self.is_kept, self.kept) = (!real, None);
        self.link = Some(link);
    }

    /// What is noted of the hall, or why that can't be told.
    pub fn recall(&mut self, notes: Result<VenueNotes, String>) {
        (self.notes, self.kept) = match notes {
            Ok(notes) => (notes, None),
            Err(why) => (VenueNotes::default(), Some(why)),
        };
    }

    /// What was found, once, when all of it is.
    pub fn found_to_keep(&mut self, names: &[String]) -> Option<Vec<Note>> {
        let picture = self.link.as_ref()?.as_ref().ok().filter(|_| !self.is_kept)?.picture();
        let found = match picture.told {
            Told::Quiet { result: Some(result), .. } => {
                let cuts_for = (self.wish.equaliser, self.wish.target.unwrap_or(sweeps::USUAL_SPARE));
                let loop_of = (self.quiet.opened, self.quiet.output);
                sweep_notes(&result, loop_of, names, cuts_for, Date::today())
            }
            Told::RingOut { advice: RingAdvice { step: RingStep::Over, .. }, results, .. } => {
                ring_out_notes(&results, Date::today())
            }
            _ => return None,
        };
        self.is_kept = true;
        (!found.is_empty()).then_some(found)
    }

    /// Where it was kept, or why it was not.
    pub fn tell_kept(&mut self, told: String) {
        self.kept = Some(told);
    }

    /// Another input is heard: what was begun there is over.
    pub fn end(&mut self) {
        self.link = None;
    }

    pub fn say(&self, say: Say) {
        if let Some(Ok(link)) = &self.link {
            link.say(say);
        }
    }

    fn advice(&self) -> Option<RingAdvice> {
        match self.link.as_ref()?.as_ref().ok()?.picture().told {
            Told::RingOut { advice, .. } => Some(advice),
            Told::Quiet { .. } | Told::Show { .. } => None,
        }
    }

    pub fn keys(&self, context: &Context) -> Option<Asked> {
        let pressed = |key| context.input_mut(|input| input.consume_key(Modifiers::NONE, key));
        let say = |answer| Some(Asked::Say(Say::Ring(answer)));
        if let Some(Ok(link)) = &self.link
            && let Told::Quiet { step, .. } = link.picture().told
            && !quiet::is_over(&step)
        {
            return quiet::keys(context, &step).map(|answer| Asked::Say(Say::Quiet(answer)));
        }
        let advice = self.advice().filter(|advice| advice.step != RingStep::Over);
        let Some(advice) = advice else {
            let quietly = pressed(Key::Q).then(|| self.quietly(self.first()));
            return quietly.or_else(|| pressed(Key::Space).then(|| self.ringing_out()));
        };
        let yes = if matches!(advice.step, RingStep::Cautions | RingStep::AskDull) {
            RingAnswer::Yes
        } else {
            RingAnswer::Done
        };
        if pressed(Key::Escape) {
            say(RingAnswer::Stop)
        } else if pressed(Key::Space) {
            say(yes)
        } else if pressed(Key::N) {
            say(RingAnswer::No)
        } else if pressed(Key::L) || pressed(Key::S) {
            say(RingAnswer::Cannot)
        } else if pressed(Key::B) {
            Some(Asked::Say(Say::Order(Order::Undo)))
        } else {
            None
        }
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look) -> Option<Asked> {
        match &self.link {
            Some(Ok(link)) => {
                let picture = link.picture();
                match &picture.told {
                    Told::Quiet { step, result } => {
                        let (result, names) = (result.as_deref(), link.names());
                        let sweep = quiet::Shown { step, result, wish: &self.quiet, names, more: &self.more(result) };
                        let pressed = quiet::page(ui, look, &sweep, &self.wish)?;
                        Some(match pressed {
                            quiet::Pressed::Answer(answer) => Asked::Say(Say::Quiet(answer)),
                            quiet::Pressed::Again => self.quietly(self.quiet.output),
                            quiet::Pressed::Another(output) => self.quietly(output),
                            quiet::Pressed::RingOut => self.ringing_out(),
                        })
                    }
                    Told::RingOut { .. } | Told::Show { .. } => self.going(ui, look, link.as_ref()),
                }
            }
            Some(Err(_)) | None => self.wishes(ui, look),
        }
    }

    fn ringing_out(&self) -> Asked {
        let RingWish { outputs, equaliser, .. } = &self.wish;
        let noted = outputs.iter().flat_map(|output| noted_cuts(&self.notes, *output, *equaliser)).collect();
        Asked::Begin(Moment::RingOut(RingWish { noted, ..self.wish.clone() }))
    }

    fn quietly(&self, output: Output) -> Asked {
        let opened = if self.at_main { Opened::AtMainOut } else { Opened::AtReturn };
        Asked::Begin(Moment::Quiet(QuietWish { output, ..QuietWish::usual(opened) }))
    }

    fn first(&self) -> Output {
        self.wish.outputs.first().copied().unwrap_or(Output::Mains)
    }

    /// What a quiet result has in common with the notes, and where it was kept.
    fn more(&self, result: Option<&QuietResult>) -> Vec<String> {
        let rings: Vec<Hertz> = result.map_or(Vec::new(), |result| result.first_rings().collect());
        let known = known_lines(&self.notes, self.quiet.output, &rings);
        known.into_iter().chain(self.kept.clone()).collect()
    }

    /// What the desk has, and what is wanted.
    fn wishes(&mut self, ui: &mut Ui, look: Look) -> Option<Asked> {
        let next = NextStep {
            arrow: Arrow::None,
            sentence: labels::RING_OUT_FIRST.into(),
            then: hall::wish_words(&self.wish),
            proof: match &self.link {
                Some(Err(why)) => why.clone(),
                _ => RING_CAUTIONS.join(" "),
            },
            reply: Reply::Done,
        };
        let words = Words { headline: labels::RING_OUT_FIRST, then: &next.then, next: &next };
        step::next_step(ui, look, &words, look.palette().text);
        ui.add_space(GAP);
        let (mut begin, mut quietly) = (false, false);
        ScrollArea::vertical().id_salt("wishes").show(ui, |ui| {
            let wish = &mut self.wish;
            ui.label(RichText::new(labels::EQUALISER).color(look.palette().quiet));
            ui.horizontal_wrapped(|ui| {
                for kind in Equaliser::ALL {
                    if ui.add(Button::selectable(wish.equaliser == kind, hall::equaliser_name(kind))).clicked() {
                        wish.equaliser = kind;
                    }
                }
            });
            ui.label(RichText::new(labels::OUTPUTS).color(look.palette().quiet));
            ui.horizontal_wrapped(|ui| {
                for output in std::iter::once(Output::Mains).chain((1..=WEDGES).map(Output::Wedge)) {
                    let on = wish.outputs.contains(&output);
                    if ui.add(Button::selectable(on, output_name(output))).clicked() {
                        wish.outputs.retain(|known| *known != output);
                        if !on || wish.outputs.is_empty() {
                            wish.outputs.push(output);
                        }
                        wish.outputs.sort_unstable();
                    }
                }
                if ui.add(Button::selectable(wish.echoing, labels::ECHOING)).clicked() {
                    wish.echoing = !wish.echoing;
                }
            });
            ui.label(RichText::new(labels::WANTED).color(look.palette().quiet));
            ui.horizontal_wrapped(|ui| {
                for (name, target) in WANTED {
                    if ui.add(Button::selectable(wish.target == target, name)).clicked() {
                        wish.target = target;
                    }
                }
            });
            ui.label(RichText::new(labels::QUIET_WAY).color(look.palette().quiet));
            ui.horizontal_wrapped(|ui| {
                for (at_main, name) in [(false, labels::AT_A_RETURN), (true, labels::AT_THE_MAIN)] {
                    if ui.add(Button::selectable(self.at_main == at_main, name)).clicked() {
                        self.at_main = at_main;
                    }
                }
            });
            ui.add_space(GAP);
            ui.horizontal_wrapped(|ui| {
                let mut offer = |label: &str| {
                    let label = RichText::new(label).font(look.strong());
                    ui.add(Button::new(label).min_size(vec2(TARGET * 3.0, TARGET))).clicked()
                };
                begin = offer(labels::BEGIN);
                quietly = offer(labels::QUIETLY);
            });
            ui.add_space(GAP);
            for line in notes_lines(&self.notes, RINGS).into_iter().chain(self.kept.clone()) {
                ui.label(RichText::new(line).color(look.palette().quiet));
            }
        });
        if quietly { Some(self.quietly(self.first())) } else { begin.then(|| self.ringing_out()) }
    }

    /// The step, the spectrum, what can be answered; at the end the results.
    fn going(&self, ui: &mut Ui, look: Look, link: &dyn WatchLink) -> Option<Asked> {
        let (picture, names) = (&link.picture(), link.names());
        let Told::RingOut { advice, results, .. } = &picture.told else { return None };
        let mut next = ring_step(advice, names);
        if let Some(why) = picture.refused.as_ref().or(picture.over.as_ref().and_then(Option::as_ref)) {
            next.proof.clone_from(why);
        }
        let palette = look.palette();
        let tone = if advice.why.ring.is_some() { palette.high } else { palette.text };
        let headline = hall::ring_headline(advice);
        step::next_step(ui, look, &Words { headline: &headline, then: &next.then, next: &next }, tone);
        ui.add_space(GAP / 2.0);
        if advice.step == RingStep::Over || picture.over.is_some() {
            return over(ui, look, results, names, self.kept.as_ref()).then(|| self.ringing_out());
        }
        if advice.step == RingStep::Cautions {
            for caution in RING_CAUTIONS {
                ui.label(RichText::new(caution).font(look.strong()));
            }
        }
        if let RingStep::Prepare { noted: 1.. } = advice.step {
            let noted = noted_cuts(&self.notes, advice.output.unwrap_or(Output::Mains), self.wish.equaliser);
            let noted: Vec<String> = noted.iter().map(|cut| cut_label(cut, names)).collect();
            ui.label(RichText::new(noted.join("   ")).font(look.strong()));
            ui.label(RichText::new(TO_CONFIRM).color(palette.quiet));
        }
        let under = EguiPanel::bottom("ringout").resizable(false).show_separator_line(false);
        let under = under.frame(eframe::egui::Frame::NONE.fill(palette.ground));
        let asked = under.show(ui, |ui| controls(ui, look, picture, advice, next.reply, names)).inner;
        spectrum(ui, look, picture, advice.output.unwrap_or(Output::Mains));
        asked
    }
}

/// The cuts so far, and what can be answered.
fn controls(
    ui: &mut Ui,
    look: Look,
    picture: &Picture,
    advice: &RingAdvice,
    reply: Reply,
    names: &[String],
) -> Option<Asked> {
    let palette = look.palette();
    let mut asked = None;
    ui.horizontal_wrapped(|ui| {
        let cuts: Vec<String> = picture.cuts.iter().map(|cut| cut_label(cut, names)).collect();
        let listed = if cuts.is_empty() { labels::NO_CUTS.to_owned() } else { cuts.join("   ") };
        ui.label(RichText::new(listed).font(look.strong()));
        ui.label(RichText::new(hall::won(advice).join(" · ")).color(palette.quiet));
    });
    ui.horizontal_wrapped(|ui| {
        let mut offer = |label: &str, say: Say| {
            let button = Button::new(RichText::new(label).font(look.strong()));
            if ui.add(button.min_size(vec2(TARGET * 2.0, TARGET))).clicked() {
                asked = Some(Asked::Say(say));
            }
        };
        match reply {
            Reply::YesNo => {
                offer(labels::answers(Reply::YesNo)[0], Say::Ring(RingAnswer::Yes));
                offer(labels::answers(Reply::YesNo)[1], Say::Ring(RingAnswer::No));
            }
            Reply::Knob => {
                offer(labels::DONE, Say::Ring(RingAnswer::Done));
                offer(labels::CANNOT, Say::Ring(RingAnswer::Cannot));
            }
            Reply::Done => offer(labels::DONE, Say::Ring(RingAnswer::Done)),
            Reply::Wait | Reply::Lamp | Reply::Over => {}
        }
        if !picture.cuts.is_empty() {
            offer(labels::UNDO, Say::Order(Order::Undo));
        }
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            let stop = Button::new(RichText::new(labels::STOP).font(bold(look.strong().size * 1.3)));
            let stop = stop.stroke(Stroke::new(3.0, palette.text));
            if ui.add(stop.min_size(vec2(TARGET * 3.0, TARGET))).clicked() {
                asked = Some(Asked::Say(Say::Ring(RingAnswer::Stop)));
            }
        });
    });
    asked
}

/// How each output stands; whether it is to begin again.
fn over(ui: &mut Ui, look: Look, results: &[Ended], names: &[String], kept: Option<&String>) -> bool {
    let mut again = false;
    ScrollArea::vertical().id_salt("results").show(ui, |ui| {
        for ended in results {
            for line in result_lines(ended, names) {
                ui.label(RichText::new(line.trim_start()).font(look.strong()));
            }
            ui.add_space(GAP / 2.0);
        }
        if let Some(kept) = kept {
            ui.label(RichText::new(kept).color(look.palette().quiet));
        }
        let label = RichText::new(labels::AGAIN).font(look.strong());
        again = ui.add(Button::new(label).min_size(vec2(TARGET * 3.0, TARGET))).clicked();
    });
    again
}
