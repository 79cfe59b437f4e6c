//! Every step of the ring-out and of the show has its exact sentence.

use beforedoors::coach::ringout::{
    Band, Change, Cure, Cut, End, Equaliser, Grab, Haste, Microphones, Output, OutputResult, Place, RingAdvice,
    RingStep, RingWhy, ShowAction, ShowAdvice, Urgency,
};
use beforedoors::detectors::{Certainty, Ring, Signs};
use beforedoors::engine::ringout::Ended;
use beforedoors::units::{ChannelId, Db, Dbfs, Hertz, Seconds};
use beforedoors::view::ringout::{RING_CAUTIONS, cure_words, cut_label, end_words, result_lines, ring_step, show_step};

const MAINS: Place = Place::Output(Output::Mains);
const CH4: ChannelId = ChannelId::new(3);

fn ring(hz: f64) -> Ring {
    Ring {
        id: 1,
        channel: CH4,
        certainty: Certainty::Ringing,
        frequency: Hertz::new(hz),
        level: Dbfs::new(-32.04),
        growth: 22.4,
        excess: Some(Db::new(2.6)),
        clips_in: Some(Seconds::new(1.46)),
        start: Seconds::ZERO,
        reported: Seconds::ZERO,
        end: None,
        signs: Signs::default(),
    }
}

fn why(ring: Option<Ring>) -> RingWhy {
    RingWhy {
        ring,
        fader: Db::new(-3.0),
        held: Some(Db::new(-4.0)),
        target: Some(Db::new(6.0)),
        bought: Db::ZERO,
        bands: 0,
        left: Seconds::ZERO,
        cure: None,
        blunt: false,
    }
}

fn names() -> Vec<String> {
    ["Reader", "", "", "Soloist"].map(str::to_owned).to_vec()
}

fn advice(step: RingStep) -> RingAdvice {
    RingAdvice { step, output: Some(Output::Mains), why: why(Some(ring(1249.6))) }
}

fn said(step: RingStep) -> (String, String) {
    let next = ring_step(&advice(step), &names());
    (next.sentence, next.then)
}

fn graphic(hz: f64) -> Band {
    Band::Graphic(Equaliser::ThirdOctave.nearest(Hertz::new(hz)).unwrap())
}

fn grab(place: Place, band: Band, by: f64, depth: f64) -> Grab {
    Grab { place, band, by: Db::new(by), depth: Db::new(depth), instead_of: None }
}

fn cut(place: Place, band: Band, by: f64, depth: f64) -> RingStep {
    RingStep::Cut(Change { main: grab(place, band, by, depth), neighbour: None })
}

