//! Whole ring-outs on a toy hall, with someone who reacts 0.7 s after the advice: do they end, by which rule, in how
//! many bands, and does nothing ring for more than 2 s?
//!
//! A plain run takes 40 halls, `BEFOREDOORS_FULL=1` a thousand.

mod hall;
mod night;
mod stage;
mod typed;
mod words;

use std::collections::BTreeMap;

use assert_no_alloc::assert_no_alloc;
use beforedoors::coach::ringout::{
    Band, Change, End, Equaliser, Haste, Microphone, Microphones, Output, OutputPlan, RingAnswer, RingOut, RingOutPlan,
    RingStep,
};
use beforedoors::units::{ChannelId, Db, Hertz, Seconds, SourceKind};
use hall::{FRAME, Hall, Mode};

const REACTS: f64 = 0.7;
const LONGEST: f64 = 1800.0;

fn microphones(count: u16) -> Vec<Microphone> {
    (0..count).map(|index| Microphone { channel: ChannelId::new(index), kind: SourceKind::SoloVocal }).collect()
}

fn plan(equaliser: Equaliser, target: Option<f64>) -> RingOutPlan {
    let mains = OutputPlan { output: Output::Mains, equaliser, microphones: microphones(1), noted: Vec::new() };
    RingOutPlan::new(vec![mains], target.map(Db::new))
}

/// A ring-out with its hall and a person.
struct Evening {
    hall: Hall,
    coach: RingOut,
    /// The step that is looked at, and since when.
    seen: Option<(RingStep, f64)>,
    steps: Vec<(f64, RingStep)>,
    dull: bool,
}

impl Evening {
    fn new(hall: Hall, plan: RingOutPlan) -> Self {
        Self { hall, coach: RingOut::new(plan), seen: None, steps: Vec::new(), dull: false }
    }

    /// The next frame, and what the person does in it.
    fn go_on(&mut self) {
        let now = self.hall.now + FRAME;
        let (rings, coach) = (self.hall.go_on(), &mut self.coach);
        assert_no_alloc(|| coach.observe(rings, Seconds::new(now)));
        let step = self.coach.advice().step;
        if self.seen.is_none_or(|(seen, _)| seen != step) {
            self.seen = Some((step, now));
            self.steps.push((now, step));
        }
        let since = self.seen.map_or(now, |(_, since)| since);
        if now - since >= REACTS && !matches!(step, RingStep::Wait | RingStep::Over) {
            self.seen = None;
            self.act(step);
        }
    }

    fn act(&mut self, step: RingStep) {
        let answer = match step {
            RingStep::AskDull if self.dull => {
                self.dull = false;
                RingAnswer::Yes
            }
            RingStep::AskDull => RingAnswer::No,
            RingStep::Cautions => RingAnswer::Yes,
            _ => RingAnswer::Done,
        };
        match step {
            RingStep::SetFader { to } => self.hall.fader = to.get(),
            RingStep::Up { by, .. } | RingStep::BackUp { by } => self.hall.fader += f64::from(by),
            RingStep::DropToTest { by } | RingStep::Down { by, .. } => self.hall.fader -= f64::from(by),
            RingStep::Leave { by, .. } => self.hall.fader += by.get(),
            RingStep::Cut(change) => self.hall.cut(&change),
            RingStep::GiveBack(cut) => self.hall.cuts.retain(|it| (it.place, it.band) != (cut.place, cut.band)),
            RingStep::Free(grab) => self.hall.cut(&Change { main: grab, neighbour: None }),
            RingStep::CutAgain(cut) => self.hall.cuts.push(cut),
            _ => {}
        }
        self.coach.answer(answer);
    }

    fn run(mut self) -> Self {
        while !self.coach.is_over() && self.hall.now < LONGEST {
            self.go_on();
        }
        assert!(self.coach.is_over(), "no end in {LONGEST} s:\n{}", self.tell());
        self
    }

    fn end(&self) -> End {
        self.coach.results().next().unwrap().end.unwrap()
    }

    fn bands(&self) -> usize {
        self.coach.books(0).unwrap().cuts.cuts().len()
    }

    fn has(&self, wanted: impl Fn(&RingStep) -> bool) -> bool {
        self.steps.iter().any(|(_, step)| wanted(step))
    }

