//! The window, worked by its accessible names on a stage whose time the test makes go by.

mod list;
mod opened;
mod recordings;
mod soundcheck;

use std::cell::RefCell;
use std::rc::Rc;

use beforedoors::block::{BlockBuf, Format};
use beforedoors::engine::session::{Command, Link, Status};
use beforedoors::engine::{Connection, Input, Mood, Pipeline, Snapshot};
use beforedoors::gui::{App, Opener};
use beforedoors::source::Source;
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::units::{SampleRate, Seconds};
use beforedoors::view::Setup;
use eframe::egui::vec2;
use egui_kittest::Harness;

/// The simulated stage, heard while the test lets it play.
#[derive(Clone)]
pub struct Rehearsal(Rc<RefCell<Playing>>);

struct Playing {
    stage: Stage,
    pipeline: Pipeline,
    block: BlockBuf,
    status: Status,
}

impl Rehearsal {
    pub fn new(seed: u64, mood: Mood) -> Self {
        let stage = Stage::new(StageConfig::new(seed, mood, SampleRate::new(48_000).unwrap()));
        let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
        let pipeline = Pipeline::new(stage.format(), &inputs, Connection::Usb);
        let block = BlockBuf::new(inputs.len(), 4800);
        Self(Rc::new(RefCell::new(Playing { stage, pipeline, block, status: Status::Running })))
    }

    pub fn play(&self, time: Seconds) {
        let Playing { stage, pipeline, block, .. } = &mut *self.0.borrow_mut();
        let end = pipeline.snapshot().at + time;
        while pipeline.snapshot().at < end {
            stage.read(block).unwrap();
            pipeline.push(&block.as_block());
        }
    }

    pub fn set_status(&self, status: Status) {
        self.0.borrow_mut().status = status;
    }

    pub fn snapshot(&self) -> Snapshot {
        self.0.borrow().pipeline.snapshot().clone()
    }
}

struct Ear {
    playing: Rehearsal,
    names: Vec<String>,
    format: Format,
}

impl Link for Ear {
    fn snapshot(&self) -> Snapshot {
        self.playing.snapshot()
    }

    fn status(&self) -> Status {
        self.playing.0.borrow().status.clone()
    }

    fn send(&self, command: Command) -> bool {
        let Playing { stage, pipeline, .. } = &mut *self.playing.0.borrow_mut();
        match command {
            Command::Answer(answer) => pipeline.answer(answer),
            Command::AskLoudest(channel) => stage.ask_loudest(channel),
            Command::TurnTrim(channel, by) => {
                stage.turn_trim(channel, by);
            }
            Command::Stop => {}
        }
        true
    }

    fn names(&self) -> &[String] {
        &self.names
    }

    fn format(&self) -> Format {
        self.format
    }
}

fn opener(playing: &Rehearsal) -> Opener {
    let playing = playing.clone();
    Box::new(move |_, _, _, _| {
        let stage = &playing.0.borrow().stage;
        let names = stage.inputs().iter().map(|input| input.name.to_owned()).collect();
        Ok(Box::new(Ear { playing: playing.clone(), names, format: stage.format() }))
    })
}

/// A window of this size on a rehearsal.
pub fn window(playing: &Rehearsal, width: f32, height: f32) -> Harness<'static, App> {
    let opener = opener(playing);
    Harness::builder()
        .with_size(vec2(width, height))
        .allow_missing_glyphs()
        .build_eframe(|context| App::new(&context.egui_ctx, Setup::default(), opener))
}