fn every_step() -> Vec<(RingStep, &'static str, &'static str)> {
    let exact = |hz: f64| Band::Exact { frequency: Hertz::new(hz), q: 10.0 };
    let near_edge = Change {
        main: grab(MAINS, graphic(1250.0), -3.0, -3.0),
        neighbour: Some(grab(MAINS, graphic(1000.0), -2.0, -2.0)),
    };
    let wide = Band::Exact { frequency: Hertz::new(1048.8), q: 4.0 };
    let widened =
        Change { main: Grab { instead_of: Some(exact(1000.0)), ..grab(MAINS, wide, 0.0, -4.0) }, neighbour: None };
    let swept = Band::Swept { frequency: Hertz::new(803.0) };
    let list_cut = Cut { place: MAINS, band: graphic(1000.0), depth: Db::new(-3.0) };
    let down = |by, haste, again| RingStep::Down { by, haste, again };
    vec![
        (RingStep::Cautions, "It may squeal. Is everyone safe?", "yes: we begin; no: not now"),
        (
            RingStep::Prepare { noted: 0 },
            "Equaliser of Mains flat",
            "microphones where they will be, low-cuts on, at show trims",
        ),
        (
            RingStep::Prepare { noted: 2 },
            "Equaliser of Mains flat, or at its 2 noted cuts",
            "notes of another evening are a guess, not a fact",
        ),
        (RingStep::SetFader { to: Db::new(-12.0) }, "Mains fader to 12 dB below its show mark", "one hand stays on it"),
        (RingStep::SetFader { to: Db::ZERO }, "Mains fader to its show mark", "one hand stays on it"),
        (RingStep::Open(Microphones::One(CH4)), "Open 4 Soloist only", "quiet on stage, please"),
        (
            RingStep::Open(Microphones::Two(CH4, ChannelId::new(1))),
            "Open 4 Soloist and 2 only",
            "quiet on stage, please",
        ),
        (RingStep::Open(Microphones::Show), "Open every microphone of the show", "quiet on stage, please"),
        (RingStep::Up { by: 3, hanging: false }, "Mains fader UP 3 dB", "then leave it for 3 s"),
        (RingStep::Up { by: 1, hanging: true }, "Mains fader UP 1 dB", "a tone hangs on: small steps from here"),
        (RingStep::Wait, "Listening", "hand on the fader"),
        (
            RingStep::DropToTest { by: 3 },
            "Possible ring at 1.25 kHz (D#6): Mains fader DOWN 3 dB to test",
            "a ring dies with the fader, a note does not",
        ),
        (down(6, Haste::Now, false), "DOWN NOW: Mains fader 6 dB", "ring at 1.25 kHz (D#6)"),
        (down(6, Haste::Now, true), "DOWN NOW: Mains fader another 6 dB", "ring at 1.25 kHz (D#6)"),
        (down(3, Haste::Calm, false), "Mains fader DOWN 3 dB", "ring at 1.25 kHz (D#6)"),
        (
            RingStep::AskQuiet,
            "1.25 kHz (D#6) does not follow the fader",
            "is someone playing? Ask for quiet, then done",
        ),
        (
            RingStep::LowCut { at: Hertz::new(130.0), place: MAINS },
            "Ring at 1.25 kHz (D#6). Low-cut of every open microphone ON, about 130 Hz.",
            "so low, the low-cut comes before any band",
        ),
        (
            RingStep::LowCut { at: Hertz::new(130.0), place: Place::Channel(CH4) },
            "Ring at 1.25 kHz (D#6). Low-cut of 4 Soloist ON, about 130 Hz.",
            "so low, the low-cut comes before any band",
        ),
        (
            cut(MAINS, graphic(1250.0), -3.0, -3.0),
            "Ring at 1.25 kHz (D#6). Cut the 1.25k band of Mains by 3 dB.",
            "then back to where it rang",
        ),
        (
            cut(MAINS, graphic(1250.0), -3.0, -6.0),
            "Ring at 1.25 kHz (D#6). Cut the 1.25k band of Mains by 3 dB more.",
            "then back to where it rang",
        ),
        (
            RingStep::Cut(near_edge),
            "Ring at 1.25 kHz (D#6). Cut the 1.25k band of Mains by 3 dB.",
            "and its 1k band by 2 dB: it rings between the two",
        ),
        (
            cut(MAINS, exact(1249.6), -4.0, -4.0),
            "Ring at 1.25 kHz (D#6). Cut 1.25 kHz of Mains by 4 dB, Q 10.",
            "then back to where it rang",
        ),
        (
            RingStep::Cut(widened),
            "Ring at 1.25 kHz (D#6). Widen the 1 kHz cut of Mains to 1.049 kHz, Q 4.",
            "then back to where it rang",
        ),
        (
            cut(Place::Channel(CH4), swept, -3.0, -3.0),
            "Ring at 1.25 kHz (D#6). Mid of 4 Soloist to 803 Hz, then DOWN 3 dB.",
            "wide: it changes the tone of this microphone only",
        ),
        (
            cut(Place::Channel(CH4), swept, -3.0, -6.0),
            "Ring at 1.25 kHz (D#6). Mid of 4 Soloist DOWN 3 dB more.",
            "wide: it changes the tone of this microphone only",
        ),
        (
            RingStep::Free(grab(MAINS, graphic(630.0), 3.0, 0.0)),
            "The 630 band of Mains UP 3 dB",
            "1.25 kHz (D#6) needs it more: the next cut does more there",
        ),
        (RingStep::PutBack(near_edge), "Put the 1.25k band of Mains back UP 3 dB", "and its 1k band UP 2 dB"),
        (RingStep::PutBack(widened), "Put the 1.049 kHz band of Mains back to 1 kHz", "it is not asked for again"),
        (
            RingStep::BackUp { by: 6 },
            "Mains fader UP 6 dB, back to where it was",
            "same level as before, to hear what changed",
        ),
        (
            RingStep::Leave { by: Db::new(-6.0), end: End::TargetReached },
            "Mains fader DOWN 6 dB and leave it there",
            "target reached",
        ),
        (
            RingStep::Leave { by: Db::new(2.0), end: End::BandsUsed },
            "Mains fader UP 2 dB and leave it there",
            "enough bands are cut; more would thin the sound",
        ),
        (RingStep::AskDull, "Ask someone to speak. Did the words get dull?", "yes: one cut goes back; no: all stays"),
        (RingStep::GiveBack(list_cut), "The 1k band of Mains UP 3 dB", "the shallowest cut goes back first"),
        (RingStep::CutAgain(list_cut), "It rings without it. The 1k band of Mains DOWN 3 dB", "this one is needed"),
        (RingStep::Over, "The ring-out is over", "a trim that is turned wants a new check"),
    ]
}