    fn tell(&self) -> String {
        let steps = self.steps.iter().rev().take(60).rev();
        steps.map(|(at, step)| format!("{at:7.1} {step:?}\n")).collect()
    }
}

fn halls() -> u64 {
    if std::env::var_os("BEFOREDOORS_FULL").is_some() { 1000 } else { 40 }
}

/// The rules of a whole ring-out, with and without a target, for each equaliser.
#[test]
fn every_hall_ends_within_the_rules() {
    for equaliser in Equaliser::ALL {
        for target in [None, Some(6.0)] {
            let (mut bought, mut best, mut longest, mut most) = (0.0, 0.0, 0f64, 0);
            let mut ends: BTreeMap<String, u32> = BTreeMap::new();
            for seed in 0..halls() {
                let hall = Hall::random(seed);
                let flat = hall.limit(&[]);
                best += hall.best_six();
                let evening = Evening::new(hall, plan(equaliser, target)).run();
                let tell = || format!("{equaliser:?} {target:?} seed {seed}: {:?}\n{}", evening.end(), evening.tell());
                let limit = evening.hall.limit(&evening.hall.cuts);
                bought += limit - flat;
                longest = longest.max(evening.hall.longest);
                most = most.max(evening.bands());
                *ends.entry(format!("{:?}", evening.end())).or_default() += 1;
                assert!(evening.bands() <= 6, "{}", tell());
                assert!(evening.hall.longest <= 2.0, "{} s: {}", evening.hall.longest, tell());
                assert!(evening.hall.fader <= limit - 3.0, "left at {} under {limit}: {}", evening.hall.fader, tell());
                for cut in evening.coach.books(0).unwrap().cuts.cuts() {
                    let octaves = |mode: &Mode| (mode.hz / cut.band.centre().get()).log2().abs();
                    assert!(evening.hall.modes.iter().any(|mode| octaves(mode) < 0.51), "{cut:?}: {}", tell());
                    assert!(cut.depth >= Db::new(-9.0), "{}", tell());
                }
                if evening.end() == End::TargetReached || evening.end() == End::NoCutsNeeded {
                    // A tone a tenth of a decibel over the limit takes minutes to be heard; the fader goes down by 6.
                    assert!(limit > 5.6, "target reached at {limit}: {}", tell());
                }
            }
            let share = bought / best;
            println!(
                "{equaliser:?}, target {target:?}: {} halls, {share:.2} of the best six third-octave cuts, at most \
                 {most} bands, longest audible ring {longest:.1} s; {ends:?}",
                halls()
            );
        }
    }
}

/// A hall with these modes: frequency and limit, all growing 8 dB/s for each dB.
fn hall(modes: &[(f64, f64)]) -> Hall {
    Hall::new(modes.iter().map(|&(hz, limit)| Mode::new(hz, limit, 8.0)).collect())
}

fn ring_out(modes: &[(f64, f64)], equaliser: Equaliser, target: Option<f64>) -> Evening {
    Evening::new(hall(modes), plan(equaliser, target)).run()
}

#[test]
fn a_hall_with_room_to_spare_needs_no_cut() {
    let evening = ring_out(&[(1250.0, 12.0)], Equaliser::ThirdOctave, Some(6.0));
    assert_eq!((evening.end(), evening.bands()), (End::NoCutsNeeded, 0));
    assert_eq!(evening.hall.fader, 0.0);
    assert!(!evening.has(|step| matches!(step, RingStep::AskDull | RingStep::Cut(_))));
}

#[test]
fn one_cut_and_the_target_is_there() {
    let evening = ring_out(&[(1250.0, 4.5)], Equaliser::ThirdOctave, Some(6.0));
    assert_eq!((evening.end(), evening.bands()), (End::TargetReached, 1));
    assert_eq!(evening.hall.fader, 0.0);
    let cut = evening.coach.books(0).unwrap().cuts.cuts()[0];
    assert_eq!((cut.band.centre().get().round(), cut.depth.get()), (1259.0, -3.0));
}

