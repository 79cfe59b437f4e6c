//! Every step, finding and state has its exact sentence. The form of a request is the trade's: the knob's word as it
//! is printed on the desk, the channel, a direction in capitals, an amount that a hand can follow.

use beforedoors::coach::{Advice, Amount, Need, Passage, Step, TrimCause, Turn, Unseen, Why};
use beforedoors::detectors::{
    DropoutForm, EndForm, Evidence, Finding, FreakReason, HeaderFault, Heard, HumForm, Partner, SetAside, Tops,
};
use beforedoors::units::{ChannelId, Db, Dbfs, FrameCount, Hertz, Seconds};
use beforedoors::view::{Arrow, DeskWords, Reply, finding_advice, finding_words, next_step, why_lines};

fn why() -> Why {
    Why {
        peak: Dbfs::new(-3.1),
        window: Some((Dbfs::new(-15.0), Dbfs::new(-9.0))),
        show_lift: Db::new(6.0),
        active: Seconds::new(12.3),
        need: Some(Need::Active(Seconds::new(20.0))),
        passage: Some(Passage::LoudestChorus),
        ..Why::of(&Heard::default(), &Tops::default(), Unseen::RoomLevel)
    }
}

fn advice(step: Step) -> Advice {
    Advice { step, channel: Some(ChannelId::new(2)), why: why() }
}

fn trim(turn: Turn, by: f64, cause: TrimCause, again: bool) -> Step {
    Step::Trim { turn, by: Amount::nearest(Db::new(by), turn), cause, again }
}

fn every_step() -> Vec<(Step, &'static str, &'static str)> {
    use TrimCause::{Clipped, TooHigh, TooLow};
    use Turn::{Down, Up};
    vec![
        (
            Step::Listen { passage: Passage::LoudestChorus, again: false },
            "Ask 3 Soloist for the loudest chorus",
            "listening; nothing to turn yet",
        ),
        (
            Step::Listen { passage: Passage::LoudestPatch, again: true },
            "Ask 3 Soloist for the loudest sound with both hands again",
            "listening; nothing to turn yet",
        ),
        (Step::ConfirmLoudest, "3 Soloist: was that as loud as it gets?", "yes, or no: there’s louder"),
        (
            Step::ConfirmMeant { peak: Dbfs::new(-1.96) },
            "3 Soloist: was the burst at −2.0 dBFS meant?",
            "yes: it counts; no: it is set aside",
        ),
        (Step::CheckSource, "I hear only the room on 3 Soloist", "is it switched on, is anyone at it?"),
        (trim(Down, 6.0, TooHigh, false), "Turn Trim of 3 Soloist DOWN 6 dB", "then ask for the loudest chorus again"),
        (trim(Up, 4.0, TooLow, false), "Turn Trim of 3 Soloist UP 4 dB", "then ask for the loudest chorus again"),
        (
            trim(Down, 10.0, Clipped, false),
            "Turn Trim of 3 Soloist DOWN 10 dB",
            "then ask for the loudest chorus again",
        ),
        (
            trim(Down, 6.0, TooHigh, true),
            "Turn Trim of 3 Soloist DOWN 6 dB",
            "I heard no change yet; at its limit? Say so",
        ),
        (
            Step::PutBack { turn: Up, by: Amount::nearest(Db::new(6.0), Up) },
            "Was 3 Soloist turned by mistake? Put it back UP 6 dB",
            "then the one that was asked for. Nobody touched it? Skip",
        ),
        (
            Step::NoMovement { turn: Down },
            "Trim of 3 Soloist: I heard no change",
            "no way left DOWN? Say at its limit, or skip",
        ),
        (
            Step::SourceOverload,
            "Turn 3 Soloist DOWN at the source",
            "pack, DI or instrument overloads; leave Trim alone",
        ),
        (Step::AskLampLit, "3 Soloist: does the Peak lamp flash?", "yes: Trim comes next; no: the source does"),
        (Step::Pad, "Press the pad of 3 Soloist", "Trim is at its limit and the level still high"),
        (
            Step::WrongInput,
            "Look at how 3 Soloist is plugged in",
            "right input, pad off, microphone close, phantom if it needs it",
        ),
        (
            Step::MoveCloser,
            "Move the microphone of 3 Soloist to a hand’s width",
            "turning up would lift the noise as well",
        ),
        (
            Step::LowCut { at: Hertz::new(105.0) },
            "Low-cut of 3 Soloist ON, about 105 Hz",
            "much of what is heard lies below it",
        ),
        (
            Step::LeaveIt { varies: Db::new(14.02) },
            "Leave 3 Soloist as it is",
            "this player varies 14 dB; ride the fader",
        ),
        (Step::PressSolo, "Press solo on 3 Soloist only", "every other solo stays off"),
        (Step::ReleaseSolo, "Release every solo", "the feed falls silent first"),
        (Step::AskLamp, "3 Soloist: did the Peak lamp flash?", "never, sometimes or often"),
        (
            Step::PlayTogether,
            "Everyone together: the loudest song",
            "with every knob as it stands; nothing to turn yet",
        ),
        (Step::AllSet, "All set", "leave the knobs alone"),
    ]
}

