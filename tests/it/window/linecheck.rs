//! The line check in the window, by keys alone, on a stage whose time the test makes go by.

use std::cell::RefCell;
use std::path::Path;
use std::rc::Rc;

use beforedoors::block::{BlockBuf, Format};
use beforedoors::engine::Mood;
use beforedoors::engine::hall::{Overheard, overhear};
use beforedoors::engine::linecheck::{
    LineAnswer, LineHand, LineLink, LinePipeline, LineSkill, LineSnapshot, LineStep, RigFault, Side, TestSound,
};
use beforedoors::engine::record::{RecordError, RecordPlan, Recording};
use beforedoors::engine::session::{Command, Hearing, Link, Status};
use beforedoors::event::{Event, read_ticks};
use beforedoors::gui::{App, LineFrom, LineOpener, Look};
use beforedoors::source::Source;
use beforedoors::source::stage::{Stage, StageConfig};
use beforedoors::units::{ChannelId, SampleRate, Seconds};
use beforedoors::view::Setup;
use eframe::egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;

use super::painter::Painter;
use super::{Rehearsal, opener, world};

const fn at(index: u16) -> ChannelId {
    ChannelId::new(index)
}

/// The line check that was begun last; gone when the window lets it go.
#[derive(Clone, Default)]
pub struct Lines {
    faults: Rc<Vec<RigFault>>,
    checking: Rc<RefCell<Option<Checking>>>,
}

struct Checking {
    stage: Stage,
    pipeline: LinePipeline,
    hand: LineHand,
    block: BlockBuf,
}

impl Lines {
    fn with(faults: &[RigFault]) -> Self {
        Self { faults: Rc::new(faults.to_vec()), checking: <_>::default() }
    }

    pub fn opener(&self) -> LineOpener {
        let lines = self.clone();
        Box::new(move |from, plan, _| {
            let seed = if let LineFrom::Stage { seed } = from { seed } else { 1 };
            let rate = SampleRate::new(48_000).unwrap();
            let config = StageConfig { playing: false, ..StageConfig::new(seed, Mood::Normal, rate) };
            let stage = lines.faults.iter().fold(Stage::new(config), |stage, fault| stage.with_fault(*fault));
            let format = stage.format();
            let pipeline = match plan {
                Some(plan) => LinePipeline::new(format, plan(format.channels)),
                None => LinePipeline::assembly(format),
            };
            let names = stage.inputs().iter().map(|input| input.name.to_owned()).collect();
            let block = BlockBuf::new(format.channels, 960);
            let hand = LineHand::new(seed, LineSkill::TAPS_ONLY);
            *lines.checking.borrow_mut() = Some(Checking { stage, pipeline, hand, block });
            Ok(Box::new(Ear { lines: lines.clone(), names, format }) as Box<dyn LineLink>)
        })
    }

    /// Someone taps what is called; nothing else is done on the stage.
    pub fn play(&self, time: Seconds) {
        let mut checking = self.checking.borrow_mut();
        let Some(Checking { stage, pipeline, hand, block }) = checking.as_mut() else { return };
        let end = pipeline.snapshot().at + time;
        while pipeline.snapshot().at < end {
            stage.read(block).unwrap();
            pipeline.push(&block.as_block());
            assert_eq!(hand.look(pipeline.snapshot(), stage), None);
        }
    }

    fn snapshot(&self) -> Option<LineSnapshot> {
        self.checking.borrow().as_ref().map(|checking| checking.pipeline.snapshot().clone())
    }
}

struct Ear {
    lines: Lines,
    names: Vec<String>,
    format: Format,
}

impl Drop for Ear {
    fn drop(&mut self) {
        *self.lines.checking.borrow_mut() = None;
    }
}

impl LineLink for Ear {
    fn snapshot(&self) -> LineSnapshot {
        self.lines.snapshot().expect("it goes on")
    }

    fn status(&self) -> Status {
        Status::Running
    }

    fn send(&self, answer: LineAnswer) -> bool {
        let mut checking = self.lines.checking.borrow_mut();
        let Checking { stage, pipeline, hand, .. } = checking.as_mut().expect("it goes on");
        if answer == LineAnswer::Done {
            hand.mend(&pipeline.snapshot().advice, stage);
        }
        pipeline.answer(answer);
        true
    }

    fn names(&self) -> &[String] {
        &self.names
    }

    fn format(&self) -> Format {
        self.format
    }
}

fn usual(lines: &Lines) -> Harness<'static, App> {
    window(lines, Look::default(), (1280.0, 800.0))
}

pub fn window(lines: &Lines, look: Look, (width, height): (f32, f32)) -> Harness<'static, App> {
    let playing = Rehearsal::new(1, Mood::Normal);
    let world = world(opener(&playing));
    let lines = lines.opener();
    Harness::builder()
        .with_size(vec2(width, height))
        .renderer(Painter::default())
        .build_eframe(|context| App::new(&context.egui_ctx, Setup::default(), look, world).with_line_opener(lines))
}