#[test]
fn big_steps_first_and_small_ones_once_a_tone_hangs_on() {
    let evening = ring_out(&[(1250.0, 4.5)], Equaliser::ThirdOctave, Some(6.0));
    let ups: Vec<u8> = evening
        .steps
        .iter()
        .filter_map(|(_, step)| match step {
            RingStep::Up { by, .. } => Some(*by),
            _ => None,
        })
        .collect();
    assert_eq!(&ups[..6], [3, 3, 3, 3, 1, 1], "{}", evening.tell());
    // Three seconds of listening a step.
    for pair in evening.steps.windows(2) {
        if let [(from, RingStep::Wait), (to, RingStep::Up { .. })] = pair {
            assert!(to - from >= 2.85, "{}", evening.tell());
        }
    }
}

#[test]
fn six_bands_and_no_more() {
    let spread: Vec<(f64, f64)> = (0..9).map(|n| (200.0 * 1.6f64.powi(n), f64::from(n) * 0.5)).collect();
    let mut slow = hall(&spread);
    slow.modes.iter_mut().for_each(|mode| mode.rate = 4.0);
    let evening = Evening::new(slow, plan(Equaliser::ThirdOctave, None)).run();
    assert_eq!(evening.end(), End::BandsUsed, "{}", evening.tell());
    assert!(evening.bands() <= 6);
}

#[test]
fn more_tones_at_once_than_bands_left_are_a_wall() {
    // So many that no band between two of them does enough for both.
    let wall: Vec<(f64, f64)> = (0..14).map(|n| (180.0 * 1.38f64.powi(n), 2.9)).collect();
    let mut loud = hall(&wall);
    loud.modes.iter_mut().for_each(|mode| mode.rate = 40.0);
    let evening = Evening::new(loud, plan(Equaliser::ThirdOctave, None)).run();
    assert_eq!((evening.end(), evening.bands()), (End::ManyTones, 0), "{}", evening.tell());
}

#[test]
fn cuts_that_buy_nothing_end_it() {
    // One after the other: the first is met before the next is heard.
    let mut wall = hall(&[(250.0, 2.0), (800.0, 2.02), (2000.0, 2.04), (5000.0, 2.06)]);
    wall.modes.iter_mut().zip([18.0, 8.0, 4.5, 3.0]).for_each(|(mode, rate)| mode.rate = rate);
    let mut impatient = plan(Equaliser::ThirdOctave, None);
    impatient.numbers.poor_rings = 3;
    let evening = Evening::new(wall, impatient).run();
    assert_eq!(evening.end(), End::BoughtLittle, "{}", evening.tell());
    assert!(evening.coach.results().next().unwrap().bought < Db::new(2.0));
    assert!(evening.coach.results().next().unwrap().cure.is_some());
}

/// 1 kHz wants 9 dB; 1.25 kHz rings beside it: a little is taken there, but never so much that it makes a hole.
#[test]
fn a_new_tone_beside_a_deep_cut_makes_no_hole() {
    let evening = ring_out(&[(1000.0, 0.0), (1250.0, 6.0)], Equaliser::ThirdOctave, Some(14.0));
    let depth = |hz: f64| {
        let cuts = evening.coach.books(0).unwrap().cuts.cuts();
        let found = cuts.iter().find(|cut| (cut.band.centre().get() / hz - 1.0).abs() < 0.02);
        found.map_or(0.0, |cut| cut.depth.get())
    };
    assert_eq!(evening.end(), End::FullDepth, "{}", evening.tell());
    assert_eq!(depth(1000.0), -9.0, "{}", evening.tell());
    assert!(depth(1250.0) < 0.0 && [794.0, 1259.0].iter().all(|hz| depth(*hz) > -6.0), "{}", evening.tell());
}

#[test]
fn a_band_at_its_deepest_ends_it() {
    let evening = ring_out(&[(1000.0, 0.0)], Equaliser::ThirdOctave, None);
    assert_eq!(evening.end(), End::FullDepth, "{}", evening.tell());
    assert_eq!(evening.coach.books(0).unwrap().cuts.cuts()[0].depth.get(), -9.0);
    let evening = ring_out(&[(1000.0, 0.0)], Equaliser::Octave, None);
    assert_eq!(evening.coach.books(0).unwrap().cuts.cuts()[0].depth.get(), -6.0);
}

#[test]
fn shelves_cure_nothing_but_the_limit_is_found() {
    let evening = ring_out(&[(1000.0, 2.5)], Equaliser::Shelves, Some(6.0));
    assert_eq!((evening.end(), evening.bands()), (End::NoEqualiser, 0));
    let result = evening.coach.results().next().unwrap();
    assert_eq!(result.held, Some(Db::new(2.0)), "{}", evening.tell());
    assert!(result.cure.is_some());
}