#[test]
fn every_step_has_its_sentence() {
    for (step, sentence, then) in every_step() {
        assert_eq!(said(step), (sentence.to_owned(), then.to_owned()), "{step:?}");
    }
}

/// The list above names each step; a new one fails to compile here.
#[test]
fn no_step_is_left_out() {
    let place = |step: &RingStep| match step {
        RingStep::Cautions => 0,
        RingStep::Prepare { .. } => 1,
        RingStep::SetFader { .. } => 2,
        RingStep::Open(_) => 3,
        RingStep::Up { .. } => 4,
        RingStep::Wait => 5,
        RingStep::DropToTest { .. } => 6,
        RingStep::Down { .. } => 7,
        RingStep::AskQuiet => 8,
        RingStep::LowCut { .. } => 9,
        RingStep::Cut(_) => 10,
        RingStep::PutBack(_) => 11,
        RingStep::BackUp { .. } => 12,
        RingStep::Leave { .. } => 13,
        RingStep::AskDull => 14,
        RingStep::GiveBack(_) => 15,
        RingStep::CutAgain(_) => 16,
        RingStep::Free(_) => 17,
        RingStep::Over => 18,
    };
    let told: std::collections::BTreeSet<i32> = every_step().iter().map(|(step, ..)| place(step)).collect();
    assert_eq!(told.len(), 19);
}

#[test]
fn a_help_is_short_and_blames_nobody() {
    for (_, sentence, then) in every_step() {
        assert!(then.split_whitespace().count() <= 12, "{then}");
        assert!(sentence.split_whitespace().count() <= 17, "{sentence}");
        for blame in ["wrong", "error", "fail", "should", "must", "you "] {
            assert!(!sentence.to_lowercase().contains(blame), "{sentence}");
        }
    }
    assert_eq!(RING_CAUTIONS.len(), 5);
    for words in ["Ear protection", "2 m", "Children leave", "One hand", "Local rules"] {
        assert!(RING_CAUTIONS.iter().any(|caution| caution.contains(words)), "{words}");
    }
}