#[test]
fn every_step_has_its_sentence() {
    for (step, sentence, then) in every_step() {
        let next = next_step(&advice(step), "3 Soloist", &DeskWords::default());
        assert_eq!((next.sentence.as_str(), next.then.as_str()), (sentence, then), "{step:?}");
    }
}

/// The list above names each step; a new one fails to compile here.
#[test]
fn no_step_is_left_out() {
    let place = |step: &Step| match step {
        Step::Listen { .. } => 0,
        Step::ConfirmLoudest => 1,
        Step::ConfirmMeant { .. } => 2,
        Step::CheckSource => 3,
        Step::Trim { .. } => 4,
        Step::PutBack { .. } => 5,
        Step::NoMovement { .. } => 6,
        Step::SourceOverload => 7,
        Step::AskLampLit => 8,
        Step::Pad => 9,
        Step::WrongInput => 10,
        Step::MoveCloser => 11,
        Step::LowCut { .. } => 12,
        Step::LeaveIt { .. } => 13,
        Step::PressSolo => 14,
        Step::ReleaseSolo => 15,
        Step::AskLamp => 16,
        Step::AllSet => 17,
        Step::PlayTogether => 18,
    };
    let told: std::collections::BTreeSet<i32> = every_step().iter().map(|(step, ..)| place(step)).collect();
    assert_eq!(told.len(), 19);
}

#[test]
fn a_help_is_short_and_names_one_knob() {
    for (step, ..) in every_step() {
        let next = next_step(&advice(step), "3 Soloist", &DeskWords::default());
        assert!(next.then.split_whitespace().count() <= 12, "{}", next.then);
        assert!(next.sentence.split_whitespace().count() <= 12, "{}", next.sentence);
        assert!(next.sentence.matches("Trim").count() <= 1, "{}", next.sentence);
        for blame in ["wrong", "error", "fail", "should", "must", "you "] {
            assert!(!next.sentence.to_lowercase().contains(blame), "{}", next.sentence);
        }
    }
}

#[test]
fn the_proof_is_one_line_of_numbers() {
    let next = next_step(&advice(trim(Turn::Down, 6.0, TrimCause::TooHigh, false)), "3", &DeskWords::default());
    assert_eq!(next.proof, "heard 12 of 20 s · loudest −3.1 dBFS · window −15…−9 · 6 dB of show lift wanted on top");
    assert_eq!((next.arrow, next.arrow.sign(), next.reply), (Arrow::Down, "↓", Reply::Knob));

    let mut hits = advice(Step::ConfirmLoudest);
    hits.why = Why { need: Some(Need::Hits(8)), hits: 11, show_lift: Db::ZERO, window: None, ..why() };
    assert_eq!(next_step(&hits, "8", &DeskWords::default()).proof, "heard 8 of 8 hits · loudest −3.1 dBFS");

    let mut silent = advice(Step::CheckSource);
    silent.why = Why { peak: Dbfs::SILENCE, active: Seconds::ZERO, show_lift: Db::ZERO, window: None, ..why() };
    assert_eq!(next_step(&silent, "8", &DeskWords::default()).proof, "not heard yet");

    let mut clipped = advice(trim(Turn::Down, 10.0, TrimCause::Clipped, false));
    clipped.why.tops.clipped = 4;
    let proof = next_step(&clipped, "3", &DeskWords::default()).proof;
    assert!(proof.contains(" · flat at full scale 4 times · "), "{proof}");
}

#[test]
fn the_desks_own_words() {
    let desk = DeskWords { knob: "Gain".into(), lamp: "OL".into(), marks: true, zero: None };
    let said = |step| next_step(&advice(step), "3 Soloist", &desk).sentence;
    assert_eq!(said(trim(Turn::Up, 4.0, TrimCause::TooLow, false)), "Turn Gain of 3 Soloist UP 4 dB");
    assert_eq!(said(Step::AskLamp), "3 Soloist: did the OL lamp flash?");
}