#[test]
fn a_low_ring_wants_the_low_cut_first() {
    let evening = ring_out(&[(120.0, 2.5)], Equaliser::ThirdOctave, Some(4.0));
    let first = evening.steps.iter().find(|(_, step)| matches!(step, RingStep::LowCut { .. } | RingStep::Cut(_)));
    assert!(matches!(first, Some((_, RingStep::LowCut { at, .. })) if *at == Hertz::new(150.0)), "{}", evening.tell());
    assert!(evening.has(|step| matches!(step, RingStep::Cut(_))));
}

#[test]
fn two_close_rings_share_a_wide_parametric_band() {
    let evening = ring_out(&[(1000.0, 1.0), (1080.0, 2.0)], Equaliser::Parametric, Some(6.0));
    let cuts = evening.coach.books(0).unwrap().cuts.cuts();
    assert_eq!(cuts.len(), 1, "{}", evening.tell());
    assert!(matches!(cuts[0].band, Band::Exact { q: 4.0, .. }), "{cuts:?}");
}

#[test]
fn a_fast_ring_is_called_at_once() {
    let mut fast = hall(&[(1000.0, 2.5)]);
    fast.modes[0].rate = 60.0;
    let evening = Evening::new(fast, plan(Equaliser::ThirdOctave, Some(6.0))).run();
    assert!(
        evening.has(|step| matches!(step, RingStep::Down { haste: Haste::Now, by: 6.., .. })),
        "{}",
        evening.tell()
    );
}

#[test]
fn a_note_is_never_cut() {
    let mut played = hall(&[(3000.0, 5.5)]);
    played.notes = vec![(440.0, 8.0, 40.0), (880.0, 12.0, 30.0), (523.25, 50.0, 70.0)];
    let evening = Evening::new(played, plan(Equaliser::ThirdOctave, Some(6.0))).run();
    let notes = |cut: &beforedoors::coach::ringout::Cut| cut.band.centre().get() < 2500.0;
    assert!(!evening.coach.books(0).unwrap().cuts.cuts().iter().any(notes), "{}", evening.tell());
    assert!(evening.has(|step| *step == RingStep::AskQuiet), "{}", evening.tell());
    assert!(evening.end().is_target(), "{:?}\n{}", evening.end(), evening.tell());
}

#[test]
fn dull_words_give_the_shallowest_cut_back() {
    let mut evening = Evening::new(hall(&[(1000.0, 1.0), (4000.0, 5.5)]), plan(Equaliser::ThirdOctave, Some(6.0)));
    evening.dull = true;
    let evening = evening.run();
    assert!(evening.has(|step| matches!(step, RingStep::GiveBack(cut) if cut.depth >= Db::new(-3.0))));
    assert_eq!(evening.hall.cuts.len(), evening.bands(), "{}", evening.tell());
}

#[test]
fn mains_and_then_wedges_each_with_its_own_list_and_rounds_of_microphones() {
    let output = |output, count| OutputPlan {
        output,
        equaliser: Equaliser::ThirdOctave,
        microphones: microphones(count),
        noted: Vec::new(),
    };
    let plan = RingOutPlan::new(
        vec![output(Output::Mains, 4), output(Output::Wedge(1), 0), output(Output::Wedge(2), 1)],
        Some(Db::new(6.0)),
    );
    let mut evening = Evening::new(hall(&[(1600.0, 4.0)]), RingOutPlan { live: true, ..plan });
    evening.hall.channels = 4;
    let mut evening = evening.run();
    assert_eq!(evening.steps[0].1, RingStep::Cautions);
    let opened: Vec<Microphones> = evening
        .steps
        .iter()
        .filter_map(|(_, step)| match step {
            RingStep::Open(which) => Some(*which),
            _ => None,
        })
        .collect();
    let (one, two) = (ChannelId::new(0), ChannelId::new(1));
    let rounds = [Microphones::One(one), Microphones::Two(one, two), Microphones::Show, Microphones::One(one)];
    assert_eq!(opened, rounds);
    let outputs: Vec<Output> = evening.coach.results().map(|result| result.output).collect();
    assert_eq!(outputs, [Output::Mains, Output::Wedge(2)]);
    // The toy hall is the same for both and remembers its first cut: nothing is left to cut on the wedge.
    assert_eq!((evening.bands(), evening.coach.books(1).unwrap().cuts.cuts().len()), (1, 0));
    evening.coach.trim_changed(ChannelId::new(3));
    assert_eq!(evening.coach.results().map(|result| result.check_again).collect::<Vec<_>>(), [true, false]);
}

