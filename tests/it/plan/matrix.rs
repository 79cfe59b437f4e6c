//! Every source into every input, as the trade's table of verdicts has them (common practice), with the lead that
//! anybody would take and with the leads and boxes that mend it.
//!
//! The verdict and the table's letters must come out of the ports' properties. Behind `/` stand further reasons that
//! the rules give and the table leaves out; they may not change the verdict.

use beforedoors::plan::kind::{InKind, OutKind};
use beforedoors::plan::rules::{Around, judge};
use beforedoors::plan::verdict::Verdict;
use beforedoors::plan::wire::{Cable, InLine, Wire};

use super::told;

const COLUMNS: [(InKind, bool); 10] = [
    // The input, and whether a second one stands beside it for the other half of a stereo source.
    (InKind::MicXlr, true),
    (InKind::Line, true),
    (InKind::Instrument, false),
    (InKind::Insert, true),
    (InKind::StereoLeft, true),
    (InKind::TwoTrack, true),
    (InKind::ActiveSpeaker, false),
    (InKind::PassiveSpeaker, false),
    (InKind::HeadsetJack, false),
    (InKind::Interface, true),
];

/// One line of the table: mic XLR | line jack | instrument | insert | stereo line | 2-track RCA | active speaker |
/// passive speaker | headset jack | two-channel interface. A cell may hold several leads: `split:` a stereo split,
/// `di:` transformer DIs, `adi:` an active DI on its battery, `sdi:` a stereo DI, `one:` an ordinary straight lead.
const TABLE: [(OutKind, &str); 15] = [
    (OutKind::DynamicMic, "ok | NO a | NO a b | NO c; one: NO c | NO a d | NO a | w e | NO f | w g | ok"),
    (OutKind::CondenserMic, "ok +48 | NO h | NO h | NO c | NO h | NO h | NO h | NO f | NO h | ok +48"),
    (OutKind::RibbonMic, "w i | w a | w a | NO c | w a | NO a | w e | NO f | NO | w i"),
    (OutKind::RadioMicLevel, "ok i | w a | w a | NO c | w a d | w a | w e | NO f | w g | ok"),
    (OutKind::RadioLineLevel, "w j | ok | ok | w c; one: NO c | ok d | ok | ok | NO f | w j g | ok"),
    (OutKind::PassivePickup, "w k; di: ok; adi: ok | w k | ok | NO c | w k | NO k | NO k | NO f | w k g | ok"),
    (OutKind::PiezoPickup, "NO k; adi: w k | NO k | w k | NO | NO k | NO k | NO k | NO f | NO k | w k"),
    (OutKind::ActiveInstrument, "w j l; di: ok | ok | ok | w c; one: NO c | ok d | ok | ok | NO f | w g | ok"),
    (OutKind::StereoKeys, "w j l; di: ok | ok | w m | NO c | ok | ok | w m | NO f | w g | ok"),
    (
        OutKind::LaptopPhones,
        "one: NO n; sdi: ok | one: NO n; split: ok | one: NO n | NO | split: ok | split: ok | one: NO n; split: ok \
         | NO f | - | split: ok",
    ),
    (OutKind::RecordOut, "w j | ok | ok | NO | ok | ok | ok | NO f | w g | ok"),
    (OutKind::DeskOut, "w j p | ok | w j | NO | ok | w j | ok | NO f | NO j | ok"),
    (
        OutKind::DeskPhones,
        "one: NO n j | one: NO n; split: ok | one: NO n | NO | split: w q | split: w q | one: NO n; split: ok | NO f \
         | w g j | split: w q",
    ),
    (OutKind::SpeakerOut, "NO z | NO z | NO z | NO z | NO z | NO z | NO z | ok | NO z | NO z"),
    (OutKind::HighVoltageLine, "NO z | NO z | NO z | NO z | NO z | NO z | NO z | NO y | NO z | NO z"),
];

/// The lead of this name.
fn wire(lead: &str, from: OutKind, to: InKind) -> Wire {
    let (out, input) = (from.port(), to.port());
    let usual = Wire::usual(&out, &input);
    match lead {
        "" => usual,
        "one" => Wire { cable: if usual.cable == Cable::ReturnWired { Cable::Pair } else { usual.cable }, ..usual },
        "split" => Wire::split(&out, &input),
        "di" => boxed(usual, InLine::PassiveDi),
        "adi" => boxed(usual, InLine::BatteryDi),
        "sdi" => boxed(usual, InLine::StereoDi),
        other => panic!("no lead is called {other}"),
    }
}

/// A DI stands at the source; from it on there is a microphone lead.
fn boxed(usual: Wire, inline: InLine) -> Wire {
    Wire { cable: Cable::Pair, ..usual }.through(&[inline])
}

