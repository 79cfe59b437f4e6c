//! The window: one sentence, the stage, the meter. The only room that names egui.
//!
//! It draws the newest snapshot and sends commands; it owns no sound. It is painted again when what it shows has
//! changed, at most thirty times a second, and not at all while nothing changes. Names `view`, `engine`, `event`.

mod app;
mod doors;
mod evening;
mod faults;
mod floor;
mod form;
mod history;
mod input;
mod keys;
mod linecheck;
mod list;
mod opened;
mod panels;
mod past;
mod picker;
mod picture;
mod plan;
mod quiet;
mod recordings;
mod ringout;
mod shapes;
mod shelf;
mod show;
mod soundcheck;
mod spectrum;
mod step;
mod table;
mod theme;
mod together;
mod waker;

use std::sync::Arc;

use eframe::egui::text::{LayoutJob, TextFormat, TextWrapping};
use eframe::egui::{Color32, FontId, Galley, Painter, ViewportBuilder, vec2};

pub use app::{App, HallOpener, Opener, World};
pub use input::Device;
pub use linecheck::{LineFrom, LineOpener};
pub use opened::Player;
pub use plan::Printer;
pub use recordings::TakesPrinter;
pub use theme::{Look, TEXT_SIZES};
pub use waker::Wake;

use crate::event::Recent;
use crate::view::Setup;

/// What is looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum View {
    Plan,
    LineCheck,
    #[default]
    Soundcheck,
    RingOut,
    Show,
    Recordings,
    /// The input list; left for the soundcheck.
    Inputs,
}

impl View {
    const ALL: [Self; 6] = [Self::Plan, Self::LineCheck, Self::Soundcheck, Self::RingOut, Self::Show, Self::Recordings];

    /// Whether its step has numbers behind it that open from the bottom.
    const fn has_a_why(self) -> bool {
        matches!(self, Self::Plan | Self::LineCheck | Self::Soundcheck)
    }

    const fn name(self) -> &'static str {
        match self {
            Self::Plan => "Plan",
            Self::LineCheck => "Line check",
            Self::Soundcheck => "Soundcheck",
            Self::RingOut => "Ring-out",
            Self::Show => "Show",
            Self::Recordings => "Recordings",
            Self::Inputs => "Input list",
        }
    }
}

/// What opens from the bottom.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Panel {
    #[default]
    None,
    Why,
    Help,
    Input,
}

/// Opens the window and stays until it is closed. `printer` makes a plan's sheets, `takes_printer` a report
/// on recordings. An error says why there is none.
pub fn run(setup: Setup, printer: Printer, takes_printer: TakesPrinter) -> anyhow::Result<()> {
    anyhow::ensure!(has_a_display(), "there is no display here");
    let icon = eframe::icon_data::from_png_bytes(include_bytes!("desktop/beforedoors.png")).unwrap_or_default();
    let viewport = ViewportBuilder::default()
        .with_icon(icon)
        .with_title("beforedoors")
        .with_app_id("beforedoors")
        .with_inner_size(vec2(1280.0, 800.0))
        .with_min_inner_size(vec2(640.0, 480.0));
    let options = eframe::NativeOptions { viewport, ..Default::default() };
    let start = move |context: &eframe::CreationContext| -> Result<Box<dyn eframe::App>, _> {
        let app = App::new(&context.egui_ctx, setup, Look::of(&Recent::read()), World::of_this_machine());
        Ok(Box::new(app.with_printer(printer).with_takes_printer(takes_printer)))
    };
    eframe::run_native("beforedoors", options, Box::new(start)).map_err(|error| anyhow::anyhow!("{error}"))
}

/// On Linux, where asking for a window without one may end the program.
fn has_a_display() -> bool {
    let given = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !cfg!(target_os = "linux") || given("DISPLAY") || given("WAYLAND_DISPLAY") || given("WAYLAND_SOCKET")
}

/// Text in one row, ended by … where there is no more room.
fn fit(painter: &Painter, text: &str, font: FontId, color: Color32, width: f32) -> Arc<Galley> {
    let mut job = LayoutJob::single_section(text.to_owned(), TextFormat::simple(font, color));
    job.wrap = TextWrapping::truncate_at_width(width.max(1.0));
    painter.layout_job(job)
}