#[test]
fn a_cut_says_what_it_costs_or_what_helps_more() {
    let step = cut(MAINS, graphic(1250.0), -3.0, -3.0);
    let then = |why: RingWhy| ring_step(&RingAdvice { why, ..advice(step) }, &names()).then;
    let whole = why(Some(ring(1250.0)));
    assert_eq!(then(RingWhy { blunt: true, ..whole }), "a wide band: this also dulls the voices");
    let hints = [
        (Cure::CloserMicrophone, "or move the microphone closer: worth more than a cut"),
        (Cure::FewerOpen, "or open fewer microphones: worth more than a cut"),
        (Cure::OutOfTheHorn, "or turn the microphone: it sees the horn"),
        (Cure::AwayFromTheWall, "or move the microphone from the wall"),
        (Cure::OpenTheHand, "or open the hand around the microphone"),
        (Cure::GuitarBody, "or cover the guitar’s hole or turn its polarity"),
        (Cure::ThisMicrophone, "or move this one microphone by 30 cm"),
    ];
    for (cure, words) in hints {
        assert_eq!(then(RingWhy { cure: Some(cure), ..whole }), words);
    }
}

#[test]
fn the_proof_is_one_line_of_numbers() {
    let proof = |step, why: RingWhy| ring_step(&RingAdvice { why, ..advice(step) }, &names()).proof;
    let whole = RingWhy { bands: 2, bought: Db::new(2.5), ..why(Some(ring(1250.0))) };
    assert_eq!(
        proof(RingStep::Down { by: 6, haste: Haste::Now, again: false }, whole),
        "−32.0 dBFS · growing 22 dB a second · about 3 dB over the limit · full in 1.5 s · \
         fader 3 dB below its show mark · 2 bands cut · 2.5 dB bought"
    );
    let waiting = RingWhy { left: Seconds::new(1.4), fader: Db::ZERO, ..why(None) };
    assert_eq!(proof(RingStep::Wait, waiting), "fader at its show mark · 2 s to go");
    let dying = Ring { growth: -40.0, excess: None, clips_in: None, ..ring(1250.0) };
    assert_eq!(
        proof(cut(MAINS, graphic(1250.0), -3.0, -3.0), why(Some(dying))),
        "−32.0 dBFS · dying 40 dB a second · fader 3 dB below its show mark"
    );
    assert_eq!(proof(RingStep::Over, why(None)), "Can’t see from here: how loud it is in the room");
}

#[test]
fn cuts_on_their_list() {
    let label = |place, band, depth: f64| cut_label(&Cut { place, band, depth: Db::new(depth) }, &names());
    assert_eq!(label(Place::Output(Output::Wedge(2)), graphic(1600.0), -3.0), "Wedge 2: 1.6k −3");
    assert_eq!(label(Place::Channel(CH4), Band::Swept { frequency: Hertz::new(803.0) }, -6.0), "4 Soloist: 803 Hz −6");
    let exact = Band::Exact { frequency: Hertz::new(1234.4), q: 10.0 };
    assert_eq!(label(MAINS, exact, -4.0), "Mains: 1.234 kHz −4, Q 10");
}

#[test]
fn how_an_output_ended() {
    let result = OutputResult {
        output: Output::Mains,
        end: Some(End::BandsUsed),
        before: Some(Db::new(1.0)),
        held: Some(Db::new(4.0)),
        bought: Db::new(3.0),
        left_at: Some(Db::new(-2.0)),
        check_again: true,
        cure: Some(Cure::CloserMicrophone),
    };
    let cuts = vec![Cut { place: MAINS, band: graphic(1600.0), depth: Db::new(-3.0) }];
    let told = |result, cuts| result_lines(&Ended { result, cuts, rang: Vec::new() }, &names());
    assert_eq!(
        told(result, cuts.clone()),
        [
            "Mains: enough bands are cut; more would thin the sound",
            "  quiet up to 4 dB above its show mark; left 2 dB below its show mark",
            "  Mains: 1.6k −3",
            "  the cuts bought 3 dB",
            "  Move the microphone closer: half the distance is worth 6 dB",
            "  check again: a trim was turned since",
        ]
    );
    let little = OutputResult { bought: Db::new(1.0), cure: None, check_again: false, held: None, ..result };
    let lines = told(little, cuts);
    assert_eq!(lines[2], "  the cuts bought 1 dB: little; moving helps more");
    let open = OutputResult { end: None, ..result };
    assert_eq!(told(open, Vec::new()), ["Mains: not rung out"]);
}

