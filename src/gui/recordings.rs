//! Recordings: dropped on the window, read on threads of their own, listed with the worst first.
//!
//! Originals are only read. A folder stands for the recordings in it. Reading goes on while another view is looked at.

use std::ops::ControlFlow;
use std::path::PathBuf;
use std::sync::mpsc::{self, Receiver};

use eframe::egui::{Context, ProgressBar, RichText, Role, ScrollArea, Sense, Ui, WidgetInfo, vec2};

use super::step::{self, Words};
use super::theme::{GAP, Look, TARGET};
use crate::engine::recording;
use crate::view::numbers::counted;
use crate::view::{Arrow, Badness, NextStep, Reply, Setup, Take};

/// What a reading thread tells.
enum News {
    Files(usize),
    Take(Take),
    /// Nothing could be read, and how to mend it.
    Failed(String),
}

/// The list, and what is still being read.
#[derive(Default)]
pub struct Takes {
    read: Vec<Take>,
    coming: Vec<Receiver<News>>,
    wanted: usize,
    failed: Option<String>,
    opened: Option<String>,
}

impl Takes {
    /// Begins to read files and folders.
    pub fn read(&mut self, paths: Vec<PathBuf>, setup: &Setup, context: &Context) {
        let (sender, coming) = mpsc::channel();
        let (setup, context) = (setup.clone(), context.clone());
        self.failed = None;
        let work = move || {
            let tell = |news| {
                let heard = sender.send(news);
                context.request_repaint();
                heard
            };
            let files = match recording::gather(&paths) {
                Ok(files) => files,
                Err(error) => {
                    let _ = tell(News::Failed(error.to_string()));
                    return;
                }
            };
            let _ = tell(News::Files(files.len()));
            let inputs = setup.inputs.clone().unwrap_or_default();
            recording::measure_all(&files, &inputs, &|_, _| {}, &|index, result| {
                match tell(News::Take(Take::new(&files[index], &result, &setup))) {
                    Ok(()) => ControlFlow::Continue(()),
                    // The window is closed.
                    Err(_) => ControlFlow::Break(()),
                }
            });
        };
        match std::thread::Builder::new().name("recordings".into()).spawn(work) {
            Ok(_) => self.coming.push(coming),
            Err(error) => {
                self.failed = Some(format!("reading could not begin: {error}. Close other programs, try again"))
            }
        }
    }

    fn take_news(&mut self) {
        for coming in &self.coming {
            for news in coming.try_iter() {
                match news {
                    News::Files(count) => self.wanted += count,
                    News::Take(take) => self.read.push(take),
                    News::Failed(why) => self.failed = Some(why),
                }
            }
        }
        self.read.sort_by(|a, b| b.badness.cmp(&a.badness).then_with(|| a.name.cmp(&b.name)));
    }

    pub fn ui(&mut self, ui: &mut Ui, look: Look) {
        self.take_news();
        let palette = look.palette();
        let worst = self.read.first();
        let (headline, then) = match worst {
            None => ("Drop recordings here".to_owned(), "files or whole folders; they are only read".to_owned()),
            Some(take) if take.badness == Badness::Fine => {
                (take.badness.headline().into(), "nothing to turn in any of them".into())
            }
            Some(take) => (take.badness.headline().into(), format!("{}: {}", take.name, take.line)),
        };
        let proof = match (&self.failed, self.wanted) {
            (Some(why), _) => why.clone(),
            (None, 0) => String::new(),
            (None, wanted) => {
                format!("{} of {} read", self.read.len(), counted(wanted as u64, "recording", "recordings"))
            }
        };
        let next =
            NextStep { arrow: Arrow::None, sentence: headline.clone(), then: then.clone(), proof, reply: Reply::Over };
        step::next_step(ui, look, &Words { headline: &headline, then: &then, next: &next }, palette.text);
        if self.read.len() < self.wanted {
            ui.add(ProgressBar::new(self.read.len() as f32 / self.wanted as f32).desired_height(8.0));
        }
        ScrollArea::vertical().id_salt("takes").auto_shrink([false, false]).show(ui, |ui| {
            for take in &self.read {
                let height = (look.body().size * 1.6).max(TARGET);
                let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), height), Sense::click());
                let said = format!("{}: {}, {}", take.name, take.badness.word(), take.line);
                response.widget_info(|| WidgetInfo::labeled(Role::Button, true, &said));
                let open = self.opened.as_deref() == Some(take.name.as_str());
                if response.clicked() {
                    self.opened = (!open).then(|| take.name.clone());
                }
                let painter = ui.painter();
                if open || response.hovered() || response.has_focus() {
                    painter.rect_filled(rect, 4.0, palette.floor);
                }
                let cells =
                    [(0.0, 0.3, &take.name), (0.3, 0.46, &take.badness.word().to_owned()), (0.46, 1.0, &take.line)];
                for (from, to, text) in cells {
                    let room = (to - from) * rect.width() - GAP;
                    let letters = super::fit(painter, text, look.body(), palette.text, room);
                    let at = eframe::egui::pos2(
                        rect.left() + 8.0 + from * rect.width(),
                        rect.center().y - letters.size().y / 2.0,
                    );
                    painter.galley(at, letters, palette.text);
                }
                if open {
                    for detail in &take.details {
                        ui.label(RichText::new(detail).color(palette.quiet));
                    }
                }
            }
        });
    }
}
