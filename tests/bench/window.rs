//! What the window costs: a frame's own work, the way from a sound to its picture, and an hour of thirty-two channels.
//!
//! `cargo bench --bench window`. A frame is logic, layout and tessellation; the painting itself is the graphics
//! driver's and is not in it. The way from sound to picture is taken on the simulated stage, which keeps the wall
//! clock: from publishing to the end of the frame that shows it, and to that the longest that a block waits to be
//! published. Noisy machines: read the
//! ratios and the percentiles, not single values.

use std::cell::RefCell;
use std::hint::black_box;
use std::rc::Rc;
use std::sync::mpsc;
use std::time::{Duration, Instant};

use beforedoors::block::{BlockBuf, Format};
use beforedoors::engine::hall::Overheard;
use beforedoors::engine::record::{RecordError, RecordPlan, Recording};
use beforedoors::engine::session::{Command, Hearing, Link, Pace, Session, Status};
use beforedoors::engine::{Connection, Input, Mood, Pipeline, Snapshot};
use beforedoors::gui::{App, Look, World};
use beforedoors::source::Source;
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::units::{SampleRate, SourceKind};
use beforedoors::view::Setup;
use eframe::egui::vec2;
use egui_kittest::Harness;

/// Blocks come every 20 ms, and what came within 33 ms of the last publishing waits for the next block, in ms.
const UNPUBLISHED: f64 = 40.0;

fn main() {
    frames();
    from_sound_to_picture();
    an_hour();
}

/// What stands still between two frames.
struct Still {
    snapshot: Rc<RefCell<Snapshot>>,
    names: Vec<String>,
    format: Format,
}

impl Link for Still {
    fn snapshot(&self) -> Snapshot {
        self.snapshot.borrow().clone()
    }

    fn status(&self) -> Status {
        Status::Running
    }

    fn send(&self, _: Command) -> bool {
        true
    }

    fn names(&self) -> &[String] {
        &self.names
    }

    fn format(&self) -> Format {
        self.format
    }

    fn overhear(&self) -> Option<Overheard> {
        None
    }

    fn record(&self, _: RecordPlan) -> Result<Recording, RecordError> {
        Err(RecordError::NothingLeft)
    }
}

fn window(link: impl FnOnce() -> Box<dyn Link> + 'static) -> Harness<'static, App> {
    let mut link = Some(link);
    let listen = Box::new(move |_: &Hearing, _: &Setup, _, _| Ok(link.take().expect("it is heard once")()));
    let world = World {
        listen,
        hall: Box::new(|_, _, _| Err(String::new())),
        keep: Box::new(|_| {}),
        devices: || Ok(Vec::new()),
        clock: String::new,
    };
    Harness::builder()
        .with_size(vec2(1280.0, 800.0))
        .build_eframe(|context| App::new(&context.egui_ctx, Setup::default(), Look::default(), world))
}

fn rate() -> SampleRate {
    SampleRate::new(48_000).expect("a usual rate")
}

fn tessellate(harness: &Harness<App>) -> usize {
    let output = harness.output();
    black_box(harness.ctx.tessellate(output.shapes.clone(), output.pixels_per_point)).len()
}

fn frames() {
    const FRAMES: u32 = 600;
    let mut stage = Stage::new(StageConfig::new(1, Mood::Normal, rate()));
    let format = stage.format();
    let inputs: Vec<Input> = stage.inputs().iter().map(|input| Input::new(input.kind, None)).collect();
    let mut pipeline = Pipeline::new(format, &inputs, Connection::Usb);
    let mut block = BlockBuf::new(format.channels, 1600);
    let snapshot = Rc::new(RefCell::new(pipeline.snapshot().clone()));
    let names = stage.inputs().iter().map(|input| input.name.to_owned()).collect();
    let shared = Rc::clone(&snapshot);
    let mut harness = window(move || Box::new(Still { snapshot: shared, names, format }));
    let mut spent = Duration::ZERO;
    for _ in 0..FRAMES {
        let Ok(_) = stage.read(&mut block);
        pipeline.push(&block.as_block());
        snapshot.borrow_mut().clone_from(pipeline.snapshot());
        let began = Instant::now();
        harness.step();
        tessellate(&harness);
        spent += began.elapsed();
    }
    let each = spent / FRAMES;
    println!(
        "a frame, 12 moving channels at 1280×800: {:.2} ms; thirty a second are {:.1} % of a core",
        each.as_secs_f64() * 1e3,
        each.as_secs_f64() * 30.0 * 100.0
    );
}

fn from_sound_to_picture() {
    const PICTURES: usize = 300;
    let (send, published) = mpsc::sync_channel::<Instant>(1);
    let mut harness = window(move || {
        let wake = Box::new(move |_: &Snapshot, _: &Status| {
            // Latest wins.
            let _ = send.try_send(Instant::now());
        });
        let hearing = Hearing::Stage { seed: 1, mood: Mood::Normal, pace: Pace::RealTime };
        let session = Session::start(hearing, None, Connection::Usb, Some(wake)).expect("the stage is always there");
        Box::new(session) as Box<dyn Link>
    });
    let mut late = Vec::new();
    while late.len() < PICTURES {
        let Ok(at) = published.recv() else { break };
        harness.step();
        tessellate(&harness);
        late.push(at.elapsed().as_secs_f64() * 1e3);
    }
    late.sort_by(f64::total_cmp);
    let of = |share: f64| late[(share * (late.len() - 1) as f64) as usize] + UNPUBLISHED;
    println!("from a callback to its picture, at most: median {:.0} ms, 95th percentile {:.0} ms", of(0.5), of(0.95));
}

fn an_hour() {
    const CHANNELS: usize = 32;
    let format = Format { rate: rate(), channels: CHANNELS };
    let mut pipeline = Pipeline::new(format, &vec![Input::new(SourceKind::Other, None); CHANNELS], Connection::Usb);
    let mut block = BlockBuf::new(CHANNELS, 48_000);
    block.planes_mut().iter_mut().for_each(|plane| plane.resize(48_000, 0.0));
    let snapshot = Rc::new(RefCell::new(pipeline.snapshot().clone()));
    let shared = Rc::clone(&snapshot);
    let names = (1..=CHANNELS).map(|number| format!("Line {number}")).collect();
    let mut harness = window(move || Box::new(Still { snapshot: shared, names, format }));
    for _ in 0..3600 {
        pipeline.push(&block.as_block());
        snapshot.borrow_mut().clone_from(pipeline.snapshot());
        harness.step();
    }
    match memory() {
        Some(megabytes) => println!("an hour of {CHANNELS} channels, window and engine: {megabytes:.0} MB"),
        None => println!("an hour of {CHANNELS} channels: this system does not tell its memory"),
    }
}

/// Resident, on Linux.
fn memory() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmRSS"))?;
    Some(line.split_whitespace().nth(1)?.parse::<f64>().ok()? / 1024.0)
}