#[test]
fn without_marks_a_marker_guides_the_hand() {
    let desk = DeskWords { marks: false, ..DeskWords::default() };
    let next = next_step(&advice(trim(Turn::Down, 6.0, TrimCause::TooHigh, false)), "3", &desk);
    assert_eq!(next.sentence, "Turn Trim of 3 slowly DOWN until the marker meets the line");
    assert_eq!(next.then, "while you hear the loudest chorus");
    let back = Step::PutBack { turn: Turn::Up, by: Amount::nearest(Db::new(6.0), Turn::Up) };
    let next = next_step(&advice(back), "3 Soloist", &desk);
    assert_eq!(next.sentence, "Was 3 Soloist turned by mistake? Turn it slowly UP, back to where it was");
}

#[test]
fn where_no_marker_is_on_show_amounts_are_told() {
    let desk = DeskWords { marks: false, ..DeskWords::default() }.without_a_marker();
    let next = next_step(&advice(trim(Turn::Down, 6.0, TrimCause::TooHigh, false)), "3", &desk);
    assert_eq!(next.sentence, "Turn Trim of 3 DOWN 6 dB");
}

/// What was skipped is not called set.
#[test]
fn the_end_is_told_as_it_is() {
    use beforedoors::coach::ChannelState::{High, NotHeard, Set};
    let end = |states: &[_]| {
        let next = next_step(&advice(Step::AllSet), "", &DeskWords::default());
        let next = next.with_the_end(states.iter().copied());
        (next.sentence, next.then)
    };
    assert_eq!(end(&[Set, Set]), ("All set".into(), "leave the knobs alone".into()));
    let told = "1 of 3 set; 2 inputs are left as found";
    assert_eq!(end(&[Set, High, NotHeard]), ("Nothing more to ask".into(), told.into()));
    let going_on = next_step(&advice(Step::CheckSource), "3", &DeskWords::default());
    assert_eq!(going_on.clone().with_the_end([High].into_iter()), going_on);
}

/// desk dB = dBFS − what the desk's 0 reads here.
#[test]
fn levels_in_the_desks_decibels() {
    let desk = DeskWords { zero: Some(Dbfs::new(-22.0)), ..DeskWords::default() };
    let next = next_step(&advice(Step::ConfirmLoudest), "3", &desk);
    assert_eq!(
        next.proof,
        "heard 12 of 20 s · loudest +18.9 dB on the desk · window +7…+13 · 6 dB of show lift wanted on top"
    );
}

/// A room microphone sees no input: the lamp is asked for instead.
#[test]
fn a_room_microphone_says_what_it_cannot_see() {
    let mut advice = advice(trim(Turn::Down, 4.0, TrimCause::Clipped, false));
    advice.why.unseen = Unseen::Inputs;
    let next = next_step(&advice, "3", &DeskWords::default());
    assert_eq!(next.then, "then look at the Peak lamp again");
    assert_eq!(next.proof, "Can’t see from here: the inputs, and whether they clip");
}

#[test]
fn why_in_numbers() {
    let mut advice = advice(Step::LowCut { at: Hertz::new(105.0) });
    advice.why = Why {
        active_level: Dbfs::new(-21.04),
        floor: Some(Dbfs::new(-61.0)),
        rumble: 0.31,
        set_aside: Some(SetAside {
            peak: Dbfs::new(-2.0),
            at: FrameCount::ZERO,
            above_the_rest: Db::new(12.0),
            reason: FreakReason::FarAbove,
            doubtful: false,
        }),
        tops: Tops { clipped: 1, flat: 5, flat_level: Dbfs::new(-6.0), ..Tops::default() },
        ..why()
    };
    let expected = [
        "Loudest peak that counts: −3.1 dBFS",
        "Target window: −15…−9 dBFS",
        "Wanted on top for show night: 6 dB of show lift",
        "Level while sounding: −21.0 dBFS",
        "Noise in the pauses: −61.0 dBFS",
        "Time: heard 12 of 20 s",
        "Set aside: one burst of −2.0 dBFS, 12 dB over the rest",
        "Flat at full scale: once",
        "Flat tops at −6.0 dBFS: 5 places",
        "Below the low-cut: 31 % of what is heard",
        "Can’t see from here: how loud it is in the room",
    ];
    assert_eq!(why_lines(&advice, &DeskWords::default()), expected);
    let nothing = Why::of(&Heard::default(), &Tops::default(), Unseen::OtherChannels);
    let lines = why_lines(&Advice { why: nothing, ..advice }, &DeskWords::default());
    assert!(lines.contains(&"Noise in the pauses: no pause heard yet".to_owned()));
    assert!(lines.contains(&"Can’t see from here: every channel but this one".to_owned()));
}