#[test]
fn every_end_and_every_cure_has_its_words() {
    let ends = [
        (End::NoCutsNeeded, "enough in hand: no cuts needed"),
        (End::TargetReached, "target reached"),
        (End::BandsUsed, "enough bands are cut; more would thin the sound"),
        (End::ManyTones, "many tones ring at once: cuts can’t win"),
        (End::NearDeepCut, "it rings beside a deep cut: cuts can’t win"),
        (End::BoughtLittle, "the last cuts bought less than 1 dB"),
        (End::DeepNeighbours, "two neighbouring bands are deep already"),
        (End::FullDepth, "the band is as deep as it may be"),
        (End::NoEqualiser, "shelves cure no ring: fader, distance, angle"),
        (End::Declined, "that cut was not wanted"),
        (End::FaderAtEnd, "the fader is at its end"),
        (End::Stopped, "stopped here"),
    ];
    for (end, words) in ends {
        assert_eq!(end_words(end), words);
    }
    let cures = [
        (Cure::CloserMicrophone, "Move the microphone closer: half the distance is worth 6 dB"),
        (Cure::FewerOpen, "Keep fewer microphones open: half of them is worth 3 dB"),
        (Cure::OutOfTheHorn, "Turn the microphone away: it sees the loudspeaker’s horn"),
        (Cure::AwayFromTheWall, "Move the microphone away from the wall or balcony"),
        (Cure::OpenTheHand, "Open the hand around the microphone, or free the lapel"),
        (Cure::GuitarBody, "Cover the guitar’s hole, or turn its polarity"),
        (Cure::ThisMicrophone, "Move or turn this one microphone by 30 cm"),
    ];
    for (cure, words) in cures {
        assert_eq!(cure_words(cure), words);
    }
}

#[test]
fn in_the_show() {
    let said = |action| {
        let next = show_step(&ShowAdvice { action, ring: Some(ring(2512.0)), urgency: Urgency::Now }, &names());
        (next.sentence, next.then)
    };
    let both = |sentence: &str, then: &str| (sentence.to_owned(), then.to_owned());
    let change = Change { main: grab(MAINS, graphic(2500.0), -3.0, -3.0), neighbour: None };
    assert_eq!(said(ShowAction::Nothing), both("As rehearsed", "nothing to turn"));
    assert_eq!(
        said(ShowAction::FaderDown { channel: CH4, by: 3 }),
        both("4 Soloist fader DOWN 3 now", "ring at 2.51 kHz (D#7)")
    );
    assert_eq!(said(ShowAction::MainsDown { by: 2 }), both("Mains fader DOWN 2 now", "ring at 2.51 kHz (D#7)"));
    assert_eq!(
        said(ShowAction::MuteIdle),
        both("Mute every microphone that is not in use", "ring at 2.51 kHz (D#7): which one can’t be told")
    );
    assert_eq!(
        said(ShowAction::Cut(change)),
        both("Cut the 2.5k band of Mains by 3 dB, at the next pause", "it rang at 2.51 kHz (D#7)")
    );
    assert_eq!(
        said(ShowAction::CreepBack { channel: Some(CH4), by: 2 }),
        both("4 Soloist fader may go UP 2 dB", "quiet for a minute; slowly, or leave it")
    );
    assert_eq!(
        said(ShowAction::CreepBack { channel: None, by: 2 }),
        both("Mains fader may go UP 2 dB", "quiet for a minute; slowly, or leave it")
    );
}