#[test]
fn an_undone_cut_is_not_asked_for_again() {
    let mut evening = Evening::new(hall(&[(1250.0, 4.5)]), plan(Equaliser::ThirdOctave, Some(6.0)));
    while evening.bands() == 0 {
        evening.go_on();
    }
    let change = evening.coach.books(0).unwrap().cuts.last().unwrap();
    evening.coach.answer(RingAnswer::Undo);
    assert_eq!(evening.coach.advice().step, RingStep::PutBack(change));
    evening.coach.answer(RingAnswer::Done);
    evening.hall.cuts.clear();
    assert_eq!(evening.bands(), 0);
    let evening = evening.run();
    assert_eq!((evening.end(), evening.bands()), (End::Declined, 0), "{}", evening.tell());
}

#[test]
fn the_cautions_want_a_yes() {
    let live = || RingOut::new(RingOutPlan { live: true, ..plan(Equaliser::ThirdOctave, None) });
    let mut coach = live();
    coach.answer(RingAnswer::Done);
    assert_eq!(coach.advice().step, RingStep::Cautions);
    coach.answer(RingAnswer::No);
    assert!(coach.is_over());
    let mut coach = live();
    coach.answer(RingAnswer::Yes);
    assert_eq!(coach.advice().step, RingStep::Prepare { noted: 0 });
}

/// Known movements of the fader and the bands stand for "done".
#[test]
fn what_is_seen_to_be_done_need_not_be_said() {
    let mut coach = RingOut::new(plan(Equaliser::ThirdOctave, None));
    coach.answer(RingAnswer::Done);
    coach.answer(RingAnswer::Done);
    coach.answer(RingAnswer::Done);
    coach.observe(&[], Seconds::new(1.0));
    coach.observe(&[], Seconds::new(4.1));
    assert_eq!(coach.advice().step, RingStep::Up { by: 3, hanging: false });
    coach.fader_is(Db::new(-11.0));
    assert_eq!(coach.advice().step, RingStep::Up { by: 3, hanging: false });
    coach.fader_is(Db::new(-9.0));
    assert_eq!((coach.advice().step, coach.advice().why.fader), (RingStep::Wait, Db::new(-9.0)));
    coach.fader_moved(Db::new(2.0));
    assert_eq!(coach.advice().why.fader, Db::new(-7.0));
    coach.fader_moved(Db::new(f64::NAN));
    assert_eq!(coach.advice().why.fader, Db::new(-7.0));
}

/// Whatever is said and heard, in whatever order, is no panic.
#[test]
fn no_order_of_events_is_a_panic() {
    use rand::{RngExt, SeedableRng};
    let answers =
        [RingAnswer::Done, RingAnswer::Yes, RingAnswer::No, RingAnswer::Cannot, RingAnswer::Undo, RingAnswer::Stop];
    for seed in 0..200 {
        let mut random = rand_pcg::Pcg64Mcg::seed_from_u64(seed);
        let equaliser = Equaliser::ALL[seed as usize % 6];
        let mut hall = Hall::random(seed);
        let mut coach = RingOut::new(RingOutPlan { live: seed % 2 == 0, ..plan(equaliser, None) });
        for _ in 0..2000 {
            let now = hall.now + FRAME;
            coach.observe(hall.go_on(), Seconds::new(now));
            match random.random_range(0..30) {
                0..6 => coach.answer(answers[random.random_range(0..5)]),
                6 => coach.answer(answers[5]),
                7..10 => coach.fader_moved(Db::new(random.random_range(-6.0..6.0))),
                10 => hall.fader = random.random_range(-12.0..20.0),
                _ => {}
            }
        }
    }
    let mut nothing = RingOut::new(RingOutPlan::new(Vec::new(), None));
    nothing.observe(&[], Seconds::ZERO);
    nothing.answer(RingAnswer::Done);
    nothing.fader_moved(Db::new(3.0));
    assert!(nothing.is_over());
}