fn press(harness: &mut Harness<App>, key: Key) {
    harness.key_press(key);
    harness.step();
    harness.step();
}

fn said(harness: &Harness<App>) -> String {
    harness.get_by_label_contains("Next step").value().unwrap_or_default()
}

/// What a person presses who hears what the stage plays.
const fn key_for(step: LineStep) -> Option<Key> {
    match step {
        LineStep::WhichSide { side: Side::Left } => Some(Key::L),
        LineStep::WhichSide { side: Side::Right } => Some(Key::R),
        LineStep::Fuller => Some(Key::Num1),
        LineStep::AskHall => Some(Key::B),
        LineStep::AskPhantom => Some(Key::Space),
        LineStep::Quiet
        | LineStep::Call { .. }
        | LineStep::Middle { .. }
        | LineStep::PhantomWait
        | LineStep::RoomListens
        | LineStep::AnyTap
        | LineStep::AnyPlay
        | LineStep::Over => None,
        _ => Some(Key::Space),
    }
}

/// Follows the window by keys alone until `enough`; what it said.
fn follow(harness: &mut Harness<App>, lines: &Lines, enough: impl Fn(&LineSnapshot) -> bool) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    let mut answered = None;
    for _ in 0..2000 {
        lines.play(Seconds::new(0.3));
        harness.step();
        let now = said(harness);
        if told.last() != Some(&now) {
            told.push(now);
        }
        let Some(snapshot) = lines.snapshot() else { return told };
        if enough(&snapshot) {
            return told;
        }
        let step = (snapshot.advice.step, snapshot.advice.channel);
        if answered != Some(step)
            && let Some(key) = key_for(snapshot.advice.step)
        {
            press(harness, key);
        }
        answered = Some(step);
    }
    panic!("no end: {told:#?}");
}

#[test]
fn swapped_lines_are_named_and_put_right_from_start_to_end_by_keys_alone() {
    let lines = Lines::with(&[RigFault::Swapped(at(3), at(4))]);
    let mut harness = usual(&lines);
    press(&mut harness, Key::F2);
    // Before anything else.
    harness.get_by_label("Loudspeakers off while you plug; desk on first, loudspeakers last.");
    harness.get_by_label_contains("Simulated stage 1: ");
    assert!(lines.snapshot().is_none());
    press(&mut harness, Key::Space);
    assert!(said(&harness).contains("Quiet on stage"), "{}", said(&harness));
    harness.get_by_label("4 Choir left: not checked");
    let told = follow(&mut harness, &lines, |_| false);
    let has = |words: &str| told.iter().any(|told| told.contains(words));
    assert!(has("Tap mic 1 Lectern") && has("4 came in on 5"), "{told:#?}");
    assert!(has("Swap 4 and 5 at the box"), "{told:#?}");
    assert!(told.iter().filter(|told| told.contains("Swap")).count() == 1, "{told:#?}");
    assert!(has("May a quiet noise come from the loudspeakers?"), "{told:#?}");
    // It is over, the engine is let go of, and what was found stays.
    assert!(said(&harness).contains("Every line is right"), "{}", said(&harness));
    assert!(lines.snapshot().is_none());
    for label in ["4 Choir left: arrived, put right", "5 Choir right: arrived, put right", "1 Lectern: arrived"] {
        harness.get_by_label(label);
    }
    harness.get_by_label_contains("Loudspeakers: arrived, pull together");
    harness.get_by_label("Begin  Space");
}

/// Two swapped lines have just been found.
pub fn swapped(look: Look, size: (f32, f32)) -> Harness<'static, App> {
    let lines = Lines::with(&[RigFault::Swapped(at(3), at(4))]);
    let mut harness = window(&lines, look, size);
    press(&mut harness, Key::F2);
    press(&mut harness, Key::Space);
    follow(&mut harness, &lines, |snapshot| matches!(snapshot.advice.step, LineStep::Swap { .. }));
    harness
}

#[test]
fn no_sound_without_a_yes_and_esc_ends_it_at_once() {
    let lines = Lines::with(&[]);
    let sounds = |snapshot: &LineSnapshot| snapshot.sound != TestSound::Silent;
    for (stop, button) in [(Key::Escape, false), (Key::F3, false), (Key::Escape, true)] {
        let mut harness = usual(&lines);
        press(&mut harness, Key::F2);
        press(&mut harness, Key::Space);
        let told = follow(&mut harness, &lines, sounds);
        assert!(told.iter().any(|told| told.contains("May a quiet noise")), "{told:#?}");
        lines.play(Seconds::new(0.3));
        harness.step();
        assert!(lines.snapshot().is_some_and(|snapshot| sounds(&snapshot)));
        if button {
            harness.get_by_label("STOP  Esc").click();
            harness.step();
        } else {
            harness.key_press(stop);
            harness.step();
        }
        // The engine is gone, and its output with it: within one picture.
        assert!(lines.snapshot().is_none(), "{stop:?}");
        press(&mut harness, Key::F2);
        harness.get_by_label("1 Lectern: arrived");
    }
    // Whoever says no hears nothing.
    let mut harness = usual(&lines);
    press(&mut harness, Key::F2);
    press(&mut harness, Key::Space);
    follow(&mut harness, &lines, |snapshot| snapshot.advice.step == LineStep::AskSound);
    harness.get_by_label("No  N").click();
    harness.step();
    follow(&mut harness, &lines, |snapshot| {
        assert!(!sounds(snapshot));
        false
    });
    harness.get_by_label("Loudspeakers: not checked");
}