#[test]
fn every_finding_has_its_words() {
    let found = |evidence| {
        let finding =
            Finding { channel: ChannelId::new(0), start: FrameCount::ZERO, end: FrameCount::new(1), evidence };
        (finding_words(&finding), finding_advice(&evidence))
    };
    let peak = Dbfs::new(-2.0);
    let above_the_rest = Db::new(12.0);
    let track = |file| Partner { file, channel: ChannelId::new(0) };
    let cases = [
        (
            Evidence::Clipped { runs: 3, samples: 20, longest: 9 },
            "clipped: flat at full scale 3 times, longest 9 samples",
            "Next time DOWN 10 dB at the input; here, use another take",
        ),
        (
            Evidence::FlatTop { places: 6, longest: 5, level: Dbfs::new(-6.0), overshoot: Db::new(1.54) },
            "flat tops at −6.0 dBFS in 6 places, cut by at least 1.5 dB: overloaded before this meter",
            "Turn DOWN at the source: pack, DI or instrument",
        ),
        (
            Evidence::NotHeard { quiet: Seconds::new(20.0), level: Dbfs::new(-70.0) },
            "only the room for 20 s",
            "Is it switched on, plugged in and played?",
        ),
        (
            Evidence::Freak { peak, above_the_rest, reason: FreakReason::FarAbove },
            "one burst of −2.0 dBFS, 12 dB over the rest: set aside",
            "Nothing to do; it does not count",
        ),
        (
            Evidence::Freak { peak, above_the_rest, reason: FreakReason::Thump },
            "one thump of −2.0 dBFS: set aside",
            "Nothing to do; it does not count",
        ),
        (
            Evidence::Spill { from: ChannelId::new(3), lag: Seconds::new(0.0091), below: Db::new(21.0) },
            "spill from channel 4, 21 dB down, 9 ms late",
            "Nothing to turn; ask this channel’s own performer to play",
        ),
        (
            Evidence::Invalid { samples: 1 },
            "1 sample is no number: read as silence",
            "Copy or export the file again; plug the device in again",
        ),
        (
            Evidence::Gap { frames: 480 },
            "gap: 480 frames were lost",
            "Try another port or cable, close other programs, keep the laptop awake",
        ),
        (
            Evidence::CodedClip { places: 30, level: Dbfs::new(-0.5), overshoot: Db::new(3.0) },
            "clipped, then coded: 30 crests end near −0.5 dBFS, cut by up to 3 dB",
            "Use another take; next time turn DOWN before it is coded",
        ),
        (
            Evidence::Low { active: Dbfs::new(-52.0), floor: Some(Dbfs::new(-70.0)) },
            "too low: −52.0 dBFS, only 18 dB over its own noise",
            "Next time a nearer microphone; more gain lifts the noise too",
        ),
        (
            Evidence::Low { active: Dbfs::new(-52.0), floor: Some(Dbfs::new(-97.0)) },
            "too low: −52.0 dBFS, but 45 dB over its own noise",
            "Next time feed it 10 dB more; a louder copy helps today",
        ),
        (
            Evidence::OddRate { rate: 44_100, usual: 48_000 },
            "44100 Hz, while the other tracks have 48000 Hz",
            "Convert a copy to the others’ rate; set the recorder once",
        ),
        (
            Evidence::LateStart { late: Seconds::new(2.0) },
            "begins 2.0 s after the other tracks",
            "Shift it by that; arm every track before you start",
        ),
        (
            Evidence::Whine { frequency: Hertz::new(7_812.0), level: Dbfs::new(-50.0) },
            "whine: a tone of 7812 Hz at −50.0 dBFS that keeps its level",
            "Laptop off its supply; leads away from screens and chargers",
        ),
        (
            Evidence::Silent { level: Dbfs::SILENCE },
            "silent from start to end: −∞ dBFS",
            "Check the cable and which source this track records",
        ),
        (
            Evidence::OneSide { below: Db::new(9.0) },
            "9 dB weaker than the other side",
            "Check cable and pan; afterwards centre it on a copy",
        ),
        (
            Evidence::Duplicate { of: track(None), gain: Db::new(-2.0), correlation: 1.0 },
            "the same as channel 1, 2 dB softer",
            "If that was not planned, leave one of the two out",
        ),
        (
            Evidence::Polarity { with: track(Some(0)), correlation: -0.9 },
            "upside down against another recording: correlation −0.90",
            "Flip one on a copy; find the lead wired wrong",
        ),
        (
            Evidence::Low { active: Dbfs::new(-50.0), floor: Some(Dbfs::new(-85.0)) },
            "too low: −50.0 dBFS, but 35 dB over its own noise",
            "Next time feed it 10 dB more; a louder copy brings noise",
        ),
        (
            Evidence::Low { active: Dbfs::new(-50.0), floor: Some(Dbfs::new(-95.0)) },
            "too low: −50.0 dBFS, but 45 dB over its own noise",
            "Next time feed it 10 dB more; a louder copy helps today",
        ),
        (
            Evidence::Truncated { missing: Some(Seconds::new(3.5)), form: EndForm::CutShort },
            "cut short: the last 3.5 s is missing",
            "Copy it again from the recorder; check card and battery",
        ),
        (
            Evidence::Dropout { length: Seconds::new(0.012), form: DropoutForm::Zeros },
            "dropout: 12 ms of digital silence inside the sound",
            "Another port or cable, bigger buffer, no hub; here, another take",
        ),
        (
            Evidence::Dropout { length: Seconds::new(0.012), form: DropoutForm::Repeated },
            "dropout: 12 ms that repeat what stood before them",
            "Another port or cable, bigger buffer, no hub; here, another take",
        ),
        (
            Evidence::Dropout { length: Seconds::new(0.0), form: DropoutForm::Step },
            "dropout: the wave jumps; samples are missing, or it was cut here",
            "Another port or cable, bigger buffer, no hub; here, another take",
        ),
        (
            Evidence::Dropout { length: Seconds::new(2.5), form: DropoutForm::Died },
            "dropout: the line was dead for 2.5 s",
            "Cable, plug, battery or mute: ask what happened; change the cable",
        ),
        (
            Evidence::Rate { header: 48_000, true_rate: 44_100, line: Some(Hertz::new(54.42)) },
            "wrong sample rate: recorded at 44100 Hz, labelled 48000 Hz: the mains stands at 54.42 Hz",
            "Put the right rate into the header of a copy",
        ),
        (
            Evidence::Drift { with: track(Some(0)), ppm: -20.0, offset: Seconds::new(-3.25) },
            "begins 3.25 s after another recording, then drifts by −20.0 ppm (72 ms an hour)",
            "Stretch a copy by that, or line up anew at each applause",
        ),
        (
            Evidence::Shifted { with: track(Some(0)), late: Seconds::new(0.0234) },
            "lies 23 ms after another recording, all along; otherwise the two are a pair",
            "Shift one of the two by that before you mix them",
        ),
        (
            Evidence::Hum {
                family: 50,
                frequency: Hertz::new(49.98),
                level: Dbfs::new(-60.0),
                below: Db::new(-40.0),
                form: HumForm::Magnetic,
            },
            "hum: 49.98 Hz and multiples at −60.0 dBFS, 40 dB under the programme",
            "Mute inputs in turn; move that lead, lift its DI’s audio ground",
        ),
        (
            Evidence::Hum {
                family: 217,
                frequency: Hertz::new(216.67),
                level: Dbfs::new(-50.0),
                below: Db::new(-28.0),
                form: HumForm::Phone,
            },
            "buzz of a mobile phone (bursts): 216.67 Hz and multiples at −50.0 dBFS, 28 dB under the programme",
            "Phones off or in flight mode near microphones and leads",
        ),
        (
            Evidence::Crackle { clicks: 7, highest: Dbfs::new(-20.0) },
            "crackle: 7 clicks, up to −20.0 dBFS",
            "Wiggle plugs and pack one by one; change the cable",
        ),
        (
            Evidence::Dc { mean: -0.015 },
            "offset: the wave stands −1.5 % off the middle",
            "A high-pass at 20 Hz on a copy takes it away",
        ),
        (
            Evidence::Truncated { missing: Some(Seconds::new(3.0)), form: EndForm::BeforeOthers },
            "ends 3.0 s before the other tracks",
            "Copy it again from the recorder; check card and battery",
        ),
        (
            Evidence::Header { fault: HeaderFault::Unfinished { held: 96_000 } },
            "unfinished header: 96000 frames lie behind it",
            "Keep the original; save a copy with a right header",
        ),
    ];
    for (evidence, words, advice) in cases {
        assert_eq!(found(evidence), (words.to_owned(), advice), "{evidence:?}");
        assert!(advice.split_whitespace().count() <= 12, "{advice}");
    }
}