#[test]
fn every_source_into_every_input() {
    let (mut rows, mut faults) = (0, Vec::new());
    for (from, line) in TABLE {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        assert_eq!(cells.len(), COLUMNS.len(), "{from:?}");
        for (cell, (to, room_for_two)) in cells.into_iter().zip(COLUMNS) {
            for part in cell.split(';').map(str::trim).filter(|part| *part != "-") {
                let (lead, expected) = part.split_once(": ").unwrap_or(("", part));
                let judged = judge(
                    &from.port(),
                    &wire(lead, from, to),
                    &to.port(),
                    Around { other_half: room_for_two || lead == "split", insert_pair: false },
                );
                rows += 1;
                let said = told(&judged);
                let mut words = expected.split(' ');
                let verdict = words.next().unwrap_or_default();
                let plain = said.replace(['(', ')'], "");
                let has = |letter: &str| plain.split(' ').any(|word| word == letter);
                if !said.starts_with(verdict) || !words.all(has) {
                    faults.push(format!("{from:?} → {to:?} {lead}: expected {expected}, said {said}"));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{} of {rows}:\n{}", faults.len(), faults.join("\n"));
    assert!(rows >= 160, "{rows} rows");
}

/// Loudspeaker level destroys whatever box is put between.
#[test]
fn no_box_makes_loudspeaker_level_right() {
    for from in [OutKind::SpeakerOut, OutKind::HighVoltageLine] {
        for (to, _) in COLUMNS.into_iter().filter(|(to, _)| *to != InKind::PassiveSpeaker) {
            for inline in InLine::ALL {
                let wire = wire("", from, to).through(&[inline]);
                let judged = judge(&from.port(), &wire, &to.port(), Around::default());
                assert_eq!(judged.verdict(), Verdict::Never, "{from:?} → {inline:?} → {to:?}");
            }
        }
    }
}

mod outside {
    //! Ports that no list knows: what must hold for any numbers.

    use beforedoors::plan::kind::{InKind, OutKind};
    use beforedoors::plan::port::{Input, Mode, ModeKind, OnPhantom, Output, Supply};
    use beforedoors::plan::quantity::Ohms;
    use beforedoors::plan::rules::{Around, judge};
    use beforedoors::plan::verdict::{Reason, Verdict};
    use beforedoors::plan::wire::Wire;
    use beforedoors::units::{Db, Dbu};
    use proptest::prelude::*;

    fn out(usual: f64, crest: f64, ohms: f64) -> Output {
        Output {
            usual: Dbu::new(usual),
            loudest: Dbu::new(usual + crest),
            impedance: Ohms::new(ohms),
            phantom: OnPhantom::Ignores,
            ..OutKind::DynamicMic.port()
        }
    }

    fn input(quietest: f64, range: f64, ohms: f64) -> Input {
        let mode = Mode {
            kind: ModeKind::Line,
            quietest: Dbu::new(quietest),
            clips: Dbu::new(quietest + range),
            impedance: Ohms::new(ohms),
            trim: true,
        };
        Input { modes: vec![mode], supply: Supply::Nothing, ..InKind::MicXlr.port() }
    }

    fn verdict(out: &Output, input: &Input) -> Verdict {
        judge(out, &Wire::usual(out, input), input, Around::default()).verdict()
    }

    proptest! {
        /// A source within the input's range and a tenth of its load fits; that is all the rules ask.
        #[test]
        fn what_is_right_fits(usual in -60.0..0.0f64, crest in 0.0..20.0f64, ohms in 1.0..1e5f64) {
            let (out, input) = (out(usual, crest, ohms), input(usual, crest + 1.0, 10.0 * ohms));
            prop_assert_eq!(verdict(&out, &input), Verdict::Fits);
        }

        /// Quieter than the gain lifts, or hotter than it bears, is worse the farther it is.
        #[test]
        fn level_is_judged_by_its_distance(usual in -60.0..0.0f64, by in 4.5..60.0f64) {
            let source = out(usual, 0.0, 100.0);
            let quiet = verdict(&source, &input(usual + by, 100.0, 1e5));
            let expected = if by > 20.1 { Verdict::Never } else { Verdict::WorksBut };
            if !(19.9..=20.1).contains(&by) {
                prop_assert_eq!(quiet, expected);
            }
            let hot = verdict(&source, &input(usual - 100.0, 100.0 - by, 1e5));
            let expected = if by > 35.1 { Verdict::Never } else { Verdict::WorksBut };
            if !(34.9..=35.1).contains(&by) {
                prop_assert_eq!(hot, expected);
            }
        }

        /// No number makes the rules panic, and more volts never help a source that is already too hot.
        #[test]
        fn any_numbers_are_borne(a in any::<f64>(), b in any::<f64>(), c in any::<f64>(), d in any::<f64>()) {
            let (out, input) = (out(a, b, c), input(d, b, a));
            let judged = judge(&out, &Wire::usual(&out, &input), &input, Around::default());
            let hotter = Output { loudest: out.loudest + Db::new(10.0), ..out };
            let then = judge(&hotter, &Wire::usual(&hotter, &input), &input, Around::default());
            let is_hot = |one: &beforedoors::plan::verdict::Judgement| {
                one.remarks.iter().filter(|one| matches!(one.reason, Reason::TooHot { .. })).map(|one| one.weight).max()
            };
            prop_assert!(is_hot(&then) >= is_hot(&judged));
        }
    }
}