#[test]
fn an_assembly_needs_no_plan() {
    let lines = Lines::with(&[]);
    let mut harness = usual(&lines);
    press(&mut harness, Key::F2);
    press(&mut harness, Key::A);
    let told = follow(&mut harness, &lines, |_| false);
    let has = |words: &str| told.iter().any(|told| told.contains(words));
    assert!(has("Tap the microphone") && has("Play the video’s loudest part"), "{told:#?}");
    assert!(has("Speak from the stage: where do you hear it?"), "{told:#?}");
    assert!(said(&harness).contains("Ready: microphone and video are heard"), "{}", said(&harness));
    harness.get_by_label("Microphone: arrived, channel 1");
    harness.get_by_label("In the hall: arrived, on both sides");
}

#[test]
fn it_can_be_begun_anew_and_goes_on_while_another_view_is_looked_at() {
    let lines = Lines::with(&[]);
    let mut harness = usual(&lines);
    press(&mut harness, Key::F2);
    press(&mut harness, Key::ArrowRight);
    harness.get_by_label_contains("Simulated stage 2: ");
    press(&mut harness, Key::Space);
    follow(&mut harness, &lines, |snapshot| snapshot.advice.why.checked > 1);
    press(&mut harness, Key::F3);
    lines.play(Seconds::new(6.0));
    harness.step();
    press(&mut harness, Key::F2);
    assert!(lines.snapshot().is_some_and(|snapshot| snapshot.advice.why.checked > 1));
    press(&mut harness, Key::X);
    assert!(lines.snapshot().is_none());
    assert!(said(&harness).contains("Check the lines"), "{}", said(&harness));
}

/// A device that is heard, and can be listened to twice.
struct Device(Format);

impl Link for Device {
    fn snapshot(&self) -> beforedoors::engine::Snapshot {
        Rehearsal::of_lines(vec![String::new(); self.0.channels]).snapshot()
    }

    fn status(&self) -> Status {
        Status::Running
    }

    fn send(&self, _: Command) -> bool {
        true
    }

    fn names(&self) -> &[String] {
        &[]
    }

    fn format(&self) -> Format {
        self.0
    }

    fn overhear(&self) -> Option<Overheard> {
        Some(overhear(self.0).1)
    }

    fn record(&self, _: RecordPlan) -> Result<Recording, RecordError> {
        Err(RecordError::NothingLeft)
    }
}

fn live_window(event: &Path, lines: &Lines) -> Harness<'static, App> {
    let rate = SampleRate::new(48_000).unwrap();
    let listen: beforedoors::gui::Opener = Box::new(move |hearing, _, _, _| {
        assert!(matches!(hearing, Hearing::Live { .. }));
        Ok(Box::new(Device(Format { rate, channels: 12 })))
    });
    let (world, lines) = (world(listen), lines.opener());
    let setup = Setup::of(Event::open(event).unwrap().0);
    Harness::builder()
        .with_size(vec2(1280.0, 800.0))
        .build_eframe(|context| App::new(&context.egui_ctx, setup, Look::default(), world).with_line_opener(lines))
}

#[test]
fn ticks_are_written_into_the_event_as_they_come() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("event.toml"), "version = 1\nname = \"Spring\"\ndevice = \"Desk\"\n").unwrap();
    let inputs = "channel,name,kind\n1,Head,speech\n2,Guest,speech\n3,Star,solo vocal\n";
    std::fs::write(folder.path().join("inputs.csv"), inputs).unwrap();
    let lines = Lines::with(&[]);
    let mut harness = live_window(folder.path(), &lines);
    press(&mut harness, Key::F2);
    assert!(said(&harness).contains("3 inputs of Spring"), "{}", said(&harness));
    press(&mut harness, Key::Space);
    follow(&mut harness, &lines, |snapshot| snapshot.advice.why.checked == 2);
    let ticks = read_ticks(folder.path()).unwrap();
    assert_eq!(ticks.iter().map(|tick| (tick.channel, tick.right)).collect::<Vec<_>>(), [(at(0), true), (at(1), true)]);
    // The names are the list's.
    harness.get_by_label("1 Head: arrived");
}
