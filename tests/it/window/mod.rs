//! The window, worked by its accessible names on a stage whose time the test makes go by.

mod evening;
mod fits;
mod halls;
mod input;
mod linecheck;
mod list;
mod opened;
mod painter;
mod pictures;
mod plan;
mod ready;
mod real;
mod recordings;
mod room;
mod soundcheck;

use std::cell::RefCell;
use std::rc::Rc;

use beforedoors::block::{BlockBuf, Format};
use beforedoors::engine::hall::Overheard;
use beforedoors::engine::record::{RecordError, RecordPlan, Recording};
use beforedoors::engine::session::{Command, Link, Status};
use beforedoors::engine::watched::Moment;
use beforedoors::engine::{Connection, Input, Mood, Pipeline, Snapshot};
use beforedoors::gui::{App, HallOpener, Look, Opener, World};
use beforedoors::sink::record::{self, Recorder};
use beforedoors::source::Source;
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::units::{SampleRate, Seconds, SourceKind};
use beforedoors::view::Setup;
use eframe::egui::vec2;
use egui_kittest::Harness;

/// The simulated stage, heard while the test lets it play.
#[derive(Clone)]
pub struct Rehearsal(Rc<RefCell<Playing>>);

struct Playing {
    stage: Option<Stage>,
    pipeline: Pipeline,
    block: BlockBuf,
    names: Vec<String>,
    status: Status,
    recorder: Option<Recorder>,
}

impl Rehearsal {
    pub fn new(seed: u64, mood: Mood) -> Self {
        let stage = Stage::new(StageConfig::new(seed, mood, SampleRate::new(48_000).unwrap()));
        let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
        let pipeline = Pipeline::new(stage.format(), &inputs, Connection::Usb);
        let block = BlockBuf::new(inputs.len(), 4800);
        let names = stage.inputs().iter().map(|input| input.name.to_owned()).collect();
        Self::holding(Playing { stage: Some(stage), pipeline, block, names, status: Status::Running, recorder: None })
    }

    /// Silent lines of a device, with these names.
    pub fn of_lines(names: Vec<String>) -> Self {
        let count = names.len();
        let format = Format { rate: SampleRate::new(48_000).unwrap(), channels: count };
        let pipeline = Pipeline::new(format, &vec![Input::new(SourceKind::Other, None); count], Connection::Usb);
        let mut block = BlockBuf::new(count, 4800);
        block.planes_mut().iter_mut().for_each(|plane| plane.resize(4800, 0.0));
        Self::holding(Playing { stage: None, pipeline, block, names, status: Status::Running, recorder: None })
    }

    fn holding(playing: Playing) -> Self {
        Self(Rc::new(RefCell::new(playing)))
    }

    pub fn play(&self, time: Seconds) {
        let Playing { stage, pipeline, block, recorder, .. } = &mut *self.0.borrow_mut();
        let end = pipeline.snapshot().at + time;
        while pipeline.snapshot().at < end {
            if let Some(stage) = stage {
                stage.read(block).unwrap();
            }
            pipeline.push(&block.as_block());
            recorder.iter_mut().for_each(|recorder| recorder.take(&block.as_block()));
        }
    }

    /// So much sound never arrives.
    pub fn miss(&self, time: Seconds) {
        let Playing { pipeline, block, .. } = &mut *self.0.borrow_mut();
        let format = pipeline.format();
        let gap = format.rate.frames(time);
        block.restart(format.rate.frames(pipeline.snapshot().at) + gap, gap);
        block.push_interleaved(&vec![0.0; 480 * format.channels]);
        pipeline.push(&block.as_block());
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
            Command::AskLoudest(channel) => stage.iter_mut().for_each(|stage| stage.ask_loudest(channel)),
            Command::TurnTrim(channel, by) => stage.iter_mut().for_each(|stage| {
                stage.turn_trim(channel, by);
            }),
        }
        true
    }

    fn names(&self) -> &[String] {
        &self.names
    }

    fn source(&self) -> &str {
        "simulated stage 1"
    }

    fn format(&self) -> Format {
        self.format
    }

    fn overhear(&self) -> Option<Overheard> {
        None
    }

    fn record(&self, plan: RecordPlan) -> Result<Recording, RecordError> {
        let (recorder, recording) = record::start(self.format, plan)?;
        self.playing.0.borrow_mut().recorder = Some(recorder);
        Ok(recording)
    }
}

fn opener(playing: &Rehearsal) -> Opener {
    let playing = playing.clone();
    Box::new(move |_, _, _, _| {
        let now = playing.0.borrow();
        let (names, format) = (now.names.clone(), now.pipeline.format());
        Ok(Box::new(Ear { playing: playing.clone(), names, format }))
    })
}

/// A window of this size on a rehearsal.
pub fn window(playing: &Rehearsal, width: f32, height: f32) -> Harness<'static, App> {
    window_with_halls(playing, no_hall(), Look::default(), width, height)
}

/// The same with halls. Every sign that it draws must be in a typeface that it carries.
pub fn window_with_halls(
    playing: &Rehearsal,
    hall: HallOpener,
    look: Look,
    width: f32,
    height: f32,
) -> Harness<'static, App> {
    let world = World { hall, ..world(opener(playing)) };
    Harness::builder()
        .with_size(vec2(width, height))
        .renderer(painter::Painter::default())
        .build_eframe(|context| App::new(&context.egui_ctx, Setup::default(), look, world))
}

/// Where names stand in scripts that only the system's own typefaces may have.
pub fn window_in_any_script(
    playing: &Rehearsal,
    setup: Setup,
    look: Look,
    width: f32,
    height: f32,
) -> Harness<'static, App> {
    let world = world(opener(playing));
    Harness::builder()
        .with_size(vec2(width, height))
        .allow_missing_glyphs()
        .renderer(painter::Painter::default())
        .build_eframe(|context| App::new(&context.egui_ctx, setup, look, world))
}

/// No halls; nothing of how it is left is kept.
fn world(listen: Opener) -> World {
    World { listen, hall: no_hall(), keep: Box::new(|_| {}), devices: || Ok(Vec::new()), clock: || "18:20".to_owned() }
}

fn no_hall() -> HallOpener {
    Box::new(|_: &Moment, _, _| Err("no hall in this test".into()))
}
