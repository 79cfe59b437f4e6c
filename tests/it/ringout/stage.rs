//! Whole ring-outs on the simulated stage, whose loop knows its truth: real detector, real loop, real desk.
//!
//! Someone reacts 0.7 s after each advice. A plain run takes 6 halls, `BEFOREDOORS_FULL=1` fifty. The yardstick is the
//! best that a search on the true loop finds within the coach's limits: six bands, 9 dB, no two neighbours both at 6 dB.

use beforedoors::coach::ringout::Equaliser;
use beforedoors::coach::ringout::{Microphone, Output, OutputPlan, RingAnswer, RingOutPlan, RingStep};
use beforedoors::detectors::Certainty;
use beforedoors::dsp::biquad::EqBand;
use beforedoors::dsp::equaliser::Graphic;
use beforedoors::engine::hall::{Hall, StageHall};
use beforedoors::engine::ringout::RingOutDesk;
use beforedoors::source::stage::{Choice, Stage, Truth};
use beforedoors::units::{Db, Dbfs, Hertz, Seconds};
use rayon::prelude::*;

const REACTS: Seconds = Seconds::new(0.7);
const LONGEST: Seconds = Seconds::new(1200.0);
/// A ring is heard from here up, on its own tap.
const AUDIBLE: Dbfs = Dbfs::new(-45.0);
const DEEPEST: Db = Db::new(-9.0);
const BANDS: usize = 6;
const HOLE: Db = Db::new(6.0);
/// Halls that no number of the coach was chosen on.
const FIRST: u64 = 300;

/// How one ring-out went.
#[derive(Debug, Default)]
struct Outcome {
    end: String,
    minutes: f64,
    bands: usize,
    cuts: usize,
    on_true_rings: usize,
    longest_ring: f64,
    bought: f64,
    best: f64,
    /// Where holes are allowed.
    best_with_holes: f64,
}

impl Outcome {
    fn share(&self) -> f64 {
        // The yardstick is a search: where the coach found better, that is the best known.
        self.bought / self.best.max(self.bought)
    }
}

/// What the cuts of the mains buy on the true loop with the microphones that are open, and the best six at most,
/// without holes and with.
fn bought(stage: &Stage) -> (f64, f64, f64) {
    let truth = stage.truth().unwrap();
    let flat = |truth: Truth, band: EqBand| truth.with_band(0, EqBand { gain: Db::ZERO, ..band });
    let uncut = stage.cuts(0).into_iter().fold(truth.clone(), flat);
    let choice = Choice::Graphic(Graphic::ThirdOctave);
    let best = uncut.best_cuts_without_holes(0, choice, BANDS, DEEPEST, HOLE).bought;
    let with_holes = uncut.best_cuts(0, choice, BANDS, DEEPEST).bought;
    ((truth.margin_of(0) - uncut.margin_of(0)).get(), best.get(), with_holes.get())
}

fn is_near(a: Hertz, b: Hertz) -> bool {
    (a.get() / b.get() - 1.0).abs() <= 0.01
}

fn is_true(truth: &Truth, frequency: Hertz) -> bool {
    truth.rings(16).iter().any(|ring| is_near(ring.frequency, frequency))
}

fn ring_out(seed: u64, equaliser: Equaliser) -> Outcome {
    let hall = StageHall::new(seed, 0).unwrap();
    // The first two of the list: a stage of this school's speakers and singers.
    let microphones: Vec<Microphone> = hall.microphones().into_iter().take(2).collect();
    let mains = OutputPlan { output: Output::Mains, equaliser, microphones, noted: Vec::new() };
    let plan = RingOutPlan::new(vec![mains], None);
    let channels = hall.names().len();
    let mut outcome = Outcome::default();
    let mut desk = RingOutDesk::new(hall, plan, channels);
    let mut seen: Option<(RingStep, Seconds)> = None;
    let mut ringing_since: Option<Seconds> = None;
    // Each tone as it was first heard, and whether it truly rang then: a band may be turned for it later.
    let mut heard: Vec<(Hertz, bool)> = Vec::new();
    while !desk.coach().is_over() && desk.now() < LONGEST {
        assert!(desk.go_on());
        let (now, advice) = (desk.now(), *desk.coach().advice());
        for ring in desk.hall().rings() {
            if !heard.iter().any(|(at, _)| is_near(*at, ring.frequency)) {
                heard.push((ring.frequency, is_true(&desk.hall().stage().truth().unwrap(), ring.frequency)));
            }
        }
        let audible =
            desk.hall().rings().iter().any(|ring| ring.certainty == Certainty::Ringing && ring.level > AUDIBLE);
        ringing_since = if audible { ringing_since.or(Some(now)) } else { None };
        outcome.longest_ring = outcome.longest_ring.max(ringing_since.map_or(0.0, |since| (now - since).get()));
        if seen.is_none_or(|(step, _)| step != advice.step) {
            seen = Some((advice.step, now));
            if let (RingStep::Cut(_), Some(ring)) = (advice.step, advice.why.ring) {
                outcome.cuts += 1;
                let meant = |&(at, rang): &(Hertz, bool)| rang && is_near(at, ring.frequency);
                outcome.on_true_rings += usize::from(heard.iter().any(meant));
            }
        }
        let waited = seen.map_or(Seconds::ZERO, |(_, since)| now - since);
        if waited >= REACTS && !matches!(advice.step, RingStep::Wait | RingStep::Over) {
            seen = None;
            desk.answer(match advice.step {
                RingStep::AskDull => RingAnswer::No,
                _ => RingAnswer::Done,
            });
        }
    }
    let result = desk.coach().results().next().unwrap();
    outcome.end = format!("{:?}", result.end);
    outcome.minutes = desk.now().get() / 60.0;
    outcome.bands = desk.coach().books(0).unwrap().cuts.cuts().len();
    (outcome.bought, outcome.best, outcome.best_with_holes) = bought(desk.hall().stage());
    outcome
}

#[test]
fn halls_of_the_stage() {
    let halls = if std::env::var_os("BEFOREDOORS_FULL").is_some() { 50 } else { 6 };
    let outcomes: Vec<Outcome> = (FIRST..FIRST + halls)
        .into_par_iter()
        .map(|seed| {
            let outcome = ring_out(seed, Equaliser::ThirdOctave);
            println!("{seed}: {outcome:.2?} share {:.2}", outcome.share());
            outcome
        })
        .collect();
    let asked = || outcomes.iter().filter(|it| it.best >= 2.0);
    let mut shares: Vec<f64> = asked().map(Outcome::share).collect();
    shares.sort_by(f64::total_cmp);
    let mean = shares.iter().sum::<f64>() / shares.len() as f64;
    let with_holes = asked().map(|it| it.bought / it.best_with_holes).sum::<f64>() / shares.len() as f64;
    let (cuts, right) = outcomes.iter().fold((0, 0), |(cuts, right), it| (cuts + it.cuts, right + it.on_true_rings));
    println!(
        "{halls} halls: {right} of {cuts} cuts on true rings; share of the best six cuts, mean {mean:.2}, median {:.2}, \
         {} of {} at 0.8; of the best with holes {with_holes:.2}",
        shares[shares.len() / 2],
        shares.iter().filter(|share| **share >= 0.8).count(),
        shares.len()
    );
    for outcome in &outcomes {
        assert!(outcome.end != "None" && outcome.bands <= BANDS && outcome.longest_ring <= 2.0, "{outcome:?}");
    }
    assert!(right * 100 >= cuts * 98, "{right} of {cuts}");
    assert!(mean >= 0.8, "{mean}");
}
